package merge

import "brimline/schema/wire"

// VerifyChain reports whether events are one check's log from its first event
// on: numbered 1, 2, 3 … without holes, each naming the hash of the one before.
// It returns the hash of the last event, which the next one has to name, or ""
// for an empty log.
//
// Errors: a *Refusal whose N is the place of the first wrong event, with the
// code chain.form (not an event), chain.number, chain.prev, chain.check (of
// another check), chain.id (an id used twice) or one of Canonical's.
func VerifyChain(events []wire.Raw) (head string, err error) {
	check := ""
	seen := make(map[string]bool, len(events))
	for i, raw := range events {
		n := i + 1
		link, err := readLink(raw)
		switch {
		case err != nil:
			err.N = n
			return "", err
		case link.n != n:
			return "", &Refusal{Code: "chain.number", N: n, Text: "has another number than its place: an event is missing, repeated or moved"}
		case link.prev != head:
			return "", &Refusal{Code: "chain.prev", N: n, Text: "does not name the hash of the event before it: one of the two was changed"}
		case n > 1 && link.check != check:
			return "", &Refusal{Code: "chain.check", N: n, Text: "belongs to another check"}
		case seen[link.id]:
			return "", &Refusal{Code: "chain.id", N: n, Text: "has the id of an earlier event"}
		}
		check, head, seen[link.id] = link.check, link.hash, true
	}
	return head, nil
}

// link is what one event says about its place in the chain.
type link struct {
	id, check, prev, hash string
	n                     int
}

// readLink reads what an event says about its place.
func readLink(raw wire.Raw) (link, *Refusal) {
	text, err := Canonical(raw)
	if refusal, ok := err.(*Refusal); ok {
		return link{}, refusal
	}
	var e struct {
		ID      *string `json:"id"`
		CheckID *string `json:"check_id"`
		N       *int    `json:"n"`
		Prev    *string `json:"prev"`
	}
	if wire.Read(text, &e) != nil || e.ID == nil || e.CheckID == nil || e.N == nil || e.Prev == nil {
		return link{}, &Refusal{Code: "chain.form", Text: "is not an event: id, check_id, n and prev are needed"}
	}
	return link{id: *e.ID, check: *e.CheckID, prev: *e.Prev, n: *e.N, hash: hexSum(text)}, nil
}
