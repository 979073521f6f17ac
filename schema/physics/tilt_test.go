package physics

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestReversalPublished(t *testing.T) {
	out, err := Reversal(ReversalInput{First: Angles{PitchDeg: 1.35, RollDeg: 0}, Turned: Angles{PitchDeg: -0.75, RollDeg: 0}})
	if err != nil {
		t.Fatal(err)
	}
	source := "computed from the reversal method r1 = θ + b, r2 = -θ + b"
	agree(t, []published{
		{"true pitch", out.PitchDeg, 1.05, 1e-12, source},
		{"offset", out.Offset.PitchDeg, 0.30, 1e-12, source},
	})
}

func TestTiltShiftPublished(t *testing.T) {
	tilt := func(offCentreMM, deg float64) TiltShiftOutput {
		out, err := TiltShift(TiltShiftInput{PitchDeg: deg, SDDeg: 0.5, Plug: PlugPlace{AheadMM: offCentreMM}, FreeSurfaceCM2: 400})
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	trade := "surface × distance × tan(angle), 400 cm², common practice, no source"
	agree(t, []published{
		{"head of 250 mm at 1°", tilt(250, 1).HeadMM, 4.3638, 5e-5, "computed, d·tan θ"},
		{"shift 50 mm off", tilt(50, 1).ShiftML, 35, 0.5, trade},
		{"shift 100 mm off", tilt(100, 1).ShiftML, 70, 0.5, trade},
		{"shift 150 mm off", tilt(150, 1).ShiftML, 105, 0.5, trade},
		{"residual tilt of 0.5°", tilt(100, 0).SDML, 35, 0.5, trade},
	})
}

func TestTiltShiftSigns(t *testing.T) {
	shift := func(pitch, roll, ahead, right float64) float64 {
		out, err := TiltShift(TiltShiftInput{PitchDeg: pitch, RollDeg: roll, Plug: PlugPlace{AheadMM: ahead, RightMM: right}, FreeSurfaceCM2: 400})
		if err != nil {
			t.Fatal(err)
		}
		return out.ShiftML
	}
	if shift(1, 0, 100, 0) <= 0 {
		t.Error("nose up with the plug ahead raises the plug: it must be left fuller")
	}
	if shift(1, 0, -100, 0) >= 0 {
		t.Error("nose up with the plug behind lowers the plug: it must be left emptier")
	}
	if shift(0, 1, 0, 100) <= 0 {
		t.Error("right side up with the plug on the right raises the plug: it must be left fuller")
	}
	if shift(0, -1, 0, 100) >= 0 {
		t.Error("right side down with the plug on the right must leave it emptier")
	}
}

func TestTiltShiftRefusesBadInput(t *testing.T) {
	good := TiltShiftInput{PitchDeg: 1, SDDeg: 0.2, FreeSurfaceCM2: 400}
	cases := []struct {
		field string
		spoil func(*TiltShiftInput)
	}{
		{"pitch_deg", func(in *TiltShiftInput) { in.PitchDeg = 90 }},
		{"roll_deg", func(in *TiltShiftInput) { in.RollDeg = math.NaN() }},
		{"sd_deg", func(in *TiltShiftInput) { in.SDDeg = -0.1 }},
		{"plug.ahead_mm", func(in *TiltShiftInput) { in.Plug.AheadMM = 1e6 }},
		{"plug.right_mm", func(in *TiltShiftInput) { in.Plug.RightMM = math.Inf(-1) }},
		{"free_surface_cm2", func(in *TiltShiftInput) { in.FreeSurfaceCM2 = -1 }},
	}
	for _, c := range cases {
		in := good
		c.spoil(&in)
		_, err := TiltShift(in)
		wantFault(t, err, "out_of_range", c.field)
	}
	_, err := Reversal(ReversalInput{Turned: Angles{RollDeg: 60}})
	wantFault(t, err, "out_of_range", "turned.roll_deg")
}

func TestMoreTiltNeverLessSpread(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := TiltShiftInput{
			PitchDeg:       rapid.Float64Range(0, 20).Draw(t, "pitch"),
			RollDeg:        rapid.Float64Range(-20, 20).Draw(t, "roll"),
			SDDeg:          rapid.Float64Range(0, 3).Draw(t, "sd"),
			Plug:           PlugPlace{rapid.Float64Range(-300, 300).Draw(t, "ahead"), rapid.Float64Range(-300, 300).Draw(t, "right")},
			FreeSurfaceCM2: rapid.Float64Range(0, 900).Draw(t, "surface"),
		}
		less, err := TiltShift(in)
		if err != nil {
			t.Fatal(err)
		}
		in.PitchDeg += rapid.Float64Range(0, 20).Draw(t, "more")
		more, err := TiltShift(in)
		if err != nil {
			t.Fatal(err)
		}
		if more.SDML < less.SDML*(1-1e-12) {
			t.Fatalf("spread fell from %g to %g mL", less.SDML, more.SDML)
		}
	})
}
