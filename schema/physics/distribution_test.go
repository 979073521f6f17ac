package physics

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

func TestGarwoodLimits(t *testing.T) {
	source := "Garwood 1936, computed to 4 digits; n = 0, 1, 3, 5, 10, 25 agree with published tables"
	rows := []struct {
		n         int
		low, high float64
	}{
		{0, 0, 3.6889}, {1, 0.0253, 5.5716}, {2, 0.2422, 7.2247}, {3, 0.6187, 8.7673}, {4, 1.0899, 10.2416},
		{5, 1.6235, 11.6683}, {6, 2.2019, 13.0595}, {7, 2.8144, 14.4227}, {8, 3.4538, 15.7632},
		{9, 4.1154, 17.0848}, {10, 4.7954, 18.3904}, {12, 6.2006, 20.9616}, {15, 8.3954, 24.7402},
		{20, 12.2165, 30.8884}, {25, 16.1787, 36.9049}, {30, 20.2409, 42.8269}, {50, 37.1110, 65.9188},
	}
	for _, r := range rows {
		low, high, err := PoissonLimits(r.n, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		agree(t, []published{{"lower", low, r.low, 5.1e-5, source}, {"upper", high, r.high, 5.1e-5, source}})
	}
}

func TestGarwoodOtherConfidences(t *testing.T) {
	source := "GraphPad confidence interval of a count, n = 25"
	for _, r := range []struct{ confidence, low, high float64 }{{0.90, 17.38, 34.92}, {0.95, 16.18, 36.90}, {0.99, 14.00, 41.00}} {
		low, high, err := PoissonLimits(25, r.confidence)
		if err != nil {
			t.Fatal(err)
		}
		agree(t, []published{{"lower", low, r.low, 5.1e-3, source}, {"upper", high, r.high, 5.1e-3, source}})
	}
	gehrels := "Gehrels 1986, one sigma (from memory)"
	for _, r := range []struct {
		n         int
		low, high float64
	}{{0, 0, 1.841}, {1, 0.173, 3.300}, {2, 0.708, 4.638}, {3, 1.367, 5.918}, {5, 2.840, 8.382}, {10, 6.891, 14.267}} {
		low, high, err := PoissonLimits(r.n, 1-2*NormalCDF(-1))
		if err != nil {
			t.Fatal(err)
		}
		agree(t, []published{{"lower", low, r.low, 1.1e-3, gehrels}, {"upper", high, r.high, 1.1e-3, gehrels}})
	}
}

func TestGarwoodDripRates(t *testing.T) {
	low, high, _ := PoissonLimits(12, 0.95)
	_, none, _ := PoissonLimits(0, 0.90) // one-sided 95 %
	timed, err := ChiSquareQuantile(0.975, 24)
	if err != nil {
		t.Fatal(err)
	}
	source := "Garwood 1936, computed"
	agree(t, []published{
		{"12 drips in 60 s, lower", low, 6.20, 5e-3, source},
		{"12 drips in 60 s, upper", high, 20.96, 5e-3, source},
		{"12th drip at 60 s, upper", timed / 2, 19.68, 5e-3, source},
		{"none in 60 s, one-sided", none, 2.996, 5e-4, source},
	})
}

func TestNormalPublished(t *testing.T) {
	z := func(p float64) float64 {
		v, err := NormalQuantile(p)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	source := "JCGM 106:2012, guard band factors (from memory; computed)"
	agree(t, []published{
		{"0.80", z(0.80), 0.84, 5e-3, source}, {"0.90", z(0.90), 1.28, 5e-3, source},
		{"0.95", z(0.95), 1.64, 5e-3, source}, {"0.99", z(0.99), 2.33, 5e-3, source},
		{"0.999", z(0.999), 3.09, 5e-3, source}, {"0.5", z(0.5), 0, 1e-15, "symmetry"},
	})
}

func TestStudentPublished(t *testing.T) {
	q := func(coverage, degrees float64) float64 {
		v, err := StudentQuantile(0.5+coverage/2, degrees)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	gum := "JCGM 100:2008, table G.2"
	memory := gum + " (from memory)"
	agree(t, []published{
		{"16, 95 %", q(0.95, 16), 2.12, 5e-3, gum}, {"16, 95.45 %", q(0.9545, 16), 2.17, 5.1e-3, gum},
		{"16, 99 %", q(0.99, 16), 2.92, 5e-3, gum}, {"10, 95 %", q(0.95, 10), 2.23, 5e-3, memory},
		{"50, 95 %", q(0.95, 50), 2.01, 5e-3, memory}, {"5, 95.45 %", q(0.9545, 5), 2.65, 5e-3, memory},
	})
}

func TestDistributionsAgreeWithGonum(t *testing.T) {
	for _, p := range []float64{1e-12, 1e-8, 1e-3, 0.025, 0.1, 0.4, 0.5, 0.7, 0.975, 0.9999} {
		z, err := NormalQuantile(p)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "normal quantile", z, distuv.UnitNormal.Quantile(p), 1e-9)
		for _, degrees := range []float64{0.5, 1, 2, 7.5, 40, 300, 20000} {
			x, err := ChiSquareQuantile(p, degrees)
			if err != nil {
				t.Fatal(err)
			}
			if back := mathext.GammaIncReg(degrees/2, x/2); math.Abs(back-p) > 1e-9*p {
				t.Errorf("chi-square quantile %g of %g: gonum says probability %g", p, degrees, back)
			}
		}
	}
	for _, degrees := range []float64{1, 2, 3.5, 16, 50, 1000} {
		student := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: degrees}
		for _, x := range []float64{-30, -2.5, -0.1, 0, 0.4, 1, 3, 12} {
			got, err := StudentCDF(x, degrees)
			if err != nil {
				t.Fatal(err)
			}
			if want := student.CDF(x); math.Abs(got-want) > 1e-11 {
				t.Errorf("Student %g with %g degrees: got %.15g, gonum %.15g", x, degrees, got, want)
			}
		}
	}
}

func TestStudentThereAndBack(t *testing.T) {
	for _, degrees := range []float64{0.5, 1, 4, 16.7, 200, 1e6} {
		for _, p := range []float64{1e-6, 0.01, 0.3, 0.5, 0.8, 0.995} {
			x, err := StudentQuantile(p, degrees)
			if err != nil {
				t.Fatal(err)
			}
			back, err := StudentCDF(x, degrees)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "probability", back, p, 1e-8)
		}
	}
}

func TestDistributionsRefuseBadInput(t *testing.T) {
	_, err := NormalQuantile(0)
	wantFault(t, err, "out_of_range", "p")
	_, err = NormalQuantile(math.NaN())
	wantFault(t, err, "out_of_range", "p")
	_, err = ChiSquareQuantile(0.5, 0)
	wantFault(t, err, "out_of_range", "degrees")
	_, _, err = PoissonLimits(-1, 0.95)
	wantFault(t, err, "out_of_range", "events")
	_, _, err = PoissonLimits(3, 1)
	wantFault(t, err, "out_of_range", "confidence")
	_, err = StudentQuantile(1, 3)
	wantFault(t, err, "out_of_range", "p")
	_, err = StudentCDF(math.NaN(), 3)
	wantFault(t, err, "out_of_range", "t")
	_, err = StudentCDF(1, -2)
	wantFault(t, err, "out_of_range", "degrees")
}

// near requires a relative agreement.
func near(t *testing.T, name string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Max(math.Abs(want), 1e-300)) && got != want {
		t.Errorf("%s: got %.17g, want %.17g", name, got, want)
	}
}
