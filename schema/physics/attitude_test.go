package physics

import (
	"math"
	"testing"
)

// parked is a vehicle of ordinary size.
func parked(pitch, roll float64) AttitudeInput {
	return AttitudeInput{PitchDeg: pitch, RollDeg: roll, WheelbaseMM: 2700, TrackMM: 1550, ToleranceDeg: 0.5, SurfaceLimitDeg: 2}
}

func TestAttitudePublished(t *testing.T) {
	at := func(pitch, roll float64) AttitudeOutput {
		out, err := Attitude(parked(pitch, roll))
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	source := "computed, h = L sin θ"
	agree(t, []published{
		{"2700 mm at 1.0°", at(1, 0).FrontRearMM, 47.1215, 5.1e-5, source},
		{"1550 mm at 0.5°", at(0, 0.5).LeftRightMM, 13.5261, 5.1e-5, source},
		{"two axes", at(1.0, 0.8).TiltDeg, 1.28053, 7e-6, "computed, tan²θ = tan²α + tan²β (exactly 1.280523)"},
		{"1° over the wheelbase", at(1, 0).FrontRearMM, 47, 0.5, "common practice, no source"},
		{"1° over 1.6 m of track", at(0, 1).LeftRightMM * 1600 / 1550, 28, 0.5, "common practice, no source"},
	})
}

func TestAttitudeAdvice(t *testing.T) {
	for _, c := range []struct {
		pitch, roll   float64
		high, advised string
	}{
		{0, 0, "none", "level enough"}, {0.4, -0.2, "none", "level enough"}, {1, 0, "front", "level on drive-on pads"},
		{-1, 0, "rear", "level on drive-on pads"}, {0, 1.5, "right", "level on drive-on pads"}, {0, -1.5, "left", "level on drive-on pads"},
		{1, 1, "front right", "level on drive-on pads"}, {-3, -1, "rear left", "move the vehicle"}, {6, 0, "front", "decline"},
		{0.45, 0.45, "none", "level on drive-on pads"}, // each axis passes, both together do not
	} {
		out, err := Attitude(parked(c.pitch, c.roll))
		if err != nil {
			t.Fatal(err)
		}
		if out.HighEnd != c.high || out.Advice != c.advised {
			t.Errorf("%g°, %g°: %+v", c.pitch, c.roll, out)
		}
	}
}

func TestAttitudeRefusesBadInput(t *testing.T) {
	for _, c := range []struct {
		field string
		spoil func(*AttitudeInput)
	}{
		{"pitch_deg", func(in *AttitudeInput) { in.PitchDeg = math.NaN() }},
		{"roll_deg", func(in *AttitudeInput) { in.RollDeg = 80 }},
		{"wheelbase_mm", func(in *AttitudeInput) { in.WheelbaseMM = 0 }},
		{"track_mm", func(in *AttitudeInput) { in.TrackMM = math.Inf(1) }},
		{"tolerance_deg", func(in *AttitudeInput) { in.ToleranceDeg = -1 }},
		{"surface_limit_deg", func(in *AttitudeInput) { in.SurfaceLimitDeg = 0.1 }},
	} {
		in := parked(1, 0)
		c.spoil(&in)
		_, err := Attitude(in)
		wantFault(t, err, "out_of_range", c.field)
	}
}
