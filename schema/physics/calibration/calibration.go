// Package calibration holds the forecasts and estimates of package physics
// against simulated gearboxes and days whose truth is known.
//
// It calls the functions as anybody would and shares no code with them. All its
// trials are drawn from fixed seeds: the same run gives the same figures. The
// populations to try and their limits are listed in testdata/gearboxes.
package calibration

import (
	"encoding/json"
	"fmt"
	"math"
	"os"

	"brimline/schema/physics"
	"brimline/schema/physics/gearbox"
)

// Effort is how much is tried. Limits are made for Full; a part of it is allowed two
// standard errors more.
type Effort struct {
	Share float64 // of the trials' gearboxes, checks and nights
}

// Full is all of it, some tens of seconds.
func Full() Effort { return Effort{Share: 1} }

// of is the part of a number that is tried.
func (e Effort) of(n int) int { return max(20, int(math.Round(e.Share*float64(n)))) }

// Figure is one value with its limits.
type Figure struct {
	Area, Name string
	Value      float64
	Low, High  float64 // limits; infinite where there is none
	Count      int     // what the value was taken over
	Draws      int     // independent draws behind it, where fewer
	Percent    bool
	Share      bool // of Count: has a standard error that is known
}

// Held says whether the value keeps its limits; a part of the full effort is given
// room for chance.
func (f Figure) Held(e Effort) bool {
	room := 0.0
	if e.Share < 1 {
		room = 0.12 * math.Abs(f.Value) // of a median of so few
		if f.Share {
			draws := f.Count
			if f.Draws > 0 {
				draws = f.Draws
			}
			room = 2 * math.Sqrt(0.25*0.75/float64(max(1, draws)))
		}
	}
	return f.Value >= f.Low-room && f.Value <= f.High+room
}

// trial is one line of the list of warm-up trials.
type trial struct {
	Name          string  `json:"name"`
	Population    string  `json:"population"`
	CoolantWarmer string  `json:"coolant_warmer"`
	FirstSeed     uint64  `json:"first_seed"`
	Gearboxes     int     `json:"gearboxes"`
	Least         float64 `json:"least"`
	Most          float64 `json:"most"`
	MedianError   float64 `json:"median_error"`
}

// Figures runs every trial; list is the path of the warm-up trials.
func Figures(list string, e Effort) ([]Figure, error) {
	figures, err := warmingFigures(list, e)
	if err != nil {
		return nil, err
	}
	for _, part := range []func(Effort) ([]Figure, error){levelFigures, dripFigures, slotFigures, learningFigures} {
		more, err := part(e)
		if err != nil {
			return nil, err
		}
		figures = append(figures, more...)
	}
	return figures, nil
}

func warmingFigures(list string, e Effort) ([]Figure, error) {
	text, err := os.ReadFile(list)
	if err != nil {
		return nil, fmt.Errorf("read the list of trials: %w", err)
	}
	var trials []trial
	if err := json.Unmarshal(text, &trials); err != nil {
		return nil, fmt.Errorf("read the list of trials %s: %w", list, err)
	}
	var figures []Figure
	for _, t := range trials {
		p, known := gearbox.Named(t.Population)
		if !known {
			return nil, fmt.Errorf("%s names no population %q", list, t.Population)
		}
		c, err := Warming(WarmingTrial{Name: t.Name, Population: p, CoolantWarmer: t.CoolantWarmer,
			Window: physics.Window{LowC: 30, HighC: 50}, FirstSeed: t.FirstSeed, Gearboxes: e.of(t.Gearboxes)})
		if err != nil {
			return nil, fmt.Errorf("%s: %w", t.Name, err)
		}
		for k := range momentsS() {
			figures = append(figures, Figure{Area: coverageArea(k), Name: t.Name,
				Value: c.Share(k), Low: t.Least, High: t.Most, Count: c.Judged[k], Percent: true, Share: true})
		}
		figures = append(figures, Figure{Area: warmMedianArea, Name: t.Name,
			Value: c.MedianError, Low: 0, High: t.MedianError, Count: c.Judged[1], Percent: true})
	}
	return figures, nil
}

// coverageArea names the coverage at one of the three moments.
func coverageArea(moment int) string {
	return fmt.Sprintf("warm-up, p10-p90 of the upper limit's time holds the truth at %.0f min", momentsS()[moment]/60)
}

const warmMedianArea = "warm-up, median error of p50 at 6 min"

func levelFigures(e Effort) ([]Figure, error) {
	c, err := Levels(2026, e.of(1000))
	if err != nil {
		return nil, fmt.Errorf("levels: %w", err)
	}
	n := float64(c.Checks)
	figures := []Figure{
		{Area: "level, truth within 2 sd", Name: "as left", Value: float64(c.LeftInside) / n, Low: 0.93, High: 0.97, Count: c.Checks, Percent: true, Share: true},
		{Area: "level, truth within 2 sd", Name: "as found", Value: float64(c.FoundInside) / n, Low: 0.93, High: 0.985, Count: c.Checks, Percent: true, Share: true},
		{Area: "level, mean error in sd", Name: "as left", Value: c.Bias, Low: -0.1, High: 0.1, Count: c.Checks, Share: true},
	}
	w, err := WholeChecks(1, e.of(400))
	if err != nil {
		return nil, fmt.Errorf("whole checks: %w", err)
	}
	return append(figures,
		Figure{Area: "level, truth within 2 sd", Name: "as left, whole checks of simulated gearboxes", Value: float64(w.LeftInside) / float64(w.Checks),
			Low: 0.93, High: 1, Count: w.Checks, Percent: true, Share: true}), nil
}

func dripFigures(e Effort) ([]Figure, error) {
	d, err := Drips(1, e.of(1000))
	if err != nil {
		return nil, fmt.Errorf("drips: %w", err)
	}
	return []Figure{
		{Area: "drip, class right", Name: "a factor 1.5 from the borders", Value: float64(d.Right) / float64(d.Away), Low: 0.95, High: 1, Count: d.Away, Percent: true, Share: true},
		{Area: "drip, class right", Name: "everywhere", Value: float64(d.RightAll) / float64(d.Judged), Low: 0.8, High: 1, Count: d.Judged, Percent: true, Share: true},
	}, nil
}

func slotFigures(e Effort) ([]Figure, error) {
	nights := e.of(400) // the slots of one night fit or fail together
	o, err := Slots(1, nights)
	if err != nil {
		return nil, fmt.Errorf("slots: %w", err)
	}
	var figures []Figure
	for i := range o.Count {
		if o.Count[i] < 30 {
			continue
		}
		low, high := float64(i)/oddsBins, float64(i+1)/oddsBins
		figures = append(figures, Figure{Area: "slots, share that fitted", Name: fmt.Sprintf("stated %.0f to %.0f %%, %.1f %% in the mean", 100*low, 100*high, 100*o.Stated[i]),
			Value: o.True[i], Low: o.Stated[i] - 0.07, High: o.Stated[i] + 0.07, Count: o.Count[i], Draws: nights, Percent: true, Share: true})
	}
	return figures, nil
}

func learningFigures(e Effort) ([]Figure, error) {
	n := e.of(400)
	steady, err := Learning(LearningTrial{FirstSeed: 1, Vehicles: n, Checks: 3})
	if err != nil {
		return nil, fmt.Errorf("learning: %w", err)
	}
	changed, err := Learning(LearningTrial{FirstSeed: 1, Vehicles: n / 2, Checks: 5, ChangedAt: 2})
	if err != nil {
		return nil, fmt.Errorf("learning a change: %w", err)
	}
	cool, err := CoolLearning(1, n)
	if err != nil {
		return nil, fmt.Errorf("learning to cool: %w", err)
	}
	steps, err := StepLearning(1, n)
	if err != nil {
		return nil, fmt.Errorf("learning steps: %w", err)
	}
	area := "learning, median error"
	fall := func(first, third float64) float64 { return 1 - third/first }
	return []Figure{
		{Area: area, Name: "warm-up at 4 min, first check", Value: steady.Taught[0], High: 1, Count: n, Percent: true},
		{Area: area, Name: "warm-up at 4 min, third check", Value: steady.Taught[2], High: 1, Count: n, Percent: true},
		{Area: area, Name: "warm-up at 4 min, fall by the third check", Value: fall(steady.Taught[0], steady.Taught[2]), Low: 0.35, High: 1, Count: n, Percent: true},
		{Area: area, Name: "warm-up at 4 min, first check with a new warmer", Value: changed.Taught[2], High: 1, Count: n / 2, Percent: true},
		{Area: area, Name: "warm-up at 4 min, third check with it", Value: changed.Taught[4], High: 0.15, Count: n / 2, Percent: true},
		{Area: area, Name: "cooling time constant, fall by the third time", Value: fall(cool[0], cool[2]), Low: 0.35, High: 1, Count: n, Percent: true},
		{Area: area, Name: "length of a mechanic's steps, fall by the third check", Value: fall(steps[0], steps[2]), Low: 0.35, High: 1, Count: n, Percent: true},
	}, nil
}
