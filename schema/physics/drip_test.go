package physics

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// warmDrip is a 9 L gearbox warming by 1 °C a minute, watched for a minute.
func warmDrip() DripJudgeInput {
	return DripJudgeInput{
		Watched: Span{100, 160}, DropUL: 40, ActiveVolumeML: 9000, DensityKgM3: 850, TempC: 40,
		RateCPerMin: Normal{Mean: 1, SD: 0.1},
	}
}

// evenly returns n drops spread evenly over the watch.
func evenly(n int, span Span) []float64 {
	drips := make([]float64, n)
	for i := range drips {
		drips[i] = span.FromS + (float64(i)+0.5)*(span.ToS-span.FromS)/float64(n)
	}
	return drips
}

func TestExpectedDripIsTheTradesNumber(t *testing.T) {
	for _, r := range []struct{ volumeML, low, high float64 }{{5000, 1.3, 1.8}, {9000, 2.4, 3.2}, {12000, 3.2, 4.2}} {
		in := warmDrip()
		in.ActiveVolumeML = r.volumeML
		out, err := DripJudge(in)
		if err != nil {
			t.Fatal(err)
		}
		if perS := out.ExpectedPerMin.Mean / 60; perS < r.low || perS > r.high {
			t.Errorf("%g mL at 1 °C/min: %.2f drops a second, want %g-%g (common practice, no source)", r.volumeML, perS, r.low, r.high)
		}
	}
}

func TestDripClassesAndAdvice(t *testing.T) {
	expected := 0
	{
		out, err := DripJudge(warmDrip())
		if err != nil {
			t.Fatal(err)
		}
		expected = int(math.Round(out.ExpectedPerMin.Mean)) // in the one minute watched
	}
	cases := []struct {
		name          string
		drips         int
		ratePerMin    Normal
		class, advice string
		neverStops    bool
	}{
		{"dry while warming", 0, Normal{1, 0.1}, "none", "below_lip", false},
		{"isolated drops while warming", 20, Normal{1, 0.1}, "below", "below_lip", false},
		{"what warming explains", expected, Normal{1, 0.1}, "balanced", "at_the_lip", true},
		{"near the upper border", 19 * expected / 10, Normal{1, 0.1}, "balanced", "at_the_lip", true},
		{"far more, steady", 460, Normal{1, 0.1}, "above", "still_draining", true},
		{"a stream", 700, Normal{1, 0.1}, "stream", "cannot_judge_stream", false},
		{"dry without warming", 0, Normal{0, 0.002}, "none", "dry_is_right", false},
		{"a last drop without warming", 2, Normal{0, 0.002}, "balanced", "dry_is_right", false},
		{"draining without warming", 60, Normal{0, 0.002}, "above", "still_draining", false},
		{"dry while cooling", 0, Normal{-1, 0.1}, "none", "dry_is_right", false},
		{"few drops near the lower border", 4, Normal{0.05, 0.005}, "balanced", "count_longer", true},
	}
	for _, c := range cases {
		in := warmDrip()
		in.RateCPerMin = c.ratePerMin
		in.DripsS = evenly(c.drips, in.Watched)
		out, err := DripJudge(in)
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		if out.Class != c.class || out.Advice != c.advice || slices.Contains(out.Codes, "never_stops") != c.neverStops {
			t.Errorf("%s: %s, %s, %v (ratio %v, expected %v)", c.name, out.Class, out.Advice, out.Codes, out.Ratio, out.ExpectedPerMin)
		}
		if out.Codes[0] != out.Advice {
			t.Errorf("%s: codes %v do not begin with %s", c.name, out.Codes, out.Advice)
		}
		if out.RemainingML != nil {
			t.Errorf("%s: an even drip does not thin out, yet %v mL remain", c.name, *out.RemainingML)
		}
	}
}

func TestDripLimitsAreGarwoods(t *testing.T) {
	in := warmDrip()
	in.DripsS = evenly(12, in.Watched)
	out, err := DripJudge(in)
	if err != nil {
		t.Fatal(err)
	}
	source := "12 drips in 60 s, Garwood 1936, computed"
	agree(t, []published{
		{"estimate", out.PerMin.Estimate, 12, 1e-12, source},
		{"low", out.PerMin.Low, 6.20, 5e-3, source},
		{"high", out.PerMin.High, 20.96, 5e-3, source},
	})
}

func TestShortWatchIsNotJudged(t *testing.T) {
	in := warmDrip()
	in.Watched = Span{100, 105}
	in.DripsS = evenly(13, in.Watched)
	out, err := DripJudge(in)
	if err != nil {
		t.Fatal(err)
	}
	if out.Advice != "count_longer" {
		t.Errorf("five seconds were judged: %s", out.Advice)
	}
}

func TestDropsOutsideTheWatchAreLeftOut(t *testing.T) {
	in := warmDrip()
	in.DripsS = append([]float64{10, 20, 99.9}, evenly(30, in.Watched)...)
	in.DripsS = append(in.DripsS, 160.1, 170)
	out, err := DripJudge(in)
	if err != nil {
		t.Fatal(err)
	}
	if out.PerMin.Estimate != 30 {
		t.Errorf("counted %g per minute, want 30", out.PerMin.Estimate)
	}
}

func TestPulsesAreLeftOut(t *testing.T) {
	pulse := 30.0
	in := warmDrip()
	in.Watched = Span{100, 220}
	steady := evenly(240, in.Watched) // 120 a minute
	for wave := 105.0; wave < 220; wave += pulse {
		for i := range 60 {
			steady = append(steady, wave+0.05*float64(i))
		}
	}
	slices.Sort(steady)
	in.DripsS = steady
	whole, err := DripJudge(in)
	if err != nil {
		t.Fatal(err)
	}
	in.PulseS = &pulse
	between, err := DripJudge(in)
	if err != nil {
		t.Fatal(err)
	}
	if whole.PerMin.Estimate < 200 || math.Abs(between.PerMin.Estimate-120) > 5 {
		t.Errorf("whole %g, between the pulses %g, want 120", whole.PerMin.Estimate, between.PerMin.Estimate)
	}
	in.DripsS = evenly(240, in.Watched) // no pulse: nothing may be left out
	even, err := DripJudge(in)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(even.PerMin.Estimate-120) > 1e-9 {
		t.Errorf("an even drip was cut to %g", even.PerMin.Estimate)
	}
}

// thinningDrips draws drops whose rate falls exponentially toward balance:
// thinning of a Poisson process, so that the truth is known.
func thinningDrips(random *rand.Rand, span Span, balancePerS, surplusPerS, timeS float64) []float64 {
	drips := []float64{}
	top := balancePerS + surplusPerS
	for s := 0.0; ; {
		s += random.ExpFloat64() / top
		if s > span.ToS-span.FromS {
			return drips
		}
		if random.Float64()*top < balancePerS+surplusPerS*math.Exp(-s/timeS) {
			drips = append(drips, span.FromS+s)
		}
	}
}

func TestThinningTellsWhatRemains(t *testing.T) {
	random := rand.New(rand.NewPCG(11, 12))
	in := warmDrip()
	in.Watched = Span{100, 190}
	plain, err := DripJudge(in)
	if err != nil {
		t.Fatal(err)
	}
	expected := plain.ExpectedPerMin
	fitted, remainingIn, settlesIn := 0, 0, 0
	const runs = 300
	for range runs {
		balance := expected.Mean / 60 * math.Exp(expected.SD/expected.Mean*random.NormFloat64())
		surplus, timeS := balance*(1+random.Float64()), drainPriorS*math.Exp(drainPriorLogSD*random.NormFloat64())
		in.DripsS = thinningDrips(random, in.Watched, balance, surplus, timeS)
		out, err := DripJudge(in)
		if err != nil {
			t.Fatal(err)
		}
		if out.RemainingML == nil {
			continue
		}
		fitted++
		truth := surplus * timeS * math.Exp(-90/timeS) * in.DropUL / 1000
		if math.Abs(out.RemainingML.Mean-truth) <= 2*out.RemainingML.SD {
			remainingIn++
		}
		settled := 100 + math.Max(90, timeS*math.Log(surplus/(settledFraction*balance)))
		if settled >= out.SettlesS.P10-1e-9 && settled <= out.SettlesS.P90+1e-9 {
			settlesIn++
		}
		if out.Class == "above" && out.Advice != "keep_watching" {
			t.Errorf("a thinning surplus is advised %s", out.Advice)
		}
	}
	t.Logf("%d of %d thin out; remaining inside 2 sd: %d; settles inside p10-p90: %d", fitted, runs, remainingIn, settlesIn)
	if fitted < runs*7/10 {
		t.Errorf("only %d of %d thinning drips were seen as such", fitted, runs)
	}
	if float64(remainingIn) < 0.90*float64(fitted) {
		t.Errorf("the remaining volume holds the truth in %d of %d", remainingIn, fitted)
	}
	if share := float64(settlesIn) / float64(fitted); share < 0.7 || share > 0.95 {
		t.Errorf("p10-p90 of the settling time holds the truth in %.2f", share)
	}
}

func TestDripJudgeRefusesBadInput(t *testing.T) {
	nothing := -1.0
	cases := []struct {
		code, field string
		spoil       func(*DripJudgeInput)
	}{
		{"order", "drips_s[1]", func(in *DripJudgeInput) { in.DripsS = []float64{120, 110} }},
		{"out_of_range", "drips_s[0]", func(in *DripJudgeInput) { in.DripsS = []float64{math.NaN()} }},
		{"too_many", "drips_s", func(in *DripJudgeInput) { in.DripsS = make([]float64, mostDrips+1) }},
		{"order", "watched.to_s", func(in *DripJudgeInput) { in.Watched = Span{160, 100} }},
		{"out_of_range", "watched.to_s", func(in *DripJudgeInput) { in.Watched = Span{0, 90000} }},
		{"out_of_range", "drop_ul", func(in *DripJudgeInput) { in.DropUL = 0 }},
		{"out_of_range", "active_volume_ml", func(in *DripJudgeInput) { in.ActiveVolumeML = math.Inf(1) }},
		{"out_of_range", "density_15c_kg_m3", func(in *DripJudgeInput) { in.DensityKgM3 = 1 }},
		{"out_of_range", "temp_c", func(in *DripJudgeInput) { in.TempC = math.NaN() }},
		{"out_of_range", "rate_c_per_min.sd", func(in *DripJudgeInput) { in.RateCPerMin.SD = -1 }},
		{"out_of_range", "pulse_s", func(in *DripJudgeInput) { in.PulseS = &nothing }},
		{"out_of_range", "case_expansion_per_c", func(in *DripJudgeInput) { in.CaseExpansionPer = &nothing }},
	}
	for _, c := range cases {
		in := warmDrip()
		c.spoil(&in)
		_, err := DripJudge(in)
		wantFault(t, err, c.code, c.field)
	}
}

func TestDripJudgeIsFiniteForAnyValidInput(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := DripJudgeInput{
			DropUL:         rapid.Float64Range(5, 200).Draw(t, "drop"),
			ActiveVolumeML: rapid.Float64Range(100, 100000).Draw(t, "volume"),
			DensityKgM3:    rapid.Float64Range(800, 1164).Draw(t, "density"),
			TempC:          rapid.Float64Range(-50, 150).Draw(t, "temp"),
			RateCPerMin:    Normal{rapid.Float64Range(-20, 20).Draw(t, "rate"), rapid.Float64Range(0, 20).Draw(t, "rate sd")},
		}
		in.Watched.FromS = rapid.Float64Range(0, 1e6).Draw(t, "from")
		in.Watched.ToS = in.Watched.FromS + rapid.Float64Range(1.001, 7000).Draw(t, "for")
		in.DripsS = rapid.SliceOfN(rapid.Float64Range(in.Watched.FromS, in.Watched.ToS), 0, 300).Draw(t, "drips")
		slices.Sort(in.DripsS)
		if rapid.Bool().Draw(t, "pulsed") {
			pulse := rapid.Float64Range(2, 600).Draw(t, "pulse")
			in.PulseS = &pulse
		}
		out, err := DripJudge(in)
		if err != nil {
			t.Fatal(err)
		}
		values := []float64{out.PerMin.Estimate, out.PerMin.Low, out.PerMin.High, out.ExpectedPerMin.Mean, out.ExpectedPerMin.SD, out.Ratio.P10, out.Ratio.P50, out.Ratio.P90}
		if out.RemainingML != nil {
			values = append(values, out.RemainingML.Mean, out.RemainingML.SD, out.SettlesS.P10, out.SettlesS.P50, out.SettlesS.P90)
		}
		for _, v := range values {
			if !finite(v) || v < 0 {
				t.Fatalf("%+v gives %v", out, values)
			}
		}
		if !(out.Ratio.P10 <= out.Ratio.P50 && out.Ratio.P50 <= out.Ratio.P90) {
			t.Fatalf("ratio out of order: %v", out.Ratio)
		}
	})
}

func BenchmarkDripJudge(b *testing.B) {
	in := warmDrip()
	in.DripsS = thinningDrips(rand.New(rand.NewPCG(1, 2)), in.Watched, 3, 4, 60)
	for b.Loop() {
		if _, err := DripJudge(in); err != nil {
			b.Fatal(err)
		}
	}
}
