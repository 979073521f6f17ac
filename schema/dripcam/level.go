package dripcam

import "math"

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

	slopeX, slopeY [pixels]float64 // of the background
	from           [pixels]int     // pixel of the frame that shows what each pixel of the background shows
	sample         [pixels / 7]float64

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
		for i := 1; i < Width; i++ { // few values, nearly the same: sorted by insertion
			v, k := sorted[i], i
			for ; k > 0 && sorted[k-1] > v; k-- {
				sorted[k] = sorted[k-1]
			}
			sorted[k] = v
		}
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
		l.back[i] = median(column[:])
	}
	l.aim(0, 0)
	return true
}

// fit leaves in rest what background, light and movement do not explain.
func (l *leveller) fit() {
	l.slopes()
	l.fitFine()
	if l.usual > 0 && l.noise > 1.5*l.usual+0.3 {
		before := l.noise
		oldX, oldY := l.shiftX, l.shiftY
		if l.search() {
			l.fitFine()
			if l.noise > 0.85*before { // no better: it was no movement of the camera
				l.aim(oldX, oldY)
				l.fitFine()
			}
		}
	}
	if l.usual == 0 {
		l.usual = l.noise
	}
	l.usual += 0.03 * (math.Min(l.noise, 2*l.usual+0.2) - l.usual)
}

// aim sets the whole-pixel movement.
func (l *leveller) aim(dx, dy int) {
	l.shiftX, l.shiftY = dx, dy
	for y := range Height {
		sy := min(max(y+dy, 0), Height-1)
		for x := range Width {
			l.from[y*Width+x] = sy*Width + min(max(x+dx, 0), Width-1)
		}
	}
}

// slopes computes the background's.
func (l *leveller) slopes() {
	for y := range Height {
		up, down := max(y-1, 0), min(y+1, Height-1)
		for x := range Width {
			left, right := max(x-1, 0), min(x+1, Width-1)
			at := y*Width + x
			l.slopeX[at] = (l.back[y*Width+right] - l.back[y*Width+left]) / float64(right-left)
			l.slopeY[at] = (l.back[down*Width+x] - l.back[up*Width+x]) / float64(down-up)
		}
	}
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
	for at, b := range l.back {
		gx, gy := l.slopeX[at], l.slopeY[at]
		d := l.now[l.from[at]] - b
		r := d - float64(gain*b) - float64(mx*gx) - float64(my*gy)
		w := float64(r*r) / (6 * variance)
		w = 1 / float64((1+w)*(1+w))
		wb, wx, wy := float64(w*b), float64(w*gx), float64(w*gy)
		a[0][0] += float64(wb * b)
		a[0][1] += float64(wb * gx)
		a[0][2] += float64(wb * gy)
		a[0][3] += float64(wb * d)
		a[1][1] += float64(wx * gx)
		a[1][2] += float64(wx * gy)
		a[1][3] += float64(wx * d)
		a[2][2] += float64(wy * gy)
		a[2][3] += float64(wy * d)
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
	for at, b := range l.back {
		l.rest[at] = l.now[l.from[at]] - b - float64(gain*b) - float64(mx*l.slopeX[at]) - float64(my*l.slopeY[at])
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

// levelRows takes off the straight line through every row of rest that fits best
// without the drop. The middle was zero in the frame, but where a row has texture
// a drop in it moves its middle level; rest has no texture. The slope is that of
// a soft shadow's edge.
func (l *leveller) levelRows() {
	var values [Width]float64
	reach := 2.5*l.noise + 0.3
	for y := range Height {
		row := l.rest[y*Width : (y+1)*Width]
		copy(values[:], row)
		line := rowLine{level: median(values[:])}
		for range 3 {
			line = line.refit(row, reach)
		}
		for x := range row {
			row[x] -= line.at(x)
		}
	}
}

// rowLine is a straight line along a row, level in its middle.
type rowLine struct{ level, slope float64 }

func (r rowLine) at(x int) float64 {
	return r.level + float64(r.slope*(float64(x)-float64(Width-1)/2))
}

// refit returns the line of least squares through the values within reach of the
// line; the slope is kept small where few are left.
func (r rowLine) refit(row []float64, reach float64) rowLine {
	var n, sx, sxx, sv, sxv float64
	for x, v := range row {
		if math.Abs(v-r.at(x)) >= reach {
			continue
		}
		s := float64(x) - float64(Width-1)/2
		n++
		sx += s
		sxx += float64(s * s)
		sv += v
		sxv += float64(s * v)
	}
	if n < Width/3 {
		return r
	}
	sxx += 100 // as if some values lay on a level line
	d := float64(n*sxx) - float64(sx*sx)
	return rowLine{
		level: (float64(sxx*sv) - float64(sx*sxv)) / d,
		slope: (float64(n*sxv) - float64(sx*sv)) / d,
	}
}

// scale is the spread of rest in levels, by the median of a sample.
func (l *leveller) scale() float64 {
	for i := range l.sample {
		l.sample[i] = math.Abs(l.rest[i*7])
	}
	return 1.4826 * median(l.sample[:])
}

// median returns the middle of v by order, the upper one of two, and leaves v in
// another order. v must not be empty.
func median(v []float64) float64 {
	want, low, high := len(v)/2, 0, len(v)-1
	for low < high {
		pivot, i, k := v[(low+high)/2], low, high
		for i <= k {
			for v[i] < pivot {
				i++
			}
			for v[k] > pivot {
				k--
			}
			if i <= k {
				v[i], v[k] = v[k], v[i]
				i++
				k--
			}
		}
		if want <= k {
			high = k
		} else if want >= i {
			low = i
		} else {
			break
		}
	}
	return v[want]
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
	if bestX == l.shiftX && bestY == l.shiftY {
		return false
	}
	l.aim(bestX, bestY)
	return true
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
