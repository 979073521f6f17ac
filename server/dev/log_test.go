package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"brimline/schema"
	"brimline/schema/procedure"
	"brimline/schema/wire"
	"brimline/sync/merge"
)

// act is one entry of a recorded check: what was entered, and when.
type act struct {
	AtS  float64         `json:"t_s"`
	Kind string          `json:"kind"`
	Body json.RawMessage `json:"body"`
}

func readJSON[T any](t testing.TB, path ...string) T {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(path...))
	if err != nil {
		t.Fatal(err)
	}
	var v T
	if err := json.Unmarshal(text, &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// sidePlug is the log of testdata/checks/side-plug.json as a phone would have
// written it, for a vehicle that stands outdoors on its wheels.
func sidePlug(t testing.TB) (procedure.Setup, []schema.Event) {
	t.Helper()
	id := func(n int) string { return fmt.Sprintf("01900000-0000-7000-8000-%012x", n) }
	setup := procedure.Setup{
		Profile:  readJSON[schema.Profile](t, "..", "demo", "data", "profile-8l.json"),
		Cautions: readJSON[[]schema.Caution](t, "..", "demo", "data", "cautions.json"),
		Unit:     schema.Unit{ID: schema.UnitID(id(3)), Label: "unit", Description: "8-speed", Warmer: "no"},
		Vehicle:  schema.Vehicle{ID: schema.VehicleID(id(4)), Label: "van", UnitID: schema.UnitID(id(3))},
	}
	setup.Unit.ProfileID = setup.Profile.ID
	acts := []act{{Kind: "check.started", Body: body(t, procedure.Started{
		VehicleID: setup.Vehicle.ID, UnitID: setup.Unit.ID, ProfileID: setup.Profile.ID, ProfileEdition: setup.Profile.Edition,
		PersonID: schema.PersonID(id(2)), DeviceID: schema.DeviceID(id(5)), Reason: "level_check", Circuit: "untouched", Cycle: 1, Warmer: "no",
	})}}
	for _, c := range setup.Cautions {
		acts = append(acts, act{AtS: 1, Kind: "caution.acknowledged", Body: body(t, procedure.Acknowledged{CautionID: c.ID, Edition: c.Edition})})
	}
	acts = append(acts, readJSON[struct{ Acts []act }](t, "..", "..", "testdata", "checks", "side-plug.json").Acts...)

	var events []schema.Event
	prev := ""
	for i, a := range acts {
		e := schema.Event{ID: schema.EventID(id(1000 + i)), CheckID: schema.CheckID(id(6)), N: i + 1, Prev: prev, Kind: a.Kind, V: 1,
			WallMS: 1_750_000_000_000 + int64(a.AtS*1000), MonoMS: a.AtS * 1000, Boot: "boot", Body: wire.Raw(a.Body)}
		hash, err := merge.Hash(body(t, e))
		if err != nil {
			t.Fatal(err)
		}
		events, prev = append(events, e), hash
	}
	return setup, events
}

func body(t testing.TB, v any) json.RawMessage {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// TestSidePlugLog keeps the recorded check what the browser tests take it for:
// a whole check inside the procedure, with every kind of entry they drive.
func TestSidePlugLog(t *testing.T) {
	setup, events := sidePlug(t)
	c := &procedure.Check{}
	for n := range events {
		read, err := procedure.Replay(setup, events[:n+1])
		if err != nil {
			t.Fatalf("after %d entries: %v", n, err)
		}
		c = read
	}
	last := events[len(events)-1]
	v := c.View(procedure.Stamp{WallMS: last.WallMS, MonoMS: last.MonoMS, Boot: last.Boot})
	if len(events) < 40 {
		t.Errorf("got %d entries, want a check of at least 40", len(events))
	}
	if v.State.Phase != "done" || v.State.Outcome != "set" || len(v.State.Irregular) > 0 {
		t.Errorf("got phase %q, outcome %q, irregular %v; want a check done by the book", v.State.Phase, v.State.Outcome, v.State.Irregular)
	}
	if v.Result == nil || v.Result.Level.AsLeft == nil || v.Result.Level.AsFound == nil {
		t.Fatalf("got result %+v, want the level as found and as left", v.Result)
	}
	t.Logf("as found %+v, as left %+v, reading %s", v.Result.Level.AsFound, v.Result.Level.AsLeft, v.Result.Level.Reading)
}
