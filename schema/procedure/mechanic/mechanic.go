// Package mechanic is a simulated mechanic who works on a simulated gearbox by
// doing what the procedure advises, tap by tap. Tests use it to walk a profile
// from the go sheet to the result and to compare the result with the truth; the
// demo's history is made by it, so its numbers agree with each other.
package mechanic

import (
	"fmt"
	"math"

	"brimline/schema"
	"brimline/schema/physics/gearbox"
	"brimline/schema/procedure"
	"brimline/schema/wire"
	"brimline/sync/merge"
)

// maxActs ends a check that goes round in circles: a fault of the procedure.
const maxActs = 400

// Mechanic is one person at one vehicle with a phone.
type Mechanic struct {
	procedure.Setup
	Gearbox  gearbox.Gearbox
	Start    procedure.Started // what the check is opened with
	CheckID  schema.CheckID
	NewID    func() string
	WallMS   int64   // the phone's clock; moves on with the work
	WalkS    float64 // from the seat to the underside
	TiltSD   float64 // how well the slope was measured
	Unit     string  // C or F
	Quit     func(procedure.View) string
	events   []schema.Event
	check    *procedure.Check
	head     string
	monoMS   float64
	readAtMS float64
	ranML    float64 // run out before this opening
	seats    map[string]bool
}

// Truth is what the simulation knows at the end.
type Truth struct {
	AsLeftML float64 // above the lip at the reference temperature, vehicle level
	AsFound  float64 // the same before anything was touched
	PlugInC  float64
}

// Work carries the check out from opening it to closing it.
//
// Errors: a fault of the procedure, or more than maxActs acts.
func (m *Mechanic) Work() ([]schema.Event, procedure.View, Truth, error) {
	truth := Truth{AsFound: m.Gearbox.ExtraML}
	m.check, _ = procedure.Replay(m.Setup, nil)
	m.readAtMS = math.Inf(-1)
	err := m.do("check.started", m.Start)
	for n := 0; err == nil && n < maxActs; n++ {
		v := m.view()
		if v.State.Phase == "done" {
			truth.AsLeftML = m.Gearbox.ExtraML
			return m.events, v, truth, nil
		}
		before := m.Gearbox.PlugOpen
		err = m.follow(v)
		if before && !m.Gearbox.PlugOpen {
			truth.PlugInC = m.Gearbox.FluidC
		}
	}
	if err == nil {
		err = fmt.Errorf("the check is not done after %d acts; the advice is %s", maxActs, m.view().Next.Code)
	}
	return m.events, m.view(), truth, err
}

func (m *Mechanic) view() procedure.View {
	return m.check.View(procedure.Stamp{WallMS: m.WallMS, MonoMS: m.monoMS, Boot: "simulated"})
}

// pass lets seconds go by for the gearbox and the clocks.
func (m *Mechanic) pass(s float64) {
	m.Gearbox.Step(s)
	m.monoMS += s * 1000
	m.WallMS += int64(math.Round(s * 1000))
}

// do appends one event.
func (m *Mechanic) do(kind string, body any) error {
	b, err := wire.Write(body)
	if err != nil {
		return fmt.Errorf("body of %s: %w", kind, err)
	}
	e := schema.Event{ID: schema.EventID(m.NewID()), CheckID: m.CheckID, N: len(m.events) + 1, Prev: m.head, Kind: kind, V: 1,
		WallMS: m.WallMS, MonoMS: m.monoMS, Boot: "simulated", Body: b}
	if err := procedure.Act(m.check, e); err != nil {
		return fmt.Errorf("event %d, %s: %w", e.N, kind, err)
	}
	whole, err := wire.Write(e)
	if err != nil {
		return fmt.Errorf("event %d: %w", e.N, err)
	}
	if m.head, err = merge.Hash(whole); err != nil {
		return fmt.Errorf("event %d: %w", e.N, err)
	}
	m.events = append(m.events, e)
	return nil
}

type none struct{}

// follow does the one thing the procedure advises.
func (m *Mechanic) follow(v procedure.View) error {
	if m.Quit != nil && v.State.Phase == "run" && !v.State.PlugOut && v.State.Engine == "idle" {
		if reason := m.Quit(v); reason != "" && !contains(v.State.Irregular, "broken_off") {
			return m.do("stop.begun", procedure.StopBegun{Reason: reason})
		}
	}
	switch v.Next.Code {
	case "go_cautions":
		return m.readCautions()
	case "go_attitude":
		m.pass(60)
		return m.do("attitude.measured", m.tilt())
	case "go_cold":
		m.pass(40)
		return m.do("cold.read", m.cold())
	case "crack_plug":
		m.pass(120)
		return m.do("plug.cracked", none{})
	case "go_kit":
		m.pass(90)
		return m.do("kit.laid_out", none{})
	case "decide_go":
		return m.do("go.decided", procedure.Decided{Go: true})
	case "no_go":
		return m.do("go.decided", procedure.Decided{Reason: noGo(v.Next.Argument)})
	}
	return m.run(v)
}

func contains(list []string, word string) bool {
	for _, w := range list {
		if w == word {
			return true
		}
	}
	return false
}

// noGo turns the go sheet's refusal into a reason of the closed list.
func noGo(why string) string {
	switch why {
	case "attitude.decline", "attitude.move":
		return "slope"
	case "start.warm":
		return "too_warm"
	}
	return "cold_implausible"
}

func (m *Mechanic) readCautions() error {
	for _, c := range m.Cautions {
		m.pass(6)
		if err := m.do("caution.acknowledged", procedure.Acknowledged{CautionID: c.ID, Edition: c.Edition}); err != nil {
			return err
		}
	}
	return nil
}

// tilt measures the slope with the phone turned half round; the phone has an
// offset of its own, which the two readings cancel.
func (m *Mechanic) tilt() procedure.Tilt {
	round := func(deg float64) float64 { return math.Round(deg*10) / 10 }
	g := m.Gearbox
	first := procedure.Pair{PitchDeg: round(g.PitchDeg + 0.3), RollDeg: round(g.RollDeg - 0.2)}
	turned := procedure.Pair{PitchDeg: round(-g.PitchDeg + 0.3), RollDeg: round(-g.RollDeg - 0.2)}
	return procedure.Tilt{PitchDeg: (first.PitchDeg - turned.PitchDeg) / 2, RollDeg: (first.RollDeg - turned.RollDeg) / 2, SDDeg: 0.15,
		Method: "reversal", First: &first, Turned: &turned, Where: m.Profile.Attitude.Reference}
}

func (m *Mechanic) cold() procedure.Cold {
	coolant := math.Round(m.Gearbox.SensorC + 0.4)
	return procedure.Cold{GearboxC: math.Round(m.Gearbox.SensorC), CoolantC: &coolant, AirC: math.Round(m.Gearbox.AmbientC), Source: "reader"}
}

// run follows the advice after the start was decided.
func (m *Mechanic) run(v procedure.View) error {
	switch v.Next.Code {
	case "start_engine", "restart_engine":
		m.pass(8)
		err := m.do("engine.started", none{})
		m.Gearbox.EngineOn = true
		return err
	case "go_seat", "go_under":
		m.pass(m.WalkS)
		return m.do("place.changed", procedure.Moved{To: v.Next.Place})
	case "warm_up", "foam_settle":
		m.pass(70)
		return m.read()
	case "take_reading":
		m.pass(6)
		return m.read()
	case "exercise_start":
		m.pass(4)
		return m.do("exercise.started", none{})
	case "exercise_hold", "exercise_again":
		m.pass(1)
		return m.do("exercise.position", procedure.Position{Position: v.Next.Argument})
	case "exercise_wait":
		m.pass(v.Next.WaitS + 0.2)
		return nil
	case "exercise_end", "exercise_break":
		return m.do("exercise.finished", procedure.ExerciseFinished{Complete: v.Next.Code == "exercise_end"})
	case "stop_engine", "never_warm":
		m.pass(5)
		err := m.do("engine.stopped", procedure.EngineStopped{Cause: "mechanic"})
		m.Gearbox.EngineOn = false
		return err
	case "wipe_and_finish":
		m.pass(150)
		return m.do("check.finished", procedure.Finished{Outcome: "set"})
	case "finish_not_done":
		m.pass(60)
		return m.do("check.finished", procedure.Finished{Outcome: "not_done", Reason: notDone(v)})
	}
	return m.atPlug(v)
}

// notDone says why a check ends without a level.
func notDone(v procedure.View) string {
	switch {
	case v.State.Zone == "above":
		return "overrun"
	case v.State.AddedML > 1000 || v.State.CaughtML > 1000:
		return "find_cause"
	}
	return "no_time"
}

// atPlug follows the advice that concerns the open plug.
func (m *Mechanic) atPlug(v procedure.View) error {
	if m.Gearbox.PlugOpen && v.Next.Code != "tap_drips" && m.monoMS-m.readAtMS > 60e3 {
		if err := m.read(); err != nil {
			return err
		}
	}
	switch v.Next.Code {
	case "open_plug":
		m.pass(30)
		if err := m.read(); err != nil {
			return err
		}
		m.ranML = m.Gearbox.RunML
		m.Gearbox.PlugOpen = true
		return m.do("plug.opened", none{})
	case "look":
		return m.look()
	case "watch", "leave_open":
		return m.count(25)
	case "wait_middle":
		m.pass(20)
		return m.read()
	case "let_thin":
		m.pass(v.Next.WaitS)
		return m.look()
	case "tap_drips":
		return m.do("watch.ended", none{})
	case "add":
		return m.pour(v.Next.AmountML)
	case "fit", "close_plug", "plug_first":
		return m.closePlug(v.Next.Code == "fit")
	}
	return fmt.Errorf("no mechanic knows the advice %q", v.Next.Code)
}

// read types the temperature in, confirming a doubt only if it is what the
// display shows.
func (m *Mechanic) read() error {
	temp, slip := m.Gearbox.Reading()
	value := temp
	if m.Unit == "F" {
		value = 32 + 1.8*temp
	}
	body := procedure.Reading{Value: math.Round(value), Unit: m.Unit, Source: "reader"}
	m.readAtMS = m.monoMS
	e := schema.Event{ID: schema.EventID(m.NewID()), CheckID: m.CheckID, N: len(m.events) + 1, Prev: m.head, Kind: "reading.taken", V: 1,
		WallMS: m.WallMS, MonoMS: m.monoMS, Boot: "simulated"}
	b, err := wire.Write(body)
	if err != nil {
		return err
	}
	if e.Body = b; procedure.Act(m.check.Clone(), e) != nil {
		if slip {
			return nil // the app asked; the person looked again and will read anew
		}
		body.Confirmed = true
	}
	return m.do("reading.taken", body)
}

// look says what is seen at the plug after the first seconds.
func (m *Mechanic) look() error {
	m.pass(12)
	perS := m.Gearbox.FlowMLS() * 1000 / m.Gearbox.DropUL
	switch {
	case perS < 0.02:
		return m.do("flow.seen", procedure.Flow{Seen: "nothing"})
	case perS > 60:
		return m.do("flow.seen", procedure.Flow{Seen: "stream"})
	case perS > 7:
		return m.do("flow.seen", procedure.Flow{Seen: "thread"})
	}
	return m.count(20)
}

// count taps every drip for some seconds.
func (m *Mechanic) count(seconds float64) error {
	if err := m.do("watch.started", none{}); err != nil {
		return err
	}
	const tick = 0.05
	for t := 0.0; t < seconds; t += tick {
		drops := m.Gearbox.Drops
		m.pass(tick)
		if m.Gearbox.Drops > drops {
			if err := m.do("drip.tapped", none{}); err != nil {
				return err
			}
		}
	}
	return m.do("watch.ended", none{})
}

// pour adds slowly until it just runs, at most the lot, and weighs what went in.
func (m *Mechanic) pour(lotML float64) error {
	poured, air := 0.0, m.Gearbox.AmbientC
	for poured < lotML && m.Gearbox.FlowMLS() <= 0 {
		m.Gearbox.AddFluid(25, air)
		poured += 25
		m.pass(2.5)
	}
	air = math.Round(air)
	grams := poured * m.Profile.Fluid.Density15 / 1000 * (1 - 7.4e-4*(air-15))
	return m.do("fluid.added", procedure.Volume{Amount: math.Round(grams), Unit: "g", TempC: &air})
}

// closePlug puts the plug in and weighs what ran out.
func (m *Mechanic) closePlug(final bool) error {
	wait := 12.0
	body := procedure.PlugClosed{Final: final}
	if final {
		wait = 35
		torque := m.Profile.Plug.TorqueNM.Value
		body.Seal, body.TorqueNM = "new", &torque
	}
	m.pass(wait)
	m.Gearbox.PlugOpen = false
	if err := m.do("plug.closed", body); err != nil {
		return err
	}
	ran := m.Gearbox.RunML - m.ranML
	if ran < 3 {
		return nil
	}
	temp := math.Round(m.Gearbox.FluidC)
	grams := ran * m.Profile.Fluid.Density15 / 1000 * (1 - 7.4e-4*(temp-15))
	return m.do("fluid.caught", procedure.Volume{Amount: math.Round(grams), Unit: "g", TempC: &temp})
}
