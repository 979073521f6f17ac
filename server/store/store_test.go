package store_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"

	"brimline/schema"
	"brimline/schema/procedure"
	"brimline/schema/wire"
	"brimline/server/store"
	"brimline/sync/merge"
)

const nowMS = 1_780_000_000_000

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// id makes a readable UUID.
func id(kind string, n int64) string {
	return fmt.Sprintf("01900000-0000-7000-8000-%s%0*x", kind, 12-len(kind), n)
}

func replay(in store.ReplayInput) (schema.Check, error) {
	return procedure.Summarize(in.Profile, in.Vehicle, in.Unit, in.Cautions, in.Events)
}

func open(t testing.TB, folder string) *store.Store {
	t.Helper()
	s, err := store.Open(context.Background(), folder, replay)
	must(t, err)
	return s
}

// shop is a workshop with one vehicle and some phones, each of a mechanic of its own.
type shop struct {
	store   *store.Store
	profile schema.Profile
	phones  []phone
}

// phone writes checks: a check.started and then notes, which are always allowed.
type phone struct {
	tenant store.Tenant
	log    []schema.Event
	prev   string
	checks int64
}

func openShop(t testing.TB, phones int) *shop {
	t.Helper()
	ctx := context.Background()
	s := open(t, t.TempDir())
	t.Cleanup(func() { must(t, s.Close()) })
	h := &shop{store: s}
	raw, err := os.ReadFile(filepath.Join("..", "demo", "data", "profile-8l.json"))
	must(t, err)
	must(t, json.Unmarshal(raw, &h.profile))
	workshop := schema.WorkshopID(id("a", 1))
	tenant, err := s.AddWorkshop(ctx, schema.Workshop{ID: workshop, Name: "red", TimeZone: "Europe/Berlin"}, nowMS)
	must(t, err)
	must(t, s.PutProfile(ctx, tenant, h.profile, nowMS))
	must(t, s.PutUnit(ctx, tenant, schema.Unit{ID: schema.UnitID(id("e", 1)), Label: "unit", Description: "8-speed", ProfileID: h.profile.ID, Warmer: "no"}))
	must(t, s.PutVehicle(ctx, tenant, schema.Vehicle{ID: schema.VehicleID(id("d", 1)), Label: "van", UnitID: schema.UnitID(id("e", 1))}))
	for i := range phones {
		person := schema.PersonID(id("c", int64(i)))
		must(t, s.AddPerson(ctx, tenant, schema.Person{ID: person, Name: "mechanic", Role: schema.Mechanic}, fmt.Sprintf("m%d@red.example", i), "none", nowMS))
		tenant, err := s.Local(ctx, workshop, person, schema.DeviceID(id("b", int64(i))))
		must(t, err)
		h.phones = append(h.phones, phone{tenant: tenant})
	}
	return h
}

// events makes the next count events of phone i, in logs of at most perLog.
func (h *shop) events(t testing.TB, i, count, perLog int) []store.Change {
	t.Helper()
	p := &h.phones[i]
	changes := make([]store.Change, count)
	for k := range changes {
		if len(p.log) == 0 || len(p.log) == perLog {
			p.checks++
			p.log, p.prev = nil, ""
		}
		e := schema.Event{ID: schema.EventID(id(fmt.Sprintf("1%02x", i), p.checks<<16+int64(len(p.log)))), CheckID: schema.CheckID(id(fmt.Sprintf("f%02x", i), p.checks)),
			N: len(p.log) + 1, Prev: p.prev, Kind: "note.written", V: 1, WallMS: nowMS + int64(len(p.log))*1000, MonoMS: float64(len(p.log)) * 1000, Boot: "boot",
			Body: wire.Raw(`{"text":"wiped around the plug, dry"}`)}
		if e.N == 1 {
			e.Kind = "check.started"
			body, err := json.Marshal(procedure.Started{VehicleID: schema.VehicleID(id("d", 1)), UnitID: schema.UnitID(id("e", 1)), ProfileID: h.profile.ID,
				ProfileEdition: h.profile.Edition, PersonID: p.tenant.Person(), DeviceID: p.tenant.Device(), Reason: "level_check", Circuit: "untouched", Cycle: 1, Warmer: "no"})
			must(t, err)
			e.Body = body
		}
		raw, err := json.Marshal(e)
		must(t, err)
		p.prev, err = merge.Hash(raw)
		must(t, err)
		p.log = append(p.log, e)
		changes[k] = store.Change{ID: string(e.ID), Dseq: 1, Kind: "event", V: 1, Body: raw}
	}
	return changes
}

// TestReadersMissNothing pushes from many phones at once while readers follow
// with their cursors: each reader ends with every event exactly once.
func TestReadersMissNothing(t *testing.T) {
	const phones, readers, pushes, each = 8, 3, 12, 5
	h := openShop(t, phones)
	ctx := context.Background()
	var writing atomic.Bool
	writing.Store(true)
	var writers, followers sync.WaitGroup
	for i := range phones {
		writers.Go(func() {
			for range pushes {
				results, err := h.store.Push(ctx, h.phones[i].tenant, h.events(t, i, each, 20), nowMS)
				if err != nil {
					t.Error(err)
					return
				}
				for _, r := range results {
					if r.Status != store.Applied || r.Seq == 0 {
						t.Errorf("result %+v, want applied", r)
					}
				}
			}
		})
	}
	for range readers {
		followers.Go(func() {
			cursor, seen, last := "", map[string]int{}, int64(0)
			for ended := false; ; {
				page, err := h.store.Pull(ctx, h.phones[0].tenant, cursor, 17)
				if err != nil {
					t.Error(err)
					return
				}
				for _, item := range page.Items {
					if item.Seq <= last {
						t.Errorf("number %d after %d", item.Seq, last)
					}
					last = item.Seq
					if item.Kind == "event" {
						seen[item.ID]++
					}
				}
				if cursor = page.Next; ended && !page.More {
					break
				}
				ended = !writing.Load() && !page.More // once more after the last write
			}
			if len(seen) != phones*pushes*each {
				t.Errorf("a reader saw %d events, want %d", len(seen), phones*pushes*each)
			}
			for event, times := range seen {
				if times != 1 {
					t.Errorf("event %s came %d times", event, times)
				}
			}
		})
	}
	writers.Wait()
	writing.Store(false)
	followers.Wait()
}

// TestSamePushAtOnce sends one push many times at once, as a phone does that
// does not get its answers: every event is applied exactly once.
func TestSamePushAtOnce(t *testing.T) {
	h := openShop(t, 1)
	changes := h.events(t, 0, 30, 30)
	var applied, duplicate atomic.Int64
	var wg sync.WaitGroup
	for range 12 {
		wg.Go(func() {
			results, err := h.store.Push(context.Background(), h.phones[0].tenant, changes, nowMS)
			if err != nil {
				t.Error(err)
				return
			}
			for _, r := range results {
				switch r.Status {
				case store.Applied:
					applied.Add(1)
				case store.Duplicate:
					duplicate.Add(1)
				default:
					t.Errorf("result %+v", r)
				}
			}
		})
	}
	wg.Wait()
	if applied.Load() != 30 || duplicate.Load() != 30*11 {
		t.Errorf("applied %d and duplicate %d times, want 30 and 330", applied.Load(), duplicate.Load())
	}
}

// TestEpochChangesWithRestore puts an older copy of the database back.
func TestEpochChangesWithRestore(t *testing.T) {
	folder := t.TempDir()
	ctx := context.Background()
	add := func(s *store.Store, n int64) {
		t.Helper()
		_, err := s.AddWorkshop(ctx, schema.Workshop{ID: schema.WorkshopID(id("a", n)), Name: "red", TimeZone: "Europe/Berlin"}, nowMS)
		must(t, err)
	}
	s := open(t, folder)
	add(s, 1)
	first := s.Epoch()
	must(t, s.Close())
	if _, err := os.Stat(filepath.Join(folder, "brimline.db-wal")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("the log of writes is still there after Close: %v", err)
	}
	copied, err := os.ReadFile(filepath.Join(folder, "brimline.db"))
	must(t, err)

	s = open(t, folder)
	if s.Epoch() != first {
		t.Error("a restart changed the epoch")
	}
	add(s, 2)
	must(t, s.Close())

	must(t, os.WriteFile(filepath.Join(folder, "brimline.db"), copied, 0o600))
	s = open(t, folder)
	restored := s.Epoch()
	must(t, s.Close())
	if restored == first {
		t.Error("an older database kept the epoch")
	}

	must(t, os.WriteFile(filepath.Join(folder, "epoch.json"), []byte("{"), 0o600))
	s = open(t, folder)
	defer s.Close()
	if s.Epoch() == "" || s.Epoch() == restored {
		t.Errorf("epoch after its file was spoiled: %q", s.Epoch())
	}
}
