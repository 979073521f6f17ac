package calibration

import (
	"fmt"
	"math"
	"math/rand/v2"

	"brimline/schema/physics"
)

// LevelCoverage is how the levels of simulated checks meet the truth.
type LevelCoverage struct {
	Checks      int
	LeftInside  int     // as left within two standard deviations of the truth
	FoundInside int     // as found
	Bias        float64 // mean error of as left, in standard deviations
}

// Levels draws checks with known truth and estimates them.
func Levels(seed uint64, checks int) (LevelCoverage, error) {
	random := rand.New(rand.NewPCG(seed, 7))
	c := LevelCoverage{Checks: checks}
	for i := range checks {
		s := simulate(random)
		out, err := physics.LevelEstimate(s.in)
		if err != nil {
			return c, fmt.Errorf("check %d: %w", i, err)
		}
		if out.AsLeft == nil || out.AsFound == nil {
			return c, fmt.Errorf("check %d has no result", i)
		}
		z := (out.AsLeft.LevelML - s.trueLeftML) / out.AsLeft.SDML
		c.Bias += z / float64(checks)
		if math.Abs(z) <= 2 {
			c.LeftInside++
		}
		if math.Abs(out.AsFound.LevelML-s.trueFound) <= 2*out.AsFound.SDML {
			c.FoundInside++
		}
	}
	return c, nil
}

func pointer[T any](value T) *T { return &value }

// carefulCheck is a check in which all was done as it should be.
func carefulCheck() physics.LevelEstimateInput {
	return physics.LevelEstimateInput{
		Profile: physics.LevelProfile{Window: physics.Window{LowC: 30, HighC: 50}, ActiveVolumeML: 9000, DensityKgM3: 850, SecondCycle: "if cooler opened"},
		Sensor:  physics.LevelSensor{Source: "reader"},
		Attitude: &physics.TiltShiftInput{SDDeg: 0.2, Plug: physics.PlugPlace{AheadMM: 100},
			FreeSurfaceCM2: 400},
		Moves:  []physics.LevelMove{},
		AsLeft: &physics.LevelAsLeft{PlugInC: 40, Class: "balanced", Watched: true, Exercised: true},
		Cooler: physics.LevelCooler{Circuit: "untouched", Cycle: 1},
	}
}

// simulated is one gearbox and one check of it with known truth, drawn by a
// physical story of its own: masses and a growing case.
type simulated struct {
	in                    physics.LevelEstimateInput
	trueLeftML, trueFound float64
}

// story is a check being drawn: what is observed so far, and the truth.
type story struct {
	random     *rand.Rand
	in         physics.LevelEstimateInput
	volumeML   float64 // true active volume
	plugC      float64 // true temperature at the plug-in
	surfaceCM2 float64
	tiltML     float64
	aboveML    float64 // stands above the lip at the plug-in
	hiddenML   float64 // will leave the sump later
}

// between draws evenly from a range.
func (s *story) between(low, high float64) float64 { return low + (high-low)*s.random.Float64() }

// chance is true in a share of the checks.
func (s *story) chance(share float64) bool { return s.random.Float64() < share }

// temperature draws the plug-in: a reading in the window, from a sensor whose
// error may lie anywhere within its tolerance.
func (s *story) temperature() {
	sources := []physics.LevelSensor{{Source: "reader"}, {Source: "reader"}, {Source: "reader"}, {Source: "probe"}, {Source: "probe"}, {Source: "gun"}}
	tolerances := map[string]float64{"reader": 3, "probe": 2, "gun": 10}
	s.in.Sensor = sources[s.random.IntN(len(sources))]
	tolerance, window := tolerances[s.in.Sensor.Source], s.in.Profile.Window
	for {
		s.plugC = s.between(window.LowC-15, window.HighC+15)
		s.in.AsLeft.PlugInC = math.Round(s.plugC + s.between(-tolerance, tolerance))
		if s.in.AsLeft.PlugInC >= window.LowC && s.in.AsLeft.PlugInC <= window.HighC {
			break
		}
	}
	if s.chance(0.08) {
		s.in.Irregular = append(s.in.Irregular, "reading_gap")
		s.plugC += 2 * s.random.NormFloat64()
	}
}

// attitude draws how the vehicle stands and what was measured of it.
func (s *story) attitude() {
	tangent := func(deg float64) float64 { return math.Tan(deg * math.Pi / 180) }
	s.surfaceCM2 = 400
	if s.chance(0.08) {
		s.in.Attitude = nil
		s.tiltML = 40 * 100 * tangent(1.5*s.random.NormFloat64())
		return
	}
	pitch, roll, sd := s.between(-1.2, 1.2), s.between(-1.2, 1.2), s.between(0.1, 0.5)
	ahead, right := s.between(-150, 150), s.between(-150, 150)
	s.surfaceCM2 = s.between(250, 700)
	s.tiltML = s.surfaceCM2 / 10 * (ahead*(1+0.15*s.random.NormFloat64())*tangent(pitch) + right*(1+0.15*s.random.NormFloat64())*tangent(roll))
	s.in.Attitude = &physics.TiltShiftInput{PitchDeg: pitch + sd*s.random.NormFloat64(), RollDeg: roll + sd*s.random.NormFloat64(), SDDeg: sd,
		Plug: physics.PlugPlace{AheadMM: ahead, RightMM: right}, FreeSurfaceCM2: s.surfaceCM2}
}

// halfAMillimetre is what stands over the surface at balance.
func (s *story) halfAMillimetre() float64 {
	return s.surfaceCM2 / 10 * 0.5 * (1 + 0.5*s.random.NormFloat64())
}

// drip draws how the hole looked when the plug went in.
func (s *story) drip() {
	s.aboveML = s.halfAMillimetre()
	switch draw := s.random.Float64(); {
	case draw < 0.10:
		s.in.AsLeft.Class = "below"
		s.aboveML = -10 + 20*s.random.NormFloat64()
	case draw < 0.25:
		s.in.AsLeft.Class = "above"
		remaining := s.between(20, 150)
		s.in.AsLeft.RemainingML = &physics.Normal{Mean: math.Max(0, remaining*(1+0.2*s.random.NormFloat64())), SD: 0.2 * remaining}
		s.aboveML += remaining
	}
	halfWidth := s.between(10, 30)
	if s.chance(0.15) {
		s.in.AsLeft.Watched = false
		halfWidth *= 2
	}
	s.aboveML += s.between(-halfWidth, halfWidth)
}

// hidden draws what will leave the sump after the check.
func (s *story) hidden() {
	switch draw := s.random.Float64(); {
	case draw < 0.12:
		s.in.Cooler = physics.LevelCooler{Circuit: "flushed", Cycle: 1}
		s.hiddenML = 400 + 120*s.random.NormFloat64()
	case draw < 0.24:
		s.in.Cooler = physics.LevelCooler{Circuit: "opened", Cycle: 1}
		s.hiddenML = 150 + 100*s.random.NormFloat64()
	case draw < 0.30:
		s.in.Cooler = physics.LevelCooler{Circuit: "unknown", Cycle: 1}
		s.hiddenML = 150 * s.random.NormFloat64()
	case draw < 0.40:
		s.in.Cooler = physics.LevelCooler{Circuit: "replaced", Cycle: 2, HotDriveSince: true}
	}
	if s.chance(0.05) {
		s.in.Irregular = append(s.in.Irregular, "foam")
		s.hiddenML += s.between(0, s.between(80, 240))
	}
	if s.chance(0.04) {
		s.in.AsLeft.Exercised = false
		s.hiddenML += s.between(0, 400)
	}
}

// level is the true level at the middle of the window of a gearbox whose lip
// carries so much at the plug-in: the mass stays, oil and case change.
func (s *story) level(aboveML float64) float64 {
	referenceC := (s.in.Profile.Window.LowC + s.in.Profile.Window.HighC) / 2
	density := func(tempC float64) float64 {
		x := 0.6278 / s.in.Profile.DensityKgM3 * (tempC - 15)
		return s.in.Profile.DensityKgM3 * math.Exp(-x-0.8*x*x)
	}
	capacity := s.volumeML * (1 + 6.9e-5*(s.plugC-referenceC))
	mass := (capacity + s.tiltML + aboveML) * density(s.plugC)
	return mass/density(referenceC) - s.volumeML
}

// simulate draws a check that ran out at the opening, was caught to balance
// and plugged.
func simulate(random *rand.Rand) simulated {
	windows := []physics.Window{{LowC: 30, HighC: 50}, {LowC: 35, HighC: 45}, {LowC: 40, HighC: 45}}
	s := &story{random: random, in: carefulCheck()}
	s.in.Profile.Window = windows[random.IntN(len(windows))]
	s.in.Profile.ActiveVolumeML = s.between(5000, 14000)
	s.in.Profile.DensityKgM3 = s.between(830, 870)
	s.volumeML = s.in.Profile.ActiveVolumeML * (1 + 0.1*random.NormFloat64())
	s.temperature()
	s.attitude()
	s.drip()
	s.hidden()
	caught := s.between(50, 900)
	measured := caught + math.Hypot(10, 0.02*caught)*random.NormFloat64()
	s.in.AsFound = &physics.LevelAsFound{OpenedC: s.in.AsLeft.PlugInC - 3, Outcome: "ran out", PlugInC: pointer(s.in.AsLeft.PlugInC)}
	s.in.Moves = []physics.LevelMove{{Direction: "out", VolumeML: pointer(math.Max(1, measured)), TempC: s.in.AsLeft.PlugInC, Phase: "as_found"}}
	return simulated{in: s.in, trueLeftML: s.level(s.aboveML) - s.hiddenML, trueFound: s.level(s.halfAMillimetre() + s.between(-20, 20) + caught)}
}
