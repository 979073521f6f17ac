package physics

// FluidMixInput is a fluid change that leaves part of the old fluid in.
type FluidMixInput struct {
	DrainedML float64 `json:"drained_ml"`
	TotalML   float64 `json:"total_ml"`
	Exchanges int     `json:"exchanges"`
}

// FluidMixOutput is what share of the old fluid is left after each exchange.
type FluidMixOutput struct {
	OldFractionAfter []float64 `json:"old_fraction_after"`
}

// FluidMix gives the share of old fluid after each of a number of partial
// changes with full mixing between them.
//
// Shapes: one entry per exchange.
// Units: mL in, fractions out.
// Errors: out_of_range unless 0 < total_ml <= 1e6, 0 <= drained_ml <=
// total_ml and 1 <= exchanges <= 100.
// Accuracy: 1e-14 relative.
// Source: dilution, (1 - f)^n.
func FluidMix(in FluidMixInput) (FluidMixOutput, error) {
	var c checks
	c.above("total_ml", in.TotalML, 0, largestVolumeML)
	c.between("drained_ml", in.DrainedML, 0, in.TotalML)
	c.between("exchanges", float64(in.Exchanges), 1, 100)
	if err := c.err(); err != nil {
		return FluidMixOutput{}, err
	}
	kept := (in.TotalML - in.DrainedML) / in.TotalML
	out := FluidMixOutput{OldFractionAfter: make([]float64, in.Exchanges)}
	old := 1.0
	for i := range out.OldFractionAfter {
		old *= kept
		out.OldFractionAfter[i] = old
	}
	return out, nil
}
