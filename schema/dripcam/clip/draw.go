package clip

import (
	"math"
	"math/rand/v2"
)

// Raster draws frames of one clip on one grid of pixels.
type Raster struct {
	clip   *Clip
	w, h   int
	x0, y0 float64 // region units of the first pixel's corner
	dx, dy float64 // region units per pixel

	margin int
	ground []float64 // background with a margin, so that shake has something to show
	light  []float64
}

// Strip returns a raster that shows just the region, w by h pixels.
func (c *Clip) Strip(w, h int) *Raster {
	return c.raster(w, h, 0, 0, 1/float64(w), 1/float64(h))
}

// Picture returns a raster of w by h pixels in which the region is the box.
func (c *Clip) Picture(w, h, boxX, boxY, boxW, boxH int) *Raster {
	dx, dy := 1/float64(boxW), 1/float64(boxH)
	return c.raster(w, h, -float64(boxX)*dx, -float64(boxY)*dy, dx, dy)
}

func (c *Clip) raster(w, h int, x0, y0, dx, dy float64) *Raster {
	r := &Raster{clip: c, w: w, h: h, x0: x0, y0: y0, dx: dx, dy: dy, light: make([]float64, w*h)}
	r.margin = int(0.2/math.Min(dx, dy)) + 2
	r.paint()
	return r
}

// paint makes the still background: soft spots, an edge of the housing, a
// gradient; all from the clip's seed and in region units, so that every raster
// shows the same place.
func (r *Raster) paint() {
	c := r.clip
	rng := rand.New(rand.NewPCG(c.Seed, 0x9a1e))
	type spot struct{ x, y, rx, ry, level float64 }
	var spots []spot
	for range 14 {
		spots = append(spots, spot{-0.6 + 2.2*rng.Float64(), -0.3 + 1.6*rng.Float64(), 0.05 + 0.5*rng.Float64(), 0.03 + 0.25*rng.Float64(), rng.NormFloat64()})
	}
	slopeX, slopeY := rng.NormFloat64()*0.3, rng.NormFloat64()*0.5
	edgeAt, edgeLean, edgeLevel := 0.1+0.8*rng.Float64(), 0.4*rng.NormFloat64(), rng.NormFloat64()
	soft := 0.01 + c.Blur
	wide, high := r.w+2*r.margin, r.h+2*r.margin
	r.ground = make([]float64, wide*high)
	for j := range high {
		for i := range wide {
			x, y := r.x0+(float64(i-r.margin)+0.5)*r.dx, r.y0+(float64(j-r.margin)+0.5)*r.dy
			v := slopeX*(x-0.5) + slopeY*(y-0.5) + edgeLevel*clamp01((x-edgeAt-edgeLean*(y-0.5))/(3*soft)+0.5)
			for _, s := range spots {
				dx, dy := (x-s.x)/s.rx, (y-s.y)/s.ry
				if q := dx*dx + dy*dy; q < 9 {
					v += s.level * math.Exp(-q)
				}
			}
			r.ground[j*wide+i] = c.Level + c.Texture*v
		}
	}
}

// Frame draws frame i into out (w*h levels) and returns its timestamp.
func (r *Raster) Frame(i int, out []byte) float64 {
	c := r.clip
	t := c.frames[i]
	shakeX, shakeY := c.shake(t)
	r.still(shakeX, shakeY)
	r.lip(t, shakeX, shakeY)
	for _, d := range c.Drops {
		r.drop(d, t, shakeX, shakeY)
	}
	r.cover(t)
	r.finish(i, t, out)
	return c.stamps[i]
}

// shake is the camera's displacement in region units.
func (c *Clip) shake(t float64) (x, y float64) {
	for _, w := range c.waves {
		s := c.ShakeSize * math.Sin(2*math.Pi*w.hz*t/1000+w.phase)
		x, y = x+s*w.x, y+s*w.y
	}
	for _, j := range c.jolts {
		if s := (t - j.atMS) / 1000; s > 0 {
			swing := 2.2*math.Exp(-s*7)*math.Cos(2*math.Pi*6*s) + 0.5 // it does not come quite back
			x, y = x+j.x*swing, y+j.y*swing
		}
	}
	return x * c.HeightM / c.WidthM, y
}

func (r *Raster) still(shakeX, shakeY float64) {
	wide, high := r.w+2*r.margin, r.h+2*r.margin
	sx, sy := shakeX/r.dx+float64(r.margin), shakeY/r.dy+float64(r.margin)
	fx, fy := sx-math.Floor(sx), sy-math.Floor(sy)
	for j := range r.h {
		row := min(max(j+int(math.Floor(sy)), 0), high-2)
		for i := range r.w {
			col := min(max(i+int(math.Floor(sx)), 0), wide-2)
			at := row*wide + col
			up := r.ground[at]*(1-fx) + r.ground[at+1]*fx
			down := r.ground[at+wide]*(1-fx) + r.ground[at+wide+1]*fx
			r.light[j*r.w+i] = up*(1-fy) + down*fy
		}
	}
}

// lip draws the glint at the wet lip, which swells while a drop grows.
func (r *Raster) lip(t, shakeX, shakeY float64) {
	c := r.clip
	if c.LipGlint == 0 {
		return
	}
	last := math.Inf(-1)
	for _, d := range c.Drops {
		if d.releasedMS <= t {
			last = d.releasedMS
		}
	}
	grown := math.Min(1, (t-last)*c.RatePerS/1000)
	size := c.DropM * (0.6 + 0.5*grown)
	level := c.LipGlint * (0.5 + 0.5*grown + 0.25*math.Sin(t/170))
	r.blob(0.5-shakeX, c.Lip-shakeY, size, size*0.7, level)
}

// drop draws one drop along its way while the shutter was open.
func (r *Raster) drop(d Drop, t, shakeX, shakeY float64) {
	c := r.clip
	steps := 1 + int(c.ExposureMS/3)
	for k := range steps {
		s := (t - c.ExposureMS*(float64(k)+0.5)/float64(steps) - d.releasedMS) / 1000
		if s < 0 || s > 2 {
			continue
		}
		fallen := gravity / 2 * s * s
		y := c.Lip + fallen/c.HeightM*math.Cos(c.Roll)
		if y > 1.2 && y > r.y0+float64(r.h)*r.dy+0.2 {
			continue
		}
		x := 0.5 + d.sideways + fallen*math.Sin(c.Roll)/c.WidthM
		size := c.DropM * d.size
		long := size * (1.15 + 0.15*math.Sin(s*140)) // a falling drop swings about its round shape
		share := 1 / float64(steps)
		r.blob(x-shakeX, y-shakeY, size, long, c.Contrast*share)
		if c.Glint != 0 {
			r.blob(x-shakeX-0.22*size/c.WidthM, y-shakeY, size*0.35, long*0.5, c.Glint*share)
		}
	}
}

// blob adds level inside an ellipse of the given size in metres, with the
// lens's soft edge. Small ellipses fade instead of vanishing between pixels.
func (r *Raster) blob(x, y, wideM, highM, level float64) {
	c := r.clip
	ax, ay := wideM/2/c.WidthM/r.dx, highM/2/c.HeightM/r.dy // half axes in pixels
	blurX, blurY := c.Blur*c.HeightM/c.WidthM/r.dx, c.Blur/r.dy
	bx, by := math.Sqrt(ax*ax+blurX*blurX+0.2), math.Sqrt(ay*ay+blurY*blurY+0.2)
	level *= ax * ay / (bx * by)
	cx, cy := (x-r.x0)/r.dx-0.5, (y-r.y0)/r.dy-0.5
	soft := 0.5 + 1.5/(1+math.Min(ax/(blurX+0.3), ay/(blurY+0.3)))
	for j := max(0, int(cy-2*by)-1); j <= min(r.h-1, int(cy+2*by)+1); j++ {
		for i := max(0, int(cx-2*bx)-1); i <= min(r.w-1, int(cx+2*bx)+1); i++ {
			dx, dy := (float64(i)-cx)/bx, (float64(j)-cy)/by
			q := math.Sqrt(dx*dx + dy*dy)
			if share := clamp01((1-q)/soft + 0.5); share > 0 {
				r.light[j*r.w+i] += level * share
			}
		}
	}
}

// cover lays hands and shadows over the picture.
func (r *Raster) cover(t float64) {
	for k, list := range [][]hand{r.clip.shades, r.clip.hands} {
		for _, h := range list {
			hx, hy, here := h.at(t)
			if !here {
				continue
			}
			soft := 0.08
			if k == 0 {
				soft = 0.7
			}
			for j := range r.h {
				y := r.y0 + (float64(j)+0.5)*r.dy
				for i := range r.w {
					x := r.x0 + (float64(i)+0.5)*r.dx
					share := h.covers(hx, hy, x, y, soft)
					if share == 0 {
						continue
					}
					at := j*r.w + i
					if k == 0 {
						r.light[at] *= 1 - share*(1-h.light)
						continue
					}
					skin := h.light * (0.85 + 0.15*math.Sin(9*(x-hx)+13*(y-hy)))
					r.light[at] += share * (skin - r.light[at])
				}
			}
		}
	}
}

// finish applies light, exposure and noise.
func (r *Raster) finish(i int, t float64, out []byte) {
	c := r.clip
	rng := rand.New(rand.NewPCG(c.Seed, uint64(i)+1))
	gain := 1 + c.DriftDepth*math.Sin(2*math.Pi*t/1000/math.Max(c.DriftS, 1)+c.phase)
	gain *= c.exposure(t)
	for j := range r.h {
		at := t
		if c.Rolling {
			at += 1000 / c.FPS * 0.9 * (r.y0 + float64(j)*r.dy) * 0.4 // the region is 0.4 of the picture's height
		}
		g := gain * (1 + c.MainsDepth*math.Sin(2*math.Pi*c.MainsHz*at/1000+c.phase))
		for k := range r.w {
			v := r.light[j*r.w+k]*g + c.Noise*rng.NormFloat64()
			out[j*r.w+k] = byte(math.Max(0, math.Min(255, math.Round(v))))
		}
	}
}

// exposure is the gain of the camera's own regulation: after a step it creeps
// back to where it was.
func (c *Clip) exposure(t float64) float64 {
	gain := 1.0
	for _, s := range c.steps {
		if since := t - s.atMS; since > 0 {
			stair := math.Floor(since/100) * 100 // cameras regulate in small stairs
			gain *= 1 + (s.x-1)*math.Exp(-stair/1500)
		}
	}
	return gain
}
