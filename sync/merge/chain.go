package merge

import "encoding/json"

// VerifyChain reports whether events are one check's log from its first event
// on: numbered 1, 2, 3 … without holes, each naming the hash of the one before.
// It returns the hash of the last event, which the next one has to name, or ""
// for an empty log.
//
// Errors: a *Refusal whose N is the place of the first wrong event, with the
// code chain.form (not an event), chain.number, chain.prev, chain.check (of
// another check), chain.id (an id used twice) or one of Canonical's.
func VerifyChain(events []json.RawMessage) (head string, err error) {
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

// readLink reads members by their exact names. Decoding into a struct would
// also take "N" for "n", and so number an event otherwise than its hash does.
func readLink(raw json.RawMessage) (link, *Refusal) {
	form := &Refusal{Code: "chain.form", Text: "is not an event: id, check_id, n and prev are needed"}
	text, err := Canonical(raw)
	if refusal, ok := err.(*Refusal); ok {
		return link{}, refusal
	}
	var members map[string]json.RawMessage
	if json.Unmarshal(text, &members) != nil {
		return link{}, form
	}
	l := link{hash: hexSum(text)}
	for _, read := range [4]struct {
		name string
		into any
	}{{"id", &l.id}, {"check_id", &l.check}, {"n", &l.n}, {"prev", &l.prev}} {
		value, known := members[read.name]
		if !known || string(value) == "null" || json.Unmarshal(value, read.into) != nil {
			return link{}, form
		}
	}
	return l, nil
}
