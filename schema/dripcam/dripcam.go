// Package dripcam counts drops in what a phone's camera sees of a dripping plug.
//
// It is given small grey strips of the region that the drops cross, each with
// the time of its frame, and gives back when drops passed the strip's middle
// and how sure it is of each. It keeps no pictures, reads no clock, and gives
// the same answer for the same frames.
//
// The work goes in four steps, one file each: a frame is freed of light,
// flicker and small camera movements (level.go) and compared with a slowly
// followed background, which leaves for every cell how unlikely it is to be
// noise (cells.go). A drop falls from rest at the lip, so all drops of one
// plug share one way across rows and time; a bank of such ways (ways.go) is
// laid through the last frames, and a drop is where the evidence along a way
// adds up (judge.go). Ways that run upward cannot be drops; what fits them as
// well (a hand, a shadow, a jolt) is no drop either.
//
// It refuses to guess: in the dark, while the picture moves, and when drops
// come so fast that they are a stream, it says so and counts nothing.
package dripcam

import (
	"math"

	"brimline/schema/fault"
)

// Size of a strip in pixels: rows from top to bottom, each from left to right.
const (
	Width  = 24
	Height = 96
	pixels = Width * Height
)

// State says what the detector is doing.
type State uint8

const (
	Starting State = iota // learning the background, about a third of a second
	Watching              // counting
	Moving                // the picture moves or something covers it: not counting
	TooDark               // too little light to see drops
	TooFast               // more than about eight drops a second, or a stream
)

// String returns the state's name as the screen knows it.
func (s State) String() string {
	switch s {
	case Watching:
		return "watching"
	case Moving:
		return "moving"
	case TooDark:
		return "too_dark"
	case TooFast:
		return "too_fast"
	}
	return "starting"
}

// Drop is one drop that was seen.
type Drop struct {
	// AtMS is when the drop passed the middle of the strip, on the clock of
	// the frames; where the lip hangs into the strip, the middle between lip
	// and lower edge.
	AtMS float64
	// Confidence is the probability that it was a drop, 0-1.
	Confidence float64
}

// gapMS is a pause between frames after which nothing in flight can be trusted.
const gapMS = 700

// Detector follows one camera. The zero value is not ready; use New.
type Detector struct {
	level  leveller
	cells  cells
	judge  judge
	lastMS float64
	count  int
}

// New returns a detector that has seen nothing.
func New() *Detector {
	d := &Detector{lastMS: math.Inf(-1)}
	d.cells.init()
	d.judge.init()
	return d
}

// Frame takes the next frame and returns the drops that it made certain, oldest
// first; a drop is told within 0.3 s after it passed the middle. The answer is
// good until the next call.
//
// A frame whose time is not after the last one's is passed over. Faults:
// dripcam.strip for a strip of another size, dripcam.time for a time that is
// no number.
func (d *Detector) Frame(tMS float64, strip []byte) ([]Drop, error) {
	if len(strip) != pixels {
		return nil, fault.Bad("dripcam.strip", "strip", "must be 24 by 96 grey levels, one byte each")
	}
	if math.IsNaN(tMS) || math.Abs(tMS) > 1e13 {
		return nil, fault.Bad("dripcam.time", "t_ms", "must be the frame's time in milliseconds")
	}
	if tMS <= d.lastMS && d.lastMS-tMS < gapMS {
		return nil, nil
	}
	if tMS < d.lastMS || tMS-d.lastMS > gapMS {
		d.judge.restart(tMS)
	}
	d.lastMS = tMS

	dark := d.level.rows(strip)
	if !d.level.learn() {
		d.judge.state = Starting
		return nil, nil
	}
	d.level.fit()
	d.cells.take(&d.level)
	d.level.follow(&d.cells)
	drops := d.judge.frame(tMS, &d.cells, dark)
	d.count += len(drops)
	return drops, nil
}

// Count is how many drops were told so far.
func (d *Detector) Count() int { return d.count }

// State says what the detector is doing now.
func (d *Detector) State() State { return d.judge.state }

// Confidence says how far the present count can be trusted, 0-1: how sure the
// last drops were and how much of the last seconds could be watched.
func (d *Detector) Confidence() float64 { return d.judge.confidence() }
