package physics

import (
	"encoding/json"
	"flag"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// vectors is where the golden vectors lie; the browser's tests read the same
// files, so that phone and server are held to one set of numbers.
const vectors = "../../testdata/physics"

// record rewrites the outputs of the vectors whose source says that they were
// recorded from this package; vectors worked elsewhere are never touched.
var record = flag.Bool("record", false, "rewrite recorded golden outputs")

// recorded begins the source of a vector that only guards against change.
const recorded = "recorded from this package"

// golden is one computation with its input and what it must give.
type golden struct {
	Name   string          `json:"name"`
	Source string          `json:"source"`
	Input  json.RawMessage `json:"input"`
	Output json.RawMessage `json:"output"`
}

func TestGolden(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(vectors, "*.json"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no golden vectors in %s: %v", vectors, err)
	}
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".json")
		t.Run(name, func(t *testing.T) { checkGolden(t, file, name) })
	}
}

func TestEveryComputationHasGoldenVectors(t *testing.T) {
	for _, c := range Names() {
		if _, err := os.Stat(filepath.Join(vectors, c.Name+".json")); err != nil {
			t.Errorf("%s: %v", c.Name, err)
		}
	}
}

// checkGolden runs every vector of one file.
func checkGolden(t *testing.T, file, name string) {
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var list []golden
	if err := json.Unmarshal(text, &list); err != nil {
		t.Fatalf("%s: %v", file, err)
	}
	changed := false
	for i, g := range list {
		if g.Name == "" || g.Source == "" {
			t.Errorf("entry %d has no name or no source", i)
		}
		got, err := Compute(name, g.Input)
		if err != nil {
			t.Errorf("%s: %v", g.Name, err)
			continue
		}
		if *record && strings.HasPrefix(g.Source, recorded) {
			list[i].Output, changed = got, true
			continue
		}
		var gotValue, wantValue any
		if err := json.Unmarshal(got, &gotValue); err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(g.Output, &wantValue); err != nil {
			t.Fatalf("%s: %v", g.Name, err)
		}
		sameJSON(t, g.Name, gotValue, wantValue)
	}
	if changed {
		text, err := json.MarshalIndent(list, "", " ")
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, append(text, '\n'), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// sameJSON compares two JSON values, numbers at 1e-9 relative.
func sameJSON(t *testing.T, path string, got, want any) {
	t.Helper()
	switch want := want.(type) {
	case map[string]any:
		g, ok := got.(map[string]any)
		if !ok || len(g) != len(want) {
			t.Errorf("%s: got %v, want %v", path, got, want)
			return
		}
		for key := range want {
			sameJSON(t, path+"."+key, g[key], want[key])
		}
	case []any:
		g, ok := got.([]any)
		if !ok || len(g) != len(want) {
			t.Errorf("%s: got %v, want %v", path, got, want)
			return
		}
		for i := range want {
			sameJSON(t, path+"["+strconv.Itoa(i)+"]", g[i], want[i])
		}
	case float64:
		g, ok := got.(float64)
		if !ok || !(math.Abs(g-want) <= 1e-9*math.Max(math.Abs(want), 1e-12)) {
			t.Errorf("%s: got %v, want %v", path, got, want)
		}
	default:
		if got != want {
			t.Errorf("%s: got %v, want %v", path, got, want)
		}
	}
}
