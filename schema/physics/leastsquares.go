package physics

import (
	"errors"
	"math"
)

// errNoFit is returned by leastSquares when no damping makes the sum smaller
// or the parameters cannot be told apart.
var errNoFit = errors.New("no best fit found from this start")

// residuals is a problem for leastSquares: n residuals of m parameters.
//
// eval fills r (length n) and the rows of jac (n × m, the derivative of
// residual i by parameter j). It may leave values that are not finite; such
// a trial is refused.
type residuals struct {
	n, m int
	eval func(params, r []float64, jac [][]float64)
}

// squaresFit is where leastSquares stopped.
type squaresFit struct {
	params     []float64
	rss        float64
	upper      [][]float64 // R of the QR factors of the Jacobian at params
	iterations int
}

const (
	squaresTolerance = 1e-11 // a relative step below this ends the search
	squaresRounds    = 400   // both NIST problems need fewer than 40
)

// leastSquares minimises the sum of squared residuals from start by
// Levenberg's damped steps with Marquardt's scaling.
//
// Shapes: start has m entries, n ≥ m. Units: the caller's.
// Errors: errNoFit. Accuracy: steps are solved by Householder QR, which
// keeps twice the digits of normal equations; the search ends when the step
// is below 1e-11 of the parameters. Source: K. Levenberg, Quarterly of
// Applied Mathematics 2 (1944); D. Marquardt, SIAM Journal 11 (1963), both
// from memory; certified through ExponentialFit.
func leastSquares(p residuals, start []float64) (squaresFit, error) {
	params := append([]float64(nil), start...)
	trial := make([]float64, p.m)
	r, next := make([]float64, p.n), make([]float64, p.n)
	jac, work := matrix(p.n, p.m), matrix(p.n+p.m, p.m)
	right, step, scale := make([]float64, p.n+p.m), make([]float64, p.m), make([]float64, p.m)
	p.eval(params, r, jac)
	rss := sumSquares(r)
	if !finite(rss) {
		return squaresFit{}, errNoFit
	}
	damping, grow := 1.0, 2.0
	for round := 1; round <= squaresRounds && damping < 1e16; round++ {
		widenScale(scale, jac)
		dampedSystem(work, right, jac, r, scale, damping)
		if !solveHouseholder(work, right, step) {
			damping, grow = damping*grow, grow*2
			continue
		}
		expected := expectedDrop(step, scale, damping, jac)
		for j := range trial {
			trial[j] = params[j] + step[j]
		}
		p.eval(trial, next, jac)
		sum := sumSquares(next)
		// Near the minimum the sum changes by less than it can be computed;
		// refusing such steps would stop the search early.
		polished := math.Abs(sum-rss) <= float64(1e-12*rss)
		gain := (rss - sum) / expected
		if (polished || gain > 1e-3) && finiteRows(jac) {
			small := stepIsSmall(step, trial)
			copy(params, trial)
			copy(r, next)
			rss = sum
			if small {
				return finishSquares(params, rss, jac, round)
			}
			damping, grow = calmer(damping, gain, polished), 2
			continue
		}
		damping, grow = damping*grow, grow*2
		p.eval(params, r, jac)
	}
	return squaresFit{}, errNoFit
}

// expectedDrop is how much the sum of squares falls if the model is straight:
// |Jδ|² + 2λ|Dδ|².
func expectedDrop(step, scale []float64, damping float64, jac [][]float64) float64 {
	drop := 0.0
	for i := range jac {
		dot := 0.0
		for j := range step {
			dot += float64(jac[i][j] * step[j])
		}
		drop += float64(dot * dot)
	}
	for j := range step {
		move := scale[j] * step[j]
		drop += float64(2 * damping * move * move)
	}
	return drop
}

// calmer lowers the damping after a good step, the more the better the
// straight model foretold it (H. B. Nielsen 1999, from memory).
func calmer(damping, gain float64, polished bool) float64 {
	factor := 1.0 / 3
	if !polished {
		miss := float64(2*gain) - 1
		factor = math.Max(factor, 1-float64(miss*miss*miss))
	}
	return math.Max(damping*factor, 1e-16)
}

// finishSquares factors the last Jacobian, from which covariance follows.
func finishSquares(params []float64, rss float64, jac [][]float64, rounds int) (squaresFit, error) {
	m := len(params)
	step, right := make([]float64, m), make([]float64, len(jac))
	if !solveHouseholder(jac, right, step) {
		return squaresFit{}, errNoFit
	}
	return squaresFit{params: params, rss: rss, upper: jac[:m], iterations: rounds}, nil
}

// covariance returns (JᵀJ)⁻¹ of the fit: times the residual variance it is the
// covariance of the parameters.
func (f squaresFit) covariance() [][]float64 {
	m := len(f.params)
	inverse := matrix(m, m) // R⁻¹, column by column
	for c := 0; c < m; c++ {
		for i := c; i >= 0; i-- {
			sum := 0.0
			if i == c {
				sum = 1
			}
			for k := i + 1; k <= c; k++ {
				sum -= float64(f.upper[i][k] * inverse[k][c])
			}
			inverse[i][c] = sum / f.upper[i][i]
		}
	}
	cov := matrix(m, m)
	for i := 0; i < m; i++ {
		for j := 0; j < m; j++ {
			for k := max(i, j); k < m; k++ {
				cov[i][j] += float64(inverse[i][k] * inverse[j][k])
			}
		}
	}
	return cov
}

// widenScale keeps the largest column length seen, Marquardt's scaling.
func widenScale(scale []float64, jac [][]float64) {
	for j := range scale {
		sum := 0.0
		for i := range jac {
			sum += float64(jac[i][j] * jac[i][j])
		}
		if length := math.Sqrt(sum); length > scale[j] {
			scale[j] = length
		}
	}
}

// dampedSystem stacks the Jacobian on the damping rows; the right side is the
// negative residual.
func dampedSystem(work [][]float64, right []float64, jac [][]float64, r, scale []float64, damping float64) {
	n := len(jac)
	for i := range jac {
		copy(work[i], jac[i])
		right[i] = -r[i]
	}
	root := math.Sqrt(damping)
	for j := range scale {
		for k := range work[n+j] {
			work[n+j][k] = 0
		}
		work[n+j][j] = root * scale[j]
		right[n+j] = 0
	}
}

// solveHouseholder solves a·x ≈ b in the least squares sense, overwriting a by
// its R factor; it returns false if a column adds nothing.
func solveHouseholder(a [][]float64, b, x []float64) bool {
	n, m := len(a), len(x)
	for c := 0; c < m; c++ {
		norm := 0.0
		for i := c; i < n; i++ {
			norm = math.Hypot(norm, a[i][c])
		}
		if !(norm > 0) || math.IsInf(norm, 0) {
			return false
		}
		if a[c][c] > 0 {
			norm = -norm
		}
		pivot := a[c][c] - norm
		beta := -1 / float64(norm*pivot)
		reflect := func(get func(i int) *float64) {
			dot := float64(pivot * *get(c))
			for i := c + 1; i < n; i++ {
				dot += float64(a[i][c] * *get(i))
			}
			dot *= beta
			*get(c) -= float64(dot * pivot)
			for i := c + 1; i < n; i++ {
				*get(i) -= float64(dot * a[i][c])
			}
		}
		for k := c + 1; k < m; k++ {
			reflect(func(i int) *float64 { return &a[i][k] })
		}
		reflect(func(i int) *float64 { return &b[i] })
		a[c][c] = norm
	}
	for i := m - 1; i >= 0; i-- {
		sum := b[i]
		for k := i + 1; k < m; k++ {
			sum -= float64(a[i][k] * x[k])
		}
		x[i] = sum / a[i][i]
		if !finite(x[i]) {
			return false
		}
	}
	return true
}

// stepIsSmall compares each part of the step with its parameter.
func stepIsSmall(step, params []float64) bool {
	for j := range step {
		if math.Abs(step[j]) > float64(squaresTolerance*math.Abs(params[j])) {
			return false
		}
	}
	return true
}

func finiteRows(rows [][]float64) bool {
	for _, row := range rows {
		for _, v := range row {
			if !finite(v) {
				return false
			}
		}
	}
	return true
}

func sumSquares(r []float64) float64 {
	sum := 0.0
	for _, v := range r {
		sum += float64(v * v)
	}
	return sum
}

// matrix returns rows of zeros that share one block of memory.
func matrix(rows, columns int) [][]float64 {
	block := make([]float64, rows*columns)
	m := make([][]float64, rows)
	for i := range m {
		m[i] = block[i*columns : (i+1)*columns : (i+1)*columns]
	}
	return m
}
