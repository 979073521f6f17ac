package physics

import (
	"math"
	"testing"
)

// published is one printed value and how far its last digit reaches.
type published struct {
	name      string
	got, want float64
	tolerance float64 // absolute
	source    string
}

// agree compares every printed value.
func agree(t *testing.T, values []published) {
	t.Helper()
	for _, v := range values {
		if !(math.Abs(v.got-v.want) <= v.tolerance) {
			t.Errorf("%s: got %.12g, want %.12g within %g (%s)", v.name, v.got, v.want, v.tolerance, v.source)
		}
	}
}

// converted runs one conversion that must succeed.
func converted(t *testing.T, value float64, from, to string) float64 {
	t.Helper()
	out, err := Units(UnitsInput{Value: value, From: from, To: to})
	if err != nil {
		t.Fatalf("%g %s in %s: %v", value, from, to, err)
	}
	return out.Value
}

func TestUnitsPublishedFactors(t *testing.T) {
	sp811 := "NIST SP 811 (2008), appendix B.8/B.9"
	memory := "NIST SP 811 digits from memory; exact product of the definitions"
	agree(t, []published{
		{"quart in mL", converted(t, 1, "us_quart", "ml"), 946.3529, 5e-5, sp811},
		{"quart in mL, exact", converted(t, 1, "us_quart", "ml"), 946.352946, 1e-9, "57.75 cubic inches, definition"},
		{"gallon in mL", converted(t, 1, "us_gallon", "ml"), 3785.411784, 1e-8, sp811},
		{"pint in mL", converted(t, 1, "us_pint", "ml"), 473.176473, 1e-9, sp811},
		{"fluid ounce in mL", converted(t, 1, "us_fl_oz", "ml"), 29.5735296, 5e-8, sp811},
		{"7.5 quarts in L", converted(t, 7.5, "us_quart", "l"), 7.0976471, 5e-8, "computed from the exact factor"},
		{"pound-force foot in N·m", converted(t, 1, "lbf_ft", "nm"), 1.355818, 5e-7, memory},
		{"pound-force foot in N·m, exact", converted(t, 1, "lbf_ft", "nm"), 1.3558179483314004, 1e-14, "exact product of the definitions"},
		{"pound-force inch in N·m", converted(t, 1, "lbf_in", "nm"), 0.1129848, 5e-8, memory},
		{"35 N·m in pound-force foot", converted(t, 35, "nm", "lbf_ft"), 25.81467, 6e-6, "computed from the exact factor (last digit cut, not rounded)"},
		{"inch in mm", converted(t, 1, "inch", "mm"), 25.4, 1e-13, "definition"},
		{"psi in Pa", 1000 * converted(t, 1, "psi", "kpa"), 6894.757293, 5e-7, sp811},
		{"mile in km", converted(t, 1, "mile", "km"), 1.609344, 1e-12, "NIST SP 811 (from memory), exact"},
		{"pound in g", converted(t, 1, "lb", "g"), 453.59237, 1e-10, "NIST SP 811 (from memory), exact"},
		{"86 °F", CelsiusFromFahrenheit(86), 30, 1e-13, "definition"},
		{"122 °F", CelsiusFromFahrenheit(122), 50, 1e-13, "definition"},
		{"176 °F", CelsiusFromFahrenheit(176), 80, 1e-13, "definition"},
		{"-40 °F", CelsiusFromFahrenheit(-40), -40, 1e-13, "definition"},
		{"30 °C", FahrenheitFromCelsius(30), 86, 1e-13, "definition"},
		{"an interval of 1 °F", CelsiusDifferenceFromFahrenheit(1), 5.0 / 9, 1e-15, sp811},
		{"an interval of 5 °C", FahrenheitDifferenceFromCelsius(5), 9, 1e-14, sp811},
		{"0 °C in K", converted(t, 0, "c", "k"), 273.15, 1e-12, "definition"},
		{"a spread of 9 °F", converted(t, 9, "f_difference", "c_difference"), 5, 1e-14, sp811},
	})
}

func TestUnitsTellTemperatureFromDifference(t *testing.T) {
	_, err := Units(UnitsInput{Value: 20, From: "f", To: "c_difference"})
	wantFault(t, err, "unit_mismatch", "to")
	_, err = Units(UnitsInput{Value: 20, From: "furlong", To: "mm"})
	wantFault(t, err, "unknown_word", "from")
	_, err = Units(UnitsInput{Value: 20, From: "mm", To: "furlong"})
	wantFault(t, err, "unknown_word", "to")
	_, err = Units(UnitsInput{Value: math.NaN(), From: "mm", To: "inch"})
	wantFault(t, err, "out_of_range", "value")
}

func TestUnitsThereAndBack(t *testing.T) {
	for _, from := range knownUnits() {
		for _, to := range knownUnits() {
			if from.quantity != to.quantity {
				continue
			}
			there := converted(t, 12.5, from.name, to.name)
			back := converted(t, there, to.name, from.name)
			if math.Abs(back-12.5) > 1e-12 {
				t.Errorf("12.5 %s through %s comes back as %.15g", from.name, to.name, back)
			}
		}
	}
}
