// Package merge decides what two copies of the same thing have to agree on: the
// canonical form and hash of a record, whether a check's events form an unbroken
// chain, and which of two edits of one field wins.
//
// It runs on the phone and on the server and is pure: no clock, no storage, no
// network, nothing of ours but itself. What an event means is not its business.
package merge

import "strconv"

// Refusal says why a text or a chain was not accepted.
//
// Code is stable. N is the number of the offending event, counted from 1, or 0
// where no event is concerned. Offset is the byte of the JSON text at which
// reading stopped, where Code starts with "json.".
type Refusal struct {
	Code   string
	N      int
	Offset int
	Text   string
}

// Error returns the place and the reason in plain English.
func (r *Refusal) Error() string {
	place := ""
	if r.N > 0 {
		place = "event " + strconv.Itoa(r.N) + ": "
	}
	if len(r.Code) > 5 && r.Code[:5] == "json." {
		place += "byte " + strconv.Itoa(r.Offset) + ": "
	}
	return place + r.Text
}
