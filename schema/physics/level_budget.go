package physics

import (
	"math"
	"sort"
)

// Spreads the observations do not state. All are common practice without a
// source, unless a line says otherwise.
const (
	scaleSpreadML = 6.0  // kitchen scale ±5 g
	pourSpreadML  = 10.0 // reading a jug
	pourSpread    = 0.02 // of the volume poured

	// Half-widths of the temperature sources; a rectangular distribution
	// (JCGM 100:2008 4.3.7) makes the spread 1/√3 of them.
	readerToleranceC = 3.0
	probeToleranceC  = 2.0
	gunToleranceC    = 10.0
	usualResolutionC = 1.0

	dripSpreadML         = 12.0  // judging the balance: ±10-30 mL, rectangular
	firstDripML          = 5.0   // head that starts the first drip
	missingTemperatureML = 35.0  // about 5 °C of a middling gearbox
	usualSurfaceCM2      = 400.0 // free surface where the attitude is unknown
	unknownTiltDeg       = 1.5
	unknownPlugMM        = 100.0
	surfaceSpread        = 0.15 // free surface and plug place are estimates
	foamML               = 80.0 // -0/+50-200 mL read too high
	foamSpreadML         = 60.0
	soonML               = 25.0 // drip judged within half a minute of revving
	soonS                = 30.0
	skippedML            = 200.0 // exercise skipped: up to 400 mL read too high
	skippedSpreadML      = 115.0
	clockGapC            = 1.0 // age of the plug-in temperature unsure
	readingGapC          = 2.0 // no temperature at the plug-in: a minute or two of warming
)

// spreadC is the standard uncertainty of one temperature reading.
func (s LevelSensor) spreadC() float64 {
	tolerance := readerToleranceC
	switch s.Source {
	case "probe":
		tolerance = probeToleranceC
	case "gun":
		tolerance = gunToleranceC
	}
	if s.ToleranceC != nil {
		tolerance = *s.ToleranceC
	}
	resolution := usualResolutionC
	if s.ResolutionC != nil {
		resolution = *s.ResolutionC
	}
	return math.Hypot(tolerance/math.Sqrt(3), resolution/math.Sqrt(12))
}

// budget lists everything that moves or blurs the level left behind, the
// largest first; what neither moves nor blurs is left out.
func (in LevelEstimateInput) budget(m levelModel) []BudgetEntry {
	left := in.AsLeft
	shift := m.atReference(left.PlugInC)
	drip := dripSpreadML
	if !left.Watched {
		drip *= 2
	}
	all := []BudgetEntry{
		{"temperature", shift, volumeSpread * math.Abs(shift)},
		{"sensor", 0, m.mlPerC(left.PlugInC) * in.Sensor.spreadC()},
		in.tilt(),
		in.cooler(),
		in.residual(m, left.Class),
		{"drip", 0, drip},
		in.foam(),
		in.exercise(),
		{"reading_age", 0, m.mlPerC(left.PlugInC) * in.readingAgeC()},
	}
	kept := []BudgetEntry{}
	for _, entry := range all {
		if entry.ShiftML != 0 || entry.SDML != 0 {
			kept = append(kept, entry)
		}
	}
	sort.SliceStable(kept, func(i, j int) bool { return kept[i].size() > kept[j].size() })
	return kept
}

// size orders a budget: what a source moves and blurs together.
func (b BudgetEntry) size() float64 { return math.Hypot(b.ShiftML, b.SDML) }

// tilt is what the attitude does; without one it only blurs.
func (in LevelEstimateInput) tilt() BudgetEntry {
	if in.Attitude == nil || in.flagged("attitude_unknown") {
		unknown := unknownPlugMM * tangentSlope(0) * unknownTiltDeg * usualSurfaceCM2 / 10
		return BudgetEntry{"tilt", 0, unknown}
	}
	a := *in.Attitude
	pitchML := a.Plug.AheadMM * math.Tan(a.PitchDeg*degree) * a.FreeSurfaceCM2 / 10
	rollML := a.Plug.RightMM * math.Tan(a.RollDeg*degree) * a.FreeSurfaceCM2 / 10
	pitchSD := a.Plug.AheadMM * tangentSlope(a.PitchDeg) * a.SDDeg * a.FreeSurfaceCM2 / 10
	rollSD := a.Plug.RightMM * tangentSlope(a.RollDeg) * a.SDDeg * a.FreeSurfaceCM2 / 10
	geometry := surfaceSpread * math.Hypot(pitchML, rollML)
	return BudgetEntry{"tilt", pitchML + rollML, math.Hypot(math.Hypot(pitchSD, rollSD), geometry)}
}

// cooler is what the circuit will still take on a hot drive.
func (in LevelEstimateInput) cooler() BudgetEntry {
	if in.Cooler.HotDriveSince || in.Cooler.Circuit == "untouched" {
		return BudgetEntry{Source: "cooler"}
	}
	uptake := in.Cooler.uptake()
	return BudgetEntry{"cooler", -uptake.Mean, uptake.SD}
}

// uptake is the volume an unproven circuit takes (common practice, no source).
func (c LevelCooler) uptake() Normal {
	if c.UptakeML != nil {
		return *c.UptakeML
	}
	switch c.Circuit {
	case "flushed", "drained", "replaced":
		return Normal{400, 120}
	case "opened":
		return Normal{150, 100}
	case "unknown":
		return Normal{0, 150}
	}
	return Normal{}
}

// residual is what stands above the lip when the plug goes in: about half a
// millimetre over the free surface at balance (common practice, no source).
func (in LevelEstimateInput) residual(m levelModel, class string) BudgetEntry {
	surfaceCM2 := usualSurfaceCM2
	if in.Attitude != nil && !in.flagged("attitude_unknown") {
		surfaceCM2 = in.Attitude.FreeSurfaceCM2
	}
	balanced := float64(0.05 * surfaceCM2)
	if in.AsLeft != nil && in.AsLeft.RemainingML != nil && class != "balanced" && class != "none" && class != "below" {
		remaining := *in.AsLeft.RemainingML
		return BudgetEntry{"residual", balanced + remaining.Mean, math.Hypot(0.5*balanced, remaining.SD)}
	}
	switch class {
	case "none":
		return BudgetEntry{"residual", -10, 30}
	case "below":
		return BudgetEntry{"residual", -10, 20}
	case "above":
		return BudgetEntry{"residual", balanced + 40, math.Hypot(0.5*balanced, 40)}
	case "stream":
		return BudgetEntry{"residual", balanced + 150, math.Hypot(0.5*balanced, 120)}
	}
	return BudgetEntry{"residual", balanced, 0.5 * balanced}
}

// foam makes a level read too high, so that the true one lies lower.
func (in LevelEstimateInput) foam() BudgetEntry {
	if in.flagged("foam") {
		return BudgetEntry{"foam", -foamML, foamSpreadML}
	}
	since := in.AsLeft.SinceExercise
	if since != nil && *since < soonS {
		return BudgetEntry{"foam", -soonML, soonML}
	}
	return BudgetEntry{Source: "foam"}
}

// exercise not done leaves circuits empty that will take fluid later.
func (in LevelEstimateInput) exercise() BudgetEntry {
	if in.exerciseSkipped() {
		return BudgetEntry{"exercise", -skippedML, skippedSpreadML}
	}
	return BudgetEntry{Source: "exercise"}
}

// exerciseSkipped says whether the gears were not all selected.
func (in LevelEstimateInput) exerciseSkipped() bool {
	return in.flagged("exercise_skipped") || !in.AsLeft.Exercised
}

// readingAgeC is how far the fluid may have warmed since the last reading.
func (in LevelEstimateInput) readingAgeC() float64 {
	age := 0.0
	if in.flagged("clock_gap") {
		age = math.Hypot(age, clockGapC)
	}
	if in.flagged("reading_gap") {
		age = math.Hypot(age, readingGapC)
	}
	return age
}

// flagged says whether the check was irregular in this way.
func (in LevelEstimateInput) flagged(word string) bool {
	for _, w := range in.Irregular {
		if w == word {
			return true
		}
	}
	return false
}
