package demo

import (
	"cmp"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"brimline/schema"
	"brimline/server/auth"
	"brimline/server/store"
)

// recorder writes the story into a store in the order in which it reached it.
type recorder struct {
	store  *store.Store
	office store.Tenant
	phones map[schema.PersonID]*phone
}

// phone is one person's device as the store knows it.
type phone struct {
	tenant store.Tenant
	dseq   int64
}

// record writes the whole story.
func (st *story) record(ctx context.Context, s *store.Store) error {
	if err := st.remind(); err != nil {
		return err
	}
	opened := st.calendar.day(openedDaysAgo).UnixMilli()
	office, err := s.AddWorkshop(ctx, workshop, opened)
	if err != nil {
		return fmt.Errorf("add the demo workshop: %w", err)
	}
	r := &recorder{store: s, office: office, phones: map[schema.PersonID]*phone{}}
	for _, p := range people[:len(people)-1] {
		if err := r.person(ctx, p, opened); err != nil {
			return err
		}
	}
	if err := r.documents(ctx, st, opened); err != nil {
		return err
	}
	if err := r.timeline(ctx, st); err != nil {
		return err
	}
	return r.person(ctx, people[len(people)-1], opened)
}

// person adds somebody with a phone that was signed in and out again.
func (r *recorder) person(ctx context.Context, p person, nowMS int64) error {
	hash, err := auth.HashPassword(p.password)
	if err == nil {
		err = r.store.AddPerson(ctx, r.office, p.record, p.email, hash, nowMS)
	}
	if err != nil {
		return fmt.Errorf("add %s: %w", p.record.Name, err)
	}
	// Nobody ever sees this session's token, and the session is ended at once:
	// it is here so that the device is known.
	var token [32]byte
	rand.Read(token[:]) // never fails
	sum := sha256.Sum256(token[:])
	tokenHash := hex.EncodeToString(sum[:])
	c := store.Credential{Workshop: workshop.ID, Person: p.record.ID}
	if _, err := r.store.StartSession(ctx, c, fixedID("session", p.email), p.device, p.phone, tokenHash, nowMS); err != nil {
		return fmt.Errorf("sign in %s: %w", p.record.Name, err)
	}
	if err := r.store.EndSession(ctx, tokenHash, nowMS); err != nil {
		return fmt.Errorf("sign out %s: %w", p.record.Name, err)
	}
	t, err := r.store.Local(ctx, workshop.ID, p.record.ID, p.device)
	if err != nil {
		return fmt.Errorf("act for %s: %w", p.record.Name, err)
	}
	r.phones[p.record.ID] = &phone{tenant: t}
	return nil
}

// documents writes what is there on the first day.
func (r *recorder) documents(ctx context.Context, st *story, nowMS int64) error {
	for _, file := range []string{correctedFrom, profile6T.file, profile7L.file} {
		if err := r.store.PutProfile(ctx, r.office, st.profiles[file], nowMS); err != nil {
			return fmt.Errorf("release %s: %w", file, err)
		}
	}
	for _, c := range st.cautions {
		if err := r.store.PutCaution(ctx, r.office, c, nowMS); err != nil {
			return fmt.Errorf("release caution %s: %w", c.Topic, err)
		}
	}
	return nil
}

// vehicle adds a vehicle and its gearbox as they were on a day.
func (r *recorder) vehicle(ctx context.Context, v vehicle, daysAgo int) error {
	if err := r.store.PutUnit(ctx, r.office, v.unit); err != nil {
		return fmt.Errorf("add the gearbox of %s: %w", v.record.Label, err)
	}
	record := v.record
	record.OdometerKM = v.kmAt(float64(daysAgo))
	if err := r.store.PutVehicle(ctx, r.office, record); err != nil {
		return fmt.Errorf("add %s: %w", v.record.Label, err)
	}
	return nil
}

// deed is one thing that reached the store at a moment.
type deed struct {
	atMS int64
	do   func(context.Context) error
}

// timeline carries out everything else in the order in which it arrived.
func (r *recorder) timeline(ctx context.Context, st *story) error {
	released := st.calendar.day(correctedDaysAgo).UnixMilli()
	deeds := []deed{{released, func(ctx context.Context) error {
		return r.store.PutProfile(ctx, r.office, st.profiles[profile8L.file], released)
	}}}
	for _, v := range st.vehicles {
		daysAgo := cmp.Or(v.addedAgo, openedDaysAgo)
		deeds = append(deeds, deed{st.calendar.day(daysAgo).UnixMilli(), func(ctx context.Context) error { return r.vehicle(ctx, v, daysAgo) }})
	}
	for _, t := range st.told {
		deeds = append(deeds, deed{t.sentMS(st.calendar.now), func(ctx context.Context) error { return r.check(ctx, t, st.calendar.now) }})
	}
	for _, e := range st.reminders {
		deeds = append(deeds, deed{e.sentMS, func(ctx context.Context) error { return r.reminder(ctx, e) }})
	}
	slices.SortStableFunc(deeds, func(a, b deed) int { return cmp.Compare(a.atMS, b.atMS) })
	for _, d := range deeds {
		if err := d.do(ctx); err != nil {
			return err
		}
	}
	return nil
}

// soonMS is how long a change takes where there is a network.
const soonMS = 90_000

// sentMS is when the phone's changes reached the server.
func (t told) sentMS(now time.Time) int64 {
	return min(t.log.last().WallMS+soonMS+int64(t.sentH*3600_000), now.UnixMilli())
}

// check enters where the vehicle stands and what its odometer shows, then sends
// the log as a phone does.
func (r *recorder) check(ctx context.Context, t told, now time.Time) error {
	if err := r.store.PutVehicle(ctx, r.office, t.record); err != nil {
		return fmt.Errorf("vehicle of visit %s: %w", t.key, err)
	}
	g := ids{name: "changes of " + t.key}
	changes := make([]store.Change, 0, len(t.log.events))
	for _, e := range t.log.events {
		body, err := json.Marshal(e)
		if err != nil {
			return fmt.Errorf("encode event %d of visit %s: %w", e.N, t.key, err)
		}
		changes = append(changes, store.Change{ID: g.next(e.WallMS), Kind: "event", V: 1, Body: body})
	}
	if err := r.push(ctx, t.who, changes, t.sentMS(now)); err != nil {
		return fmt.Errorf("send visit %s: %w", t.key, err)
	}
	return nil
}

func (r *recorder) reminder(ctx context.Context, e reminderEdit) error {
	change, err := e.change()
	if err == nil {
		err = r.push(ctx, e.who, []store.Change{change}, e.sentMS)
	}
	if err != nil {
		return fmt.Errorf("send reminder %s: %w", e.edit.Reminder.ID, err)
	}
	return nil
}

// push sends changes in portions and takes no answer but applied.
func (r *recorder) push(ctx context.Context, who person, changes []store.Change, nowMS int64) error {
	p := r.phones[who.record.ID]
	for portion := range slices.Chunk(changes, store.MaxChanges) {
		for i := range portion {
			p.dseq++
			portion[i].Dseq = p.dseq
		}
		results, err := r.store.Push(ctx, p.tenant, portion, nowMS)
		if err != nil {
			return err
		}
		for _, result := range results {
			if result.Status != store.Applied {
				err := fmt.Errorf("change %s was %s: %s", result.ID, result.Status, result.Code)
				if result.Problem != nil {
					err = errors.Join(err, result.Problem)
				}
				return err
			}
		}
	}
	return nil
}
