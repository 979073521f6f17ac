package physics

import (
	"encoding/json"
	"math"
	"os"
	"sort"
	"testing"

	"brimline/schema/physics/gearbox"
)

// trial is one population and what the forecasts must reach on it.
type trial struct {
	Name          string  `json:"name"`
	Population    string  `json:"population"`
	FirstSeed     uint64  `json:"first_seed"`
	LastSeed      uint64  `json:"last_seed"`
	CoolantWarmer string  `json:"coolant_warmer"`
	Least         float64 `json:"least"`
	Most          float64 `json:"most"`
	MedianError   float64 `json:"median_error"`
}

// coverage is how forecasts of one population meet the truth.
type coverage struct {
	judged      [3]int  // checks not yet past the limit at 3, 6 and 10 minutes
	inside      [3]int  // of these: truth within p10-p90
	early       [3]int  // of these: truth before p10
	medianError float64 // of p50 at 6 minutes, as a share of the time to go
}

// judge runs one check per seed, with a reading each 60 to 120 seconds, and
// compares the forecasts with the truth. Checks that do not reach the limit in four
// hours are left out; a forecast of "never" for one that does is a miss.
func judge(t *testing.T, tr trial, p gearbox.Population, window Window) coverage {
	t.Helper()
	var c coverage
	var errors []float64
	for seed := tr.FirstSeed; seed <= tr.LastSeed; seed++ {
		g := gearbox.Draw(seed, p)
		g.EngineOn = true
		truthS, reached := g.RunTo(window.HighC, 4*3600)
		if !reached {
			continue
		}
		in := WarmupForecastInput{AmbientC: math.Round(g.AmbientC), Window: window, CoolantWarmer: tr.CoolantWarmer}
		pauseS, nextS := 60+float64(seed*37%61), 0.0
		for k, atS := range [3]float64{180, 360, 600} {
			for ; nextS <= atS; nextS += pauseS {
				g.Step(nextS - g.TimeS)
				tempC, _ := g.Reading()
				in.Readings = append(in.Readings, WarmupReading{TS: nextS, TempC: tempC})
			}
			g.Step(atS - g.TimeS)
			if truthS <= atS {
				break
			}
			in.NowS = atS
			out, err := WarmupForecast(in)
			if err != nil {
				t.Fatalf("seed %d: %v", seed, err)
			}
			c.judged[k]++
			r := out.ReachesHighS
			if r == nil {
				continue
			}
			if truthS < r.P10 {
				c.early[k]++
			}
			if r.P10 <= truthS && truthS <= r.P90 {
				c.inside[k]++
			}
			if k == 1 {
				errors = append(errors, math.Abs(r.P50-truthS)/(truthS-atS))
			}
		}
	}
	sort.Float64s(errors)
	c.medianError = errors[len(errors)/2]
	return c
}

func TestWarmupForecastIsCalibrated(t *testing.T) {
	raw, err := os.ReadFile("../../testdata/gearboxes/calibration.json")
	if err != nil {
		t.Fatal(err)
	}
	var trials []trial
	if err := json.Unmarshal(raw, &trials); err != nil {
		t.Fatal(err)
	}
	populations := map[string]gearbox.Population{
		"base": gearbox.Base(), "winter_truck": gearbox.WinterTruck(), "warmer": gearbox.Warmer(),
	}
	for _, tr := range trials {
		t.Run(tr.Name, func(t *testing.T) {
			t.Parallel()
			p, ok := populations[tr.Population]
			if !ok {
				t.Fatalf("no population %q", tr.Population)
			}
			c := judge(t, tr, p, Window{LowC: 30, HighC: 50})
			for k, minute := range [3]int{3, 6, 10} {
				share := float64(c.inside[k]) / float64(c.judged[k])
				t.Logf("%2d min: %.1f %% of %d inside p10-p90, %.1f %% earlier", minute, 100*share, c.judged[k], 100*float64(c.early[k])/float64(c.judged[k]))
				if share < tr.Least || share > tr.Most {
					t.Errorf("coverage at %d min is %.3f, want %.2f to %.2f", minute, share, tr.Least, tr.Most)
				}
			}
			t.Logf("median error at 6 min: %.1f %% of the time to go", 100*c.medianError)
			if c.medianError > tr.MedianError {
				t.Errorf("median error is %.3f, want at most %.3f", c.medianError, tr.MedianError)
			}
		})
	}
}
