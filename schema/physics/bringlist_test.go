package physics

import (
	"math"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestBringListCoversTheNeed(t *testing.T) {
	out, err := BringList(BringListInput{
		DensityKgM3: 850, DeficitML: &Normal{600, 150}, CoolerUptakeML: &Normal{400, 120},
		PackSizesML: []float64{1000, 4000}, Openings: 2, SealsPerOpening: 1, SecondCycle: true,
	})
	if err != nil {
		t.Fatal(err)
	}
	source := "sum of normal quantities, z = 1.6449 at 0.95"
	agree(t, []published{
		{"expected", out.ExpectedML, 1000, 1e-9, source},
		{"margin", out.MarginML, 1.644854 * math.Hypot(150, 120), 1e-3, source},
		{"mass", out.MassG, out.VolumeML * 0.850 * 0.9963030, 1e-3, "850 kg/m³ at 20 °C, table 54D"},
	})
	if !reflect.DeepEqual(out.Packs, []PackCount{{1000, 2}}) || out.Seals != 4 {
		t.Errorf("%+v", out)
	}
	for _, reason := range []string{"deficit", "cooler_uptake", "margin_spread", "second_cycle", "spare_seal"} {
		if !slices.Contains(out.Reasons, reason) {
			t.Errorf("%s is not given as a reason: %v", reason, out.Reasons)
		}
	}
}

func TestBringListAlwaysTakesSomething(t *testing.T) {
	out, err := BringList(BringListInput{DensityKgM3: 850, PackSizesML: []float64{1000}})
	if err != nil {
		t.Fatal(err)
	}
	if out.VolumeML != leastSpareML || out.Seals != 0 || !slices.Contains(out.Reasons, "margin_least") || out.Packs[0].Count != 1 {
		t.Errorf("%+v", out)
	}
}

func TestPacksBuyTheLeast(t *testing.T) {
	for _, c := range []struct {
		sizes []float64
		need  float64
		want  []PackCount
	}{
		{[]float64{1000, 4000}, 3200, []PackCount{{4000, 1}}},
		{[]float64{1000, 4000}, 5500, []PackCount{{4000, 1}, {1000, 2}}},
		{[]float64{4000, 5000}, 8000, []PackCount{{4000, 2}}},
		{[]float64{946, 3785}, 900, []PackCount{{946, 1}}},
		{[]float64{20000}, 100, []PackCount{{20000, 1}}},
	} {
		if got, _ := choosePacks(c.sizes, c.need); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%g mL from %v: %v, want %v", c.need, c.sizes, got, c.want)
		}
	}
}

func TestPacksAlwaysCover(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sizes := rapid.SliceOfN(rapid.Float64Range(50, 60000), 1, mostPackSizes).Draw(t, "sizes")
		need := rapid.Float64Range(1, 200000).Draw(t, "need")
		packs, spare := choosePacks(sizes, need)
		sum, smallest := 0.0, slices.Min(sizes)
		for _, p := range packs {
			sum += p.SizeML * float64(p.Count)
		}
		if sum < need-1e-5 || math.Abs(sum-need-spare) > 1e-5 || spare > smallest+1e-5 && spare > slices.Max(sizes) {
			t.Fatalf("%g mL from %v: %v with %g spare", need, sizes, packs, spare)
		}
	})
}

func TestBringListRefusesBadInput(t *testing.T) {
	good := func() BringListInput {
		return BringListInput{DensityKgM3: 850, PackSizesML: []float64{1000}, Openings: 1, SealsPerOpening: 1}
	}
	for _, c := range []struct {
		code, field string
		spoil       func(*BringListInput)
	}{
		{"out_of_range", "density_15c_kg_m3", func(in *BringListInput) { in.DensityKgM3 = math.NaN() }},
		{"out_of_range", "deficit_ml.sd", func(in *BringListInput) { in.DeficitML = &Normal{1, -1} }},
		{"out_of_range", "exchange_ml.mean", func(in *BringListInput) { in.ExchangeML = &Normal{math.Inf(1), 1} }},
		{"missing", "pack_sizes_ml", func(in *BringListInput) { in.PackSizesML = nil }},
		{"too_many", "pack_sizes_ml", func(in *BringListInput) { in.PackSizesML = make([]float64, 7) }},
		{"out_of_range", "pack_sizes_ml[0]", func(in *BringListInput) { in.PackSizesML[0] = 0 }},
		{"out_of_range", "openings", func(in *BringListInput) { in.Openings = -1 }},
		{"out_of_range", "seals_per_opening", func(in *BringListInput) { in.SealsPerOpening = 21 }},
		{"out_of_range", "sureness", func(in *BringListInput) { in.Sureness = some(1.0) }},
	} {
		in := good()
		c.spoil(&in)
		_, err := BringList(in)
		wantFault(t, err, c.code, c.field)
	}
}
