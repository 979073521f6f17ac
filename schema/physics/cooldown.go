package physics

import "math"

// AirWave is the air around a parked vehicle: a mean and one sine wave,
// mean_c + amplitude_c·sin(2π·t/period_s + phase_rad). Absent parts are 0; the
// period is a day if absent.
type AirWave struct {
	MeanC      float64  `json:"mean_c"`
	AmplitudeC float64  `json:"amplitude_c,omitempty"`
	PeriodS    *float64 `json:"period_s,omitempty"`
	PhaseRad   float64  `json:"phase_rad,omitempty"`
}

// CooldownReading is a fluid temperature while the vehicle stands.
type CooldownReading struct {
	TS    float64 `json:"t_s"`
	TempC float64 `json:"temp_c"`
}

// CooldownInput is a cooling gearbox; times count from one common start.
type CooldownInput struct {
	Ambient       AirWave           `json:"ambient"`
	StartC        *float64          `json:"start_c,omitempty"`
	TimeConstantS *Normal           `json:"time_constant_s,omitempty"`
	Readings      []CooldownReading `json:"readings,omitempty"`
	AtS           []float64         `json:"at_s,omitempty"`
	UntilC        *float64          `json:"until_c,omitempty"`
}

// CooledPoint is the fluid at one time.
type CooledPoint struct {
	TS    float64 `json:"t_s"`
	TempC float64 `json:"temp_c"`
	SDC   float64 `json:"sd_c"`
}

// ThreePoint is what three equally spaced readings say without any ambient.
type ThreePoint struct {
	TimeConstantS float64 `json:"time_constant_s"`
	EndC          float64 `json:"end_c"`
}

// CooldownOutput is how the fluid cools.
type CooldownOutput struct {
	TimeConstantS Normal        `json:"time_constant_s"`
	Learned       string        `json:"learned"`
	ThreePoint    *ThreePoint   `json:"three_point"`
	Temps         []CooledPoint `json:"temps"`
	ReachesS      *Reach        `json:"reaches_s"`
	Gain          float64       `json:"gain"`
	LagS          float64       `json:"lag_s"`
}

const (
	defaultCoolS      = 2.5 * 3600 // median; common practice, no source
	defaultCoolLogSD  = 0.4
	cooldownReadingSD = 0.42       // a display of 1 °C and 0.3 °C beside
	cooldownSearchS   = 7 * 86_400 // a temperature not reached in a week is not reached
)

// Cooldown says how a standing gearbox cools in constant or daily waving air.
//
// Model: Newton, T' = (ambient(t) − T)/τ, in closed form.
//
// Shapes: start_c is the temperature at 0 s; without it the first reading is
// the start. Up to 200 readings and 2,000 times at_s, readings in strict order of time.
// Two or more readings teach the time constant; a given time_constant_s (a mean
// and sd, read as log-normal) is then the prior. Without either it is 2.5 h with
// log sd 0.4. learned is "default", "given", "two readings" or "readings".
// temps follows at_s. three_point is null unless there are exactly three
// equally spaced readings that bend toward an end.
// Units: as the names say; gain is the share of the air's wave that the fluid
// follows, lag_s how late (0 without a wave).
// Nulls: reaches_s is null without until_c, and if the chance to cool to it within
// seven days is under 5 %; its quantiles hold for the case that it is reached,
// probability is that chance. It is the first time at or below until_c.
// Errors: missing on start_c if there is no reading either; out_of_range, order,
// too_many; no_fit on readings that no time constant explains.
// Accuracy: closed forms to 1e-9; sd_c is to first order in the time constant's
// spread and zero where that is exact; the air's own doubt is not in it.
// Source: references of this package, section 5: textbook lumped capacitance
// (two published examples) and the sine solution, checked against an ODE solver.
func Cooldown(in CooldownInput) (CooldownOutput, error) {
	if err := in.check(); err != nil {
		return CooldownOutput{}, err
	}
	c, learned, err := in.learn()
	if err != nil {
		return CooldownOutput{}, err
	}
	spread := math.Exp(c.logSD * c.logSD)
	mean := c.medianS * math.Sqrt(spread)
	out := CooldownOutput{
		TimeConstantS: Normal{Mean: mean, SD: mean * math.Sqrt(spread-1)},
		Learned:       learned,
		ThreePoint:    threePoint(in.Readings),
		Temps:         []CooledPoint{},
		Gain:          1,
	}
	if in.Ambient.AmplitudeC != 0 {
		x := c.air.omega * c.medianS
		out.Gain, out.LagS = 1/math.Sqrt(1+float64(x*x)), math.Atan(x)/c.air.omega
	}
	for _, tS := range in.AtS {
		tempC, slope := c.air.fluid(tS-c.startS, c.startS, c.startC, c.medianS)
		out.Temps = append(out.Temps, CooledPoint{TS: tS, TempC: tempC, SDC: math.Abs(slope) * c.medianS * c.logSD})
	}
	if in.UntilC != nil {
		out.ReachesS = c.reach(*in.UntilC)
	}
	return out, nil
}

func (in CooldownInput) check() error {
	var c checks
	c.temperature("ambient.mean_c", in.Ambient.MeanC)
	c.between("ambient.amplitude_c", in.Ambient.AmplitudeC, -60, 60)
	c.between("ambient.phase_rad", in.Ambient.PhaseRad, -100, 100)
	if in.Ambient.PeriodS != nil {
		c.between("ambient.period_s", *in.Ambient.PeriodS, 60, 4e7)
	}
	if in.StartC != nil {
		c.temperature("start_c", *in.StartC)
	} else if len(in.Readings) == 0 {
		c.fail("missing", "start_c", "give start_c or a reading to start from")
	}
	if in.TimeConstantS != nil {
		c.between("time_constant_s.mean", in.TimeConstantS.Mean, 1e-3, 4e7)
		c.between("time_constant_s.sd", in.TimeConstantS.SD, 0, 4e7)
	}
	if in.UntilC != nil {
		c.temperature("until_c", *in.UntilC)
	}
	c.count("readings", len(in.Readings), 200)
	c.count("at_s", len(in.AtS), 2000)
	if c.first != nil {
		return c.err()
	}
	for i, r := range in.Readings {
		c.between(at("readings", i, "t_s"), r.TS, 0, 4e7)
		c.temperature(at("readings", i, "temp_c"), r.TempC)
		if i > 0 && r.TS <= in.Readings[i-1].TS {
			c.fail("order", at("readings", i, "t_s"), "must be after the reading above it")
		}
	}
	for i, tS := range in.AtS {
		c.between(at("at_s", i, ""), tS, 0, 4e7)
		if in.StartC == nil && len(in.Readings) > 0 && tS < in.Readings[0].TS {
			c.fail("out_of_range", at("at_s", i, ""), "must not be before the first reading where start_c is absent")
		}
	}
	return c.err()
}

// airWave is an AirWave made ready for use.
type airWave struct{ meanC, amplitudeC, omega, phase float64 }

func (a AirWave) ready() airWave {
	periodS := float64(daySeconds)
	if a.PeriodS != nil {
		periodS = *a.PeriodS
	}
	return airWave{meanC: a.MeanC, amplitudeC: a.AmplitudeC, omega: 2 * math.Pi / periodS, phase: a.PhaseRad}
}

// settled is the fluid's temperature after all memory of the start is gone, and
// its derivative by the time constant.
func (a airWave) settled(tS, timeS float64) (tempC, slope float64) {
	if a.amplitudeC == 0 {
		return a.meanC, 0
	}
	x := a.omega * timeS
	sin, cos := math.Sincos(float64(a.omega*tS) + a.phase)
	square := 1 + float64(x*x)
	follow := (sin - float64(x*cos)) / square
	tempC = a.meanC + float64(a.amplitudeC*follow)
	turn := cos + float64(2*float64(x*follow))
	slope = -float64(a.amplitudeC*a.omega*turn) / square
	return tempC, slope
}

// fluid is the temperature spanS after a start at startC, and its derivative by the
// time constant.
func (a airWave) fluid(spanS, startS, startC, timeS float64) (tempC, slope float64) {
	end, endSlope := a.settled(startS+spanS, timeS)
	begin, beginSlope := a.settled(startS, timeS)
	keep := math.Exp(-spanS / timeS)
	tempC = end + float64((startC-begin)*keep)
	slope = endSlope - float64(beginSlope*keep) + (startC-begin)*keep*spanS/(timeS*timeS)
	return tempC, slope
}

// cooling is a start and a log-normal time constant.
type cooling struct {
	air            airWave
	startS, startC float64
	medianS, logSD float64
}

// learn settles start and time constant from what is given.
func (in CooldownInput) learn() (cooling, string, error) {
	c := cooling{air: in.Ambient.ready(), medianS: defaultCoolS, logSD: defaultCoolLogSD}
	learned := "default"
	if in.TimeConstantS != nil {
		c.medianS, c.logSD = logNormal(*in.TimeConstantS)
		learned = "given"
	}
	readings := in.Readings
	if in.StartC != nil {
		c.startC = *in.StartC
		if len(readings) == 0 || readings[0].TS > 0 {
			readings = append([]CooldownReading{{TS: 0, TempC: *in.StartC}}, readings...)
		}
	} else {
		c.startS, c.startC = readings[0].TS, readings[0].TempC
	}
	if len(readings) < 2 {
		return c, learned, nil
	}
	fitted, err := c.fit(readings, in.TimeConstantS != nil)
	if err != nil {
		var bad checks
		bad.fail("no_fit", "readings", "no time constant explains these readings in this air; check them and the air's temperature")
		return c, "", bad.err()
	}
	if len(readings) == 2 && in.TimeConstantS == nil {
		return fitted, "two readings", nil
	}
	return fitted, "readings", nil
}

// logNormal returns median and log sd of a log-normal with this mean and sd.
func logNormal(q Normal) (median, logSD float64) {
	ratio := q.SD / q.Mean
	variance := math.Log1p(float64(ratio * ratio))
	return q.Mean * math.Exp(-variance/2), math.Sqrt(variance)
}

// fit finds the start temperature and the log of the time constant that explain
// the readings best; keepPrior holds the time constant near what was given.
func (c cooling) fit(readings []CooldownReading, keepPrior bool) (cooling, error) {
	first := readings[0]
	extra := 0
	if keepPrior && c.logSD > 0 {
		extra = 1
	}
	eval := func(p, r []float64, jac [][]float64) {
		timeS := math.Exp(p[1])
		for i, reading := range readings {
			spanS := reading.TS - first.TS
			tempC, slope := c.air.fluid(spanS, first.TS, p[0], timeS)
			r[i] = (tempC - reading.TempC) / cooldownReadingSD
			jac[i][0] = math.Exp(-spanS/timeS) / cooldownReadingSD
			jac[i][1] = slope * timeS / cooldownReadingSD
		}
		if extra == 1 {
			n := len(readings)
			r[n] = (p[1] - math.Log(c.medianS)) / c.logSD
			jac[n][0], jac[n][1] = 0, 1/c.logSD
		}
	}
	if keepPrior && extra == 0 {
		return c, nil // known exactly: nothing to learn
	}
	startLog := math.Log(c.medianS)
	if exact, ok := c.twoPoint(readings); ok && extra == 0 {
		startLog = math.Log(exact)
	}
	fit, err := leastSquares(residuals{n: len(readings) + extra, m: 2, eval: eval}, []float64{first.TempC, startLog})
	if err != nil {
		return c, err
	}
	sd := math.Sqrt(fit.covariance()[1][1])
	if !(math.Abs(fit.params[1]) < 18 && sd < 3) {
		return c, errNoFit
	}
	out := c
	out.medianS, out.logSD = math.Exp(fit.params[1]), sd
	if c.startS == first.TS {
		out.startC = fit.params[0]
	}
	return out, nil
}

// twoPoint is the closed form for the first and last reading in constant air.
func (c cooling) twoPoint(readings []CooldownReading) (timeS float64, ok bool) {
	if c.air.amplitudeC != 0 {
		return 0, false
	}
	first, last := readings[0], readings[len(readings)-1]
	timeS = (last.TS - first.TS) / math.Log((first.TempC-c.air.meanC)/(last.TempC-c.air.meanC))
	return timeS, timeS > 0 && finite(timeS)
}

// threePoint needs no ambient: τ = −h/ln((T2 − T1)/(T1 − T0)).
func threePoint(r []CooldownReading) *ThreePoint {
	if len(r) != 3 || math.Abs((r[2].TS-r[1].TS)-(r[1].TS-r[0].TS)) > 1e-6 {
		return nil
	}
	ratio := (r[2].TempC - r[1].TempC) / (r[1].TempC - r[0].TempC)
	if !(ratio > 0 && ratio < 1) {
		return nil
	}
	t0, t1, t2 := r[0].TempC, r[1].TempC, r[2].TempC
	return &ThreePoint{
		TimeConstantS: -(r[1].TS - r[0].TS) / math.Log(ratio),
		EndC:          (float64(t1*t1) - float64(t0*t2)) / (float64(2*t1) - t0 - t2),
	}
}

// reach finds when the fluid has cooled to a temperature. The longer the time
// constant the later, so quantiles of the one are quantiles of the other.
func (c cooling) reach(untilC float64) *Reach {
	chance := 1.0
	if _, ok := c.coolsTo(untilC, c.medianS*math.Exp(4*c.logSD)); !ok {
		low, high := -4.0, 4.0 // standard deviations: reached, not reached
		if _, ok := c.coolsTo(untilC, c.medianS*math.Exp(low*c.logSD)); !ok {
			return nil
		}
		for range 50 {
			mid := 0.5 * (low + high)
			if _, ok := c.coolsTo(untilC, c.medianS*math.Exp(mid*c.logSD)); ok {
				low = mid
			} else {
				high = mid
			}
		}
		chance = 0.5 * math.Erfc(-low/math.Sqrt2)
	}
	if chance < leastReachChance {
		return nil
	}
	quantile := func(q float64) float64 {
		z := math.Sqrt2 * math.Erfinv(float64(2*q*chance)-1)
		tS, _ := c.coolsTo(untilC, c.medianS*math.Exp(z*c.logSD))
		return tS
	}
	return &Reach{P10: quantile(0.1), P50: quantile(0.5), P90: quantile(0.9), Probability: chance}
}

// coolsTo is the first time at or below a temperature with one time constant.
func (c cooling) coolsTo(untilC, timeS float64) (tS float64, ok bool) {
	if c.startC <= untilC {
		return c.startS, true
	}
	if c.air.amplitudeC == 0 {
		if untilC <= c.air.meanC {
			return 0, false
		}
		spanS := float64(timeS * math.Log((c.startC-c.air.meanC)/(untilC-c.air.meanC)))
		return c.startS + spanS, spanS <= cooldownSearchS
	}
	over := func(spanS float64) float64 {
		tempC, _ := c.air.fluid(spanS, c.startS, c.startC, timeS)
		return tempC - untilC
	}
	// A step is short beside the wave and beside the fall.
	stepS := math.Min(cooldownSearchS/1000, 2*math.Pi/c.air.omega/50)
	if stepS < 600 {
		stepS = 600
	}
	for fromS := 0.0; fromS < cooldownSearchS; fromS += stepS {
		if over(fromS+stepS) > 0 {
			continue
		}
		low, high := fromS, fromS+stepS
		for range 60 {
			if mid := 0.5 * (low + high); over(mid) > 0 {
				low = mid
			} else {
				high = mid
			}
		}
		return c.startS + high, true
	}
	return 0, false
}
