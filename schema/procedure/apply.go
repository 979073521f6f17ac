package procedure

import (
	"math"

	"brimline/schema"
	"brimline/schema/fault"
)

// kind is one row of the table of events.
type kind struct {
	gate   func(*machine) *fault.Error
	apply  func(*machine, schema.Event) error
	always bool // may come after the check is closed
}

// kinds is the closed list of events. Filled in init because the rows' gates
// look other rows up.
var kinds map[string]kind

// KindNames lists every event kind in a fixed order.
var KindNames = []string{"check.started", "caution.acknowledged", "attitude.measured", "cold.read", "plug.cracked", "kit.laid_out", "go.decided",
	"place.changed", "engine.started", "engine.stopped", "reading.taken", "exercise.started", "exercise.position", "exercise.finished",
	"plug.opened", "plug.closed", "flow.seen", "watch.started", "drip.tapped", "watch.ended", "fluid.added", "fluid.caught",
	"entry.corrected", "note.written", "app.resumed", "stop.begun", "check.finished"}

func init() {
	kinds = map[string]kind{
		"check.started":        {nil, with((*machine).start), false},
		"caution.acknowledged": {nil, with((*machine).acknowledge), false},
		"attitude.measured":    {nil, withID((*machine).measureTilt), false},
		"cold.read":            {(*machine).gatePrepareOrCold, withID((*machine).readCold), false},
		"plug.cracked":         {(*machine).gateCrack, with((*machine).crack), false},
		"kit.laid_out":         {(*machine).gatePrepare, with((*machine).layOut), false},
		"go.decided":           {(*machine).gatePrepare, with((*machine).decide), false},
		"place.changed":        {nil, with((*machine).move), false},
		"engine.started":       {(*machine).gateEngineStart, with((*machine).startEngine), false},
		"engine.stopped":       {(*machine).gateEngineStop, with((*machine).stopEngine), false},
		"reading.taken":        {(*machine).gateRun, withID((*machine).read), false},
		"exercise.started":     {(*machine).gateExerciseStart, with((*machine).startExercise), false},
		"exercise.position":    {(*machine).gateExercising, with((*machine).hold), false},
		"exercise.finished":    {(*machine).gateExercising, with((*machine).endExercise), false},
		"plug.opened":          {(*machine).gateOpen, with((*machine).open), false},
		"plug.closed":          {(*machine).gatePlugOut, withID((*machine).close), false},
		"flow.seen":            {(*machine).gatePlugOut, withID((*machine).seeFlow), false},
		"watch.started":        {(*machine).gateWatchStart, with((*machine).startWatch), false},
		"drip.tapped":          {(*machine).gateWatching, withID((*machine).tapDrip), false},
		"watch.ended":          {(*machine).gateWatching, withID((*machine).endWatch), false},
		"fluid.added":          {(*machine).gatePlugOut, withID((*machine).add), false},
		"fluid.caught":         {(*machine).gateCaught, withID((*machine).caught), false},
		"entry.corrected":      {nil, with((*machine).correct), false},
		"note.written":         {nil, with((*machine).write), true},
		"app.resumed":          {nil, with((*machine).resume), true},
		"stop.begun":           {(*machine).gateRun, with((*machine).beginStop), false},
		"check.finished":       {(*machine).gateFinish, with((*machine).finish), false},
	}
}

// with decodes the body before it calls f; withID hands the event's id over too.
func with[T any](f func(*machine, T) error) func(*machine, schema.Event) error {
	return func(m *machine, e schema.Event) error {
		b, err := decode[T](e.Body)
		if err != nil {
			return err
		}
		return f(m, b)
	}
}

func withID[T any](f func(*machine, schema.EventID, T) error) func(*machine, schema.Event) error {
	return func(m *machine, e schema.Event) error {
		b, err := decode[T](e.Body)
		if err != nil {
			return err
		}
		return f(m, e.ID, b)
	}
}

func (m *machine) start(b Started) error {
	if err := b.check(); err != nil {
		return err
	}
	p := m.Profile
	switch {
	case b.ProfileID != p.ID || b.ProfileEdition != p.Edition:
		return fault.Bad("profile.other", "profile_id", "the check was opened under another profile or edition than the one at hand")
	case b.VehicleID != m.Vehicle.ID:
		return fault.Bad("vehicle.other", "vehicle_id", "is not the vehicle at hand")
	case b.UnitID != m.Unit.ID:
		return fault.Bad("unit.other", "unit_id", "is not the gearbox in this vehicle")
	}
	if err := p.Check(); err != nil {
		return err
	}
	m.started, m.phase, m.place, m.exerciseAt = &b, "prepare", "beside", -1
	if p.Unproven() {
		m.mark("unproven_profile")
	}
	return nil
}

func (m *machine) acknowledge(b Acknowledged) error {
	for _, c := range m.Cautions {
		if c.ID == b.CautionID && c.Edition == b.Edition {
			m.acks = append(m.acks, b)
			return nil
		}
	}
	return fault.Bad("caution.unknown", "caution_id", "is not a caution at hand in this edition; read the cautions again")
}

func (m *machine) measureTilt(id schema.EventID, b Tilt) error {
	if err := b.check(); err != nil {
		return err
	}
	if b.Method == "reversal" && (b.First == nil || b.Turned == nil) {
		return fault.Bad("attitude.pair", "turned", "take the second reading with the phone turned half round")
	}
	m.tilt = &entry[Tilt]{id: id, atS: m.now(), v: b}
	return nil
}

// gatePrepareOrCold lets the cold reading be taken again until the first start.
func (m *machine) gatePrepareOrCold() *fault.Error {
	if m.phase == "done" || m.everOn {
		return refuse("cold.late", "the engine has run: a cold reading is no longer possible")
	}
	return nil
}

func (m *machine) readCold(id schema.EventID, b Cold) error {
	if err := b.check(); err != nil {
		return err
	}
	m.cold, m.coldStamp = &entry[Cold]{id: id, atS: m.now(), v: b}, m.stamp()
	return nil
}

func (m *machine) crack(Nothing) error  { m.cracked = true; return nil }
func (m *machine) layOut(Nothing) error { m.kit = true; return nil }

func (m *machine) decide(b Decided) error {
	if !b.Go {
		if err := oneOf("reason", b.Reason, NotDone...); err != nil {
			return err
		}
		m.decided, m.phase = &b, "done"
		m.finished, m.endedMS = &Finished{Outcome: "not_done", Reason: b.Reason}, m.stamp().WallMS
		return nil
	}
	if no := m.refusals(); len(no) > 0 {
		return refuse("go."+no[0], "the go sheet does not say go: "+no[0])
	}
	m.decided, m.phase = &b, "run"
	return nil
}

func (m *machine) move(b Moved) error {
	if err := oneOf("to", b.To, "seat", "under", "beside"); err != nil {
		return err
	}
	switch {
	case m.exercising && b.To != "seat":
		return refuse("exercise.running", "finish or break off the gear exercise first; select park and hold the brake before you leave the seat")
	case b.To == "under" && m.started.Raised && m.tilt == nil:
		return refuse("slope.first", "enter the slope before you go under a raised vehicle")
	}
	m.place = b.To
	return nil
}

func (m *machine) startEngine(Nothing) error {
	if m.everOn {
		m.mark("restarted")
	}
	m.engineOn, m.everOn, m.exercised, m.stopping, m.aftermath = true, true, false, "", ""
	m.onStamp = m.stamp()
	m.engine = append(m.engine, engineChange{m.now(), true})
	return nil
}

func (m *machine) stopEngine(b EngineStopped) error {
	if err := oneOf("cause", b.Cause, "mechanic", "stalled", "emergency"); err != nil {
		return err
	}
	if m.plugOut && b.Cause == "mechanic" {
		return refuse("plug.first", "plug in first, then engine off: fluid rushes out when the engine stops with the plug out")
	}
	if b.Cause == "stalled" {
		m.stalls++
	}
	if m.plugOut {
		m.mark("stalled_plug_out")
	}
	if b.Cause != "stalled" {
		m.aftermath = "engine_stopped"
	}
	m.engineOn, m.exercised, m.exercising, m.exerciseAt = false, m.exercised && m.finalFit != nil, false, -1
	m.engine = append(m.engine, engineChange{m.now(), false})
	return nil
}

// doubtC is how far a reading may lie from the last one before it is asked
// about: a fluid warms 1-3 °C/min, cold additions drop it by a few degrees.
func doubtC(minutes float64) float64 { return 8 + math.Min(20, 4*minutes) }

func (m *machine) read(id schema.EventID, b Reading) error {
	if err := b.check(); err != nil {
		return err
	}
	if f := m.doubt(b); f != nil && !b.Confirmed {
		return f
	}
	m.readings = append(m.readings, entry[Reading]{id: id, atS: m.now(), v: b})
	return nil
}

// doubt asks about a reading that does not follow from the last one; it never
// guesses which unit was meant.
func (m *machine) doubt(b Reading) *fault.Error {
	expected, ageS := 0.0, 0.0
	if last := m.lastReading(); last != nil {
		expected, ageS = last.v.tempC(), m.now()-last.atS
	} else if m.cold != nil {
		expected, ageS = m.cold.v.GearboxC, m.now()-m.cold.atS
	} else {
		return nil
	}
	allowed := doubtC(ageS / 60)
	if math.Abs(b.tempC()-expected) <= allowed {
		return nil
	}
	as := num(b.Value) + " °" + b.Unit
	other, unit := (b.Value-32)/1.8, "F"
	if b.Unit == "F" {
		other, unit = b.Value, "C"
	}
	message := as + " is far from the last temperature of " + num(math.Round(expected)) + " °C; enter it again to confirm, or correct it"
	if math.Abs(other-expected) <= allowed {
		message = as + " is far from the last temperature of " + num(math.Round(expected)) + " °C. Did you read " + num(b.Value) + " °" + unit + " (" + num(math.Round(other)) + " °C)? Confirm the unit"
		return fault.Bad("reading.unit", "unit", message)
	}
	return fault.Bad("reading.doubt", "value", message)
}

func (m *machine) startExercise(Nothing) error {
	m.exercising, m.exerciseAt, m.held, m.holdStamp = true, -1, 0, m.stamp()
	return nil
}

// heldLongEnough reports whether the position being held has had its dwell by
// the surest clock.
func (m *machine) heldLongEnough() bool {
	if m.exerciseAt < 0 {
		return true
	}
	span := Elapsed(m.holdStamp, m.stamp())
	return span.Certain && span.MinS >= m.Profile.Exercise.DwellS.Value
}

func (m *machine) hold(b Position) error {
	e := m.Profile.Exercise
	again := m.exerciseAt >= 0 && b.Position == e.Positions[m.exerciseAt] && !m.heldLongEnough()
	switch {
	case again: // the same position is held anew, for example after the app was away
	case !m.heldLongEnough():
		return refuse("wait.short", "hold "+e.Positions[m.exerciseAt]+" for "+e.DwellS.Printed+" first; if the app was away, hold it again")
	case m.exerciseAt+1 >= len(e.Positions):
		return refuse("exercise.over", "every position has been held; finish the exercise")
	case b.Position != e.Positions[m.exerciseAt+1]:
		return fault.Bad("exercise.order", "position", "the next position is "+e.Positions[m.exerciseAt+1])
	default:
		m.exerciseAt++
	}
	m.holdStamp = m.stamp()
	return nil
}

func (m *machine) endExercise(b ExerciseFinished) error {
	if b.Complete {
		if m.exerciseAt+1 < len(m.Profile.Exercise.Positions) {
			return refuse("exercise.incomplete", "the next position is "+m.Profile.Exercise.Positions[m.exerciseAt+1])
		}
		if !m.heldLongEnough() {
			return refuse("wait.short", "hold the last position for "+m.Profile.Exercise.DwellS.Printed+" first")
		}
		m.exercised, m.exercisedAt, m.addedSince, m.aftermath = true, m.now(), 0, ""
	}
	m.exercising, m.exerciseAt = false, -1
	return nil
}

func (m *machine) open(Nothing) error {
	m.plugOut, m.aftermath, m.foamStamp = true, "", nil
	m.openings = append(m.openings, opening{openedS: m.now(), firstDrip: -1, exercised: m.exercised})
	return nil
}

func (m *machine) close(id schema.EventID, b PlugClosed) error {
	if err := b.check(); err != nil {
		return err
	}
	if b.Final && b.Seal == "reused" && m.Profile.Plug.Seal != "reused" {
		m.mark("seal_reused")
	}
	m.aftermath = m.decision()
	if w := m.watch(); w != nil && w.open {
		w.open, w.toS = false, m.now()
	}
	o := m.opening()
	o.closed, o.closedS, o.final, o.exercised = true, m.now(), b.Final, m.exercised
	m.plugOut = false
	if m.aftermath == "close_idle_reopen" {
		s := m.stamp()
		m.foamStamp = &s
	}
	if b.Final && !m.engineOn {
		m.mark("fitted_engine_off")
	}
	if b.Final {
		m.finalFit = &entry[PlugClosed]{id: id, atS: m.now(), v: b}
	}
	return nil
}

func (m *machine) seeFlow(id schema.EventID, b Flow) error {
	if err := oneOf("seen", b.Seen, schema.SeenWords...); err != nil {
		return err
	}
	m.see(id, b.Seen)
	return nil
}

func (m *machine) startWatch(Nothing) error {
	o := m.opening()
	o.watches = append(o.watches, watch{fromS: m.now(), open: true})
	return nil
}

func (m *machine) tapDrip(id schema.EventID, _ Nothing) error {
	w := m.watch()
	w.drips = append(w.drips, entry[struct{}]{id: id, atS: m.now()})
	return nil
}

func (m *machine) endWatch(id schema.EventID, _ Nothing) error {
	w := m.watch()
	w.open, w.toS = false, m.now()
	m.see(id, m.seenFromWatch())
	return nil
}

func (m *machine) add(id schema.EventID, b Volume) error {
	if err := b.check(); err != nil {
		return err
	}
	m.volumes = append(m.volumes, volume{entry: entry[Volume]{id: id, atS: m.now(), v: b}, opening: len(m.openings) - 1, asFound: len(m.openings) == 1})
	m.addedSince += m.volumeML(b)
	if m.addedSince >= m.Profile.Limits.AddLotML {
		m.exercised = false // new fluid must reach the circuits before the level is judged
	}
	m.see(id, "")
	return nil
}

func (m *machine) caught(id schema.EventID, b Volume) error {
	if err := b.check(); err != nil {
		return err
	}
	m.volumes = append(m.volumes, volume{entry: entry[Volume]{id: id, atS: m.now(), v: b}, out: true, opening: len(m.openings) - 1, asFound: len(m.openings) == 1})
	return nil
}

func (m *machine) write(b Written) error {
	if b.Text == "" || len(b.Text) > schema.MaxTextBytes {
		return fault.Bad("text.empty", "text", "write something, at most 2000 bytes")
	}
	m.notes++
	return nil
}

func (m *machine) resume(b Resumed) error {
	if m.gap == nil {
		m.gap = &ClockGap{AtS: m.now()}
	}
	m.gap.WallS, m.gap.Restarted = float64(b.HiddenWallMS)/1000, b.Restarted
	if b.HiddenMonoMS != nil {
		m.gap.MonoS = *b.HiddenMonoMS / 1000
	}
	return nil
}

func (m *machine) beginStop(b StopBegun) error {
	if err := oneOf("reason", b.Reason, StopReasons...); err != nil {
		return err
	}
	m.stopping = b.Reason
	m.mark("broken_off")
	return nil
}

func (m *machine) finish(b Finished) error {
	if err := oneOf("outcome", b.Outcome, "set", "not_done"); err != nil {
		return err
	}
	switch {
	case b.Outcome == "not_done":
		if err := oneOf("reason", b.Reason, NotDone...); err != nil {
			return err
		}
	case m.finalFit == nil:
		return refuse("plug.not_fitted", "the level is not set: the plug has not been fitted for good")
	}
	m.finished, m.phase, m.endedMS = &b, "done", m.stamp().WallMS
	return nil
}

// correct replaces or voids an earlier entry. The entry stays in the log; what
// the gates decided at the time is not decided again.
func (m *machine) correct(b Corrected) error {
	if b.Void == (len(b.Body) > 0) {
		return fault.Bad("correction.form", "body", "give either a new value or take the entry back")
	}
	m.correction++
	for i := range m.readings {
		if m.readings[i].id == b.EventID {
			return amend(&m.readings[i], b, Reading.check)
		}
	}
	for i := range m.volumes {
		if m.volumes[i].id == b.EventID {
			return amend(&m.volumes[i].entry, b, Volume.check)
		}
	}
	for i := range m.openings {
		if done, err := m.openings[i].correct(b); done {
			return err
		}
	}
	if m.tilt != nil && m.tilt.id == b.EventID {
		if b.Void {
			return fault.Bad("correction.void", "void", "measure the slope again instead")
		}
		return amend(m.tilt, b, Tilt.check)
	}
	if m.cold != nil && m.cold.id == b.EventID {
		return m.correctCold(b)
	}
	return fault.Bad("correction.target", "event_id", "is not an entry that can be corrected; write a note instead")
}

func (m *machine) correctCold(b Corrected) error {
	if b.Void {
		return fault.Bad("correction.void", "void", "read the temperatures again instead")
	}
	if err := amend(m.cold, b, Cold.check); err != nil {
		return err
	}
	if m.everOn && m.cold.v.GearboxC >= m.Profile.StartBelowC.Value {
		m.mark("started_warm")
	}
	return nil
}

func (o *opening) correct(b Corrected) (bool, error) {
	for i := range o.seen {
		if o.seen[i].id == b.EventID && o.seen[i].v != "" {
			if b.Void {
				o.seen[i].void = true
				return true, nil
			}
			f, err := decode[Flow](b.Body)
			if err == nil {
				err = oneOf("seen", f.Seen, schema.SeenWords...)
			}
			if err == nil {
				o.seen[i].v = f.Seen
			}
			return true, err
		}
	}
	for i := range o.watches {
		for j := range o.watches[i].drips {
			if o.watches[i].drips[j].id == b.EventID {
				if !b.Void {
					return true, fault.Bad("correction.form", "void", "a drip can only be taken back")
				}
				o.watches[i].drips[j].void = true
				return true, nil
			}
		}
	}
	return false, nil
}

func amend[T any](e *entry[T], b Corrected, check func(T) error) error {
	if b.Void {
		e.void = true
		return nil
	}
	v, err := decode[T](b.Body)
	if err == nil {
		err = check(v)
	}
	if err == nil {
		e.v, e.void = v, false
	}
	return err
}
