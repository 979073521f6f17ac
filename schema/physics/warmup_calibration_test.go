package physics

import (
	"math"
	"sort"
	"testing"

	"brimline/schema/physics/gearbox"
)

// coverage is how forecasts of one population meet the truth.
type coverage struct {
	inside      [3]float64 // share of truths within p10-p90 at 3, 6 and 10 minutes
	below       [3]float64 // share of truths under p10
	medianError float64    // of p50 at 6 minutes, as a share of the time to go
	judged      [3]int
	missing     int // no forecast though the limit was reached within four hours
}

// judge runs one check per seed and compares the forecasts with the truth.
func judge(t *testing.T, p gearbox.Population, seeds uint64, window Window, warmer string) coverage {
	t.Helper()
	var c coverage
	var hits, under [3]int
	var errors []float64
	for seed := uint64(1); seed <= seeds; seed++ {
		g := gearbox.Draw(seed, p)
		g.EngineOn = true
		truthS, reached := g.RunTo(window.HighC, 4*3600)
		in := WarmupForecastInput{AmbientC: math.Round(g.AmbientC), Window: window, CoolantWarmer: warmer}
		pauseS := 60 + float64(seed*37%61)
		nextS := 0.0
		for k, atS := range [3]float64{180, 360, 600} {
			for ; nextS <= atS; nextS += pauseS {
				g.Step(nextS - g.TimeS)
				tempC, _ := g.Reading()
				in.Readings = append(in.Readings, WarmupReading{TS: nextS, TempC: tempC})
			}
			g.Step(atS - g.TimeS)
			in.NowS = atS
			out, err := WarmupForecast(in)
			if err != nil {
				t.Fatalf("seed %d: %v", seed, err)
			}
			if !reached || truthS <= atS {
				continue
			}
			c.judged[k]++
			r := out.ReachesHighS
			if r == nil {
				c.missing++
				continue
			}
			if truthS < r.P10 {
				under[k]++
			}
			if r.P10 <= truthS && truthS <= r.P90 {
				hits[k]++
			}
			if k == 1 {
				errors = append(errors, math.Abs(r.P50-truthS)/(truthS-atS))
			}
		}
	}
	for k := range hits {
		c.inside[k] = float64(hits[k]) / float64(c.judged[k])
		c.below[k] = float64(under[k]) / float64(c.judged[k])
	}
	sort.Float64s(errors)
	c.medianError = errors[len(errors)/2]
	return c
}

func TestExplore(t *testing.T) {
	shell := gearbox.Base()
	shell.ShellShare = 0.5
	lag := gearbox.Base()
	lag.SensorLagS = 40
	lag20 := gearbox.Base()
	lag20.SensorLagS = 20
	hot := gearbox.Base()
	hot.RiseC, hot.RiseSDC = 75, 12
	low := gearbox.Base()
	low.RiseC, low.RiseSDC = 42, 8
	fast := gearbox.Base()
	fast.TimeConstantS /= 1.8
	run := func(label string) {
		for _, c := range []struct {
			name   string
			p      gearbox.Population
			warmer string
			seeds  uint64
		}{{"base", gearbox.Base(), "no", 1000}, {"base unknown", gearbox.Base(), "unknown", 1000}, {"winter", gearbox.WinterTruck(), "", 400}, {"warmer", gearbox.Warmer(), "yes", 400},
			{"shell", shell, "", 400}, {"lag", lag, "", 400}, {"lag20", lag20, "", 400}, {"hot", hot, "", 400}, {"lowrise", low, "", 400}, {"fast", fast, "", 400}} {
			r := judge(t, c.p, c.seeds, Window{30, 50}, c.warmer)
			t.Logf("%v %-14s inside %.3f below %.3f err %.3f n %v missing %d", label, c.name, r.inside, r.below, r.medianError, r.judged, r.missing)
		}
	}
	run("final")
}
