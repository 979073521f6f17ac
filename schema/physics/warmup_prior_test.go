package physics

import (
	"math"
	"reflect"
	"testing"

	"brimline/schema/fault"
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
	closeTo(t, "rise sd after an empty check", idle.RiseC.SD, 15, 1e-4)
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
	if two.RiseC.SD < 3 {
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

func TestWarmupPriorForgetsAChangedVehicle(t *testing.T) {
	before := []WarmedCheck{warmed("v1", 55, 2400), warmed("v1", 57, 2350), warmed("v1", 54, 2420)}
	after := append(append([]WarmedCheck(nil), before...), warmed("v1", 56, 1350), warmed("v1", 55, 1330))
	out := mustLearn(t, "v1", after...)
	if out.OwnChecks != 2 || len(out.Doubtful) != 0 {
		t.Errorf("%d own checks count, doubtful %v; want the two since the change", out.OwnChecks, out.Doubtful)
	}
	if median, _ := logNormal(out.TimeConstantS); median > 1500 || median < 1250 {
		t.Errorf("time constant %.0f s two checks after it fell from 2400 to 1340", median)
	}
	// One odd check after three that agree is doubted, not believed.
	once := mustLearn(t, "v1", after[:4]...)
	if median, logSD := logNormal(once.TimeConstantS); median < 1350 || logSD < 0.12 {
		t.Errorf("after one odd check the time constant is %.0f s, log sd %.2f", median, logSD)
	}
}

func TestWarmupPriorLearnsAWarmer(t *testing.T) {
	with := func(probability float64) WarmedCheck {
		c := warmed("v1", 55, 1700)
		c.Warmer = &WarmerBelief{Probability: probability, OnsetS: Normal{300, 40}, Factor: Normal{1.8, 0.15}}
		return c
	}
	none := mustLearn(t, "v1", with(0.002), with(0.001), with(0.003))
	first := mustLearn(t, "v1", with(0.002), with(0.001), with(0.9))
	second := mustLearn(t, "v1", with(0.002), with(0.001), with(0.9), with(0.95))
	gone := mustLearn(t, "v1", with(0.95), with(0.95), with(0.0001), with(0.0001))
	if !(none.Warmer.Probability < 0.02 && first.Warmer.Probability > 0.3 && second.Warmer.Probability > 0.9 && gone.Warmer.Probability < 0.05) {
		t.Errorf("chances: none %.3f, first seen %.3f, seen twice %.3f, taken out %.3f",
			none.Warmer.Probability, first.Warmer.Probability, second.Warmer.Probability, gone.Warmer.Probability)
	}
	closeTo(t, "onset", second.Warmer.OnsetS.Mean, 300, 10)
	closeTo(t, "factor", second.Warmer.Factor.Mean, 1.8, 0.03)
	if silent := mustLearn(t, "v1", warmed("v1", 55, 1700)); silent.Warmer != nil {
		t.Errorf("a check that says nothing of a warmer teaches %+v", *silent.Warmer)
	}
}
