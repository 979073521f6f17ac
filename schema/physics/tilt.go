package physics

import "math"

// degree is one degree of arc in radians.
const degree = math.Pi / 180

// steepestDeg bounds the angles the functions take: no vehicle is checked
// beyond it, and the tangent stays tame.
const steepestDeg = 45

// Angles are two measured inclinations. Nose up and right side up are
// positive.
type Angles struct {
	PitchDeg float64 `json:"pitch_deg"`
	RollDeg  float64 `json:"roll_deg"`
}

// angles requires both inclinations in range.
func (c *checks) angles(field string, a Angles) {
	prefix := field
	if prefix != "" {
		prefix += "."
	}
	c.between(prefix+"pitch_deg", a.PitchDeg, -steepestDeg, steepestDeg)
	c.between(prefix+"roll_deg", a.RollDeg, -steepestDeg, steepestDeg)
}

// ReversalInput is one pair of readings before and one after the phone was
// turned by 180° about the vertical on the same footprint.
type ReversalInput struct {
	First  Angles `json:"first"`
	Turned Angles `json:"turned"`
}

// ReversalOutput is the true inclination and the phone's own offset.
type ReversalOutput struct {
	PitchDeg float64 `json:"pitch_deg"`
	RollDeg  float64 `json:"roll_deg"`
	Offset   Angles  `json:"offset"`
}

// Reversal separates the inclination of a surface from the error of the
// device that measures it.
//
// Shapes: two readings of two angles, in the device's own axes.
// Units: degrees; the true angles are in the axes of the first reading.
// Errors: out_of_range for an angle that is not finite or beyond ±45°.
// Accuracy: exact arithmetic to a unit in the last place; the method holds
// for angles of a few degrees, where the axes do not mix.
// Source: reversal method, r1 = θ + b, r2 = -θ + b: Evans, Hocken, Estler,
// CIRP Annals 45 (1996) (from memory).
func Reversal(in ReversalInput) (ReversalOutput, error) {
	var c checks
	c.angles("first", in.First)
	c.angles("turned", in.Turned)
	if err := c.err(); err != nil {
		return ReversalOutput{}, err
	}
	return ReversalOutput{
		PitchDeg: 0.5 * (in.First.PitchDeg - in.Turned.PitchDeg),
		RollDeg:  0.5 * (in.First.RollDeg - in.Turned.RollDeg),
		Offset: Angles{
			PitchDeg: 0.5 * (in.First.PitchDeg + in.Turned.PitchDeg),
			RollDeg:  0.5 * (in.First.RollDeg + in.Turned.RollDeg),
		},
	}, nil
}

// PlugPlace is where the level plug sits, seen from the centre of the free
// surface of the fluid.
type PlugPlace struct {
	AheadMM float64 `json:"ahead_mm"`
	RightMM float64 `json:"right_mm"`
}

// TiltShiftInput describes a vehicle that does not stand level.
type TiltShiftInput struct {
	PitchDeg       float64   `json:"pitch_deg"`
	RollDeg        float64   `json:"roll_deg"`
	SDDeg          float64   `json:"sd_deg"`
	Plug           PlugPlace `json:"plug"`
	FreeSurfaceCM2 float64   `json:"free_surface_cm2"`
}

// TiltShiftOutput says what the tilt does to a level set at the plug.
type TiltShiftOutput struct {
	HeadMM  float64 `json:"head_mm"`
	ShiftML float64 `json:"shift_ml"`
	SDML    float64 `json:"sd_ml"`
}

// TiltShift gives the error of a level that was set at the plug of a tilted
// vehicle. A positive shift means the gearbox is left fuller than when level.
//
// Shapes: two angles with one common standard uncertainty, one plug place.
// Units: degrees (nose up and right side up positive), mm ahead and to the
// right of the centre of the free surface, cm²; mm of head and mL out.
// Errors: out_of_range for an angle beyond ±45°, a spread outside 0..10°, a
// plug more than 2000 mm away, or a surface outside 0..20000 cm².
// Accuracy: exact for a free surface that keeps its area; the spread is of
// first order, and grows with the angle.
// Source: Δz = d·tan θ at distance d, per axis; volume = area × head
// (geometry).
func TiltShift(in TiltShiftInput) (TiltShiftOutput, error) {
	var c checks
	c.tilt("", in)
	if err := c.err(); err != nil {
		return TiltShiftOutput{}, err
	}
	headMM := float64(in.Plug.AheadMM*math.Tan(in.PitchDeg*degree)) +
		float64(in.Plug.RightMM*math.Tan(in.RollDeg*degree))
	mlPerMM := in.FreeSurfaceCM2 / 10
	pitchMM := in.Plug.AheadMM * tangentSlope(in.PitchDeg) * in.SDDeg
	rollMM := in.Plug.RightMM * tangentSlope(in.RollDeg) * in.SDDeg
	return TiltShiftOutput{
		HeadMM:  headMM,
		ShiftML: headMM * mlPerMM,
		SDML:    math.Hypot(pitchMM, rollMM) * mlPerMM,
	}, nil
}

// tilt requires a whole tilt input in range.
func (c *checks) tilt(prefix string, in TiltShiftInput) {
	c.between(prefix+"pitch_deg", in.PitchDeg, -steepestDeg, steepestDeg)
	c.between(prefix+"roll_deg", in.RollDeg, -steepestDeg, steepestDeg)
	c.between(prefix+"sd_deg", in.SDDeg, 0, 10)
	c.between(prefix+"plug.ahead_mm", in.Plug.AheadMM, -2000, 2000)
	c.between(prefix+"plug.right_mm", in.Plug.RightMM, -2000, 2000)
	c.between(prefix+"free_surface_cm2", in.FreeSurfaceCM2, 0, 20000)
}

// tangentSlope is the derivative of tan at an angle in degrees, per degree.
func tangentSlope(angleDeg float64) float64 {
	cos := math.Cos(angleDeg * degree)
	return degree / (cos * cos)
}
