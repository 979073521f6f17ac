package physics

import "math"

// log10 is the decimal logarithm, rounded before it meets a sum: the library's
// ends in a product that could be fused with it.
func log10(x float64) float64 { return float64(math.Log10(x)) }

// walther is W(ν) = log10 log10 Z of ASTM D341 with this constant (0.7, or
// 0.8 in the older Ubbelohde-Walther form); with 0.7 and below 2 mm²/s the
// low range's correction is added.
func walther(constant, kvMM2S float64) float64 {
	z := kvMM2S + constant
	if kvMM2S < 2 && constant == 0.7 {
		z += math.Exp(-1.47 - float64(1.84*kvMM2S) - float64(0.51*kvMM2S*kvMM2S))
	}
	return log10(log10(z))
}

// waltherLine is the straight line W = A - B log10 T through two points.
func waltherLine(constant, t1K, kv1, t2K, kv2 float64) (a, b float64) {
	w1, w2 := walther(constant, kv1), walther(constant, kv2)
	b = (w1 - w2) / (log10(t2K) - log10(t1K))
	return w1 + float64(b*log10(t1K)), b
}

// waltherViscosity turns W back into a viscosity (constant 0.7).
func waltherViscosity(w float64) float64 {
	z := math.Pow(10, math.Pow(10, w)) - 0.7
	if z >= 2 {
		return z
	}
	return z - math.Exp(-0.7487-float64(3.295*z)+float64(0.6119*z*z)-float64(0.3193*z*z*z))
}

// indexBand is one row of the quadratics of ASTM D2270: L = aY²+bY+c and
// H = dY²+eY+f up to (not including) a viscosity Y at 100 °C.
type indexBand struct{ up, a, b, c, d, e, f float64 }

// indexBands lists the quadratics of ASTM D2270, appendix.
func indexBands() []indexBand {
	return []indexBand{
		{3.8, 1.14673, 1.7576, -0.109, 0.84155, 1.5521, -0.077},
		{4.4, 3.38095, -15.4952, 33.196, 0.78571, 1.7929, -0.183},
		{5.0, 2.50000, -7.2143, 13.812, 0.82143, 1.5679, 0.119},
		{6.4, 0.10100, 16.6350, -45.469, 0.04985, 9.1613, -18.557},
		{7.0, 3.35714, -23.5643, 78.466, 0.22619, 7.7369, -16.656},
		{7.7, 0.01191, 21.4750, -72.870, 0.79762, -0.7321, 14.610},
		{9.0, 0.41858, 16.1558, -56.040, 0.05794, 10.5156, -28.240},
		{12, 0.88779, 7.5527, -16.600, 0.26665, 6.7015, -10.810},
		{15, 0.76720, 10.7972, -38.180, 0.20073, 8.4658, -22.490},
		{18, 0.97305, 5.3135, -2.200, 0.28889, 5.9741, -4.930},
		{22, 0.97256, 5.2500, -0.980, 0.24504, 7.4160, -16.730},
		{28, 0.91413, 7.4759, -21.820, 0.20323, 9.1267, -34.230},
		{40, 0.87031, 9.7157, -50.770, 0.18411, 10.1015, -46.750},
		{55, 0.84703, 12.6752, -133.310, 0.17029, 11.4866, -80.620},
		{70, 0.85921, 11.1009, -83.190, 0.17130, 11.3680, -76.940},
		{math.Inf(1), 0.83531, 14.6731, -216.246, 0.16841, 11.8493, -96.947},
	}
}

// indexLimits are L and H of ASTM D2270 for a viscosity at 100 °C of at
// least 2 mm²/s.
func indexLimits(kv100 float64) (low, high float64) {
	for _, band := range indexBands() {
		if kv100 < band.up {
			square := kv100 * kv100
			low = float64(band.a*square) + float64(band.b*kv100) + band.c
			high = float64(band.d*square) + float64(band.e*kv100) + band.f
			break
		}
	}
	return low, high
}

// viscosityIndex is the index of ASTM D2270 before it is rounded: procedure A
// up to 100, procedure B above.
func viscosityIndex(kv40, kv100 float64) float64 {
	low, high := indexLimits(kv100)
	if kv40 >= high {
		return 100 * (low - kv40) / (low - high)
	}
	n := (log10(high) - log10(kv40)) / log10(kv100)
	return (math.Pow(10, n)-1)/0.00715 + 100
}

// FluidViscosityInput is a fluid known at 40 and 100 °C.
type FluidViscosityInput struct {
	KV40  float64 `json:"kv40_mm2_s"`
	KV100 float64 `json:"kv100_mm2_s"`
	TempC float64 `json:"temp_c"`
}

// FluidViscosityOutput is its viscosity at another temperature.
type FluidViscosityOutput struct {
	KV             float64  `json:"kv_mm2_s"`
	ViscosityIndex *float64 `json:"viscosity_index"`
	Extrapolated   bool     `json:"extrapolated"`
}

// FluidViscosity gives the kinematic viscosity of a fluid at another
// temperature and its viscosity index, rounded to a whole number as the
// standard prints it; the index is null below 2 mm²/s at 100 °C, where it is
// not defined. Outside 40-100 °C the result is extrapolated and says so.
//
// Shapes: two viscosities and one temperature.
// Units: mm²/s, °C.
// Errors: out_of_range for a viscosity outside 0.5-1e5 mm²/s, a temperature
// outside -50..150 °C, or one so far off that the viscosity leaves
// 0.21-1e9 mm²/s; order unless the fluid is thinner at 100 than at 40 °C.
// Accuracy: exact at 40 and 100 °C above 2 mm²/s, 2e-4 mm²/s below; the index
// to one unit of the standard's table.
// Source: ASTM D341 (constant 0.7, with the low range); ASTM D2270,
// procedures A and B, with its appendix's quadratics.
func FluidViscosity(in FluidViscosityInput) (FluidViscosityOutput, error) {
	var c checks
	c.between("kv40_mm2_s", in.KV40, 0.5, 1e5)
	c.between("kv100_mm2_s", in.KV100, 0.5, 1e5)
	if !(in.KV100 < in.KV40) {
		c.fail("order", "kv100_mm2_s", "must be less than kv40_mm2_s: a fluid thins as it warms")
	}
	c.fluidTemperature("temp_c", in.TempC)
	if err := c.err(); err != nil {
		return FluidViscosityOutput{}, err
	}
	a, b := waltherLine(0.7, 40+kelvinAtZeroC, in.KV40, 100+kelvinAtZeroC, in.KV100)
	kv := waltherViscosity(a - float64(b*log10(in.TempC+kelvinAtZeroC)))
	if !(kv >= 0.21 && kv <= 1e9) {
		c.fail("out_of_range", "temp_c", "is too far from 40 and 100 °C for this fluid; ask nearer to them")
		return FluidViscosityOutput{}, c.err()
	}
	out := FluidViscosityOutput{KV: kv, Extrapolated: in.TempC < 40 || in.TempC > 100}
	if in.KV100 >= 2 {
		index := math.Round(viscosityIndex(in.KV40, in.KV100))
		out.ViscosityIndex = &index
	}
	return out, nil
}
