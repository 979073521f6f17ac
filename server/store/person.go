package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"brimline/schema"
	"brimline/schema/fault"
)

// Credential is what signing in needs to know of a person.
type Credential struct {
	Workshop     schema.WorkshopID
	Person       schema.PersonID
	PasswordHash string
	Disabled     bool
}

// maxEmailBytes bounds a mail address (RFC 5321 allows 254).
const maxEmailBytes = 254

// AddPerson adds a person who signs in with a mail address. passwordHash is
// made by package auth; the store never sees a password.
func (s *Store) AddPerson(ctx context.Context, t Tenant, p schema.Person, email, passwordHash string, nowMS int64) error {
	if err := p.Check(); err != nil {
		return err
	}
	email = foldEmail(email)
	if at := strings.IndexByte(email, '@'); at < 1 || at == len(email)-1 || len(email) > maxEmailBytes || strings.ContainsAny(email, " \t\r\n") {
		return fault.Bad("email.form", "email", "must be a mail address such as name@workshop.example")
	}
	body, err := json.Marshal(p)
	if err != nil {
		return fmt.Errorf("encode person: %w", err)
	}
	return s.writer.write(ctx, func(tx *writing) error {
		var held int
		err := tx.row(ctx, "SELECT COUNT(*) FROM person WHERE email = $1 OR (workshop = $2 AND id = $3)", email, t.workshop, p.ID).Scan(&held)
		if err != nil {
			return fmt.Errorf("select person %q: %w", p.ID, err)
		}
		if held > 0 {
			return fault.New(fault.Conflict, "person.held", "email", "somebody already signs in with this mail address; use another")
		}
		const query = `INSERT INTO person (workshop, id, name, role, email, password_hash, made_ms) VALUES ($1, $2, $3, $4, $5, $6, $7)`
		if err := tx.exec(query, t.workshop, p.ID, p.Name, p.Role, email, passwordHash, nowMS); err != nil {
			return fmt.Errorf("insert person %q: %w", p.ID, err)
		}
		return putDocument(tx, t, document{kind: kindPerson, id: string(p.ID), body: body})
	})
}

// DisablePerson ends a person's right to act, and all their sessions, at once.
// What they did stays.
func (s *Store) DisablePerson(ctx context.Context, t Tenant, id schema.PersonID, nowMS int64) error {
	return s.writer.write(ctx, func(tx *writing) error {
		if err := tx.exec("UPDATE person SET disabled_ms = $1 WHERE workshop = $2 AND id = $3 AND disabled_ms = 0", nowMS, t.workshop, id); err != nil {
			return fmt.Errorf("disable person %q: %w", id, err)
		}
		return nil
	})
}

// Credential returns what is needed to check a password. The caller must do
// the same work when there is no such person (fault.NotFound).
func (s *Store) Credential(ctx context.Context, email string) (Credential, error) {
	var c Credential
	err := s.read.row(ctx, "SELECT workshop, id, password_hash, disabled_ms <> 0 FROM person WHERE email = $1", foldEmail(email)).
		Scan(&c.Workshop, &c.Person, &c.PasswordHash, &c.Disabled)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return Credential{}, errNotFound
	case err != nil:
		return Credential{}, fmt.Errorf("select credential: %w", err)
	}
	return c, nil
}

// Person returns one person of the workshop.
func (s *Store) Person(ctx context.Context, t Tenant, id schema.PersonID) (schema.Person, error) {
	return readDocument[schema.Person](ctx, s.read, t, kindPerson, string(id))
}

func foldEmail(email string) string { return strings.ToLower(strings.TrimSpace(email)) }
