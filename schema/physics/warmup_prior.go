package physics

import (
	"math"
	"sort"
)

// WarmedCheck is what one finished check said of a gearbox's warming: the model
// of its last warmup-forecast.
type WarmedCheck struct {
	Vehicle       string `json:"vehicle"`
	RiseC         Normal `json:"rise_c"`
	TimeConstantS Normal `json:"time_constant_s"`
}

// WarmupPriorInput is a vehicle to check and the earlier checks of its profile.
type WarmupPriorInput struct {
	Vehicle string        `json:"vehicle"`
	Checks  []WarmedCheck `json:"checks"`
}

// WarmupPriorOutput is what to expect of the next check, fit for the prior of
// warmup-forecast.
type WarmupPriorOutput struct {
	RiseC         Normal `json:"rise_c"`
	TimeConstantS Normal `json:"time_constant_s"`
	From          string `json:"from"`
	OwnChecks     int    `json:"own_checks"`
	OtherVehicles int    `json:"other_vehicles"`
	Doubtful      []int  `json:"doubtful"`
}

// nested splits the spread of the default prior: between profiles, between
// vehicles of a profile, and between checks of a vehicle. Design
// assumptions; their squares add up to the default prior's.
type nested struct{ mean, profile, vehicle, check float64 }

func riseNested() nested {
	return nested{mean: defaultRiseC, vehicle: 8, check: 5, profile: rest(defaultRiseSDC, 8, 5)}
}

// timeNested is for the logarithm of the time constant in seconds.
func timeNested() nested {
	return nested{mean: math.Log(defaultTimeS), vehicle: 0.20, check: 0.12, profile: rest(defaultTimeLogSD, 0.20, 0.12)}
}

func rest(total, a, b float64) float64 {
	return math.Sqrt(float64(total*total) - float64(a*a) - float64(b*b))
}

// learnedCheck is a check without the default prior it was computed with.
type learnedCheck struct {
	vehicle    string
	rise, time evidence
}

// evidence is a mean and a variance; none at all has an infinite variance.
type evidence struct{ mean, variance float64 }

// WarmupPrior learns what to expect of a vehicle's next warm-up from its own
// earlier checks and those of other vehicles with the same profile.
//
// Model: profile, vehicle and check are nested normal spreads, of the rise and of
// the logarithm of the time constant. With no check the result is the
// default prior; own checks count most, other vehicles teach the profile. Each
// check's numbers hold the default prior already, so that is taken out first. A
// check more than 3.5 standard deviations from what all others foretell is left out
// and listed, once there are four; at most a quarter of them, and ten.
//
// Shapes: up to 200 checks in any order; vehicle is any text that tells vehicles
// apart and may be empty (then no check is the vehicle's own).
// Units: as the names say; time_constant_s is the mean and sd of a log-normal, as
// warmup-forecast reads it.
// Errors: out_of_range and too_many, with the path.
// Accuracy: exact for the model, to rounding. from is "default", "profile", "vehicle" or
// "vehicle and profile".
// Source: normal conjugate updating (textbook); the spreads are design assumptions.
func WarmupPrior(in WarmupPriorInput) (WarmupPriorOutput, error) {
	if err := in.check(); err != nil {
		return WarmupPriorOutput{}, err
	}
	checks := make([]learnedCheck, len(in.Checks))
	for i, c := range in.Checks {
		median, logSD := logNormal(c.TimeConstantS)
		checks[i] = learnedCheck{
			vehicle: c.Vehicle,
			rise:    without(Normal{Mean: defaultRiseC, SD: defaultRiseSDC}, c.RiseC),
			time:    without(Normal{Mean: math.Log(defaultTimeS), SD: defaultTimeLogSD}, Normal{Mean: math.Log(median), SD: logSD}),
		}
	}
	kept, doubtful := keepLikely(checks)
	out := WarmupPriorOutput{Doubtful: doubtful}
	rise := riseNested().expect(in.Vehicle, kept, func(c learnedCheck) evidence { return c.rise })
	time := timeNested().expect(in.Vehicle, kept, func(c learnedCheck) evidence { return c.time })
	out.RiseC = Normal{Mean: rise.mean, SD: math.Sqrt(rise.variance)}
	mean := math.Exp(time.mean + float64(0.5*time.variance))
	out.TimeConstantS = Normal{Mean: mean, SD: mean * math.Sqrt(math.Expm1(time.variance))}
	others := map[string]bool{}
	for _, c := range kept {
		if in.Vehicle != "" && c.vehicle == in.Vehicle {
			out.OwnChecks++
		} else {
			others[c.vehicle] = true
		}
	}
	out.OtherVehicles = len(others)
	switch {
	case out.OwnChecks > 0 && out.OtherVehicles > 0:
		out.From = "vehicle and profile"
	case out.OwnChecks > 0:
		out.From = "vehicle"
	case out.OtherVehicles > 0:
		out.From = "profile"
	default:
		out.From = "default"
	}
	return out, nil
}

func (in WarmupPriorInput) check() error {
	var c checks
	c.count("checks", len(in.Checks), 200)
	if c.first != nil {
		return c.err()
	}
	for i, k := range in.Checks {
		c.between(at("checks", i, "rise_c.mean"), k.RiseC.Mean, -60, 200)
		c.between(at("checks", i, "rise_c.sd"), k.RiseC.SD, 0.01, 200)
		c.between(at("checks", i, "time_constant_s.mean"), k.TimeConstantS.Mean, 10, 864_000)
		c.between(at("checks", i, "time_constant_s.sd"), k.TimeConstantS.SD, 0.1, 864_000)
	}
	return c.err()
}

// without takes a prior out of what was learned with it. A check that learned nothing,
// or less, leaves no evidence.
func without(prior, learned Normal) evidence {
	priorWeight, weight := 1/float64(prior.SD*prior.SD), 1/float64(learned.SD*learned.SD)
	own := weight - priorWeight
	if own < 0.05*priorWeight {
		return evidence{mean: prior.Mean, variance: math.Inf(1)}
	}
	return evidence{mean: (float64(weight*learned.Mean) - float64(priorWeight*prior.Mean)) / own, variance: 1 / own}
}

// pool combines independent evidence about one number.
func pool(list []evidence) evidence {
	weight, sum := 0.0, 0.0
	for _, e := range list {
		if w := 1 / e.variance; w > 0 {
			weight += w
			sum += float64(w * e.mean)
		}
	}
	if weight == 0 {
		return evidence{variance: math.Inf(1)}
	}
	return evidence{mean: sum / weight, variance: 1 / weight}
}

// expect foretells the next check of a vehicle.
func (n nested) expect(vehicle string, checks []learnedCheck, of func(learnedCheck) evidence) evidence {
	sorted := append([]learnedCheck(nil), checks...)
	sort.SliceStable(sorted, func(i, j int) bool { return sorted[i].vehicle < sorted[j].vehicle })
	profile := []evidence{{mean: n.mean, variance: n.profile * n.profile}}
	var own []evidence
	for i := 0; i < len(sorted); {
		end := i
		var group []evidence
		for ; end < len(sorted) && sorted[end].vehicle == sorted[i].vehicle; end++ {
			e := of(sorted[end])
			e.variance += float64(n.check * n.check)
			group = append(group, e)
		}
		if vehicle != "" && sorted[i].vehicle == vehicle {
			own = group
		} else {
			e := pool(group)
			e.variance += float64(n.vehicle * n.vehicle)
			profile = append(profile, e)
		}
		i = end
	}
	base := pool(profile)
	base.variance += float64(n.vehicle * n.vehicle)
	next := pool(append(own, base))
	next.variance += float64(n.check * n.check)
	return next
}

// keepLikely leaves out checks that all others speak against, worst first.
func keepLikely(checks []learnedCheck) (kept []learnedCheck, doubtful []int) {
	doubtful = []int{}
	index := make([]int, len(checks))
	for i := range index {
		index[i] = i
	}
	kept = append(kept, checks...)
	for len(kept) >= 4 && len(doubtful) < min(len(checks)/4, 10) {
		worst, worstZ := -1, 3.5
		for i := range kept {
			others := append(append([]learnedCheck(nil), kept[:i]...), kept[i+1:]...)
			z := math.Max(
				riseNested().surprise(kept[i], others, func(c learnedCheck) evidence { return c.rise }),
				timeNested().surprise(kept[i], others, func(c learnedCheck) evidence { return c.time }))
			if z > worstZ {
				worst, worstZ = i, z
			}
		}
		if worst < 0 {
			break
		}
		doubtful = append(doubtful, index[worst])
		kept = append(kept[:worst], kept[worst+1:]...)
		index = append(index[:worst], index[worst+1:]...)
	}
	sort.Ints(doubtful)
	return kept, doubtful
}

// surprise is how many standard deviations a check lies from what others foretell.
func (n nested) surprise(c learnedCheck, others []learnedCheck, of func(learnedCheck) evidence) float64 {
	e := of(c)
	if math.IsInf(e.variance, 1) {
		return 0
	}
	expected := n.expect(c.vehicle, others, of)
	return math.Abs(e.mean-expected.mean) / math.Sqrt(e.variance+expected.variance)
}
