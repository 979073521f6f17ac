package physics

import (
	"math"
	"testing"
)

func TestSpreadChanceAgreesWithErfc(t *testing.T) {
	s := spread{weight: []float64{0.25, 0.75}, mean: []float64{10, 14}, sd: []float64{1, 2.5}}
	for x := 0.0; x < 30; x += 0.37 {
		want := 0.0
		for i, w := range s.weight {
			want += 0.5 * w * math.Erfc(-(x-s.mean[i])/s.sd[i]/math.Sqrt2)
		}
		got, density := s.below(x)
		if math.Abs(got-want) > 1.1e-7 {
			t.Errorf("chance below %g = %.9f, want %.9f", x, got, want)
		}
		ahead, _ := s.below(x + 1e-3)
		behind, _ := s.below(x - 1e-3)
		if slope := (ahead - behind) / 2e-3; math.Abs(slope-density) > 1e-5 {
			t.Errorf("density at %g = %g, slope of the chance is %g", x, density, slope)
		}
	}
}

func TestSpreadQuantilesOfOneNormal(t *testing.T) {
	s := spread{weight: []float64{1}, mean: []float64{40}, sd: []float64{2}}
	like := standing{p10: -3, p50: 1, p90: 0.2} // a bad start must not matter
	got := s.quantiles(&like)
	want := Quantiles{P10: 40 - 2*1.2815515655446, P50: 40, P90: 40 + 2*1.2815515655446}
	for i, pair := range [][2]float64{{got.P10, want.P10}, {got.P50, want.P50}, {got.P90, want.P90}} {
		if math.Abs(pair[0]-pair[1]) > 2e-6 {
			t.Errorf("quantile %d = %.9f, want %.9f", i, pair[0], pair[1])
		}
	}
}
