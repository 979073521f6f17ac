package physics

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
)

// endGauge is example H.1 of the GUM, in nanometres and degrees.
func endGauge() (model func([]float64) float64, values, sds, degrees []float64) {
	model = func(x []float64) float64 {
		gauge, difference, alpha, theta, deltaAlpha, deltaTheta := x[0], x[1], x[2], x[3], x[4], x[5]
		return gauge + difference - gauge*(deltaAlpha*theta+alpha*deltaTheta)
	}
	values = []float64{50.000623e6, 215, 11.5e-6, -0.1, 0, 0}
	sds = []float64{25, 9.7, 1.2e-6, 0.41, 0.58e-6, 0.029}
	degrees = []float64{18, 25.6, 0, 0, 50, 2}
	return model, values, sds, degrees
}

func TestGUMExampleH1(t *testing.T) {
	model, values, sds, degrees := endGauge()
	sensitivities, err := Sensitivities(model, values, sds)
	if err != nil {
		t.Fatal(err)
	}
	parts := make([]Component, len(values))
	for i := range parts {
		parts[i] = Component{Sensitivity: sensitivities[i], SD: sds[i], Degrees: degrees[i]}
	}
	combined, err := Combine(parts)
	if err != nil {
		t.Fatal(err)
	}
	factor, expanded, err := Expand(combined, 0.99)
	if err != nil {
		t.Fatal(err)
	}
	share := func(i int) float64 { return math.Abs(sensitivities[i]) * sds[i] }
	source := "JCGM 100:2008, example H.1"
	agree(t, []published{
		{"length in mm", model(values) / 1e6, 50.000838, 5e-7, source},
		{"standard gauge", share(0), 25, 0.05, source},
		{"comparator", share(1), 9.7, 0.05, source},
		{"expansion coefficient", share(2), 0, 1e-9, source},
		{"mean temperature", share(3), 0, 1e-9, source},
		{"difference of coefficients", share(4), 2.9, 0.05, source},
		{"difference of temperatures", share(5), 16.6, 0.1, source + "; 16.68 with the rounded 0.029 °C"},
		{"combined", combined.SD, 32, 0.5, source},
		{"combined, squared", combined.SD * combined.SD, 1002, 6, source},
		{"effective degrees of freedom", math.Floor(combined.Degrees), 16, 0, source},
		{"effective degrees, printed", combined.Degrees, 16.7, 0.2, source},
		{"coverage factor", factor, 2.92, 5e-3, source},
		{"expanded", expanded, 93, 0.7, source},
	})
}

func TestGUMComparatorUncertainty(t *testing.T) {
	combined, err := Combine([]Component{{1, 5.8, 24}, {1, 3.9, 5}, {1, 6.7, 8}})
	if err != nil {
		t.Fatal(err)
	}
	source := "JCGM 100:2008, example H.1.4 (from memory)"
	agree(t, []published{{"comparator", combined.SD, 9.7, 0.05, source}, {"degrees of freedom", combined.Degrees, 25.6, 0.5, source}})
}

func TestConformancePublished(t *testing.T) {
	in := func(value, sd, low, high float64) float64 {
		out, err := Conformance(value, sd, low, high)
		if err != nil {
			t.Fatal(err)
		}
		return out.In
	}
	guarded, err := GuardedUpper(50, 1, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	computed := "JCGM 106:2012 clause 7, computed"
	agree(t, []published{
		{"one-sided", in(-5.47, 0.05, math.Inf(-1), -5.40), 0.92, 5e-3, "JCGM 106:2012 example (from memory)"},
		{"48.0 in 30-50", in(48, 1, 30, 50), 0.977250, 5e-7, computed},
		{"31.0 in 30-50", in(31, 1.5, 30, 50), 0.747507, 5e-7, computed},
		{"42.0 in 40-45", in(42, 1.5, 40, 45), 0.886039, 5e-7, computed},
		{"guarded 50", guarded, 48.3551, 6e-5, computed},
		{"resistors, prior", in(1500, 0.12, 1499.80, 1500.20), 0.90442, 5e-6, "JCGM 106:2012, 1500 ohm resistors, computed"},
	})
}

func TestJCGM106BallBearing(t *testing.T) {
	// Run-out: prior gamma of shape 4 and scale 0.25 µm, limit 2 µm, u = 0.25 µm.
	prior := func(x float64) float64 { return distuv.Gamma{Alpha: 4, Beta: 4}.Prob(x) }
	risk := func(limit float64) float64 { // beyond 2 µm, yet measured below the limit
		return quad.Fixed(func(x float64) float64 { return prior(x) * NormalCDF((limit-x)/0.25) }, 2, 12, 400, nil, 0)
	}
	source := "JCGM 106:2012 9.5.4"
	agree(t, []published{
		{"beyond the limit", 1 - gammaLower(4, 8), 0.04238, 5e-6, source},
		{"consumer's risk", risk(2), 0.00802, 5e-6, source},
		{"consumer's risk at the guarded limit", risk(1.672), 0.001, 1e-5, source},
	})
}

func TestJCGM106Resistors(t *testing.T) {
	prior := distuv.Normal{Mu: 1500, Sigma: 0.12}
	accepted := func(x float64) float64 {
		return NormalCDF((1500.18-x)/0.04) - NormalCDF((1499.82-x)/0.04)
	}
	consumer := 2 * quad.Fixed(func(x float64) float64 { return prior.Prob(x) * accepted(x) }, 1500.20, 1501.2, 400, nil, 0)
	producer := quad.Fixed(func(x float64) float64 { return prior.Prob(x) * (1 - accepted(x)) }, 1499.80, 1500.20, 400, nil, 0)
	source := "JCGM 106:2012, 1500 ohm resistors, computed; printed as 1 % and 7 % (from memory)"
	agree(t, []published{{"consumer's risk", consumer, 0.009878, 5e-7, source}, {"producer's risk", producer, 0.069027, 5e-7, source}})
}

func TestUncertaintyRefusesBadInput(t *testing.T) {
	_, err := Combine([]Component{{1, 1, 0}, {1, -1, 0}})
	wantFault(t, err, "out_of_range", "components[1].sd")
	_, err = Combine([]Component{{math.NaN(), 1, 0}})
	wantFault(t, err, "out_of_range", "components[0].sensitivity")
	_, _, err = Expand(Combined{SD: 1, Degrees: 0.5}, 0.95)
	wantFault(t, err, "out_of_range", "degrees")
	_, _, err = Expand(Combined{SD: 1}, 1)
	wantFault(t, err, "out_of_range", "confidence")
	_, err = Sensitivities(func(x []float64) float64 { return math.Log(x[0]) }, []float64{0}, []float64{1})
	wantFault(t, err, "out_of_range", "values[0]")
	_, err = Sensitivities(nil, []float64{0}, nil)
	wantFault(t, err, "shape", "sds")
	_, err = Conformance(1, 1, 2, 2)
	wantFault(t, err, "order", "high")
	_, err = Conformance(math.Inf(1), 1, 2, 3)
	wantFault(t, err, "out_of_range", "value")
	_, err = GuardedUpper(1, -1, 0.9)
	wantFault(t, err, "out_of_range", "sd")
}

func TestNoUncertaintyIsCertain(t *testing.T) {
	for _, c := range []struct {
		value float64
		want  Conformity
	}{{1, Conformity{Low: 1}}, {2, Conformity{In: 1}}, {5, Conformity{High: 1}}} {
		got, err := Conformance(c.value, 0, 2, 4)
		if err != nil || got != c.want {
			t.Errorf("%g: %v, %v", c.value, got, err)
		}
	}
	combined, err := Combine(nil)
	if err != nil || combined != (Combined{}) {
		t.Errorf("nothing combined gives %v, %v", combined, err)
	}
}
