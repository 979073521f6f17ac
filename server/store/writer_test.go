package store

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"brimline/schema"
	"brimline/schema/fault"
)

func openEmpty(t *testing.T) *Store {
	t.Helper()
	s, err := Open(t.Context(), t.TempDir(), func(ReplayInput) (schema.Check, error) { return schema.Check{}, errors.New("no checks here") })
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// hold occupies the writer until the returned function is called.
func hold(t *testing.T, s *Store) (release func()) {
	t.Helper()
	begun, end := make(chan bool), make(chan bool)
	done := make(chan error, 1)
	go func() {
		done <- s.writer.write(context.Background(), func(*writing) error { close(begun); <-end; return nil })
	}()
	<-begun
	return func() {
		close(end)
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
}

// TestOneJobCannotSpoilTheGroup lets jobs that fail and panic share a
// transaction with one that does not.
func TestOneJobCannotSpoilTheGroup(t *testing.T) {
	s := openEmpty(t)
	release := hold(t, s)
	insert := func(tx *writing, id string) error {
		return tx.exec("INSERT INTO workshop (id, name, made_ms) VALUES ($1, $2, 1)", id, id)
	}
	jobs := map[string]func(*writing) error{
		"good":    func(tx *writing) error { return insert(tx, "good") },
		"fails":   func(tx *writing) error { return errors.Join(insert(tx, "fails"), errors.New("no")) },
		"panics":  func(tx *writing) error { _ = insert(tx, "panics"); panic("no") },
		"bad SQL": func(tx *writing) error { return tx.exec("INSERT INTO nothing VALUES (1)") },
		"better":  func(tx *writing) error { return insert(tx, "better") },
	}
	answers := map[string]error{}
	var mu sync.Mutex
	var wg sync.WaitGroup
	for name, job := range jobs {
		wg.Go(func() {
			err := s.writer.write(context.Background(), job)
			mu.Lock()
			answers[name] = err
			mu.Unlock()
		})
	}
	for len(s.writer.jobs) < len(jobs) { // all wait, so all will share one transaction
		time.Sleep(time.Millisecond)
	}
	release()
	wg.Wait()
	for name := range jobs {
		if good := name == "good" || name == "better"; good != (answers[name] == nil) {
			t.Errorf("job %q is answered %v", name, answers[name])
		}
	}
	var ids []string
	rows, err := s.read.rows(t.Context(), "SELECT id FROM workshop ORDER BY id")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var id string
		if err := rows.Scan(&id); err != nil {
			t.Fatal(err)
		}
		ids = append(ids, id)
	}
	if got := strings.Join(ids, " "); got != "better good" {
		t.Errorf("stored %q, want the two good ones", got)
	}
}

func TestFullQueueIsRefused(t *testing.T) {
	s := openEmpty(t)
	release := hold(t, s)
	ctx, cancel := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	for range maxWaiting {
		wg.Go(func() { _ = s.writer.write(ctx, func(*writing) error { return nil }) })
	}
	for len(s.writer.jobs) < maxWaiting {
		time.Sleep(time.Millisecond)
	}
	err := s.writer.write(ctx, func(*writing) error { return nil })
	if f := fault.As(err); f == nil || f.Kind != fault.Unavailable || f.Code != "server.busy" {
		t.Errorf("one more is answered %v, want server.busy", err)
	}
	cancel()
	release()
	wg.Wait()
	if err := s.writer.write(t.Context(), func(*writing) error { return nil }); err != nil {
		t.Errorf("after the queue ran empty: %v", err)
	}
}

func TestWriteAfterClose(t *testing.T) {
	s := openEmpty(t)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	err := s.writer.write(t.Context(), func(*writing) error { return nil })
	if f := fault.As(err); f == nil || f.Code != "server.closing" {
		t.Errorf("got %v, want server.closing", err)
	}
}

// TestSQLiteIsNewEnough is the guard against a driver with the WAL-reset race
// (SQLite 3.7.0 to 3.51.2; sqlite.org/wal.html, "The WAL-Reset Bug", from memory).
func TestSQLiteIsNewEnough(t *testing.T) {
	openEmpty(t) // refuses an older one
	for _, tt := range []struct {
		version [3]int
		older   bool
	}{{[3]int{3, 51, 2}, true}, {[3]int{3, 51, 3}, false}, {[3]int{3, 54, 0}, false}, {[3]int{2, 99, 99}, true}, {[3]int{4, 0, 0}, false}} {
		if got := older(tt.version, oldestSQLite); got != tt.older {
			t.Errorf("older(%v) = %v", tt.version, got)
		}
	}
	s := openEmpty(t)
	for pragma, want := range map[string]string{"journal_mode": "wal", "synchronous": "2", "foreign_keys": "1"} {
		var got string
		if err := s.writer.conn.QueryRowContext(t.Context(), "PRAGMA "+pragma).Scan(&got); err != nil || got != want {
			t.Errorf("%s = %q %v, want %q", pragma, got, err, want)
		}
	}
	if _, err := s.read.db.ExecContext(t.Context(), "DELETE FROM workshop"); err == nil {
		t.Error("the reading pool can write")
	}
}
