package physics

import "math"

// pace is one guess of how fast a gearbox warms: its time constant; how many
// times faster (or slower) it warms once the engine has run onsetS; and how
// long the engine has run before warming shows.
type pace struct {
	timeS, onsetS, factor, delayS float64
}

// filter is a Kalman filter for one pace. Given the pace the model is linear in
// the temperature and the rise, so two means and three covariances say all.
type filter struct {
	pace
	tempC, riseC      float64
	varT, covTR, varR float64

	prior    float64 // log weight before the readings
	variance float64 // product of the variances the readings were expected with
	misfit   float64 // sum of the squared misses in those variances
}

// logWeight is the log of the prior and the likelihood of all readings so far.
func (f *filter) logWeight() float64 { return f.prior - float64(0.5*(math.Log(f.variance)+f.misfit)) }

// The truth wanders 0.04 °C and the rise 0.3 °C in ten minutes. That is little beside
// the prior; it keeps a long row of readings from proving too much.
const (
	driftVarPerS     = 0.04 * 0.04 / 600
	riseDriftVarPerS = 0.3 * 0.3 / 600
)

// pass lets a stretch of time go by.
func (f *filter) pass(s *stretch, ambientC float64) {
	length := s.pacedS(&f.pace) / f.timeS
	keep := math.Exp(-length)
	gain := 1 - keep
	endC := ambientC
	// Even a good model is not exact; so old readings slowly lose weight.
	f.varT += float64(driftVarPerS * s.dtS)
	if s.on {
		endC += f.riseC
		f.varR += float64(riseDriftVarPerS * s.dtS)
		f.varT = float64(keep*keep*f.varT) + float64(2*keep*gain*f.covTR) + float64(gain*gain*f.varR)
		f.covTR = float64(keep*f.covTR) + float64(gain*f.varR)
	} else {
		f.varT *= keep * keep
		f.covTR *= keep
	}
	if !s.on || s.driving {
		// The time constant was learned at idle: here its logarithm is in doubt by 0.5,
		// which moves the temperature by that times T's derivative.
		doubt := 0.5 * length * keep * (endC - f.tempC)
		f.varT += float64(doubt * doubt)
	}
	f.tempC = float64(keep*f.tempC) + float64(gain*endC)
}

// mix pours fluid in: part of the way to its temperature, by an uncertain mass.
func (f *filter) mix(a FluidAddition, activeML, relativeSD float64) {
	share := a.VolumeML / (a.VolumeML + activeML)
	// The case shares some of its heat at once, so the fluid falls a little less.
	step := float64(0.9 * share * (f.tempC - a.TempC))
	left := 1 - float64(0.9*share)
	f.tempC -= step
	f.varT = float64(left*left*f.varT) + float64(relativeSD*relativeSD*step*step)
	f.covTR *= left
}

// read takes in a reading.
func (f *filter) read(tempC, variance float64) {
	total := f.varT + variance
	miss := tempC - f.tempC
	gainT, gainR := f.varT/total, f.covTR/total
	f.tempC += float64(gainT * miss)
	f.riseC += float64(gainR * miss)
	f.varR -= float64(gainR * f.covTR)
	f.covTR -= float64(gainT * f.covTR)
	f.varT -= float64(gainT * f.varT)
	f.variance *= total
	f.misfit += miss * miss / total
	if f.variance > 1e200 || f.variance < 1e-200 {
		f.prior -= float64(0.5 * math.Log(f.variance))
		f.variance = 1
	}
}

// Log likelihoods of a reading apart from its misfit.
const (
	logTrue = -0.95976052771770 // ln((1 − slipShare)/√(2π))
	logSlip = -7.13089883029635 // ln(slipShare · slipDensityPerC)
)

// end does what happens at the end of a step; slip leaves its reading out.
func (f *filter) end(p *timeline, s *timeStep, slip bool) {
	if s.pour != nil {
		f.mix(*s.pour, p.activeML, p.volumeSD)
	}
	f.varT += float64(s.kickSDC * s.kickSDC)
	switch {
	case s.reading < 0:
	case slip:
		f.prior += logSlip
	default:
		f.prior += logTrue
		f.read(p.filed[s.reading].tempC, p.filed[s.reading].variance)
	}
}

// run takes the filter through the whole check; slips has bit i set where
// filed reading i counts as mistyped.
func (f *filter) run(p *timeline, slips uint64) {
	for i := range p.steps {
		s := &p.steps[i]
		if s.dtS > 0 {
			f.pass(&s.stretch, p.ambientC)
		}
		f.end(p, s, s.reading >= 0 && slips>>uint(s.reading)&1 == 1)
	}
}

// logSumExp adds weights given by their logarithms.
func logSumExp(logs []float64) float64 {
	top := math.Inf(-1)
	for _, l := range logs {
		if l > top {
			top = l
		}
	}
	if math.IsInf(top, -1) {
		return top
	}
	sum := 0.0
	for _, l := range logs {
		if l > top-40 { // the rest is beyond the last digit
			sum += math.Exp(l - top)
		}
	}
	return top + math.Log(sum)
}
