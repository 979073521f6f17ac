package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"

	"brimline/schema"
	"brimline/schema/fault"
)

// AddWorkshop makes a workshop and returns the right to fill it, as nobody in
// particular. It is for commands on the server's own machine.
func (s *Store) AddWorkshop(ctx context.Context, w schema.Workshop, nowMS int64) (Tenant, error) {
	if err := w.Check(); err != nil {
		return Tenant{}, err
	}
	body, err := json.Marshal(w)
	if err != nil {
		return Tenant{}, fmt.Errorf("encode workshop: %w", err)
	}
	t := Tenant{workshop: w.ID}
	err = s.writer.write(ctx, func(tx *writing) error {
		var held int
		if err := tx.row(ctx, "SELECT COUNT(*) FROM workshop WHERE id = $1", w.ID).Scan(&held); err != nil {
			return fmt.Errorf("select workshop %q: %w", w.ID, err)
		}
		if held > 0 {
			return fault.New(fault.Conflict, "workshop.held", "id", "there is already a workshop with this id")
		}
		if err := tx.exec("INSERT INTO workshop (id, name, made_ms) VALUES ($1, $2, $3)", w.ID, w.Name, nowMS); err != nil {
			return fmt.Errorf("insert workshop %q: %w", w.ID, err)
		}
		return putDocument(tx, t, document{kind: kindWorkshop, id: string(w.ID), body: body})
	})
	return t, err
}

// FindWorkshop returns the workshop of a name and the right to fill it. It is
// for commands on the server's own machine.
func (s *Store) FindWorkshop(ctx context.Context, name string) (schema.Workshop, Tenant, error) {
	var id schema.WorkshopID
	err := s.read.row(ctx, "SELECT id FROM workshop WHERE name = $1 ORDER BY made_ms, id LIMIT 1", name).Scan(&id)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return schema.Workshop{}, Tenant{}, errNotFound
	case err != nil:
		return schema.Workshop{}, Tenant{}, fmt.Errorf("select workshop %q: %w", name, err)
	}
	t := Tenant{workshop: id}
	w, err := s.Workshop(ctx, t)
	return w, t, err
}

// Workshop returns the tenant's own workshop.
func (s *Store) Workshop(ctx context.Context, t Tenant) (schema.Workshop, error) {
	return readDocument[schema.Workshop](ctx, s.read, t, kindWorkshop, string(t.workshop))
}
