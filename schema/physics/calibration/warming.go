package calibration

import (
	"fmt"
	"math"
	"slices"

	"brimline/schema/physics"
	"brimline/schema/physics/gearbox"
)

// WarmingTrial is one population of gearboxes and what was said about them.
type WarmingTrial struct {
	Name          string
	Population    gearbox.Population
	CoolantWarmer string // as the mechanic would answer, "" for nothing said
	Window        physics.Window
	FirstSeed     uint64
	Gearboxes     int
}

// Coverage is how the forecasts of one trial meet the truth.
type Coverage struct {
	Judged      [3]int  // checks not yet past the limit at 3, 6 and 10 minutes
	Inside      [3]int  // of these: truth within p10-p90 of the upper limit's time
	Early       [3]int  // of these: truth before p10
	MedianError float64 // of p50 at 6 minutes, as a share of the time to go
}

// Share is the part of the judged checks whose truth lay inside, for one of
// the three moments.
func (c Coverage) Share(moment int) float64 {
	return float64(c.Inside[moment]) / float64(max(1, c.Judged[moment]))
}

// momentsS are when the forecasts are judged.
func momentsS() [3]float64 { return [3]float64{180, 360, 600} }

// Warming runs one check per gearbox, with a reading each 60 to 120 seconds,
// and compares the forecasts with the truth. Checks that do not reach the limit
// in four hours are left out; a forecast of "never" for one that does is a miss.
func Warming(tr WarmingTrial) (Coverage, error) {
	var c Coverage
	var misses []float64
	for seed := tr.FirstSeed; seed < tr.FirstSeed+uint64(tr.Gearboxes); seed++ {
		g := gearbox.Draw(seed, tr.Population)
		g.EngineOn = true
		truthS, reached := g.RunTo(tr.Window.HighC, 4*3600)
		if !reached {
			continue
		}
		in := physics.WarmupForecastInput{AmbientC: math.Round(g.AmbientC), Window: tr.Window, CoolantWarmer: tr.CoolantWarmer}
		pauseS, nextS := 60+float64(seed*37%61), 0.0
		for k, atS := range momentsS() {
			for ; nextS <= atS; nextS += pauseS {
				g.Step(nextS - g.TimeS)
				tempC, _ := g.Reading()
				in.Readings = append(in.Readings, physics.WarmupReading{TS: nextS, TempC: tempC})
			}
			g.Step(atS - g.TimeS)
			if truthS <= atS {
				break
			}
			in.NowS = atS
			out, err := physics.WarmupForecast(in)
			if err != nil {
				return c, fmt.Errorf("seed %d: %w", seed, err)
			}
			if miss, ok := c.count(k, out.ReachesHighS, truthS, atS); ok && k == 1 {
				misses = append(misses, miss)
			}
		}
	}
	c.MedianError = median(misses)
	return c, nil
}

// count files one forecast and returns how far p50 is off, as a share of the time to go.
func (c *Coverage) count(moment int, r *physics.Reach, truthS, nowS float64) (miss float64, ok bool) {
	c.Judged[moment]++
	if r == nil {
		return 0, false
	}
	if truthS < r.P10 {
		c.Early[moment]++
	}
	if r.P10 <= truthS && truthS <= r.P90 {
		c.Inside[moment]++
	}
	return math.Abs(r.P50-truthS) / (truthS - nowS), true
}

// median of a list; 0 of an empty one.
func median(list []float64) float64 {
	if len(list) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(list))
	return (sorted[(len(sorted)-1)/2] + sorted[len(sorted)/2]) / 2
}
