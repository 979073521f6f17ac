package procedure_test

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"reflect"
	"testing"

	"brimline/schema"
	"brimline/schema/physics/gearbox"
	"brimline/schema/procedure"
	"brimline/schema/procedure/mechanic"
)

const (
	checkID   = "01900000-0000-7000-8000-00000000f001"
	vehicleID = "01900000-0000-7000-8000-00000000d001"
	unitID    = "01900000-0000-7000-8000-00000000e001"
	personID  = "01900000-0000-7000-8000-00000000b001"
	deviceID  = "01900000-0000-7000-8000-00000000b0d1"
)

func load[T any](t testing.TB, file string) T {
	t.Helper()
	var v T
	b, err := os.ReadFile("../../server/demo/data/" + file)
	if err == nil {
		err = json.Unmarshal(b, &v)
	}
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// setup is a vehicle with the 8-speed side-plug profile.
func setup(t testing.TB, profile string) procedure.Setup {
	p := load[schema.Profile](t, profile)
	return procedure.Setup{Profile: p, Cautions: load[[]schema.Caution](t, "cautions.json"),
		Vehicle: schema.Vehicle{ID: vehicleID, Label: "Van 1", UnitID: unitID, WheelbaseMM: 2900, TrackMM: 1600},
		Unit:    schema.Unit{ID: unitID, Label: "Unit 1", Description: p.Name, ProfileID: p.ID, Warmer: "unknown"}}
}

func counter(prefix int) func() string {
	n := 0
	return func() string {
		n++
		return fmt.Sprintf("01900000-0000-7000-8%03x-%012x", prefix, n)
	}
}

// careful is a mechanic at a gearbox of the profile, drawn from a seed.
func careful(t testing.TB, s procedure.Setup, seed uint64) *mechanic.Mechanic {
	population := gearbox.Base()
	population.AmbientHighC = 24
	g := gearbox.Draw(seed, population)
	p := s.Profile
	g.ReferenceC = (p.Window.LowC + p.Window.HighC) / 2
	g.ActiveML, g.FreeSurfaceCM2, g.DropUL = p.Fluid.ActiveML, p.Attitude.FreeSurfaceCM2, p.Plug.DropUL
	g.PlugAheadMM, g.PlugRightMM = p.Plug.AheadMM, p.Plug.RightMM
	u := float64(seed%97)/96 - 0.5
	g.PitchDeg, g.RollDeg = u, -u/2
	return &mechanic.Mechanic{Setup: s, Gearbox: g, CheckID: checkID, NewID: counter(int(seed) % 4096), WallMS: 1780000000000, WalkS: 15, Unit: "C",
		Start: procedure.Started{VehicleID: vehicleID, UnitID: unitID, ProfileID: p.ID, ProfileEdition: p.Edition, PersonID: personID, DeviceID: deviceID,
			Reason: "level_check", Circuit: "untouched", Cycle: 1, UTCOffsetMin: 120, Warmer: "unknown", Raised: true}}
}

// Every simulated check comes to an end, and most of them prove a level that
// holds the truth within two standard deviations.
func TestSimulatedMechanicsFinish(t *testing.T) {
	for _, profile := range []string{"profile-8l.json", "profile-6t.json", "profile-7l.json"} {
		t.Run(profile, func(t *testing.T) {
			s := setup(t, profile)
			set, held, n := 0, 0, 30
			if testing.Short() { // under WebAssembly: the same walk, fewer vehicles
				n = 6
			}
			for seed := range uint64(n) {
				m := careful(t, s, seed)
				_, v, truth, err := m.Work()
				if err != nil {
					t.Fatalf("seed %d: %v", seed, err)
				}
				if v.Result == nil {
					t.Fatalf("seed %d: a closed check has no result", seed)
				}
				if v.Result.Level.AsLeft == nil {
					continue
				}
				set++
				l := v.Result.Level.AsLeft
				t.Logf("seed %d: %d events, %s %s, left %.0f ± %.0f (truth %.0f), found %+v (truth %.0f), openings %d, in %.0f out %.0f, plug in at %.1f", seed, v.State.Events, v.Result.Status, v.Result.Level.Reading, l.LevelML, 2*l.SDML, truth.AsLeftML,
					v.Result.Level.AsFound, truth.AsFound, v.State.Openings, v.Result.InML, v.Result.OutML, truth.PlugInC)
				if math.Abs(l.LevelML-truth.AsLeftML) <= 2*l.SDML {
					held++
				}
			}
			t.Logf("%d of %d checks proved a level, %d of them hold the truth in 2 sd", set, n, held)
			if set < n/4 {
				t.Errorf("only %d of %d checks came to a level", set, n)
			}
			if held*100 < set*85 {
				t.Errorf("%d of %d levels hold the truth in 2 sd, want at least 85 %%", held, set)
			}
		})
	}
}

// Replaying any prefix gives the same state twice, and the whole log gives the
// same view as the one built event by event.
func TestReplayOfAnyPrefixIsTheSame(t *testing.T) {
	s := setup(t, "profile-8l.json")
	events, last, _, err := careful(t, s, 7).Work()
	if err != nil {
		t.Fatal(err)
	}
	step, err := procedure.Replay(s, nil)
	if err != nil {
		t.Fatal(err)
	}
	for k, e := range events {
		if err := step.Append(e); err != nil {
			t.Fatal(err)
		}
		whole, err := procedure.Replay(s, events[:k+1])
		if err != nil {
			t.Fatalf("prefix %d: %v", k+1, err)
		}
		now := procedure.Stamp{WallMS: e.WallMS, MonoMS: e.MonoMS, Boot: e.Boot}
		if got, want := whole.View(now), step.View(now); !reflect.DeepEqual(got, want) {
			t.Fatalf("prefix %d: replayed view differs from the one built event by event", k+1)
		}
	}
	if last.State.Events != len(events) {
		t.Errorf("view counts %d events, log has %d", last.State.Events, len(events))
	}
}

// Any two neighbours swapped either replay to a state or name the event.
func TestSwappedEventsAreNamed(t *testing.T) {
	s := setup(t, "profile-8l.json")
	events, _, _, err := careful(t, s, 7).Work()
	if err != nil {
		t.Fatal(err)
	}
	refused := 0
	for k := 1; k < len(events); k++ {
		swapped := append([]schema.Event{}, events...)
		swapped[k-1], swapped[k] = swapped[k], swapped[k-1]
		_, err := procedure.Replay(s, swapped)
		if err == nil {
			t.Errorf("events %d and %d swapped: the count n must have refused it", k, k+1)
			continue
		}
		refused++
		renumbered := append([]schema.Event{}, swapped...)
		renumbered[k-1].N, renumbered[k].N = k, k+1
		if _, err := procedure.Replay(s, renumbered); err != nil && err.Error()[:7] != "events[" {
			t.Errorf("events %d and %d swapped: %v does not name the event", k, k+1, err)
		}
	}
	if refused == 0 {
		t.Error("no swap was tried")
	}
}
