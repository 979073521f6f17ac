package procedure

import (
	"math"

	"brimline/schema"
	"brimline/schema/fault"
)

// coldValidS is how long a cold reading counts before the engine is started.
const coldValidS = 3600.0

// coldAgreeC is how far gearbox, coolant and air may differ when all are cold
// (common practice, no source: 2-3 °C; widened by the resolution of two readings).
const coldAgreeC = 4.0

// substituted are fixed values a control unit is known to show in place of a
// measurement (trade notes, seen in a maker's instruction).
var substituted = []float64{60, 90, 135}

func refuse(code, message string) *fault.Error { return fault.New(fault.Conflict, code, "", message) }

// gate says why an event of this kind cannot come now, or nil. Body-level
// reasons are for apply.
func (m *machine) gate(kind string) *fault.Error {
	k, known := kinds[kind]
	switch {
	case !known:
		return fault.Bad("event.kind", "kind", "is not a kind of entry this version knows")
	case m.started == nil && kind != "check.started":
		return refuse("check.not_started", "open the check first")
	case m.started != nil && kind == "check.started":
		return refuse("check.started_twice", "this check is open already")
	case m.finished != nil && !k.always:
		return refuse("check.finished", "this check is closed; write a note or open a new check")
	case k.gate == nil:
		return nil
	}
	return k.gate(m)
}

func (m *machine) gatePrepare() *fault.Error {
	if m.phase != "prepare" {
		return refuse("phase.prepare", "this belongs to the go sheet, before the start is decided")
	}
	return nil
}

func (m *machine) gateRun() *fault.Error {
	if m.phase != "run" {
		return refuse("phase.run", "decide on the go sheet first")
	}
	return nil
}

func (m *machine) gateCrack() *fault.Error {
	switch {
	case m.engineOn:
		return refuse("engine.on", "stop the engine first")
	case m.started.Raised && m.tilt == nil:
		return refuse("slope.first", "enter the slope before the vehicle is raised and worked under")
	}
	return m.gatePrepare()
}

func (m *machine) gateEngineStart() *fault.Error {
	if f := m.gateRun(); f != nil {
		return f
	}
	switch {
	case m.engineOn:
		return refuse("engine.on", "the engine is running already")
	case m.plugOut:
		return refuse("plug.first", "plug in first, then start the engine")
	case m.place != "seat":
		return refuse("place.seat", "go to the seat first")
	case m.finalFit != nil:
		return refuse("plug.fitted", "the plug is fitted for good; nothing is left to start the engine for")
	}
	limit := m.Profile.StartBelowC.Value
	if last := m.lastReading(); m.everOn && last != nil && last.v.tempC() > m.Profile.Window.HighC {
		return refuse("start.warm", "the fluid is above the window; let it cool below the start limit and open a new check")
	}
	if !m.everOn {
		if m.cold.v.GearboxC >= limit {
			return refuse("start.warm", "the fluid is not below the start limit of "+m.Profile.StartBelowC.Printed)
		}
		if Elapsed(m.coldStamp, m.stamp()).MaxS > coldValidS {
			return refuse("cold.old", "the cold reading is more than an hour old; read the temperatures again")
		}
	}
	return nil
}

func (m *machine) gateEngineStop() *fault.Error {
	if !m.engineOn {
		return refuse("engine.off", "the engine is not running")
	}
	return nil
}

func (m *machine) gateExerciseStart() *fault.Error {
	if f := m.gateRun(); f != nil {
		return f
	}
	switch {
	case !m.engineOn:
		return refuse("engine.off", "start the engine first")
	case m.plugOut:
		return refuse("plug.first", "plug in first: never exercise the gears with the plug out")
	case m.place != "seat":
		return refuse("exercise.seat", "somebody must sit in the seat with a foot on the brake, and nobody may be under the vehicle")
	case m.exercising:
		return refuse("exercise.running", "the exercise is running already")
	}
	return nil
}

func (m *machine) gateExercising() *fault.Error {
	if !m.exercising {
		return refuse("exercise.none", "start the gear exercise first")
	}
	return nil
}

func (m *machine) gateOpen() *fault.Error {
	if f := m.gateRun(); f != nil {
		return f
	}
	switch {
	case m.plugOut:
		return refuse("plug.out", "the plug is out already")
	case !m.engineOn:
		return refuse("engine.off", "the engine must idle before the plug comes out")
	case m.exercising:
		return refuse("exercise.running", "finish or break off the gear exercise first")
	case m.place != "under":
		return refuse("place.under", "say first that you are under the vehicle, selector in park and brake held")
	case m.finalFit != nil:
		return refuse("plug.fitted", "the plug is fitted for good; open a new check to open it again")
	case m.lastReading() == nil:
		return refuse("reading.first", "take a temperature before the plug comes out")
	}
	return nil
}

func (m *machine) gatePlugOut() *fault.Error {
	if !m.plugOut {
		return refuse("plug.in", "the plug is in")
	}
	return nil
}

func (m *machine) gateWatchStart() *fault.Error {
	if m.watching() {
		return refuse("watch.open", "drips are being counted already")
	}
	return m.gatePlugOut()
}

func (m *machine) gateWatching() *fault.Error {
	if !m.watching() {
		return refuse("watch.none", "start counting first")
	}
	return nil
}

// gateCaught allows weighing what ran out after the plug is in again.
func (m *machine) gateCaught() *fault.Error {
	if len(m.openings) == 0 {
		return refuse("plug.in", "nothing can have run out: the plug was never out")
	}
	return nil
}

func (m *machine) gateFinish() *fault.Error {
	switch {
	case m.plugOut:
		return refuse("plug.first", "plug in first")
	case m.engineOn:
		return refuse("engine.on", "stop the engine first, from the seat")
	}
	return nil
}

// goItems fills the go sheet in the order a person works through it.
func (m *machine) goItems() []GoItem {
	items := []GoItem{{Code: "profile", State: "yes"}}
	if m.Profile.Check() != nil {
		items[0] = GoItem{Code: "profile", State: "no", Why: "profile.missing"}
	}
	items = append(items, m.goCautions(), m.goTilt(), m.goCold(), m.goLimit())
	items = append(items, GoItem{Code: "plug", State: yesOrOpen(m.cracked)}, GoItem{Code: "kit", State: yesOrOpen(m.kit)})
	return items
}

func yesOrOpen(ok bool) string {
	if ok {
		return "yes"
	}
	return "open"
}

// cautions returns the ones that apply to this check.
func (m *machine) cautions() []schema.Caution {
	var out []schema.Caution
	for _, c := range m.Cautions {
		for _, a := range c.Applies {
			if a == "always" || a == "engine_on" || a == "raised" && m.started.Raised || a == "indoors" && m.started.Indoors ||
				a == "hybrid" && m.Vehicle.Hybrid || a == "auto_stop" && m.Vehicle.AutoStop {
				out = append(out, c)
				break
			}
		}
	}
	return out
}

func (m *machine) acknowledged(c schema.Caution) bool {
	for _, a := range m.acks {
		if a.CautionID == c.ID && a.Edition == c.Edition {
			return true
		}
	}
	return false
}

func (m *machine) goCautions() GoItem {
	for _, topic := range schema.NeededTopics {
		there := false
		for _, c := range m.Cautions {
			there = there || c.Topic == topic && c.Gates
		}
		if !there {
			return GoItem{Code: "cautions", State: "no", Why: "cautions.missing"}
		}
	}
	for _, c := range m.cautions() {
		if c.Gates && !m.acknowledged(c) {
			return GoItem{Code: "cautions", State: "open"}
		}
	}
	return GoItem{Code: "cautions", State: "yes"}
}

// combinedDeg is the steepest slope of two axes: tan²θ = tan²α + tan²β.
func combinedDeg(pitch, roll float64) float64 {
	return math.Atan(math.Hypot(math.Tan(pitch*math.Pi/180), math.Tan(roll*math.Pi/180))) * 180 / math.Pi
}

func (m *machine) goTilt() GoItem {
	item := GoItem{Code: "attitude", State: "open"}
	if m.tilt == nil || m.Profile.Attitude == nil || m.Profile.Attitude.ToleranceDeg == nil {
		return item
	}
	deg := combinedDeg(m.tilt.v.PitchDeg, m.tilt.v.RollDeg)
	switch {
	case deg > m.Profile.Attitude.DeclineDeg:
		item.State, item.Why = "no", "attitude.decline"
	case deg > m.Profile.Attitude.ToleranceDeg.Value:
		item.State, item.Why = "no", "attitude.move"
	default:
		item.State = "yes"
	}
	return item
}

// coldCodes lists what makes a cold reading implausible.
func (m *machine) coldCodes() []string {
	codes := []string{}
	if m.cold == nil {
		return codes
	}
	c := m.cold.v
	for _, v := range substituted {
		if c.GearboxC == v {
			codes = append(codes, "cold.substituted")
		}
	}
	if math.Abs(c.GearboxC-c.AirC) > coldAgreeC {
		codes = append(codes, "cold.air_differs")
	}
	if c.CoolantC != nil && math.Abs(*c.CoolantC-c.GearboxC) > coldAgreeC {
		codes = append(codes, "cold.coolant_differs")
	}
	return codes
}

func (m *machine) goCold() GoItem {
	item := GoItem{Code: "cold", State: "open"}
	if m.cold == nil {
		return item
	}
	item.State = "yes"
	if codes := m.coldCodes(); len(codes) > 0 {
		item.Why = codes[0]
		if codes[0] == "cold.substituted" || m.cold.v.Explained == "" {
			item.State = "no"
		}
	}
	return item
}

func (m *machine) goLimit() GoItem {
	item := GoItem{Code: "start_limit", State: "open"}
	if m.cold == nil || m.Profile.StartBelowC == nil {
		return item
	}
	item.State = "yes"
	if m.cold.v.GearboxC >= m.Profile.StartBelowC.Value {
		item.State, item.Why = "no", "start.warm"
	}
	return item
}

// refusals lists the go sheet's items that say no or are still open.
func (m *machine) refusals() []string {
	out := []string{}
	for _, i := range m.goItems() {
		if i.State != "yes" {
			code := i.Code
			if i.Why != "" {
				code = i.Why
			}
			out = append(out, code)
		}
	}
	return out
}
