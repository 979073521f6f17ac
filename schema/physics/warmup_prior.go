package physics

import (
	"math"
	"strconv"
)

// WarmedCheck is what one finished check said of a gearbox's warming: the model
// of a last warmup-forecast made with the default prior.
type WarmedCheck struct {
	Vehicle       string        `json:"vehicle"`
	RiseC         Normal        `json:"rise_c"`
	TimeConstantS Normal        `json:"time_constant_s"`
	Correlation   *float64      `json:"correlation,omitempty"`
	Warmer        *WarmerBelief `json:"warmer,omitempty"`
}

// WarmupPriorInput is a vehicle to check and the earlier checks of its profile.
type WarmupPriorInput struct {
	Vehicle string        `json:"vehicle"`
	Checks  []WarmedCheck `json:"checks"`
}

// WarmupPriorOutput is what to expect of the next check, fit for the prior of
// warmup-forecast.
type WarmupPriorOutput struct {
	RiseC         Normal        `json:"rise_c"`
	TimeConstantS Normal        `json:"time_constant_s"`
	Correlation   float64       `json:"correlation"`
	Warmer        *WarmerBelief `json:"warmer"`
	From          string        `json:"from"`
	OwnChecks     int           `json:"own_checks"`
	OtherVehicles int           `json:"other_vehicles"`
	Doubtful      []int         `json:"doubtful"`
}

// warmingTeacher splits the spread of the default prior between profiles, between
// vehicles of a profile (8.5 °C, 22 %), and between checks of a vehicle (3 °C, 8 %).
// Design assumptions.
func warmingTeacher() teacher {
	return newTeacher(
		[2]float64{8.5 / defaultRiseSDC, 0.22 / defaultTimeLogSD},
		[2]float64{3.0 / defaultRiseSDC, 0.08 / defaultTimeLogSD})
}

// WarmupPrior learns what to expect of a vehicle's next warm-up from its own
// earlier checks and those of other vehicles with the same profile.
//
// Model: profile, vehicle and check are nested normal spreads of the rise and of
// the logarithm of the time constant, which one check tells only together (its
// correlation). With no check the result is the default prior; own checks count most,
// other vehicles teach the profile. Each check's numbers hold the default prior
// already, so that is taken out first. A vehicle changes for good with a chance of
// 6 % from check to check, and a check is a slip with 3 %: so two checks that agree with
// each other make older ones forgotten, and one that stands alone is left out
// and listed. Of four other vehicles or more, those over 3.5 standard deviations from
// the rest are left out, at most a quarter. A coolant-fed warmer is learned as
// a chance with its onset and strength from the checks that say something of it.
//
// Shapes: up to 200 checks, those of one vehicle in order of time, the oldest
// first; vehicle is any text that tells vehicles apart and may be empty (then no
// check is the vehicle's own). correlation and warmer of a check may be absent: 0, nothing said.
// Units: as the names say; time_constant_s is the mean and sd of a log-normal, as
// warmup-forecast reads it; correlation is that of the rise and the time
// constant's logarithm.
// Nulls: warmer is null unless a check says something of one.
// Errors: out_of_range and too_many, with the path.
// Accuracy: to rounding for the model. On simulated vehicles whose check-to-check spread
// is 2 °C and 6 % the median error of a forecast at four minutes falls by over a third by
// the third check. from is "default", "profile", "vehicle" or "vehicle and profile".
// Source: normal conjugate updating and change points (textbook); the spreads are
// design assumptions.
func WarmupPrior(in WarmupPriorInput) (WarmupPriorOutput, error) {
	if err := in.check(); err != nil {
		return WarmupPriorOutput{}, err
	}
	lessons := make([]lesson, len(in.Checks))
	for i, c := range in.Checks {
		lessons[i] = lesson{subject: c.Vehicle, belief: c.standard().without(standardPlane()), index: i}
	}
	f := warmingTeacher().foretell(in.Vehicle, lessons)
	out := WarmupPriorOutput{Doubtful: f.doubtful, OwnChecks: f.own, OtherVehicles: f.others,
		From: learnedFrom(f.own, f.others, "vehicle"), Warmer: in.warmer()}
	sdX, sdY := math.Sqrt(f.next.xx), math.Sqrt(f.next.yy)
	// A rise below some degrees does not exist.
	out.RiseC = Normal{Mean: math.Max(5, defaultRiseC+float64(defaultRiseSDC*f.next.x)), SD: defaultRiseSDC * sdX}
	out.TimeConstantS = fromLog(math.Log(defaultTimeS)+float64(defaultTimeLogSD*f.next.y), defaultTimeLogSD*sdY)
	out.Correlation = f.next.xy / (sdX * sdY)
	return out, nil
}

// standard is a check's belief in standard deviations of the default prior.
func (c WarmedCheck) standard() plane {
	median, logSD := logNormal(c.TimeConstantS)
	sdX, sdY := c.RiseC.SD/defaultRiseSDC, math.Max(1e-4, logSD/defaultTimeLogSD)
	p := plane{
		x: (c.RiseC.Mean - defaultRiseC) / defaultRiseSDC, xx: sdX * sdX,
		y: math.Log(median/defaultTimeS) / defaultTimeLogSD, yy: sdY * sdY,
	}
	if c.Correlation != nil {
		p.xy = *c.Correlation * sdX * sdY
	}
	return p
}

// fromLog is the log-normal with this mean and sd of the logarithm.
func fromLog(mean, sd float64) Normal {
	variance := math.Min(float64(sd*sd), 9)
	m := math.Exp(mean + float64(0.5*variance))
	return Normal{Mean: m, SD: m * math.Sqrt(math.Expm1(variance))}
}

// learnedFrom says whose lessons count: the subject's own, its group's, or none.
func learnedFrom(own, others int, subject string) string {
	switch {
	case own > 0 && others > 0:
		return subject + " and profile"
	case own > 0:
		return subject
	case others > 0:
		return "profile"
	}
	return "default"
}

func (in WarmupPriorInput) check() error {
	var c checks
	c.count("checks", len(in.Checks), mostLessons)
	if c.first != nil {
		return c.err()
	}
	for i, k := range in.Checks {
		c.between(at("checks", i, "rise_c.mean"), k.RiseC.Mean, -60, 200)
		c.between(at("checks", i, "rise_c.sd"), k.RiseC.SD, 0.01, 200)
		c.between(at("checks", i, "time_constant_s.mean"), k.TimeConstantS.Mean, 10, 864_000)
		c.between(at("checks", i, "time_constant_s.sd"), k.TimeConstantS.SD, 0.1, 864_000)
		if k.Correlation != nil {
			c.between(at("checks", i, "correlation"), *k.Correlation, -0.999, 0.999)
		}
		if k.Warmer != nil {
			k.Warmer.check(&c, "checks["+strconv.Itoa(i)+"].warmer")
		}
	}
	return c.err()
}

// mostLessons bounds what one computation learns from.
const mostLessons = 200

// A check's evidence of a warmer is not taken for more than this: the model of one
// warmer is a coarse one.
const mostWarmerOdds = 200.0

// warmer learns whether the vehicle has a coolant-fed warmer, from when on and how
// strong; the vehicle's own checks say how strong, if there are any.
func (in WarmupPriorInput) warmer() *WarmerBelief {
	said, ownSaid, fleet, vehicles := false, false, unknownWarmerShare*20, 20.0
	for _, c := range in.Checks {
		switch {
		case c.Warmer == nil:
			continue
		case in.Vehicle != "" && c.Vehicle == in.Vehicle:
			ownSaid = true
		default:
			fleet += c.Warmer.Probability
			vehicles++
		}
		said = true
	}
	if !said {
		return nil
	}
	share := math.Min(0.9, fleet/vehicles)
	chance := share
	var onset, factor moments
	for i := range in.Checks {
		c := in.Checks[i]
		own := in.Vehicle != "" && c.Vehicle == in.Vehicle
		if c.Warmer == nil || !own && ownSaid {
			continue
		}
		p := c.Warmer.Probability
		if own {
			// What was may change, and then this check tells anew.
			chance = float64(chance*(1-changeShare)) + float64(changeShare*math.Max(share, 0.05))
			odds := p / math.Max(1-p, 1e-9) * (1 - unknownWarmerShare) / unknownWarmerShare
			odds = math.Min(mostWarmerOdds, math.Max(1/mostWarmerOdds, odds))
			chance = chance * odds / (float64(chance*odds) + 1 - chance)
		}
		onset.take(c.Warmer.OnsetS, p)
		factor.take(c.Warmer.Factor, p)
	}
	return &WarmerBelief{Probability: math.Min(0.98, chance), OnsetS: onset.normal(330, 160, 40), Factor: factor.normal(1.7, 0.4, 0.12)}
}

// moments gathers weighted beliefs about one number; older ones fade by half.
type moments struct{ weight, sum, square, variance float64 }

func (m *moments) take(n Normal, weight float64) {
	m.weight = float64(0.5*m.weight) + weight
	m.sum = float64(0.5*m.sum) + float64(weight*n.Mean)
	m.square = float64(0.5*m.square) + float64(weight*n.Mean*n.Mean)
	m.variance = float64(0.5*m.variance) + float64(weight*n.SD*n.SD)
}

// normal joins what was gathered with a default of weight a tenth.
func (m *moments) normal(defaultMean, defaultSD, leastSD float64) Normal {
	weight := m.weight + 0.1
	mean := (m.sum + float64(0.1*defaultMean)) / weight
	square := (m.square + float64(0.1*defaultMean*defaultMean)) / weight
	within := (m.variance + float64(0.1*defaultSD*defaultSD)) / weight
	sd := math.Sqrt(math.Max(0, square-float64(mean*mean)) + float64(within/math.Max(1, m.weight)))
	return Normal{Mean: mean, SD: math.Min(defaultSD, math.Max(leastSD, sd))}
}
