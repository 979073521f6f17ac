package physics

import (
	"math"
	"reflect"
	"slices"
	"testing"

	"brimline/schema/fault"
	"brimline/schema/physics/gearbox"
)

// idling returns a check of readings each minute on an exact curve, rounded to 1 °C.
func idling(ambientC, riseC, timeS float64, readings int) WarmupForecastInput {
	in := WarmupForecastInput{AmbientC: ambientC, Window: Window{LowC: 30, HighC: 50}}
	for i := range readings {
		tS := 60 * float64(i)
		in.Readings = append(in.Readings, WarmupReading{TS: tS, TempC: math.Round(ambientC - riseC*math.Expm1(-tS/timeS))})
		in.NowS = tS
	}
	return in
}

// usual is the middle of the default prior on a mild day.
func usual(readings int) WarmupForecastInput { return idling(18, 55, 1680, readings) }

func mustForecast(t *testing.T, in WarmupForecastInput) WarmupForecastOutput {
	t.Helper()
	out, err := WarmupForecast(in)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestWarmupForecastFindsTheTruthOnAnExactCurve(t *testing.T) {
	// Rise 55 over 25 °C, τ = 30 min: 20 → 40 °C takes 12.1640 min (references,
	// section 5, computed by closed form). Here the start is at 25 °C:
	// 25 → 50 °C takes 30·ln(55/30) = 18.184 min.
	in := idling(25, 55, 1800, 16)
	for i := range in.Readings {
		in.Readings[i].TempC = 25 - 55*math.Expm1(-in.Readings[i].TS/1800)
	}
	out := mustForecast(t, in)
	truthS := 1800 * math.Log(55.0/30)
	if r := out.ReachesHighS; r == nil || math.Abs(r.P50-truthS) > 20 || !(r.P10 < truthS && truthS < r.P90) {
		t.Errorf("reaches_high_s = %+v, truth %.1f", r, truthS)
	}
	nowC := 25 - 55*math.Expm1(-900.0/1800)
	rate := 60 * (80 - nowC) / 1800
	if math.Abs(out.NowC.P50-nowC) > 0.2 || math.Abs(out.RateCPerMin.Mean-rate) > 2*out.RateCPerMin.SD {
		t.Errorf("now %.2f, rate %.3f ± %.3f; truth %.2f, %.3f", out.NowC.P50, out.RateCPerMin.Mean, out.RateCPerMin.SD, nowC, rate)
	}
}

func TestWarmupForecastSlips(t *testing.T) {
	slips := []struct {
		name  string
		apply func(float64) float64
	}{
		{"ten too much", func(c float64) float64 { return c + 10 }},
		{"ten too little", func(c float64) float64 { return c - 10 }},
		{"digits exchanged", func(c float64) float64 { return 10*math.Mod(c, 10) + math.Floor(c/10) }},
		{"last digit lost", func(c float64) float64 { return math.Floor(c / 10) }},
		{"a digit too many", func(c float64) float64 { return math.Min(10*c, 299) }},
	}
	for _, s := range slips {
		for i := range 8 {
			in := usual(8)
			if math.Abs(s.apply(in.Readings[i].TempC)-in.Readings[i].TempC) < 7 {
				continue // no more than warming itself
			}
			without := in
			without.Readings = slices.Delete(slices.Clone(in.Readings), i, i+1)
			want := mustForecast(t, without)
			in.Readings[i].TempC = s.apply(in.Readings[i].TempC)
			got := mustForecast(t, in)
			if !reflect.DeepEqual(got.Doubtful, []int{i}) {
				t.Errorf("%s at %d: doubtful = %v", s.name, i, got.Doubtful)
			}
			toGo := want.ReachesHighS.P50 - in.NowS
			if moved := math.Abs(got.ReachesHighS.P50 - want.ReachesHighS.P50); moved > 0.01*toGo {
				t.Errorf("%s at %d moves p50 by %.1f s of %.0f", s.name, i, moved, toGo)
			}
		}
	}
	if out := mustForecast(t, usual(12)); len(out.Doubtful) != 0 {
		t.Errorf("doubtful without a slip: %v", out.Doubtful)
	}
}

func TestWarmupForecastRoundingHardlyMatters(t *testing.T) {
	celsius := mustForecast(t, usual(11))
	in := usual(11)
	for i := range in.Readings {
		f := math.Round(32 + 1.8*(18-55*math.Expm1(-in.Readings[i].TS/1680)))
		in.Readings[i].TempC = (f - 32) / 1.8
	}
	fahrenheit := mustForecast(t, in)
	a, b := celsius.ReachesHighS, fahrenheit.ReachesHighS
	if math.Abs(a.P50-b.P50) > 0.08*(a.P50-600) {
		t.Errorf("p50 %.0f in °C, %.0f in °F", a.P50, b.P50)
	}
	// A finer display narrows the forecast, a coarser one widens it.
	coarse := 5.0
	for i := range in.Readings {
		in.Readings[i].ResolutionC = &coarse
	}
	if wide := mustForecast(t, in).ReachesHighS; !(wide.P90-wide.P10 > b.P90-b.P10) {
		t.Errorf("a display of 5 °C steps gives %+v, one of 1 °F %+v", wide, b)
	}
}

func TestWarmupForecastCodes(t *testing.T) {
	with := func(readings int, change func(*WarmupForecastInput)) WarmupForecastInput {
		in := usual(readings)
		change(&in)
		return in
	}
	all := func(value float64) func(*WarmupForecastInput) {
		return func(in *WarmupForecastInput) {
			for i := range in.Readings {
				in.Readings[i].TempC = value
			}
		}
	}
	coolant := func(off float64) func(*WarmupForecastInput) {
		return func(in *WarmupForecastInput) {
			for i := range in.Readings {
				c := in.Readings[i].TempC + off
				in.Readings[i].CoolantC = &c
			}
		}
	}
	tests := []struct {
		name string
		in   WarmupForecastInput
		want []string
	}{
		{"plain", usual(5), nil},
		{"nothing read yet", usual(0), []string{"no_readings"}},
		{"flat", with(6, all(18)), []string{"flat_line"}},
		{"flat for a minute and a half", with(2, all(18)), nil},
		{"jump that stays", with(9, func(in *WarmupForecastInput) {
			for i := 5; i < 9; i++ {
				in.Readings[i].TempC += 12
			}
		}), []string{"jump", "in_window"}},
		{"jump at the end", with(6, func(in *WarmupForecastInput) { in.Readings[5].TempC += 15 }), []string{"jump"}},
		{"follows the coolant", with(9, coolant(0)), []string{"equals_coolant", "in_window"}},
		{"coolant runs ahead", with(6, coolant(15)), nil},
		{"cold morning, all equal", with(2, coolant(0)), nil},
		{"stand-in 60", with(6, all(60)), []string{"substituted_value", "flat_line"}},
		{"stand-in 90 amid a rise", with(7, func(in *WarmupForecastInput) { in.Readings[4].TempC = 90 }), []string{"substituted_value"}},
		{"stand-in 135 at once", with(1, all(135)), []string{"substituted_value"}},
		{"engine stopped", with(5, func(in *WarmupForecastInput) {
			in.Engine = []EngineChange{{TS: 0, State: "idle"}, {TS: 230, State: "off"}}
		}), []string{"engine_stopped", "never_low", "never_high"}},
		{"old reading", with(5, func(in *WarmupForecastInput) { in.NowS = 540 }), []string{"reading_old", "in_window"}},
		{"in the window", usual(12), []string{"in_window"}},
		{"above the window", usual(40), []string{"above_high"}},
		{"a rise that ends below the window", idling(0, 22, 1680, 80), []string{"flat_line", "never_low", "never_high"}},
		{"pour that is known", with(8, func(in *WarmupForecastInput) {
			in.Additions = []FluidAddition{{TS: 330, VolumeML: 3000, TempC: 10}}
			in.Readings[6].TempC, in.Readings[7].TempC = 23, 24
		}), nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := mustForecast(t, tt.in).Codes
			if len(got)+len(tt.want) > 0 && !reflect.DeepEqual(got, tt.want) {
				t.Errorf("codes = %v, want %v", got, tt.want)
			}
		})
	}
}

func TestWarmupForecastOptions(t *testing.T) {
	plain := mustForecast(t, usual(5))
	learned := usual(5)
	learned.Prior = &WarmupBelief{RiseC: Normal{Mean: 55, SD: 3}, TimeConstantS: Normal{Mean: 1700, SD: 120}}
	if a, b := mustForecast(t, learned).ReachesHighS, plain.ReachesHighS; !(a.P90-a.P10 < 0.7*(b.P90-b.P10)) {
		t.Errorf("a learned prior gives %+v, the default %+v", a, b)
	}
	wrong := usual(16)
	wrong.Prior = &WarmupBelief{RiseC: Normal{Mean: 55, SD: 4}, TimeConstantS: Normal{Mean: 3600, SD: 150}}
	if out := mustForecast(t, wrong); out.ReachesHighS == nil || math.Abs(out.ReachesHighS.P50-1465) > 150 {
		t.Errorf("readings cannot overcome a prior of another gearbox: %+v", out.ReachesHighS) // truth 1680·ln(55/23)
	}
	warmer := usual(5)
	warmer.CoolantWarmer = "yes"
	if a, b := mustForecast(t, warmer).ReachesHighS, plain.ReachesHighS; !(a.P50 < b.P50-60) {
		t.Errorf("with a warmer %+v, without %+v", a, b)
	}
	poured := usual(5)
	poured.Additions = []FluidAddition{{TS: 200, VolumeML: 1000, TempC: 10}}
	if got, plain := mustForecast(t, poured).NowC.P50, plain.NowC.P50; !(got < plain+0.2) {
		t.Errorf("after a cold pour the fluid is at %.2f, without at %.2f", got, plain)
	}
	ahead := usual(5)
	ahead.Additions = []FluidAddition{{TS: 300, VolumeML: 1500, TempC: 10}}
	if a, b := mustForecast(t, ahead).ReachesHighS, plain.ReachesHighS; !(a.P50 > b.P50+30) {
		t.Errorf("a pour to come gives %+v, none %+v", a, b)
	}
	last := 2.0
	for _, meanS := range []float64{60, 600, 1200, 1800, 4000} {
		in := usual(5)
		in.RemainingS = &Normal{Mean: meanS, SD: 60}
		fits := mustForecast(t, in).FitsProbability
		if fits == nil || !(0 <= *fits && *fits <= last && *fits <= 1) {
			t.Errorf("fits_probability of %.0f s = %v after %v", meanS, fits, last)
			continue
		}
		last = *fits
	}
	if last > 0.05 {
		t.Errorf("work of 4,000 s fits with %.2f", last)
	}
	if plain.FitsProbability != nil {
		t.Error("fits_probability without remaining_s")
	}
}

func TestWarmupForecastStoppedEngineCools(t *testing.T) {
	in := usual(12)
	in.Engine = []EngineChange{{TS: 0, State: "idle"}, {TS: 660, State: "off"}}
	out := mustForecast(t, in)
	if end := out.Curve[len(out.Curve)-1]; out.RateCPerMin.Mean >= 0 || end.P50 >= out.NowC.P50 || end.P10 < 17.5 {
		t.Errorf("rate %.2f, from %.1f to %+v", out.RateCPerMin.Mean, out.NowC.P50, end)
	}
	if out.ReachesHighS != nil {
		t.Errorf("reaches_high_s = %+v with the engine off", out.ReachesHighS)
	}
	in.Engine = append(in.Engine, EngineChange{TS: 1200, State: "idle"})
	if out := mustForecast(t, in); out.ReachesHighS == nil || out.ReachesHighS.P50 < 1800 {
		t.Errorf("restart at 1,200 s: %+v", out.ReachesHighS)
	}
}

func TestWarmupForecastCurveFollowsTheLimits(t *testing.T) {
	out := mustForecast(t, usual(7))
	if n := len(out.Curve); n < 2 || n > 60 || out.Curve[0].TS != 360 || out.Curve[n-1].TS != 3600 {
		t.Fatalf("curve of %d points from %v", n, out.Curve[0])
	}
	if out.Curve[0].P50 != out.NowC.P50 {
		t.Errorf("curve begins at %v, now is %v", out.Curve[0], out.NowC)
	}
	for i := 1; i < len(out.Curve); i++ {
		a, b := out.Curve[i-1], out.Curve[i]
		if !(b.P10 <= b.P50 && b.P50 <= b.P90 && a.P50 < b.P50) {
			t.Errorf("curve point %d: %+v after %+v", i, b, a)
		}
		if r := out.ReachesHighS.P50; a.TS <= r && r < b.TS && !(a.P50 < 50.3 && b.P50 > 49.7) {
			t.Errorf("p50 of reaches_high_s is %.0f, but the curve passes from %+v to %+v", r, a, b)
		}
	}
	past := usual(7)
	horizonS := 100.0
	past.HorizonS = &horizonS
	if out := mustForecast(t, past); len(out.Curve) != 1 || out.ReachesHighS.Probability != 0 {
		t.Errorf("horizon passed: %d points, %+v", len(out.Curve), out.ReachesHighS)
	}
}

func TestWarmupForecastManyReadings(t *testing.T) {
	in := usual(0)
	for i := range 1200 {
		tS := float64(i)
		in.Readings = append(in.Readings, WarmupReading{TS: tS, TempC: math.Round(10*(18-55*math.Expm1(-tS/1680))) / 10})
		in.NowS = tS
	}
	in.Readings[700].TempC = 71
	out := mustForecast(t, in)
	if !reflect.DeepEqual(out.Doubtful, []int{700}) {
		t.Errorf("doubtful = %v, want the one slip", out.Doubtful)
	}
	if truthS := 1680 * math.Log(55.0/23); out.ReachesHighS == nil || math.Abs(out.ReachesHighS.P50-truthS) > 20 {
		t.Errorf("reaches_high_s = %+v, truth %.0f", out.ReachesHighS, truthS)
	}
}

func TestWarmupForecastNamesWhatIsWrong(t *testing.T) {
	nan, endless, negative := math.NaN(), math.Inf(1), -1.0
	tests := []struct {
		name  string
		spoil func(*WarmupForecastInput)
		code  string
		field string
	}{
		{"no air", func(in *WarmupForecastInput) { in.AmbientC = nan }, "out_of_range", "ambient_c"},
		{"window upside down", func(in *WarmupForecastInput) { in.Window.LowC = 60 }, "order", "window.high_c"},
		{"reading not a number", func(in *WarmupForecastInput) { in.Readings[2].TempC = nan }, "out_of_range", "readings[2].temp_c"},
		{"reading too hot to be", func(in *WarmupForecastInput) { in.Readings[2].TempC = 500 }, "out_of_range", "readings[2].temp_c"},
		{"readings out of order", func(in *WarmupForecastInput) { in.Readings[2].TS = 10 }, "order", "readings[2].t_s"},
		{"reading from the future", func(in *WarmupForecastInput) { in.NowS = 100 }, "order", "readings[2].t_s"},
		{"endless time", func(in *WarmupForecastInput) { in.NowS = endless }, "out_of_range", "now_s"},
		{"resolution", func(in *WarmupForecastInput) { in.Readings[1].ResolutionC = &negative }, "out_of_range", "readings[1].resolution_c"},
		{"coolant", func(in *WarmupForecastInput) { in.Readings[0].CoolantC = &endless }, "out_of_range", "readings[0].coolant_c"},
		{"engine word", func(in *WarmupForecastInput) { in.Engine = []EngineChange{{TS: 0, State: "running"}} }, "unknown_word", "engine[0].state"},
		{"engine order", func(in *WarmupForecastInput) {
			in.Engine = []EngineChange{{TS: 9, State: "idle"}, {TS: 3, State: "off"}}
		}, "order", "engine[1].t_s"},
		{"pour", func(in *WarmupForecastInput) { in.Additions = []FluidAddition{{TS: 0, VolumeML: -3}} }, "out_of_range", "additions[0].volume_ml"},
		{"active volume", func(in *WarmupForecastInput) { in.ActiveVolumeML = &negative }, "out_of_range", "active_volume_ml"},
		{"warmer word", func(in *WarmupForecastInput) { in.CoolantWarmer = "perhaps" }, "unknown_word", "coolant_warmer"},
		{"prior", func(in *WarmupForecastInput) { in.Prior = &WarmupBelief{} }, "out_of_range", "prior.rise_c.mean"},
		{"remaining", func(in *WarmupForecastInput) { in.RemainingS = &Normal{Mean: 60, SD: nan} }, "out_of_range", "remaining_s.sd"},
		{"horizon", func(in *WarmupForecastInput) { in.HorizonS = &endless }, "out_of_range", "horizon_s"},
		{"too many", func(in *WarmupForecastInput) { in.Readings = make([]WarmupReading, 5001) }, "too_many", "readings"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			in := usual(4)
			tt.spoil(&in)
			_, err := WarmupForecast(in)
			f := fault.As(err)
			if f == nil || f.Kind != fault.Invalid || f.Code != tt.code || f.Field != tt.field {
				t.Errorf("got %v, want %s on %s", err, tt.code, tt.field)
			}
		})
	}
}

// TestWarmupForecastNeverBreaks feeds wild but allowed input and looks for
// anything that is not a sound forecast.
func TestWarmupForecastNeverBreaks(t *testing.T) {
	state := uint64(1)
	uniform := func(low, high float64) float64 {
		state = state*6364136223846793005 + 1442695040888963407
		return low + (high-low)*float64(state>>11)/(1<<53)
	}
	for round := range 400 {
		in := WarmupForecastInput{AmbientC: uniform(-60, 60), Window: Window{LowC: uniform(-60, 100), HighC: uniform(101, 200)}}
		tS := 0.0
		for range int(uniform(0, 80)) {
			tS += math.Max(0, uniform(-30, 400))
			in.Readings = append(in.Readings, WarmupReading{TS: tS, TempC: uniform(-60, 300)})
		}
		in.NowS = tS + math.Max(0, uniform(-600, 600))
		in.CoolantWarmer = []string{"", "yes", "no", "unknown"}[int(uniform(0, 4))]
		for eS := uniform(-1000, 500); eS < tS; eS += uniform(10, 5000) {
			in.Engine = append(in.Engine, EngineChange{TS: math.Max(0, eS), State: []string{"off", "idle", "driving"}[int(uniform(0, 3))]})
			in.Additions = append(in.Additions, FluidAddition{TS: math.Max(0, eS), VolumeML: uniform(0, 50_000), TempC: uniform(-60, 200)})
		}
		if uniform(0, 1) < 0.5 {
			in.Prior = &WarmupBelief{RiseC: Normal{Mean: uniform(1, 150), SD: uniform(0.1, 100)}, TimeConstantS: Normal{Mean: uniform(30, 86_400), SD: uniform(1, 86_400)}}
		}
		horizonS := uniform(0, 86_400)
		in.HorizonS, in.RemainingS = &horizonS, &Normal{Mean: uniform(0, 86_400), SD: uniform(0, 86_400)}
		out := mustForecast(t, in)
		numbers := []float64{out.RateCPerMin.Mean, out.RateCPerMin.SD, out.Model.RiseC.Mean, out.Model.RiseC.SD, out.Model.TimeConstantS.Mean, out.Model.TimeConstantS.SD}
		triples := [][3]float64{{out.NowC.P10, out.NowC.P50, out.NowC.P90}}
		for _, r := range []*Reach{out.ReachesLowS, out.ReachesHighS} {
			if r != nil {
				triples = append(triples, [3]float64{r.P10, r.P50, r.P90}, [3]float64{0, r.Probability, 1})
			}
		}
		for _, p := range out.Curve {
			triples = append(triples, [3]float64{p.P10, p.P50, p.P90})
			numbers = append(numbers, p.TS)
		}
		triples = append(triples, [3]float64{0, *out.FitsProbability, 1})
		for _, q := range triples {
			if !(q[0] <= q[1]+1e-9 && q[1] <= q[2]+1e-9) {
				t.Fatalf("round %d: not in order: %v", round, q)
			}
			numbers = append(numbers, q[:]...)
		}
		for _, x := range numbers {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				t.Fatalf("round %d: a number that is none in %+v", round, out)
			}
		}
		if again := mustForecast(t, in); !reflect.DeepEqual(out, again) {
			t.Fatalf("round %d: the same input gave another output", round)
		}
	}
}

func TestWarmupForecastOnASimulatedPour(t *testing.T) {
	inside, judged := 0, 0
	for seed := uint64(1); seed <= 120; seed++ {
		g := gearbox.Draw(seed, gearbox.Base())
		g.SlipShare, g.EngineOn = 0, true
		in := WarmupForecastInput{AmbientC: math.Round(g.AmbientC), Window: Window{LowC: 30, HighC: 50}, ActiveVolumeML: &g.ActiveML}
		for tS := 0.0; tS <= 600; tS += 75 {
			g.Step(tS - g.TimeS)
			if tS == 300 {
				g.AddFluid(1200, g.AmbientC)
				in.Additions = append(in.Additions, FluidAddition{TS: tS, VolumeML: 1200, TempC: g.AmbientC})
			}
			tempC, _ := g.Reading()
			in.Readings = append(in.Readings, WarmupReading{TS: tS, TempC: tempC})
			in.NowS = tS
		}
		truthS, reached := g.RunTo(50, 4*3600)
		if !reached || truthS <= in.NowS {
			continue
		}
		judged++
		if r := mustForecast(t, in).ReachesHighS; r != nil && r.P10 <= truthS && truthS <= r.P90 {
			inside++
		}
	}
	if share := float64(inside) / float64(judged); share < 0.7 || share > 0.95 {
		t.Errorf("coverage after a pour is %.2f of %d", share, judged)
	}
}
