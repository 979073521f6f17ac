package merge

import "cmp"

// Cell is one field of a record: its value as canonical JSON, and when it was
// set. The zero Cell is a field nobody has set yet.
type Cell struct {
	Value string `json:"value"`
	At    Stamp  `json:"at"`
}

// Newer returns the winner of a and b: the later stamp.
//
// Newer is commutative, associative and idempotent, so edits may arrive late,
// twice or in any order. If two phones share a device name by accident the
// stamps can tie; then the larger text wins, so that everyone picks the same.
func Newer(a, b Cell) Cell {
	if cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Value, b.Value)) >= 0 {
		return a
	}
	return b
}

// Record is a record whose fields are edited one by one. Every field is won by
// itself: two people may change two fields at the same time and both succeed.
type Record map[string]Cell

// Merge returns a new record with the newer cell of every field of a and b. It
// obeys the same laws as Newer.
func Merge(a, b Record) Record {
	merged := make(Record, max(len(a), len(b)))
	for name, cell := range a {
		merged[name] = cell
	}
	for name, cell := range b {
		held, known := merged[name]
		if !known {
			held = cell
		}
		merged[name] = Newer(held, cell)
	}
	return merged
}
