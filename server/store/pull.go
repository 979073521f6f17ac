package store

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"brimline/schema/fault"
)

// Limits of one page of a pull.
const (
	MaxPage      = 1000
	maxPageBytes = 2 << 20
)

// Item is one record as it is now, or one event, with the number it changed under.
type Item struct {
	Seq  int64
	Kind string
	ID   string
	Body json.RawMessage
}

// Page is one page of a pull. Next is where the following page begins.
type Page struct {
	Items []Item
	Next  string
	More  bool
}

// ErrDiverged is the answer to a cursor that is not of this database's history.
var ErrDiverged = fault.New(fault.Conflict, "history_diverged", "cursor", "the server's history is another one than this device knows; the device downloads it afresh and sends again what is missing")

// Pull returns what changed after cursor, in the order of the numbers, each
// record as it is now. An empty cursor begins at the beginning.
//
// A record that changes while a phone pages through comes again later, so that
// the phone ends with the newest state; nothing is left out. Faults: cursor.form
// for a cursor that was not given out here, history_diverged for one of another
// history.
func (s *Store) Pull(ctx context.Context, t Tenant, cursor string, limit int) (Page, error) {
	limit = max(1, min(limit, MaxPage))
	var page Page
	err := s.read.snapshot(ctx, func(q querier) error {
		after, err := verifyCursor(ctx, q, t, cursor)
		if err != nil {
			return err
		}
		items, err := changedAfter(ctx, q, t, after, limit+1)
		if err != nil {
			return err
		}
		page.Items, page.More = cutPage(items, limit)
		last := after
		if n := len(page.Items); n > 0 {
			last = page.Items[n-1].Seq
		}
		page.Next, err = cursorAt(ctx, q, t, last, page.More)
		return err
	})
	return page, err
}

// cutPage keeps what fits in a page, at least one item.
func cutPage(items []Item, limit int) ([]Item, bool) {
	size := 0
	for i, item := range items {
		size += len(item.Body)
		if i == limit || i > 0 && size > maxPageBytes {
			return items[:i], true
		}
	}
	return items, false
}

// verifyCursor returns the number a cursor stands at.
func verifyCursor(ctx context.Context, q querier, t Tenant, cursor string) (int64, error) {
	if cursor == "" || cursor == "0" || cursor == "0." {
		return 0, nil
	}
	number, chain, ok := strings.Cut(cursor, ".")
	seq, err := strconv.ParseInt(number, 10, 64)
	if !ok || err != nil || seq < 0 || len(chain) > 64 {
		return 0, fault.Bad("cursor.form", "cursor", "was not given out by this server; leave it empty to begin at the beginning")
	}
	var held string
	err = q.row(ctx, "SELECT chain FROM change WHERE workshop = $1 AND seq = $2", t.workshop, seq).Scan(&held)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return 0, ErrDiverged
	case err != nil:
		return 0, fmt.Errorf("select change %d: %w", seq, err)
	case held != chain:
		return 0, ErrDiverged
	}
	return seq, nil
}

// cursorAt writes the cursor for a number. At the end of the log it stands at
// the workshop's last number, even where that number's record changed again.
func cursorAt(ctx context.Context, q querier, t Tenant, seq int64, more bool) (string, error) {
	query := "SELECT seq, chain FROM change WHERE workshop = $1 AND seq >= $2 ORDER BY seq DESC LIMIT 1"
	if more {
		query = "SELECT seq, chain FROM change WHERE workshop = $1 AND seq = $2"
	}
	var chain string
	err := q.row(ctx, query, t.workshop, seq).Scan(&seq, &chain)
	if errors.Is(err, sql.ErrNoRows) && seq == 0 {
		return "0.", nil
	}
	if err != nil {
		return "", fmt.Errorf("select change %d: %w", seq, err)
	}
	return strconv.FormatInt(seq, 10) + "." + chain, nil
}

// changedAfter merges the three tables that hold numbered things.
func changedAfter(ctx context.Context, q querier, t Tenant, after int64, limit int) ([]Item, error) {
	var items []Item
	for _, query := range []string{
		"SELECT seq, kind, id, body FROM document WHERE workshop = $1 AND seq > $2 ORDER BY seq LIMIT $3",
		"SELECT seq, 'event', id, body FROM event WHERE workshop = $1 AND seq > $2 ORDER BY seq LIMIT $3",
		"SELECT seq, 'check', id, body FROM check_summary WHERE workshop = $1 AND seq > $2 ORDER BY seq LIMIT $3",
	} {
		found, err := scanItems(ctx, q, query, t, after, limit)
		if err != nil {
			return nil, fmt.Errorf("select changes after %d: %w", after, err)
		}
		items = append(items, found...)
	}
	slices.SortFunc(items, func(a, b Item) int { return cmp.Compare(a.Seq, b.Seq) })
	return items[:min(limit, len(items))], nil
}

func scanItems(ctx context.Context, q querier, query string, t Tenant, after int64, limit int) ([]Item, error) {
	rows, err := q.rows(ctx, query, t.workshop, after, limit)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var items []Item
	for rows.Next() {
		var item Item
		var body []byte
		if err := rows.Scan(&item.Seq, &item.Kind, &item.ID, &body); err != nil {
			return nil, err
		}
		item.Body = body
		items = append(items, item)
	}
	return items, rows.Err()
}
