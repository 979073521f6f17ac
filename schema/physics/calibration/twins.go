package calibration

import (
	"fmt"
	"math"
	"math/rand/v2"

	"brimline/schema/physics"
)

// CoolLearning follows vehicles through three cool-downs and returns the median error
// of the time constant expected before each, as a share.
func CoolLearning(firstSeed uint64, vehicles int) ([3]float64, error) {
	var misses [3][]float64
	for seed := firstSeed; seed < firstSeed+uint64(vehicles); seed++ {
		random := rand.New(rand.NewPCG(seed, 59))
		vehicleS := 2.5 * 3600 * math.Exp(0.4*random.NormFloat64())
		var known []physics.CooledCheck
		for n := range 3 {
			expected, err := physics.CooldownPrior(physics.CooldownPriorInput{Vehicle: "own", Checks: known})
			if err != nil {
				return [3]float64{}, fmt.Errorf("seed %d: %w", seed, err)
			}
			truthS := vehicleS * math.Exp(0.08*random.NormFloat64())
			// The middle of a log-normal with this mean and sd.
			ratio := expected.TimeConstantS.SD / expected.TimeConstantS.Mean
			misses[n] = append(misses[n], math.Abs(math.Log(expected.TimeConstantS.Mean/math.Sqrt(1+ratio*ratio)/truthS)))
			in := physics.CooldownInput{Ambient: physics.AirWave{MeanC: 15}}
			for _, tS := range []float64{0, 3600, 9000, 14000} {
				tempC := 15 + 70*math.Exp(-tS/truthS) + 0.3*random.NormFloat64()
				in.Readings = append(in.Readings, physics.CooldownReading{TS: tS, TempC: math.Round(tempC)})
			}
			out, err := physics.Cooldown(in)
			if err != nil {
				return [3]float64{}, fmt.Errorf("seed %d: %w", seed, err)
			}
			known = append(known, physics.CooledCheck{Vehicle: "own", TimeConstantS: out.TimeConstantS})
		}
	}
	return [3]float64{median(misses[0]), median(misses[1]), median(misses[2])}, nil
}

// StepLearning follows mechanics through three checks of five acts and returns the
// median error of the expected length of the five together, as a share.
func StepLearning(firstSeed uint64, mechanics int) ([3]float64, error) {
	var misses [3][]float64
	acts := []string{"crack", "out", "watch", "fill", "fit"}
	for seed := firstSeed; seed < firstSeed+uint64(mechanics); seed++ {
		random := rand.New(rand.NewPCG(seed, 61))
		handS := map[string]float64{} // this mechanic's usual length of each act
		slow := 0.3 * random.NormFloat64()
		for _, act := range acts {
			handS[act] = 90 * math.Exp(slow+0.5*random.NormFloat64())
		}
		var done []physics.DoneStep
		for n := range 3 {
			expected, err := physics.StepPrior(physics.StepPriorInput{Mechanic: "own", Done: done, Plan: acts})
			if err != nil {
				return [3]float64{}, fmt.Errorf("seed %d: %w", seed, err)
			}
			tookS := 0.0
			for _, act := range acts {
				stepS := math.Max(1, handS[act]*math.Exp(0.15*random.NormFloat64()))
				tookS += stepS
				done = append(done, physics.DoneStep{Mechanic: "own", Act: act, TookS: stepS})
			}
			misses[n] = append(misses[n], math.Abs(expected.RemainingS.Mean-tookS)/tookS)
		}
	}
	return [3]float64{median(misses[0]), median(misses[1]), median(misses[2])}, nil
}
