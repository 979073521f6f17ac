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

// MaxChecks is the most checks one list holds.
const MaxChecks = 200

// ListedCheck is one line of the workshop's checks.
type ListedCheck struct {
	schema.Check
	VehicleLabel string
	PersonName   string
}

// Checks lists the workshop's checks, the newest first. before is empty or what
// an earlier call returned as next; next is empty at the end.
func (s *Store) Checks(ctx context.Context, t Tenant, before string, limit int) (list []ListedCheck, next string, err error) {
	limit = max(1, min(limit, MaxChecks))
	startedMS, id, err := readBefore(before)
	if err != nil {
		return nil, "", err
	}
	const query = `
		SELECT c.body, c.basis, p.name FROM check_summary c
		JOIN person p ON p.workshop = c.workshop AND p.id = c.person
		WHERE c.workshop = $1 AND (c.started_ms < $2 OR (c.started_ms = $2 AND c.id < $3))
		ORDER BY c.started_ms DESC, c.id DESC LIMIT $4`
	rows, err := s.read.rows(ctx, query, t.workshop, startedMS, id, limit+1)
	if err != nil {
		return nil, "", fmt.Errorf("select checks: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var body, basisText []byte
		var c ListedCheck
		if err := rows.Scan(&body, &basisText, &c.PersonName); err != nil {
			return nil, "", fmt.Errorf("read checks: %w", err)
		}
		var b struct {
			Vehicle struct {
				Label string `json:"label"`
			} `json:"vehicle"`
		}
		if err := errors.Join(json.Unmarshal(body, &c.Check), json.Unmarshal(basisText, &b)); err != nil {
			return nil, "", fmt.Errorf("decode check: %w", err)
		}
		c.VehicleLabel = b.Vehicle.Label
		list = append(list, c)
	}
	if err := rows.Err(); err != nil {
		return nil, "", fmt.Errorf("read checks: %w", err)
	}
	if len(list) > limit {
		list = list[:limit]
		last := list[limit-1]
		next = strconv.FormatInt(last.StartedMS, 10) + "." + string(last.ID)
	}
	return list, next, nil
}

func readBefore(before string) (int64, string, error) {
	if before == "" {
		return 1<<62 - 1, "", nil
	}
	number, id, _ := strings.Cut(before, ".")
	startedMS, err := strconv.ParseInt(number, 10, 64)
	if err != nil || !validID(id) {
		return 0, "", fault.Bad("cursor.form", "before", "was not given out by this server; leave it out to begin with the newest")
	}
	return startedMS, id, nil
}

// WholeCheck is one check with everything it was made with.
type WholeCheck struct {
	Check  schema.Check
	Person schema.Person
	Input  ReplayInput
	Events []HeldEvent
}

// Check returns one check of the workshop. It fails with not_found if there is
// none or it is another workshop's; callers cannot tell the two apart.
func (s *Store) Check(ctx context.Context, t Tenant, id schema.CheckID) (WholeCheck, error) {
	var whole WholeCheck
	err := s.read.snapshot(ctx, func(q querier) error {
		l, err := loadLog(ctx, q, t, id)
		if err != nil {
			return err
		}
		if l.n == 0 {
			return errNotFound
		}
		whole.Check = l.summary
		if whole.Events, err = loadEvents(ctx, q, t, id); err != nil {
			return err
		}
		events := make([]schema.Event, len(whole.Events))
		for i, h := range whole.Events {
			events[i] = h.Event
		}
		if whole.Input, err = s.replayInput(ctx, q, t, l.basis, events); err != nil {
			return err
		}
		whole.Person, err = readDocument[schema.Person](ctx, q, t, kindPerson, string(l.person))
		return err
	})
	return whole, err
}

// Head returns the workshop's last number, for tests and benchmarks.
func (s *Store) Head(ctx context.Context, t Tenant) (int64, error) {
	var seq int64
	err := s.read.row(ctx, "SELECT seq FROM workshop WHERE id = $1", t.workshop).Scan(&seq)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, errNotFound
	}
	if err != nil {
		return 0, fmt.Errorf("select head: %w", err)
	}
	return seq, nil
}
