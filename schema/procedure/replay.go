package procedure

import (
	"strconv"

	"brimline/schema"
	"brimline/schema/fault"
	"brimline/schema/physics"
)

// Check is a log that has been read: the same log always gives the same Check.
type Check struct{ m *machine }

// Replay reads a log from its first event.
//
// Errors: an envelope that means nothing, a body that cannot be read, or an
// order that cannot happen, as a *fault.Error whose Field begins with the
// event's place, such as events[7], and whose message names its kind.
func Replay(s Setup, events []schema.Event) (*Check, error) {
	c := &Check{m: &machine{Setup: s, exerciseAt: -1}}
	if len(events) > schema.MaxEvents {
		return nil, fault.Bad("list.long", "events", "has more entries than one check may have")
	}
	for i := range events {
		if err := c.Append(events[i]); err != nil {
			return nil, err
		}
	}
	return c, nil
}

// Append reads one more event. After an error the Check must not be used again.
func (c *Check) Append(e schema.Event) error {
	m := c.m
	i := len(m.ids)
	if err := e.Check(); err != nil {
		return name(err, i, e.Kind)
	}
	if e.N != i+1 {
		return name(fault.Bad("event.n", "n", "must be "+strconv.Itoa(i+1)+": entries count up without holes"), i, e.Kind)
	}
	for _, id := range m.ids {
		if id == e.ID {
			return name(fault.Bad("event.twice", "id", "is the id of an earlier entry"), i, e.Kind)
		}
	}
	if i > 0 && e.CheckID != m.checkID {
		return name(fault.Bad("event.check", "check_id", "belongs to another check"), i, e.Kind)
	}
	m.checkID = e.CheckID
	m.advance(e.ID, Stamp{e.WallMS, e.MonoMS, e.Boot})
	if f := m.gate(e.Kind); f != nil {
		return name(f, i, e.Kind)
	}
	if err := kinds[e.Kind].apply(m, e); err != nil {
		return name(err, i, e.Kind)
	}
	return nil
}

// name puts the event's place and kind into a fault.
func name(err error, i int, kind string) error {
	f := fault.As(err)
	if f == nil {
		return err
	}
	n := *f
	n.Field = "events[" + strconv.Itoa(i) + "]"
	if f.Field != "" {
		n.Field += "." + f.Field
	}
	n.Message = kind + ": " + f.Message
	return &n
}

// Act says what the log would be with one more entry, made now.
//
// Errors: as Replay's, but with the field of the body alone, because a person
// has just typed it.
func Act(c *Check, e schema.Event) error {
	err := c.Append(e)
	f := fault.As(err)
	if f == nil {
		return err
	}
	n := *f
	prefix := "events[" + strconv.Itoa(e.N-1) + "]"
	if len(n.Field) >= len(prefix) && n.Field[:len(prefix)] == prefix {
		n.Field = n.Field[len(prefix):]
		if n.Field != "" {
			n.Field = n.Field[1:]
		}
	}
	if k := e.Kind + ": "; len(n.Message) > len(k) && n.Message[:len(k)] == k {
		n.Message = n.Message[len(k):]
	}
	return &n
}

// Clone returns a Check that can be appended to without changing c.
func (c *Check) Clone() *Check {
	m := *c.m
	m.stamps, m.at, m.ids = clip(m.stamps), clip(m.at), clip(m.ids)
	m.acks, m.engine, m.irregular, m.cached = clip(m.acks), clip(m.engine), clip(m.irregular), clip(m.cached)
	m.readings, m.volumes = append([]entry[Reading]{}, m.readings...), append([]volume{}, m.volumes...)
	m.openings = append([]opening{}, m.openings...)
	for i := range m.openings {
		o := &m.openings[i]
		o.seen, o.watches = append([]entry[string]{}, o.seen...), append([]watch{}, o.watches...)
		for j := range o.watches {
			o.watches[j].drips = append([]entry[struct{}]{}, o.watches[j].drips...)
		}
	}
	if m.tilt != nil {
		tilt := *m.tilt
		m.tilt = &tilt
	}
	if m.cold != nil {
		cold := *m.cold
		m.cold = &cold
	}
	if m.gap != nil {
		gap := *m.gap
		m.gap = &gap
	}
	return &Check{m: &m}
}

// clip makes the next append copy the slice.
func clip[T any](s []T) []T { return s[:len(s):len(s)] }

// Events returns how many events have been read.
func (c *Check) Events() int { return len(c.m.ids) }

// View returns everything to be shown of the check at a moment. A moment
// before the last event counts as the moment of the last event.
func (c *Check) View(now Stamp) View {
	m := c.m
	if len(m.stamps) == 0 {
		return View{State: State{ExerciseAt: -1}, Next: m.advise(0, "", ""), Allowed: m.allowed(), Plan: []PlanStep{}, Timers: []Timer{},
			Hazards: []string{}, Stop: []string{}, Trace: []TracePoint{}, GoSheet: GoSheet{Items: []GoItem{}, Refused: []string{}}}
	}
	// What is shown is what the log would say if nothing but time happened.
	at := *m
	span := Elapsed(m.stamp(), now)
	at.stamps = append(clip(m.stamps), now)
	at.at = append(clip(m.at), m.now()+span.BestS)
	at.cached = clip(m.cached)
	if m.engineOn {
		at.onS += span.BestS
	}
	return at.view()
}

func (m *machine) view() View {
	t := m.now()
	f, ids := m.forecast(t)
	zone, do := m.zone(t, f), m.decision()
	v := View{State: m.state(t, zone), Allowed: m.allowed(), Next: m.advise(t, zone, do), Plan: m.plan(), Timers: m.timers(),
		Hazards: m.hazards(t), Stop: m.stopSafely(), GoSheet: m.goSheet(), Trace: m.trace(f, ids), Result: m.result()}
	if m.phase == "run" {
		v.Forecast = f
	}
	if w := m.watch(); w != nil {
		v.Drip = m.judge(w, t)
	}
	if do != "" {
		v.Branch = &BranchView{Seen: m.seen(), Zone: zone, Do: do}
	}
	v.Tilt, v.Warmed = m.tiltShift(), m.warmed()
	return v
}

// allowed lists the kinds whose gates are open.
func (m *machine) allowed() []string {
	out := []string{}
	for _, k := range KindNames {
		if m.gate(k) == nil {
			out = append(out, k)
		}
	}
	return out
}

func (m *machine) state(t float64, zone string) State {
	s := State{CheckID: m.checkID, Phase: m.phase, Events: len(m.ids), Place: m.place, Engine: "off", PlugOut: m.plugOut, Cracked: m.cracked,
		Exercising: m.exercising, ExerciseAt: m.exerciseAt, Exercised: m.exercised, Openings: len(m.openings), Watching: m.watching(),
		Seen: m.seen(), TempC: m.tempAt(t), FitFinal: m.finalFit != nil, Zone: zone, Irregular: append([]string{}, m.irregular...),
		ElapsedS: t, EngineOnS: m.onS, ClockGap: m.gap, Unproven: m.Profile.Unproven(), ProfileID: m.Profile.ID,
		ProfileEdition: m.Profile.Edition, VehicleID: m.Vehicle.ID, StartedMS: m.stamps[0].WallMS, Selector: m.Profile.Selector}
	if m.engineOn {
		s.Engine = "idle"
	}
	if m.exercising && m.exerciseAt >= 0 {
		s.Selector = m.Profile.Exercise.Positions[m.exerciseAt]
	}
	if m.started != nil {
		s.Cycle, s.Circuit = m.started.Cycle, m.started.Circuit
	}
	if w := m.watch(); w != nil {
		s.Drips = len(w.times())
	}
	s.AddedML, s.CaughtML = m.totals()
	if r := m.lastReading(); r != nil {
		s.LastReading = &ReadingView{EventID: r.id, AtS: r.atS, TempC: r.v.tempC(), Value: r.v.Value, Unit: r.v.Unit, Source: r.v.Source, AgeS: t - r.atS}
	}
	if m.finished != nil {
		s.Outcome, s.Reason = m.finished.Outcome, m.finished.Reason
	}
	return s
}

// trace lists the readings for the picture; the ones the forecast doubts are marked.
func (m *machine) trace(f *physics.WarmupForecastOutput, ids []schema.EventID) []TracePoint {
	doubted := func(id schema.EventID) bool {
		if f != nil {
			for _, i := range f.Doubtful {
				if i < len(ids) && ids[i] == id {
					return true
				}
			}
		}
		return false
	}
	out := []TracePoint{}
	if m.cold != nil {
		out = append(out, TracePoint{EventID: m.cold.id, AtS: m.cold.atS, TempC: m.cold.v.GearboxC, Doubtful: doubted(m.cold.id)})
	}
	for _, r := range m.readings {
		if !r.void {
			out = append(out, TracePoint{EventID: r.id, AtS: r.atS, TempC: r.v.tempC(), Doubtful: doubted(r.id)})
		}
	}
	return out
}

// goSheet returns the go sheet as it stands.
func (m *machine) goSheet() GoSheet {
	g := GoSheet{Items: m.goItems(), Refused: m.refusals()}
	g.Ready = len(g.Refused) == 0
	if m.decided != nil {
		g.Decided = "no_go"
		if m.decided.Go {
			g.Decided = "go"
		}
	}
	if m.tilt != nil {
		g.Tilt = &GoTilt{PitchDeg: m.tilt.v.PitchDeg, RollDeg: m.tilt.v.RollDeg, SDDeg: m.tilt.v.SDDeg, Method: m.tilt.v.Method}
	}
	if m.cold != nil {
		g.Cold = &ColdView{GearboxC: m.cold.v.GearboxC, CoolantC: m.cold.v.CoolantC, AirC: m.cold.v.AirC, Codes: m.coldCodes()}
	}
	return g
}

// tiltShift returns what the measured slope does to the level, or nil.
func (m *machine) tiltShift() *physics.TiltShiftOutput {
	if m.tilt == nil || m.Profile.Attitude == nil || m.Profile.Plug == nil {
		return nil
	}
	out, err := physics.TiltShift(physics.TiltShiftInput{PitchDeg: m.tilt.v.PitchDeg, RollDeg: m.tilt.v.RollDeg, SDDeg: m.tilt.v.SDDeg,
		Plug: physics.PlugPlace{AheadMM: m.Profile.Plug.AheadMM, RightMM: m.Profile.Plug.RightMM}, FreeSurfaceCM2: m.Profile.Attitude.FreeSurfaceCM2})
	if err != nil {
		return nil
	}
	return &out
}

// Summarize replays a log and returns the check's summary.
func Summarize(p schema.Profile, v schema.Vehicle, u schema.Unit, cautions []schema.Caution, events []schema.Event) (schema.Check, error) {
	if len(events) == 0 {
		return schema.Check{}, fault.Bad("event.none", "events", "a check begins with its first entry")
	}
	c, err := Replay(Setup{p, v, u, cautions}, events)
	if err != nil {
		return schema.Check{}, err
	}
	return c.Summary(events[0].CheckID), nil
}

// Summary returns the check's summary.
func (c *Check) Summary(id schema.CheckID) schema.Check {
	m := c.m
	out := schema.Check{ID: id, VehicleID: m.Vehicle.ID, UnitID: m.Unit.ID, ProfileID: m.Profile.ID, ProfileEdition: m.Profile.Edition,
		StartedMS: m.stamps[0].WallMS, EndedMS: m.endedMS, Phase: m.phase, Status: "running", Events: len(m.ids)}
	if m.started != nil {
		out.PersonID, out.DeviceID, out.Cycle = m.started.PersonID, m.started.DeviceID, m.started.Cycle
	}
	out.Warming = m.warmed()
	r := m.result()
	if r == nil {
		return out
	}
	if m.phase == "done" {
		out.Status, out.Reason = r.Status, r.Reason
	}
	out.Reading = r.Level.Reading
	if l := r.Level.AsLeft; l != nil {
		out.Level = &schema.Level{LevelML: l.LevelML, SDML: l.SDML}
	}
	if l := r.Level.AsFound; l != nil {
		out.Found = &schema.Level{LevelML: l.LevelML, SDML: l.SDML}
	}
	return out
}
