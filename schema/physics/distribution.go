package physics

import (
	"math"

	"brimline/schema/fault"
)

// NormalCDF is the probability that a standard normal variable is at most z.
//
// Shapes: one number.
// Units: standard deviations in, probability out.
// Errors: none; NaN stays NaN.
// Accuracy: 1e-15 relative down to z = -37.
// Source: definition, by the complementary error function.
func NormalCDF(z float64) float64 { return float64(0.5 * math.Erfc(-z/math.Sqrt2)) }

// NormalQuantile is the z below which a standard normal variable falls with
// probability p.
//
// Shapes: one number.
// Units: probability in, standard deviations out.
// Errors: out_of_range on p unless 0 < p < 1.
// Accuracy: 1e-14 relative away from p = 0.5.
// Source: inverse of NormalCDF; one Halley step polishes the tails.
func NormalQuantile(p float64) (float64, error) {
	if err := probability("p", p); err != nil {
		return 0, err
	}
	return normalQuantile(p), nil
}

// normalQuantile is NormalQuantile for a p known to lie between 0 and 1.
func normalQuantile(p float64) float64 {
	if p > 0.5 {
		return -normalQuantile(1 - p)
	}
	z := math.Sqrt2 * math.Erfinv(2*p-1)
	if p < 1e-6 {
		// 2p-1 has lost p's last digits: start from the leading term of the tail.
		t := math.Sqrt(-2 * math.Log(p))
		z = -t + math.Log(t*math.Sqrt(2*math.Pi))/t
	}
	for range 6 {
		density := math.Exp(-0.5*z*z) / math.Sqrt(2*math.Pi)
		step := (NormalCDF(z) - p) / density
		z -= step / (1 + float64(0.5*z*step))
		if math.Abs(step) <= 1e-16*math.Abs(z) {
			break
		}
	}
	return z
}

// probability requires 0 < p < 1.
func probability(field string, p float64) error {
	if !(p > 0 && p < 1) {
		return fault.Bad("out_of_range", field, "must lie between 0 and 1, both excluded")
	}
	return nil
}

// gammaLower is the regularised lower incomplete gamma function P(a, x) for
// a > 0, by its series below the mean and a continued fraction above.
// Source: Abramowitz and Stegun 6.5.29 and 6.5.31 (from memory).
func gammaLower(a, x float64) float64 {
	if x <= 0 {
		return 0
	}
	if math.IsInf(x, 1) {
		return 1
	}
	logGamma, _ := math.Lgamma(a)
	front := math.Exp(float64(a*math.Log(x)) - x - logGamma)
	if x < a+1 {
		term := 1 / a
		sum := term
		for n := 1.0; n < 10000; n++ {
			term = float64(term * (x / (a + n)))
			sum += term
			if term < sum*1e-17 {
				break
			}
		}
		return math.Min(1, front*sum)
	}
	return 1 - math.Min(1, front*gammaFraction(a, x))
}

// gammaFraction is the continued fraction of the upper incomplete gamma
// function, by the modified Lentz method.
func gammaFraction(a, x float64) float64 {
	const tiny = 1e-300
	b := x + 1 - a
	c := 1 / tiny
	d := 1 / b
	h := d
	for i := 1.0; i < 10000; i++ {
		an := -i * (i - a)
		b += 2
		d = float64(an*d) + b
		if math.Abs(d) < tiny {
			d = tiny
		}
		c = b + an/c
		if math.Abs(c) < tiny {
			c = tiny
		}
		d = 1 / d
		h *= d * c
		if math.Abs(float64(d*c)-1) < 1e-16 {
			break
		}
	}
	return h
}

// gammaQuantile is the x at which gammaLower(a, x) is p: the quantile of a
// gamma variable of shape a and scale 1. It brackets and halves; the bracket
// follows from the mean and variance, so that the steps are bounded.
func gammaQuantile(p, a float64) float64 {
	low, high := 0.0, a+1
	for gammaLower(a, high) < p && high < 1e12 {
		low = high
		high *= 2
	}
	// Wilson and Hilferty 1931: the cube root is nearly normal.
	x := a * math.Pow(math.Max(0, 1-1/(9*a)+normalQuantile(p)/(3*math.Sqrt(a))), 3)
	logGamma, _ := math.Lgamma(a)
	for range 200 {
		if !(x > low && x < high) {
			x = 0.5 * (low + high)
		}
		miss := gammaLower(a, x) - p
		if miss > 0 {
			high = x
		} else {
			low = x
		}
		slope := math.Exp(float64((a-1)*math.Log(x)) - x - logGamma)
		next := x - miss/slope
		if math.Abs(next-x) <= 1e-15*x || high-low <= 1e-15*high {
			break
		}
		x = next
	}
	return x
}

// ChiSquareQuantile is the value below which a chi-square variable falls with
// probability p.
//
// Shapes: two numbers.
// Units: probability and degrees of freedom in; the variable out.
// Errors: out_of_range unless 0 < p < 1 and 0 < degrees <= 1e6.
// Accuracy: 1e-12 relative for degrees of freedom up to 1e4.
// Source: quantile of the gamma distribution of shape degrees/2 and scale 2
// (definition).
func ChiSquareQuantile(p, degrees float64) (float64, error) {
	if err := probability("p", p); err != nil {
		return 0, err
	}
	var c checks
	c.above("degrees", degrees, 0, 1e6)
	if err := c.err(); err != nil {
		return 0, err
	}
	return 2 * gammaQuantile(p, degrees/2), nil
}

// PoissonLimits are the exact two-sided limits of the mean of a Poisson
// variable of which events were counted.
//
// Shapes: one count, one confidence.
// Units: events (the mean over the time they were counted in).
// Errors: out_of_range unless 0 <= events <= 1e5 and 0 < confidence < 1.
// Accuracy: 1e-12 relative.
// Source: Garwood, Biometrika 28 (1936) 437: half the chi-square quantiles
// with 2n and 2n+2 degrees of freedom.
func PoissonLimits(events int, confidence float64) (low, high float64, err error) {
	if err := probability("confidence", confidence); err != nil {
		return 0, 0, err
	}
	if events < 0 || events > 100000 {
		return 0, 0, fault.Bad("out_of_range", "events", "must lie between 0 and 100000")
	}
	tail := float64(0.5 * (1 - confidence))
	n := float64(events)
	if events > 0 {
		low = gammaQuantile(tail, n)
	}
	return low, gammaQuantile(1-tail, n+1), nil
}

// StudentCDF is the probability that a Student t variable is at most t.
//
// Shapes: two numbers.
// Units: t and degrees of freedom in, probability out.
// Errors: out_of_range unless t is finite and 0 < degrees <= 1e6.
// Accuracy: 1e-12 absolute up to 1000 degrees of freedom, 1e-8 beyond.
// Source: incomplete beta function, Abramowitz and Stegun 26.7.1 (from memory).
func StudentCDF(t, degrees float64) (float64, error) {
	var c checks
	c.between("t", t, -1e150, 1e150)
	c.above("degrees", degrees, 0, 1e6)
	if err := c.err(); err != nil {
		return 0, err
	}
	return studentCDF(t, degrees), nil
}

// studentCDF is StudentCDF for arguments known to be in range.
func studentCDF(t, degrees float64) float64 {
	tail := float64(0.5 * betaRatio(0.5*degrees, 0.5, degrees/(degrees+float64(t*t))))
	if t > 0 {
		return 1 - tail
	}
	return tail
}

// StudentQuantile is the value below which a Student t variable falls with
// probability p.
//
// Shapes: two numbers.
// Units: probability and degrees of freedom in, t out.
// Errors: out_of_range unless 1e-9 <= p <= 1-1e-9 and 0.5 <= degrees <= 1e6.
// Accuracy: 1e-10 relative up to 1000 degrees of freedom and away from p = 0.5.
// Source: inverse of StudentCDF by bisection.
func StudentQuantile(p, degrees float64) (float64, error) {
	var c checks
	c.between("p", p, 1e-9, 1-1e-9)
	c.between("degrees", degrees, 0.5, 1e6)
	if err := c.err(); err != nil {
		return 0, err
	}
	if p == 0.5 {
		return 0, nil
	}
	if p > 0.5 {
		t, err := StudentQuantile(1-p, degrees)
		return -t, err
	}
	low, high := -1.0, 0.0
	for studentCDF(low, degrees) > p {
		high = low
		low *= 2
	}
	for range 200 {
		mid := 0.5 * (low + high)
		if mid == low || mid == high {
			break
		}
		if studentCDF(mid, degrees) > p {
			high = mid
		} else {
			low = mid
		}
	}
	return 0.5 * (low + high), nil
}

// betaRatio is the regularised incomplete beta function I_x(a, b), by the
// continued fraction of Abramowitz and Stegun 26.5.8 (from memory).
func betaRatio(a, b, x float64) float64 {
	if x <= 0 {
		return 0
	}
	if x >= 1 {
		return 1
	}
	la, _ := math.Lgamma(a)
	lb, _ := math.Lgamma(b)
	lab, _ := math.Lgamma(a + b)
	front := math.Exp(lab - la - lb + float64(a*math.Log(x)) + float64(b*math.Log1p(-x)))
	if x > (a+1)/(a+b+2) { // the fraction converges fast on the other side
		return 1 - front*betaFraction(b, a, 1-x)/b
	}
	return front * betaFraction(a, b, x) / a
}

// betaFraction is the continued fraction of betaRatio, by the modified Lentz
// method.
func betaFraction(a, b, x float64) float64 {
	const tiny = 1e-300
	c := 1.0
	d := 1 / keepAway(1-(a+b)*x/(a+1), tiny)
	h := d
	for m := 1.0; m < 10000; m++ {
		even := m * (b - m) * x / ((a + 2*m - 1) * (a + 2*m))
		d = 1 / keepAway(1+float64(even*d), tiny)
		c = keepAway(1+even/c, tiny)
		h *= d * c
		odd := -(a + m) * (a + b + m) * x / ((a + 2*m) * (a + 2*m + 1))
		d = 1 / keepAway(1+float64(odd*d), tiny)
		c = keepAway(1+odd/c, tiny)
		h *= d * c
		if math.Abs(float64(d*c)-1) < 1e-16 {
			break
		}
	}
	return h
}

// keepAway replaces a value too close to zero to divide by.
func keepAway(x, tiny float64) float64 {
	if math.Abs(x) < tiny {
		return tiny
	}
	return x
}
