package store_test

import (
	"context"
	"database/sql"
	"fmt"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"brimline/server/store"
)

// phonesAtOnce is how many phones push at the same time.
const phonesAtOnce = 16

// BenchmarkPush counts events that are on the disk, per second, through the
// whole way of a push (parsing, hashing, replay, numbering, chaining), beside
// bare inserts of the same bodies by the same driver under the same settings.
// Both are measured in one run, because only their ratio says anything on
// another machine.
func BenchmarkPush(b *testing.B) {
	for _, size := range []int{1, 50} {
		b.Run(fmt.Sprintf("events=%d", size), func(b *testing.B) {
			pushed := benchPush(b, size)
			bare := benchBare(b, size)
			b.ReportMetric(0, "ns/op") // of both together: says nothing
			b.ReportMetric(pushed, "events/s")
			b.ReportMetric(bare, "bare/s")
			b.ReportMetric(pushed/bare, "ratio")
		})
	}
}

// spread runs b.N calls from phonesAtOnce goroutines and returns changes per second.
func spread(b *testing.B, size int, call func(phone int) error) float64 {
	b.Helper()
	var left atomic.Int64
	left.Store(int64(b.N))
	var wg sync.WaitGroup
	begun := time.Now()
	for i := range phonesAtOnce {
		wg.Go(func() {
			for left.Add(-1) >= 0 {
				if err := call(i); err != nil {
					b.Error(err)
					return
				}
			}
		})
	}
	wg.Wait()
	return float64(b.N*size) / time.Since(begun).Seconds()
}

func benchPush(b *testing.B, size int) float64 {
	h := openShop(b, phonesAtOnce)
	return spread(b, size, func(i int) error {
		results, err := h.store.Push(context.Background(), h.phones[i].tenant, h.events(b, i, size, 50), nowMS)
		if err != nil {
			return err
		}
		for _, r := range results {
			if r.Status != store.Applied {
				return fmt.Errorf("result %+v: %v", r, r.Problem)
			}
		}
		return nil
	})
}

func benchBare(b *testing.B, size int) float64 {
	h := openShop(b, phonesAtOnce) // makes the same bodies
	path := filepath.Join(b.TempDir(), "bare.db")
	db, err := sql.Open("sqlite", "file:"+path+"?_pragma=busy_timeout(5000)&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_txlock=immediate")
	must(b, err)
	defer db.Close()
	db.SetMaxOpenConns(1)
	_, err = db.Exec("CREATE TABLE event (id TEXT PRIMARY KEY, body TEXT NOT NULL, received_ms BIGINT NOT NULL)")
	must(b, err)
	insert, err := db.Prepare("INSERT INTO event (id, body, received_ms) VALUES ($1, $2, $3)")
	must(b, err)
	return spread(b, size, func(i int) error {
		changes := h.events(b, i, size, 50)
		tx, err := db.Begin()
		if err != nil {
			return err
		}
		defer tx.Rollback()
		for _, c := range changes {
			if _, err := tx.Stmt(insert).Exec(c.ID, string(c.Body), nowMS); err != nil {
				return err
			}
		}
		return tx.Commit()
	})
}
