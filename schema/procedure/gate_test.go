package procedure_test

import (
	"strings"
	"testing"

	"brimline/schema"
	"brimline/schema/fault"
	"brimline/schema/procedure"
	"brimline/schema/wire"
)

// log writes a check by hand, one line an entry, with a clock that the test moves.
type log struct {
	t      *testing.T
	setup  procedure.Setup
	check  *procedure.Check
	events []schema.Event
	id     func() string
	wallMS int64
	monoMS float64
	boot   string
}

func newLog(t *testing.T, profile string) *log {
	l := &log{t: t, setup: setup(t, profile), id: counter(9), wallMS: 1780000000000, boot: "one"}
	l.check, _ = procedure.Replay(l.setup, nil)
	return l
}

func (l *log) wait(s float64) *log {
	l.wallMS += int64(s * 1000)
	l.monoMS += s * 1000
	return l
}

// try appends an entry if the procedure takes it and returns its fault if not.
func (l *log) try(kind, body string) *fault.Error {
	l.t.Helper()
	e := schema.Event{ID: schema.EventID(l.id()), CheckID: checkID, N: len(l.events) + 1, Kind: kind, V: 1,
		WallMS: l.wallMS, MonoMS: l.monoMS, Boot: l.boot, Body: wire.Raw(body)}
	if e.N > 1 {
		e.Prev = strings.Repeat("0", 64) // the chain is the sync's to check
	}
	next := l.check.Clone()
	if err := procedure.Act(next, e); err != nil {
		f := fault.As(err)
		if f == nil {
			l.t.Fatalf("%s: %v is not a fault", kind, err)
		}
		return f
	}
	l.check, l.events = next, append(l.events, e)
	return nil
}

// do appends entries that must be taken, one a line: seconds before it, kind, body.
func (l *log) do(lines string) *log {
	l.t.Helper()
	for line := range strings.Lines(lines) {
		line = strings.TrimSpace(line)
		if line == "" {
			continue
		}
		parts := strings.SplitN(line, " ", 3)
		var s float64
		if err := wire.Read([]byte(parts[0]), &s); err != nil {
			l.t.Fatalf("%q: %v", line, err)
		}
		body := "{}"
		if len(parts) == 3 {
			body = parts[2]
		}
		l.wait(s)
		if f := l.try(parts[1], body); f != nil {
			l.t.Fatalf("%q: %s %v", line, f.Code, f)
		}
	}
	return l
}

func (l *log) view() procedure.View {
	return l.check.View(procedure.Stamp{WallMS: l.wallMS, MonoMS: l.monoMS, Boot: l.boot})
}

// refused wants the entry to be refused with the code.
func (l *log) refused(kind, body, code string) {
	l.t.Helper()
	f := l.try(kind, body)
	if f == nil {
		l.t.Errorf("%s %s was taken, want %s", kind, body, code)
	} else if f.Code != code {
		l.t.Errorf("%s %s: got %s (%v), want %s", kind, body, f.Code, f, code)
	}
}

func (l *log) advice(want string) {
	l.t.Helper()
	if got := l.view().Next.Code; got != want {
		l.t.Errorf("advice is %s, want %s", got, want)
	}
}

func (l *log) open(more string) *log {
	l.t.Helper()
	body := `{"vehicle_id":"` + vehicleID + `","unit_id":"` + unitID + `","profile_id":"` + string(l.setup.Profile.ID) + `","profile_edition":` +
		string(rune('0'+l.setup.Profile.Edition)) + `,"person_id":"` + personID + `","device_id":"` + deviceID +
		`","reason":"level_check","cooler_circuit":"untouched","cycle":1,"utc_offset_min":120,"warmer":"unknown","raised":true,"indoors":false` + more + `}`
	if f := l.try("check.started", body); f != nil {
		l.t.Fatal(f)
	}
	return l
}

func (l *log) cautions() *log {
	for _, c := range l.setup.Cautions {
		if f := l.try("caution.acknowledged", `{"caution_id":"`+string(c.ID)+`","edition":1}`); f != nil {
			l.t.Fatal(f)
		}
	}
	return l
}

const level = `{"pitch_deg":0.2,"roll_deg":-0.1,"sd_deg":0.15,"method":"typed","where":"pan rail"}`

// ready is a decided check, engine off, person in the seat.
func ready(t *testing.T) *log {
	l := newLog(t, "profile-8l.json").open("").cautions()
	return l.do(`60 attitude.measured ` + level + `
		30 cold.read {"gearbox_c":17,"coolant_c":17,"air_c":16,"source":"reader"}
		120 plug.cracked
		60 kit.laid_out
		5 go.decided {"go":true}
		20 place.changed {"to":"seat"}`)
}

// warm is a check in the window, engine on, plug in, person under the vehicle.
func warm(t *testing.T) *log {
	l := ready(t).do(`10 engine.started`)
	for _, c := range []string{"19", "21", "23", "25", "27", "29", "31", "33"} {
		l.do(`90 reading.taken {"value":` + c + `,"unit":"C","source":"reader"}`)
	}
	return l.do(`15 place.changed {"to":"under"}`)
}

func TestGoSheetGates(t *testing.T) {
	l := newLog(t, "profile-8l.json").open("")
	l.advice("go_cautions")
	l.refused("place.changed", `{"to":"under"}`, "slope.first") // raised: slope before anybody goes under
	l.refused("plug.cracked", `{}`, "slope.first")
	l.refused("engine.started", `{}`, "phase.run")
	l.refused("go.decided", `{"go":true}`, "go.cautions")
	l.cautions().advice("go_attitude")
	l.do(`1 attitude.measured {"pitch_deg":4,"roll_deg":0,"sd_deg":0.15,"method":"typed","where":"sill"}`)
	l.advice("no_go") // four degrees: never raised, never judged
	l.refused("go.decided", `{"go":true}`, "go.attitude.decline")
	l.do(`1 attitude.measured {"pitch_deg":1.4,"roll_deg":0,"sd_deg":0.15,"method":"typed","where":"sill"}`)
	l.refused("go.decided", `{"go":true}`, "go.attitude.move")
	l.do(`1 attitude.measured ` + level)
	l.do(`1 cold.read {"gearbox_c":33,"coolant_c":33,"air_c":31,"source":"reader"}`)
	l.refused("go.decided", `{"go":true}`, "go.start.warm") // 33 °C where the limit is 30
	l.do(`1 cold.read {"gearbox_c":60,"air_c":16,"source":"reader"}`)
	l.refused("go.decided", `{"go":true}`, "go.cold.substituted")
	l.do(`1 cold.read {"gearbox_c":27,"coolant_c":30,"air_c":18,"source":"reader"}`)
	l.refused("go.decided", `{"go":true}`, "go.cold.air_differs")
	l.do(`1 cold.read {"gearbox_c":27,"coolant_c":30,"air_c":18,"source":"reader","explained":"moved 40 minutes ago"}`)
	l.advice("crack_plug")
	l.refused("go.decided", `{"go":true}`, "go.plug")
	l.do("1 plug.cracked\n1 kit.laid_out")
	l.advice("decide_go")
	l.do(`1 go.decided {"go":true}`)
	l.refused("go.decided", `{"go":true}`, "phase.prepare")
}

func TestNotDoneOnTheGoSheetIsACompleteResult(t *testing.T) {
	l := newLog(t, "profile-8l.json").open("").cautions().do(`1 cold.read {"gearbox_c":34,"air_c":33,"source":"reader"}`)
	l.refused("go.decided", `{"go":false,"reason":"lazy"}`, "word.unknown")
	l.do(`1 go.decided {"go":false,"reason":"too_warm"}`)
	v := l.view()
	if v.State.Phase != "done" || v.Result == nil || v.Result.Status != "not_done" || v.Result.Reason != "too_warm" {
		t.Errorf("got phase %s, result %+v, want a result not_done for too_warm", v.State.Phase, v.Result)
	}
	if v.Result.Reminder == nil || v.Result.Reminder.Rule != "repeat_cold" {
		t.Errorf("got reminder %+v, want repeat_cold", v.Result.Reminder)
	}
	l.refused("engine.started", `{}`, "check.finished")
	if f := l.try("note.written", `{"text":"customer told"}`); f != nil {
		t.Errorf("a note after the end was refused: %v", f)
	}
}

func TestEngineGates(t *testing.T) {
	l := ready(t)
	l.do(`5 place.changed {"to":"beside"}`)
	l.refused("engine.started", `{}`, "place.seat")
	l.do(`5 place.changed {"to":"seat"}`)
	l.wait(4000)
	l.refused("engine.started", `{}`, "cold.old")
	l.do(`1 cold.read {"gearbox_c":17,"air_c":17,"source":"reader"}`).do(`1 engine.started`)
	l.refused("engine.started", `{}`, "engine.on")
	l.refused("check.finished", `{"outcome":"not_done","reason":"other"}`, "engine.on")
	l.refused("plug.opened", `{}`, "place.under")
}

func TestExerciseNeedsAPersonInTheSeatAndTheWholeDwell(t *testing.T) {
	l := ready(t).do(`1 engine.started`).do(`60 place.changed {"to":"under"}`)
	l.refused("exercise.started", `{}`, "exercise.seat")
	l.do(`10 place.changed {"to":"seat"}`).do(`1 exercise.started`)
	l.refused("place.changed", `{"to":"under"}`, "exercise.running")
	l.refused("exercise.position", `{"position":"D"}`, "exercise.order")
	l.do(`1 exercise.position {"position":"P"}`).wait(4.9)
	l.refused("exercise.position", `{"position":"R"}`, "wait.short")
	l.wait(0.2).do(`0 exercise.position {"position":"R"}`)
	// The app is closed and comes back an hour later by the wall clock: the
	// wait must be held again, whatever the clock says.
	l.boot, l.monoMS = "two", 0
	l.wallMS += 3600e3
	l.refused("exercise.position", `{"position":"N"}`, "wait.short")
	l.advice("exercise_again")
	l.do(`1 exercise.position {"position":"R"}
		5 exercise.position {"position":"N"}
		5 exercise.position {"position":"D"}
		5 exercise.position {"position":"N"}`)
	l.refused("exercise.finished", `{"complete":true}`, "exercise.incomplete")
	l.do(`5 exercise.position {"position":"P"}`)
	l.refused("exercise.finished", `{"complete":true}`, "wait.short")
	l.do(`5 exercise.finished {"complete":true}`)
	if !l.view().State.Exercised {
		t.Error("the whole exercise did not count")
	}
	// The wall clock set back during a wait shortens nothing and lengthens nothing.
	l.do("1 exercise.started\n1 exercise.position {\"position\":\"P\"}")
	l.monoMS += 5000
	l.wallMS -= 7200e3
	l.do(`0 exercise.position {"position":"R"}`)
}

func TestNeverStopTheEngineWithThePlugOut(t *testing.T) {
	l := warm(t).do(`20 plug.opened`)
	l.refused("engine.stopped", `{"cause":"mechanic"}`, "plug.first")
	v := l.view()
	if got := strings.Join(v.Stop, " "); got != "plug_in clear_of_vehicle go_seat engine_off park_and_chocks record_reason" {
		t.Errorf("stop safely is %q, want plug in before engine off", got)
	}
	l.do(`5 engine.stopped {"cause":"stalled"}`) // a fact is always taken
	l.advice("plug_first")
	if v := l.view(); v.Branch == nil || v.Branch.Do != "close_restart_exercise" {
		t.Errorf("got %+v after a stall with the plug out, want close_restart_exercise", v.Branch)
	}
	l.do(`5 plug.closed {"final":false}`).do(`60 fluid.caught {"amount":420,"unit":"g"}`)
	l.advice("go_seat")
	l.do("20 place.changed {\"to\":\"seat\"}\n5 engine.started")
	l.advice("exercise_start") // after any stop the gears are exercised again
}

func TestAReadingThatDoesNotFitAsks(t *testing.T) {
	l := ready(t).do(`1 engine.started`).do(`60 reading.taken {"value":18,"unit":"C","source":"reader"}`)
	l.wait(60)
	l.refused("reading.taken", `{"value":95,"unit":"C","source":"reader"}`, "reading.doubt")
	l.refused("reading.taken", `{"value":68,"unit":"C","source":"reader"}`, "reading.unit") // 68 °F is 20 °C
	l.refused("reading.taken", `{"value":400,"unit":"C","source":"reader"}`, "number.range")
	l.refused("reading.taken", `{"value":"x","unit":"C","source":"reader"}`, "json.type")
	l.refused("reading.taken", `{"value":20,"unit":"C","source":"reader","temp":1}`, "json.unknown")
	l.do(`0 reading.taken {"value":68,"unit":"F","source":"reader"}`)
	if r := l.view().State.LastReading; r == nil || r.TempC != 20 || r.Value != 68 || r.Unit != "F" {
		t.Errorf("got %+v, want 68 °F kept as entered and 20 °C", r)
	}
	l.do(`30 reading.taken {"value":95,"unit":"C","source":"reader","confirmed":true}`)
}

func TestCorrectionsPointAtTheOldEntry(t *testing.T) {
	l := warm(t).do(`10 plug.opened`).do(`15 flow.seen {"seen":"nothing"}`).do(`60 fluid.added {"amount":2500,"unit":"ml"}`)
	added := l.events[len(l.events)-1].ID
	if do := l.check.View(procedure.Stamp{WallMS: l.wallMS, MonoMS: l.monoMS, Boot: l.boot}); do.Branch == nil || do.Branch.Do != "stop_find_cause" {
		t.Errorf("2.5 L into a gearbox that stops at 1.5 L: got %+v, want stop_find_cause", do.Branch)
	}
	l.do(`5 entry.corrected {"event_id":"` + string(added) + `","body":{"amount":250,"unit":"ml"}}`)
	if v := l.view(); v.State.AddedML != 250 || v.State.Events != len(l.events) {
		t.Errorf("got %g mL in %d entries, want 250 mL and every entry kept", v.State.AddedML, v.State.Events)
	}
	l.do(`5 entry.corrected {"event_id":"` + string(added) + `","void":true}`)
	if v := l.view(); v.State.AddedML != 0 {
		t.Errorf("got %g mL after the entry was taken back, want 0", v.State.AddedML)
	}
	l.refused("entry.corrected", `{"event_id":"`+string(l.events[0].ID)+`","void":true}`, "correction.target")
	l.refused("entry.corrected", `{"event_id":"`+string(added)+`"}`, "correction.form")
	l.refused("entry.corrected", `{"event_id":"`+string(added)+`","body":{"amount":-1,"unit":"ml"}}`, "number.range")
}

// Every observation has an answer in every zone, and every answer has an
// advice that can be followed.
func TestTheBranchTableIsTotal(t *testing.T) {
	for _, profile := range []string{"profile-8l.json", "profile-6t.json", "profile-7l.json", "profile-8l-edition-1.json"} {
		p := load[schema.Profile](t, profile)
		if faults := p.Faults(); len(faults) > 0 {
			t.Errorf("%s: %v", profile, faults)
		}
		for _, seen := range schema.SeenWords {
			row, ok := p.Branch(seen)
			if !ok {
				t.Fatalf("%s has no row %s", profile, seen)
			}
			for zone, cell := range map[string]schema.Cell{"below": row.Below, "in_time": row.InTime, "in_short": row.InShort, "above": row.Above} {
				if cell.Do == "" {
					t.Errorf("%s: %s %s is empty", profile, seen, zone)
				}
			}
		}
		p.Branches = p.Branches[1:]
		p.Plug.TorqueNM, p.StartBelowC = nil, nil
		faults := p.Faults()
		if len(faults) != 3 {
			t.Errorf("%s with three things missing: got %v, want three faults", profile, faults)
		}
	}
	for _, seen := range schema.SeenWords {
		if seen == "engine_off" {
			continue
		}
		l := warm(t).do(`10 plug.opened`).do(`15 flow.seen {"seen":"` + seen + `"}`)
		v := l.view()
		if v.Branch == nil || v.Next.Act == "" {
			t.Errorf("%s: branch %+v, advice %+v: nothing can be done", seen, v.Branch, v.Next)
		}
		allowed := strings.Join(v.Allowed, " ")
		if !strings.Contains(allowed, v.Next.Act) {
			t.Errorf("%s: the advice is %s, which is not allowed", seen, v.Next.Act)
		}
	}
}

func TestOverrun(t *testing.T) {
	l := warm(t).do(`10 plug.opened`).do(`15 flow.seen {"seen":"stream"}`)
	for _, c := range []string{"36", "39", "42", "45", "48", "51"} {
		l.do(`90 reading.taken {"value":` + c + `,"unit":"C","source":"reader"}`)
	}
	v := l.view()
	if v.State.Zone != "above" || v.Branch.Do != "close_stop_repeat" || v.Next.Code != "close_plug" {
		t.Errorf("above the window with the plug out: zone %s, %+v, advice %s; want plug in first", v.State.Zone, v.Branch, v.Next.Code)
	}
	l.do(`5 plug.closed {"final":true,"seal":"new","torque_nm":35}`)
	l.advice("go_seat")
	l.do("10 place.changed {\"to\":\"seat\"}\n5 engine.stopped {\"cause\":\"mechanic\"}\n60 check.finished {\"outcome\":\"set\"}")
	if r := l.view().Result; r == nil || r.Status != "not_done" || r.Reason != "overrun" {
		t.Errorf("fitted above the window: got %+v, want not_done for overrun, never a pass", r)
	}
}

func TestFaultsNameTheEvent(t *testing.T) {
	l := warm(t)
	events := append([]schema.Event{}, l.events...)
	events[12].Kind = "plug.torn_off"
	_, err := procedure.Replay(l.setup, events)
	if f := fault.As(err); f == nil || f.Code != "event.kind" || f.Field != "events[12].kind" {
		t.Errorf("unknown kind: got %v", err)
	}
	events = append([]schema.Event{}, l.events...)
	events[5].Body = wire.Raw(`{"caution_id":7}`)
	_, err = procedure.Replay(l.setup, events)
	if f := fault.As(err); f == nil || f.Field != "events[5].caution_id" {
		t.Errorf("wrong type: got %v", err)
	}
}

// A reload of a second is kept in the log and blurs nothing; a phone that was
// dead for a minute while the engine ran is part of the result.
func TestOnlyAGapThatMattersBlursTheLevel(t *testing.T) {
	for _, tt := range []struct {
		name  string
		awayS float64
		want  bool
	}{{"a reload", 1.2, false}, {"a dead phone", 60, true}} {
		l := warm(t)
		l.boot, l.monoMS = "two", 0
		l.wallMS += int64(tt.awayS * 1000)
		l.do(`0 app.resumed {"hidden_wall_ms":1000,"restarted":true}`)
		s := l.view().State
		marked := strings.Contains(strings.Join(s.Irregular, " "), "clock_gap")
		if marked != tt.want || s.ClockGap == nil || !s.ClockGap.Restarted {
			t.Errorf("%s: marked %v, gap %+v; want marked %v and the gap kept", tt.name, marked, s.ClockGap, tt.want)
		}
	}
}

func TestElapsed(t *testing.T) {
	at := func(wall int64, mono float64, boot string) procedure.Stamp {
		return procedure.Stamp{WallMS: wall, MonoMS: mono, Boot: boot}
	}
	for _, tt := range []struct {
		name           string
		to             procedure.Stamp
		min, max, best float64
		certain, gap   bool
	}{
		{"both agree", at(10000, 10000, "a"), 10, 10, 10, true, false},
		{"the phone slept", at(600000, 10000, "a"), 10, 600, 600, true, true},
		{"the clock was set back", at(-3600000, 10000, "a"), 10, 10, 10, true, true},
		{"the clock was set back a little", at(4000, 10000, "a"), 4, 10, 10, true, true},
		{"restarted", at(300000, 5, "b"), 0, 300, 300, false, false},
	} {
		s := procedure.Elapsed(at(0, 0, "a"), tt.to)
		if s.MinS != tt.min || s.MaxS != tt.max || s.BestS != tt.best || s.Certain != tt.certain || s.Differ != tt.gap {
			t.Errorf("%s: got %+v, want min %g max %g best %g", tt.name, s, tt.min, tt.max, tt.best)
		}
	}
	if s := procedure.Elapsed(at(0, 0, "a"), at(-5000, 1, "b")); s.MinS != 0 || s.MaxS < 1e9 {
		t.Errorf("restarted with the clock set back: got %+v, want any exposure exceeded", s)
	}
}
