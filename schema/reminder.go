package schema

import "brimline/schema/fault"

// Reminder says what is due for a vehicle, when, and why. Of two edits the
// later one wins field by field; being done is a fact of its own.
type Reminder struct {
	ID        ReminderID `json:"id"`
	VehicleID VehicleID  `json:"vehicle_id"`
	CheckID   CheckID    `json:"check_id,omitempty"` // the check it came from
	Rule      string     `json:"rule"`               // second_cycle, wet_spot, level_again, repeat_cold, by_hand
	DueDate   string     `json:"due_date"`           // calendar date, 2006-01-02, in the workshop's time zone
	DueKM     float64    `json:"due_km,omitempty"`
	Reason    string     `json:"reason"` // in the person's words
	DoneMS    int64      `json:"done_ms,omitempty"`
	DoneCheck CheckID    `json:"done_check,omitempty"`
}

// Check reports the first thing that keeps r from meaning something.
func (r Reminder) Check() error {
	err := first(validID("id", string(r.ID)), validID("vehicle_id", string(r.VehicleID)),
		oneOf("rule", r.Rule, "second_cycle", "wet_spot", "level_again", "repeat_cold", "by_hand"),
		date("due_date", r.DueDate), within("due_km", r.DueKM, 0, 5e6, "km"), label("reason", r.Reason))
	if err == nil && r.CheckID != "" {
		err = validID("check_id", string(r.CheckID))
	}
	if err == nil && r.DoneCheck != "" {
		err = validID("done_check", string(r.DoneCheck))
	}
	return err
}

// date reports a fault unless s is a calendar date written 2006-01-02.
func date(field, s string) error {
	bad := fault.Bad("date.form", field, "must be a date such as 2026-05-31")
	if len(s) != 10 || s[4] != '-' || s[7] != '-' {
		return bad
	}
	n := [3]int{}
	for i, part := range [3]string{s[:4], s[5:7], s[8:]} {
		for _, c := range []byte(part) {
			if c < '0' || c > '9' {
				return bad
			}
			n[i] = n[i]*10 + int(c-'0')
		}
	}
	if n[0] < 2000 || n[1] < 1 || n[1] > 12 || n[2] < 1 || n[2] > daysIn(n[0], n[1]) {
		return bad
	}
	return nil
}

func daysIn(year, month int) int {
	switch month {
	case 4, 6, 9, 11:
		return 30
	case 2:
		if year%4 == 0 && (year%100 != 0 || year%400 == 0) {
			return 29
		}
		return 28
	}
	return 31
}

// hash reports a fault unless s is a SHA-256 in lower-case hex.
func hash(field, s string) error {
	if len(s) != 64 {
		return fault.Bad("hash.form", field, "must be a SHA-256 in 64 lower-case hex digits")
	}
	for _, c := range []byte(s) {
		if !(c >= '0' && c <= '9' || c >= 'a' && c <= 'f') {
			return fault.Bad("hash.form", field, "must be a SHA-256 in 64 lower-case hex digits")
		}
	}
	return nil
}
