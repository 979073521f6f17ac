package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"brimline/schema"
)

// How long a session lasts.
const (
	SlidingMS  = 90 * 24 * 3600 * 1000  // without being used
	AbsoluteMS = 180 * 24 * 3600 * 1000 // however often it is used
)

// Bounds on the refresh tokens kept of one session: answers that were lost and
// asked for again, and spent generations that are still recognised.
const (
	maxSiblings = 8
	keptSpent   = 64
)

// Session is who is signed in where.
type Session struct {
	ID       string
	Workshop schema.Workshop
	Person   schema.Person
	Device   schema.DeviceID
}

// StartSession begins a session of a person whose password was checked.
// tokenHash is the SHA-256 of its first refresh token.
func (s *Store) StartSession(ctx context.Context, c Credential, id string, device schema.DeviceID, deviceName, tokenHash string, nowMS int64) (Session, error) {
	t := Tenant{workshop: c.Workshop, person: c.Person, device: device}
	err := s.writer.write(ctx, func(tx *writing) error {
		const seen = `
			INSERT INTO device (workshop, id, name, made_ms, seen_ms) VALUES ($1, $2, $3, $4, $4)
			ON CONFLICT (workshop, id) DO UPDATE SET name = excluded.name, seen_ms = excluded.seen_ms`
		if err := tx.exec(seen, t.workshop, device, deviceName, nowMS); err != nil {
			return fmt.Errorf("upsert device %q: %w", device, err)
		}
		const begin = `
			INSERT INTO session (workshop, id, person, device, generation, made_ms, used_ms) VALUES ($1, $2, $3, $4, 1, $5, $5)`
		if err := tx.exec(begin, t.workshop, id, t.person, device, nowMS); err != nil {
			return fmt.Errorf("insert session %q: %w", id, err)
		}
		return addToken(tx, t.workshop, id, 1, tokenHash, nowMS)
	})
	if err != nil {
		return Session{}, err
	}
	if _, err := s.SignedIn(ctx, Claim{Workshop: t.workshop, Person: t.person, Device: device, Session: id}); err != nil {
		return Session{}, err // the device was revoked
	}
	return s.session(ctx, t, id)
}

// heldToken is a refresh token as it is found, with the session it belongs to.
type heldToken struct {
	tenant                      Tenant
	session, previous           string
	tokenGeneration, generation int64
	madeMS, usedMS              int64
	over                        bool
}

// RotateSession exchanges a refresh token for its successor, whose hash is
// next.
//
// A token is spent once its successor was used, and not before: a phone whose
// answer got lost may ask again with the token it still has. Presenting a
// spent token ends the session, because two parties hold it. Every refusal is
// session_revoked.
func (s *Store) RotateSession(ctx context.Context, presented, next string, nowMS int64) (Session, error) {
	var held heldToken
	refused := false
	err := s.writer.write(ctx, func(tx *writing) error {
		var err error
		held, err = findToken(ctx, tx, presented)
		if err != nil {
			return err
		}
		if held.over || nowMS-held.usedMS > SlidingMS || nowMS-held.madeMS > AbsoluteMS {
			return errRevoked
		}
		w, id := held.tenant.workshop, held.session
		switch {
		case held.tokenGeneration == held.generation: // the newest: this use spends its siblings and its parent
			err = tx.exec("UPDATE session SET generation = generation + 1, previous = $1, used_ms = $2 WHERE workshop = $3 AND id = $4",
				presented, nowMS, w, id)
			if err == nil {
				err = tx.exec("DELETE FROM refresh_token WHERE workshop = $1 AND session = $2 AND generation < $3", w, id, held.generation-keptSpent)
			}
			held.generation++
		case held.tokenGeneration == held.generation-1 && presented == held.previous: // its successor was never used
			err = tx.exec("UPDATE session SET used_ms = $1 WHERE workshop = $2 AND id = $3", nowMS, w, id)
		default:
			refused = true
			return endSession(tx, w, id, "spent token", nowMS)
		}
		if err != nil {
			return fmt.Errorf("rotate session %q: %w", id, err)
		}
		return addToken(tx, w, id, held.generation, next, nowMS)
	})
	if err == nil && refused {
		err = errRevoked
	}
	if err != nil {
		return Session{}, err
	}
	return s.session(ctx, held.tenant, held.session)
}

func findToken(ctx context.Context, q querier, hash string) (heldToken, error) {
	const query = `
		SELECT s.workshop, s.person, s.device, s.id, s.previous, r.generation, s.generation, s.made_ms, s.used_ms,
		       s.ended_ms <> 0 OR p.disabled_ms <> 0 OR d.revoked_ms <> 0
		FROM refresh_token r
		JOIN session s ON s.workshop = r.workshop AND s.id = r.session
		JOIN person p ON p.workshop = s.workshop AND p.id = s.person
		JOIN device d ON d.workshop = s.workshop AND d.id = s.device
		WHERE r.hash = $1`
	var h heldToken
	err := q.row(ctx, query, hash).Scan(&h.tenant.workshop, &h.tenant.person, &h.tenant.device, &h.session, &h.previous,
		&h.tokenGeneration, &h.generation, &h.madeMS, &h.usedMS, &h.over)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return heldToken{}, errRevoked
	case err != nil:
		return heldToken{}, fmt.Errorf("select refresh token: %w", err)
	}
	return h, nil
}

// addToken adds a token to the newest generation and lets the oldest of too
// many unused siblings go.
func addToken(tx *writing, workshop schema.WorkshopID, session string, generation int64, hash string, nowMS int64) error {
	const insert = "INSERT INTO refresh_token (hash, workshop, session, generation, made_ms) VALUES ($1, $2, $3, $4, $5)"
	if err := tx.exec(insert, hash, workshop, session, generation, nowMS); err != nil {
		return fmt.Errorf("insert refresh token of session %q: %w", session, err)
	}
	const trim = `
		DELETE FROM refresh_token WHERE hash IN (
			SELECT hash FROM refresh_token WHERE workshop = $1 AND session = $2 AND generation = $3
			ORDER BY made_ms DESC, hash LIMIT 1000 OFFSET $4)`
	if err := tx.exec(trim, workshop, session, generation, maxSiblings); err != nil {
		return fmt.Errorf("trim refresh tokens of session %q: %w", session, err)
	}
	return nil
}

// EndSession ends the session a refresh token belongs to. A token that is not
// known has nothing to end.
func (s *Store) EndSession(ctx context.Context, tokenHash string, nowMS int64) error {
	return s.writer.write(ctx, func(tx *writing) error {
		held, err := findToken(ctx, tx, tokenHash)
		if errors.Is(err, errRevoked) {
			return nil
		}
		if err != nil {
			return err
		}
		return endSession(tx, held.tenant.workshop, held.session, "signed out", nowMS)
	})
}

// EndOwnSession ends the session the tenant acts in.
func (s *Store) EndOwnSession(ctx context.Context, t Tenant, nowMS int64) error {
	return s.writer.write(ctx, func(tx *writing) error { return endSession(tx, t.workshop, t.session, "signed out", nowMS) })
}

func endSession(tx *writing, workshop schema.WorkshopID, id, why string, nowMS int64) error {
	err := tx.exec("UPDATE session SET ended_ms = $1, ended_why = $2 WHERE workshop = $3 AND id = $4 AND ended_ms = 0", nowMS, why, workshop, id)
	if err != nil {
		return fmt.Errorf("end session %q: %w", id, err)
	}
	return nil
}

// RevokeDevice ends every session on a device and lets none begin again.
func (s *Store) RevokeDevice(ctx context.Context, t Tenant, id schema.DeviceID, nowMS int64) error {
	return s.writer.write(ctx, func(tx *writing) error {
		if err := tx.exec("UPDATE device SET revoked_ms = $1 WHERE workshop = $2 AND id = $3 AND revoked_ms = 0", nowMS, t.workshop, id); err != nil {
			return fmt.Errorf("revoke device %q: %w", id, err)
		}
		return nil
	})
}

func (s *Store) session(ctx context.Context, t Tenant, id string) (Session, error) {
	w, err := s.Workshop(ctx, t)
	if err != nil {
		return Session{}, err
	}
	p, err := s.Person(ctx, t, t.person)
	if err != nil {
		return Session{}, err
	}
	return Session{ID: id, Workshop: w, Person: p, Device: t.device}, nil
}
