package physics

import "math"

// spread is a weighted sum of normal distributions; the weights add up to 1.
type spread struct{ weight, mean, sd []float64 }

// below returns the chance of a value under x and the density at x.
//
// Accuracy: 1e-7 in the chance. Source: Abramowitz and Stegun 26.2.17, from
// memory; tested against math.Erfc. It shares one exponential between both results,
// and this is where a forecast spends its time.
func (s *spread) below(x float64) (chance, density float64) {
	for i, w := range s.weight {
		z := (x - s.mean[i]) / s.sd[i]
		if z < -6 {
			continue
		}
		if z > 6 {
			chance += w
			continue
		}
		bell := math.Exp(-0.5*float64(z*z)) * (1 / math.SqrtPi / math.Sqrt2)
		density += w * bell / s.sd[i]
		t := 1 / (1 + float64(0.2316419*math.Abs(z)))
		tail := float64(t*1.330274429) - 1.821255978
		tail = float64(t*tail) + 1.781477937
		tail = float64(t*tail) - 0.356563782
		tail = float64(t*tail) + 0.319381530
		tail = float64(tail * t * bell)
		if z > 0 {
			tail = 1 - tail
		}
		chance += float64(w * tail)
	}
	return chance, density
}

// moments returns mean and standard deviation.
func (s *spread) moments() (mean, sd float64) {
	square := 0.0
	for i, w := range s.weight {
		mean += float64(w * s.mean[i])
	}
	for i, w := range s.weight {
		off := s.mean[i] - mean
		square += float64(w * (float64(off*off) + float64(s.sd[i]*s.sd[i])))
	}
	return mean, math.Sqrt(square)
}

// standing is where the quantiles of a spread stand, in its standard deviations.
type standing struct{ p10, p50, p90 float64 }

// bellStanding is that of a single normal distribution.
func bellStanding() standing { return standing{-1.2815515655446, 0, 1.2815515655446} }

// quantiles returns the three quantiles. The search starts from the standing in a
// similar spread, and leaves the new standing there.
func (s *spread) quantiles(like *standing) Quantiles {
	mean, sd := s.moments()
	q := Quantiles{
		P10: s.quantile(0.1, mean+float64(like.p10*sd), sd),
		P50: s.quantile(0.5, mean+float64(like.p50*sd), sd),
		P90: s.quantile(0.9, mean+float64(like.p90*sd), sd),
	}
	*like = standing{(q.P10 - mean) / sd, (q.P50 - mean) / sd, (q.P90 - mean) / sd}
	return q
}

// quantile finds where the chance is q by Newton steps kept inside a bracket.
func (s *spread) quantile(q, x, sd float64) float64 {
	low, high := x-float64(12*sd), x+float64(12*sd)
	for range 60 {
		chance, density := s.below(x)
		miss := chance - q
		if miss > 0 {
			high = x
		} else {
			low = x
		}
		next := x - miss/density
		if !(next > low && next < high) {
			next = 0.5 * (low + high)
		}
		// Newton doubles the digits: a step this small leaves none to correct.
		if math.Abs(next-x) < 1e-6*sd {
			return next
		}
		x = next
	}
	return x
}
