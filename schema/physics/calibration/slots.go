package calibration

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"brimline/schema/physics"
	"brimline/schema/physics/gearbox"
)

// Odds are stated chances beside what came true, in bins of the stated chance.
type Odds struct {
	Stated [oddsBins]float64 // mean of the bin
	True   [oddsBins]float64 // share that came true
	Count  [oddsBins]int
}

const oddsBins = 5

// Worst is the largest distance of a bin's truth from what was stated, over the bins
// that hold at least least slots.
func (o Odds) Worst(least int) float64 {
	worst := 0.0
	for i := range o.Count {
		if o.Count[i] >= least {
			worst = math.Max(worst, math.Abs(o.Stated[i]-o.True[i]))
		}
	}
	return worst
}

// Slots plans visits to parked vehicles and then lets each planned visit happen.
func Slots(firstSeed uint64, nights int) (Odds, error) {
	var o Odds
	for seed := firstSeed; seed < firstSeed+uint64(nights); seed++ {
		n := parkOvernight(seed)
		out, err := physics.VisitSlots(n.in)
		if err != nil {
			return o, fmt.Errorf("seed %d: %w", seed, err)
		}
		for _, s := range out.Slots {
			at, err := time.Parse(time.RFC3339, s.From)
			if err != nil {
				return o, fmt.Errorf("seed %d: %w", seed, err)
			}
			bin := min(int(s.FitsProbability*oddsBins), oddsBins-1)
			o.Count[bin]++
			o.Stated[bin] += s.FitsProbability
			if n.visit(at) {
				o.True[bin]++
			}
		}
	}
	for i := range o.Count {
		o.Stated[i] /= math.Max(1, float64(o.Count[i]))
		o.True[i] /= math.Max(1, float64(o.Count[i]))
	}
	return o, nil
}

// night is a parked vehicle: what the planner is told, and the truth.
type night struct {
	in      physics.VisitSlotsInput
	off     time.Time
	startC  float64
	coolS   float64
	warm    gearbox.Gearbox
	lows    []float64 // of each day, as they really come
	highs   []float64
	neededS float64
}

func parkOvernight(seed uint64) night {
	random := rand.New(rand.NewPCG(seed, 53))
	zone := time.FixedZone("", 7200)
	n := night{
		off:    time.Date(2030, 5, 4, 18, 0, 0, 0, zone),
		startC: 85 + 5*random.NormFloat64(),
		coolS:  2.5 * 3600 * math.Exp(0.4*random.NormFloat64()),
		warm:   gearbox.Draw(seed, gearbox.Base()),
	}
	minC, maxC := 4+14*random.Float64(), 0.0
	maxC = minC + 6 + 10*random.Float64()
	for d := range 2 {
		// The whole day comes warmer or colder than foretold.
		offC := 1.5 * random.NormFloat64()
		n.in.Days = append(n.in.Days, physics.DayForecast{Date: n.off.AddDate(0, 0, d).Format(time.DateOnly), MinC: minC, MaxC: maxC})
		n.lows, n.highs = append(n.lows, minC+offC), append(n.highs, maxC+offC)
	}
	n.in.SwitchedOffAt, n.in.TimeZone = n.off.Format(time.RFC3339), "+02:00"
	n.in.FluidAtSwitchOffC = physics.Normal{Mean: 85, SD: 5}
	n.in.StartBelowC, n.in.Window = 30, physics.Window{LowC: 30, HighC: 50}
	meanS := 240 + 1200*random.Float64()
	n.in.NeededS = physics.Normal{Mean: meanS, SD: 0.25 * meanS}
	n.neededS = math.Max(0, meanS*(1+0.25*random.NormFloat64()))
	return n
}

// airAt is the true air: colder by night, two half cosines between the lowest at five and
// the highest at half past two.
func (n night) airAt(sinceOffS float64) float64 {
	hours := 18 + sinceOffS/3600
	day := min(int(hours/24), len(n.lows)-1)
	clock := math.Mod(hours, 24)
	share := 0.0
	switch {
	case clock >= 5 && clock < 14.5:
		share = 0.5 - 0.5*math.Cos(math.Pi*(clock-5)/9.5)
	default:
		share = 0.5 + 0.5*math.Cos(math.Pi*math.Mod(clock-14.5+24, 24)/14.5)
	}
	return n.lows[day] + share*(n.highs[day]-n.lows[day])
}

// visit says whether the work fits into the window of a start at a time.
func (n night) visit(at time.Time) bool {
	endS := at.Sub(n.off).Seconds()
	fluidC := n.startC
	const stepS = 30.0
	for s := 0.0; s < endS; s += stepS {
		h := math.Min(stepS, endS-s)
		fluidC += (n.airAt(s+h/2) - fluidC) * (1 - math.Exp(-h/n.coolS))
	}
	if fluidC >= n.in.StartBelowC {
		return false // too warm to begin: turned away
	}
	g := n.warm
	g.AmbientC, g.FluidC, g.EngineOn = n.airAt(endS), fluidC, true
	lowS, ever := g.RunTo(n.in.Window.LowC, 4*3600)
	if !ever {
		return false
	}
	highS, ever := g.RunTo(n.in.Window.HighC, 6*3600)
	return !ever || highS-lowS >= n.neededS
}
