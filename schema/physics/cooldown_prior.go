package physics

import "math"

// CooledCheck is what one earlier cool-down said: the time constant that cooldown
// learned from readings, with the default prior or none.
type CooledCheck struct {
	Vehicle       string `json:"vehicle"`
	TimeConstantS Normal `json:"time_constant_s"`
}

// CooldownPriorInput is a vehicle and the earlier cool-downs of its profile.
type CooldownPriorInput struct {
	Vehicle string        `json:"vehicle"`
	Checks  []CooledCheck `json:"checks"`
}

// CooldownPriorOutput is what to expect of the next cool-down, fit for
// time_constant_s of cooldown and cool_time_constant_s of visit-slots.
type CooldownPriorOutput struct {
	TimeConstantS Normal `json:"time_constant_s"`
	From          string `json:"from"`
	OwnChecks     int    `json:"own_checks"`
	OtherVehicles int    `json:"other_vehicles"`
	Doubtful      []int  `json:"doubtful"`
}

// coolingTeacher splits the spread of the default cooling time constant (log sd
// 0.4) between profiles, vehicles of a profile (0.25) and occasions (0.12, wind and
// place). Design assumptions.
func coolingTeacher() teacher {
	return newTeacher([2]float64{0.25 / defaultCoolLogSD, 0}, [2]float64{0.12 / defaultCoolLogSD, 0})
}

// CooldownPrior learns how fast a vehicle cools from its own earlier cool-downs and
// those of other vehicles with the same profile.
//
// Model: that of warmup-prior, for the logarithm of the one time constant. The
// cool-downs are taken as learned from readings alone (cooldown without
// time_constant_s), so no prior is taken out of them.
//
// Shapes: up to 200 checks, those of one vehicle in order of time, the oldest
// first; vehicle may be empty (then no check is the vehicle's own).
// Units: as the names say; time_constant_s is the mean and sd of a log-normal.
// Errors: out_of_range and too_many, with the path.
// Accuracy: to rounding for the model. from is "default" (2.5 h, log sd 0.4), "profile",
// "vehicle" or "vehicle and profile"; own_checks counts those since the last change.
// Source: as warmup-prior; the spreads are design assumptions.
func CooldownPrior(in CooldownPriorInput) (CooldownPriorOutput, error) {
	var c checks
	c.count("checks", len(in.Checks), mostLessons)
	if c.first != nil {
		return CooldownPriorOutput{}, c.err()
	}
	lessons := make([]lesson, len(in.Checks))
	for i, k := range in.Checks {
		c.between(at("checks", i, "time_constant_s.mean"), k.TimeConstantS.Mean, 10, 8_640_000)
		c.between(at("checks", i, "time_constant_s.sd"), k.TimeConstantS.SD, 0, 8_640_000)
		if c.first != nil {
			return CooldownPriorOutput{}, c.err()
		}
		median, logSD := logNormal(k.TimeConstantS)
		variance := math.Max(1e-6, float64(logSD*logSD)/(defaultCoolLogSD*defaultCoolLogSD))
		lessons[i] = lesson{subject: k.Vehicle, belief: line(math.Log(median/defaultCoolS)/defaultCoolLogSD, variance), index: i}
	}
	f := coolingTeacher().foretell(in.Vehicle, lessons)
	return CooldownPriorOutput{
		TimeConstantS: fromLog(math.Log(defaultCoolS)+float64(defaultCoolLogSD*f.next.x), defaultCoolLogSD*math.Sqrt(f.next.xx)),
		From:          learnedFrom(f.own, f.others, "vehicle"),
		OwnChecks:     f.own, OtherVehicles: f.others, Doubtful: f.doubtful,
	}, nil
}
