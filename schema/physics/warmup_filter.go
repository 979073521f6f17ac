package physics

import "math"

// pace is one guess of how fast a gearbox warms: its time constant and, once
// the engine has run onsetS, how many times faster a coolant-fed warmer makes it.
type pace struct {
	timeS, onsetS, factor float64
}

// filter is a Kalman filter for one pace. Given the pace the model is linear in
// the temperature and the rise, so two means and three covariances say all.
type filter struct {
	pace
	tempC, riseC      float64
	varT, covTR, varR float64
	logWeight         float64
}

// pass lets a stretch of time go by.
func (f *filter) pass(s stretch, ambientC float64) {
	keep := math.Exp(-s.pacedS(f.onsetS, f.factor) / f.timeS)
	gain := 1 - keep
	before := f.tempC
	// Even a good model is not exact; so old readings slowly lose weight.
	f.varT += float64(driftVarPerS * s.dtS)
	if !s.on {
		f.tempC = float64(keep*f.tempC) + float64(gain*ambientC)
		f.covTR *= keep
		f.varT *= keep * keep
	} else {
		f.tempC = float64(keep*f.tempC) + float64(gain*(ambientC+f.riseC))
		f.varT = float64(keep*keep*f.varT) + float64(2*keep*gain*f.covTR) + float64(gain*gain*f.varR)
		f.covTR = float64(keep*f.covTR) + float64(gain*f.varR)
	}
	if !s.on || s.driving {
		// Neither cooling nor driving is what the time constant was learned for.
		change := 0.3 * (f.tempC - before)
		f.varT += float64(change * change)
	}
}

// driftVarPerS lets the true temperature wander 0.1 °C in ten minutes.
const driftVarPerS = 0.1 * 0.1 / 600

// mix pours fluid in: part of the way to its temperature, by an uncertain mass.
func (f *filter) mix(a FluidAddition, activeML, relativeSD float64) {
	share := a.VolumeML / (a.VolumeML + activeML)
	// The case shares some of its heat at once, so the fluid falls a little less.
	step := 0.9 * share * (f.tempC - a.TempC)
	left := 1 - float64(0.9*share)
	f.tempC -= step
	f.varT = float64(left*left*f.varT) + float64(relativeSD*relativeSD*step*step)
	f.covTR *= left
}

// read takes in a reading and returns the log likelihood it had.
func (f *filter) read(tempC, variance float64) float64 {
	total := f.varT + variance
	miss := tempC - f.tempC
	gainT, gainR := f.varT/total, f.covTR/total
	f.tempC += float64(gainT * miss)
	f.riseC += float64(gainR * miss)
	f.varR -= float64(gainR * f.covTR)
	f.covTR -= float64(gainT * f.covTR)
	f.varT -= float64(gainT * f.varT)
	return -0.5 * (math.Log(2*math.Pi*total) + float64(miss*miss)/total)
}

// end does what happens at the end of a step; slip leaves its reading out.
func (f *filter) end(p timeline, s timeStep, slip bool) {
	if s.pour != nil {
		f.mix(*s.pour, p.activeML, p.volumeSD)
	}
	f.varT += float64(s.kickSDC * s.kickSDC)
	if s.reading < 0 {
		return
	}
	if slip {
		f.logWeight += math.Log(slipShare * slipDensityPerC)
		return
	}
	r := p.filed[s.reading]
	f.logWeight += math.Log(1-slipShare) + f.read(r.tempC, r.variance)
}

// run takes the filter through the whole check; slips has bit i set where
// filed reading i counts as mistyped.
func (f *filter) run(p timeline, slips uint64) {
	for _, s := range p.steps {
		if s.dtS > 0 {
			f.pass(s.stretch, p.ambientC)
		}
		f.end(p, s, s.reading >= 0 && slips>>uint(s.reading)&1 == 1)
	}
}

// logSumExp adds weights given by their logarithms.
func logSumExp(logs []float64) float64 {
	top := math.Inf(-1)
	for _, l := range logs {
		top = math.Max(top, l)
	}
	if math.IsInf(top, -1) {
		return top
	}
	sum := 0.0
	for _, l := range logs {
		sum += math.Exp(l - top)
	}
	return top + math.Log(sum)
}
