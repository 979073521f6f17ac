package physics

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// What physics orders the results must keep in order, for any input.

func TestWarmerOilNeverFillsLess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := FluidVolumeInput{DensityKgM3: rapid.Float64Range(800, 1164).Draw(t, "density"), VolumeML: 9000,
			FromC: rapid.Float64Range(-50, 150).Draw(t, "from"), ToC: rapid.Float64Range(-50, 140).Draw(t, "to")}
		cool, err := FluidVolume(in)
		if err != nil {
			t.Fatal(err)
		}
		in.ToC += rapid.Float64Range(0.01, 10).Draw(t, "warmer")
		warm, err := FluidVolume(in)
		if err != nil {
			t.Fatal(err)
		}
		if !(warm.VolumeML > cool.VolumeML) {
			t.Fatalf("%g mL, warmer %g", cool.VolumeML, warm.VolumeML)
		}
	})
}

func TestWiderEdgesMakeLargerDrops(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := DropVolumeInput{EdgeRadiusMM: rapid.Float64Range(0.3, 3).Draw(t, "radius"), SurfaceTension: rapid.Float64Range(25, 70).Draw(t, "tension"), DensityKgM3: 850}
		small, err := DropVolume(in)
		if err != nil {
			t.Fatal(err)
		}
		in.EdgeRadiusMM *= 1.05
		large, err := DropVolume(in)
		if err != nil {
			t.Fatal(err)
		}
		if !(large.VolumeUL > small.VolumeUL) {
			t.Fatalf("%g µL, from a wider edge %g", small.VolumeUL, large.VolumeUL)
		}
	})
}

func TestCoolingNeverTurnsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		airC := rapid.Float64Range(-40, 50).Draw(t, "air")
		startC := airC + rapid.Float64Range(0.1, 90).Draw(t, "above")
		timeS := rapid.Float64Range(600, 50_000).Draw(t, "time constant")
		first := rapid.Float64Range(0, 80_000).Draw(t, "at")
		later := first + rapid.Float64Range(0, 80_000).Draw(t, "later")
		at := func(timeS float64) []CooledPoint {
			out, err := Cooldown(CooldownInput{Ambient: AirWave{MeanC: airC}, StartC: &startC, TimeConstantS: &Normal{Mean: timeS}, AtS: []float64{first, later}})
			if err != nil {
				t.Fatal(err)
			}
			return out.Temps
		}
		quick, slow := at(timeS), at(1.3*timeS)
		const slack = 1e-9
		if quick[1].TempC > quick[0].TempC+slack || quick[1].TempC < airC-slack || quick[0].TempC > slow[0].TempC+slack {
			t.Fatalf("quick %+v, slow %+v, air %g", quick, slow, airC)
		}
	})
}

// exactWarming is a check of exact readings of a gearbox of the default kind.
func exactWarming(t *rapid.T) WarmupForecastInput {
	ambientC := rapid.Float64Range(5, 25).Draw(t, "air")
	riseC := rapid.Float64Range(45, 75).Draw(t, "rise")
	timeS := rapid.Float64Range(900, 3000).Draw(t, "time constant")
	in := WarmupForecastInput{AmbientC: ambientC, Window: Window{LowC: 30, HighC: 45}}
	for i := range rapid.IntRange(2, 10).Draw(t, "readings") {
		tS := 75 * float64(i)
		in.Readings = append(in.Readings, WarmupReading{TS: tS, TempC: math.Round(ambientC - riseC*math.Expm1(-tS/timeS))})
		in.NowS = tS
	}
	return in
}

func TestMoreTimeNeverCoolsAnIdlingGearbox(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		out, err := WarmupForecast(exactWarming(t))
		if err != nil {
			t.Fatal(err)
		}
		for i := 1; i < len(out.Curve); i++ {
			if out.Curve[i].P50 < out.Curve[i-1].P50-1e-6 {
				t.Fatalf("the median falls from %+v to %+v", out.Curve[i-1], out.Curve[i])
			}
		}
		low, high := out.ReachesLowS, out.ReachesHighS
		if low != nil && high != nil && (low.P50 > high.P50 || low.P10 > high.P10 || low.Probability < high.Probability-1e-9) {
			t.Fatalf("the lower limit %+v comes after the upper %+v", *low, *high)
		}
	})
}

func TestMoreWorkNeverFitsBetter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := exactWarming(t)
		last := 1.0
		meanS := rapid.Float64Range(0, 600).Draw(t, "work")
		for range 3 {
			in.RemainingS = &Normal{Mean: meanS, SD: 60}
			out, err := WarmupForecast(in)
			if err != nil {
				t.Fatal(err)
			}
			if *out.FitsProbability > last+1e-9 {
				t.Fatalf("%g s of work fit with %g, less with %g", meanS, *out.FitsProbability, last)
			}
			last = *out.FitsProbability
			meanS += 200
		}
	})
}

func TestMoreDropsNeverMeanALowerLevel(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := warmDrip()
		n := rapid.IntRange(0, 700).Draw(t, "drops")
		in.DripsS = evenly(n, in.Watched)
		few, err := DripJudge(in)
		if err != nil {
			t.Fatal(err)
		}
		in.DripsS = evenly(n+rapid.IntRange(1, 100).Draw(t, "more"), in.Watched)
		more, err := DripJudge(in)
		if err != nil {
			t.Fatal(err)
		}
		order := map[string]int{"none": 0, "below": 1, "balanced": 2, "above": 3, "stream": 4}
		if !(more.Ratio.P50 > few.Ratio.P50) || order[more.Class] < order[few.Class] {
			t.Fatalf("%+v, with more drops %+v", few, more)
		}
	})
}

func TestMoreCaughtMeansFoundFuller(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := carefulCheck()
		in.AsFound = &LevelAsFound{OpenedC: 36, Outcome: "ran out", PlugInC: some(40.0)}
		caught := rapid.Float64Range(10, 1500).Draw(t, "caught")
		found := func(ml float64) float64 {
			in.Moves = []LevelMove{{Direction: "out", VolumeML: &ml, TempC: 40, Phase: "as_found"}}
			out, err := LevelEstimate(in)
			if err != nil {
				t.Fatal(err)
			}
			return out.AsFound.LevelML
		}
		if less, more := found(caught), found(caught+rapid.Float64Range(1, 500).Draw(t, "more")); !(more > less) {
			t.Fatalf("%g mL caught: %g, more: %g", caught, less, more)
		}
	})
}

func TestLongerLinesNeverHoldLess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := CoolerCircuitInput{Lines: []CoolerLine{{InnerMM: rapid.Float64Range(4, 20).Draw(t, "bore"), LengthMM: rapid.Float64Range(100, 4000).Draw(t, "length"), Count: 2}},
			CoreML: rapid.Float64Range(50, 900).Draw(t, "core"), Bypass: "none", Circuit: "drained"}
		short, err := CoolerCircuit(in)
		if err != nil {
			t.Fatal(err)
		}
		in.Lines[0].LengthMM *= 1.2
		long, err := CoolerCircuit(in)
		if err != nil {
			t.Fatal(err)
		}
		if !(long.VolumeML.Mean > short.VolumeML.Mean && long.UptakeML.Mean >= short.UptakeML.Mean) {
			t.Fatalf("%+v, longer %+v", short, long)
		}
	})
}

func TestALargerLackNeverBringsLess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := BringListInput{DensityKgM3: 850, DeficitML: &Normal{Mean: rapid.Float64Range(0, 3000).Draw(t, "lack"), SD: 100}, PackSizesML: []float64{1000, 4000}, Openings: 1, SealsPerOpening: 1}
		small, err := BringList(in)
		if err != nil {
			t.Fatal(err)
		}
		in.DeficitML = &Normal{Mean: in.DeficitML.Mean + rapid.Float64Range(1, 1000).Draw(t, "more"), SD: 100}
		large, err := BringList(in)
		if err != nil {
			t.Fatal(err)
		}
		if !(large.VolumeML > small.VolumeML) {
			t.Fatalf("%g mL, for a larger lack %g", small.VolumeML, large.VolumeML)
		}
	})
}

func TestWarmerDaysNeverBringThePlannedVisitForward(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := mildNight()
		minC := rapid.Float64Range(0, 20).Draw(t, "night")
		spanC := rapid.Float64Range(0, 15).Draw(t, "range")
		warmerC := rapid.Float64Range(0, 6).Draw(t, "warmer")
		plan := func(moreC float64) VisitSlotsOutput {
			in.Days = []DayForecast{{"2030-05-04", minC + moreC, minC + spanC + moreC}, {"2030-05-05", minC + moreC, minC + spanC + moreC}}
			out, err := VisitSlots(in)
			if err != nil {
				t.Fatal(err)
			}
			return out
		}
		cool, warm := plan(0), plan(warmerC)
		// All times here carry the same offset, so their texts sort as they do.
		if warm.EarliestAt != nil && (cool.EarliestAt == nil || *cool.EarliestAt > *warm.EarliestAt) {
			t.Fatalf("cold at %v on the cooler days, at %s on the warmer", cool.EarliestAt, *warm.EarliestAt)
		}
	})
}

func TestSlowerStepsNeverShortenThePlan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := StepPriorInput{Mechanic: "m", Plan: []string{"a", "b"}}
		for range rapid.IntRange(1, 8).Draw(t, "steps") {
			in.Done = append(in.Done, DoneStep{Mechanic: rapid.SampledFrom([]string{"m", "n"}).Draw(t, "who"), Act: rapid.SampledFrom(in.Plan).Draw(t, "act"), TookS: rapid.Float64Range(80, 160).Draw(t, "took")})
		}
		quick, err := StepPrior(in)
		if err != nil {
			t.Fatal(err)
		}
		for i := range in.Done {
			in.Done[i].TookS *= 1.1
		}
		slow, err := StepPrior(in)
		if err != nil {
			t.Fatal(err)
		}
		if !(slow.RemainingS.Mean > quick.RemainingS.Mean) {
			t.Fatalf("%g s, all a tenth slower %g s", quick.RemainingS.Mean, slow.RemainingS.Mean)
		}
	})
}
