package physics

import (
	"math"
	"sort"
)

// warmupMixture is the belief after the readings: weighted filters.
type warmupMixture struct {
	parts  []weighted
	warmed float64 // share of all cases in which a coolant-fed warmer works
	slips  []slipSet
	prior  warmupPrior
	cases  []warmerCase
	startC Normal
}

type weighted struct {
	filter
	weight float64
}

// slipSet is one guess of which filed readings are mistyped.
type slipSet struct {
	mask      uint64
	logWeight float64
}

// warmerCase is one guess of how the pace changes on the way.
type warmerCase struct {
	onsetS, factor, delayS, logPrior float64
}

// warmupPrior is the belief before the readings: a normal rise and a Student t
// with four degrees of freedom for the logarithm of the time constant.
type warmupPrior struct {
	rise        Normal
	timeS       float64
	timeLogSD   float64
	correlation float64
}

// warmer is what was learned of a warmer, nil for nothing.
func (b *WarmupBelief) warmer() *WarmerBelief {
	if b == nil {
		return nil
	}
	return b.Warmer
}

// riseAt is the rise of a gearbox whose time constant lies z standard deviations from
// the median. Far out the one no longer says much of the other.
func (p warmupPrior) riseAt(z float64) Normal {
	return Normal{
		Mean: p.rise.Mean + float64(p.correlation*p.rise.SD*math.Max(-2, math.Min(z, 2))),
		SD:   p.rise.SD * math.Sqrt(1-float64(p.correlation*p.correlation)),
	}
}

func newWarmupPrior(b *WarmupBelief) warmupPrior {
	if b == nil {
		return warmupPrior{rise: Normal{Mean: defaultRiseC, SD: defaultRiseSDC}, timeS: defaultTimeS, timeLogSD: defaultTimeLogSD}
	}
	ratio := b.TimeConstantS.SD / b.TimeConstantS.Mean
	spread := math.Log1p(float64(ratio * ratio)) // variance of the log of a log-normal
	p := warmupPrior{rise: b.RiseC, timeS: b.TimeConstantS.Mean * math.Exp(-spread/2), timeLogSD: math.Sqrt(spread)}
	if b.Correlation != nil {
		p.correlation = *b.Correlation
	}
	return p
}

// logDensity is the log prior density of z standard deviations, up to a constant.
func (warmupPrior) logDensity(z float64) float64 {
	return float64(-2.5 * math.Log1p(float64(z*z)/4))
}

// timeAt is the time constant z standard deviations from the median.
func (p warmupPrior) timeAt(z float64) float64 { return p.timeS * math.Exp(p.timeLogSD*z) }

// warmerCases spreads the belief over plain warming, warming that shows late (a
// sensor that trails a little or a lot), warming that slackens (the engine's fast idle ends), and a
// coolant-fed warmer of unknown onset and strength. The shares were chosen on the
// simulated base population, where they take the coverage of p10-p90 up by about one point.
func warmerCases(known string, learned *WarmerBelief) []warmerCase {
	warmer := unknownWarmerShare
	if learned != nil {
		warmer = learned.Probability
	}
	switch known {
	case "no":
		warmer = 0
	case "yes":
		warmer = math.Max(0.95, warmer) // it may be stuck shut
	}
	warmer = math.Min(warmer, 0.99)
	const trails, late, slack = 0.10, 0.01, 0.005
	list := []warmerCase{
		{factor: 1, logPrior: math.Log((1 - warmer) * (1 - trails - late - slack))},
		{factor: 1, delayS: 25, logPrior: math.Log((1 - warmer) * trails)},
		{factor: 1, delayS: 45, logPrior: math.Log((1 - warmer) * late)},
		{factor: 0.7, onsetS: 210, logPrior: math.Log((1 - warmer) * slack)},
	}
	if warmer == 0 {
		return list
	}
	onsets, factors := warmerGrid(learned)
	each := math.Log(warmer / float64(len(onsets)*len(factors)))
	for _, o := range onsets {
		for _, f := range factors {
			list = append(list, warmerCase{onsetS: o, factor: f, logPrior: each})
		}
	}
	return list
}

// unknownWarmerShare is the share of warmers nobody mentions. Before one works nothing
// in the readings shows it, so it is found from its work alone: a share that covered
// it earlier would make every other forecast too wide.
const unknownWarmerShare = 0.015

// warmerGrid is where a warmer may begin and how strong it may be, all equally likely.
func warmerGrid(learned *WarmerBelief) (onsets, factors []float64) {
	if learned == nil || learned.Probability < 0.1 {
		return []float64{150, 240, 330, 450, 630}, []float64{1.25, 1.7, 2.25}
	}
	for i := range 5 {
		onsets = append(onsets, math.Max(30, learned.OnsetS.Mean+float64(evenNode(i, 5)*math.Hypot(learned.OnsetS.SD, 30))))
	}
	for i := range 3 {
		factors = append(factors, math.Max(1.05, learned.Factor.Mean+float64(evenNode(i, 3)*math.Hypot(learned.Factor.SD, 0.1))))
	}
	return onsets, factors
}

// newWarmupMixture weighs every pace against the readings.
func newWarmupMixture(in WarmupForecastInput, p *timeline) warmupMixture {
	m := warmupMixture{
		prior:  newWarmupPrior(in.Prior),
		cases:  warmerCases(in.CoolantWarmer, in.Prior.warmer()),
		startC: Normal{Mean: in.AmbientC, SD: 14}, // it may have been driven an hour ago
	}
	if len(p.filed) == 0 {
		m.startC.SD = 3
	}
	m.slips = m.likelySlips(p)
	var all []filter
	for _, set := range m.slips {
		all = m.weigh(all, p, set.mask)
	}
	m.parts, m.warmed = normalise(all)
	return m
}

// begin returns a filter at the start of the check.
func (m warmupMixture) begin(c warmerCase, z float64) filter {
	rise := m.prior.riseAt(z)
	return filter{
		pace:  pace{timeS: m.prior.timeAt(z), onsetS: c.onsetS, factor: c.factor, delayS: c.delayS},
		tempC: m.startC.Mean, varT: m.startC.SD * m.startC.SD,
		riseC: rise.Mean, varR: rise.SD * rise.SD,
		prior:    c.logPrior + m.prior.logDensity(z),
		variance: 1,
	}
}

const (
	coarseNodes = 21
	fineNodes   = 13
	warmerNodes = 7   // many cases overlap, so each may be coarser
	negligible  = 9.0 // log weight below the best that no longer counts
)

// coarseStep is the step of the coarse grid in standard deviations of the prior.
// The grid reaches six to either side, and at least a factor of three in time: what
// was learned may have been learned on another gearbox.
func (p warmupPrior) coarseStep() float64 {
	return 2 * math.Max(6, 1.1/p.timeLogSD) / (coarseNodes - 1)
}

// coarseZ is the place of a coarse node.
func (p warmupPrior) coarseZ(i int) float64 {
	return p.coarseStep() * (float64(i) - (coarseNodes-1)/2)
}

// ridge is where the weight of one warmer case lies on the coarse grid.
type ridge struct {
	top       float64
	low, high int
}

// survey runs the coarse nodes from first to last for one warmer case.
func (m warmupMixture) survey(p *timeline, mask uint64, c warmerCase, first, last int) ridge {
	var logs [coarseNodes]float64
	r := ridge{top: math.Inf(-1), low: last, high: first}
	for i := first; i <= last; i++ {
		f := m.begin(c, m.prior.coarseZ(i))
		f.run(p, mask)
		logs[i] = f.logWeight()
		r.top = math.Max(r.top, logs[i])
	}
	for i := first; i <= last; i++ {
		if logs[i] > r.top-negligible {
			r.low, r.high = min(r.low, i), max(r.high, i)
		}
	}
	return r
}

// weigh appends the filters of one slip set: a coarse grid of time constants
// for every warmer case, then a fine one where the weight is.
func (m warmupMixture) weigh(all []filter, p *timeline, mask uint64) []filter {
	ridges := make([]ridge, len(m.cases))
	best := math.Inf(-1)
	for k, c := range m.cases {
		first, last := 0, coarseNodes-1
		if k > 0 {
			// The same readings under a warmer mean a time constant that is longer by
			// at most the warmer's factor, so the plain case shows where to look.
			shift := math.Log(c.factor) / (m.prior.timeLogSD * m.prior.coarseStep())
			first = max(first, ridges[0].low-2+int(math.Max(-coarseNodes, math.Min(0, math.Floor(shift)))))
			last = min(last, ridges[0].high+2+int(math.Min(coarseNodes, math.Max(0, math.Ceil(shift)))))
		}
		ridges[k] = m.survey(p, mask, c, first, last)
		best = math.Max(best, ridges[k].top)
	}
	for k, c := range m.cases {
		if ridges[k].top < best-negligible {
			continue
		}
		nodes := fineNodes
		if c.factor > 1 {
			nodes = warmerNodes
		}
		low, high := m.prior.coarseZ(max(ridges[k].low-1, 0)), m.prior.coarseZ(min(ridges[k].high+1, coarseNodes-1))
		width := (high - low) / float64(nodes-1)
		for i := range nodes {
			f := m.begin(c, low+float64(width*float64(i)))
			f.run(p, mask)
			f.prior += math.Log(width)
			all = append(all, f)
		}
	}
	return all
}

// normalise turns log weights into shares and leaves out what does not count;
// warmed is the share with a warmer before that.
func normalise(all []filter) (parts []weighted, warmed float64) {
	logs := make([]float64, len(all))
	for i := range all {
		logs[i] = all[i].logWeight()
	}
	total := logSumExp(logs)
	parts = make([]weighted, 0, len(all))
	sum := 0.0
	for i := range all {
		w := math.Exp(logs[i] - total)
		if all[i].factor > 1 {
			warmed += w
		}
		if w > 1e-3 {
			parts = append(parts, weighted{filter: all[i], weight: w})
			sum += w
		}
	}
	for i := range parts {
		parts[i].weight /= sum
	}
	return parts, warmed
}

const (
	mostSlipSets = 6
	keptSlipSets = 3
)

// guess is a slip set with a small grid of paces, followed through the check.
type guess struct {
	slipSet
	filters []filter
}

// likelySlips follows the likeliest guesses of which readings are mistyped
// through the check and returns the best.
func (m warmupMixture) likelySlips(p *timeline) []slipSet {
	cases := []warmerCase{m.cases[0]}
	if len(m.cases) > 4 {
		cases = append(cases, warmerCase{240, 1.8, 0, math.Log(0.1)}, warmerCase{480, 1.8, 0, math.Log(0.1)})
	}
	var first guess
	for _, c := range cases {
		for z := -4.0; z <= 4; z++ {
			first.filters = append(first.filters, m.begin(c, z))
		}
	}
	beam := []guess{first}
	for i := range p.steps {
		beam = follow(beam, p, &p.steps[i])
	}
	var sets []slipSet
	for _, g := range beam {
		if len(sets) < keptSlipSets && g.logWeight >= beam[0].logWeight-3.5 {
			sets = append(sets, g.slipSet)
		}
	}
	return sets
}

// follow takes all guesses through one step; where the step ends with a reading each
// guess splits in two, and the likeliest stay.
func follow(beam []guess, p *timeline, s *timeStep) []guess {
	grown := make([]guess, 0, 2*len(beam))
	for _, g := range beam {
		if s.dtS > 0 {
			for i := range g.filters {
				g.filters[i].pass(&s.stretch, p.ambientC)
			}
		}
		if s.reading >= 0 && g.worthDoubting(p.filed[s.reading], s.reading) {
			slip := guess{slipSet: slipSet{mask: g.mask | 1<<uint(s.reading)}, filters: append([]filter(nil), g.filters...)}
			for i := range slip.filters {
				slip.filters[i].end(p, s, true)
			}
			grown = append(grown, slip)
		}
		for i := range g.filters {
			g.filters[i].end(p, s, false)
		}
		grown = append(grown, g)
	}
	if len(grown) > 1 {
		var logs []float64
		for k := range grown {
			logs = logs[:0]
			for i := range grown[k].filters {
				logs = append(logs, grown[k].filters[i].logWeight())
			}
			grown[k].logWeight = logSumExp(logs)
		}
		sort.SliceStable(grown, func(i, j int) bool { return grown[i].logWeight > grown[j].logWeight })
	}
	keep := 1
	for keep < min(len(grown), mostSlipSets) && grown[keep].logWeight > grown[0].logWeight-12 {
		keep++
	}
	return grown[:keep]
}

// worthDoubting saves the work for readings that a pace explains well; the
// first ones are always doubted, because nothing speaks for them yet.
func (g guess) worthDoubting(r filed, index int) bool {
	if index < 4 {
		return true
	}
	for i := range g.filters {
		miss := r.tempC - g.filters[i].tempC
		if miss*miss < g.filters[i].varT+r.variance {
			return false
		}
	}
	return true
}

// doubtful lists the readings more likely mistyped than not, and those that
// are no measurement.
func (m warmupMixture) doubtful(p *timeline, substituted []bool) []int {
	logs := make([]float64, len(m.slips))
	for i, s := range m.slips {
		logs[i] = s.logWeight
	}
	total := logSumExp(logs)
	list := []int{}
	doubted := append([]bool(nil), substituted...)
	for i, f := range p.filed {
		share := 0.0
		for _, s := range m.slips {
			if s.mask>>uint(i)&1 == 1 {
				share += math.Exp(s.logWeight - total)
			}
		}
		marked := f.spare
		if share > 0.5 {
			marked = f.members
		}
		for _, k := range marked {
			doubted[k] = true
		}
	}
	for k, d := range doubted {
		if d {
			list = append(list, k)
		}
	}
	return list
}
