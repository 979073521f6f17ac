package demo

import (
	"encoding/json"
	"fmt"

	"brimline/schema"
	"brimline/schema/procedure"
	"brimline/sync/merge"
)

// checkLog is the log of one check while it is being told as the people of the
// story made it.
type checkLog struct{ events []schema.Event }

// replace gives the one event of a kind another body.
func (l *checkLog) replace(kind string, body any) error {
	b, err := json.Marshal(body)
	if err != nil {
		return fmt.Errorf("body of %s: %w", kind, err)
	}
	for i := range l.events {
		if l.events[i].Kind == kind {
			l.events[i].Body = b
			return nil
		}
	}
	return fmt.Errorf("the log has no %s", kind)
}

// write adds a note some seconds after the last entry.
func (l *checkLog) write(id schema.EventID, text string) error {
	b, err := json.Marshal(procedure.Written{Text: text})
	if err != nil {
		return fmt.Errorf("note: %w", err)
	}
	const laterMS = 48_000
	last := l.events[len(l.events)-1]
	l.events = append(l.events, schema.Event{ID: id, CheckID: last.CheckID, N: last.N + 1, Kind: "note.written", V: 1,
		WallMS: last.WallMS + laterMS, MonoMS: last.MonoMS + laterMS, Boot: last.Boot, Body: b})
	return nil
}

// chain gives every event the page load it was made in and the hash of the one
// before it.
func (l *checkLog) chain(boot string) error {
	prev := ""
	for i := range l.events {
		e := &l.events[i]
		e.Boot, e.Prev = boot, prev
		whole, err := json.Marshal(e)
		if err == nil {
			prev, err = merge.Hash(whole)
		}
		if err != nil {
			return fmt.Errorf("event %d: %w", e.N, err)
		}
	}
	return nil
}

func (l *checkLog) last() schema.Event { return l.events[len(l.events)-1] }
