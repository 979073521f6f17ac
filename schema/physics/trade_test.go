package physics

import (
	"math"
	"testing"
)

// What the trade says, held to what this package computes. Every fact here is
// common practice, no source.

func TestTradeWindowInBothUnits(t *testing.T) {
	if low, high := FahrenheitFromCelsius(30), FahrenheitFromCelsius(50); math.Abs(low-86) > 1e-12 || math.Abs(high-122) > 1e-12 {
		t.Errorf("a window of 30-50 °C is %g-%g °F, want 86-122 (common practice, no source)", low, high)
	}
}

func TestTradeBypassLeavesTheCoolerOut(t *testing.T) {
	// A bypass that opens near 70 °C keeps the cooler out of a check at 30-50 °C: what was
	// drained there is still missing afterwards, and comes out of the level on the first hot drive.
	opens := 70.0
	in := CoolerCircuitInput{Lines: []CoolerLine{{InnerMM: 10, LengthMM: 1500, Count: 2}}, CoreML: 300, OpensC: &opens,
		Bypass: "in line", Circuit: "drained"}
	out, err := CoolerCircuit(in)
	if err != nil {
		t.Fatal(err)
	}
	if out.SecondCycle != "required" || out.UptakeML.Mean < 0.5*out.VolumeML.Mean {
		t.Errorf("with a closed bypass %+v, want a second cycle and most of the circuit still to fill (common practice, no source)", out)
	}
	in.Circuit = "untouched"
	full, err := CoolerCircuit(in)
	if err != nil {
		t.Fatal(err)
	}
	if full.SecondCycle != "not needed" || full.UptakeML.Mean > 0.2*full.VolumeML.Mean {
		t.Errorf("an untouched circuit is full and out of the check, but %+v (common practice, no source)", full)
	}
}

func TestTradeWarmingDripsForEver(t *testing.T) {
	for _, rate := range []float64{1, 1.5, 2} {
		in := warmDrip()
		in.RateCPerMin = Normal{Mean: rate, SD: 0.1 * rate}
		plain, err := DripJudge(in)
		if err != nil {
			t.Fatal(err)
		}
		if perS := plain.ExpectedPerMin.Mean / 60; perS < 2 || perS > 7 {
			t.Errorf("9 L at %g °C/min push out %.1f drops a second, want 2-6 (common practice, no source)", rate, perS)
		}
		in.DripsS = evenly(int(plain.ExpectedPerMin.Mean), in.Watched)
		out, err := DripJudge(in)
		if err != nil {
			t.Fatal(err)
		}
		if out.Advice != "at_the_lip" || len(out.Codes) < 2 || out.Codes[1] != "never_stops" {
			t.Errorf("at %g °C/min: %s, codes %v; a full gearbox that warms drips for ever (common practice, no source)", rate, out.Advice, out.Codes)
		}
		if out.SettlesS != nil {
			t.Errorf("an even drip is said to end at %+v", *out.SettlesS)
		}
	}
}

func TestTradeStartBelowTheWindow(t *testing.T) {
	// The work takes eight minutes. Begun cold there is time; begun inside the window,
	// two thirds up, there is not.
	fits := func(startC float64) float64 {
		in := WarmupForecastInput{AmbientC: 18, Window: Window{LowC: 30, HighC: 50}, RemainingS: &Normal{Mean: 480, SD: 90}}
		for i := range 5 {
			tS := 60 * float64(i)
			in.Readings = append(in.Readings, WarmupReading{TS: tS, TempC: math.Round(startC + (73-startC)*-math.Expm1(-tS/1680))})
			in.NowS = tS
		}
		return *mustForecast(t, in).FitsProbability
	}
	cold, late := fits(20), fits(44)
	if cold < 0.95 || late > 0.05 {
		t.Errorf("begun at 20 °C the work fits with %.2f, begun at 44 °C with %.2f (common practice, no source)", cold, late)
	}
}

func TestTradeTimesAndRates(t *testing.T) {
	// From a start at 15-20 °C the sump warms by 1-2.5 °C a minute, 20 → 40 °C takes 8-20 min,
	// and a window of 30-50 °C lasts 8-20 min.
	out := mustForecast(t, WarmupForecastInput{AmbientC: 18, Window: Window{LowC: 20, HighC: 40}})
	if r := out.RateCPerMin.Mean; r < 1 || r > 2.5 {
		t.Errorf("a gearbox of which nothing is known warms by %.2f °C/min (common practice, no source)", r)
	}
	if r := out.ReachesHighS; r == nil || r.P50 < 8*60 || r.P50 > 20*60 {
		t.Errorf("18 → 40 °C takes %+v (common practice, no source)", r)
	}
	in := mildNight()
	in.Days = []DayForecast{{"2030-05-04", 20, 20}, {"2030-05-05", 20, 20}}
	s := mustPlan(t, in).Slots[0]
	if s.WindowLengthS.P50 < 8*60 || s.WindowLengthS.P50 > 20*60 {
		t.Errorf("the window of 30-50 °C lasts %+v (common practice, no source)", s.WindowLengthS)
	}
}

func TestTradeShiftOfTheWholeWindow(t *testing.T) {
	// 9 L over 20 °C shift by about 125 mL against the case; a wrong temperature by 10 °C by 63.
	casePerC := 6.9e-5
	out, err := FluidVolume(FluidVolumeInput{DensityKgM3: 850, VolumeML: 9000, FromC: 30, ToC: 50, CaseExpansionPer: &casePerC})
	if err != nil {
		t.Fatal(err)
	}
	if shift := out.VolumeML - 9000; math.Abs(shift-125) > 10 {
		t.Errorf("9 L shift by %.0f mL over the window, want about 125 (common practice, no source)", shift)
	}
}
