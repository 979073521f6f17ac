package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"runtime/debug"
	"strings"
	"sync"

	"brimline/schema/fault"
)

// Bounds of the writer: how many writes may wait, and how many of them share
// one transaction and so one wait for the disk.
const (
	maxWaiting = 256
	maxGroup   = 32
)

// errBusy is the answer when more writes wait than the machine can take.
var errBusy = fault.New(fault.Unavailable, "server.busy", "", "the server is busy; try again in a moment")

// job is one write: a function that runs inside the writer's transaction. It
// must start afresh when it is called again.
type job struct {
	ctx  context.Context
	run  func(*writing) error
	done chan error
}

// writer is the one goroutine that writes, first in first out. Writes that
// wait together share a transaction, each behind a savepoint of its own.
type writer struct {
	db      *sql.DB
	conn    *sql.Conn
	jobs    chan job
	stopped chan struct{}
	mu      sync.RWMutex // held to read while a job is handed over
	closed  bool
	tx      *writing
}

func startWriter(ctx context.Context, db *sql.DB) (*writer, error) {
	conn, err := db.Conn(ctx)
	if err != nil {
		return nil, fmt.Errorf("open writing connection: %w", err)
	}
	w := &writer{db: db, conn: conn, jobs: make(chan job, maxWaiting), stopped: make(chan struct{}),
		tx: &writing{conn: conn, statements: map[string]*sql.Stmt{}}}
	go w.loop()
	return w, nil
}

// write runs f in a transaction and returns once it is on the disk. If ctx ends
// first the outcome is unknown to the caller.
func (w *writer) write(ctx context.Context, f func(*writing) error) error {
	j := job{ctx: ctx, run: f, done: make(chan error, 1)}
	if err := w.hand(j); err != nil {
		return err
	}
	select {
	case err := <-j.done:
		return err
	case <-ctx.Done():
		return fmt.Errorf("wait for the writer: %w", ctx.Err())
	}
}

func (w *writer) hand(j job) error {
	w.mu.RLock()
	defer w.mu.RUnlock()
	if w.closed {
		return fault.New(fault.Unavailable, "server.closing", "", "the server is stopping; try again in a moment")
	}
	select {
	case w.jobs <- j:
		return nil
	default:
		return errBusy
	}
}

// stop takes no more writes and returns when the accepted ones are done.
func (w *writer) stop() {
	w.mu.Lock()
	if !w.closed {
		w.closed = true
		close(w.jobs)
	}
	w.mu.Unlock()
	<-w.stopped
}

// close closes the connection. Call stop first. A statement that stays open
// would keep SQLite from folding its log of writes back into the file.
func (w *writer) close() error {
	var errs []error
	for _, st := range w.tx.statements {
		errs = append(errs, st.Close())
	}
	return errors.Join(append(errs, w.conn.Close(), w.db.Close())...)
}

func (w *writer) loop() {
	defer close(w.stopped)
	for j := range w.jobs {
		group := append(make([]job, 0, maxGroup), j)
	drain:
		for len(group) < maxGroup {
			select {
			case next, open := <-w.jobs:
				if !open {
					break drain
				}
				group = append(group, next)
			default:
				break drain
			}
		}
		w.commit(group)
	}
}

// commit writes a group in one transaction. If the whole transaction fails,
// each job gets one of its own, so that one cannot spoil the others.
func (w *writer) commit(group []job) {
	answers := make([]error, len(group))
	err := w.transaction(group, answers)
	if err != nil && len(group) > 1 {
		for i := range group {
			answers[i] = nil
			if err := w.transaction(group[i:i+1], answers[i:i+1]); err != nil {
				answers[i] = err
			}
		}
	} else if err != nil {
		answers[0] = err
	}
	for i, j := range group {
		j.done <- answers[i]
	}
}

// transaction runs the group's jobs and commits. A job's own error is its
// answer and undoes only that job; an error of the transaction is returned.
func (w *writer) transaction(group []job, answers []error) error {
	if err := w.tx.exec("BEGIN IMMEDIATE"); err != nil {
		return fmt.Errorf("begin: %w", err)
	}
	for i, j := range group {
		if answers[i] = j.ctx.Err(); answers[i] != nil {
			continue
		}
		if err := w.guarded(j, &answers[i]); err != nil {
			return errors.Join(err, w.tx.exec("ROLLBACK"))
		}
	}
	if err := w.tx.exec("COMMIT"); err != nil {
		return errors.Join(fmt.Errorf("commit: %w", err), w.tx.exec("ROLLBACK"))
	}
	return nil
}

// guarded runs one job behind a savepoint.
func (w *writer) guarded(j job, answer *error) error {
	if err := w.tx.exec("SAVEPOINT job"); err != nil {
		return fmt.Errorf("savepoint: %w", err)
	}
	if *answer = runJob(j, w.tx); *answer != nil {
		if err := w.tx.exec("ROLLBACK TO SAVEPOINT job"); err != nil {
			return fmt.Errorf("roll back to savepoint: %w", err)
		}
	}
	if err := w.tx.exec("RELEASE SAVEPOINT job"); err != nil {
		return fmt.Errorf("release savepoint: %w", err)
	}
	return nil
}

// runJob turns a panic into an error: one bad write must not stop the writer
// for everybody.
func runJob(j job, tx *writing) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("write panicked: %v\n%s", p, debug.Stack())
		}
	}()
	return j.run(tx)
}

// writing is the writer's transaction. It is a querier that may also change
// things. Its statements live as long as its connection, and its context is
// the writer's: a caller who hangs up must not cut a shared transaction short.
type writing struct {
	conn       *sql.Conn
	statements map[string]*sql.Stmt
}

func (w *writing) prepared(query string) (*sql.Stmt, error) {
	if st, ok := w.statements[query]; ok {
		return st, nil
	}
	st, err := w.conn.PrepareContext(context.Background(), query)
	if err != nil {
		return nil, fmt.Errorf("prepare: %w", err)
	}
	w.statements[query] = st
	return st, nil
}

func (w *writing) exec(query string, args ...any) error {
	st, err := w.prepared(query)
	if err != nil {
		return err
	}
	_, err = st.ExecContext(context.Background(), args...)
	return err
}

func (w *writing) rows(_ context.Context, query string, args ...any) (*sql.Rows, error) {
	st, err := w.prepared(query)
	if err != nil {
		return nil, err
	}
	return st.QueryContext(context.Background(), args...)
}

func (w *writing) row(_ context.Context, query string, args ...any) scanner {
	st, err := w.prepared(query)
	if err != nil {
		return failedRow{err}
	}
	return st.QueryRowContext(context.Background(), args...)
}

// insert writes rows of one table, chunk at a time. head is the statement up to
// and with VALUES.
func (w *writing) insert(head string, columns int, rows [][]any) error {
	for len(rows) > 0 {
		n := 1
		if len(rows) >= chunk {
			n = chunk
		}
		groups := make([]string, n)
		args := make([]any, 0, n*columns)
		for i, r := range rows[:n] {
			groups[i] = "(" + placeholders(1+i*columns, columns) + ")"
			args = append(args, r...)
		}
		if err := w.exec(head+" "+strings.Join(groups, ","), args...); err != nil {
			return err
		}
		rows = rows[n:]
	}
	return nil
}
