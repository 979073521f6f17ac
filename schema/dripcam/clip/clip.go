// Package clip makes synthetic clips of dripping plugs whose truth is known.
//
// A clip is a scene (light, camera, disturbances) and a list of drops; every
// frame is drawn from a seed, so the same seed gives the same clip for ever.
// It is for tests and for playing to a browser as a camera; nothing in it
// knows how drops are found, and nothing that ships imports it.
package clip

import (
	"math"
	"math/rand/v2"
)

// Gravity in m/s².
const gravity = 9.81

// Drop is one drop of the truth.
type Drop struct {
	// AtMS is when the drop's centre passes the middle of the region, or half
	// way between lip and lower edge where the lip hangs into the region.
	AtMS float64
	// Hidden says that a hand covered the drop while it fell: nobody could
	// have counted it from the picture.
	Hidden bool

	releasedMS float64
	sideways   float64 // of the region's width
	size       float64 // share of the scene's drop size
}

// Scene is everything about a clip but its drops. Lengths are in metres where
// their names end in M and otherwise in heights or widths of the region; light
// is in levels of 0-255.
type Scene struct {
	Kind string
	// RatePerS is the mean number of drops a second.
	RatePerS float64
	// SpreadOfGap is the standard deviation of the gap between drops, as a
	// share of the mean gap; DoubleShare is the share of drops that are
	// followed by a small one after 70-130 ms.
	SpreadOfGap, DoubleShare float64
	LengthMS                 float64

	// HeightM and WidthM are the region's true size, Lip the height of the
	// lip in region heights below its upper edge (negative: above it).
	HeightM, WidthM, Lip float64
	DropM                float64 // diameter
	Contrast             float64 // levels, signed
	Glint                float64 // levels added on one side of the drop
	Roll                 float64 // radians from the plumb line

	Level, Texture float64 // background: mean and spread in levels
	Noise          float64 // levels
	LipGlint       float64 // levels at the wet lip, coming and going

	FPS, ExposureMS float64
	Blur            float64 // lens blur in region heights
	DroppedShare    float64 // frames that never come
	JitterMS        float64 // of the timestamps

	MainsDepth, MainsHz float64 // depth of the light's ripple, share of the level
	Rolling             bool    // the ripple stands as bands in the picture
	DriftDepth, DriftS  float64 // slow change of the light: depth and period
	ExposureSteps       float64 // steps a minute
	ShakeSize           float64 // region heights
	JoltsPerMin         float64
	HandsPerMin         float64
	ShadowsPerMin       float64
}

// Clip is a scene with its drops and disturbances.
type Clip struct {
	Scene
	Seed  uint64
	Drops []Drop

	frames []float64 // true times of the frames that come
	stamps []float64
	steps  []event // exposure steps
	jolts  []event
	hands  []hand
	shades []hand
	waves  []wave
	phase  float64
}

type event struct{ atMS, x, y float64 }

// wave is one sine of the camera's sway.
type wave struct{ hz, phase, x, y float64 }

// hand is something large that comes, stays and goes.
type hand struct {
	atMS, inMS, stayMS, outMS float64
	fromX, fromY              float64 // where it comes from, region units
	toX, toY                  float64 // where it stays
	radiusX, radiusY          float64
	light                     float64 // levels, or a share for shadows
	fingers                   float64
}

// New draws the drops and disturbances of a scene.
func New(s Scene, seed uint64) *Clip {
	c := &Clip{Scene: s, Seed: seed}
	rng := rand.New(rand.NewPCG(seed, 0xd21b))
	c.phase = 2 * math.Pi * rng.Float64()
	c.drawFrames(rng)
	c.drawDrops(rng)
	c.drawShake(rng)
	c.hands = c.drawHands(rng, s.HandsPerMin, false)
	c.shades = c.drawHands(rng, s.ShadowsPerMin, true)
	c.steps = c.drawEvents(rng, s.ExposureSteps, func() (float64, float64) { return 0.8 + 0.4*rng.Float64(), 0 })
	c.hide()
	return c
}

func (c *Clip) drawFrames(rng *rand.Rand) {
	for i := 0; ; i++ {
		t := float64(i) * 1000 / c.FPS
		if t > c.LengthMS {
			return
		}
		if rng.Float64() < c.DroppedShare {
			continue
		}
		c.frames = append(c.frames, t)
		c.stamps = append(c.stamps, t+c.JitterMS*math.Max(-2.5, math.Min(2.5, rng.NormFloat64())))
	}
}

// fallMS is the time from release until the drop has fallen to y.
func (c *Clip) fallMS(y float64) float64 {
	return 1000 * math.Sqrt(math.Max(0, 2*(y-c.Lip)*c.HeightM/gravity))
}

// middle is where a drop's time is taken.
func (c *Clip) middle() float64 {
	if c.Lip > 0 {
		return (1 + c.Lip) / 2
	}
	return 0.5
}

func (c *Clip) drawDrops(rng *rand.Rand) {
	if c.RatePerS <= 0 {
		return
	}
	singles := c.RatePerS / (1 + c.DoubleShare)
	gap := 1000 / singles
	fall := c.fallMS(c.middle())
	for t := 700 + gap*rng.Float64(); t < c.LengthMS-700; {
		c.Drops = append(c.Drops, Drop{AtMS: t, releasedMS: t - fall, sideways: 0.02 * rng.NormFloat64(), size: 1 + 0.06*rng.NormFloat64()})
		next := gap * math.Max(0.45, 1+c.SpreadOfGap*rng.NormFloat64())
		if rng.Float64() < c.DoubleShare {
			late := 70 + 60*rng.Float64()
			if late < next-60 {
				c.Drops = append(c.Drops, Drop{AtMS: t + late, releasedMS: t + late - fall, sideways: 0.03 * rng.NormFloat64(), size: 0.8 + 0.1*rng.Float64()})
			}
		}
		t += next
	}
}

func (c *Clip) drawShake(rng *rand.Rand) {
	for range 5 {
		c.waves = append(c.waves, wave{0.3 + 9*rng.Float64()*rng.Float64(), 2 * math.Pi * rng.Float64(), rng.NormFloat64() / 2.2, rng.NormFloat64() / 2.2})
	}
	c.jolts = c.drawEvents(rng, c.JoltsPerMin, func() (float64, float64) { return 0.03 * rng.NormFloat64(), 0.03 * rng.NormFloat64() })
}

// drawEvents spreads events over the clip, none in its first two seconds.
func (c *Clip) drawEvents(rng *rand.Rand, perMin float64, size func() (float64, float64)) []event {
	var out []event
	if perMin <= 0 {
		return nil
	}
	for t := 2000 + 60000/perMin*rng.Float64(); t < c.LengthMS; t += 60000 / perMin * (0.5 + rng.Float64()) {
		x, y := size()
		out = append(out, event{t, x, y})
	}
	return out
}

func (c *Clip) drawHands(rng *rand.Rand, perMin float64, shadow bool) []hand {
	var out []hand
	for _, e := range c.drawEvents(rng, perMin, func() (float64, float64) { return 0, 0 }) {
		angle := 2 * math.Pi * rng.Float64()
		h := hand{
			atMS: e.atMS, inMS: 150 + 500*rng.Float64(), stayMS: 900 * rng.Float64() * rng.Float64(), outMS: 150 + 500*rng.Float64(),
			fromX: 0.5 + 3*math.Cos(angle), fromY: 0.5 + 1.6*math.Sin(angle),
			toX: 0.5 + 0.6*rng.NormFloat64(), toY: 0.5 + 0.3*rng.NormFloat64(),
			radiusX: 0.5 + 1.2*rng.Float64(), radiusY: 0.15 + 0.35*rng.Float64(),
			light: 50 + 130*rng.Float64(), fingers: 0.1 + 0.2*rng.Float64(),
		}
		if shadow {
			h.light, h.radiusX, h.radiusY = 0.5+0.3*rng.Float64(), 2*h.radiusX, 2*h.radiusY
		}
		out = append(out, h)
	}
	return out
}

// at is where the hand's middle is, and false when it is away.
func (h hand) at(t float64) (x, y float64, here bool) {
	s := t - h.atMS
	var share float64
	switch {
	case s < 0 || s > h.inMS+h.stayMS+h.outMS:
		return 0, 0, false
	case s < h.inMS:
		share = s / h.inMS
	case s < h.inMS+h.stayMS:
		share = 1
	default:
		share = 1 - (s-h.inMS-h.stayMS)/h.outMS
	}
	share = share * share * (3 - 2*share) // hands start and stop softly
	sway := 0.03 * math.Sin(s/90)
	return h.fromX + share*(h.toX-h.fromX) + sway, h.fromY + share*(h.toY-h.fromY) + sway/2, true
}

// covers is how much of the point the hand covers, 0-1; soft is the width of
// its edge.
func (h hand) covers(hx, hy, x, y, soft float64) float64 {
	dx, dy := (x-hx)/h.radiusX, (y-hy)/h.radiusY
	r := math.Sqrt(dx*dx+dy*dy) + h.fingers*math.Sin(4*math.Atan2(dy, dx))*0.5
	return clamp01((1-r)/soft + 0.5)
}

// hide marks the drops that a hand covered for half of their fall or longer.
func (c *Clip) hide() {
	for i := range c.Drops {
		d := &c.Drops[i]
		top := math.Max(0, c.Lip)
		covered, n := 0, 0
		for y := top + 0.05; y < 1; y += 0.05 {
			n++
			t := d.releasedMS + c.fallMS(y)
			for _, h := range c.hands {
				if hx, hy, here := h.at(t); here && h.covers(hx, hy, 0.5, y, 0.05) > 0.5 {
					covered++
					break
				}
			}
		}
		d.Hidden = 2*covered >= n
	}
}

// Frames is how many frames the clip has.
func (c *Clip) Frames() int { return len(c.frames) }

func clamp01(v float64) float64 { return math.Max(0, math.Min(1, v)) }
