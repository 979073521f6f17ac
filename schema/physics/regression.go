package physics

import "math"

// linearFit is the weighted least-squares solution of y = Σ b·column, with
// the covariance that known spreads of y imply.
type linearFit struct {
	b          []float64
	covariance [][]float64
	chiSquare  float64
	degrees    int
}

// fitLinear solves a linear least-squares problem with known spreads by
// orthogonalising the columns twice (modified Gram-Schmidt), which keeps all
// digits that the data carry. It reports false where the columns do not
// determine the coefficients.
func fitLinear(columns [][]float64, y, sds []float64) (linearFit, bool) {
	rows, unknowns := len(y), len(columns)
	if rows < unknowns || unknowns == 0 {
		return linearFit{}, false
	}
	q := make([][]float64, unknowns)
	r := make([][]float64, unknowns)
	for j := range columns {
		q[j] = weightedCopy(columns[j], sds)
		r[j] = make([]float64, unknowns)
		before := math.Sqrt(dot(q[j], q[j]))
		for range 2 {
			for k := range j {
				share := dot(q[k], q[j])
				r[k][j] += share
				subtract(q[j], share, q[k])
			}
		}
		r[j][j] = math.Sqrt(dot(q[j], q[j]))
		if !(r[j][j] > 1e-9*before) || !finite(r[j][j]) {
			return linearFit{}, false
		}
		for i := range q[j] {
			q[j][i] /= r[j][j]
		}
	}
	rest := weightedCopy(y, sds)
	right := make([]float64, unknowns)
	for range 2 {
		for j := range q {
			share := dot(q[j], rest)
			right[j] += share
			subtract(rest, share, q[j])
		}
	}
	fit := linearFit{b: backward(r, right), chiSquare: dot(rest, rest), degrees: rows - unknowns}
	fit.covariance = covarianceOf(r)
	return fit, true
}

// weightedCopy divides each entry by its spread.
func weightedCopy(values, sds []float64) []float64 {
	out := make([]float64, len(values))
	for i := range values {
		out[i] = values[i] / sds[i]
	}
	return out
}

// dot is the sum of products.
func dot(a, b []float64) float64 {
	sum := 0.0
	for i := range a {
		sum += float64(a[i] * b[i])
	}
	return sum
}

// subtract takes a multiple of b away from a, in place.
func subtract(a []float64, share float64, b []float64) {
	for i := range a {
		a[i] -= float64(share * b[i])
	}
}

// backward solves r·x = right for an upper triangle.
func backward(r [][]float64, right []float64) []float64 {
	x := make([]float64, len(right))
	for i := len(right) - 1; i >= 0; i-- {
		sum := right[i]
		for k := i + 1; k < len(right); k++ {
			sum -= float64(r[i][k] * x[k])
		}
		x[i] = sum / r[i][i]
	}
	return x
}

// covarianceOf is the inverse of rᵀr.
func covarianceOf(r [][]float64) [][]float64 {
	n := len(r)
	inverse := make([][]float64, n) // columns of the inverse of r
	for j := range n {
		unit := make([]float64, n)
		unit[j] = 1
		inverse[j] = backward(r, unit)
	}
	out := make([][]float64, n)
	for i := range n {
		out[i] = make([]float64, n)
		for j := range n {
			for k := range n {
				out[i][j] += float64(inverse[k][i] * inverse[k][j])
			}
		}
	}
	return out
}
