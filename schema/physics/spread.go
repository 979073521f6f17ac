package physics

import "math"

// spread is a weighted sum of normal distributions; the weights add up to 1.
type spread struct{ weight, mean, sd []float64 }

// below is the chance of a value under x.
func (s *spread) below(x float64) float64 {
	sum := 0.0
	for i, w := range s.weight {
		// Six standard deviations off, a part is all or nothing to nine digits.
		switch z := (x - s.mean[i]) / s.sd[i]; {
		case z > 6.5:
			sum += w
		case z > -6.5:
			sum += float64(0.5 * w * math.Erfc(-z/math.Sqrt2))
		}
	}
	return sum
}

// density is the probability density at x.
func (s *spread) density(x float64) float64 {
	sum := 0.0
	for i, w := range s.weight {
		if z := (x - s.mean[i]) / s.sd[i]; z > -6.5 && z < 6.5 {
			sum += w * math.Exp(-0.5*float64(z*z)) / s.sd[i]
		}
	}
	return sum / math.Sqrt(2*math.Pi)
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

// quantiles returns the three quantiles.
func (s *spread) quantiles() Quantiles {
	mean, sd := s.moments()
	return Quantiles{
		P10: s.quantile(0.1, mean-float64(1.2815515655*sd), sd),
		P50: s.quantile(0.5, mean, sd),
		P90: s.quantile(0.9, mean+float64(1.2815515655*sd), sd),
	}
}

// quantile solves below(x) = q by Newton steps kept inside a bracket.
func (s *spread) quantile(q, x, sd float64) float64 {
	low, high := x-float64(12*sd), x+float64(12*sd)
	for range 60 {
		miss := s.below(x) - q
		if math.Abs(miss) < 1e-10 {
			return x
		}
		if miss > 0 {
			high = x
		} else {
			low = x
		}
		next := x - miss/s.density(x)
		if !(next > low && next < high) {
			next = 0.5 * (low + high)
		}
		if math.Abs(next-x) < 1e-10 {
			return next
		}
		x = next
	}
	return x
}
