package dripcam

import (
	"math"
	"slices"
)

const (
	learnFrames = 9 // first frames, whose median is the first background
	// followRate is the share of a difference that the background takes over
	// per frame where nothing is seen: it forgets in about a second.
	followRate = 0.04
	// stuckRate is the same where something has stood too long to be a drop.
	stuckRate = 0.25
)

// leveller frees frames of light and small camera movements.
//
// Every row is taken relative to its own middle levels. A drop covers less than
// half of a row, so light that changes, mains ripple and the bands that it
// makes in a rolling shutter fall out by themselves. What is left of a change
// of light is a factor on the texture, and what is left of a small movement is
// the texture's slope; both are fitted and taken off.
type leveller struct {
	now   [pixels]float64 // frame relative to its rows
	back  [pixels]float64 // background, likewise
	rest  [pixels]float64 // what neither background nor light nor movement explains
	first [learnFrames][pixels]float64
	seen  int

	shiftX, shiftY int     // whole pixels by which the camera has moved
	noise          float64 // of rest, levels
	usual          float64 // noise of late, levels
	dark           float64 // level of the strip, smoothed
}

// rows takes a strip in and returns its smoothed level.
func (l *leveller) rows(strip []byte) float64 {
	var sorted [Width]byte
	sum := 0.0
	for y := range Height {
		row := strip[y*Width : (y+1)*Width]
		copy(sorted[:], row)
		slices.Sort(sorted[:])
		middle := 0
		for _, v := range sorted[Width/3 : Width-Width/3] {
			middle += int(v)
		}
		level := float64(middle) / (Width - 2*(Width/3))
		sum += level
		for x, v := range row {
			l.now[y*Width+x] = float64(v) - level
		}
	}
	mean := sum / Height
	if l.seen == 0 {
		l.dark = mean
	}
	l.dark += 0.1 * (mean - l.dark)
	return l.dark
}

// learn gathers the first frames and says whether there is a background.
func (l *leveller) learn() bool {
	if l.seen >= learnFrames {
		return true
	}
	l.first[l.seen] = l.now
	l.seen++
	if l.seen < learnFrames {
		return false
	}
	var column [learnFrames]float64
	for i := range pixels {
		for k := range learnFrames {
			column[k] = l.first[k][i]
		}
		slices.Sort(column[:])
		l.back[i] = column[learnFrames/2]
	}
	return true
}

// fit leaves in rest what background, light and movement do not explain.
func (l *leveller) fit() {
	l.fitFine()
	if l.usual > 0 && l.noise > 1.5*l.usual+0.3 {
		before := l.noise
		oldX, oldY := l.shiftX, l.shiftY
		if l.search() {
			l.fitFine()
			if l.noise > 0.85*before { // no better: it was no movement of the camera
				l.shiftX, l.shiftY = oldX, oldY
				l.fitFine()
			}
		}
	}
	if l.usual == 0 {
		l.usual = l.noise
	}
	l.usual += 0.03 * (math.Min(l.noise, 2*l.usual+0.2) - l.usual)
}

// source is the pixel of the frame that shows what pixel (x, y) of the
// background shows.
func (l *leveller) source(x, y int) int {
	sx := min(max(x+l.shiftX, 0), Width-1)
	sy := min(max(y+l.shiftY, 0), Height-1)
	return sy*Width + sx
}

// slopes are the background's at (x, y).
func (l *leveller) slopes(x, y int) (gx, gy float64) {
	at := y*Width + x
	left, right := max(x-1, 0), min(x+1, Width-1)
	up, down := max(y-1, 0), min(y+1, Height-1)
	gx = (l.back[y*Width+right] - l.back[y*Width+left]) / float64(max(right-left, 1))
	gy = (l.back[down*Width+at%Width] - l.back[up*Width+at%Width]) / float64(max(down-up, 1))
	return gx, gy
}

// fitFine fits factor and movement by weighted least squares, in which what
// does not fit loses its weight, and then a factor for each row.
func (l *leveller) fitFine() {
	var gain, mx, my float64
	for range 3 {
		sigma := l.scale()
		if l.noise == 0 {
			sigma = 4
		}
		gain, mx, my = l.solve(gain, mx, my, sigma)
		l.residual(gain, mx, my)
		l.noise = l.scale()
	}
	l.rowGains()
	l.levelRows()
	l.noise = l.scale()
}

// solve makes one round of the weighted fit. Small steps are likelier than
// large ones: a factor of 1 ± 0.1 and half a pixel, which keeps the fit
// quiet where the background is flat.
func (l *leveller) solve(gain, mx, my, sigma float64) (g, x, y float64) {
	var a [3][4]float64
	variance := float64(sigma*sigma) + 0.05
	a[0][0], a[1][1], a[2][2] = variance/0.01, variance/0.25, variance/0.25
	for row := range Height {
		for col := range Width {
			at := row*Width + col
			gx, gy := l.slopes(col, row)
			b := l.back[at]
			d := l.now[l.source(col, row)] - b
			r := d - float64(gain*b) - float64(mx*gx) - float64(my*gy)
			w := float64(r*r) / (6 * variance)
			w = 1 / float64((1+w)*(1+w))
			a[0][0] += float64(w * b * b)
			a[0][1] += float64(w * b * gx)
			a[0][2] += float64(w * b * gy)
			a[0][3] += float64(w * b * d)
			a[1][1] += float64(w * gx * gx)
			a[1][2] += float64(w * gx * gy)
			a[1][3] += float64(w * gx * d)
			a[2][2] += float64(w * gy * gy)
			a[2][3] += float64(w * gy * d)
		}
	}
	a[1][0], a[2][0], a[2][1] = a[0][1], a[0][2], a[1][2]
	v := eliminate(a)
	return clamp(v[0], -0.7, 1.5), clamp(v[1], -1.5, 1.5), clamp(v[2], -1.5, 1.5)
}

// eliminate solves three equations whose matrix is positive definite.
func eliminate(a [3][4]float64) [3]float64 {
	for i := range 3 {
		for k := i + 1; k < 3; k++ {
			f := a[k][i] / a[i][i]
			for j := i; j < 4; j++ {
				a[k][j] -= float64(f * a[i][j])
			}
		}
	}
	var v [3]float64
	for i := 2; i >= 0; i-- {
		s := a[i][3]
		for j := i + 1; j < 3; j++ {
			s -= float64(a[i][j] * v[j])
		}
		v[i] = s / a[i][i]
	}
	return v
}

func (l *leveller) residual(gain, mx, my float64) {
	for y := range Height {
		for x := range Width {
			at := y*Width + x
			gx, gy := l.slopes(x, y)
			l.rest[at] = l.now[l.source(x, y)] - l.back[at] - float64(gain*l.back[at]) - float64(mx*gx) - float64(my*gy)
		}
	}
}

// rowGains takes off what a factor of each row's own explains: the bands of a
// rolling shutter make some rows lighter than others.
func (l *leveller) rowGains() {
	variance := float64(l.noise*l.noise) + 0.05
	for y := range Height {
		bb, br := variance/0.0025, 0.0
		for x := range Width {
			at := y*Width + x
			b, r := l.back[at], l.rest[at]
			w := float64(r*r) / (6 * variance)
			w = 1 / float64((1+w)*(1+w))
			bb += float64(w * b * b)
			br += float64(w * b * r)
		}
		f := br / bb
		for x := range Width {
			l.rest[y*Width+x] -= float64(f * l.back[y*Width+x])
		}
	}
}

// levelRows makes the middle of every row of rest zero. It was zero in the frame,
// but where a row has texture a drop in it moves its middle level; rest has no
// texture, and a drop moves its middle hardly.
func (l *leveller) levelRows() {
	var sorted [Width]float64
	for y := range Height {
		row := l.rest[y*Width : (y+1)*Width]
		copy(sorted[:], row)
		slices.Sort(sorted[:])
		middle := 0.0
		for _, v := range sorted[Width/3 : Width-Width/3] {
			middle += v
		}
		middle /= Width - 2*(Width/3)
		reach := 2.5*l.noise + 0.3
		for range 2 { // a mean without the drop
			sum, n := 0.0, 0
			for _, v := range row {
				if math.Abs(v-middle) < reach {
					sum += v
					n++
				}
			}
			if n >= Width/3 {
				middle = sum / float64(n)
			}
		}
		for x := range row {
			row[x] -= middle
		}
	}
}

// scale is the spread of rest in levels, by the median of a sample.
func (l *leveller) scale() float64 {
	var sample [pixels / 7]float64
	for i := range sample {
		sample[i] = math.Abs(l.rest[i*7])
	}
	slices.Sort(sample[:])
	return 1.4826 * sample[len(sample)/2]
}

// search looks for the whole-pixel movement that fits best and says whether it
// found another one.
func (l *leveller) search() bool {
	bestX, bestY, best := l.shiftX, l.shiftY, math.Inf(1)
	for dy := -8; dy <= 8; dy++ {
		for dx := -4; dx <= 4; dx++ {
			if cost := l.misfit(dx, dy); cost < best {
				bestX, bestY, best = dx, dy, cost
			}
		}
	}
	same := bestX == l.shiftX && bestY == l.shiftY
	l.shiftX, l.shiftY = bestX, bestY
	return !same
}

// misfit is the mean difference under a movement, each difference capped.
func (l *leveller) misfit(dx, dy int) float64 {
	top := 4*l.usual + 2
	sum, n := 0.0, 0
	for y := max(0, -dy) + 1; y < min(Height, Height-dy); y += 3 {
		for x := max(0, -dx); x < min(Width, Width-dx); x += 2 {
			sum += math.Min(top, math.Abs(l.now[(y+dy)*Width+x+dx]-l.back[y*Width+x]))
			n++
		}
	}
	return sum / float64(n)
}

// follow lets the background follow where nothing is seen, and where what is
// seen has stood too long.
func (l *leveller) follow(c *cells) {
	for y := range Height {
		i := min(max((y-1)/2, 0), cellRows-1)
		for x := range Width {
			j := min(max((x-1)/2, 0), cellCols-1)
			rate := followRate
			switch {
			case c.stuck[i][j]:
				rate = stuckRate
			case c.lit[i][j] || c.covered:
				continue
			}
			at := y*Width + x
			l.back[at] += float64(rate * l.rest[at])
		}
	}
}

func clamp(v, low, high float64) float64 { return math.Max(low, math.Min(high, v)) }
