package procedure

import "brimline/schema/physics"

// foamSettleS is how long the engine idles before the plug is opened again after foam.
const foamSettleS = 120.0

// readEveryS is how old the last temperature may get before it is asked for again.
const readEveryS = 90.0

// looksAgainS is how long a thinning stream is left before it is looked at again.
const looksAgainS = 60.0

// plan lists the steps still ahead on the expected way, in order, from now.
func (m *machine) plan() []PlanStep {
	if m.phase != "run" || m.finalFit != nil && !m.engineOn {
		return []PlanStep{}
	}
	acts := m.planActs()
	out := make([]PlanStep, 0, len(acts))
	from := 0.0
	for _, act := range acts {
		s, _ := m.Profile.Step(act)
		out = append(out, PlanStep{Act: act, Place: s.Place, FromS: from, TypicalS: s.TypicalS, SDS: s.SDS})
		from += s.TypicalS
	}
	return out
}

func (m *machine) planActs() []string {
	if m.finalFit != nil {
		return []string{"stop"}
	}
	var acts []string
	if !m.engineOn {
		acts = append(acts, "start")
	}
	before := m.Profile.Exercise.When == "before opening"
	exercised := m.exercised && m.engineOn
	switch {
	case m.plugOut && exercised:
		return []string{"judge", "fit", "stop"}
	case m.plugOut:
		return []string{"judge", "close", "exercise", "open", "judge", "fit", "stop"}
	case exercised:
		return append(acts, "open", "judge", "fit", "stop")
	case len(m.openings) == 0 && !before:
		return append(acts, "open", "judge", "close", "exercise", "open", "judge", "fit", "stop")
	}
	return append(acts, "exercise", "open", "judge", "fit", "stop")
}

// advise returns the one thing to do now.
func (m *machine) advise(t float64, zone, do string) Advice {
	a := m.adviseAct(t, zone, do)
	if a.Place == "" {
		a.Place = m.place
	}
	if act, ok := stepOf[a.Code]; ok {
		if s, found := m.Profile.Step(act); found {
			a.StepID, a.Text = s.ID, s.Text
		}
	}
	return a
}

// stepOf names the profile's step whose words stand under an advice.
var stepOf = map[string]string{
	"crack_plug": "crack", "start_engine": "start", "warm_up": "warm", "exercise_start": "exercise", "exercise_hold": "exercise",
	"open_plug": "open", "look": "judge", "watch": "judge", "tap_drips": "judge", "add": "add", "fit": "fit", "wait_middle": "fit", "close_plug": "close",
	"stop_engine": "stop", "never_warm": "stop", "wipe_and_finish": "wipe",
}

func (m *machine) adviseAct(t float64, zone, do string) Advice {
	switch {
	case m.started == nil:
		return Advice{Code: "open_check", Act: "check.started"}
	case m.phase == "done":
		return Advice{Code: "done"}
	case m.phase == "prepare":
		return m.advisePrepare()
	case m.plugOut && (!m.engineOn || m.stopping != ""):
		return Advice{Code: "plug_first", Act: "plug.closed", Place: "under"}
	case m.plugOut:
		return m.adviseOpen(t, zone, do)
	case !m.engineOn:
		return m.adviseEngineOff()
	case m.exercising && m.stopping == "":
		return m.adviseExercise()
	}
	return m.adviseRunning(t, zone)
}

func (m *machine) advisePrepare() Advice {
	for _, item := range m.goItems() {
		if item.State == "yes" {
			continue
		}
		code, act := "go_"+item.Code, map[string]string{"cautions": "caution.acknowledged", "attitude": "attitude.measured", "cold": "cold.read",
			"start_limit": "cold.read", "plug": "plug.cracked", "kit": "kit.laid_out"}[item.Code]
		if item.State == "no" {
			return Advice{Code: "no_go", Act: "go.decided", Argument: item.Why}
		}
		if item.Code == "plug" {
			return Advice{Code: "crack_plug", Act: act, Place: "under"}
		}
		return Advice{Code: code, Act: act}
	}
	return Advice{Code: "decide_go", Act: "go.decided"}
}

// earlyC is how far below the middle of the window it is worth waiting: a plug
// fitted early leaves the gearbox fuller, about 6 mL per °C and 9 L.
const earlyC = 1.0

// middleC is the middle of the window.
func (m *machine) middleC() float64 {
	return physics.Window{LowC: m.Profile.Window.LowC, HighC: m.Profile.Window.HighC}.Mid()
}

// early reports whether a level at the lip is better fitted later, nearer the
// middle of the window, and there is time for it.
func (m *machine) early(t float64, zone string) bool {
	temp := m.tempAt(t)
	return zone == "in_time" && temp != nil && *temp+earlyC < m.middleC()
}

// adviseOpen follows the branch table while the plug is out.
func (m *machine) adviseOpen(t float64, zone, do string) Advice {
	if m.watching() {
		return Advice{Code: "tap_drips", Act: "drip.tapped", Place: "under"}
	}
	switch do {
	case "":
		return Advice{Code: "look", Act: "flow.seen", Place: "under"}
	case "watch", "judge_between":
		return Advice{Code: "watch", Act: "watch.started", Place: "under"}
	case "leave_open":
		return Advice{Code: "leave_open", Act: "watch.started", Place: "under"}
	case "let_thin":
		return Advice{Code: "let_thin", Act: "watch.started", Place: "under", WaitS: looksAgainS}
	case "add_lot", "add_to_first_drip":
		return Advice{Code: "add", Act: "fluid.added", Place: "under", AmountML: m.Profile.Limits.AddLotML}
	case "fit":
		if m.early(t, zone) {
			return Advice{Code: "wait_middle", Act: "plug.closed", Place: "under", Argument: num(m.middleC())}
		}
		return Advice{Code: "fit", Act: "plug.closed", Place: "under", Argument: m.Profile.Plug.TorqueNM.Printed}
	}
	return Advice{Code: "close_plug", Act: "plug.closed", Place: "under", Argument: do}
}

func (m *machine) adviseEngineOff() Advice {
	switch {
	case m.finalFit != nil:
		return Advice{Code: "wipe_and_finish", Act: "check.finished", Place: "beside"}
	case m.stopping != "" || m.endsHere():
		return Advice{Code: "finish_not_done", Act: "check.finished", Place: "beside"}
	case m.place != "seat":
		return Advice{Code: "go_seat", Act: "place.changed", Place: "seat"}
	case m.everOn:
		return Advice{Code: "restart_engine", Act: "engine.started", Place: "seat"}
	}
	return Advice{Code: "start_engine", Act: "engine.started", Place: "seat"}
}

// endsHere reports whether the last decision or an overrun ends this check.
func (m *machine) endsHere() bool {
	switch m.aftermath {
	case "close_stop_repeat", "stop_find_cause", "stop_vehicle", "add_to_first_drip", "engine_stopped":
		return true
	}
	return m.overran() || len(m.openings) >= m.Profile.Limits.Openings && m.finalFit == nil && !m.plugOut
}

// overran reports whether a reading that stands lay above the window after the
// engine was started and before the plug was fitted for good.
func (m *machine) overran() bool {
	for _, r := range m.readings {
		late := m.finalFit != nil && r.atS > m.finalFit.atS
		if !r.void && !late && len(m.engine) > 0 && r.atS > m.engine[0].atS && r.v.tempC() > m.Profile.Window.HighC {
			return true
		}
	}
	return false
}

func (m *machine) adviseExercise() Advice {
	e := m.Profile.Exercise
	span := Elapsed(m.holdStamp, m.stamp())
	left := e.DwellS.Value - span.MinS
	switch {
	case m.exerciseAt < 0:
		return Advice{Code: "exercise_hold", Act: "exercise.position", Place: "seat", Argument: e.Positions[0]}
	case !span.Certain:
		return Advice{Code: "exercise_again", Act: "exercise.position", Place: "seat", Argument: e.Positions[m.exerciseAt]}
	case left > 0:
		return Advice{Code: "exercise_wait", Place: "seat", Argument: e.Positions[m.exerciseAt], WaitS: left}
	case m.exerciseAt+1 < len(e.Positions):
		return Advice{Code: "exercise_hold", Act: "exercise.position", Place: "seat", Argument: e.Positions[m.exerciseAt+1]}
	}
	return Advice{Code: "exercise_end", Act: "exercise.finished", Place: "seat", Argument: m.Profile.Selector}
}

// adviseRunning is for engine on, plug in.
func (m *machine) adviseRunning(t float64, zone string) Advice {
	stop := m.stopping != "" || m.finalFit != nil || zone == "above" || m.endsHere()
	switch {
	case stop && m.exercising:
		return Advice{Code: "exercise_break", Act: "exercise.finished", Place: "seat"}
	case stop && m.place != "seat":
		return Advice{Code: "go_seat", Act: "place.changed", Place: "seat"}
	case stop:
		return Advice{Code: "stop_engine", Act: "engine.stopped", Place: "seat"}
	}
	needExercise := !m.exercised && (len(m.openings) > 0 || m.Profile.Exercise.When == "before opening")
	switch {
	case needExercise && m.place != "seat":
		return Advice{Code: "go_seat", Act: "place.changed", Place: "seat"}
	case needExercise:
		return Advice{Code: "exercise_start", Act: "exercise.started", Place: "seat"}
	case m.lastReading() == nil || t-m.lastReading().atS > readEveryS:
		return Advice{Code: "take_reading", Act: "reading.taken"}
	case zone == "below" && m.neverWarm(t) && m.place != "seat":
		return Advice{Code: "go_seat", Act: "place.changed", Place: "seat"}
	case zone == "below" && m.neverWarm(t):
		return Advice{Code: "never_warm", Act: "engine.stopped", Place: "seat"}
	case zone == "below":
		return Advice{Code: "warm_up", Act: "reading.taken"}
	case m.foamLeft() > 0:
		return Advice{Code: "foam_settle", Act: "reading.taken", WaitS: m.foamLeft()}
	case m.place != "under":
		return Advice{Code: "go_under", Act: "place.changed", Place: "under"}
	}
	return Advice{Code: "open_plug", Act: "plug.opened", Place: "under"}
}

// Warming that leads nowhere: after neverWarmS of idling a window that is more
// than tooLongS away is not waited for, and after idleEnoughS none is.
const (
	neverWarmS  = 1800.0
	tooLongS    = 2700.0
	idleEnoughS = 5400.0
)

// neverWarm reports whether waiting for the window has stopped making sense.
func (m *machine) neverWarm(t float64) bool {
	f, _ := m.forecast(t)
	if f == nil || m.onS < neverWarmS {
		return false
	}
	return f.ReachesLowS == nil || f.ReachesLowS.P50-t > tooLongS || m.onS > idleEnoughS
}

func (m *machine) foamLeft() float64 {
	if m.foamStamp == nil {
		return 0
	}
	return max(0, foamSettleS-Elapsed(*m.foamStamp, m.stamp()).MinS)
}

// timers lists the waits and exposures that run now.
func (m *machine) timers() []Timer {
	out := []Timer{}
	if m.exercising && m.exerciseAt >= 0 {
		out = append(out, waitTimer("dwell", m.Profile.Exercise.DwellS.Value, Elapsed(m.holdStamp, m.stamp())))
	}
	if m.foamStamp != nil && m.engineOn && !m.plugOut {
		out = append(out, waitTimer("foam", foamSettleS, Elapsed(*m.foamStamp, m.stamp())))
	}
	if m.engineOn {
		span := Elapsed(m.onStamp, m.stamp())
		t := Timer{Code: "engine_on", Kind: "exposure", TotalS: 0, ElapsedS: span.MaxS, Certain: span.Certain}
		if span.MaxS > maxPlausibleS {
			t.ElapsedS = maxPlausibleS
		}
		out = append(out, t)
	}
	if m.watching() {
		out = append(out, Timer{Code: "watch", Kind: "exposure", ElapsedS: m.now() - m.watch().fromS, Certain: true})
	}
	return out
}

func waitTimer(code string, total float64, span Span) Timer {
	return Timer{Code: code, Kind: "wait", TotalS: total, ElapsedS: span.MinS, LeftS: max(0, total-span.MinS), Certain: span.Certain}
}

// hazards lists what can hurt at this moment, worst first.
func (m *machine) hazards(t float64) []string {
	out := []string{}
	add := func(when bool, code string) {
		if when {
			out = append(out, code)
		}
	}
	running := m.phase == "run" || m.phase == "prepare"
	if !running {
		return out
	}
	temp := m.tempAt(t)
	add(m.exercising, "turning_wheels")
	add(m.plugOut && m.engineOn, "never_stop_engine")
	add(m.place == "under" && m.engineOn, "under_running")
	add(m.place == "under" && m.started.Raised, "stands")
	add(m.engineOn && m.started.Indoors, "fumes_indoors")
	add(m.engineOn && !m.started.Indoors, "fumes")
	add(m.engineOn && m.place == "under", "moving_parts")
	add(m.plugOut && temp != nil && *temp >= 45, "hot_fluid")
	add(m.place == "under" && m.engineOn, "hot_exhaust")
	add(m.Vehicle.AutoStop && m.engineOn, "auto_stop")
	add(m.Vehicle.Hybrid, "hybrid")
	return out
}

// stopSafely lists, in order, the acts that make this moment safe.
func (m *machine) stopSafely() []string {
	out := []string{}
	if m.phase != "run" {
		return out
	}
	if m.exercising {
		out = append(out, "hold_brake", "select_park")
	}
	if m.plugOut {
		if m.place != "under" {
			out = append(out, "go_under")
		}
		out = append(out, "plug_in")
	}
	if m.engineOn {
		if m.place != "seat" {
			out = append(out, "clear_of_vehicle", "go_seat")
		}
		out = append(out, "engine_off")
	}
	return append(out, "park_and_chocks", "record_reason")
}
