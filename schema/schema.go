// Package schema holds the words everything else is said in: the records, their
// ids and the rules a record must meet to mean something.
//
// It runs on the phone and on the server. It knows no clock, no storage and no
// network; times arrive as numbers, and a failure is a fault that names the
// field and the remedy. Names are the same in Go, JSON, SQL and TypeScript.
package schema

import (
	"math"
	"strconv"
	"strings"

	"brimline/schema/fault"
)

// Ids are UUIDs (RFC 9562) as lower-case text, made by whoever makes the record.
type (
	WorkshopID string
	PersonID   string
	DeviceID   string
	VehicleID  string
	UnitID     string
	ProfileID  string
	CautionID  string
	CheckID    string
	EventID    string
	PhotoID    string
	ReminderID string
)

// Limits on what one record may hold. They bound every loop over input.
const (
	MaxTextBytes  = 2000 // one free text
	MaxLabelBytes = 120  // one name or label
	MaxList       = 200  // entries of one list inside a record
)

// validID reports a fault unless id is a UUID in lower-case text form.
func validID(field, id string) error {
	if len(id) != 36 {
		return fault.Bad("id.form", field, "must be a UUID such as 017f22e2-79b0-7cc3-98c4-dc0c0c07398f")
	}
	for i := range len(id) {
		c := id[i]
		dash := i == 8 || i == 13 || i == 18 || i == 23
		hex := c >= '0' && c <= '9' || c >= 'a' && c <= 'f'
		if dash != (c == '-') || !dash && !hex {
			return fault.Bad("id.form", field, "must be a UUID in lower-case letters")
		}
	}
	return nil
}

// label reports a fault unless s is a non-empty single line of at most MaxLabelBytes.
func label(field, s string) error {
	switch {
	case strings.TrimSpace(s) == "":
		return fault.Bad("text.empty", field, "must not be empty; write a short name")
	case len(s) > MaxLabelBytes:
		return fault.Bad("text.long", field, "is too long; use at most "+strconv.Itoa(MaxLabelBytes)+" bytes")
	case strings.ContainsAny(s, "\n\r"):
		return fault.Bad("text.line", field, "must be a single line")
	}
	return nil
}

// note reports a fault if s is longer than MaxTextBytes.
func note(field, s string) error {
	if len(s) > MaxTextBytes {
		return fault.Bad("text.long", field, "is too long; use at most "+strconv.Itoa(MaxTextBytes)+" bytes")
	}
	return nil
}

// within reports a fault unless v is a number in [low, high].
func within(field string, v, low, high float64, unit string) error {
	if math.IsNaN(v) || v < low || v > high {
		return fault.Bad("number.range", field, "must lie between "+number(low)+" and "+number(high)+" "+unit)
	}
	return nil
}

// oneOf reports a fault unless s is one of the words.
func oneOf(field, s string, words ...string) error {
	for _, w := range words {
		if s == w {
			return nil
		}
	}
	return fault.Bad("word.unknown", field, "must be one of: "+strings.Join(words, ", "))
}

func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// first returns the first error that is not nil.
func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}
