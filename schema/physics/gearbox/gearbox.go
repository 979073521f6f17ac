// Package gearbox is a simulated gearbox with known truth.
//
// It judges the forecasts and estimates of package physics and makes demo
// data, so it shares no code with them: it has its own random numbers, its
// own heat balance in small steps, its own fluid and its own weir. Nothing
// in it is measured on a real gearbox; the ranges are the design ranges of the
// physics notes.
//
// Level 0 is the lip of the plug at the reference temperature; volumes are in
// mL, times in seconds since Draw, temperatures in °C.
package gearbox

import "math"

// Population is the range a gearbox is drawn from.
type Population struct {
	AmbientLowC, AmbientHighC float64
	RiseC, RiseSDC            float64 // how far idling lifts the fluid above the air
	TimeConstantS             float64 // median
	TimeConstantLogSD         float64
	WarmerShare               float64 // share with a coolant-fed warmer
	WarmerFactor              float64 // how much faster warming is once it works
	WarmerOnsetS              float64
	SensorNoiseC              float64
	SensorLagS                float64
	SlipShare                 float64 // share of readings mistyped
	ShellShare                float64 // heat of the case that trails the fluid, 0 for one lump
}

// Base is the population of the default prior: cold start at 8-26 °C.
func Base() Population {
	return Population{
		AmbientLowC: 8, AmbientHighC: 26, RiseC: 55, RiseSDC: 15,
		TimeConstantS: 28 * 60, TimeConstantLogSD: 0.35,
		SensorNoiseC: 0.3, SlipShare: 0.04,
	}
}

// WinterTruck is twice as slow and stands in the cold.
func WinterTruck() Population {
	p := Base()
	p.AmbientLowC, p.AmbientHighC = -5, 12
	p.TimeConstantS *= 2
	return p
}

// Warmer has a coolant-fed warmer that makes warming 1.8 times faster after
// five minutes.
func Warmer() Population {
	p := Base()
	p.WarmerShare, p.WarmerFactor, p.WarmerOnsetS = 1, 1.8, 300
	return p
}

// Named returns a population by the name the lists of trials use: the three above, and
// shifts of the base population that no forecast is told of.
func Named(name string) (p Population, known bool) {
	p = Base()
	switch name {
	case "base":
	case "winter_truck":
		p = WinterTruck()
	case "warmer":
		p = Warmer()
	case "late_mild_warmer":
		p = Warmer()
		p.WarmerFactor, p.WarmerOnsetS = 1.5, 480
	case "warmer_in_a_tenth":
		p = Warmer()
		p.WarmerShare = 0.1
	case "trailing_sensor_10":
		p.SensorLagS = 10
	case "trailing_sensor_20":
		p.SensorLagS = 20
	case "two_lumps_fifth":
		p.ShellShare = 0.2
	case "two_lumps":
		p.ShellShare = 0.4
	case "noisy_sensor":
		p.SensorNoiseC = 0.6
	case "many_slips":
		p.SlipShare = 0.08
	case "small_and_quick":
		p.TimeConstantS *= 0.6
	case "little_rise":
		p.RiseC = 42
	case "much_rise":
		p.RiseC = 70
	case "frost":
		p.AmbientLowC, p.AmbientHighC = -25, -5
	default:
		return Population{}, false
	}
	return p, true
}

// Gearbox is one unit: its true parameters and its present state. Change the
// fields freely between steps; Step keeps them consistent.
type Gearbox struct {
	AmbientC, RiseC, TimeConstantS        float64
	WarmerFactor, WarmerOnsetS            float64
	SensorNoiseC, SensorLagS, ResolutionC float64
	SensorBiasC                           float64 // reads so much too high
	SlipShare, ShellShare                 float64
	FahrenheitReadings                    bool

	ActiveML        float64 // fluid that takes part, at the reference temperature
	ReferenceC      float64 // middle of the window
	ExpansionPerC   float64 // apparent, against the case
	FreeSurfaceCM2  float64
	PlugRadiusMM    float64
	DropUL          float64
	PlugAheadMM     float64 // plug from the centre of the free surface
	PlugRightMM     float64
	PitchDeg        float64 // nose up is positive
	RollDeg         float64 // right side up is positive
	PumpedML        float64 // held up in the passages while the engine runs
	ExtraML         float64 // true level: fluid above the lip at the reference, level, running
	EngineOn        bool
	PlugOpen        bool
	TimeS           float64
	FluidC, SensorC float64
	ShellC          float64
	RunML           float64 // run out since Draw
	Drops           int

	engineOnS float64
	partial   float64 // of the drop that hangs at the lip, in mL
	random    source
}

// Draw returns a cold gearbox of the population, fully settled at the air's
// temperature, engine off, plugged, level within 400 mL of the lip. The same
// seed gives the same gearbox and the same readings.
func Draw(seed uint64, p Population) Gearbox {
	g := Gearbox{random: source{state: seed}}
	r := &g.random
	g.AmbientC = r.uniform(p.AmbientLowC, p.AmbientHighC)
	g.RiseC = math.Max(8, p.RiseC+float64(p.RiseSDC*r.normal()))
	g.TimeConstantS = p.TimeConstantS * math.Exp(p.TimeConstantLogSD*r.normal())
	g.WarmerFactor, g.WarmerOnsetS = 1, p.WarmerOnsetS
	if r.uniform(0, 1) < p.WarmerShare {
		g.WarmerFactor = p.WarmerFactor
	}
	g.SensorNoiseC, g.SensorLagS, g.SlipShare, g.ShellShare = p.SensorNoiseC, p.SensorLagS, p.SlipShare, p.ShellShare
	g.ResolutionC = 1
	if r.uniform(0, 1) < 0.5 {
		g.ResolutionC, g.FahrenheitReadings = 5.0/9, true
	}
	g.ActiveML = r.uniform(6500, 11000)
	g.ReferenceC = 40
	g.ExpansionPerC = r.uniform(6.4e-4, 7.0e-4)
	g.FreeSurfaceCM2 = r.uniform(350, 700)
	g.PlugRadiusMM = r.uniform(5, 9)
	g.DropUL = r.uniform(28, 60)
	g.PlugAheadMM, g.PlugRightMM = r.uniform(-200, 200), r.uniform(-150, 150)
	g.PumpedML = r.uniform(1500, 3500)
	g.ExtraML = r.uniform(-400, 400)
	g.FluidC, g.SensorC, g.ShellC = g.AmbientC, g.AmbientC, g.AmbientC
	return g
}

// stepS is the longest step of the integrator: short beside every time
// constant here, the shortest being the thinning of a stream.
const stepS = 0.5

// Step lets dtS seconds pass: heat, sensor, and flow at an open plug.
func (g *Gearbox) Step(dtS float64) {
	for dtS > 1e-9 {
		h := math.Min(stepS, dtS)
		dtS -= h
		g.heat(h)
		g.flow(h)
		g.TimeS += h
		if g.EngineOn {
			g.engineOnS += h
		}
	}
}

// heat moves the fluid toward its end temperature. A shell, if there is one,
// takes heat from the fluid with a time constant of four minutes, so that the
// warming is no longer one exponential.
func (g *Gearbox) heat(h float64) {
	end, pace := g.AmbientC, 1.0
	if g.EngineOn {
		end += g.RiseC
		if g.engineOnS >= g.WarmerOnsetS {
			pace = g.WarmerFactor
		}
	}
	slope := func(fluid, shell float64) (float64, float64) {
		trade := (fluid - shell) / 240
		toShell := g.ShellShare * trade
		return (pace*(end-fluid))/g.TimeConstantS - toShell, trade
	}
	// Heun's rule: an Euler step, then the mean of the slopes at both ends.
	a, b := slope(g.FluidC, g.ShellC)
	c, d := slope(g.FluidC+h*a, g.ShellC+h*b)
	g.FluidC += h * (a + c) / 2
	g.ShellC += h * (b + d) / 2
	if g.SensorLagS > 0 {
		g.SensorC += (g.FluidC - g.SensorC) * (1 - math.Exp(-h/g.SensorLagS))
	} else {
		g.SensorC = g.FluidC
	}
}

// LevelML is the volume above the lip at the present temperature, attitude and
// engine state: what would run out if it could.
func (g *Gearbox) LevelML() float64 {
	level := g.ExtraML + (g.ActiveML+g.ExtraML)*g.ExpansionPerC*(g.FluidC-g.ReferenceC)
	if !g.EngineOn {
		level += g.PumpedML
	}
	return level - g.TiltML()
}

// TiltML is how much fuller the gearbox may be than when level before it runs out:
// the plug's rise over the centre of the free surface times that surface.
func (g *Gearbox) TiltML() float64 {
	const degree = math.Pi / 180
	rise := g.PlugAheadMM*math.Tan(g.PitchDeg*degree) + g.PlugRightMM*math.Tan(g.RollDeg*degree)
	return rise * g.FreeSurfaceCM2 / 10
}

// FlowMLS is the outflow at an open plug: a circular hole that works as a
// sharp-crested weir while part full, Q = Cd·√(2g)·2·√(2r)·h²·0.3927 to first
// order in the height h, damped by the thickness of cold fluid, and as an
// orifice once the hole is drowned.
func (g *Gearbox) FlowMLS() float64 {
	volume := g.LevelML()
	if !g.PlugOpen || volume <= 0 {
		return 0
	}
	heightMM := volume * 10 / g.FreeSurfaceCM2
	r := g.PlugRadiusMM / 1000
	discharge := 0.45 * math.Min(1, 0.25+math.Max(0, g.FluidC)/60)
	height := math.Min(heightMM/1000, r)
	weir := discharge * math.Sqrt(2*9.80665) * 2 * math.Sqrt(2*r) * 0.3927 * height * height
	if over := heightMM/1000 - r; over > 0 {
		weir += discharge * math.Pi * r * r / 2 * math.Sqrt(2*9.80665*over)
	}
	return weir * 1e6
}

// flow lets fluid out, whole drops at a time: what has not yet fallen hangs
// at the lip.
func (g *Gearbox) flow(h float64) {
	out := math.Min(g.FlowMLS()*h, math.Max(0, g.LevelML()))
	if out <= 0 {
		return
	}
	// Volumes leave at the present temperature; the level is kept at the reference.
	g.ExtraML -= out / (1 + g.ExpansionPerC*(g.FluidC-g.ReferenceC))
	g.RunML += out
	g.partial += out
	size := g.DropUL / 1000 * math.Exp(0.1*g.random.normal())
	for g.partial >= size {
		g.partial -= size
		g.Drops++
	}
}

// AddFluid pours in a volume measured at its own temperature; it mixes at once.
func (g *Gearbox) AddFluid(volumeML, tempC float64) {
	atReference := volumeML / (1 + g.ExpansionPerC*(tempC-g.ReferenceC))
	share := atReference / (g.ActiveML + g.ExtraML + atReference)
	g.FluidC += share * (tempC - g.FluidC)
	g.ExtraML += atReference
}

// Reading is what a person would write down now: the lagging, noisy sensor in
// whole degrees of its display, and now and then a typing slip.
func (g *Gearbox) Reading() (tempC float64, slip bool) {
	value := g.SensorC + g.SensorBiasC + g.SensorNoiseC*g.random.normal()
	if g.FahrenheitReadings {
		value = 32 + 1.8*value
	}
	value = math.Round(value)
	if g.random.uniform(0, 1) < g.SlipShare {
		value, slip = g.mistype(value), true
	}
	if g.FahrenheitReadings {
		value = (value - 32) / 1.8
	}
	return value, slip
}

// mistype returns the number with two digits exchanged, one digit wrong, or
// one digit left out.
func (g *Gearbox) mistype(value float64) float64 {
	tens, ones := math.Floor(math.Abs(value)/10), math.Mod(math.Abs(value), 10)
	switch k := int(g.random.uniform(0, 4)); {
	case k == 0 && tens != ones && tens < 10:
		return math.Copysign(10*ones+tens, value)
	case k == 1:
		return value + 10*math.Copysign(1+math.Floor(g.random.uniform(0, 3)), g.random.uniform(-1, 1))
	case k == 2 && tens > 0:
		return math.Copysign(tens, value)
	}
	return value + math.Copysign(4+math.Floor(g.random.uniform(0, 6)), g.random.uniform(-1, 1))
}

// RunTo steps until the fluid reaches tempC or limitS more seconds have gone,
// and returns the time it was reached, or false. It is the truth of a forecast:
// run it on a copy.
func (g Gearbox) RunTo(tempC, limitS float64) (timeS float64, reached bool) {
	for until := g.TimeS + limitS; g.TimeS < until; {
		before := g.FluidC
		if before >= tempC {
			return g.TimeS, true
		}
		g.Step(stepS)
		if g.FluidC >= tempC {
			return g.TimeS - stepS*(g.FluidC-tempC)/(g.FluidC-before), true
		}
	}
	return 0, false
}

// source is a 64-bit generator (splitmix64, from memory), good enough here
// and independent of any library's version.
type source struct{ state uint64 }

func (s *source) next() uint64 {
	s.state += 0x9e3779b97f4a7c15
	z := s.state
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// uniform returns a number in [low, high).
func (s *source) uniform(low, high float64) float64 {
	return low + (high-low)*float64(s.next()>>11)/(1<<53)
}

// normal returns a standard normal number (Box and Muller).
func (s *source) normal() float64 {
	u, v := 1-s.uniform(0, 1), s.uniform(0, 1)
	return math.Sqrt(-2*math.Log(u)) * math.Cos(2*math.Pi*v)
}
