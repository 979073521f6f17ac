package physics

import "math"

// The probabilities at which a word may be said.
const (
	sureProbability   = 0.95
	likelyProbability = 0.5
)

// readingWord is the word the probabilities carry.
func readingWord(p Conformity) string {
	switch {
	case p.In >= sureProbability:
		return "in"
	case p.In >= likelyProbability:
		return "likely in"
	case p.Low >= sureProbability:
		return "low"
	case p.High >= sureProbability:
		return "high"
	case p.Low >= likelyProbability:
		return "likely low"
	case p.High >= likelyProbability:
		return "likely high"
	}
	return "not proven"
}

// voidReasons says why there is no level left behind that could be judged.
func (in LevelEstimateInput) voidReasons() []string {
	reasons := []string{}
	for _, word := range []string{"overrun", "stalled"} {
		if in.flagged(word) {
			reasons = append(reasons, word)
		}
	}
	if in.AsLeft == nil {
		return append(reasons, "not_plugged")
	}
	if in.AsLeft.PlugInC > in.Profile.Window.HighC || in.AsLeft.PlugInC < in.Profile.Window.LowC {
		reasons = append(reasons, "plugged_outside_window")
	}
	if in.AsLeft.Class == "none" && !in.everDripped() {
		reasons = append(reasons, "lip_not_reached")
	}
	return reasons
}

// everDripped says whether the fluid is known to have reached the lip: a dry
// hole alone only says that the level is not above it.
func (in LevelEstimateInput) everDripped() bool {
	if in.AsFound != nil && (in.AsFound.Outcome != "nothing" || in.AsFound.FirstDripC != nil) {
		return true
	}
	for _, move := range in.Moves {
		if move.Direction == "out" {
			return true
		}
	}
	return false
}

// secondCycleRequired says whether the profile wants the check repeated after
// a hot drive, given what was done to the cooler circuit.
func (in LevelEstimateInput) secondCycleRequired() bool {
	switch in.Profile.SecondCycle {
	case "always":
		return true
	case "if cooler opened":
		return in.Cooler.Circuit != "untouched"
	}
	return false
}

// secondCyclePending says whether a required second cycle is still to come.
func (in LevelEstimateInput) secondCyclePending() bool {
	return in.secondCycleRequired() && (in.Cooler.Cycle == 1 || !in.Cooler.HotDriveSince)
}

// status says how far a level left behind may be relied on.
func (in LevelEstimateInput) status() string {
	if in.secondCyclePending() || in.AsLeft.Class == "stream" {
		return "provisional"
	}
	return "final"
}

// leftReasons lists what stands behind the level left, in a fixed order.
func (in LevelEstimateInput) leftReasons(m levelModel, out LevelEstimateOutput) []string {
	closing := map[string]string{"none": "dry_at_close", "below": "below_at_close", "above": "above_at_close", "stream": "stream_at_close"}
	reasons := []string{}
	if word, ok := closing[in.AsLeft.Class]; ok {
		reasons = append(reasons, word)
	}
	add := func(holds bool, word string) {
		if holds {
			reasons = append(reasons, word)
		}
	}
	add(!in.AsLeft.Watched, "not_watched")
	add(in.exerciseSkipped(), "exercise_skipped")
	unproven := !in.Cooler.HotDriveSince && in.Cooler.Circuit != "untouched"
	add(unproven && in.Cooler.Circuit != "unknown", "cooler_unproven")
	add(unproven && in.Cooler.Circuit == "unknown", "cooler_unknown")
	add(in.secondCyclePending(), "second_cycle_due")
	add(in.secondCycleRequired() && in.Cooler.Cycle == 2 && !in.Cooler.HotDriveSince, "no_hot_drive")
	add(in.amountsDisagree(m, out), "amounts_disagree")
	add(out.Reading == "not proven", "too_uncertain")
	return reasons
}

// standingReasons lists what weakens a check whatever its result.
func (in LevelEstimateInput) standingReasons() []string {
	reasons := []string{}
	for _, word := range []string{"foam", "clock_gap", "reading_gap"} {
		if in.flagged(word) {
			reasons = append(reasons, word)
		}
	}
	if in.AsLeft == nil && in.flagged("exercise_skipped") {
		reasons = append(reasons, "exercise_skipped")
	}
	if in.attitudeUnknown() {
		reasons = append(reasons, "attitude_unknown")
	}
	if in.Sensor.Source == "gun" {
		reasons = append(reasons, "skin_reading")
	}
	if in.flagged("unproven_profile") {
		reasons = append(reasons, "unproven_profile")
	}
	return reasons
}

// attitudeUnknown says whether no attitude can be relied on.
func (in LevelEstimateInput) attitudeUnknown() bool {
	return in.Attitude == nil || in.flagged("attitude_unknown")
}

// amountsDisagree compares what was added and caught between the two
// balances with the difference of their levels: tilt and sensor are common to
// both and fall out, so that a spill or a slip of the pen shows.
func (in LevelEstimateInput) amountsDisagree(m levelModel, out LevelEstimateOutput) bool {
	if out.AsFound == nil || in.exerciseSkipped() || in.flagged("foam") {
		return false // fluid is where no plug shows it
	}
	before, beforeSD, _, _ := in.net(m, "as_found")
	later, laterSD, _, _ := in.net(m, "later")
	shift := m.atReference(in.AsLeft.PlugInC)
	residual := in.residual(m, in.AsLeft.Class)
	tilt := in.tilt()
	expected := out.AsFound.LevelML + before + later
	seen := shift + residual.ShiftML + tilt.ShiftML
	cooler := in.cooler() // may have taken its share already
	spread := math.Hypot(math.Hypot(beforeSD, laterSD), math.Hypot(residual.SDML, 3*dripSpreadML))
	spread = math.Hypot(spread, cooler.size())
	return math.Abs(expected-seen) > 3*math.Hypot(spread, volumeSpread*shift)
}

// next lists what would make the result better, in the order to do it.
func (in LevelEstimateInput) next(out LevelEstimateOutput) []string {
	next := []string{}
	if in.attitudeUnknown() {
		next = append(next, "measure_attitude")
	}
	if out.AsLeft != nil && out.Reading != "in" && sensorLeads(out.Budget) {
		next = append(next, "second_reading")
	}
	repeat := out.AsLeft == nil || out.Reading == "low" || out.Reading == "high" || out.Reading == "likely low" || out.Reading == "likely high"
	if out.AsLeft != nil {
		repeat = repeat || in.AsLeft.Class == "stream" || in.flagged("foam") || in.exerciseSkipped()
	}
	if repeat {
		next = append(next, "repeat_cold")
	}
	if out.AsLeft != nil && in.secondCyclePending() {
		next = append(next, "second_cycle")
	}
	if len(next) == 0 {
		next = append(next, "none")
	}
	return next
}

// sensorLeads says whether the temperature reading blurs most.
func sensorLeads(budget []BudgetEntry) bool {
	largest, source := 0.0, ""
	for _, entry := range budget {
		if entry.SDML > largest {
			largest, source = entry.SDML, entry.Source
		}
	}
	return source == "sensor" || source == "reading_age"
}

// check states the contract of LevelEstimate.
func (in LevelEstimateInput) check() error {
	var c checks
	p := in.Profile
	c.fluidTemperature("profile.window.low_c", p.Window.LowC)
	c.fluidTemperature("profile.window.high_c", p.Window.HighC)
	c.window("profile.window", p.Window)
	c.between("profile.active_volume_ml", p.ActiveVolumeML, 100, 100000)
	c.fluid("profile.density_15c_kg_m3", p.DensityKgM3, "profile.case_expansion_per_c", in.model().casePerC)
	c.oneOf("profile.second_cycle", p.SecondCycle, "never", "if cooler opened", "always")
	if p.Acceptance != nil {
		c.between("profile.acceptance.low_ml", p.Acceptance.LowML, -10000, 10000)
		c.between("profile.acceptance.high_ml", p.Acceptance.HighML, -10000, 10000)
		if !(p.Acceptance.LowML < p.Acceptance.HighML) {
			c.fail("order", "profile.acceptance.high_ml", "must be above low_ml")
		}
	}
	if p.DropUL != nil {
		c.between("profile.drop_ul", *p.DropUL, 5, 200)
	}
	in.Sensor.check(&c)
	if in.Attitude != nil {
		c.tilt("attitude.", *in.Attitude)
	}
	if in.AsFound != nil {
		in.AsFound.check(&c)
	}
	c.count("moves", len(in.Moves), 200)
	for i := range min(len(in.Moves), 200) {
		in.Moves[i].check(&c, i)
	}
	if in.AsLeft != nil {
		in.AsLeft.check(&c)
	}
	in.Cooler.check(&c)
	c.count("irregular", len(in.Irregular), 20)
	for i := range min(len(in.Irregular), 20) {
		c.oneOf(at("irregular", i, ""), in.Irregular[i], "overrun", "stalled", "exercise_skipped", "attitude_unknown",
			"foam", "unproven_profile", "clock_gap", "reading_gap")
	}
	return c.err()
}

// check requires a known source and sensible figures.
func (s LevelSensor) check(c *checks) {
	c.oneOf("sensor.source", s.Source, "reader", "probe", "gun")
	if s.ResolutionC != nil {
		c.between("sensor.resolution_c", *s.ResolutionC, 0, 20)
	}
	if s.ToleranceC != nil {
		c.between("sensor.tolerance_c", *s.ToleranceC, 0, 50)
	}
}

// check requires temperatures the fluid can have and a known outcome.
func (f LevelAsFound) check(c *checks) {
	c.fluidTemperature("as_found.opened_c", f.OpenedC)
	c.oneOf("as_found.outcome", f.Outcome, "ran out", "dripping", "nothing")
	if f.FirstDripC != nil {
		c.fluidTemperature("as_found.first_drip_c", *f.FirstDripC)
	}
	if f.PlugInC != nil {
		c.fluidTemperature("as_found.plug_in_c", *f.PlugInC)
	}
}

// check requires exactly one amount.
func (move LevelMove) check(c *checks, i int) {
	c.oneOf(at("moves", i, "direction"), move.Direction, "in", "out")
	c.oneOf(at("moves", i, "phase"), move.Phase, "as_found", "later")
	c.fluidTemperature(at("moves", i, "temp_c"), move.TempC)
	if (move.VolumeML == nil) == (move.MassG == nil) {
		c.fail("one_of", at("moves", i, "volume_ml"), "give either volume_ml or mass_g")
	}
	if move.VolumeML != nil {
		c.between(at("moves", i, "volume_ml"), *move.VolumeML, 0, 50000)
	}
	if move.MassG != nil {
		c.between(at("moves", i, "mass_g"), *move.MassG, 0, 50000)
	}
	if move.SDML != nil {
		c.between(at("moves", i, "sd_ml"), *move.SDML, 0, 5000)
	}
}

// check requires a temperature the fluid can have and a known class.
func (l LevelAsLeft) check(c *checks) {
	c.fluidTemperature("as_left.plug_in_c", l.PlugInC)
	c.oneOf("as_left.class", l.Class, "none", "below", "balanced", "above", "stream")
	if l.Ratio != nil {
		c.between("as_left.ratio.p10", l.Ratio.P10, 0, 1e6)
		c.between("as_left.ratio.p50", l.Ratio.P50, 0, 1e6)
		c.between("as_left.ratio.p90", l.Ratio.P90, 0, 1e6)
	}
	if l.RemainingML != nil {
		c.normal("as_left.remaining_ml", *l.RemainingML, 0, 10000, 10000)
	}
	if l.SinceExercise != nil {
		c.between("as_left.seconds_since_exercise", *l.SinceExercise, 0, 1e6)
	}
}

// check requires known words and a sensible uptake.
func (c LevelCooler) check(faults *checks) {
	faults.oneOf("cooler.circuit", c.Circuit, "untouched", "opened", "drained", "flushed", "replaced", "unknown")
	if c.UptakeML != nil {
		faults.normal("cooler.uptake_ml", *c.UptakeML, 0, 5000, 5000)
	}
	if c.Cycle != 1 && c.Cycle != 2 {
		faults.fail("out_of_range", "cooler.cycle", "must be 1 or 2")
	}
}
