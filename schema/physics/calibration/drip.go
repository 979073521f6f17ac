package calibration

import (
	"fmt"
	"math"
	"math/rand/v2"

	"brimline/schema/physics"
	"brimline/schema/physics/gearbox"
)

// DripTally is how often the class of a drip was right.
type DripTally struct {
	Judged   int // all watches
	Away     int // watches whose truth lies away from the borders
	Right    int // of these: right class
	RightAll int // of all watches
}

// A truth is away from a border when it is a factor off.
const (
	awayFromRatio  = 1.5
	awayFromStream = 1.3
)

// Drips watches open plugs of warming gearboxes for a minute each.
func Drips(firstSeed uint64, watches int) (DripTally, error) {
	var tally DripTally
	for seed := firstSeed; seed < firstSeed+uint64(watches); seed++ {
		w := watchDrip(seed)
		out, err := physics.DripJudge(w.in)
		if err != nil {
			return tally, fmt.Errorf("seed %d: %w", seed, err)
		}
		tally.Judged++
		right := out.Class == w.class
		if right {
			tally.RightAll++
		}
		if w.away {
			tally.Away++
			if right {
				tally.Right++
			}
		}
	}
	return tally, nil
}

// watchedDrip is one watch and what really went on.
type watchedDrip struct {
	in    physics.DripJudgeInput
	class string
	away  bool // from every border
}

// watchDrip opens the plug of a gearbox somewhat over or under full and counts
// drops for a minute. What the mechanic believes of drop, volume and
// warming is off by what the budget allows.
func watchDrip(seed uint64) watchedDrip {
	random := rand.New(rand.NewPCG(seed, 31))
	g := gearbox.Draw(seed, gearbox.Base())
	g.EngineOn = true
	g.TimeConstantS = math.Min(g.TimeConstantS, 3600)
	g.AmbientC, g.FluidC = 18, 30+15*random.Float64()
	g.RiseC = math.Max(g.RiseC, 38)
	g.ExtraML += 300*random.Float64()*random.Float64() - 40 - g.LevelML()
	g.PlugOpen = true
	g.Step(240 * random.Float64())
	fromS, runML, startC := g.TimeS, g.RunML, g.FluidC
	var w watchedDrip
	for drops := g.Drops; g.TimeS < fromS+60; drops = g.Drops {
		g.Step(0.25)
		for k := range g.Drops - drops {
			w.in.DripsS = append(w.in.DripsS, g.TimeS-0.25+0.25*float64(k+1)/float64(g.Drops-drops+1))
		}
	}
	warmedC := g.FluidC - startC
	pushed := (g.ActiveML + g.ExtraML) * g.ExpansionPerC * warmedC
	perMin := (g.RunML - runML) * 1000 / g.DropUL
	ratio := (g.RunML - runML) / math.Max(pushed, 1e-9)
	w.class = trueClass(ratio, perMin)
	w.away = away(ratio, 0.5, awayFromRatio) && away(ratio, 2, awayFromRatio) && away(perMin, 480, awayFromStream) && (perMin == 0 || perMin > 1)
	w.in.Watched = physics.Span{FromS: fromS, ToS: g.TimeS}
	w.in.DropUL = g.DropUL * math.Exp(0.08*random.NormFloat64())
	w.in.ActiveVolumeML = g.ActiveML * math.Exp(0.08*random.NormFloat64())
	w.in.DensityKgM3, w.in.TempC = 850, math.Round(g.FluidC)
	w.in.RateCPerMin = physics.Normal{Mean: warmedC + 0.1*random.NormFloat64(), SD: 0.1}
	return w
}

// trueClass names a watch by what really ran out and what warming really pushed.
func trueClass(ratio, perMin float64) string {
	switch {
	case perMin < 0.5:
		return "none"
	case perMin > 480:
		return "stream"
	case ratio < 0.5:
		return "below"
	case ratio > 2:
		return "above"
	}
	return "balanced"
}

func away(value, border, factor float64) bool {
	return value < border/factor || value > border*factor
}
