package physics

import (
	"math"
	"testing"
)

// books runs a ledger that must be accepted.
func books(t *testing.T, in FluidLedgerInput) FluidLedgerOutput {
	t.Helper()
	out, err := FluidLedger(in)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestHotDrainedAgainstColdFilled(t *testing.T) {
	// The same mass: 8 L at 80 °C are less than 8 L at 20 °C.
	out := books(t, FluidLedgerInput{DensityKgM3: 850, Moves: []LedgerMove{
		{Direction: "out", VolumeML: some(8000.0), TempC: 80},
		{Direction: "in", VolumeML: some(8000.0), TempC: 20},
	}})
	source := "hot drained fluid is 3-5 % larger than cold new fluid (common practice, no source); VCF(80)/VCF(20) computed from table 54D"
	agree(t, []published{
		{"share", out.NetInML.Mean / 8000, 0.045, 0.015, source},
		{"exact", out.NetInML.Mean, 8000 * (1 - 0.9513702/0.9963030), 1e-3, source},
		{"in grams", out.NetInG, 8000 * 0.850 * (0.9963030 - 0.9513702), 1e-3, source},
	})
}

func TestGramsAndMillilitresAgree(t *testing.T) {
	grams := 1000 * 0.850 * 0.9963030
	out := books(t, FluidLedgerInput{DensityKgM3: 850, Moves: []LedgerMove{
		{Direction: "in", MassG: some(grams), TempC: 0},
		{Direction: "out", VolumeML: some(1000.0), TempC: 20},
	}})
	agree(t, []published{{"net", out.NetInML.Mean, 0, 1e-3, "1000 mL of 850 kg/m³ at 20 °C, table 54D"}})
	if out.InML.SD >= out.OutML.SD {
		t.Errorf("the scale (%g mL) should beat the jug (%g mL)", out.InML.SD, out.OutML.SD)
	}
}

func TestWasteCostAndPacks(t *testing.T) {
	out := books(t, FluidLedgerInput{DensityKgM3: 850, PackML: some(1000.0), PricePerPack: some(12.5), Moves: []LedgerMove{
		{Direction: "out", VolumeML: some(500.0), TempC: 20, Returned: true},
		{Direction: "out", VolumeML: some(3000.0), TempC: 20},
		{Direction: "in", VolumeML: some(500.0), TempC: 20, Returned: true},
		{Direction: "in", VolumeML: some(3200.0), TempC: 20},
	}})
	source := "arithmetic"
	agree(t, []published{
		{"net", out.NetInML.Mean, 200, 1e-9, source}, {"new", out.NewML, 3200, 1e-9, source},
		{"waste", out.WasteML, 3000, 1e-9, source}, {"packs", float64(*out.PacksOpened), 4, 0, source},
		{"leftover", *out.LeftoverML, 800, 1e-9, source}, {"cost", *out.Cost, 50, 1e-12, source},
		{"waste in grams", out.WasteG, 3000 * 0.850 * 0.9963030, 1e-3, source},
	})
	full := books(t, FluidLedgerInput{DensityKgM3: 850, PackML: some(1000.0), Moves: []LedgerMove{{Direction: "in", VolumeML: some(3000.0), TempC: 20}}})
	if *full.PacksOpened != 3 || full.Cost != nil {
		t.Errorf("3 L from packs of 1 L: %+v", full)
	}
}

func TestLedgerRefusesBadInput(t *testing.T) {
	for _, c := range []struct {
		code, field string
		in          FluidLedgerInput
	}{
		{"out_of_range", "density_15c_kg_m3", FluidLedgerInput{}},
		{"out_of_range", "reference_c", FluidLedgerInput{DensityKgM3: 850, ReferenceC: some(math.NaN())}},
		{"one_of", "moves[0].volume_ml", FluidLedgerInput{DensityKgM3: 850, Moves: []LedgerMove{{Direction: "in"}}}},
		{"unknown_word", "moves[0].direction", FluidLedgerInput{DensityKgM3: 850, Moves: []LedgerMove{{Direction: "up", MassG: some(1.0)}}}},
		{"out_of_range", "moves[0].mass_g", FluidLedgerInput{DensityKgM3: 850, Moves: []LedgerMove{{Direction: "in", MassG: some(-1.0)}}}},
		{"out_of_range", "pack_ml", FluidLedgerInput{DensityKgM3: 850, PackML: some(0.0)}},
		{"missing", "pack_ml", FluidLedgerInput{DensityKgM3: 850, PricePerPack: some(1.0)}},
		{"too_many", "moves", FluidLedgerInput{DensityKgM3: 850, Moves: make([]LedgerMove, 501)}},
	} {
		_, err := FluidLedger(c.in)
		wantFault(t, err, c.code, c.field)
	}
}
