package main

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"

	"brimline/schema"
	"brimline/server/store"
)

// pusher is a store with one workshop, one mechanic and one vehicle in it.
type pusher struct {
	store   *store.Store
	tenant  store.Tenant
	vehicle schema.VehicleID
	next    atomic.Int64
}

const benchID = "01900000-0000-7000-8000-%012x"

func openPusher(b *testing.B) *pusher {
	b.Helper()
	ctx := context.Background()
	noChecks := func(store.ReplayInput) (schema.Check, error) {
		return schema.Check{}, errors.New("this benchmark pushes no checks")
	}
	s, err := store.Open(ctx, b.TempDir(), noChecks)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := s.Close(); err != nil {
			b.Error(err)
		}
	})
	text, err := os.ReadFile(filepath.Join("..", "demo", "data", "profile-8l.json"))
	if err != nil {
		b.Fatal(err)
	}
	var profile schema.Profile
	if err := json.Unmarshal(text, &profile); err != nil {
		b.Fatal(err)
	}
	id := func(n int) string { return fmt.Sprintf(benchID, n) }
	workshop := schema.Workshop{ID: schema.WorkshopID(id(1)), Name: "Bench", TimeZone: "Europe/Berlin"}
	person := schema.Person{ID: schema.PersonID(id(2)), Name: "Bench", Role: schema.Mechanic}
	unit := schema.Unit{ID: schema.UnitID(id(3)), Label: "unit", Description: "8-speed", ProfileID: profile.ID, Warmer: "no"}
	vehicle := schema.Vehicle{ID: schema.VehicleID(id(4)), Label: "van", UnitID: unit.ID}
	fill, err := s.AddWorkshop(ctx, workshop, 1)
	err = errors.Join(err,
		s.AddPerson(ctx, fill, person, "bench@workshop.example", "none", 1),
		s.PutProfile(ctx, fill, profile, 1), s.PutUnit(ctx, fill, unit), s.PutVehicle(ctx, fill, vehicle))
	if err != nil {
		b.Fatal(err)
	}
	device := schema.DeviceID(id(5))
	credential := store.Credential{Workshop: workshop.ID, Person: person.ID}
	if _, err := s.StartSession(ctx, credential, id(6), device, "bench", fmt.Sprintf("%064x", 1), 1); err != nil {
		b.Fatal(err)
	}
	tenant, err := s.SignedIn(ctx, store.Claim{Workshop: workshop.ID, Person: person.ID, Device: device, Session: id(6)})
	if err != nil {
		b.Fatal(err)
	}
	return &pusher{store: s, tenant: tenant, vehicle: vehicle.ID}
}

// body is one reminder as a phone sends it, and its change's id.
func (p *pusher) body(b *testing.B) (id string, body json.RawMessage, n int64) {
	n = p.next.Add(1)
	id = fmt.Sprintf(benchID, n<<8)
	edit := map[string]any{
		"reminder": schema.Reminder{ID: schema.ReminderID(id), VehicleID: p.vehicle, Rule: "by_hand", DueDate: "2026-05-31", Reason: "look for wet spots at the plug"},
		"fields":   []string{"rule", "due_date", "reason"},
		"stamp":    map[string]any{"wall_ms": 1_750_000_000_000 + n, "count": 0, "device": fmt.Sprintf(benchID, 5)},
	}
	body, err := json.Marshal(edit)
	if err != nil {
		b.Fatal(err)
	}
	return id, body, n
}

// push sends count changes in one push and fails unless all were applied.
func (p *pusher) push(b *testing.B, count int) {
	changes := make([]store.Change, count)
	for i := range changes {
		id, body, n := p.body(b)
		changes[i] = store.Change{ID: id, Dseq: n, Kind: "reminder", V: 1, Body: body}
	}
	results, err := p.store.Push(context.Background(), p.tenant, changes, 1_750_000_000_000)
	if err != nil {
		b.Error(err)
		return
	}
	for _, r := range results {
		if r.Status != store.Applied {
			b.Errorf("got %s %s %v, want applied", r.Status, r.Code, r.Problem)
			return
		}
	}
}

// raw is the floor to compare with: the same bodies, inserted by the same
// driver under the same settings into a table with nothing around it.
type raw struct {
	db     *sql.DB
	insert *sql.Stmt
	from   *pusher
}

func openRaw(b *testing.B, from *pusher) *raw {
	b.Helper()
	settings := "?_pragma=busy_timeout(5000)&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_txlock=immediate"
	db, err := sql.Open("sqlite", "file:"+filepath.Join(b.TempDir(), "raw.db")+settings)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { db.Close() })
	db.SetMaxOpenConns(1)
	if _, err := db.Exec("CREATE TABLE change (id TEXT PRIMARY KEY, seq BIGINT NOT NULL, body TEXT NOT NULL)"); err != nil {
		b.Fatal(err)
	}
	insert, err := db.Prepare("INSERT INTO change (id, seq, body) VALUES (?, ?, ?)")
	if err != nil {
		b.Fatal(err)
	}
	return &raw{db: db, insert: insert, from: from}
}

// push inserts count rows in one transaction.
func (r *raw) push(b *testing.B, count int) {
	tx, err := r.db.Begin()
	if err != nil {
		b.Error(err)
		return
	}
	defer tx.Rollback()
	for range count {
		id, body, n := r.from.body(b)
		if _, err := tx.Stmt(r.insert).Exec(id, n, string(body)); err != nil {
			b.Error(err)
			return
		}
	}
	if err := tx.Commit(); err != nil {
		b.Error(err)
	}
}

// BenchmarkDurable counts changes that are on the disk, per second: the store's
// whole way beside bare inserts, one at a time, from 16 phones at once, and 50
// in one push.
func BenchmarkDurable(b *testing.B) {
	ways := []struct {
		name          string
		phones, batch int
	}{{"one", 1, 1}, {"phones16", 16, 1}, {"batch50", 1, 50}}
	for _, way := range ways {
		b.Run("push/"+way.name, func(b *testing.B) {
			p := openPusher(b)
			together(b, way.phones, way.batch, func() { p.push(b, way.batch) })
		})
		b.Run("raw/"+way.name, func(b *testing.B) {
			r := openRaw(b, openPusher(b))
			together(b, way.phones, way.batch, func() { r.push(b, way.batch) })
		})
	}
}

// together shares b.N calls of f among so many phones.
func together(b *testing.B, phones, batch int, f func()) {
	var left atomic.Int64
	left.Store(int64(b.N))
	var all sync.WaitGroup
	b.ResetTimer()
	for range phones {
		all.Go(func() {
			for left.Add(-1) >= 0 {
				f()
			}
		})
	}
	all.Wait()
	b.ReportMetric(float64(b.N*batch)/b.Elapsed().Seconds(), "changes/s")
}
