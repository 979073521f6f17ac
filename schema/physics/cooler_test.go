package physics

import (
	"math"
	"slices"
	"testing"
)

// circuit is two lines of 10 mm and a core.
func circuit() CoolerCircuitInput {
	return CoolerCircuitInput{Lines: []CoolerLine{{InnerMM: 10, LengthMM: 1500, Count: 2}}, CoreML: 300, Bypass: "in line", Circuit: "drained"}
}

func TestCoolerVolume(t *testing.T) {
	out, err := CoolerCircuit(circuit())
	if err != nil {
		t.Fatal(err)
	}
	agree(t, []published{
		{"volume", out.VolumeML.Mean, 300 + math.Pi*25*3000/1000, 1e-9, "cylinder, geometry"},
		{"cooler and lines", out.VolumeML.Mean, 600, 400, "0.2-1.0 L, common practice, no source"},
		{"uptake of an empty circuit", out.UptakeML.Mean, 400, 200, "0.2-0.6 L low at the second check, common practice, no source"},
	})
}

func TestCoolerRule(t *testing.T) {
	for _, c := range []struct {
		name        string
		spoil       func(*CoolerCircuitInput)
		secondCycle string
		flush       bool
		reason      string
	}{
		{"untouched", func(in *CoolerCircuitInput) { in.Circuit = "untouched" }, "not needed", false, "circuit_untouched"},
		{"opened", func(in *CoolerCircuitInput) { in.Circuit = "opened" }, "required", false, "circuit_opened"},
		{"drained", func(in *CoolerCircuitInput) {}, "required", false, "circuit_emptied"},
		{"unknown", func(in *CoolerCircuitInput) { in.Circuit = "unknown" }, "required", false, "circuit_unknown"},
		{"no bypass", func(in *CoolerCircuitInput) { in.Bypass = "none" }, "optional", false, "no_bypass"},
		{"bypass unknown", func(in *CoolerCircuitInput) { in.Bypass = "unknown" }, "required", false, "bypass_unknown"},
		{"locked open", func(in *CoolerCircuitInput) { in.Lockable = true }, "optional", false, "bypass_lockable"},
		{"opens when hot", func(in *CoolerCircuitInput) { in.OpensC = some(85.0) }, "required", false, "bypass_closed_until_hot"},
		{"failed gearbox", func(in *CoolerCircuitInput) { in.FailedGearbox = true }, "required", true, "bypass_blocks_flush"},
		{"failed, replaced", func(in *CoolerCircuitInput) { in.FailedGearbox = true; in.Circuit = "replaced" }, "required", false, "failed_gearbox"},
	} {
		in := circuit()
		c.spoil(&in)
		out, err := CoolerCircuit(in)
		if err != nil {
			t.Fatal(err)
		}
		if out.SecondCycle != c.secondCycle || out.FlushFirst != c.flush || !slices.Contains(out.Reasons, c.reason) {
			t.Errorf("%s: %+v", c.name, out)
		}
		if untouched := in.Circuit == "untouched"; untouched != (out.UptakeML == Normal{}) || out.UptakeML.Mean > out.VolumeML.Mean {
			t.Errorf("%s: uptake %+v of %+v", c.name, out.UptakeML, out.VolumeML)
		}
	}
}

func TestCoolerRefusesBadInput(t *testing.T) {
	for _, c := range []struct {
		code, field string
		spoil       func(*CoolerCircuitInput)
	}{
		{"out_of_range", "lines[0].inner_mm", func(in *CoolerCircuitInput) { in.Lines[0].InnerMM = 0 }},
		{"out_of_range", "lines[0].count", func(in *CoolerCircuitInput) { in.Lines[0].Count = 0 }},
		{"out_of_range", "lines[0].length_mm", func(in *CoolerCircuitInput) { in.Lines[0].LengthMM = math.NaN() }},
		{"out_of_range", "core_ml", func(in *CoolerCircuitInput) { in.CoreML = -1 }},
		{"out_of_range", "opens_c", func(in *CoolerCircuitInput) { in.OpensC = some(500.0) }},
		{"unknown_word", "bypass", func(in *CoolerCircuitInput) { in.Bypass = "" }},
		{"unknown_word", "circuit", func(in *CoolerCircuitInput) { in.Circuit = "fine" }},
		{"too_many", "lines", func(in *CoolerCircuitInput) { in.Lines = make([]CoolerLine, 21) }},
	} {
		in := circuit()
		c.spoil(&in)
		_, err := CoolerCircuit(in)
		wantFault(t, err, c.code, c.field)
	}
}
