package physics

import (
	"encoding/json"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"brimline/schema/fault"
)

// slowest is how long one computation may take on any input, also on a busy machine.
const slowest = 10 * time.Second

// inputsOf reads the golden inputs of one computation, which the mutations start from.
func inputsOf(t testing.TB, name string) []json.RawMessage {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(vectors, name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	var list []golden
	if err := json.Unmarshal(text, &list); err != nil {
		t.Fatal(err)
	}
	inputs := make([]json.RawMessage, len(list))
	for i := range list {
		inputs[i] = list[i].Input
	}
	return inputs
}

// answersOrRefuses runs one input: a valid answer, or a fault of the caller's; no
// panic, no number that is none, no hang.
func answersOrRefuses(t *testing.T, name string, input []byte) {
	begin := time.Now()
	out, err := Compute(name, input)
	if took := time.Since(begin); took > slowest {
		t.Errorf("%s took %s on %.2000s", name, took, input)
	}
	if err == nil {
		var value any
		if err := json.Unmarshal(out, &value); err != nil {
			t.Errorf("%s of %.2000s gives %.2000s", name, input, out)
		}
		if why := unsound("", value); why != "" {
			t.Errorf("%s of %.2000s: %s in %.2000s", name, input, why, out)
		}
		return
	}
	if f := fault.As(err); f == nil || f.Kind != fault.Invalid || f.Code == "" || f.Message == "" {
		t.Errorf("%s of %.2000s gives %v", name, input, err)
	}
}

// unsound finds a chance outside 0 to 1, a spread below 0, or quantiles out of order.
func unsound(at string, value any) string {
	switch v := value.(type) {
	case []any:
		for _, one := range v {
			if why := unsound(at, one); why != "" {
				return why
			}
		}
	case map[string]any:
		p10, ok := v["p10"].(float64)
		if p50, p90 := v["p50"], v["p90"]; ok && !(p10 <= p50.(float64) && p50.(float64) <= p90.(float64)) {
			return at + " has quantiles out of order"
		}
		for name, member := range v {
			number, isNumber := member.(float64)
			switch {
			case isNumber && (name == "probability" || name == "fits_probability") && (number < 0 || number > 1):
				return at + "." + name + " is no chance"
			case isNumber && (name == "sd" || name == "sd_ml" || name == "sd_c") && number < 0:
				return at + "." + name + " is below 0"
			}
			if why := unsound(at+"."+name, member); why != "" {
				return why
			}
		}
	}
	return ""
}

// FuzzCompute reaches every computation: the first number chooses one, the second
// spoils a valid input of it in a way of its own, and text that is not empty is
// taken as it is. With BRIMLINE_FUZZ set to a name only that one is tried.
func FuzzCompute(f *testing.F) {
	names := Names()
	inputs := make([][]json.RawMessage, len(names))
	for i, c := range names {
		inputs[i] = inputsOf(f, c.Name)
		for k, input := range inputs[i] {
			f.Add(uint16(i), uint64(k), "")
			f.Add(uint16(i), uint64(k), string(input))
		}
	}
	only := os.Getenv("BRIMLINE_FUZZ")
	f.Fuzz(func(t *testing.T, which uint16, seed uint64, text string) {
		i := int(which) % len(names)
		for k := range names {
			if names[k].Name == only {
				i = k
			}
		}
		if text != "" {
			answersOrRefuses(t, names[i].Name, []byte(text))
			return
		}
		random := rand.New(rand.NewPCG(seed, 43))
		var input any
		if err := json.Unmarshal(inputs[i][random.IntN(len(inputs[i]))], &input); err != nil {
			t.Fatal(err)
		}
		for range 1 + random.IntN(3) {
			input = spoil(random, input)
		}
		spoilt, err := json.Marshal(input)
		if err != nil {
			t.Fatal(err)
		}
		answersOrRefuses(t, names[i].Name, spoilt)
	})
}
