package physics

// Exact conversion factors; NIST SP 811 (2008), appendix B, prints them
// rounded to seven digits.
const (
	mlPerCubicInch    = 16.387064          // inch = 25.4 mm exactly
	mlPerUSQuart      = 57.75 * 16.387064  // quart = 57.75 in³
	mlPerUSGallon     = 231 * 16.387064    // gallon = 231 in³
	mlPerUSPint       = 28.875 * 16.387064 // half a quart
	mlPerUSFluidOunce = 231 * 16.387064 / 128
	mmPerInch         = 25.4
	mmPerFoot         = 304.8
	gramsPerPound     = 453.59237 // international avoirdupois pound
	gramsPerOunce     = gramsPerPound / 16
	standardGravity   = 9.80665                           // m/s², by definition
	newtonsPerPound   = 0.45359237 * standardGravity      // pound-force
	nmPerPoundFoot    = newtonsPerPound * 0.3048          // pound-force foot
	nmPerPoundInch    = newtonsPerPound * 0.0254          // pound-force inch
	paPerPoundSquare  = newtonsPerPound / 0.0254 / 0.0254 // psi
	metresPerMile     = 1609.344
	kelvinAtZeroC     = 273.15
)

// CelsiusFromFahrenheit converts a temperature. A difference of temperatures
// converts with CelsiusDifferenceFromFahrenheit.
//
// Shapes: one number.
// Units: °F in, °C out.
// Errors: none; what is not finite stays so.
// Accuracy: a unit in the last place.
// Source: NIST SP 811 (2008), appendix B.8: t/°C = (t/°F − 32)/1.8.
func CelsiusFromFahrenheit(tempF float64) float64 { return (tempF - 32) / 1.8 }

// FahrenheitFromCelsius converts a temperature; see CelsiusFromFahrenheit.
//
// Shapes: one number.
// Units: °C in, °F out.
// Errors: none; what is not finite stays so.
// Accuracy: a unit in the last place.
// Source: NIST SP 811 (2008), appendix B.8.
func FahrenheitFromCelsius(tempC float64) float64 { return float64(tempC*1.8) + 32 }

// CelsiusDifferenceFromFahrenheit converts a difference of temperatures, a
// tolerance, a spread or a rate: the zero points do not enter.
//
// Shapes: one number.
// Units: °F (difference) in, °C (difference) out.
// Errors: none; what is not finite stays so.
// Accuracy: a unit in the last place.
// Source: NIST SP 811 (2008), appendix B.8: 1 °F = (5/9) K as an interval.
func CelsiusDifferenceFromFahrenheit(differenceF float64) float64 { return differenceF / 1.8 }

// FahrenheitDifferenceFromCelsius converts a difference of temperatures; see
// CelsiusDifferenceFromFahrenheit.
//
// Shapes: one number.
// Units: °C (difference) in, °F (difference) out.
// Errors: none; what is not finite stays so.
// Accuracy: a unit in the last place.
// Source: NIST SP 811 (2008), appendix B.8.
func FahrenheitDifferenceFromCelsius(differenceC float64) float64 { return differenceC * 1.8 }

// unit is one name the conversion knows: what it measures, how many base
// units it is worth and where its zero lies.
type unit struct {
	name, quantity string
	factor, zero   float64 // base = (value - zero) * factor
}

// knownUnits lists the units in the order the error message names them.
func knownUnits() []unit {
	return []unit{
		{"c", "temperature", 1, 0},
		{"f", "temperature", 1 / 1.8, 32},
		{"k", "temperature", 1, kelvinAtZeroC},
		{"c_difference", "temperature difference", 1, 0},
		{"f_difference", "temperature difference", 1 / 1.8, 0},
		{"ml", "volume", 1, 0},
		{"l", "volume", 1000, 0},
		{"us_fl_oz", "volume", mlPerUSFluidOunce, 0},
		{"us_pint", "volume", mlPerUSPint, 0},
		{"us_quart", "volume", mlPerUSQuart, 0},
		{"us_gallon", "volume", mlPerUSGallon, 0},
		{"cubic_inch", "volume", mlPerCubicInch, 0},
		{"g", "mass", 1, 0},
		{"kg", "mass", 1000, 0},
		{"oz", "mass", gramsPerOunce, 0},
		{"lb", "mass", gramsPerPound, 0},
		{"mm", "length", 1, 0},
		{"inch", "length", mmPerInch, 0},
		{"foot", "length", mmPerFoot, 0},
		{"km", "distance", 1000, 0},
		{"mile", "distance", metresPerMile, 0},
		{"nm", "torque", 1, 0},
		{"lbf_ft", "torque", nmPerPoundFoot, 0},
		{"lbf_in", "torque", nmPerPoundInch, 0},
		{"kpa", "pressure", 1000, 0},
		{"psi", "pressure", paPerPoundSquare, 0},
	}
}

// UnitsInput asks for one conversion.
type UnitsInput struct {
	Value float64 `json:"value"`
	From  string  `json:"from"`
	To    string  `json:"to"`
}

// UnitsOutput is the converted value.
type UnitsOutput struct {
	Value    float64 `json:"value"`
	Quantity string  `json:"quantity"`
}

// Units converts one value between two units of the same quantity.
//
// Shapes: one value, two unit names.
// Units: temperature c f k; temperature difference c_difference
// f_difference; volume ml l us_fl_oz us_pint us_quart us_gallon cubic_inch;
// mass g kg oz lb; length mm inch foot; distance km mile; torque nm lbf_ft
// lbf_in; pressure kpa psi. A temperature never converts to a difference.
// Errors: unknown_word for a unit not listed; unit_mismatch where the two
// measure different things; out_of_range for a value that is not finite or
// beyond ±1e15.
// Accuracy: a few units in the last place.
// Source: NIST SP 811 (2008), appendix B, with the exact definitions behind
// its rounded digits.
func Units(in UnitsInput) (UnitsOutput, error) {
	var c checks
	c.between("value", in.Value, -1e15, 1e15)
	from, ok := findUnit(in.From)
	if !ok {
		c.fail("unknown_word", "from", "must be one of "+unitNames())
	}
	to, ok := findUnit(in.To)
	if !ok {
		c.fail("unknown_word", "to", "must be one of "+unitNames())
	}
	if from.quantity != to.quantity {
		c.fail("unit_mismatch", "to", "measures "+to.quantity+" but from measures "+from.quantity+"; name two units of one quantity")
	}
	if err := c.err(); err != nil {
		return UnitsOutput{}, err
	}
	base := (in.Value - from.zero) * from.factor
	return UnitsOutput{Value: base/to.factor + to.zero, Quantity: from.quantity}, nil
}

// findUnit looks a name up.
func findUnit(name string) (unit, bool) {
	for _, u := range knownUnits() {
		if u.name == name {
			return u, true
		}
	}
	return unit{}, false
}

// unitNames lists every unit for an error message.
func unitNames() string {
	names := ""
	for i, u := range knownUnits() {
		if i > 0 {
			names += ", "
		}
		names += u.name
	}
	return names
}
