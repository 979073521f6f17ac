// Package procedure is a level check as a state machine: a profile and a log of
// events give the state, what may come next, what can hurt, and the result.
//
// It runs on the phone and on the server. It has no clock and no storage: every
// event carries its own stamps, and "now" is an argument. Replaying any prefix
// of a log always gives the same state; an order that cannot happen is a fault
// that names the event. Gates are here, not on the screen.
package procedure

import (
	"brimline/schema"
)

// Setup is what a check runs on besides its log.
type Setup struct {
	Profile  schema.Profile   `json:"profile"`
	Vehicle  schema.Vehicle   `json:"vehicle"`
	Unit     schema.Unit      `json:"unit"`
	Cautions []schema.Caution `json:"cautions"`
}

// machine is the state of one check while its log is read.
type machine struct {
	Setup
	checkID schema.CheckID
	stamps  []Stamp
	at      []float64 // seconds of each event since the first, best estimate
	ids     []schema.EventID
	ended   bool

	started   *Started
	phase     string // prepare, run, done
	place     string
	engineOn  bool
	everOn    bool
	plugOut   bool
	cracked   bool
	kit       bool
	decided   *Decided
	acks      []Acknowledged
	tilt      *entry[Tilt]
	cold      *entry[Cold]
	coldStamp Stamp

	exercising  bool
	exerciseAt  int // index of the position being held
	held        int // positions held long enough in this exercise
	holdStamp   Stamp
	exercised   bool
	exercisedAt float64
	addedSince  float64 // mL added since the last whole exercise

	readings  []entry[Reading]
	volumes   []volume
	engine    []engineChange
	onStamp   Stamp // of the last start
	onS       float64
	openings  []opening
	foamStamp *Stamp // the plug was closed to let foam settle

	finalFit   *entry[PlugClosed]
	aftermath  string // decision that was in force when the plug was last closed
	stopping   string // reason, while the work is being broken off
	stalls     int
	irregular  []string
	gap        *ClockGap
	finished   *Finished
	endedMS    int64
	notes      int
	correction int

	cached []forecastAt // the last forecasts, because one view asks for the same moment often
}

// entry is one value of the log that a later entry may correct.
type entry[T any] struct {
	id   schema.EventID
	atS  float64
	void bool
	v    T
}

type volume struct {
	entry[Volume]
	out     bool
	opening int // index of the opening it belongs to
	asFound bool
}

type engineChange struct {
	atS float64
	on  bool
}

// opening is one time the plug was out.
type opening struct {
	openedS   float64
	seen      []entry[string]
	watches   []watch
	firstDrip float64 // s; when fluid was first seen to run after nothing did
	closedS   float64
	closed    bool
	final     bool
	exercised bool
}

// watch is one counting of drips.
type watch struct {
	fromS, toS float64
	open       bool
	drips      []entry[struct{}]
}

// times returns the drips that were not taken back.
func (w watch) times() []float64 {
	out := []float64{}
	for _, d := range w.drips {
		if !d.void {
			out = append(out, d.atS)
		}
	}
	return out
}

func (m *machine) now() float64 {
	if len(m.at) == 0 {
		return 0
	}
	return m.at[len(m.at)-1]
}

func (m *machine) stamp() Stamp { return m.stamps[len(m.stamps)-1] }

// opening returns the opening that is being worked on, or nil.
func (m *machine) opening() *opening {
	if len(m.openings) == 0 {
		return nil
	}
	return &m.openings[len(m.openings)-1]
}

// watch returns the last watch of the current opening, or nil.
func (m *machine) watch() *watch {
	if o := m.opening(); o != nil && len(o.watches) > 0 {
		return &o.watches[len(o.watches)-1]
	}
	return nil
}

// watching reports whether drips are being counted.
func (m *machine) watching() bool { w := m.watch(); return m.plugOut && w != nil && w.open }

// seen returns the last observation of the current opening, "" if none stands.
func (m *machine) seen() string {
	o := m.opening()
	if o == nil || !m.plugOut {
		return ""
	}
	for i := len(o.seen) - 1; i >= 0; i-- {
		if !o.seen[i].void {
			return o.seen[i].v
		}
	}
	return ""
}

// see records what flows at the plug. "" means: what was seen no longer stands.
func (m *machine) see(id schema.EventID, word string) {
	o := m.opening()
	if o == nil {
		return
	}
	if o.firstDrip < 0 && word != "" && word != "nothing" && len(o.seen) > 0 {
		o.firstDrip = m.now()
	}
	o.seen = append(o.seen, entry[string]{id: id, atS: m.now(), v: word})
}

func (m *machine) mark(code string) {
	for _, c := range m.irregular {
		if c == code {
			return
		}
	}
	m.irregular = append(m.irregular, code)
}

// advance moves the clock to an event's stamp and marks what the clocks say.
func (m *machine) advance(id schema.EventID, to Stamp) {
	if len(m.stamps) == 0 {
		m.stamps, m.at, m.ids = []Stamp{to}, []float64{0}, []schema.EventID{id}
		return
	}
	from := m.stamp()
	span := Elapsed(from, to)
	t := m.now() + span.BestS
	if span.Differ || !span.Certain {
		m.gap = &ClockGap{WallS: float64(to.WallMS-from.WallMS) / 1000, Restarted: !span.Certain, AtS: t}
		if span.Certain {
			m.gap.MonoS = (to.MonoMS - from.MonoMS) / 1000
		}
		if m.engineOn && span.unseenS() > gapMattersS {
			m.mark("clock_gap")
		}
	}
	if m.engineOn {
		m.onS += span.BestS
	}
	m.stamps, m.at, m.ids = append(m.stamps, to), append(m.at, t), append(m.ids, id)
}

// temperature returns the last reading that stands, or nil.
func (m *machine) lastReading() *entry[Reading] {
	for i := len(m.readings) - 1; i >= 0; i-- {
		if !m.readings[i].void {
			return &m.readings[i]
		}
	}
	return nil
}

// totals returns what went in and what came out, in mL.
func (m *machine) totals() (inML, outML float64) {
	for _, v := range m.volumes {
		switch {
		case v.void:
		case v.out:
			outML += m.volumeML(v.v)
		default:
			inML += m.volumeML(v.v)
		}
	}
	return inML, outML
}
