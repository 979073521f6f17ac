package physics

import "math"

// thinEdge is where the two fits of the drop correction meet.
const thinEdge = 0.3

// dropCorrection is the Harkins-Brown factor f at x = r/V^(1/3): the share of
// the hanging drop that falls.
func dropCorrection(x float64) float64 {
	if x >= thinEdge {
		return 1 / (2 * math.Pi * (0.14782 + float64(0.27896*x) - float64(0.1662*x*x)))
	}
	sum := 0.0
	for _, coefficient := range [8]float64{2.593, -13.58, 27.53, -27.29, 13.38, -2.109, -0.9121, 1} {
		sum = float64(sum*x) + coefficient
	}
	return sum
}

// DropVolumeInput is the edge a drop falls from and its fluid.
type DropVolumeInput struct {
	EdgeRadiusMM   float64 `json:"edge_radius_mm"`
	SurfaceTension float64 `json:"surface_tension_mn_m"`
	DensityKgM3    float64 `json:"density_kg_m3"`
}

// DropVolumeOutput is the drop that falls.
type DropVolumeOutput struct {
	VolumeUL float64 `json:"volume_ul"`
	PerML    float64 `json:"per_ml"`
	X        float64 `json:"x"`
	F        float64 `json:"f"`
}

// DropVolume gives the size of a drop that falls slowly from a wetted edge.
//
// Shapes: three numbers.
// Units: mm, mN/m, kg/m³; µL and drops per mL out; x = r/V^(1/3) and the
// correction f are ratios.
// Errors: out_of_range for a radius outside 0.01-20 mm, a tension outside
// 1-500 mN/m, a density outside 500-2000 kg/m³, or an edge so wide for the
// fluid that x exceeds 1.2, where no correction is known.
// Accuracy: the correction to 0.01; measured water drops lie within 10 %; a
// fast drip and a thick fluid make larger drops.
// Source: Tate's law ρgV = 2πrσf with the Harkins-Brown correction as
// F = 0.14782 + 0.27896x - 0.1662x², f = 1/(2πF) for x > 0.3 (Heertjes et al.
// 1971), below that the fit of Lee, Chan, Pogaku 2008 (from memory).
func DropVolume(in DropVolumeInput) (DropVolumeOutput, error) {
	var c checks
	c.between("edge_radius_mm", in.EdgeRadiusMM, 0.01, 20)
	c.between("surface_tension_mn_m", in.SurfaceTension, 1, 500)
	c.between("density_kg_m3", in.DensityKgM3, 500, 2000)
	// One unknown: V = (r/x)³, so that x³ f(x)·2πσ/(ρ g r²) = 1. The left side
	// grows with x, and halving finds where it is 1. r in mm and σ in mN/m
	// leave a factor of 1000.
	scale := 2 * math.Pi * in.SurfaceTension * 1000 / (in.DensityKgM3 * standardGravity * in.EdgeRadiusMM * in.EdgeRadiusMM)
	excess := func(x float64) float64 { return float64(x*x*x*dropCorrection(x)*scale) - 1 }
	if excess(1.2) < 0 {
		c.fail("out_of_range", "edge_radius_mm", "is too wide for this fluid; give the part the drop really hangs from")
	}
	if err := c.err(); err != nil {
		return DropVolumeOutput{}, err
	}
	low, high := 0.0, 1.2
	for range 200 {
		mid := 0.5 * (low + high)
		if mid == low || mid == high {
			break
		}
		if excess(mid) < 0 {
			low = mid
		} else {
			high = mid
		}
	}
	x := high
	volume := in.EdgeRadiusMM / x * (in.EdgeRadiusMM / x) * (in.EdgeRadiusMM / x)
	return DropVolumeOutput{VolumeUL: volume, PerML: 1000 / volume, X: x, F: dropCorrection(x)}, nil
}
