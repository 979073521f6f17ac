package physics

import "testing"

func TestFluidMixDilutes(t *testing.T) {
	out, err := FluidMix(FluidMixInput{DrainedML: 3000, TotalML: 9000, Exchanges: 3})
	if err != nil {
		t.Fatal(err)
	}
	source := "(1 - f)^n"
	agree(t, []published{
		{"one", out.OldFractionAfter[0], 2.0 / 3, 1e-15, source},
		{"two", out.OldFractionAfter[1], 4.0 / 9, 1e-15, source},
		{"three", out.OldFractionAfter[2], 8.0 / 27, 1e-15, source},
	})
	all, err := FluidMix(FluidMixInput{DrainedML: 9000, TotalML: 9000, Exchanges: 1})
	if err != nil || all.OldFractionAfter[0] != 0 {
		t.Errorf("everything drained leaves %v, %v", all, err)
	}
	for _, c := range []struct {
		in    FluidMixInput
		field string
	}{
		{FluidMixInput{1, 0, 1}, "total_ml"}, {FluidMixInput{10, 9, 1}, "drained_ml"}, {FluidMixInput{-1, 9, 1}, "drained_ml"},
		{FluidMixInput{1, 9, 0}, "exchanges"}, {FluidMixInput{1, 9, 101}, "exchanges"},
	} {
		_, err := FluidMix(c.in)
		wantFault(t, err, "out_of_range", c.field)
	}
}
