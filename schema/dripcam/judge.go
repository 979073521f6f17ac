package dripcam

import "math"

const (
	binMS = 8 // drop times are sought in steps of this
	// lagMS is how long after a moment its evidence is complete: the slowest
	// way must have left the strip.
	lagMS  = 190
	frames = 64 // frames kept, enough for 565 ms at 110 a second
	bins   = 64 // bins kept
	look   = 7  // bins on each side in which a drop must be the best
	// The most and least evidence that a way unlike those learned needs beside
	// the usual.
	trustLeast, trustMost = 7.0, 24.0
	outside               = -0.4 // evidence of a cell beyond the strip
)

// shot is the evidence of one frame.
type shot struct {
	tMS     float64
	blind   bool
	litPart float64
	e       [cellRows][cellCols + 2]float32 // a column more on each side, which says nothing
}

// bin is one moment at which a drop may have passed the middle.
type bin struct {
	best      float64 // of score plus prior, over all ways
	way, spot int
	score     []float32 // of each way at each place
}

// judge lays the ways through the frames and decides what was a drop.
type judge struct {
	bank []way
	cols [places][cellRows]int8

	shots   [frames]shot
	nShots  int
	bins    [bins]bin
	baseMS  float64 // time of bin 0
	nextBin int     // first bin not computed
	decided int     // first bin not decided

	// learned is the sum of the scores that each way had at the drops found so
	// far, slowly forgotten; prior is what follows from it for the next drop.
	learned []float64
	prior   []float64
	behind  []float64 // how far each way is behind the best
	weight  float64   // of the drops in learned
	trust   float64
	choices float64 // how many ways are still open, 0-1
	drops   int

	lastBin  int // of the last drop
	lastPeak float64
	times    []float64 // of the last drops
	sure     float64   // smoothed confidence of drops
	blind    float64   // smoothed share of frames that could not be used
	fastTill float64
	streamed [cellCols]float64
	state    State
	found    []Drop
}

func (j *judge) init() {
	j.bank = makeWays()
	j.cols = makeColumns()
	all := len(j.bank) * places
	j.learned, j.prior, j.behind = make([]float64, all), make([]float64, all), make([]float64, all)
	for k := range j.bins {
		j.bins[k].score = make([]float32, all)
	}
	j.choices = 1
	j.trust = trustLeast
	j.sure = 0.5
	j.restart(0)
}

// restart forgets what is in flight, not what was learned.
func (j *judge) restart(tMS float64) {
	j.nShots = 0
	j.baseMS = tMS
	j.nextBin, j.decided = 0, 0
	j.lastBin, j.lastPeak = -1000, 0
	j.times = j.times[:0]
	j.fastTill = math.Inf(-1)
}

// frame takes the evidence of one frame and returns the drops that it decides.
func (j *judge) frame(tMS float64, c *cells, dark float64) []Drop {
	j.keep(tMS, c)
	j.found = j.found[:0]
	for m := j.nextBin; float64(m*binMS)+j.baseMS+lagMS <= tMS; m++ {
		j.compute(m)
		j.nextBin = m + 1
	}
	for j.decided+look < j.nextBin {
		j.decide(j.decided)
		j.decided++
	}
	j.doubt(tMS)
	j.judgeState(tMS, c, dark)
	if j.state == TooDark || j.state == TooFast {
		j.found = j.found[:0]
	}
	return j.found
}

func (j *judge) keep(tMS float64, c *cells) {
	s := &j.shots[j.nShots%frames]
	j.nShots++
	s.tMS, s.blind, s.litPart = tMS, c.covered, c.litPart
	c.evidence(&s.e)
	j.blind *= 0.97
	if c.covered {
		j.blind += 0.03
	}
}

// window returns the shots of a time span, oldest first, as positions in shots.
func (j *judge) window(fromMS, toMS float64) (first, last int) {
	last = j.nShots
	first = last
	for first > 0 && j.nShots-first < frames && j.shots[(first-1)%frames].tMS >= fromMS {
		first--
	}
	for last > first && j.shots[(last-1)%frames].tMS > toMS {
		last--
	}
	return first, last
}

// compute scores bin m for every way at every place.
func (j *judge) compute(m int) {
	b := &j.bins[m%bins]
	b.best = math.Inf(-1)
	mid := j.baseMS + float64(m*binMS)
	for h := range j.bank {
		w := &j.bank[h]
		entry := mid - w.midMS
		first, last := j.window(entry, entry+w.crossMS)
		score := b.score[h*places : (h+1)*places]
		clear(score)
		var squares [places]float32
		used := 0
		for k := first; k < last; k++ {
			s := &j.shots[k%frames]
			if s.blind {
				continue
			}
			used++
			row := w.row[int(s.tMS-entry)]
			e, cols := &s.e[row], &j.cols
			for p := range score {
				v := e[cols[p][row]+1]
				score[p] += v
				squares[p] += float32(v * v)
			}
		}
		for p, sum := range score {
			score[p] = steady(sum, squares[p], used)
		}
		if used < 2 && (used == 0 || j.choices > 0.5) { // one frame shows a place, not a fall
			for p := range score {
				score[p] = -4
			}
		}
		prior := j.prior[h*places : (h+1)*places]
		for p, v := range score {
			if t := float64(v) + prior[p]; t > b.best {
				b.best, b.way, b.spot = t, h, p
			}
		}
	}
}

// steady takes from the sum of the evidence of n frames what it owes to being
// uneven. A drop that is plain in one frame is plain in the others too; a way that
// meets now this thing and now that is bright in some frames and empty in others.
func steady(sum, squares float32, n int) float32 {
	if n < 2 {
		return sum
	}
	return sum - 0.1*(squares-float32(sum*sum)/float32(n))
}

// threshold is the evidence needed for a drop. It grows with the number of ways
// among which the best was chosen.
func (j *judge) threshold() float64 { return 6 + 4*j.choices }

// decide says whether a drop passed at bin m.
func (j *judge) decide(m int) {
	b := &j.bins[m%bins]
	if b.best < j.threshold() || m-j.lastBin < 4 {
		return
	}
	for k := m - look; k <= m+look; k++ {
		if k < 0 || k == m {
			continue
		}
		other := j.bins[k%bins].best
		if other > b.best || other == b.best && k < m && k > j.lastBin {
			return
		}
	}
	at := j.middle(m)
	if !j.apart(m) {
		return
	}
	lead := b.best - math.Max(math.Max(0, j.upward(b, at)), j.standing(b, m))
	if lead < math.Max(4, 0.4*b.best) {
		return
	}
	if !j.throughout(b, m) {
		return
	}
	j.lastBin, j.lastPeak = m, b.best
	excess := math.Min(b.best-j.threshold(), lead-4)
	sure := 0.5 + 0.5*excess/(2+excess)
	j.found = append(j.found, Drop{AtMS: at, Confidence: sure})
	j.times = append(j.times, at)
	if len(j.times) > 16 {
		j.times = append(j.times[:0], j.times[1:]...)
	}
	j.sure += 0.15 * (sure - j.sure)
	j.drops++
	j.learn(m)
}

// middle is the centre of the peak at bin m, in ms.
func (j *judge) middle(m int) float64 {
	peak := j.bins[m%bins].best
	var sum, weight float64
	for k := m - look; k <= m+look; k++ {
		if k < 0 {
			continue
		}
		if w := j.bins[k%bins].best - peak + 3; w > 0 {
			sum += float64(w * float64(k-m))
			weight += w
		}
	}
	return j.baseMS + binMS*(float64(m)+sum/weight)
}

// apart says whether the peak at bin m is another drop than the last one:
// evidence must have gone down between them.
func (j *judge) apart(m int) bool {
	if m-j.lastBin > 3*look {
		return true
	}
	low := math.Inf(1)
	for k := j.lastBin + 1; k < m; k++ {
		low = math.Min(low, j.bins[k%bins].best)
	}
	return low < math.Min(j.lastPeak, j.bins[m%bins].best)-4
}

// along sums the evidence along way h at place p for a drop whose time is
// midMS; mirrored runs the way upward.
func (j *judge) along(h, p int, midMS float64, mirrored bool) float64 {
	w := &j.bank[h]
	entry := midMS - w.midMS
	first, last := j.window(entry, entry+w.crossMS)
	var sum, squares float32
	used := 0
	for k := first; k < last; k++ {
		s := &j.shots[k%frames]
		if s.blind {
			continue
		}
		used++
		row := int(w.row[int(s.tMS-entry)])
		if mirrored {
			row = cellRows - 1 - row
		}
		v := s.e[row][j.cols[p][row]+1]
		sum += v
		squares += float32(v * v)
	}
	return float64(steady(sum, squares, used))
}

// throughout says whether the drop was seen both above and below the middle. What
// swells at the lip or moves at the lower edge is seen at one end only.
func (j *judge) throughout(b *bin, m int) bool {
	w := &j.bank[b.way]
	entry := j.baseMS + float64(m*binMS) - w.midMS
	first, last := j.window(entry, entry+w.crossMS)
	var sum [2]float64
	var n [2]int
	for k := first; k < last; k++ {
		s := &j.shots[k%frames]
		if s.blind {
			continue
		}
		half := 0
		if s.tMS-entry > w.midMS {
			half = 1
		}
		row := w.row[int(s.tMS-entry)]
		sum[half] += float64(s.e[row][j.cols[b.spot][row]+1])
		n[half]++
	}
	for half := range 2 {
		if n[half] >= 2 && sum[half] < 1 {
			return false
		}
	}
	return true
}

// upward is the best score near atMS of the bin's way run upward, which no drop
// can take.
func (j *judge) upward(b *bin, atMS float64) float64 {
	best := math.Inf(-1)
	reach := j.bank[b.way].crossMS/2 + 40
	for shift := -reach; shift <= reach; shift += binMS {
		best = math.Max(best, j.along(b.way, b.spot, atMS+shift, true))
	}
	return best
}

// standing is what of the score at bin m was there before or stays afterwards,
// so that it is nothing that falls: the lowest score of the same way within
// the time in which a drop leaves it.
func (j *judge) standing(b *bin, m int) float64 {
	w := &j.bank[b.way]
	mid := j.baseMS + float64(m*binMS)
	now := j.shots[(j.nShots-1)%frames].tMS
	before, after := b.best, b.best
	for k := 4; k <= 18; k++ {
		d := float64(k * binMS)
		before = math.Min(before, j.along(b.way, b.spot, mid-d, false))
		if mid+d+w.crossMS-w.midMS <= now {
			after = math.Min(after, j.along(b.way, b.spot, mid+d, false))
		}
	}
	return math.Max(before, after)
}

// learn lets the drop at bin m say which ways drops take here.
func (j *judge) learn(m int) {
	top := math.Inf(-1)
	for h := range j.learned {
		best := float32(-6)
		for k := m - 3; k <= m+3; k++ {
			if k >= 0 {
				best = max(best, j.bins[k%bins].score[h])
			}
		}
		j.learned[h] = float64(0.96*j.learned[h]) + float64(best)
		top = math.Max(top, j.learned[h])
	}
	j.weight = float64(0.96*j.weight) + 1
	// Half of how far a way was behind at the average drop; drops differ.
	certain := 0.5 / (j.weight + 2)
	open := 0.0
	for h, v := range j.learned {
		j.behind[h] = (top - v) * certain
		open += math.Max(0, 1-j.behind[h]/7)
	}
	j.choices = math.Min(1, open/400)
	j.trust = math.Min(trustMost, j.trust+3)
	j.setPrior()
}

// setPrior makes the prior of what was learned: the further a way is behind the
// best, the more evidence it needs, up to the trust in what was learned.
func (j *judge) setPrior() {
	for h, behind := range j.behind {
		j.prior[h] = -math.Min(j.trust, behind)
	}
}

// doubt lets the trust fade while no drops come, so that a camera that was
// moved can find them elsewhere.
func (j *judge) doubt(tMS float64) {
	if n := len(j.times); n == 0 || tMS-j.times[n-1] < 7000 || j.trust <= trustLeast {
		return
	}
	j.trust -= 0.1
	j.setPrior()
}

// judgeState says what the detector can be trusted with now.
func (j *judge) judgeState(tMS float64, c *cells, dark float64) {
	if n := len(j.times); n >= 11 && j.times[n-1]-j.times[n-11] < 10*1000/7.4 {
		j.fastTill = tMS + 1500
	}
	if j.stream(c) {
		j.fastTill = tMS + 1500
	}
	switch {
	case dark < 14:
		j.state = TooDark
	case tMS < j.fastTill:
		j.state = TooFast
	case j.blind > 0.35:
		j.state = Moving
	default:
		j.state = Watching
	}
}

// stream says whether a narrow column is lit nearly all the way down and stays so.
func (j *judge) stream(c *cells) bool {
	for k := range cellCols {
		rows := 0
		for i := range cellRows {
			if c.lit[i][k] {
				rows++
			}
		}
		here := 0.0
		if rows > cellRows*7/10 && c.litPart < 0.45 {
			here = 1
		}
		j.streamed[k] += 0.08 * (here - j.streamed[k])
		if j.streamed[k] > 0.7 {
			return true
		}
	}
	return false
}

// confidence is how far the count can be trusted.
func (j *judge) confidence() float64 {
	v := j.sure * (1 - clamp(j.blind, 0, 1))
	if j.state != Watching {
		v /= 2
	}
	return clamp(v, 0, 1)
}
