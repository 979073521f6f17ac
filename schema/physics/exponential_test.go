package physics

import (
	"math"
	"testing"

	"brimline/schema/fault"
)

// digits is the log relative error, the measure of the NIST reference sets.
func digits(got, want float64) float64 {
	if got == want {
		return 15
	}
	return -math.Log10(math.Abs(got-want) / math.Abs(want))
}

// misra1a and boxBOD are NIST StRD nonlinear regression problems
// (itl.nist.gov/div898/strd/nls) with their certified values.
func misra1a() ExponentialFitInput {
	return ExponentialFitInput{
		X: []float64{77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0},
		Y: []float64{10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78},
	}
}

func boxBOD() ExponentialFitInput {
	return ExponentialFitInput{X: []float64{1, 2, 3, 5, 7, 10}, Y: []float64{109, 149, 149, 191, 213, 224}}
}

func TestExponentialFitIsCertifiedByNIST(t *testing.T) {
	tests := []struct {
		name     string
		in       ExponentialFitInput
		start    []float64
		b, sd    [2]float64
		residual float64
		rss      float64
	}{
		{"Misra1a start 1", misra1a(), []float64{500, 0.0001}, [2]float64{2.3894212918e+02, 5.5015643181e-04}, [2]float64{2.7070075241e+00, 7.2668688436e-06}, 1.0187876330e-01, 1.2455138894e-01},
		{"Misra1a start 2", misra1a(), []float64{250, 0.0005}, [2]float64{2.3894212918e+02, 5.5015643181e-04}, [2]float64{2.7070075241e+00, 7.2668688436e-06}, 1.0187876330e-01, 1.2455138894e-01},
		{"BoxBOD start 1", boxBOD(), []float64{1, 1}, [2]float64{2.1380940889e+02, 5.4723748542e-01}, [2]float64{1.2354515176e+01, 1.0455993237e-01}, 1.7088072423e+01, 1.1680088766e+03},
		{"BoxBOD start 2", boxBOD(), []float64{100, 0.75}, [2]float64{2.1380940889e+02, 5.4723748542e-01}, [2]float64{1.2354515176e+01, 1.0455993237e-01}, 1.7088072423e+01, 1.1680088766e+03},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			tt.in.Start = tt.start
			got, err := ExponentialFit(tt.in)
			if err != nil {
				t.Fatal(err)
			}
			pairs := []struct {
				name      string
				got, want float64
			}{
				{"b1", got.B[0], tt.b[0]}, {"b2", got.B[1], tt.b[1]},
				{"sd b1", got.SD[0], tt.sd[0]}, {"sd b2", got.SD[1], tt.sd[1]},
				{"residual sd", got.ResidualSD, tt.residual}, {"rss", got.RSS, tt.rss},
			}
			for _, p := range pairs {
				if d := digits(p.got, p.want); d < 8 {
					t.Errorf("%s = %.11g, want %.11g: %.1f digits", p.name, p.got, p.want, d)
				}
			}
			t.Logf("%d iterations", got.Iterations)
		})
	}
}

func TestExponentialFitFindsAnExactCurve(t *testing.T) {
	in := ExponentialFitInput{Start: []float64{1, 0.1}}
	for i := 0; i < 12; i++ {
		in.X = append(in.X, float64(i))
		in.Y = append(in.Y, -40*math.Expm1(-0.3*float64(i)))
	}
	got, err := ExponentialFit(in)
	if err != nil {
		t.Fatal(err)
	}
	if digits(got.B[0], 40) < 10 || digits(got.B[1], 0.3) < 10 {
		t.Errorf("b = %v, want 40 and 0.3", got.B)
	}
}

func TestExponentialFitNamesWhatIsWrong(t *testing.T) {
	good := func() ExponentialFitInput {
		in := boxBOD()
		in.Start = []float64{100, 0.75}
		return in
	}
	tests := []struct {
		name  string
		spoil func(*ExponentialFitInput)
		code  string
		field string
	}{
		{"too few points", func(in *ExponentialFitInput) { in.X, in.Y = in.X[:2], in.Y[:2] }, "length", "x"},
		{"lengths differ", func(in *ExponentialFitInput) { in.Y = in.Y[:5] }, "length", "y"},
		{"one start", func(in *ExponentialFitInput) { in.Start = in.Start[:1] }, "length", "start"},
		{"start at zero", func(in *ExponentialFitInput) { in.Start[1] = 0 }, "out_of_range", "start[1]"},
		{"not a number", func(in *ExponentialFitInput) { in.Y[3] = math.NaN() }, "out_of_range", "y[3]"},
		{"endless", func(in *ExponentialFitInput) { in.X[0] = math.Inf(1) }, "out_of_range", "x[0]"},
		{"all at one place", func(in *ExponentialFitInput) {
			for i := range in.X {
				in.X[i] = 0
			}
		}, "no_fit", "start"},
		{"overflow at the start", func(in *ExponentialFitInput) { in.Start[1] = -1e9 }, "no_fit", "start"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			in := good()
			tt.spoil(&in)
			_, err := ExponentialFit(in)
			f := fault.As(err)
			if f == nil || f.Code != tt.code || f.Field != tt.field {
				t.Errorf("got %v, want %s on %s", err, tt.code, tt.field)
			}
		})
	}
}
