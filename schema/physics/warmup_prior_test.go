package physics

import (
	"math"
	"reflect"
	"testing"

	"brimline/schema/fault"
	"brimline/schema/physics/gearbox"
)

func mustLearn(t *testing.T, vehicle string, checks ...WarmedCheck) WarmupPriorOutput {
	t.Helper()
	out, err := WarmupPrior(WarmupPriorInput{Vehicle: vehicle, Checks: checks})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func warmed(vehicle string, riseC, timeS float64) WarmedCheck {
	return WarmedCheck{Vehicle: vehicle, RiseC: Normal{Mean: riseC, SD: 3}, TimeConstantS: Normal{Mean: timeS, SD: 100}}
}

func TestWarmupPriorWithoutChecksIsTheDefault(t *testing.T) {
	out := mustLearn(t, "v1")
	closeTo(t, "rise", out.RiseC.Mean, 55, 1e-12)
	closeTo(t, "rise sd", out.RiseC.SD, 15, 1e-12)
	median, logSD := logNormal(out.TimeConstantS)
	closeTo(t, "time constant", median, 28*60, 1e-9)
	closeTo(t, "its log sd", logSD, 0.35, 1e-12)
	if out.From != "default" || len(out.Doubtful) != 0 {
		t.Errorf("from %q, doubtful %v", out.From, out.Doubtful)
	}
	// A check that learned nothing beyond the default leaves it as it is.
	idle := mustLearn(t, "v1", WarmedCheck{Vehicle: "v1", RiseC: out.RiseC, TimeConstantS: out.TimeConstantS})
	closeTo(t, "rise after an empty check", idle.RiseC.Mean, 55, 1e-9)
	closeTo(t, "rise sd after an empty check", idle.RiseC.SD, 15, 1e-9)
}

func TestWarmupPriorLearns(t *testing.T) {
	one := mustLearn(t, "v1", warmed("v1", 70, 2400))
	two := mustLearn(t, "v1", warmed("v1", 70, 2400), warmed("v1", 72, 2350))
	other := mustLearn(t, "v1", warmed("v2", 70, 2400))
	if !(one.RiseC.Mean > 64 && two.RiseC.Mean > one.RiseC.Mean-0.5 && other.RiseC.Mean > 57 && other.RiseC.Mean < one.RiseC.Mean) {
		t.Errorf("rise after one own check %.1f, two %.1f, another vehicle's %.1f", one.RiseC.Mean, two.RiseC.Mean, other.RiseC.Mean)
	}
	if !(two.RiseC.SD < one.RiseC.SD && one.RiseC.SD < other.RiseC.SD && other.RiseC.SD < 15) {
		t.Errorf("rise sd after two own checks %.1f, one %.1f, another vehicle's %.1f", two.RiseC.SD, one.RiseC.SD, other.RiseC.SD)
	}
	if two.RiseC.SD < 5 {
		t.Errorf("rise sd %.2f is below the spread between checks", two.RiseC.SD)
	}
	if one.From != "vehicle" || other.From != "profile" || two.OwnChecks != 2 || other.OtherVehicles != 1 {
		t.Errorf("from %q and %q, %d own, %d others", one.From, other.From, two.OwnChecks, other.OtherVehicles)
	}
	// Order does not matter.
	a := mustLearn(t, "v1", warmed("v2", 60, 2000), warmed("v1", 70, 2400), warmed("v3", 50, 1500))
	b := mustLearn(t, "v1", warmed("v3", 50, 1500), warmed("v2", 60, 2000), warmed("v1", 70, 2400))
	closeTo(t, "rise in another order", a.RiseC.Mean, b.RiseC.Mean, 1e-9)
	closeTo(t, "time in another order", a.TimeConstantS.Mean, b.TimeConstantS.Mean, 1e-6)
}

func TestWarmupPriorLeavesOddChecksOut(t *testing.T) {
	checks := []WarmedCheck{warmed("v1", 60, 1700), warmed("v1", 62, 1750), warmed("v1", 20, 600), warmed("v1", 59, 1680), warmed("v1", 61, 1720)}
	out := mustLearn(t, "v1", checks...)
	if !reflect.DeepEqual(out.Doubtful, []int{2}) || out.OwnChecks != 4 {
		t.Errorf("doubtful %v of five, %d used", out.Doubtful, out.OwnChecks)
	}
	closeTo(t, "rise", out.RiseC.Mean, 60.4, 1)
}

func TestWarmupPriorNamesWhatIsWrong(t *testing.T) {
	tests := []struct {
		check WarmedCheck
		field string
	}{
		{WarmedCheck{RiseC: Normal{Mean: math.NaN(), SD: 1}, TimeConstantS: Normal{Mean: 100, SD: 10}}, "checks[0].rise_c.mean"},
		{WarmedCheck{RiseC: Normal{Mean: 50, SD: 0}, TimeConstantS: Normal{Mean: 100, SD: 10}}, "checks[0].rise_c.sd"},
		{WarmedCheck{RiseC: Normal{Mean: 50, SD: 1}, TimeConstantS: Normal{Mean: -4, SD: 10}}, "checks[0].time_constant_s.mean"},
		{WarmedCheck{RiseC: Normal{Mean: 50, SD: 1}, TimeConstantS: Normal{Mean: 100, SD: math.Inf(1)}}, "checks[0].time_constant_s.sd"},
	}
	for _, tt := range tests {
		_, err := WarmupPrior(WarmupPriorInput{Checks: []WarmedCheck{tt.check}})
		if f := fault.As(err); f == nil || f.Code != "out_of_range" || f.Field != tt.field {
			t.Errorf("got %v, want out_of_range on %s", err, tt.field)
		}
	}
	if f := fault.As(func() error { _, err := WarmupPrior(WarmupPriorInput{Checks: make([]WarmedCheck, 201)}); return err }()); f == nil || f.Code != "too_many" {
		t.Errorf("201 checks: %v", f)
	}
}

// TestWarmupPriorSharpensForecasts runs four earlier checks of each simulated
// gearbox to the end and then a fifth to its third minute.
func TestWarmupPriorSharpensForecasts(t *testing.T) {
	inside, judged := 0, 0
	var learnedWidth, defaultWidth float64
	for seed := uint64(1); seed <= 100; seed++ {
		twin := gearbox.Draw(seed, gearbox.Base())
		check := func(n uint64, untilS float64) (WarmupForecastInput, gearbox.Gearbox) {
			// The day and the wind differ from check to check.
			g := gearbox.Draw(seed*100+n, gearbox.Base())
			g.RiseC = twin.RiseC * (0.92 + 0.16*float64(n%5)/4)
			g.TimeConstantS = twin.TimeConstantS * (1.1 - 0.2*float64(n%3)/2)
			g.EngineOn = true
			in := WarmupForecastInput{AmbientC: math.Round(g.AmbientC), Window: Window{LowC: 30, HighC: 50}}
			for tS := 0.0; tS <= untilS; tS += 90 {
				g.Step(tS - g.TimeS)
				tempC, _ := g.Reading()
				in.Readings, in.NowS = append(in.Readings, WarmupReading{TS: tS, TempC: tempC}), tS
			}
			return in, g
		}
		var checks []WarmedCheck
		for n := uint64(1); n <= 4; n++ {
			in, _ := check(n, 1500)
			model := mustForecast(t, in).Model
			checks = append(checks, WarmedCheck{Vehicle: "own", RiseC: model.RiseC, TimeConstantS: model.TimeConstantS})
		}
		in, g := check(5, 180)
		truthS, reached := g.RunTo(50, 4*3600)
		if !reached {
			continue
		}
		plain := mustForecast(t, in).ReachesHighS
		out := mustLearn(t, "own", checks...)
		in.Prior = &WarmupBelief{RiseC: out.RiseC, TimeConstantS: out.TimeConstantS}
		learned := mustForecast(t, in).ReachesHighS
		if plain == nil || learned == nil {
			t.Fatalf("seed %d: no forecast, plain %v, learned %v", seed, plain, learned)
		}
		judged++
		if learned.P10 <= truthS && truthS <= learned.P90 {
			inside++
		}
		learnedWidth += math.Log(learned.P90 / learned.P10)
		defaultWidth += math.Log(plain.P90 / plain.P10)
	}
	share := float64(inside) / float64(judged)
	t.Logf("coverage %.2f of %d, width %.2f of the default's", share, judged, learnedWidth/defaultWidth)
	if share < 0.7 || share > 0.97 || learnedWidth > 0.8*defaultWidth {
		t.Errorf("coverage %.2f, width %.2f of the default's", share, learnedWidth/defaultWidth)
	}
}
