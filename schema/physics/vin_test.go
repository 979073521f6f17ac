package physics

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// decoded runs one number that must be answered.
func decoded(t *testing.T, number string) VINOutput {
	t.Helper()
	out, err := VIN(VINInput{VIN: number})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestVINPublished(t *testing.T) {
	for _, r := range []struct {
		number, digit string
		sum           int
		source        string
	}{
		{"1G4AH59H45G118341", "4", 411, "49 CFR 565.15 sample calculation"},
		{"1J9RP1A36A1644345", "6", 314, "NHTSA manufacturer outline"},
		{"1M8GDM9AXKP042788", "X", 351, "digit of several public test suites, sum computed"},
		{"11111111111111111", "1", 89, "digit of several public test suites, sum computed"},
		{"1HGCM82633A004352", "3", 311, "digit of several public test suites, sum computed"},
	} {
		out := decoded(t, r.number)
		if !out.WellFormed || !out.Matches || out.Expected != r.digit || out.CheckDigit != r.digit {
			t.Errorf("%s: %+v, want %s (%s)", r.number, out, r.digit, r.source)
		}
		if sum := vinSum([]byte(r.number)); sum != r.sum {
			t.Errorf("%s: sum %d, want %d (%s)", r.number, sum, r.sum, r.source)
		}
	}
}

func TestVINTransliteration(t *testing.T) {
	// 49 CFR 565.15, table III: a number of zeros with one letter in position
	// 1, whose weight is 8.
	values := map[byte]int{'A': 1, 'B': 2, 'C': 3, 'D': 4, 'E': 5, 'F': 6, 'G': 7, 'H': 8, 'J': 1, 'K': 2, 'L': 3, 'M': 4, 'N': 5,
		'P': 7, 'R': 9, 'S': 2, 'T': 3, 'U': 4, 'V': 5, 'W': 6, 'X': 7, 'Y': 8, 'Z': 9}
	for letter, value := range values {
		if sum := vinSum([]byte(string(letter) + "0000000000000000")); sum != 8*value {
			t.Errorf("%c counts %d, want %d (49 CFR 565.15)", letter, sum/8, value)
		}
	}
	weights := []int{8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2}
	for i, weight := range weights {
		number := []byte("00000000000000000")
		number[i] = '1'
		if sum := vinSum(number); sum != weight {
			t.Errorf("position %d weighs %d, want %d (49 CFR 565.15)", i+1, sum, weight)
		}
	}
}

func TestVINModelYears(t *testing.T) {
	// 49 CFR 565.15 table VII, and the rule of position 7 (73 FR 23367).
	codes := "ABCDEFGHJKLMNPRSTVWXY123456789"
	for i := range len(codes) {
		digit := decoded(t, "1AAAAA1A0"+codes[i:i+1]+"A000000").ModelYears
		letter := decoded(t, "1AAAAAAA0"+codes[i:i+1]+"A000000").ModelYears
		if !slices.Equal(digit, []int{1980 + i, 2010 + i}) || !slices.Equal(letter, []int{2010 + i, 1980 + i}) {
			t.Errorf("code %c: %v and %v", codes[i], digit, letter)
		}
	}
	for _, r := range []struct {
		code   string
		letter bool
		year   int
	}{{"K", false, 1989}, {"K", true, 2019}, {"A", true, 2010}, {"9", true, 2039}, {"Y", true, 2030}, {"1", true, 2031}} {
		seventh := "1"
		if r.letter {
			seventh = "A"
		}
		if years := decoded(t, "1AAAAA"+seventh+"A0"+r.code+"A000000").ModelYears; years[0] != r.year {
			t.Errorf("code %s: %v, want %d first (computed from the cycle rule)", r.code, years, r.year)
		}
	}
	if out := decoded(t, "1AAAAA1A0ZA000000"); len(out.ModelYears) != 0 || !slices.Contains(out.Warnings, "no_model_year") {
		t.Errorf("code Z means no year, yet %+v", out)
	}
}

func TestVINWarnsAndNeverBlocks(t *testing.T) {
	for _, c := range []struct {
		number, warning string
		wellFormed      bool
	}{
		{"1M8GDM9A1KP042788", "check_digit_mismatch", true},
		{"1M8GDM9AXKP04278", "length", false},
		{"IM8GDM9AXKP042788", "forbidden_letter", false},
		{"1M8GDM9AXKP04278-", "forbidden_character", false},
		{"", "length", false},
	} {
		out := decoded(t, c.number)
		if out.WellFormed != c.wellFormed || !slices.Contains(out.Warnings, c.warning) || out.Matches {
			t.Errorf("%q: %+v", c.number, out)
		}
	}
	if out := decoded(t, " 1m8gdm9axkp 042788\n"); !out.Matches {
		t.Errorf("spaces and lower case are not taken: %+v", out)
	}
	_, err := VIN(VINInput{VIN: string(make([]byte, 65))})
	wantFault(t, err, "too_long", "vin")
}

func TestVINFindsEverySingleSlip(t *testing.T) {
	// Remainder 11 finds every single wrong digit, as no weight but that of
	// the check digit itself is a multiple of 11.
	rapid.Check(t, func(t *rapid.T) {
		number := []byte("1M8GDM9AXKP042788")
		place := rapid.SampledFrom([]int{0, 1, 2, 3, 4, 5, 6, 7, 9, 10, 11, 12, 13, 14, 15, 16}).Draw(t, "place")
		digit := byte(rapid.IntRange('0', '9').Draw(t, "digit"))
		before := vinSum(number)
		number[place] = digit
		out, err := VIN(VINInput{VIN: string(number)})
		if err != nil {
			t.Fatal(err)
		}
		if same := vinSum(number) == before; same != out.Matches {
			t.Fatalf("%s: %+v", number, out)
		}
	})
}
