package physics

import (
	"encoding/json"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"brimline/schema/fault"
	"pgregory.net/rapid"
)

// spoil changes one random part of a JSON value: a number becomes an extreme
// one, a text a strange one, a list longer or empty, a member null or gone.
func spoil(random *rand.Rand, value any) any {
	extremes := []any{0.0, -1.0, 1e-300, -1e-300, 1e300, -1e300, 1e15, 0.5, 149.0, -49.0, 1e6, nil, "x", true, []any{}, map[string]any{}}
	switch v := value.(type) {
	case map[string]any:
		keys := make([]string, 0, len(v))
		for key := range v {
			keys = append(keys, key)
		}
		if len(keys) == 0 {
			return v
		}
		slices.Sort(keys)
		key := keys[random.IntN(len(keys))]
		if random.IntN(12) == 0 {
			delete(v, key)
		} else {
			v[key] = spoil(random, v[key])
		}
		return v
	case []any:
		if len(v) == 0 || random.IntN(6) == 0 {
			return append(v, extremes[random.IntN(len(extremes))])
		}
		if random.IntN(6) == 0 {
			return append(v, v...)
		}
		i := random.IntN(len(v))
		v[i] = spoil(random, v[i])
		return v
	case float64:
		if random.IntN(2) == 0 {
			return v * (3*random.Float64() - 1)
		}
	}
	return extremes[random.IntN(len(extremes))]
}

func TestSpoiltInputGivesAnAnswerOrAFaultOfTheirs(t *testing.T) {
	random := rand.New(rand.NewPCG(41, 42))
	files, err := filepath.Glob(filepath.Join(vectors, "*.json"))
	if err != nil {
		t.Fatal(err)
	}
	answers, faults := 0, 0
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".json")
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		var list []golden
		if err := json.Unmarshal(text, &list); err != nil {
			t.Fatal(err)
		}
		for range 150 {
			g := list[random.IntN(len(list))]
			var input any
			if err := json.Unmarshal(g.Input, &input); err != nil {
				t.Fatal(err)
			}
			for range 1 + random.IntN(3) {
				input = spoil(random, input)
			}
			spoilt, err := json.Marshal(input)
			if err != nil {
				t.Fatal(err)
			}
			out, err := Compute(name, spoilt)
			if err == nil {
				answers++
				if !json.Valid(out) {
					t.Errorf("%s of %s gives %s", name, spoilt, out)
				}
				continue
			}
			faults++
			if f := fault.As(err); f == nil || f.Kind != fault.Invalid || f.Message == "" {
				t.Errorf("%s of %s gives %v", name, spoilt, err)
			}
		}
	}
	if answers < 300 || faults < 300 {
		t.Errorf("the inputs are spoilt too much or too little: %d answers, %d faults", answers, faults)
	}
}

func TestMoreTiltNeverNarrowsALevel(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := carefulCheck()
		flat := TiltShiftInput{
			PitchDeg: rapid.Float64Range(0, 10).Draw(t, "pitch"), RollDeg: rapid.Float64Range(-10, 10).Draw(t, "roll"),
			SDDeg: rapid.Float64Range(0, 2).Draw(t, "sd"), FreeSurfaceCM2: rapid.Float64Range(100, 900).Draw(t, "surface"),
			Plug: PlugPlace{rapid.Float64Range(-300, 300).Draw(t, "ahead"), rapid.Float64Range(-300, 300).Draw(t, "right")},
		}
		steep := flat
		steep.PitchDeg += rapid.Float64Range(0, 20).Draw(t, "more")
		in.Attitude = &flat
		less, err := LevelEstimate(in)
		if err != nil {
			t.Fatal(err)
		}
		in.Attitude = &steep
		more, err := LevelEstimate(in)
		if err != nil {
			t.Fatal(err)
		}
		if more.AsLeft.SDML < less.AsLeft.SDML*(1-1e-12) {
			t.Fatalf("%g° gives %g mL, %g° gives %g mL", flat.PitchDeg, less.AsLeft.SDML, steep.PitchDeg, more.AsLeft.SDML)
		}
	})
}
