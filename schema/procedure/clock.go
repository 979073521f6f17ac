package procedure

import "math"

// Stamp is one moment by the phone's two clocks. Mono is only comparable
// between stamps of the same boot (one page load).
type Stamp struct {
	WallMS int64   `json:"wall_ms"`
	MonoMS float64 `json:"mono_ms"`
	Boot   string  `json:"boot"`
}

// discrepancyS is how far the two clocks may differ before it is marked.
const discrepancyS = 2.0

// maxPlausibleS is the longest gap the wall clock alone is believed for.
const maxPlausibleS = 24 * 3600.0

// Span is the time between two stamps as far as two clocks can tell.
//
// The monotonic clock stops while a phone sleeps and starts anew with every
// page load; the wall clock can be set. So a wait counts MinS, the shortest
// time that can have passed, and an exposure counts MaxS, the longest.
type Span struct {
	MinS    float64
	MaxS    float64
	BestS   float64 // for the physics: what most likely passed
	Certain bool    // false after a restart: only the wall clock is left
	Differ  bool    // the clocks disagree by more than discrepancyS
}

// gapMattersS is how much unseen time blurs a level: less is a quarter of a
// degree of warming at the most, below the resolution of any display.
const gapMattersS = 10.0

// unseenS returns how much of the span was not seen to pass.
func (s Span) unseenS() float64 { return s.MaxS - s.MinS }

// Elapsed returns the span from one stamp to a later one.
func Elapsed(from, to Stamp) Span {
	wall := float64(to.WallMS-from.WallMS) / 1000
	if from.Boot != to.Boot {
		s := Span{MaxS: wall, BestS: math.Max(0, wall)}
		if wall < 0 || wall > maxPlausibleS {
			s.MaxS, s.Differ = math.Inf(1), true
		}
		return s
	}
	mono := math.Max(0, (to.MonoMS-from.MonoMS)/1000)
	s := Span{MinS: mono, MaxS: math.Max(mono, wall), BestS: mono, Certain: true, Differ: math.Abs(mono-wall) > discrepancyS}
	if wall >= 0 {
		s.MinS = math.Min(mono, wall)
	}
	if wall > mono+discrepancyS && wall <= maxPlausibleS {
		s.BestS = wall // the phone slept: the fluid went on warming
	}
	return s
}
