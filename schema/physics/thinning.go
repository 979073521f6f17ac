package physics

import (
	"math"
	"sort"
)

const (
	// A surplus drains through the plug in 2-10 min, several time constants
	// (common practice, no source): the prior of one time constant.
	drainPriorS       = 90.0
	drainPriorLogSD   = 0.7
	surplusPriorLogSD = 3.0
	settledFraction   = 0.25 // settled: the excess is a quarter of what is expected
	thinningDraws     = 512
)

// thinning is a drip that falls exponentially toward the expected rate:
// rate(s) = expected + surplus·exp(-s/timeConstant), fitted to drop times.
type thinning struct {
	logSurplus, logTime, logExpected float64       // ln 1/s, ln s, ln 1/s
	factor                           [3][3]float64 // Cholesky factor of the covariance
	watchedS                         float64
}

// thinningPrior holds what is known before the first drop.
type thinningPrior struct{ mean, sd [3]float64 }

// fitThinning finds the most probable thinning and its spread by Fisher
// scoring of the Poisson likelihood; every step that would be worse is
// halved, and the number of steps is bounded.
func fitThinning(timesS []float64, watchedS float64, expected Normal) thinning {
	perS := math.Max(expected.Mean, 0.25*filmPerMin) / 60
	relative := math.Min(1, math.Max(0.05, expected.SD/60/perS))
	start := math.Max(2*float64(len(timesS))/watchedS-perS, perS)
	prior := thinningPrior{
		mean: [3]float64{math.Log(start), math.Log(drainPriorS), math.Log(perS)},
		sd:   [3]float64{surplusPriorLogSD, drainPriorLogSD, relative},
	}
	theta := prior.mean
	value := prior.density(theta, timesS, watchedS)
	for range 60 {
		information := prior.information(theta, watchedS)
		step, ok := solve3(information, prior.slope(theta, timesS, watchedS))
		if !ok {
			break
		}
		size := 1.0
		moved := false
		for range 30 {
			next := theta
			for i := range next {
				next[i] += float64(size * math.Max(-2, math.Min(2, step[i])))
			}
			if better := prior.density(next, timesS, watchedS); better > value {
				moved = better-value > 1e-13*math.Abs(value)
				theta, value = next, better
				break
			}
			size /= 2
		}
		if !moved {
			break
		}
	}
	fit := thinning{logSurplus: theta[0], logTime: theta[1], logExpected: theta[2], watchedS: watchedS}
	fit.factor = covarianceFactor(prior.information(theta, watchedS))
	return fit
}

// density is the logarithm of the posterior, up to a constant.
func (p thinningPrior) density(theta [3]float64, timesS []float64, watchedS float64) float64 {
	surplus, timeS, expected := math.Exp(theta[0]), math.Exp(theta[1]), math.Exp(theta[2])
	sum := -float64(expected*watchedS) - float64(surplus*timeS*-math.Expm1(-watchedS/timeS))
	for _, s := range timesS {
		sum += math.Log(expected + float64(surplus*math.Exp(-s/timeS)))
	}
	for i := range theta {
		z := (theta[i] - p.mean[i]) / p.sd[i]
		sum -= float64(0.5 * z * z)
	}
	if !finite(sum) {
		return math.Inf(-1)
	}
	return sum
}

// slope is the gradient of density.
func (p thinningPrior) slope(theta [3]float64, timesS []float64, watchedS float64) [3]float64 {
	surplus, timeS, expected := math.Exp(theta[0]), math.Exp(theta[1]), math.Exp(theta[2])
	q := watchedS / timeS
	decay := math.Exp(-q)
	g := [3]float64{
		-surplus * timeS * -math.Expm1(-q),
		-surplus * timeS * (-math.Expm1(-q) - float64(q*decay)),
		-expected * watchedS,
	}
	for _, s := range timesS {
		part := float64(surplus * math.Exp(-s/timeS))
		rate := expected + part
		g[0] += part / rate
		g[1] += part * (s / timeS) / rate
		g[2] += expected / rate
	}
	for i := range g {
		g[i] -= (theta[i] - p.mean[i]) / (p.sd[i] * p.sd[i])
	}
	return g
}

// information is the expected curvature: the integral of the products of
// the rate's derivatives over the rate (Simpson's rule), plus the prior's.
func (p thinningPrior) information(theta [3]float64, watchedS float64) [3][3]float64 {
	const intervals = 64
	surplus, timeS, expected := math.Exp(theta[0]), math.Exp(theta[1]), math.Exp(theta[2])
	var m [3][3]float64
	for k := range intervals + 1 {
		weight := 2.0
		switch {
		case k == 0 || k == intervals:
			weight = 1
		case k%2 == 1:
			weight = 4
		}
		s := watchedS * float64(k) / intervals
		part := float64(surplus * math.Exp(-s/timeS))
		d := [3]float64{part, part * (s / timeS), expected}
		scale := weight * watchedS / (3 * intervals) / (expected + part)
		for i := range d {
			for j := range d {
				m[i][j] += float64(scale * d[i] * d[j])
			}
		}
	}
	for i := range m {
		m[i][i] += 1 / (p.sd[i] * p.sd[i])
	}
	return m
}

// forecast turns the fit into the volume still above the lip at the end of
// the watch and the moment the drip has settled, over a fixed set of points
// spread evenly through the posterior.
func (t thinning) forecast(in DripJudgeInput) (Normal, Quantiles) {
	var sum, squares float64
	settles := make([]float64, thinningDraws)
	for k := range thinningDraws {
		z := [4]float64{haltonNormal(k+1, 2), haltonNormal(k+1, 3), haltonNormal(k+1, 5), haltonNormal(k+1, 7)}
		theta := [3]float64{t.logSurplus, t.logTime, t.logExpected}
		for i := range theta {
			for j := range i + 1 {
				theta[i] += float64(t.factor[i][j] * z[j])
			}
		}
		surplus := math.Exp(theta[0])
		timeS := math.Min(3600, math.Exp(theta[1]))
		drops := surplus * timeS * math.Exp(-t.watchedS/timeS)
		ml := float64(drops * in.DropUL / 1000 * math.Max(0.5, 1+float64(dropSpread*z[3])))
		sum += ml
		squares += float64(ml * ml)
		wanted := settledFraction * math.Max(filmPerMin/60, math.Exp(theta[2]))
		afterS := timeS * math.Log(surplus/wanted)
		settles[k] = in.Watched.FromS + math.Max(t.watchedS, math.Min(afterS, t.watchedS+4*3600))
	}
	mean := sum / thinningDraws
	sort.Float64s(settles)
	return Normal{Mean: mean, SD: math.Sqrt(math.Max(0, float64(squares/thinningDraws)-float64(mean*mean)))},
		Quantiles{P10: settles[thinningDraws/10], P50: settles[thinningDraws/2], P90: settles[thinningDraws*9/10]}
}

// haltonNormal is the k-th point of Halton's sequence in this base, as a
// standard normal value: evenly spread, and the same on every machine.
func haltonNormal(k, base int) float64 {
	fraction, value := 1.0, 0.0
	for k > 0 {
		fraction /= float64(base)
		value += float64(fraction * float64(k%base))
		k /= base
	}
	return normalQuantile(value)
}

// cholesky3 factors a symmetric positive definite matrix.
func cholesky3(m [3][3]float64) ([3][3]float64, bool) {
	var l [3][3]float64
	for i := range 3 {
		for j := range i + 1 {
			sum := m[i][j]
			for k := range j {
				sum -= float64(l[i][k] * l[j][k])
			}
			if i == j {
				if !(sum > 0) {
					return l, false
				}
				l[i][i] = math.Sqrt(sum)
			} else {
				l[i][j] = sum / l[j][j]
			}
		}
	}
	return l, true
}

// solve3 solves m·x = b for a symmetric positive definite m.
func solve3(m [3][3]float64, b [3]float64) ([3]float64, bool) {
	l, ok := cholesky3(m)
	if !ok {
		return b, false
	}
	for i := range 3 {
		for k := range i {
			b[i] -= float64(l[i][k] * b[k])
		}
		b[i] /= l[i][i]
	}
	for i := 2; i >= 0; i-- {
		for k := i + 1; k < 3; k++ {
			b[i] -= float64(l[k][i] * b[k])
		}
		b[i] /= l[i][i]
	}
	return b, true
}

// covarianceFactor is the Cholesky factor of the inverse of an information
// matrix; nothing where it cannot be inverted.
func covarianceFactor(information [3][3]float64) [3][3]float64 {
	var inverse [3][3]float64
	for j := range 3 {
		var unit [3]float64
		unit[j] = 1
		column, ok := solve3(information, unit)
		if !ok {
			return [3][3]float64{}
		}
		for i := range 3 {
			inverse[i][j] = column[i]
		}
	}
	factor, ok := cholesky3(inverse)
	if !ok {
		return [3][3]float64{}
	}
	return factor
}
