package store

import (
	"context"
	"database/sql"
	"fmt"
	"strconv"
	"strings"
	"sync"
)

// querier reads: outside a transaction from the pool, or inside the writer's.
type querier interface {
	rows(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	row(ctx context.Context, query string, args ...any) scanner
}

// scanner is one row, or the error that kept it away.
type scanner interface{ Scan(dest ...any) error }

// failedRow is a row that could not even be asked for.
type failedRow struct{ err error }

func (f failedRow) Scan(...any) error { return f.err }

// reading is the pool of connections that never write. Statements are prepared
// once: there are as many as there are queries in this package.
type reading struct {
	db         *sql.DB
	statements sync.Map // query → *sql.Stmt
}

func (r *reading) prepared(ctx context.Context, query string) (*sql.Stmt, error) {
	if held, ok := r.statements.Load(query); ok {
		if st, ok := held.(*sql.Stmt); ok {
			return st, nil
		}
	}
	st, err := r.db.PrepareContext(ctx, query)
	if err != nil {
		return nil, fmt.Errorf("prepare: %w", err)
	}
	if held, raced := r.statements.LoadOrStore(query, st); raced {
		st.Close()
		if other, ok := held.(*sql.Stmt); ok {
			return other, nil
		}
	}
	return st, nil
}

func (r *reading) rows(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	st, err := r.prepared(ctx, query)
	if err != nil {
		return nil, err
	}
	return st.QueryContext(ctx, args...)
}

func (r *reading) row(ctx context.Context, query string, args ...any) scanner {
	st, err := r.prepared(ctx, query)
	if err != nil {
		return failedRow{err}
	}
	return st.QueryRowContext(ctx, args...)
}

// snapshot runs f on one unchanging state of the database.
func (r *reading) snapshot(ctx context.Context, f func(querier) error) error {
	tx, err := r.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return fmt.Errorf("begin reading: %w", err)
	}
	defer tx.Rollback()
	return f(&snapshot{tx: tx, pool: r})
}

// snapshot is a querier whose reads all see the same state.
type snapshot struct {
	tx   *sql.Tx
	pool *reading
}

func (s *snapshot) rows(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	return s.tx.QueryContext(ctx, query, args...)
}

func (s *snapshot) row(ctx context.Context, query string, args ...any) scanner {
	return s.tx.QueryRowContext(ctx, query, args...)
}

// chunk is how many ids one "IN (…)" query asks for. Shorter lists repeat their
// last id, so that there is one prepared statement and not one for each length.
const chunk = 16

// inChunks calls f with the arguments for each chunk of ids; f's query holds
// placeholders($from).
func inChunks(ids []string, f func(args []any) error) error {
	for len(ids) > 0 {
		n := min(chunk, len(ids))
		args := make([]any, chunk)
		for i := range args {
			args[i] = ids[min(i, n-1)]
		}
		if err := f(args); err != nil {
			return err
		}
		ids = ids[n:]
	}
	return nil
}

// placeholders writes count placeholders from number first on: $2,$3,$4.
func placeholders(first, count int) string {
	var b strings.Builder
	for i := range count {
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteByte('$')
		b.WriteString(strconv.Itoa(first + i))
	}
	return b.String()
}
