package physics

import "math"

// outlook computes what the belief says of now and of the time ahead.
func (m warmupMixture) outlook(in WarmupForecastInput, p *timeline, horizonS float64) WarmupForecastOutput {
	var out WarmupForecastOutput
	r := m.newRoad(p, math.Max(horizonS, in.NowS+lookaheadS))
	now := r.spreadAt(in.NowS)
	like := bellStanding()
	out.NowC = now.quantiles(&like)
	out.RateCPerMin = m.rate(p)
	out.Model = m.model()
	low := r.reach(in.Window.LowC, horizonS)
	high := r.reach(in.Window.HighC, horizonS)
	out.ReachesLowS, out.ReachesHighS = low.times, high.times
	switch {
	case high.past:
		out.Codes = append(out.Codes, "above_high")
	case low.past:
		out.Codes = append(out.Codes, "in_window")
	case low.times == nil:
		out.Codes = append(out.Codes, "never_low")
	}
	if !high.past && high.times == nil {
		out.Codes = append(out.Codes, "never_high")
	}
	if in.RemainingS != nil {
		fits := 0.0
		if !high.past {
			fits = r.fits(in.Window.HighC, *in.RemainingS)
		}
		out.FitsProbability = &fits
	}
	out.Curve = r.curve(horizonS)
	return out
}

// rate is the present warming, over all paces and rises.
func (m warmupMixture) rate(p *timeline) Normal {
	state, ranS := p.stateAt(p.nowS)
	s := stretch{dtS: 1, on: state != "off", driving: state == "driving", onFromS: ranS, onToS: ranS}
	if s.on {
		s.onToS++
	}
	var mean, square float64
	for _, f := range m.parts {
		perMin := 60 * s.pacedS(&f.pace) / f.timeS
		slope, variance := p.ambientC-f.tempC, f.varT
		if s.on {
			slope += f.riseC
			variance += f.varR - float64(2*f.covTR)
		}
		slope *= perMin
		mean += float64(f.weight * slope)
		square += float64(f.weight * (float64(slope*slope) + float64(perMin*perMin*math.Max(0, variance))))
	}
	return Normal{Mean: mean, SD: math.Sqrt(math.Max(0, square-float64(mean*mean)))}
}

// model is the belief about rise, time constant and warmer after the readings.
func (m warmupMixture) model() WarmupBelief {
	var rise, riseSquare, time, timeSquare, logs, logSquare, cross float64
	for _, f := range m.parts {
		l := math.Log(f.timeS)
		rise += float64(f.weight * f.riseC)
		riseSquare += float64(f.weight * (float64(f.riseC*f.riseC) + f.varR))
		time += float64(f.weight * f.timeS)
		timeSquare += float64(f.weight * f.timeS * f.timeS)
		logs += float64(f.weight * l)
		logSquare += float64(f.weight * l * l)
		cross += float64(f.weight * l * f.riseC)
	}
	riseVariance := math.Max(0, riseSquare-float64(rise*rise))
	correlation := 0.0 // also where there is no more than rounding
	if spread := riseVariance * (logSquare - float64(logs*logs)); spread > 1e-12 && math.Abs(cross-float64(logs*rise)) > 1e-9*math.Sqrt(spread) {
		correlation = math.Max(-0.99, math.Min(0.99, (cross-float64(logs*rise))/math.Sqrt(spread)))
	}
	return WarmupBelief{
		RiseC:         Normal{Mean: rise, SD: math.Sqrt(riseVariance)},
		TimeConstantS: Normal{Mean: time, SD: math.Sqrt(math.Max(0, timeSquare-float64(time*time)))},
		Correlation:   &correlation,
		Warmer:        m.warmer(),
	}
}

// warmer is the belief about a coolant-fed warmer; onset and strength hold for the
// case that there is one.
func (m warmupMixture) warmer() *WarmerBelief {
	var share, onset, onsetSquare, factor, factorSquare float64
	for _, f := range m.parts {
		if f.factor <= 1 {
			continue
		}
		share += f.weight
		onset += float64(f.weight * f.onsetS)
		onsetSquare += float64(f.weight * f.onsetS * f.onsetS)
		factor += float64(f.weight * f.factor)
		factorSquare += float64(f.weight * f.factor * f.factor)
	}
	if share < 1e-6 {
		return &WarmerBelief{Probability: math.Min(1, m.warmed), OnsetS: Normal{Mean: 330, SD: 160}, Factor: Normal{Mean: 1.7, SD: 0.4}}
	}
	onset, factor = onset/share, factor/share
	return &WarmerBelief{
		Probability: math.Min(1, m.warmed),
		OnsetS:      Normal{Mean: onset, SD: math.Sqrt(math.Max(0, onsetSquare/share-float64(onset*onset)))},
		Factor:      Normal{Mean: factor, SD: math.Sqrt(math.Max(0, factorSquare/share-float64(factor*factor)))},
	}
}

// road is the time ahead: stretches of one engine state, with pours between.
type road struct {
	parts    []weighted
	ambientC float64
	fromS    float64
	endS     float64
	sections []section
	work     spread
	activeML float64
	volumeSD float64
}

type section struct {
	stretch
	fromS float64
	pour  *FluidAddition // at the end
}

// newRoad cuts the time from now to endS at engine changes and pours.
func (m warmupMixture) newRoad(p *timeline, endS float64) *road {
	r := &road{parts: m.parts, ambientC: p.ambientC, fromS: p.nowS, endS: endS, activeML: p.activeML, volumeSD: p.volumeSD}
	fromS := p.nowS
	add := func(toS float64, pour *FluidAddition) {
		for _, s := range p.stretches(fromS, toS) {
			r.sections = append(r.sections, section{stretch: s, fromS: fromS})
			fromS += s.dtS
		}
		if pour != nil && len(r.sections) > 0 {
			r.sections[len(r.sections)-1].pour = pour
		}
	}
	for i := range p.ahead {
		if p.ahead[i].TS < endS {
			add(p.ahead[i].TS, &p.ahead[i])
		}
	}
	add(endS, nil)
	n := len(m.parts)
	r.work = spread{weight: make([]float64, n), mean: make([]float64, n), sd: make([]float64, n)}
	for i, part := range m.parts {
		r.work.weight[i] = part.weight
	}
	return r
}

// spreadAt returns the temperature at a time ahead; the result lives until the next call.
func (r *road) spreadAt(tS float64) *spread {
	for i := range r.parts {
		f := r.parts[i].filter
		for _, s := range r.sections {
			if s.fromS >= tS {
				break
			}
			part := s.stretch
			whole := s.fromS+s.dtS <= tS
			if !whole {
				part.dtS = tS - s.fromS
				if part.on {
					part.onToS = part.onFromS + part.dtS
				}
			}
			f.pass(&part, r.ambientC)
			if whole && s.pour != nil {
				f.mix(*s.pour, r.activeML, r.volumeSD)
			}
		}
		r.work.mean[i], r.work.sd[i] = f.tempC, math.Sqrt(math.Max(f.varT, 1e-6))
	}
	return &r.work
}

// reached is the chance that the fluid is at or above a limit at a time.
func (r *road) reached(tS, limitC float64) float64 {
	below, _ := r.spreadAt(tS).below(limitC)
	return math.Max(0, math.Min(1, 1-below))
}

type reachResult struct {
	past  bool
	times *Reach
}

const reachSteps = 24

// reach finds when a limit is reached, given that it is before the road's end.
func (r *road) reach(limitC, horizonS float64) reachResult {
	var times, chance [reachSteps + 1]float64
	for i := range times {
		part := float64(i) / reachSteps
		times[i] = r.fromS + float64((r.endS-r.fromS)*part*part)
		chance[i] = r.reached(times[i], limitC)
		if i > 0 { // what was reached stays reached, also if the fluid cools later
			chance[i] = math.Max(chance[i], chance[i-1])
		}
	}
	if chance[0] > 0.5 {
		return reachResult{past: true}
	}
	ever := chance[reachSteps]
	if ever < leastReachChance {
		return reachResult{}
	}
	at := func(q float64) float64 {
		target := q * ever
		for i := 0; i < reachSteps; i++ {
			if chance[0] >= target {
				return r.fromS
			}
			if chance[i+1] >= target {
				return r.cross(limitC, target, times[i], times[i+1], chance[i], chance[i+1])
			}
		}
		return r.endS
	}
	out := &Reach{P10: at(0.1), P50: at(0.5), P90: at(0.9)}
	if horizonS > r.fromS {
		for i := 0; i < reachSteps && times[i] <= horizonS; i++ {
			out.Probability = math.Max(out.Probability, chance[i])
		}
		out.Probability = math.Max(out.Probability, r.reached(horizonS, limitC))
	}
	return reachResult{times: out}
}

// cross finds where the chance of having reached a limit passes target, by
// false position that halves a stubborn end.
func (r *road) cross(limitC, target, lowS, highS, low, high float64) float64 {
	low, high = low-target, high-target
	for range 24 {
		tS := (float64(lowS*high) - float64(highS*low)) / (high - low)
		if !(tS > lowS && tS < highS) {
			return highS
		}
		value := r.reached(tS, limitC) - target
		if math.Abs(value) < 1e-9 || highS-lowS < 1e-6 {
			return tS
		}
		if value < 0 {
			lowS, low = tS, value
			high /= 2
		} else {
			highS, high = tS, value
			low /= 2
		}
	}
	return highS
}

// fits is the chance that work begun now ends before the limit is reached.
func (r *road) fits(limitC float64, work Normal) float64 {
	const nodes = 9 // equally likely lengths of the work
	sum := 0.0
	for i := range nodes {
		z := math.Sqrt2 * math.Erfinv(float64(2*i+1)/nodes-1)
		lengthS := math.Min(math.Max(0, work.Mean+float64(work.SD*z)), r.endS-r.fromS)
		sum += 1 - r.reached(r.fromS+lengthS, limitC)
	}
	return math.Min(1, sum/nodes)
}

const curvePoints = 31

// curve is the temperature from now to the horizon.
func (r *road) curve(horizonS float64) []CurvePoint {
	points := curvePoints
	if horizonS <= r.fromS {
		points = 1
	}
	list := make([]CurvePoint, 0, points)
	like := bellStanding()
	for i := range points {
		tS := r.fromS
		if i > 0 {
			tS += float64((horizonS - r.fromS) * float64(i) / (curvePoints - 1))
		}
		q := r.spreadAt(tS).quantiles(&like)
		list = append(list, CurvePoint{TS: tS, P10: q.P10, P50: q.P50, P90: q.P90})
	}
	return list
}
