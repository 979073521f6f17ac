package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"sync"

	"brimline/schema"
	"brimline/schema/fault"
	"brimline/sync/merge"
)

// The kinds of document, as they stand in a pull.
const (
	kindWorkshop = "workshop"
	kindPerson   = "person"
	kindVehicle  = "vehicle"
	kindUnit     = "unit"
	kindProfile  = "profile"
	kindCaution  = "caution"
	kindReminder = "reminder"
	kindEvent    = "event"
	kindCheck    = "check"
)

// document is the current state of one record. edition is set for the kinds
// that keep every edition.
type document struct {
	kind, id string
	body     []byte
	stamps   []byte // merge.Record, for kinds that are edited field by field
	edition  int
	seq      int64
	madeMS   int64
}

// PutVehicle adds or replaces a vehicle. Its unit must be there first.
func (s *Store) PutVehicle(ctx context.Context, t Tenant, v schema.Vehicle) error {
	return put(ctx, s, t, kindVehicle, string(v.ID), v, reference{kindUnit, string(v.UnitID), "unit_id"})
}

// PutUnit adds or replaces a gearbox. Its profile must be there first.
func (s *Store) PutUnit(ctx context.Context, t Tenant, u schema.Unit) error {
	return put(ctx, s, t, kindUnit, string(u.ID), u, reference{kindProfile, string(u.ProfileID), "profile_id"})
}

// PutReminder adds or replaces a reminder as a whole, for commands on the
// server's own machine. Phones edit reminders field by field through Push.
func (s *Store) PutReminder(ctx context.Context, t Tenant, r schema.Reminder) error {
	return put(ctx, s, t, kindReminder, string(r.ID), r, reference{kindVehicle, string(r.VehicleID), "vehicle_id"})
}

// PutProfile releases an edition of a profile. An edition that was released
// is never changed; checks made with it are judged by it for ever.
func (s *Store) PutProfile(ctx context.Context, t Tenant, p schema.Profile, nowMS int64) error {
	return release(ctx, s, t, document{kind: kindProfile, id: string(p.ID), edition: p.Edition, madeMS: nowMS}, p)
}

// PutCaution releases an edition of a caution, under the same rule.
func (s *Store) PutCaution(ctx context.Context, t Tenant, c schema.Caution, nowMS int64) error {
	return release(ctx, s, t, document{kind: kindCaution, id: string(c.ID), edition: c.Edition, madeMS: nowMS}, c)
}

// reference is a document another one needs.
type reference struct{ kind, id, field string }

type checker interface{ Check() error }

func put(ctx context.Context, s *Store, t Tenant, kind, id string, record checker, need reference) error {
	if err := record.Check(); err != nil {
		return err
	}
	body, err := json.Marshal(record)
	if err != nil {
		return fmt.Errorf("encode %s %q: %w", kind, id, err)
	}
	return s.writer.write(ctx, func(tx *writing) error {
		if _, err := loadDocument(ctx, tx, t, need.kind, need.id); errors.Is(err, errNotFound) {
			return fault.New(fault.NotFound, need.kind+".unknown", need.field, "there is no such "+need.kind+" in this workshop; add it first")
		} else if err != nil {
			return err
		}
		return putDocument(tx, t, document{kind: kind, id: id, body: body})
	})
}

func release(ctx context.Context, s *Store, t Tenant, d document, record checker) error {
	if err := record.Check(); err != nil {
		return err
	}
	body, err := json.Marshal(record)
	if err != nil {
		return fmt.Errorf("encode %s %q: %w", d.kind, d.id, err)
	}
	d.body = body
	return s.writer.write(ctx, func(tx *writing) error {
		var newest int
		err := tx.row(ctx, "SELECT COALESCE(MAX(edition), 0) FROM edition WHERE workshop = $1 AND kind = $2 AND id = $3", t.workshop, d.kind, d.id).Scan(&newest)
		if err != nil {
			return fmt.Errorf("select editions of %s %q: %w", d.kind, d.id, err)
		}
		if d.edition <= newest {
			return fault.New(fault.Conflict, "edition.released", "edition", "edition "+strconv.Itoa(newest)+" is released; give the new one a higher number")
		}
		return putDocument(tx, t, d)
	})
}

// putDocument numbers a document and writes it as one change of the server's own.
func putDocument(tx *writing, t Tenant, d document) error {
	hash, err := merge.Hash(d.body)
	if err != nil {
		return fmt.Errorf("hash %s %q: %w", d.kind, d.id, err)
	}
	n, err := beginNumbers(tx, t, 1)
	if err != nil {
		return err
	}
	d.seq = n.take(d.kind+"/"+d.id+"/"+strconv.FormatInt(n.next, 10), hash)
	if err := writeDocument(tx, t, d); err != nil {
		return err
	}
	return n.finish(tx)
}

func writeDocument(tx *writing, t Tenant, d document) error {
	if d.stamps == nil {
		d.stamps = []byte("{}")
	}
	const upsert = `
		INSERT INTO document (workshop, kind, id, body, stamps, seq) VALUES ($1, $2, $3, $4, $5, $6)
		ON CONFLICT (workshop, kind, id) DO UPDATE SET body = excluded.body, stamps = excluded.stamps, seq = excluded.seq`
	if err := tx.exec(upsert, t.workshop, d.kind, d.id, string(d.body), string(d.stamps), d.seq); err != nil {
		return fmt.Errorf("upsert %s %q: %w", d.kind, d.id, err)
	}
	if d.edition == 0 {
		return nil
	}
	const keep = `INSERT INTO edition (workshop, kind, id, edition, body, made_ms) VALUES ($1, $2, $3, $4, $5, $6)`
	if err := tx.exec(keep, t.workshop, d.kind, d.id, d.edition, string(d.body), d.madeMS); err != nil {
		return fmt.Errorf("insert edition %d of %s %q: %w", d.edition, d.kind, d.id, err)
	}
	return nil
}

// loadDocument fails with not_found if there is none in the tenant's workshop.
func loadDocument(ctx context.Context, q querier, t Tenant, kind, id string) (document, error) {
	d := document{kind: kind, id: id}
	err := q.row(ctx, "SELECT body, stamps, seq FROM document WHERE workshop = $1 AND kind = $2 AND id = $3", t.workshop, kind, id).
		Scan(&d.body, &d.stamps, &d.seq)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return document{}, errNotFound
	case err != nil:
		return document{}, fmt.Errorf("select %s %q: %w", kind, id, err)
	}
	return d, nil
}

func readDocument[T any](ctx context.Context, q querier, t Tenant, kind, id string) (T, error) {
	var record T
	d, err := loadDocument(ctx, q, t, kind, id)
	if err != nil {
		return record, err
	}
	if err := json.Unmarshal(d.body, &record); err != nil {
		return record, fmt.Errorf("decode %s %q: %w", kind, id, err)
	}
	return record, nil
}

// maxCached bounds the released editions that are kept decoded.
const maxCached = 256

// editionCache holds decoded editions. They never change, so nothing in it can
// grow stale. Readers must not write to what they get.
type editionCache struct {
	mu   sync.RWMutex
	held map[string]any
}

func readEdition[T any](ctx context.Context, c *editionCache, q querier, t Tenant, kind, id string, edition int) (T, error) {
	key := string(t.workshop) + "/" + kind + "/" + id + "/" + strconv.Itoa(edition)
	c.mu.RLock()
	record, ok := c.held[key].(T)
	c.mu.RUnlock()
	if ok {
		return record, nil
	}
	var body []byte
	err := q.row(ctx, "SELECT body FROM edition WHERE workshop = $1 AND kind = $2 AND id = $3 AND edition = $4", t.workshop, kind, id, edition).Scan(&body)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return record, errNotFound
	case err != nil:
		return record, fmt.Errorf("select edition %d of %s %q: %w", edition, kind, id, err)
	}
	if err := json.Unmarshal(body, &record); err != nil {
		return record, fmt.Errorf("decode edition %d of %s %q: %w", edition, kind, id, err)
	}
	c.mu.Lock()
	if c.held == nil || len(c.held) >= maxCached {
		c.held = map[string]any{}
	}
	c.held[key] = record
	c.mu.Unlock()
	return record, nil
}
