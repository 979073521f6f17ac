package physics

import "math"

// ExponentialFitInput is a series of points and a start for the search.
type ExponentialFitInput struct {
	X     []float64 `json:"x"`
	Y     []float64 `json:"y"`
	Start []float64 `json:"start"`
}

// ExponentialFitOutput is the best curve through the points.
type ExponentialFitOutput struct {
	B          []float64 `json:"b"`
	SD         []float64 `json:"sd"`
	ResidualSD float64   `json:"residual_sd"`
	RSS        float64   `json:"rss"`
	Iterations int       `json:"iterations"`
}

// ExponentialFit fits y = b1·(1 − exp(−b2·x)) to points by least squares.
//
// Shapes: x and y have the same length, 3 to 10,000; start holds b1 and b2,
// neither of them zero. The result's b and sd hold two numbers each.
// Units: b1 in the unit of y, b2 in one over the unit of x; sd in the unit of
// its parameter, from the curvature at the minimum and n − 2 degrees of
// freedom.
// Errors: length, out_of_range (a number that is not finite or beyond 1e12),
// no_fit on "start" when the search finds no minimum from there or the points
// cannot tell b1 from b2.
// Accuracy: at least 8 digits in b, sd, residual_sd and rss on both NIST
// problems from both starts; fewer where points lie on the curve exactly and
// rss is rounding error alone.
// Source: NIST StRD nonlinear regression, Misra1a and BoxBOD.
//
// The search runs twice: from the start as given, and from the b1 that fits
// best for the given b2; the lower sum wins. BoxBOD's first start leads a
// single damped search onto the plateau of a large b2.
func ExponentialFit(in ExponentialFitInput) (ExponentialFitOutput, error) {
	if err := in.check(); err != nil {
		return ExponentialFitOutput{}, err
	}
	given, errGiven := in.fit(in.Start)
	eased, errEased := in.fit([]float64{in.bestScale(in.Start[1]), in.Start[1]})
	switch {
	case errEased == nil && (errGiven != nil || eased.RSS < given.RSS):
		return eased, nil
	case errGiven == nil:
		return given, nil
	}
	var c checks
	c.fail("no_fit", "start", "no best fit was found from here; start nearer, or give points that bend")
	return ExponentialFitOutput{}, c.err()
}

// fit searches from one start and refuses to end on a plateau, where a spread
// is a million times its value.
func (in ExponentialFitInput) fit(start []float64) (ExponentialFitOutput, error) {
	fit, err := leastSquares(residuals{n: len(in.X), m: 2, eval: in.residuals}, start)
	if err != nil {
		return ExponentialFitOutput{}, err
	}
	variance := fit.rss / float64(len(in.X)-2)
	cov := fit.covariance()
	out := ExponentialFitOutput{
		B:          fit.params,
		SD:         []float64{math.Sqrt(variance * cov[0][0]), math.Sqrt(variance * cov[1][1])},
		ResidualSD: math.Sqrt(variance),
		RSS:        fit.rss,
		Iterations: fit.iterations,
	}
	if !(out.SD[0] <= 1e6*math.Abs(out.B[0]) && out.SD[1] <= 1e6*math.Abs(out.B[1])) {
		return ExponentialFitOutput{}, errNoFit
	}
	return out, nil
}

// bestScale is the b1 that fits best for a given b2: b1 enters linearly.
func (in ExponentialFitInput) bestScale(b2 float64) float64 {
	var xy, xx float64
	for i, x := range in.X {
		fade := -math.Expm1(-b2 * x)
		xy += float64(fade * in.Y[i])
		xx += float64(fade * fade)
	}
	return xy / xx
}

func (in ExponentialFitInput) check() error {
	var c checks
	if len(in.X) < 3 {
		c.fail("length", "x", "must have at least 3 entries")
	}
	c.count("x", len(in.X), 10_000)
	if len(in.Y) != len(in.X) {
		c.fail("length", "y", "must have as many entries as x")
	}
	if len(in.Start) != 2 {
		c.fail("length", "start", "must hold b1 and b2")
	}
	if err := c.err(); err != nil {
		return err
	}
	for i := range in.X {
		c.between(at("x", i, ""), in.X[i], -1e12, 1e12)
		c.between(at("y", i, ""), in.Y[i], -1e12, 1e12)
	}
	for i, b := range in.Start {
		c.between(at("start", i, ""), b, -1e12, 1e12)
		if b == 0 {
			c.fail("out_of_range", at("start", i, ""), "must not be 0: the search could not leave it")
		}
	}
	return c.err()
}

// residuals fills model minus point and its derivatives.
func (in ExponentialFitInput) residuals(b, r []float64, jac [][]float64) {
	for i, x := range in.X {
		fade := -math.Expm1(-b[1] * x) // 1 − exp(−b2·x) without cancellation
		r[i] = float64(b[0]*fade) - in.Y[i]
		jac[i][0] = fade
		jac[i][1] = b[0] * x * math.Exp(-b[1]*x)
	}
}
