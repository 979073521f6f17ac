package physics

import "math"

const (
	// lubricantK1 is the expansion constant of generalized lubricating oil:
	// API MPMS 11.1-1980 = ASTM D1250-80, table 54D (K0 is zero).
	lubricantK1 = 0.6278
	// aluminiumCasePerC is the volumetric expansion of an aluminium case:
	// three times the linear coefficient of about 2.3e-5 /°C (common practice,
	// no source).
	aluminiumCasePerC = 6.9e-5
	densityLowKgM3    = 800.0 // range of table 54D
	densityHighKgM3   = 1164.0
	fluidLowC         = -50.0 // range of the 2004 revision (from memory)
	fluidHighC        = 150.0
	largestVolumeML   = 1e6
	largestCasePerC   = 3e-4 // well below any oil, so that hotter is always fuller
)

// expansionAt15 is alpha, the thermal expansion of the oil at 15 °C, per °C.
func expansionAt15(densityKgM3 float64) float64 { return lubricantK1 / densityKgM3 }

// volumeCorrection is the factor that brings a volume at tempC to 15 °C.
func volumeCorrection(alpha, tempC float64) float64 {
	a := alpha * (tempC - 15)
	return math.Exp(-a * (1 + float64(0.8*a)))
}

// expansionRate is the relative growth of the oil per °C at tempC: the
// derivative of the logarithm of 1/volumeCorrection.
func expansionRate(alpha, tempC float64) float64 {
	return float64(alpha * (1 + float64(1.6*alpha*(tempC-15))))
}

// apparentRatio is the volume at toC of oil that filled one unit of case
// volume at fromC, counted in case volume at toC: the case grows too.
func apparentRatio(alpha, casePerC, fromC, toC float64) float64 {
	oil := volumeCorrection(alpha, fromC) / volumeCorrection(alpha, toC)
	return oil / (1 + float64(casePerC*(toC-fromC)))
}

// fluid requires an oil and a case the expansion formula covers.
func (c *checks) fluid(densityField string, densityKgM3 float64, caseField string, casePerC float64) {
	c.between(densityField, densityKgM3, densityLowKgM3, densityHighKgM3)
	c.between(caseField, casePerC, 0, largestCasePerC)
}

// fluidTemperature requires a temperature the expansion formula covers.
func (c *checks) fluidTemperature(field string, tempC float64) {
	c.between(field, tempC, fluidLowC, fluidHighC)
}

// FluidVolumeInput asks how a volume of oil changes with its temperature.
type FluidVolumeInput struct {
	DensityKgM3      float64  `json:"density_15c_kg_m3"`
	VolumeML         float64  `json:"volume_ml"`
	FromC            float64  `json:"from_c"`
	ToC              float64  `json:"to_c"`
	CaseExpansionPer *float64 `json:"case_expansion_per_c,omitempty"`
}

// FluidVolumeOutput is the volume at the second temperature.
type FluidVolumeOutput struct {
	AlphaPerC float64 `json:"alpha_15c_per_c"`
	VCFFrom   float64 `json:"vcf_from"`
	VCFTo     float64 `json:"vcf_to"`
	VolumeML  float64 `json:"volume_ml"`
}

// FluidVolume gives the volume a quantity of lubricating oil has at another
// temperature, and with CaseExpansionPer the apparent volume against a case
// that grows with it.
//
// Shapes: one volume, two temperatures.
// Units: kg/m³ at 15 °C, mL, °C, 1/°C; volume correction factors are ratios.
// Errors: out_of_range for a density outside 800-1164 kg/m³, a temperature
// outside -50..150 °C, a volume below 0 or above 1e6 mL, or a case expansion
// outside 0..3e-4 /°C.
// Accuracy: the formula to about 1e-14 relative; the oil itself to 0.05 %
// per 10 °C; the 2004 revision differs by less than 4e-5 up to 100 °C.
// Source: API MPMS 11.1-1980 = ASTM D1250-80, table 54D:
// VCF = exp(-αΔT(1+0.8αΔT)), α = 0.6278/ρ15, ΔT = t - 15 °C.
func FluidVolume(in FluidVolumeInput) (FluidVolumeOutput, error) {
	casePerC := 0.0
	if in.CaseExpansionPer != nil {
		casePerC = *in.CaseExpansionPer
	}
	var c checks
	c.fluid("density_15c_kg_m3", in.DensityKgM3, "case_expansion_per_c", casePerC)
	c.between("volume_ml", in.VolumeML, 0, largestVolumeML)
	c.fluidTemperature("from_c", in.FromC)
	c.fluidTemperature("to_c", in.ToC)
	if err := c.err(); err != nil {
		return FluidVolumeOutput{}, err
	}
	alpha := expansionAt15(in.DensityKgM3)
	return FluidVolumeOutput{
		AlphaPerC: alpha,
		VCFFrom:   volumeCorrection(alpha, in.FromC),
		VCFTo:     volumeCorrection(alpha, in.ToC),
		VolumeML:  in.VolumeML * apparentRatio(alpha, casePerC, in.FromC, in.ToC),
	}, nil
}
