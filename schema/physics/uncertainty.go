package physics

import (
	"math"

	"brimline/schema/fault"
)

// Component is one input's share of an uncertainty: how strongly the result
// follows it, its standard uncertainty, and the degrees of freedom that
// uncertainty was found with (0 means: taken as exactly known).
type Component struct {
	Sensitivity float64
	SD          float64
	Degrees     float64
}

// Combined is the standard uncertainty of a result and its effective degrees
// of freedom (0 means: as many as one likes).
type Combined struct {
	SD      float64
	Degrees float64
}

// Combine adds uncorrelated uncertainties.
//
// Shapes: any number of components; none gives no uncertainty.
// Units: sensitivity × SD is in the unit of the result.
// Errors: out_of_range for a value that is not finite, a negative SD or
// negative degrees of freedom.
// Accuracy: 1e-14 relative.
// Source: JCGM 100:2008 5.1.2 (law of propagation) and G.4.1
// (Welch-Satterthwaite); formulas from memory.
func Combine(components []Component) (Combined, error) {
	var c checks
	variance, weighted := 0.0, 0.0
	for i, part := range components {
		c.between(at("components", i, "sensitivity"), part.Sensitivity, -1e100, 1e100)
		c.between(at("components", i, "sd"), part.SD, 0, 1e50)
		c.between(at("components", i, "degrees"), part.Degrees, 0, 1e9)
	}
	if err := c.err(); err != nil {
		return Combined{}, err
	}
	for _, part := range components {
		share := part.Sensitivity * part.SD
		variance += float64(share * share)
	}
	if variance == 0 {
		return Combined{}, nil
	}
	for _, part := range components {
		if part.Degrees > 0 {
			ratio := part.Sensitivity * part.SD / math.Sqrt(variance) // scaled, so that the fourth power cannot overflow
			weighted += float64(ratio*ratio*ratio*ratio) / part.Degrees
		}
	}
	out := Combined{SD: math.Sqrt(variance)}
	if weighted > 0 {
		out.Degrees = math.Min(1e9, 1/weighted)
	}
	return out, nil
}

// Expand gives the coverage factor and the expanded uncertainty for a level
// of confidence; the effective degrees of freedom are cut to a whole number.
//
// Shapes: one combined uncertainty, one confidence.
// Units: the factor is a ratio, the expanded uncertainty in the result's unit.
// Errors: out_of_range unless 0 < confidence < 1 and the degrees of freedom
// are 0 or at least 1.
// Accuracy: as StudentQuantile.
// Source: JCGM 100:2008 G.3 and G.4.1.
func Expand(combined Combined, confidence float64) (factor, expanded float64, err error) {
	if err := probability("confidence", confidence); err != nil {
		return 0, 0, err
	}
	p := 0.5 + float64(0.5*confidence)
	if p >= 1 {
		return 0, 0, fault.Bad("out_of_range", "confidence", "must be further from 1")
	}
	switch whole := math.Floor(combined.Degrees); {
	case combined.Degrees == 0 || whole > 1e5:
		factor = normalQuantile(p)
	case whole >= 1:
		if factor, err = StudentQuantile(p, whole); err != nil {
			return 0, 0, err
		}
	default:
		return 0, 0, fault.Bad("out_of_range", "degrees", "must be 0 or at least 1")
	}
	return factor, factor * combined.SD, nil
}

// Sensitivities finds how strongly a model's result follows each input, by
// the central difference over one standard uncertainty to either side.
//
// Shapes: values and sds have the same length; the model takes a list of
// that length and must not keep it.
// Units: result per input.
// Errors: shape where the lengths differ; out_of_range where a value is not
// finite, an SD is negative, or the model gives a result that is not finite.
// Accuracy: exact for a model of second order; an input without uncertainty
// gets a step of 1e-6 of its size.
// Source: JCGM 100:2008 5.1.3, note 2 (from memory).
func Sensitivities(model func([]float64) float64, values, sds []float64) ([]float64, error) {
	if len(values) != len(sds) {
		return nil, fault.Bad("shape", "sds", "must have as many entries as values")
	}
	moved := append([]float64(nil), values...)
	out := make([]float64, len(values))
	for i, value := range values {
		step := sds[i]
		if !finite(value) || !finite(step) || step < 0 {
			return nil, fault.Bad("out_of_range", at("values", i, ""), "must be finite with a spread of at least 0")
		}
		if step == 0 {
			step = 1e-6 * math.Max(1, math.Abs(value))
		}
		moved[i] = value + step
		up := model(moved)
		moved[i] = value - step
		down := model(moved)
		moved[i] = value
		out[i] = (up - down) / (2 * step)
		if !finite(out[i]) {
			return nil, fault.Bad("out_of_range", at("values", i, ""), "makes the model give a result that is not finite")
		}
	}
	return out, nil
}

// Conformity is how probable it is that a value lies below, inside and above
// a band.
type Conformity struct {
	Low  float64 `json:"low"`
	In   float64 `json:"in"`
	High float64 `json:"high"`
}

// Conformance gives the probability that a measured value truly lies inside a
// band of tolerance, below it and above it.
//
// Shapes: one value with its spread, one band. An infinite limit makes the
// band one-sided.
// Units: value, sd and limits share one unit.
// Errors: out_of_range for a value or spread that is not finite or a negative
// spread; order unless low < high.
// Accuracy: 1e-15 absolute. Without spread a value on the limit is inside.
// Source: JCGM 106:2012 clause 7, normal distribution.
func Conformance(value, sd, low, high float64) (Conformity, error) {
	var c checks
	c.between("value", value, -1e300, 1e300)
	c.between("sd", sd, 0, 1e300)
	if !(low < high) {
		c.fail("order", "high", "must be above low")
	}
	if err := c.err(); err != nil {
		return Conformity{}, err
	}
	if sd == 0 {
		switch {
		case value < low:
			return Conformity{Low: 1}, nil
		case value > high:
			return Conformity{High: 1}, nil
		}
		return Conformity{In: 1}, nil
	}
	out := Conformity{Low: NormalCDF((low - value) / sd), High: NormalCDF((value - high) / sd)}
	out.In = math.Max(0, 1-out.Low-out.High)
	return out, nil
}

// GuardedUpper is the highest measured value that still lies below an upper
// limit with the wanted probability.
//
// Shapes: one limit, one spread, one probability.
// Units: limit, sd and result share one unit.
// Errors: out_of_range unless limit and sd are finite, sd >= 0 and
// 0 < probability < 1.
// Accuracy: 1e-14 relative.
// Source: JCGM 106:2012 clause 8: A_U = T_U - z·u.
func GuardedUpper(limit, sd, confidence float64) (float64, error) {
	var c checks
	c.between("limit", limit, -1e150, 1e150)
	c.between("sd", sd, 0, 1e150)
	if err := c.err(); err != nil {
		return 0, err
	}
	if err := probability("confidence", confidence); err != nil {
		return 0, err
	}
	return limit - float64(normalQuantile(confidence)*sd), nil
}
