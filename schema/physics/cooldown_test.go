package physics

import (
	"math"
	"testing"

	"brimline/schema/fault"
)

// closeTo requires an agreement within an absolute tolerance.
func closeTo(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.9g, want %.9g ± %g", what, got, want, tolerance)
	}
}

func number64(x float64) *float64 { return &x }

func mustCool(t *testing.T, in CooldownInput) CooldownOutput {
	t.Helper()
	out, err := Cooldown(in)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestCooldownInConstantAir(t *testing.T) {
	// References, section 5, computed from the closed form: 90 → 45 °C in 20 °C air with
	// τ = 75 min takes 77.2215 min.
	out := mustCool(t, CooldownInput{
		Ambient: AirWave{MeanC: 20}, StartC: number64(90),
		TimeConstantS: &Normal{Mean: 4500}, UntilC: number64(45), AtS: []float64{0, 4500},
	})
	closeTo(t, "reaches_s", out.ReachesS.P50/60, 77.2215, 5e-5)
	closeTo(t, "start", out.Temps[0].TempC, 90, 1e-12)
	closeTo(t, "after τ", out.Temps[1].TempC, 20+70/math.E, 1e-12)
	closeTo(t, "sd of an exact τ", out.Temps[1].SDC, 0, 0)

	// Textbook (Incropera, example 5.1; companion notebook at git.fossee.in, chapter 5):
	// a bead of τ = 1 s at 25 °C in gas of 200 °C is at 199 °C after 5.2 s (5.16 in the notebook).
	bead := mustCool(t, CooldownInput{
		Ambient: AirWave{MeanC: 200}, StartC: number64(25), TimeConstantS: &Normal{Mean: 1}, AtS: []float64{5.16},
	})
	closeTo(t, "bead", bead.Temps[0].TempC, 199, 0.01)
	// Textbook (Çengel, example 4-1; git.fossee.in, Scilab 587): b = 0.463 1/s is 99 % there after 10 s.
	junction := mustCool(t, CooldownInput{
		Ambient: AirWave{MeanC: 100}, StartC: number64(0), TimeConstantS: &Normal{Mean: 1 / 0.463}, AtS: []float64{10},
	})
	closeTo(t, "junction", junction.Temps[0].TempC, 99, 0.05)
}

func TestCooldownInWavingAir(t *testing.T) {
	// References, section 5, computed and checked against an ODE solver: start 90, mean 25,
	// amplitude 8, a day, phase −π/2, τ = 2 h.
	want := []struct{ hour, tempC float64 }{
		{1, 61.317102}, {2, 44.140719}, {4, 28.660124}, {6, 25.261253}, {12, 31.455350}, {24, 18.721770},
	}
	in := CooldownInput{
		Ambient: AirWave{MeanC: 25, AmplitudeC: 8, PhaseRad: -math.Pi / 2},
		StartC:  number64(90), TimeConstantS: &Normal{Mean: 7200}, UntilC: number64(28.660124),
	}
	for _, w := range want {
		in.AtS = append(in.AtS, 3600*w.hour)
	}
	out := mustCool(t, in)
	for i, w := range want {
		closeTo(t, "temperature", out.Temps[i].TempC, w.tempC, 6e-7)
	}
	closeTo(t, "gain", out.Gain, 0.88590826, 5e-9)
	closeTo(t, "lag", out.LagS/3600, 1.84243329, 5e-9)
	closeTo(t, "reaches", out.ReachesS.P50/3600, 4, 1e-6)
}

func TestCooldownLearnsFromReadings(t *testing.T) {
	two := mustCool(t, CooldownInput{
		Ambient: AirWave{MeanC: 20}, Readings: []CooldownReading{{TS: 600, TempC: 70}, {TS: 4200, TempC: 45}},
	})
	closeTo(t, "τ of two readings", math.Exp(math.Log(two.TimeConstantS.Mean)-0.5*math.Log1p(math.Pow(two.TimeConstantS.SD/two.TimeConstantS.Mean, 2))), 3600/math.Log(2), 1e-5)
	if two.Learned != "two readings" || two.TimeConstantS.SD < 50 || two.TimeConstantS.SD > 400 {
		t.Errorf("learned %q, τ %+v", two.Learned, two.TimeConstantS)
	}
	// Three equally spaced readings of an exact curve that ends at 22 °C with τ = 5,000 s.
	curve := func(tS float64) float64 { return 22 + 60*math.Exp(-tS/5000) }
	three := mustCool(t, CooldownInput{
		Ambient:  AirWave{MeanC: 22},
		Readings: []CooldownReading{{0, curve(0)}, {1800, curve(1800)}, {3600, curve(3600)}},
	})
	closeTo(t, "three-point τ", three.ThreePoint.TimeConstantS, 5000, 1e-6)
	closeTo(t, "three-point end", three.ThreePoint.EndC, 22, 1e-9)
	// In waving air: readings made by the closed form give back its τ.
	in := CooldownInput{Ambient: AirWave{MeanC: 15, AmplitudeC: 6, PhaseRad: 1}, StartC: number64(80), TimeConstantS: &Normal{Mean: 9000}}
	in.AtS = []float64{0, 3600, 9000, 20_000}
	made := mustCool(t, in)
	in.TimeConstantS, in.StartC, in.AtS = nil, nil, nil
	for _, p := range made.Temps {
		in.Readings = append(in.Readings, CooldownReading{TS: p.TS, TempC: p.TempC})
	}
	back := mustCool(t, in)
	closeTo(t, "τ in waving air", back.TimeConstantS.Mean, 9000, 0.01*9000)
	if back.Learned != "readings" {
		t.Errorf("learned %q", back.Learned)
	}
	// A prior holds where readings say little.
	short := CooldownInput{Ambient: AirWave{MeanC: 20}, Readings: []CooldownReading{{0, 60}, {60, 60}}, TimeConstantS: &Normal{Mean: 8000, SD: 800}}
	closeTo(t, "τ with a prior", mustCool(t, short).TimeConstantS.Mean, 8000, 400)
}

func TestCooldownNeverAndDoubt(t *testing.T) {
	in := CooldownInput{Ambient: AirWave{MeanC: 31, AmplitudeC: 4}, StartC: number64(85), UntilC: number64(26)}
	if out := mustCool(t, in); out.ReachesS != nil || out.Learned != "default" {
		t.Errorf("air never below 27 °C, yet reaches_s = %+v", out.ReachesS)
	}
	in.UntilC = number64(27.6) // only a quick gearbox follows the night that far
	out := mustCool(t, in)
	if r := out.ReachesS; r == nil || !(0.05 < r.Probability && r.Probability < 0.9) || !(r.P10 <= r.P50 && r.P50 <= r.P90) {
		t.Errorf("reaches_s = %+v", r)
	}
	// Trade notes, E: 85 → 30 °C at 20 °C takes about 3 to 7.5 h for τ 1.5 to 4 h.
	usual := mustCool(t, CooldownInput{Ambient: AirWave{MeanC: 20}, StartC: number64(85), UntilC: number64(30)})
	if r := usual.ReachesS; !(2*3600 < r.P10 && r.P90 < 9*3600) {
		t.Errorf("85 → 30 °C at 20 °C: %+v", r)
	}
}

func TestCooldownNamesWhatIsWrong(t *testing.T) {
	tests := []struct {
		name  string
		in    CooldownInput
		code  string
		field string
	}{
		{"no start", CooldownInput{}, "missing", "start_c"},
		{"air", CooldownInput{Ambient: AirWave{MeanC: math.NaN()}, StartC: number64(1)}, "out_of_range", "ambient.mean_c"},
		{"period", CooldownInput{Ambient: AirWave{PeriodS: number64(0)}, StartC: number64(1)}, "out_of_range", "ambient.period_s"},
		{"τ", CooldownInput{StartC: number64(1), TimeConstantS: &Normal{}}, "out_of_range", "time_constant_s.mean"},
		{"order", CooldownInput{Readings: []CooldownReading{{5, 1}, {5, 2}}}, "order", "readings[1].t_s"},
		{"warming in cold air", CooldownInput{Ambient: AirWave{MeanC: 10}, Readings: []CooldownReading{{0, 40}, {900, 50}}}, "no_fit", "readings"},
		{"before the first reading", CooldownInput{Readings: []CooldownReading{{50, 40}}, AtS: []float64{20}}, "out_of_range", "at_s[0]"},
	}
	for _, tt := range tests {
		_, err := Cooldown(tt.in)
		if f := fault.As(err); f == nil || f.Code != tt.code || f.Field != tt.field {
			t.Errorf("%s: got %v, want %s on %s", tt.name, err, tt.code, tt.field)
		}
	}
}
