package demo

import "time"

// visit is one line of the story: who goes where, how the vehicle really
// stands, and what has to come of it.
type visit struct {
	key      string
	vehicle  string
	daysAgo  int // before now; the hot day is chosen by the calendar
	hour     int
	minute   int
	who      person
	place    string // where it stands from then on; "" is where it stood
	reason   string
	circuit  string
	cycle    int
	first    string  // key of the first check, for a second cycle
	takesML  float64 // fluid the cooler circuit took on the hot drive before
	pitchDeg float64 // nose up, as the vehicle truly stands
	rollDeg  float64 // right side up
	typed    bool    // the slope was put in as level, by eye
	edition1 bool    // made under the uncorrected edition
	airC     float64 // 0: what the season has
	walkS    float64 // 0: the person's own; else longer with every draw
	stop     string  // reason the work is broken off once the engine runs
	ends     string  // reason of a check that is not done, in the person's choice
	note     string
	sentH    float64 // hours until the phone found a network
	want     outcome
	forget   bool    // nobody did what its reminder asks
	lateC    float64 // fitted above this temperature
}

// outcome is what a visit comes to. The story is told with the first draw of
// the seed that comes to it.
type outcome struct{ status, reason string }

var (
	isSet      = outcome{status: "final"}
	isPending  = outcome{status: "provisional"}
	isHot      = outcome{"not_done", "too_warm"}
	isSteep    = outcome{"not_done", "slope"}
	isOverrun  = outcome{"not_done", "overrun"}
	isBroken   = outcome{"not_done", "interrupted"}
	hotDay     = -1 // in visit.daysAgo: the hot day
	afterHot   = -2 // the morning after
	hotWeather = 33.0
)

// correctedDaysAgo is when the second edition of the 8-speed's profile was released.
const correctedDaysAgo = 245

// openedDaysAgo is when the workshop began to keep its records here.
const openedDaysAgo = 490

// visits is the history. Days keep clear of each other, so that a Sunday can
// move to the Saturday before it.
func visits() []visit {
	list := []visit{
		{key: "bus1-a", vehicle: "Library bus 1", daysAgo: 470, who: jory, edition1: true, note: "Taken over with the depot's papers. Plug dry, paint mark broken by an earlier hand."},
		{key: "bus1-b", vehicle: "Library bus 1", daysAgo: 290, who: mave, edition1: true, place: quarryLane, pitchDeg: 1, typed: true},
		{key: "bus2-a", vehicle: "Library bus 2", daysAgo: 440, who: mave, edition1: true, pitchDeg: 1, typed: true},
		{key: "bus2-b", vehicle: "Library bus 2", daysAgo: 262, who: jory, edition1: true, place: depotHall},
		{key: "bus2-c", vehicle: "Library bus 2", daysAgo: 155, who: mave, place: quarryLane, pitchDeg: 1, typed: true},
		{key: "bus2-d", vehicle: "Library bus 2", daysAgo: 46, who: jory, place: depotHall, note: "Third time the two places disagree by about 40 mL. The slab at Quarry Lane wants measuring on the pan rail."},
		{key: "bus3-a", vehicle: "Library bus 3", daysAgo: 382, who: jory, edition1: true, walkS: 380, lateC: 50, note: "Driver's questions between seat and plug; fitted late, still inside the printed window."},
		{key: "bus3-b", vehicle: "Library bus 3", daysAgo: 203, who: mave},
		{key: "bus3-c", vehicle: "Library bus 3", daysAgo: 1, who: jory, reason: "after_cooler_work", circuit: "flushed", want: isPending,
			note: "Cooler and lines flushed by the depot. Hot drive agreed with the driver; second check cold, same bay."},
		{key: "bus4-a", vehicle: "Library bus 4", daysAgo: 182, who: jory, note: "No source for the figures yet: written down as unproven."},
		{key: "bus4-b", vehicle: "Library bus 4", daysAgo: 34, who: mave, forget: true},
		{key: "bus5-a", vehicle: "Library bus 5, spare", daysAgo: 333, who: mave, edition1: true, reason: "after_cooler_work", circuit: "flushed", want: isPending},
		{key: "bus5-b", vehicle: "Library bus 5, spare", daysAgo: 331, who: mave, edition1: true, reason: "second_cycle", circuit: "flushed", cycle: 2, first: "bus5-a", takesML: 400,
			note: "About 0.4 L had gone into the cooler on the hot drive, as expected."},
		{key: "bus5-c", vehicle: "Library bus 5, spare", daysAgo: 64, who: jory},
		{key: "van1-a", vehicle: "Bakery van 1", daysAgo: 320, who: mave, edition1: true},
		{key: "van1-b", vehicle: "Bakery van 1", daysAgo: 286, who: mave, edition1: true},
		{key: "van1-c", vehicle: "Bakery van 1", daysAgo: 224, who: mave},
		{key: "van1-d", vehicle: "Bakery van 1", daysAgo: 130, who: mave, reason: "complaint", note: "Floor dry under the van overnight. Wet edge at the output seal?"},
		{key: "van1-e", vehicle: "Bakery van 1", daysAgo: 9, who: mave, reason: "leak_search", note: "Low again. Dye in; look at the output seal after 50 km."},
		{key: "van2-a", vehicle: "Bakery van 2", daysAgo: 430, who: mave, edition1: true, rollDeg: -0.45, typed: true},
		{key: "van2-b", vehicle: "Bakery van 2", daysAgo: 305, who: jory, edition1: true, place: millStreet, rollDeg: 0.3, typed: true},
		{key: "van2-c", vehicle: "Bakery van 2", daysAgo: 172, who: jory, place: tanneryRow},
		{key: "van2-d", vehicle: "Bakery van 2", daysAgo: 52, who: mave, place: millStreet, rollDeg: 0.3, typed: true},
		{key: "van4-a", vehicle: "Bakery van 4", daysAgo: 212, who: mave, stop: "person_near", ends: "interrupted", want: isBroken, note: "Children on bicycles in the yard while the engine ran. Engine off, came back two days later."},
		{key: "van4-b", vehicle: "Bakery van 4", daysAgo: 210, who: mave},
		{key: "van4-c", vehicle: "Bakery van 4", daysAgo: 37, who: jory},
		{key: "van5-hot", vehicle: "Bakery van 5", daysAgo: hotDay, hour: 14, minute: 40, who: jory, airC: hotWeather, want: isHot, note: "Black lay-by, afternoon, no shade. Nothing to be done before the cool of the morning."},
		{key: "van5-dawn", vehicle: "Bakery van 5", daysAgo: afterHot, hour: 5, minute: 50, who: jory, airC: 21},
		{key: "van5-slope", vehicle: "Bakery van 5", daysAgo: 122, who: mave, place: millStreet, pitchDeg: 2.6, want: isSteep, note: "Space by the wall was taken; the ramp is too steep to raise anything."},
		{key: "van5-b", vehicle: "Bakery van 5", daysAgo: 115, who: mave, place: tanneryRow},
		{key: "van5-over", vehicle: "Bakery van 5", daysAgo: 22, who: mave, walkS: 430, ends: "overrun", want: isOverrun, note: "The pump was in the other car. Plug in, engine off, again in two days."},
		{key: "van5-c", vehicle: "Bakery van 5", daysAgo: 20, who: mave},
	}
	for i := range list {
		list[i].fill(i)
	}
	return list
}

// fill sets what a line leaves out.
func (v *visit) fill(i int) {
	if v.hour == 0 {
		v.hour, v.minute = 6+i%3, 5+(i*17)%50
	}
	if v.reason == "" {
		v.reason = "level_check"
	}
	if v.circuit == "" {
		v.circuit = "untouched"
	}
	if v.cycle == 0 {
		v.cycle = 1
	}
	if v.want == (outcome{}) {
		v.want = isSet
	}
	if v.sentH == 0 && i%5 == 2 {
		v.sentH = 7.5 // no network at the vehicle: sent from home
	}
}

// start is when the visit begins.
func (v visit) start(c calendar) time.Time {
	day := c.day(v.daysAgo)
	return time.Date(day.Year(), day.Month(), day.Day(), v.hour, v.minute, 0, 0, day.Location())
}
