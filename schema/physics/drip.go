package physics

import (
	"math"
	"sort"
)

const (
	// dropSpread and volumeSpread are relative standard uncertainties of the
	// size of a drop (theory against Eschbaum's measurements: within 10 %) and
	// of the volume that really warms (common practice, no source).
	dropSpread   = 0.10
	volumeSpread = 0.10
	// filmPerMin is what a wet lip sheds anyhow: expectations are not taken
	// below it, so that a ratio stays meaningful where nothing warms (common
	// practice, no source).
	filmPerMin = 2.0
	// Borders between the classes, as multiples of the expected rate, and the
	// rate at which drops merge to a broken thread (common practice, no
	// source: 6-10 per second).
	belowRatio, aboveRatio = 0.5, 2.0
	streamPerMin           = 8 * 60.0
	fewDrips               = 20   // below this an interval across a border means: count longer
	shortestWatchS         = 10.0 // count drops for 10 s (common practice, no source)
	mostDrips              = 20000
)

// Span is a stretch of a check, in seconds from its start.
type Span struct {
	FromS float64 `json:"from_s"`
	ToS   float64 `json:"to_s"`
}

// Rate is an estimate with its limits.
type Rate struct {
	Estimate float64 `json:"estimate"`
	Low      float64 `json:"low"`
	High     float64 `json:"high"`
}

// DripJudgeInput is what was counted and what the warming lets one expect.
type DripJudgeInput struct {
	DripsS           []float64 `json:"drips_s"`
	Watched          Span      `json:"watched"`
	DropUL           float64   `json:"drop_ul"`
	ActiveVolumeML   float64   `json:"active_volume_ml"`
	DensityKgM3      float64   `json:"density_15c_kg_m3"`
	TempC            float64   `json:"temp_c"`
	RateCPerMin      Normal    `json:"rate_c_per_min"`
	PulseS           *float64  `json:"pulse_s,omitempty"`
	CaseExpansionPer *float64  `json:"case_expansion_per_c,omitempty"`
}

// DripJudgeOutput says what the drip means.
type DripJudgeOutput struct {
	PerMin         Rate       `json:"per_min"`
	ExpectedPerMin Normal     `json:"expected_per_min"`
	Ratio          Quantiles  `json:"ratio"`
	Class          string     `json:"class"`
	RemainingML    *Normal    `json:"remaining_ml,omitempty"`
	SettlesS       *Quantiles `json:"settles_s,omitempty"`
	Advice         string     `json:"advice"`
	Codes          []string   `json:"codes"`
}

// DripJudge compares the drops counted at the level plug with what warming
// alone pushes out. Fluid that warms never stops dripping: the end is not
// dryness but a flow that warming explains. Where nothing warms the expected
// flow is near zero, and dry is right (once it has dripped in this opening).
//
// Class is "none" without a drop in the watch, "stream" above 8 drops a
// second, else "below", "balanced" or "above" by the median of the ratio
// with borders 0.5 and 2. Advice is one of keep_watching (above and
// thinning), still_draining (above and steady), at_the_lip, below_lip,
// dry_is_right, count_longer (too few drops or too short a watch for the
// border nearby), cannot_judge_stream; Codes holds it first, then
// never_stops where the fluid warms and has reached the lip. Drops outside
// the watch are left out. With PulseS a quarter of the period is left out
// where it holds far more drops than the rest (judged between the pulses).
//
// Where counts thin out over the watch (Laplace's trend test at 5 %, at
// least 8 drops) an exponential toward the expected rate is fitted:
// RemainingML is what is still above the lip at the end of the watch,
// SettlesS when the excess has fallen to a quarter of the expected rate, on
// the axis of DripsS.
//
// Shapes: at most 20000 drop times in ascending order; one watch.
// Units: s from the start of the check, µL, mL, kg/m³ at 15 °C, °C, °C/min;
// drops per minute out; the ratio is counted over expected.
// Errors: out_of_range, order (drops or watch not ascending) or too_many, on
// the field at fault.
// Accuracy: the limits are exact Poisson limits (95 %) and, as drops are
// nearly periodic, conservative; the expectation carries 10 % for the drop
// and 10 % for the volume; the thinning fit is a normal approximation.
// Source: expected rate = volume × apparent expansion × warming ÷ drop, with
// ASTM D1250-80 table 54D; limits of Garwood 1936; borders common practice,
// no source.
func DripJudge(in DripJudgeInput) (DripJudgeOutput, error) {
	if err := in.check(); err != nil {
		return DripJudgeOutput{}, err
	}
	counted := in.counted()
	expected := in.expected()
	low, high, err := PoissonLimits(counted.drips, 0.95)
	if err != nil {
		return DripJudgeOutput{}, err
	}
	perMin := 60 / counted.exposureS
	out := DripJudgeOutput{
		PerMin:         Rate{Estimate: float64(counted.drips) * perMin, Low: low * perMin, High: high * perMin},
		ExpectedPerMin: expected,
		Ratio:          dripRatio(counted, expected),
	}
	out.Class = dripClass(counted, out)
	thinning := counted.thinning(in.PulseS != nil) && (out.Class == "above" || out.Class == "balanced")
	if thinning {
		fit := fitThinning(counted.timesS, counted.exposureS, expected)
		remaining, settles := fit.forecast(in)
		out.RemainingML, out.SettlesS = &remaining, &settles
	}
	out.Advice = dripAdvice(counted, out, thinning)
	out.Codes = []string{out.Advice}
	if expected.Mean >= filmPerMin && (out.Class == "balanced" || out.Class == "above") {
		out.Codes = append(out.Codes, "never_stops")
	}
	return out, nil
}

// check states the contract of DripJudge.
func (in DripJudgeInput) check() error {
	var c checks
	c.count("drips_s", len(in.DripsS), mostDrips)
	for i, s := range in.DripsS {
		c.between(at("drips_s", i, ""), s, 0, 1e7)
		if i > 0 && s < in.DripsS[i-1] {
			c.fail("order", at("drips_s", i, ""), "must not lie before the drop in front of it")
		}
		if c.first != nil {
			return c.err()
		}
	}
	c.between("watched.from_s", in.Watched.FromS, 0, 1e7)
	c.between("watched.to_s", in.Watched.ToS, 0, 1e7)
	if !(in.Watched.ToS-in.Watched.FromS >= 1) {
		c.fail("order", "watched.to_s", "must lie at least one second after from_s")
	}
	if in.Watched.ToS-in.Watched.FromS > 7200 {
		c.fail("out_of_range", "watched.to_s", "must lie within two hours of from_s")
	}
	c.between("drop_ul", in.DropUL, 5, 200)
	c.between("active_volume_ml", in.ActiveVolumeML, 100, 100000)
	c.fluid("density_15c_kg_m3", in.DensityKgM3, "case_expansion_per_c", in.casePerC())
	c.fluidTemperature("temp_c", in.TempC)
	c.normal("rate_c_per_min", in.RateCPerMin, -20, 20, 20)
	if in.PulseS != nil {
		c.between("pulse_s", *in.PulseS, 2, 600)
	}
	return c.err()
}

// casePerC is the case's expansion, aluminium unless told.
func (in DripJudgeInput) casePerC() float64 {
	if in.CaseExpansionPer == nil {
		return aluminiumCasePerC
	}
	return *in.CaseExpansionPer
}

// expected is the drip rate that the warming explains; cooling explains none.
func (in DripJudgeInput) expected() Normal {
	growth := expansionRate(expansionAt15(in.DensityKgM3), in.TempC) - in.casePerC()
	dropsPerC := in.ActiveVolumeML * growth * 1000 / in.DropUL
	mean := dropsPerC * math.Max(0, in.RateCPerMin.Mean)
	return Normal{Mean: mean, SD: math.Hypot(dropsPerC*in.RateCPerMin.SD, mean*math.Hypot(dropSpread, volumeSpread))}
}

// dripCount is what remains of a watch once pulses are left out.
type dripCount struct {
	drips     int
	exposureS float64
	timesS    []float64 // from the start of the watch
	tooShort  bool
}

// counted picks the drops inside the watch and leaves pulses out.
func (in DripJudgeInput) counted() dripCount {
	watchedS := in.Watched.ToS - in.Watched.FromS
	times := []float64{}
	for _, s := range in.DripsS {
		if s >= in.Watched.FromS && s <= in.Watched.ToS {
			times = append(times, s-in.Watched.FromS)
		}
	}
	whole := dripCount{drips: len(times), exposureS: watchedS, timesS: times, tooShort: watchedS < shortestWatchS}
	if in.PulseS == nil {
		return whole
	}
	if watchedS < 2*(*in.PulseS) {
		whole.tooShort = true
		return whole
	}
	return betweenPulses(whole, *in.PulseS)
}

// betweenPulses leaves out the quarter of each period that holds the most
// drops, provided that it stands out: leaving out the fullest quarter of a
// steady drip would always count too few.
func betweenPulses(whole dripCount, pulseS float64) dripCount {
	phases := make([]float64, len(whole.timesS))
	for i, s := range whole.timesS {
		phases[i] = math.Mod(s, pulseS)
	}
	sort.Float64s(phases)
	width := pulseS / 4
	most, start, end := 0, 0.0, 0
	for i := range phases { // a second pointer runs ahead around the circle
		for end < i+len(phases) && aroundCircle(phases, end, pulseS)-phases[i] < width {
			end++
		}
		if end-i > most {
			most, start = end-i, phases[i]
		}
	}
	insideS := phaseExposure(whole.exposureS, pulseS, start, width)
	outsideS := whole.exposureS - insideS
	outside := whole.drips - most
	steady := math.Max(1, float64(outside)) * insideS / outsideS
	if float64(most) < 2*steady || float64(most) < steady+float64(3*math.Sqrt(steady))+2 {
		return whole
	}
	return dripCount{drips: outside, exposureS: outsideS, timesS: whole.timesS, tooShort: whole.tooShort}
}

// aroundCircle is the phase at an index that may have gone once around.
func aroundCircle(phases []float64, index int, pulseS float64) float64 {
	if index >= len(phases) {
		return phases[index-len(phases)] + pulseS
	}
	return phases[index]
}

// phaseExposure is how long a watch of totalS was inside the arc of phases
// from start on, width wide.
func phaseExposure(totalS, pulseS, start, width float64) float64 {
	cycles := math.Floor(totalS / pulseS)
	rest := totalS - float64(cycles*pulseS)
	overlap := math.Max(0, math.Min(rest, start+width)-start)
	overlap += math.Max(0, math.Min(rest, start+width-pulseS)) // the part beyond the end of the circle
	return float64(cycles*width) + overlap
}

// thinning says whether the drops crowd toward the start of the watch:
// Laplace's trend test at 5 %, one-sided.
func (d dripCount) thinning(pulsed bool) bool {
	if d.drips < 8 || pulsed {
		return false
	}
	sum := 0.0
	for _, s := range d.timesS {
		sum += s
	}
	n := float64(d.drips)
	return (sum/n/d.exposureS-0.5)*math.Sqrt(12*n) < -1.645
}

// dripRatio is the distribution of the counted rate over the expected one:
// the count gives a gamma posterior (Jeffreys), the expectation a normal
// that is not taken below the film rate.
func dripRatio(counted dripCount, expected Normal) Quantiles {
	const slices = 17
	shape := float64(counted.drips) + 0.5
	scales := make([]float64, slices) // expected drops in the watch
	for i := range scales {
		z := normalQuantile((float64(i) + 0.5) / slices)
		perMin := math.Max(filmPerMin, expected.Mean+float64(expected.SD*z))
		scales[i] = perMin * counted.exposureS / 60
	}
	return Quantiles{
		P10: mixtureQuantile(0.1, shape, scales),
		P50: mixtureQuantile(0.5, shape, scales),
		P90: mixtureQuantile(0.9, shape, scales),
	}
}

// mixtureQuantile solves mean over scales of P(shape, r·scale) = p for r.
func mixtureQuantile(p, shape float64, scales []float64) float64 {
	smallest, largest := scales[0], scales[0]
	for _, s := range scales {
		smallest, largest = math.Min(smallest, s), math.Max(largest, s)
	}
	x := gammaQuantile(p, shape)
	low, high := x/largest, x/smallest
	logGamma, _ := math.Lgamma(shape)
	r := math.Sqrt(low * high)
	for range 100 {
		miss, slope := -p, 0.0
		for _, s := range scales {
			miss += gammaLower(shape, r*s) / float64(len(scales))
			slope += math.Exp(float64((shape-1)*math.Log(r*s))-float64(r*s)-logGamma) * s / float64(len(scales))
		}
		if miss > 0 {
			high = r
		} else {
			low = r
		}
		next := r - miss/slope
		if !(next > low && next < high) {
			next = 0.5 * (low + high)
		}
		if math.Abs(next-r) <= 1e-14*r {
			return next
		}
		r = next
	}
	return r
}

// dripClass names what was counted.
func dripClass(counted dripCount, out DripJudgeOutput) string {
	switch {
	case counted.drips == 0:
		return "none"
	case out.PerMin.Estimate > streamPerMin:
		return "stream"
	case out.Ratio.P50 < belowRatio:
		return "below"
	case out.Ratio.P50 > aboveRatio:
		return "above"
	}
	return "balanced"
}

// dripAdvice says what to do next; the list is in DripJudge's comment.
func dripAdvice(counted dripCount, out DripJudgeOutput, thinning bool) string {
	spans := func(border float64) bool { return out.Ratio.P10 < border && out.Ratio.P90 > border }
	switch {
	case out.Class == "stream":
		return "cannot_judge_stream"
	case counted.tooShort:
		return "count_longer"
	case out.ExpectedPerMin.Mean < filmPerMin && out.Class != "above":
		return "dry_is_right"
	case counted.drips < fewDrips && (spans(belowRatio) || spans(aboveRatio)):
		return "count_longer"
	case out.Class == "none" || out.Class == "below":
		return "below_lip"
	case out.Class == "balanced":
		return "at_the_lip"
	case thinning:
		return "keep_watching"
	}
	return "still_draining"
}
