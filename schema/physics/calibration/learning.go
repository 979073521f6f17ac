package calibration

import (
	"fmt"
	"math"
	"strconv"

	"brimline/schema/physics"
	"brimline/schema/physics/gearbox"
)

// LearningTrial follows vehicles through several checks, each forecast with what
// the earlier ones taught.
type LearningTrial struct {
	FirstSeed uint64
	Vehicles  int
	Checks    int
	// ChangedAt is the first check (from 0) with a warmer that was not there before;
	// nobody says so. 0 for none.
	ChangedAt int
}

// Learned is how far p50 of the upper limit's time is off four minutes into a
// check, as a share of the time to go: the median over all vehicles, for each check.
type Learned struct {
	Taught []float64 // with what the earlier checks taught
	Plain  []float64 // with the default prior, for the same readings
	Inside []float64 // share of truths within p10-p90, taught
}

const fourMinutesS = 240

// One vehicle's warming differs a little from day to day (wind, load of the engine).
const (
	dayRiseC = 2.0
	dayLogSD = 0.06
)

// Learning runs the trial.
func Learning(tr LearningTrial) (Learned, error) {
	taught, plain := make([][]float64, tr.Checks), make([][]float64, tr.Checks)
	inside, judged := make([]int, tr.Checks), make([]int, tr.Checks)
	for seed := tr.FirstSeed; seed < tr.FirstSeed+uint64(tr.Vehicles); seed++ {
		var known []physics.WarmedCheck
		for n := range tr.Checks {
			g := sameVehicle(seed, n, tr.ChangedAt > 0 && n >= tr.ChangedAt)
			prior, err := physics.WarmupPrior(physics.WarmupPriorInput{Vehicle: "v" + strconv.FormatUint(seed, 10), Checks: known})
			if err != nil {
				return Learned{}, fmt.Errorf("seed %d, check %d: %w", seed, n, err)
			}
			belief := physics.WarmupBelief{RiseC: prior.RiseC, TimeConstantS: prior.TimeConstantS, Correlation: &prior.Correlation, Warmer: prior.Warmer}
			f, err := followCheck(g, &belief)
			if err != nil {
				return Learned{}, fmt.Errorf("seed %d, check %d: %w", seed, n, err)
			}
			if f.reached {
				judged[n]++
				taught[n], plain[n] = append(taught[n], f.taughtMiss), append(plain[n], f.plainMiss)
				if f.inside {
					inside[n]++
				}
			}
			known = append(known, physics.WarmedCheck{Vehicle: "v" + strconv.FormatUint(seed, 10), RiseC: f.model.RiseC, TimeConstantS: f.model.TimeConstantS, Correlation: f.model.Correlation, Warmer: f.model.Warmer})
		}
	}
	var out Learned
	for n := range tr.Checks {
		out.Taught, out.Plain = append(out.Taught, median(taught[n])), append(out.Plain, median(plain[n]))
		out.Inside = append(out.Inside, float64(inside[n])/float64(max(1, judged[n])))
	}
	return out, nil
}

// sameVehicle is the vehicle of a seed on the day of its n-th check.
func sameVehicle(seed uint64, n int, warmer bool) gearbox.Gearbox {
	vehicle := gearbox.Draw(seed, gearbox.Base())
	day := gearbox.Draw(seed*1000+uint64(n)+1, gearbox.Base())
	base := gearbox.Base()
	// The day's own draw, scaled down, is what differs from day to day.
	day.RiseC = math.Max(8, vehicle.RiseC+dayRiseC*(day.RiseC-base.RiseC)/base.RiseSDC)
	day.TimeConstantS = vehicle.TimeConstantS * math.Exp(dayLogSD/base.TimeConstantLogSD*math.Log(day.TimeConstantS/base.TimeConstantS))
	day.ResolutionC, day.FahrenheitReadings = vehicle.ResolutionC, vehicle.FahrenheitReadings
	if warmer {
		day.WarmerFactor, day.WarmerOnsetS = gearbox.Warmer().WarmerFactor, gearbox.Warmer().WarmerOnsetS
	}
	day.EngineOn = true
	return day
}

// followed is one check: how the forecasts at four minutes did, and what it taught.
type followed struct {
	reached               bool
	taughtMiss, plainMiss float64
	inside                bool
	model                 physics.WarmupBelief // with the default prior, as warmup-prior asks
}

// followCheck runs a check until the upper limit, at most 40 minutes.
func followCheck(g gearbox.Gearbox, belief *physics.WarmupBelief) (followed, error) {
	var f followed
	truthS, reached := g.RunTo(50, 4*3600)
	in := physics.WarmupForecastInput{AmbientC: math.Round(g.AmbientC), Window: physics.Window{LowC: 30, HighC: 50}}
	for g.TimeS < 2400 && g.FluidC < 50 {
		tempC, _ := g.Reading()
		in.Readings, in.NowS = append(in.Readings, physics.WarmupReading{TS: g.TimeS, TempC: tempC}), g.TimeS
		if reached && g.TimeS == fourMinutesS {
			plain, err := physics.WarmupForecast(in)
			if err != nil {
				return f, err
			}
			in.Prior = belief
			out, err := physics.WarmupForecast(in)
			in.Prior = nil
			if err != nil {
				return f, err
			}
			if out.ReachesHighS != nil && plain.ReachesHighS != nil {
				f.reached = true
				f.taughtMiss = math.Abs(out.ReachesHighS.P50-truthS) / (truthS - fourMinutesS)
				f.plainMiss = math.Abs(plain.ReachesHighS.P50-truthS) / (truthS - fourMinutesS)
				f.inside = out.ReachesHighS.P10 <= truthS && truthS <= out.ReachesHighS.P90
			}
		}
		g.Step(80)
	}
	out, err := physics.WarmupForecast(in)
	f.model = out.Model
	return f, err
}
