package physics

import "math"

// declineFactor times the surface limit is where a place is given up: raising
// a vehicle there is unsafe, and the ground nearby is seldom better (common
// practice, no source).
const declineFactor = 2.0

// AttitudeInput is how a vehicle stands and what the procedure tolerates.
type AttitudeInput struct {
	PitchDeg        float64 `json:"pitch_deg"`
	RollDeg         float64 `json:"roll_deg"`
	WheelbaseMM     float64 `json:"wheelbase_mm"`
	TrackMM         float64 `json:"track_mm"`
	ToleranceDeg    float64 `json:"tolerance_deg"`
	SurfaceLimitDeg float64 `json:"surface_limit_deg"`
}

// AttitudeOutput says which end is high and what to do about it.
type AttitudeOutput struct {
	TiltDeg     float64 `json:"tilt_deg"`
	HighEnd     string  `json:"high_end"`
	FrontRearMM float64 `json:"front_rear_mm"`
	LeftRightMM float64 `json:"left_right_mm"`
	Advice      string  `json:"advice"`
}

// Attitude gives the height differences over wheelbase and track, and advises
// how to come level. It never advises unequal stands.
//
// HighEnd is "none" where both angles are within the tolerance, else "front",
// "rear", "left", "right" or a corner such as "front right". Advice: "level
// enough" within the tolerance, "level on drive-on pads" up to the surface
// limit, "move the vehicle" up to twice that, "decline" beyond.
//
// Shapes: two angles, two lengths, two limits.
// Units: degrees (nose up and right side up positive), mm; FrontRearMM is
// positive with the front high, LeftRightMM with the right side high.
// Errors: out_of_range for an angle beyond ±45°, a length outside 100-20000
// mm, a tolerance outside 0..10° or a surface limit below the tolerance or
// above 20°.
// Accuracy: exact to a unit in the last place.
// Source: h = L·sin θ per axis, tan²θ = tan²α + tan²β for both (geometry);
// the order of the advice is common practice, no source.
func Attitude(in AttitudeInput) (AttitudeOutput, error) {
	var c checks
	c.angles("", Angles{PitchDeg: in.PitchDeg, RollDeg: in.RollDeg})
	c.between("wheelbase_mm", in.WheelbaseMM, 100, 20000)
	c.between("track_mm", in.TrackMM, 100, 20000)
	c.between("tolerance_deg", in.ToleranceDeg, 0, 10)
	c.between("surface_limit_deg", in.SurfaceLimitDeg, in.ToleranceDeg, 20)
	if err := c.err(); err != nil {
		return AttitudeOutput{}, err
	}
	tilt := math.Atan(math.Hypot(math.Tan(in.PitchDeg*degree), math.Tan(in.RollDeg*degree))) / degree
	return AttitudeOutput{
		TiltDeg:     tilt,
		HighEnd:     highEnd(in),
		FrontRearMM: in.WheelbaseMM * math.Sin(in.PitchDeg*degree),
		LeftRightMM: in.TrackMM * math.Sin(in.RollDeg*degree),
		Advice:      attitudeAdvice(tilt, in),
	}, nil
}

// highEnd names the end or corner that stands high beyond the tolerance.
func highEnd(in AttitudeInput) string {
	end := ""
	switch {
	case in.PitchDeg > in.ToleranceDeg:
		end = "front"
	case in.PitchDeg < -in.ToleranceDeg:
		end = "rear"
	}
	side := ""
	switch {
	case in.RollDeg > in.ToleranceDeg:
		side = "right"
	case in.RollDeg < -in.ToleranceDeg:
		side = "left"
	}
	switch {
	case end != "" && side != "":
		return end + " " + side
	case end == "" && side == "":
		return "none"
	}
	return end + side
}

// attitudeAdvice says how to come level.
func attitudeAdvice(tiltDeg float64, in AttitudeInput) string {
	switch {
	case tiltDeg <= in.ToleranceDeg:
		return "level enough"
	case tiltDeg <= in.SurfaceLimitDeg:
		return "level on drive-on pads"
	case tiltDeg <= declineFactor*in.SurfaceLimitDeg:
		return "move the vehicle"
	}
	return "decline"
}
