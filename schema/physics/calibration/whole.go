package calibration

import (
	"fmt"
	"math"
	"math/rand/v2"

	"brimline/schema/physics"
	"brimline/schema/physics/gearbox"
)

// WholeChecks runs checks of simulated gearboxes from the cold start to the plug: warm
// up, open inside the window, judge the drip minute by minute, add fluid where it
// stays dry, plug at balance, and estimate what was left. The gearbox knows the truth.
func WholeChecks(firstSeed uint64, checks int) (LevelCoverage, error) {
	var c LevelCoverage
	for seed := firstSeed; seed < firstSeed+uint64(checks); seed++ {
		out, truthML, err := newMechanic(seed).work()
		if err != nil {
			return c, fmt.Errorf("seed %d: %w", seed, err)
		}
		if out.AsLeft == nil {
			continue // declined: nothing was claimed
		}
		z := (out.AsLeft.LevelML - truthML) / out.AsLeft.SDML
		c.Checks++
		c.Bias += z
		if math.Abs(z) <= 2 {
			c.LeftInside++
		}
	}
	c.Bias /= float64(max(1, c.Checks))
	return c, nil
}

// mechanic is someone at work on one gearbox: what is known and read, not the truth.
type mechanic struct {
	g        gearbox.Gearbox
	forecast physics.WarmupForecastInput
	level    physics.LevelEstimateInput
	dropUL   float64
}

func newMechanic(seed uint64) *mechanic {
	random := rand.New(rand.NewPCG(seed, 67))
	g := gearbox.Draw(seed, gearbox.Base())
	g.RiseC, g.SlipShare = math.Max(40, g.RiseC), 0
	g.PitchDeg, g.RollDeg = 0.7*random.NormFloat64(), 0.7*random.NormFloat64()
	m := &mechanic{g: g, dropUL: g.DropUL * math.Exp(0.08*random.NormFloat64()), level: carefulCheck()}
	m.g.EngineOn = true
	m.level.Profile.ActiveVolumeML = g.ActiveML * math.Exp(0.08*random.NormFloat64())
	const sdDeg = 0.3
	m.level.Attitude = &physics.TiltShiftInput{PitchDeg: g.PitchDeg + sdDeg*random.NormFloat64(), RollDeg: g.RollDeg + sdDeg*random.NormFloat64(),
		SDDeg: sdDeg, Plug: physics.PlugPlace{AheadMM: g.PlugAheadMM, RightMM: g.PlugRightMM}, FreeSurfaceCM2: g.FreeSurfaceCM2}
	m.forecast = physics.WarmupForecastInput{AmbientC: math.Round(g.AmbientC), Window: m.level.Profile.Window}
	m.g.SensorBiasC = 1.5 * random.NormFloat64()
	return m
}

// read takes down the temperature.
func (m *mechanic) read() float64 {
	tempC, _ := m.g.Reading()
	m.forecast.Readings = append(m.forecast.Readings, physics.WarmupReading{TS: m.g.TimeS, TempC: tempC})
	m.forecast.NowS = m.g.TimeS
	return tempC
}

// work does the check and returns its result and the true level at the reference.
func (m *mechanic) work() (physics.LevelEstimateOutput, float64, error) {
	window := m.level.Profile.Window
	tempC := m.read()
	for ; tempC < window.LowC+4 && m.g.TimeS < 3*3600; tempC = m.read() {
		m.g.Step(60)
	}
	m.g.PlugOpen = true
	m.level.AsFound = &physics.LevelAsFound{OpenedC: tempC, Outcome: "nothing"}
	if m.g.LevelML() > 0 {
		m.level.AsFound.Outcome = "ran out"
	}
	var drip physics.DripJudgeOutput
	for tempC < window.HighC {
		var err error
		if drip, err = m.watch(tempC); err != nil {
			return physics.LevelEstimateOutput{}, 0, err
		}
		tempC = m.read()
		if drip.Class == "balanced" {
			break
		}
		if drip.Class == "none" || drip.Class == "below" {
			m.g.AddFluid(150, m.g.AmbientC)
			m.level.Moves = append(m.level.Moves, physics.LevelMove{Direction: "in", VolumeML: pointer(150.0), TempC: m.g.AmbientC, Phase: "later"})
		}
	}
	m.level.AsLeft = &physics.LevelAsLeft{PlugInC: tempC, Class: drip.Class, Ratio: &drip.Ratio, RemainingML: drip.RemainingML, Watched: true, Exercised: true}
	if drip.Class == "" {
		m.level.AsLeft.Class, m.level.AsLeft.Watched, m.level.AsLeft.Ratio = "none", false, nil
	}
	out, err := physics.LevelEstimate(m.level)
	return out, m.g.ExtraML, err
}

// watch counts drops for a minute and judges them against the warming forecast.
func (m *mechanic) watch(tempC float64) (physics.DripJudgeOutput, error) {
	warming, err := physics.WarmupForecast(m.forecast)
	if err != nil {
		return physics.DripJudgeOutput{}, err
	}
	in := physics.DripJudgeInput{DropUL: m.dropUL, ActiveVolumeML: m.level.Profile.ActiveVolumeML, DensityKgM3: m.level.Profile.DensityKgM3,
		TempC: tempC, RateCPerMin: warming.RateCPerMin, Watched: physics.Span{FromS: m.g.TimeS, ToS: m.g.TimeS + 60}}
	for range 240 {
		before := m.g.Drops
		m.g.Step(0.25)
		for k := range m.g.Drops - before {
			in.DripsS = append(in.DripsS, m.g.TimeS-0.25+0.25*float64(k+1)/float64(m.g.Drops-before+1))
		}
	}
	return physics.DripJudge(in)
}
