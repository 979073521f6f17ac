package physics

// VINInput is a vehicle's number as it was typed or scanned.
type VINInput struct {
	VIN string `json:"vin"`
}

// VINOutput says what can be said from the number alone.
type VINOutput struct {
	WellFormed bool     `json:"well_formed"`
	CheckDigit string   `json:"check_digit"`
	Expected   string   `json:"expected"`
	Matches    bool     `json:"matches"`
	ModelYears []int    `json:"model_years"`
	Warnings   []string `json:"warnings"`
}

const vinLength = 17

// VIN checks a vehicle's identification number. A failed check digit warns
// and never blocks: outside North America the digit is optional.
//
// Spaces are left out and lower case is taken as upper case. ModelYears holds
// the years position 10 may mean, the one that position 7 points to first
// (digit: 1980-2009, letter: 2010-2039; said of light vehicles only).
// Warnings: length, forbidden_letter (I, O or Q), forbidden_character,
// check_digit_mismatch, no_model_year. CheckDigit and Expected are empty
// where the number is not well formed.
//
// Shapes: one text of at most 64 bytes.
// Units: none.
// Errors: too_long on vin beyond 64 bytes; anything else is a warning.
// Accuracy: exact.
// Source: 49 CFR 565.15; ISO 3779 for the parts; the rule of position 7 from
// 73 FR 23367 (30 April 2008).
func VIN(in VINInput) (VINOutput, error) {
	var c checks
	if len(in.VIN) > 64 {
		c.fail("too_long", "vin", "must be at most 64 characters")
		return VINOutput{}, c.err()
	}
	number := plainVIN(in.VIN)
	out := VINOutput{ModelYears: []int{}, Warnings: []string{}}
	if len(number) != vinLength {
		out.Warnings = append(out.Warnings, "length")
	}
	letters, others := badCharacters(number)
	if letters {
		out.Warnings = append(out.Warnings, "forbidden_letter")
	}
	if others {
		out.Warnings = append(out.Warnings, "forbidden_character")
	}
	if len(out.Warnings) > 0 {
		return out, nil
	}
	out.WellFormed = true
	out.CheckDigit = string(number[8])
	out.Expected = vinCheckDigit(number)
	out.Matches = out.CheckDigit == out.Expected
	if !out.Matches {
		out.Warnings = append(out.Warnings, "check_digit_mismatch")
	}
	out.ModelYears = modelYears(number)
	if len(out.ModelYears) == 0 {
		out.Warnings = append(out.Warnings, "no_model_year")
	}
	return out, nil
}

// plainVIN drops spaces and raises lower case.
func plainVIN(text string) []byte {
	number := []byte{}
	for i := range len(text) {
		b := text[i]
		if b == ' ' || b == '\t' || b == '\n' || b == '\r' {
			continue
		}
		if b >= 'a' && b <= 'z' {
			b -= 'a' - 'A'
		}
		number = append(number, b)
	}
	return number
}

// badCharacters says whether the excluded letters or other characters occur.
func badCharacters(number []byte) (letters, others bool) {
	for _, b := range number {
		switch {
		case b == 'I' || b == 'O' || b == 'Q':
			letters = true
		case !(b >= '0' && b <= '9') && !(b >= 'A' && b <= 'Z'):
			others = true
		}
	}
	return letters, others
}

// vinSum is the weighted sum of a well-formed number.
func vinSum(number []byte) int {
	//                   ABCDEFGH.JKLMN.P.RSTUVWXYZ, the dots being letters never used
	const letterValues = "12345678012345070923456789"
	weights := [vinLength]int{8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2}
	sum := 0
	for i, b := range number {
		digit := b
		if b >= 'A' {
			digit = letterValues[b-'A']
		}
		sum += weights[i] * int(digit-'0')
	}
	return sum
}

// vinCheckDigit is the remainder of the weighted sum, with X for ten.
func vinCheckDigit(number []byte) string {
	const digits = "0123456789X"
	rest := vinSum(number) % 11
	return digits[rest : rest+1]
}

// modelYears lists the years of position 10, the likelier first.
func modelYears(number []byte) []int {
	const codes = "ABCDEFGHJKLMNPRSTVWXY123456789"
	for i := range len(codes) {
		if codes[i] != number[9] {
			continue
		}
		if letter := number[6] >= 'A'; letter {
			return []int{2010 + i, 1980 + i}
		}
		return []int{1980 + i, 2010 + i}
	}
	return []int{}
}
