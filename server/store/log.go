package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"brimline/schema"
	"brimline/schema/fault"
)

// basis is what a check was begun with, frozen when its first event arrives, so
// that a later change of a vehicle or a new edition does not change what an old
// log means.
type basis struct {
	Vehicle        schema.Vehicle   `json:"vehicle"`
	Unit           schema.Unit      `json:"unit"`
	ProfileID      schema.ProfileID `json:"profile_id"`
	ProfileEdition int              `json:"profile_edition"`
	Cautions       []cautionEdition `json:"cautions"`
}

type cautionEdition struct {
	ID      schema.CautionID `json:"id"`
	Edition int              `json:"edition"`
}

// checkLog is one check's log as it is stored, and what a push adds to it.
type checkLog struct {
	id      schema.CheckID
	n       int    // events stored
	head    string // hash of the last of them
	person  schema.PersonID
	device  schema.DeviceID
	basis   basis
	summary schema.Check
	added   []addedEvent
	stopped bool // a change of this push was refused; later ones wait for it
}

// addedEvent is an event that fits the end of the log.
type addedEvent struct {
	event   schema.Event
	text    []byte
	hash    string
	change  parsed
	result  int
	refused bool
}

// tail returns the length and head of the log with what the push adds.
func (l *checkLog) tail() (n int, head string) {
	if k := len(l.added); k > 0 {
		return l.n + k, l.added[k-1].hash
	}
	return l.n, l.head
}

// loadLog returns the stored log, or an empty one if there is none.
func loadLog(ctx context.Context, q querier, t Tenant, id schema.CheckID) (*checkLog, error) {
	l := &checkLog{id: id}
	var basisText, body []byte
	err := q.row(ctx, "SELECT person, device, n, head, basis, body FROM check_summary WHERE workshop = $1 AND id = $2", t.workshop, id).
		Scan(&l.person, &l.device, &l.n, &l.head, &basisText, &body)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return l, nil
	case err != nil:
		return nil, fmt.Errorf("select check %q: %w", id, err)
	}
	if err := json.Unmarshal(basisText, &l.basis); err != nil {
		return nil, fmt.Errorf("decode basis of check %q: %w", id, err)
	}
	if err := json.Unmarshal(body, &l.summary); err != nil {
		return nil, fmt.Errorf("decode check %q: %w", id, err)
	}
	return l, nil
}

// HeldEvent is one stored event.
type HeldEvent struct {
	Event      schema.Event
	Hash       string
	ReceivedMS int64
}

func loadEvents(ctx context.Context, q querier, t Tenant, id schema.CheckID) ([]HeldEvent, error) {
	rows, err := q.rows(ctx, "SELECT body, hash, received_ms FROM event WHERE workshop = $1 AND check_id = $2 ORDER BY n", t.workshop, id)
	if err != nil {
		return nil, fmt.Errorf("select events of check %q: %w", id, err)
	}
	defer rows.Close()
	var events []HeldEvent
	for rows.Next() {
		var h HeldEvent
		var body []byte
		if err := rows.Scan(&body, &h.Hash, &h.ReceivedMS); err != nil {
			return nil, fmt.Errorf("read events of check %q: %w", id, err)
		}
		if err := json.Unmarshal(body, &h.Event); err != nil {
			return nil, fmt.Errorf("decode event of check %q: %w", id, err)
		}
		events = append(events, h)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("read events of check %q: %w", id, err)
	}
	return events, nil
}

// started is the part of a check's first event that the store itself needs.
type started struct {
	VehicleID      schema.VehicleID `json:"vehicle_id"`
	UnitID         schema.UnitID    `json:"unit_id"`
	ProfileID      schema.ProfileID `json:"profile_id"`
	ProfileEdition int              `json:"profile_edition"`
	PersonID       schema.PersonID  `json:"person_id"`
	DeviceID       schema.DeviceID  `json:"device_id"`
}

// errEdition defers a check whose profile edition this server does not hold,
// as after a restore from an older backup.
var errEdition = fault.New(fault.Unavailable, "profile.edition_unknown", "body.body.profile_edition",
	"this edition of the profile is not on the server yet; it is sent again later")

// begin freezes the basis of a check from its first event. A fault refuses the
// event; ids of another workshop are answered as ids nobody has.
func (s *Store) begin(ctx context.Context, q querier, t Tenant, l *checkLog, first schema.Event) (*fault.Error, error) {
	var b started
	if first.Kind != "check.started" || json.Unmarshal(first.Body, &b) != nil {
		return fault.Bad("check.start", "body.kind", "must be check.started, with its body, for the first event of a check"), nil
	}
	if b.PersonID != t.person {
		return fault.New(fault.Denied, "auth.person", "body.body.person_id", "must be the person who is signed in"), nil
	}
	if b.DeviceID != t.device {
		return fault.New(fault.Denied, "auth.device", "body.body.device_id", "must be the device that is signed in"), nil
	}
	var err error
	if l.basis.Vehicle, err = readDocument[schema.Vehicle](ctx, q, t, kindVehicle, string(b.VehicleID)); err != nil {
		return unknown(err, kindVehicle)
	}
	if l.basis.Unit, err = readDocument[schema.Unit](ctx, q, t, kindUnit, string(b.UnitID)); err != nil {
		return unknown(err, kindUnit)
	}
	if _, err = loadDocument(ctx, q, t, kindProfile, string(b.ProfileID)); err != nil {
		return unknown(err, kindProfile)
	}
	if _, err = readEdition[schema.Profile](ctx, &s.editions, q, t, kindProfile, string(b.ProfileID), b.ProfileEdition); errors.Is(err, errNotFound) {
		return errEdition, nil
	} else if err != nil {
		return nil, err
	}
	l.basis.ProfileID, l.basis.ProfileEdition = b.ProfileID, b.ProfileEdition
	l.person, l.device = t.person, t.device
	l.basis.Cautions, err = cautionsAt(ctx, q, t, first.WallMS)
	return nil, err
}

func unknown(err error, kind string) (*fault.Error, error) {
	if !errors.Is(err, errNotFound) {
		return nil, err
	}
	return fault.New(fault.NotFound, kind+".unknown", "body.body."+kind+"_id", "there is no such "+kind+" in this workshop"), nil
}

// cautionsAt returns the newest edition of each caution that was released by a
// moment. One released later cannot have been on the phone then; a check must
// not be refused for not showing it.
func cautionsAt(ctx context.Context, q querier, t Tenant, wallMS int64) ([]cautionEdition, error) {
	const query = `
		SELECT id, MAX(edition) FROM edition WHERE workshop = $1 AND kind = $2 AND made_ms <= $3
		GROUP BY id ORDER BY id`
	rows, err := q.rows(ctx, query, t.workshop, kindCaution, wallMS)
	if err != nil {
		return nil, fmt.Errorf("select cautions: %w", err)
	}
	defer rows.Close()
	var list []cautionEdition
	for rows.Next() {
		var c cautionEdition
		if err := rows.Scan(&c.ID, &c.Edition); err != nil {
			return nil, fmt.Errorf("read cautions: %w", err)
		}
		list = append(list, c)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("read cautions: %w", err)
	}
	return list, nil
}

// replayInput gathers everything a replay of the log needs. A caution that the
// log acknowledges counts in the edition that was acknowledged.
func (s *Store) replayInput(ctx context.Context, q querier, t Tenant, b basis, events []schema.Event) (ReplayInput, error) {
	in := ReplayInput{Vehicle: b.Vehicle, Unit: b.Unit, Events: events}
	var err error
	if in.Profile, err = readEdition[schema.Profile](ctx, &s.editions, q, t, kindProfile, string(b.ProfileID), b.ProfileEdition); err != nil {
		return in, fmt.Errorf("profile of the check: %w", err)
	}
	shown := map[schema.CautionID]int{}
	order := make([]schema.CautionID, 0, len(b.Cautions))
	for _, c := range b.Cautions {
		shown[c.ID] = c.Edition
		order = append(order, c.ID)
	}
	for _, e := range events {
		var a struct {
			ID      schema.CautionID `json:"caution_id"`
			Edition int              `json:"edition"`
		}
		if e.Kind != "caution.acknowledged" || json.Unmarshal(e.Body, &a) != nil {
			continue
		}
		if _, known := shown[a.ID]; !known {
			order = append(order, a.ID)
		}
		shown[a.ID] = a.Edition
	}
	for _, id := range order {
		c, err := readEdition[schema.Caution](ctx, &s.editions, q, t, kindCaution, string(id), shown[id])
		if errors.Is(err, errNotFound) {
			continue // the procedure refuses the acknowledgement of a caution it was not given
		}
		if err != nil {
			return in, err
		}
		in.Cautions = append(in.Cautions, c)
	}
	return in, nil
}

// extend replays the log with what the push adds and settles each added event:
// those before the first that the procedure refuses are kept, that one is
// refused, and the later ones wait for it.
func (s *Store) extend(ctx context.Context, q querier, t Tenant, l *checkLog, results []Result) error {
	held, err := loadEvents(ctx, q, t, l.id)
	if err != nil {
		return err
	}
	events := make([]schema.Event, 0, len(held)+len(l.added))
	for _, h := range held {
		events = append(events, h.Event)
	}
	for _, a := range l.added {
		events = append(events, a.event)
	}
	in, err := s.replayInput(ctx, q, t, l.basis, events)
	if err != nil {
		return err
	}
	summary, err := s.replay(in)
	if err == nil {
		l.summary = summary
		return nil
	}
	f := fault.As(err)
	if f == nil {
		return fmt.Errorf("replay check %q: %w", l.id, err)
	}
	good := max(0, min(eventIndex(f.Field)-len(held), len(l.added)-1))
	if good > 0 {
		in.Events = events[:len(held)+good]
		if summary, err = s.replay(in); err != nil {
			good = 0
		} else {
			l.summary = summary
		}
	}
	for i, a := range l.added[good:] {
		if i == 0 {
			results[a.result] = rejected(a.change.id, fault.New(f.Kind, f.Code, afterEvent(f.Field), f.Message))
			continue
		}
		results[a.result] = waiting(a.change.id)
	}
	l.added = l.added[:good]
	return nil
}

// eventIndex reads i from a field that begins with events[i], or returns 0.
func eventIndex(field string) int {
	rest, ok := strings.CutPrefix(field, "events[")
	if !ok {
		return 0
	}
	number, _, _ := strings.Cut(rest, "]")
	i, err := strconv.Atoi(number)
	if err != nil {
		return 0
	}
	return i
}

// afterEvent turns the field of a replay's fault into the field of the change.
func afterEvent(field string) string {
	if strings.HasPrefix(field, "events[") {
		_, rest, _ := strings.Cut(field, "]")
		return "body" + rest
	}
	return field
}
