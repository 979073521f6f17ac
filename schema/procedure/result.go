package procedure

import (
	"brimline/schema"
	"brimline/schema/fault"
	"brimline/schema/physics"
)

// gapS is how old the last temperature may be when the plug goes in for good
// before the result says so.
const gapS = 180.0

// result returns what the check came to, or nil while the plug has not been
// fitted for good and the check is open.
func (m *machine) result() *Result {
	if m.started == nil || m.finalFit == nil && m.phase != "done" {
		return nil
	}
	r := &Result{Status: "not_done", Unproven: m.Profile.Unproven(), Input: m.levelInput()}
	r.InML, r.OutML = m.totals()
	r.NetML = r.InML - r.OutML
	if m.finalFit != nil {
		r.PlugInC = m.tempAt(m.finalFit.atS)
	}
	level, err := physics.LevelEstimate(r.Input)
	if err != nil {
		r.Reason = "result.failed"
		if f := fault.As(err); f != nil {
			r.Reason = "result." + f.Code
		}
		return r
	}
	r.Level = level
	switch {
	case m.finished != nil && m.finished.Outcome == "not_done":
		r.Reason = m.finished.Reason
	case level.Status == "not done":
		r.Reason = level.Reasons[0]
	default:
		r.Status = level.Status
	}
	r.Reminder = m.proposal(r)
	return r
}

// levelInput turns the log into the level's input.
func (m *machine) levelInput() physics.LevelEstimateInput {
	p := m.Profile
	growth := caseGrowth
	in := physics.LevelEstimateInput{
		Profile: physics.LevelProfile{Window: physics.Window{LowC: p.Window.LowC, HighC: p.Window.HighC}, ActiveVolumeML: p.Fluid.ActiveML,
			DensityKgM3: p.Fluid.Density15, CaseExpansionPer: &growth, SecondCycle: p.SecondCycle},
		Sensor: m.sensor(), Moves: m.moves(), Irregular: []string{},
		Cooler: physics.LevelCooler{Circuit: m.started.Circuit, Cycle: m.started.Cycle, HotDriveSince: m.started.HotDrive},
	}
	if p.Acceptance != nil {
		in.Profile.Acceptance = &physics.AcceptanceBand{LowML: p.Acceptance.LowML, HighML: p.Acceptance.HighML, Origin: p.Acceptance.Origin}
	}
	if p.Plug.DropUL > 0 {
		in.Profile.DropUL = &p.Plug.DropUL
	}
	if m.tilt != nil {
		in.Attitude = &physics.TiltShiftInput{PitchDeg: m.tilt.v.PitchDeg, RollDeg: m.tilt.v.RollDeg, SDDeg: m.tilt.v.SDDeg,
			Plug: physics.PlugPlace{AheadMM: p.Plug.AheadMM, RightMM: p.Plug.RightMM}, FreeSurfaceCM2: p.Attitude.FreeSurfaceCM2}
	}
	in.AsFound, in.AsLeft = m.asFound(), m.asLeft()
	in.Irregular = m.levelIrregular()
	return in
}

// sensor says where the temperatures came from: the least sure source counts.
func (m *machine) sensor() physics.LevelSensor {
	s := physics.LevelSensor{Source: "reader"}
	step := 1.0
	for _, r := range m.readings {
		if r.void {
			continue
		}
		if r.v.Source == "gun" || r.v.Source == "probe" && s.Source == "reader" {
			s.Source = r.v.Source
		}
		if r.v.Unit == "F" {
			step = 1 / 1.8
		}
	}
	s.ResolutionC = &step
	return s
}

func (m *machine) moves() []physics.LevelMove {
	out := []physics.LevelMove{}
	for _, v := range m.volumes {
		if v.void {
			continue
		}
		move := physics.LevelMove{Direction: "in", TempC: m.volumeC(v.v), Phase: "later"}
		if v.out {
			move.Direction = "out"
			if v.v.TempC == nil {
				if temp := m.tempAt(v.atS); temp != nil {
					move.TempC = *temp
				}
			}
		}
		if v.asFound {
			move.Phase = "as_found"
		}
		amount := v.v.Amount
		if v.v.Unit == "g" {
			move.MassG = &amount
		} else {
			move.VolumeML = &amount
		}
		out = append(out, move)
	}
	return out
}

// asFound describes the first opening, before anything was added.
func (m *machine) asFound() *physics.LevelAsFound {
	if len(m.openings) == 0 {
		return nil
	}
	o := m.openings[0]
	opened := m.tempAt(o.openedS)
	seen := ""
	for _, s := range o.seen {
		if !s.void && s.v != "" && seen == "" {
			seen = s.v
		}
	}
	if opened == nil || seen == "" {
		return nil
	}
	f := &physics.LevelAsFound{OpenedC: *opened, Seen: seen}
	switch seen {
	case "nothing":
		f.Outcome = "nothing"
	case "few_drops", "drops":
		f.Outcome = "dripping"
	case "fast_drops", "thread", "stream", "gush", "pulses", "foam":
		f.Outcome = "ran out"
	default:
		return nil
	}
	if o.firstDrip >= 0 {
		f.FirstDripC = m.tempAt(o.firstDrip)
	}
	if o.closed {
		f.PlugInC = m.tempAt(o.closedS)
	}
	return f
}

// asLeft describes the moment the plug went in for good.
func (m *machine) asLeft() *physics.LevelAsLeft {
	if m.finalFit == nil {
		return nil
	}
	o := m.opening()
	temp := m.tempAt(o.closedS)
	if temp == nil {
		return nil
	}
	l := &physics.LevelAsLeft{PlugInC: *temp, Class: "none", Exercised: o.exercised}
	if m.exercisedAt > 0 {
		since := o.closedS - m.exercisedAt
		l.SinceExercise = &since
	}
	last, lastS := "", -1.0
	for _, s := range o.seen {
		if !s.void {
			last, lastS = s.v, s.atS
		}
	}
	if c, ok := map[string]string{"few_drops": "below", "drops": "balanced", "fast_drops": "above", "thread": "stream", "stream": "stream", "gush": "stream"}[last]; ok {
		l.Class = c
	}
	if n := len(o.watches); n > 0 {
		w := &o.watches[n-1]
		l.Watched = true
		if j := m.judge(w, w.toS); j != nil && w.toS >= lastS {
			l.Class, l.Ratio, l.RemainingML = j.Class, &j.Ratio, j.RemainingML
		}
	}
	return l
}

// levelIrregular turns what went outside the procedure into the level's words.
func (m *machine) levelIrregular() []string {
	out := []string{}
	add := func(when bool, word string) {
		if when {
			out = append(out, word)
		}
	}
	add(m.finalFit != nil && m.overran(), "overrun")
	add(m.has("fitted_engine_off"), "stalled")
	add(m.tilt == nil, "attitude_unknown")
	add(m.finalFit != nil && m.opening().lastSeen() == "foam", "foam")
	add(m.Profile.Unproven(), "unproven_profile")
	add(m.has("clock_gap"), "clock_gap")
	add(m.finalFit != nil && m.readingGap(), "reading_gap")
	return out
}

func (m *machine) has(code string) bool {
	for _, c := range m.irregular {
		if c == code {
			return true
		}
	}
	return false
}

func (o *opening) lastSeen() string {
	for i := len(o.seen) - 1; i >= 0; i-- {
		if !o.seen[i].void && o.seen[i].v != "" {
			return o.seen[i].v
		}
	}
	return ""
}

// readingGap reports whether no temperature was read near the fitting.
func (m *machine) readingGap() bool {
	for _, r := range m.readings {
		if d := m.finalFit.atS - r.atS; !r.void && d < gapS && d > -gapS {
			return false
		}
	}
	return true
}

// proposal makes the next visit from the result.
func (m *machine) proposal(r *Result) *Proposal {
	if m.phase != "done" {
		return nil
	}
	rule, days := "wet_spot", 14 // a look for wet spots after some driving: common practice, no source
	switch {
	case r.Status == "provisional":
		rule, days = "second_cycle", 3 // next day to seven days: common practice, no source
	case r.Status == "not_done":
		rule, days = "repeat_cold", 1
	case r.Level.Reading != "in" && r.Level.Reading != "likely in":
		rule, days = "level_again", 7
	}
	return &Proposal{Rule: rule, DueDate: m.dateAfter(days), Reason: "reminder." + rule}
}

// dateAfter returns the calendar date some days after the check's end, at the
// place of work.
func (m *machine) dateAfter(days int) string {
	const dayMS = 24 * 3600 * 1000
	localMS := m.endedMS + int64(m.started.UTCOffsetMin)*60000
	return schema.Date(int(localMS/dayMS) + days)
}
