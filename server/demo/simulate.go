package demo

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"brimline/schema"
	"brimline/schema/procedure"
	"brimline/schema/procedure/mechanic"
)

// draws is how many draws of the seed a visit gets to come to its outcome.
const draws = 16

// delayStep is how much longer a delay gets with every draw.
const delayStep = 1.0 / 12

// typedSDDeg is how well a slope is known that somebody typed in by eye.
const typedSDDeg = 0.2

// maxEvents is the longest log the story has: a longer one counts drips that
// tell nothing new.
const maxEvents = 700

// errOtherwise says that a draw came to something else than the story's outcome.
var errOtherwise = errors.New("the check came to another outcome")

// told is one visit with the log that was made there.
type told struct {
	visit
	vehicle  vehicle
	record   schema.Vehicle // as it was entered that day
	checkID  schema.CheckID
	log      checkLog
	result   *procedure.Result
	status   string
	startMS  int64
	endMS    int64
	leftML   float64 // the truth afterwards
	airC     float64
	profile  schema.Profile
	cautions []schema.Caution
}

// story is the whole history before it is written to a store.
type story struct {
	calendar  calendar
	vehicles  []vehicle
	profiles  map[string]schema.Profile
	cautions  []schema.Caution
	told      []told // in the order of their days
	reminders []reminderEdit
}

func newStory(now time.Time) (*story, error) {
	c, err := newCalendar(now)
	if err != nil {
		return nil, err
	}
	st := &story{calendar: c, vehicles: fleet(), profiles: map[string]schema.Profile{}}
	for _, file := range []string{correctedFrom, profile8L.file, profile6T.file, profile7L.file} {
		if st.profiles[file], err = read[schema.Profile](file); err != nil {
			return nil, err
		}
	}
	st.cautions, err = read[[]schema.Caution]("cautions.json")
	return st, err
}

// workers is how many vehicles are worked on at once.
const workers = 2

// work lets the mechanics make every visit. The visits of one vehicle follow on
// from each other; vehicles do not depend on each other.
func (st *story) work(ctx context.Context) error {
	byVehicle := map[string][]visit{}
	for _, v := range visits() {
		byVehicle[v.vehicle] = append(byVehicle[v.vehicle], v)
	}
	type answer struct {
		told []told
		err  error
	}
	jobs, answers := make(chan vehicle, len(st.vehicles)), make(chan answer, len(st.vehicles))
	for _, v := range st.vehicles {
		jobs <- v
	}
	close(jobs)
	for range workers {
		go func() {
			for v := range jobs {
				list, err := st.workOn(ctx, v, byVehicle[v.record.Label])
				answers <- answer{list, err}
			}
		}()
	}
	var err error
	for range st.vehicles {
		a := <-answers
		st.told = append(st.told, a.told...)
		err = errors.Join(err, a.err)
	}
	slices.SortFunc(st.told, func(a, b told) int { return int(a.startMS - b.startMS) })
	return err
}

// workOn makes the visits of one vehicle in the order of their days.
func (st *story) workOn(ctx context.Context, v vehicle, list []visit) ([]told, error) {
	slices.SortStableFunc(list, func(a, b visit) int { return a.start(st.calendar).Compare(b.start(st.calendar)) })
	var done []told
	record, levelML := v.record, v.startML
	var since time.Time
	for _, next := range list {
		if err := ctx.Err(); err != nil {
			return done, err
		}
		at := next.start(st.calendar)
		if !since.IsZero() {
			levelML -= v.lossMLDay * at.Sub(since).Hours() / 24
		}
		levelML -= next.takesML
		since = at
		if next.place != "" {
			record.Place = next.place
		}
		record.OdometerKM = v.kmAt(st.calendar.now.Sub(at).Hours() / 24)
		made, ok := st.visit(v, record, next, levelML, done)
		if !ok {
			continue
		}
		done = append(done, made)
		levelML = made.leftML
	}
	return done, nil
}

// visit makes one visit with the first draw of the seed that comes to the
// outcome of the story. A visit that no draw brings there is left out: the rest
// stays true without it.
func (st *story) visit(v vehicle, record schema.Vehicle, next visit, levelML float64, before []told) (told, bool) {
	for draw := range draws {
		if made, err := st.attempt(v, record, next, levelML, before, draw); err == nil {
			return made, true
		}
	}
	return told{}, false
}

func (st *story) attempt(v vehicle, record schema.Vehicle, next visit, levelML float64, before []told, draw int) (told, error) {
	at := next.start(st.calendar)
	p := st.profiles[v.profile]
	if next.edition1 {
		p = st.profiles[correctedFrom]
	}
	made := told{visit: next, vehicle: v, record: record, startMS: at.UnixMilli(), airC: next.airC, profile: p, cautions: st.cautions}
	if made.airC == 0 {
		made.airC = airC(at)
	}
	name := ids{name: fmt.Sprint(next.key, draw)}
	made.checkID = schema.CheckID(name.next(made.startMS))
	m := &mechanic.Mechanic{Setup: made.setup(), Gearbox: v.box(p, made.airC, levelML, seed("visit", next.key, draw)), CheckID: made.checkID,
		WallMS: made.startMS, WalkS: next.who.walkS, Unit: "C", Start: made.started(at, before)}
	m.NewID = func() string { return name.next(m.WallMS) }
	next.prepare(m, draw)
	events, view, truth, err := m.Work()
	if err != nil {
		return told{}, err
	}
	made.log, made.leftML = checkLog{events}, truth.AsLeftML
	if len(events) > maxEvents {
		return told{}, fmt.Errorf("%w: nobody counts so many drips", errOtherwise)
	}
	if view.State.Phase != "done" || view.State.FitFinal == (next.want.status == "not_done") {
		return told{}, errOtherwise
	}
	made.endMS = made.log.last().WallMS
	if !made.log.opened() {
		made.leftML = levelML
	}
	if err := made.tell(name); err != nil {
		return told{}, err
	}
	return made, made.judge()
}

func (t told) setup() procedure.Setup {
	return procedure.Setup{Profile: t.profile, Vehicle: t.record, Unit: t.vehicle.unit, Cautions: t.cautions}
}

func (t told) started(at time.Time, before []told) procedure.Started {
	_, offsetS := at.Zone()
	b := procedure.Started{VehicleID: t.record.ID, UnitID: t.vehicle.unit.ID, ProfileID: t.profile.ID, ProfileEdition: t.profile.Edition,
		PersonID: t.who.record.ID, DeviceID: t.who.device, Reason: t.reason, Circuit: t.circuit, Cycle: t.cycle, UTCOffsetMin: offsetS / 60,
		Warmer: t.vehicle.unit.Warmer, Raised: true, Indoors: t.record.Place == depotHall}
	for _, first := range before {
		if first.key == t.first {
			b.FirstCheckID, b.HotDrive = first.checkID, true
		}
	}
	return b
}

// brokenOffS is how long the engine has run when a check is broken off.
const brokenOffS = 240

// prepare puts the vehicle as it truly stands, and the person's own ways, into
// a mechanic. A slope that was typed in by eye is there only once the vehicle
// has been measured. How long a delay has to be for its outcome depends on the
// season, so each draw makes it longer.
func (v visit) prepare(m *mechanic.Mechanic, draw int) {
	if v.walkS > 0 {
		m.WalkS = v.walkS * (1 + delayStep*float64(draw))
	}
	if !v.typed {
		m.Gearbox.PitchDeg, m.Gearbox.RollDeg = v.pitchDeg, v.rollDeg
	}
	m.Quit = func(view procedure.View) string {
		if v.typed {
			m.Gearbox.PitchDeg, m.Gearbox.RollDeg = v.pitchDeg, v.rollDeg
		}
		if v.stop != "" && view.State.EngineOnS > brokenOffS {
			return v.stop
		}
		return ""
	}
}

// opened reports whether the plug was out.
func (l *checkLog) opened() bool {
	for _, e := range l.events {
		if e.Kind == "plug.opened" {
			return true
		}
	}
	return false
}

// tell puts into the log what the simulated mechanic does not say.
func (t *told) tell(name ids) error {
	if t.typed {
		level := procedure.Tilt{SDDeg: typedSDDeg, Method: "typed", Where: "by eye, on the slab"}
		if err := t.log.replace("attitude.measured", level); err != nil {
			return err
		}
	}
	if t.ends != "" {
		if err := t.log.replace("check.finished", procedure.Finished{Outcome: "not_done", Reason: t.ends}); err != nil {
			return err
		}
	}
	if t.note != "" {
		if err := t.log.write(schema.EventID(name.next(t.endMS)), t.note); err != nil {
			return err
		}
	}
	return t.log.chain(fixedID("page load", t.key))
}

// judge replays the log as it will be stored, keeps what it came to and
// compares that with the story.
func (t *told) judge() error {
	c, err := procedure.Replay(t.setup(), t.log.events)
	if err != nil {
		return fmt.Errorf("replay: %w", err)
	}
	last := t.log.last()
	view := c.View(procedure.Stamp{WallMS: last.WallMS, MonoMS: last.MonoMS, Boot: last.Boot})
	summary := c.Summary(t.checkID)
	t.result, t.status = view.Result, summary.Status
	if t.result == nil || summary.Status != t.want.status || summary.Reason != t.want.reason {
		return fmt.Errorf("%w: %s %s", errOtherwise, summary.Status, summary.Reason)
	}
	set := summary.Status != "not_done"
	switch {
	case set && summary.Found == nil:
		return fmt.Errorf("%w: no level as found", errOtherwise)
	case set && t.lateC > 0 && (t.result.PlugInC == nil || *t.result.PlugInC <= t.lateC):
		return fmt.Errorf("%w: fitted too cool", errOtherwise)
	}
	return nil
}
