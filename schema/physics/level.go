package physics

import "math"

// LevelProfile is what the procedure says about the gearbox.
type LevelProfile struct {
	Window           Window          `json:"window"`
	ActiveVolumeML   float64         `json:"active_volume_ml"`
	DensityKgM3      float64         `json:"density_15c_kg_m3"`
	CaseExpansionPer *float64        `json:"case_expansion_per_c,omitempty"`
	Acceptance       *AcceptanceBand `json:"acceptance,omitempty"`
	SecondCycle      string          `json:"second_cycle"`
	DropUL           *float64        `json:"drop_ul,omitempty"`
}

// AcceptanceBand is the range of levels the owner of a procedure accepts.
type AcceptanceBand struct {
	LowML  float64 `json:"low_ml"`
	HighML float64 `json:"high_ml"`
	Origin string  `json:"origin"`
}

// LevelSensor is where the temperatures came from.
type LevelSensor struct {
	Source      string   `json:"source"`
	ResolutionC *float64 `json:"resolution_c,omitempty"`
	ToleranceC  *float64 `json:"tolerance_c,omitempty"`
}

// LevelAsFound is the first opening of the level plug, before anything was
// added.
type LevelAsFound struct {
	OpenedC    float64  `json:"opened_c"`
	Outcome    string   `json:"outcome"`
	FirstDripC *float64 `json:"first_drip_c,omitempty"`
	PlugInC    *float64 `json:"plug_in_c,omitempty"`
	Seen       string   `json:"seen,omitempty"`
}

// LevelMove is fluid that was added or caught, by volume or by mass.
type LevelMove struct {
	Direction string   `json:"direction"`
	VolumeML  *float64 `json:"volume_ml,omitempty"`
	MassG     *float64 `json:"mass_g,omitempty"`
	TempC     float64  `json:"temp_c"`
	SDML      *float64 `json:"sd_ml,omitempty"`
	Phase     string   `json:"phase"`
}

// LevelAsLeft is the moment the plug went in for good.
type LevelAsLeft struct {
	PlugInC       float64    `json:"plug_in_c"`
	Class         string     `json:"class"`
	Ratio         *Quantiles `json:"ratio,omitempty"`
	RemainingML   *Normal    `json:"remaining_ml,omitempty"`
	Watched       bool       `json:"watched"`
	Exercised     bool       `json:"exercised"`
	SinceExercise *float64   `json:"seconds_since_exercise,omitempty"`
}

// LevelCooler is what is known of the cooler circuit.
type LevelCooler struct {
	Circuit       string  `json:"circuit"`
	UptakeML      *Normal `json:"uptake_ml,omitempty"`
	Cycle         int     `json:"cycle"`
	HotDriveSince bool    `json:"hot_drive_since"`
}

// LevelEstimateInput is a profile's figures and what one check observed.
type LevelEstimateInput struct {
	Profile   LevelProfile    `json:"profile"`
	Sensor    LevelSensor     `json:"sensor"`
	Attitude  *TiltShiftInput `json:"attitude"`
	AsFound   *LevelAsFound   `json:"as_found"`
	Moves     []LevelMove     `json:"moves"`
	AsLeft    *LevelAsLeft    `json:"as_left"`
	Cooler    LevelCooler     `json:"cooler"`
	Irregular []string        `json:"irregular"`
}

// LevelFound is the level before anything was added, and how it was found.
type LevelFound struct {
	LevelML float64 `json:"level_ml"`
	SDML    float64 `json:"sd_ml"`
	Method  string  `json:"method"`
}

// LevelLeft is the level the check left behind.
type LevelLeft struct {
	LevelML float64 `json:"level_ml"`
	SDML    float64 `json:"sd_ml"`
}

// BudgetEntry is one source's share of the level left behind.
type BudgetEntry struct {
	Source  string  `json:"source"`
	ShiftML float64 `json:"shift_ml"`
	SDML    float64 `json:"sd_ml"`
}

// LevelEstimateOutput is the result of a check.
type LevelEstimateOutput struct {
	ReferenceC  float64        `json:"reference_c"`
	AsFound     *LevelFound    `json:"as_found"`
	AsLeft      *LevelLeft     `json:"as_left"`
	Budget      []BudgetEntry  `json:"budget"`
	Band        AcceptanceBand `json:"band"`
	Probability *Conformity    `json:"probability"`
	Reading     string         `json:"reading"`
	Status      string         `json:"status"`
	Reasons     []string       `json:"reasons"`
	Next        []string       `json:"next"`
}

// LevelEstimate gives the level a check found and the level it left, with
// the budget of what moves and blurs it, and the word the evidence carries.
//
// Level 0 is the lip at the middle of the window, vehicle level, engine
// idling in park, cooler circuit full; positive is fuller. AsLeft: the lip at
// the plug-in temperature brought to the middle of the window against the
// case, plus tilt, plus what stands above the lip, less what an unproven
// cooler circuit will take. AsFound: the same for the moment the first
// opening was at balance, plus what was caught, less what was added until
// then.
//
// Words. Reading: "in" with 0.95 inside the band, "likely in" with 0.5; "low"
// or "high" with 0.95 outside on that side, "likely low" or "likely high" with
// 0.5; else, or without a level left, "not proven". Status: "not done"
// without a level left; "provisional" where a second cycle is required and
// this is the first, or no hot drive lies between, or fluid still streamed
// when the plug went in; else "final".
// Budget sources, largest first: temperature, sensor, tilt, cooler, residual,
// drip, foam, exercise, reading_age. A budget is empty without a level left.
// Methods of AsFound: caught_to_balance, first_drip, added_to_first_drip,
// added_and_caught, dripping_at_opening.
// Reasons: overrun, stalled, not_plugged, plugged_outside_window,
// lip_not_reached (void); dry_at_close, below_at_close, above_at_close,
// stream_at_close, not_watched, exercise_skipped, foam, attitude_unknown,
// skin_reading, clock_gap, reading_gap, cooler_unproven, cooler_unknown,
// second_cycle_due, no_hot_drive, unproven_profile, as_found_not_measured,
// as_found_temperature_missing, amounts_disagree, too_uncertain.
// Next: second_cycle, measure_attitude, second_reading, repeat_cold, or none.
//
// Seen, the acceptance's origin, the drop size and the ratio are kept with
// the input and do not enter the arithmetic.
//
// Shapes: at most 200 moves, each with either a volume or a mass.
// Units: °C, mL, g, degrees, mm, cm², kg/m³ at 15 °C.
// Errors: out_of_range, order, unknown_word, one_of (a move without exactly
// one of volume_ml and mass_g) or too_many, on the field at fault.
// Accuracy: 2 sd hold the truth in 93-97 % of simulated checks; the default
// spreads stand beside their constants.
// Source: ASTM D1250-80 table 54D; JCGM 100:2008 for the budget; JCGM
// 106:2012 clause 7 for the words; balances of the trade (common practice,
// no source).
func LevelEstimate(in LevelEstimateInput) (LevelEstimateOutput, error) {
	if err := in.check(); err != nil {
		return LevelEstimateOutput{}, err
	}
	model := in.model()
	out := LevelEstimateOutput{
		ReferenceC: model.referenceC,
		Budget:     []BudgetEntry{},
		Band:       model.band(in.Profile),
		Reading:    "not proven",
		Status:     "not done",
		Reasons:    []string{},
		Next:       []string{},
	}
	found, foundReason := in.asFound(model)
	out.AsFound = found
	void := in.voidReasons()
	out.Reasons = append(out.Reasons, void...)
	if len(void) == 0 {
		out.Budget = in.budget(model)
		out.AsLeft = total(out.Budget)
		probability, err := Conformance(out.AsLeft.LevelML, out.AsLeft.SDML, out.Band.LowML, out.Band.HighML)
		if err != nil {
			return LevelEstimateOutput{}, err
		}
		out.Probability = &probability
		out.Reading = readingWord(probability)
		out.Status = in.status()
		out.Reasons = append(out.Reasons, in.leftReasons(model, out)...)
	}
	if foundReason != "" {
		out.Reasons = append(out.Reasons, foundReason)
	}
	out.Reasons = append(out.Reasons, in.standingReasons()...)
	out.Next = in.next(out)
	return out, nil
}

// levelModel is the arithmetic a check needs: the fluid, the case and the
// temperature everything is brought to.
type levelModel struct {
	volumeML, alpha, casePerC, referenceC, densityKgM3 float64
}

// model takes the arithmetic from the profile.
func (in LevelEstimateInput) model() levelModel {
	casePerC := aluminiumCasePerC
	if in.Profile.CaseExpansionPer != nil {
		casePerC = *in.Profile.CaseExpansionPer
	}
	return levelModel{
		volumeML:    in.Profile.ActiveVolumeML,
		alpha:       expansionAt15(in.Profile.DensityKgM3),
		casePerC:    casePerC,
		referenceC:  in.Profile.Window.Mid(),
		densityKgM3: in.Profile.DensityKgM3,
	}
}

// atReference is the level at the reference temperature of a gearbox that was
// full to the lip at tempC: less than nothing where it was hotter.
func (m levelModel) atReference(tempC float64) float64 {
	return float64(m.volumeML * (apparentRatio(m.alpha, m.casePerC, tempC, m.referenceC) - 1))
}

// mlPerC is how much a level moves per °C of plug-in temperature.
func (m levelModel) mlPerC(tempC float64) float64 {
	return m.volumeML * (expansionRate(m.alpha, tempC) - m.casePerC)
}

// band is the profile's acceptance, or what the window itself implies: the
// lip at its upper limit up to the lip at its lower limit.
func (m levelModel) band(p LevelProfile) AcceptanceBand {
	if p.Acceptance != nil {
		band := *p.Acceptance
		if band.Origin == "" {
			band.Origin = "profile"
		}
		return band
	}
	return AcceptanceBand{LowML: m.atReference(p.Window.HighC), HighML: m.atReference(p.Window.LowC), Origin: "window"}
}

// movedML is a move's volume at the reference temperature and its spread.
func (m levelModel) movedML(move LevelMove) (volumeML, sdML float64) {
	if move.MassG != nil {
		volumeML = *move.MassG * 1000 / (m.densityKgM3 * volumeCorrection(m.alpha, m.referenceC))
		sdML = scaleSpreadML
	} else {
		volumeML = *move.VolumeML * volumeCorrection(m.alpha, move.TempC) / volumeCorrection(m.alpha, m.referenceC)
		sdML = math.Hypot(pourSpreadML, pourSpread*volumeML)
	}
	if move.SDML != nil {
		sdML = *move.SDML
	}
	return volumeML, sdML
}

// net is what the moves of one phase brought in, at the reference
// temperature, with its spread, and how much of it went in and came out.
func (in LevelEstimateInput) net(m levelModel, phase string) (netML, sdML, inML, outML float64) {
	for _, move := range in.Moves {
		if move.Phase != phase {
			continue
		}
		volumeML, sd := m.movedML(move)
		sdML = math.Hypot(sdML, sd)
		if move.Direction == "in" {
			inML += volumeML
		} else {
			outML += volumeML
		}
	}
	return inML - outML, sdML, inML, outML
}

// asFound gives the level before anything was added, or why there is none.
func (in LevelEstimateInput) asFound(m levelModel) (*LevelFound, string) {
	if in.AsFound == nil {
		return nil, "as_found_not_measured"
	}
	netML, netSD, inML, outML := in.net(m, "as_found")
	moment, reason := in.AsFound.balance(inML > 0, outML > 0)
	if moment.method == "" {
		return nil, reason
	}
	tilt := in.tilt()
	shift := m.atReference(moment.tempC)
	residual := in.residual(m, "balanced")
	if moment.firstDrip {
		residual = BudgetEntry{ShiftML: firstDripML, SDML: firstDripML}
	}
	sum := total([]BudgetEntry{
		{ShiftML: shift, SDML: volumeSpread * math.Abs(shift)},
		{SDML: m.mlPerC(moment.tempC) * in.Sensor.spreadC()},
		tilt,
		residual,
		{SDML: moment.extraML},
		{ShiftML: -netML, SDML: netSD},
	})
	return &LevelFound{LevelML: sum.LevelML, SDML: sum.SDML, Method: moment.method}, reason
}

// balanceMoment is when the first opening was at balance.
type balanceMoment struct {
	tempC     float64
	method    string
	firstDrip bool
	extraML   float64 // spread of the judgement itself
}

// balance picks the moment of the first opening whose level is known: the
// plug going in while dripping, or the first drip.
func (f LevelAsFound) balance(added, caught bool) (balanceMoment, string) {
	ran := f.Outcome != "nothing"
	switch {
	case ran && caught && f.PlugInC != nil:
		return balanceMoment{tempC: *f.PlugInC, method: "caught_to_balance", extraML: dripSpreadML}, ""
	case ran && caught:
		return balanceMoment{tempC: f.OpenedC, method: "caught_to_balance", extraML: missingTemperatureML}, "as_found_temperature_missing"
	case f.Outcome == "dripping" && !added:
		return balanceMoment{tempC: f.OpenedC, method: "dripping_at_opening", extraML: 2 * dripSpreadML}, ""
	case ran:
		return balanceMoment{}, "as_found_not_measured"
	case added && caught && f.PlugInC != nil:
		return balanceMoment{tempC: *f.PlugInC, method: "added_and_caught", extraML: dripSpreadML}, ""
	case added && f.FirstDripC != nil:
		return balanceMoment{tempC: *f.FirstDripC, method: "added_to_first_drip", firstDrip: true, extraML: dripSpreadML}, ""
	case added && f.PlugInC != nil:
		return balanceMoment{tempC: *f.PlugInC, method: "added_to_first_drip", extraML: 2 * dripSpreadML}, ""
	case f.FirstDripC != nil:
		return balanceMoment{tempC: *f.FirstDripC, method: "first_drip", firstDrip: true, extraML: dripSpreadML}, ""
	}
	return balanceMoment{}, "as_found_not_measured"
}

// total adds a budget up: shifts plainly, spreads as uncorrelated.
func total(budget []BudgetEntry) *LevelLeft {
	sum := &LevelLeft{}
	for _, entry := range budget {
		sum.LevelML += entry.ShiftML
		sum.SDML = math.Hypot(sum.SDML, entry.SDML)
	}
	return sum
}
