package physics

import "math"

const (
	dueProbability  = 0.05   // a level is due when it is below the minimum with this probability
	dueMonths       = 120.0  // no forecast beyond
	dueKM           = 500000 // no forecast beyond
	suspectFactor   = 2.576  // 99 %: many sites, persons and units are tried
	suspectMinimum  = 3      // intervals needed before anything is suspected
	mostTrendChecks = 500
)

// TrendCheck is one check in a vehicle's history.
type TrendCheck struct {
	At         string   `json:"at"`
	OdometerKM *float64 `json:"odometer_km,omitempty"`
	AsFoundML  *float64 `json:"as_found_ml,omitempty"`
	AsLeftML   *float64 `json:"as_left_ml,omitempty"`
	SDML       float64  `json:"sd_ml"`
	Site       string   `json:"site,omitempty"`
	Person     string   `json:"person,omitempty"`
	Unit       string   `json:"unit,omitempty"`
}

// LevelTrendInput is a vehicle's history and the lowest level it may have.
type LevelTrendInput struct {
	Checks    []TrendCheck `json:"checks"`
	MinimumML float64      `json:"minimum_ml"`
}

// Interval is an estimate with its 95 % limits.
type Interval struct {
	Mean float64 `json:"mean"`
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// TrendDue is when the next check is due; a part that cannot be told is null.
type TrendDue struct {
	At         *string  `json:"at"`
	OdometerKM *float64 `json:"odometer_km"`
}

// TrendSuspect is a site, person or sensor whose checks stand apart.
type TrendSuspect struct {
	Kind    string  `json:"kind"`
	Name    string  `json:"name"`
	ShiftML float64 `json:"shift_ml"`
	SDML    float64 `json:"sd_ml"`
	Checks  []int   `json:"checks"`
}

// LevelTrendOutput is what the history says.
type LevelTrendOutput struct {
	LossPer1000KM *Interval      `json:"loss_ml_per_1000_km"`
	LossPerMonth  *Interval      `json:"loss_ml_per_month"`
	Significant   bool           `json:"significant"`
	NextDue       *TrendDue      `json:"next_due"`
	Suspects      []TrendSuspect `json:"suspects"`
}

// lossInterval is what was lost between two checks.
type lossInterval struct {
	from, to          int // indexes of the checks
	lossML, sdML      float64
	thousandKM, month float64
	hasKM             bool
}

// slope is a loss per unit of time or distance with its spread.
type slope struct{ mean, sd float64 }

// LevelTrend finds how fast a gearbox loses fluid, when the next check is due,
// and whether one site, person or sensor explains what looks like a loss.
//
// A loss is the level left by one check less the level found by the next; the
// losses are fitted as proportional to distance and to time by weighted least
// squares. Where they scatter more than their spreads say, the spread of the
// slope grows in proportion. Significant: the lower 95 % limit is above
// nothing on either axis; two small top-ups are not a trend. NextDue: when
// the level is below the minimum with a probability of 5 %, counted from the
// last level left; null where that is not within ten years and 500,000 km. A
// suspect stands apart at 99 % with at least three intervals; its shift is
// how much fuller its checks read, its Checks are their indexes. Of two names
// that share all checks the data cannot say which is off: both are listed.
//
// Shapes: at most 500 checks in order of time; a check may lack either level
// or the odometer.
// Units: RFC 3339 with offset, km, mL; mL per 1000 km and per month of
// 30.4375 days.
// Errors: bad_time, order, out_of_range, too_many or too_long, on the field
// at fault.
// Accuracy: the regression reproduces NIST StRD Norris to 10 digits.
// Source: weighted least squares with known spreads; the widening is Birge's
// ratio (from memory).
func LevelTrend(in LevelTrendInput) (LevelTrendOutput, error) {
	moments, err := in.check()
	if err != nil {
		return LevelTrendOutput{}, err
	}
	losses := in.losses(moments)
	perMonth, monthOK := lossSlope(losses, false)
	perKM, kmOK := lossSlope(losses, true)
	out := LevelTrendOutput{Suspects: in.suspects(losses)}
	if monthOK {
		out.LossPerMonth = perMonth.interval()
		out.Significant = out.LossPerMonth.Low > 0
	}
	if kmOK {
		out.LossPer1000KM = perKM.interval()
		out.Significant = out.Significant || out.LossPer1000KM.Low > 0
	}
	out.NextDue = in.nextDue(moments, perMonth, monthOK, perKM, kmOK)
	return out, nil
}

// check states the contract of LevelTrend and reads the times.
func (in LevelTrendInput) check() ([]moment, error) {
	var c checks
	c.count("checks", len(in.Checks), mostTrendChecks)
	c.between("minimum_ml", in.MinimumML, -50000, 50000)
	moments := make([]moment, min(len(in.Checks), mostTrendChecks))
	lastKM := 0.0
	for i := range moments {
		check := in.Checks[i]
		var ok bool
		if moments[i], ok = parseMoment(check.At); !ok {
			c.fail("bad_time", at("checks", i, "at"), "must be a time such as 2026-03-01T10:00:00+01:00")
		}
		if i > 0 && moments[i].unixS <= moments[i-1].unixS {
			c.fail("order", at("checks", i, "at"), "must be later than the check in front of it")
		}
		if check.OdometerKM != nil {
			c.between(at("checks", i, "odometer_km"), *check.OdometerKM, 0, 1e7)
			if *check.OdometerKM < lastKM {
				c.fail("order", at("checks", i, "odometer_km"), "must not be less than before")
			}
			lastKM = *check.OdometerKM
		}
		c.optional(at("checks", i, "as_found_ml"), check.AsFoundML, -50000, 50000)
		c.optional(at("checks", i, "as_left_ml"), check.AsLeftML, -50000, 50000)
		c.between(at("checks", i, "sd_ml"), check.SDML, 0.1, 50000)
		for _, word := range []string{check.Site, check.Person, check.Unit} {
			if len(word) > 200 {
				c.fail("too_long", at("checks", i, ""), "names must be at most 200 bytes")
			}
		}
	}
	return moments, c.err()
}

// optional requires a value between two limits where there is one.
func (c *checks) optional(field string, x *float64, low, high float64) {
	if x != nil {
		c.between(field, *x, low, high)
	}
}

// losses pairs each level left with the next level found.
func (in LevelTrendInput) losses(moments []moment) []lossInterval {
	losses := []lossInterval{}
	for i := 1; i < len(in.Checks); i++ {
		before, after := in.Checks[i-1], in.Checks[i]
		if before.AsLeftML == nil || after.AsFoundML == nil {
			continue
		}
		loss := lossInterval{
			from: i - 1, to: i,
			lossML: *before.AsLeftML - *after.AsFoundML,
			sdML:   math.Hypot(before.SDML, after.SDML),
			month:  float64(moments[i].unixS-moments[i-1].unixS) / secondsAMonth,
		}
		if before.OdometerKM != nil && after.OdometerKM != nil && *after.OdometerKM > *before.OdometerKM {
			loss.thousandKM, loss.hasKM = (*after.OdometerKM-*before.OdometerKM)/1000, true
		}
		losses = append(losses, loss)
	}
	return losses
}

// axis lays losses out for a fit over distance or time.
func axis(losses []lossInterval, byKM bool) (x, y, sds []float64, used []lossInterval) {
	for _, l := range losses {
		if byKM && !l.hasKM {
			continue
		}
		along := l.month
		if byKM {
			along = l.thousandKM
		}
		x, y, sds, used = append(x, along), append(y, l.lossML), append(sds, l.sdML), append(used, l)
	}
	return x, y, sds, used
}

// lossSlope fits losses as proportional to distance or time.
func lossSlope(losses []lossInterval, byKM bool) (slope, bool) {
	x, y, sds, _ := axis(losses, byKM)
	if len(x) == 0 {
		return slope{}, false
	}
	fit, ok := fitLinear([][]float64{x}, y, sds)
	if !ok {
		return slope{}, false
	}
	return slope{mean: fit.b[0], sd: math.Sqrt(fit.covariance[0][0]) * fit.widening()}, true
}

// widening is Birge's ratio where the data scatter more than they claim.
func (f linearFit) widening() float64 {
	if f.degrees == 0 {
		return 1
	}
	return math.Max(1, math.Sqrt(f.chiSquare/float64(f.degrees)))
}

// interval is the slope with its 95 % limits.
func (s slope) interval() *Interval {
	reach := float64(normalQuantile(0.975) * s.sd)
	return &Interval{Mean: s.mean, Low: s.mean - reach, High: s.mean + reach}
}

// dueAfter is how far ahead the level falls below the minimum with the due
// probability; nothing where that is beyond the horizon. A gearbox does not
// gain fluid: a slope below nothing counts as none.
func (s slope) dueAfter(levelML, sdML, minimumML, horizon float64) (float64, bool) {
	z := normalQuantile(1 - dueProbability)
	loss := math.Max(0, s.mean)
	margin := func(ahead float64) float64 {
		return levelML - minimumML - float64(loss*ahead) - float64(z*math.Hypot(sdML, ahead*s.sd))
	}
	if margin(0) <= 0 {
		return 0, true
	}
	if margin(horizon) > 0 {
		return 0, false
	}
	low, high := 0.0, horizon
	for range 200 {
		mid := 0.5 * (low + high)
		if mid == low || mid == high {
			break
		}
		if margin(mid) > 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return high, true
}

// nextDue counts from the last level left.
func (in LevelTrendInput) nextDue(moments []moment, perMonth slope, monthOK bool, perKM slope, kmOK bool) *TrendDue {
	last := len(in.Checks) - 1
	for last >= 0 && in.Checks[last].AsLeftML == nil {
		last--
	}
	if last < 0 {
		return nil
	}
	check := in.Checks[last]
	due := &TrendDue{}
	if monthOK {
		if months, ok := perMonth.dueAfter(*check.AsLeftML, check.SDML, in.MinimumML, dueMonths); ok {
			at := moment{unixS: moments[last].unixS + int64(math.Round(months*secondsAMonth)), offsetS: moments[last].offsetS}.text()
			due.At = &at
		}
	}
	if kmOK && check.OdometerKM != nil {
		if thousands, ok := perKM.dueAfter(*check.AsLeftML, check.SDML, in.MinimumML, dueKM/1000); ok {
			km := *check.OdometerKM + float64(1000*thousands)
			due.OdometerKM = &km
		}
	}
	if due.At == nil && due.OdometerKM == nil {
		return nil
	}
	return due
}

// suspects tries every site, person and unit: a common shift of its checks
// enters a loss once with each sign.
func (in LevelTrendInput) suspects(losses []lossInterval) []TrendSuspect {
	suspects := []TrendSuspect{}
	kinds := []struct {
		kind string
		of   func(TrendCheck) string
	}{
		{"site", func(c TrendCheck) string { return c.Site }},
		{"person", func(c TrendCheck) string { return c.Person }},
		{"sensor", func(c TrendCheck) string { return c.Unit }},
	}
	for _, k := range kinds {
		for i, check := range in.Checks {
			name := k.of(check)
			indexes := []int{}
			for j, other := range in.Checks {
				if k.of(other) == name {
					indexes = append(indexes, j)
				}
			}
			if name == "" || indexes[0] != i || len(indexes) == len(in.Checks) {
				continue
			}
			shift, ok := in.shiftOf(losses, func(index int) bool { return k.of(in.Checks[index]) == name })
			if ok && math.Abs(shift.mean) > suspectFactor*shift.sd {
				suspects = append(suspects, TrendSuspect{Kind: k.kind, Name: name, ShiftML: shift.mean, SDML: shift.sd, Checks: indexes})
			}
		}
	}
	return suspects
}

// shiftOf fits a loss and the shift of some checks together.
func (in LevelTrendInput) shiftOf(losses []lossInterval, belongs func(int) bool) (slope, bool) {
	byKM := true
	for _, l := range losses {
		byKM = byKM && l.hasKM
	}
	x, y, sds, used := axis(losses, byKM)
	if len(x) < suspectMinimum {
		return slope{}, false
	}
	shift := make([]float64, len(x))
	for i, l := range used {
		if belongs(l.from) {
			shift[i]++
		}
		if belongs(l.to) {
			shift[i]--
		}
	}
	fit, ok := fitLinear([][]float64{x, shift}, y, sds)
	if !ok {
		return slope{}, false
	}
	return slope{mean: fit.b[1], sd: math.Sqrt(fit.covariance[1][1]) * fit.widening()}, true
}
