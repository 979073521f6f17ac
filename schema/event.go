package schema

import (
	"brimline/schema/fault"
	"brimline/schema/wire"
)

// Event is one fact of a check, as the person's tap made it. Events are never
// edited or deleted; a correction is a new event that names the old one.
//
// N counts from 1 without holes. Prev is the hash of the event before it (empty
// for the first), so that any change, loss or swap shows. Time is kept by two
// clocks: WallMS is the phone's calendar clock, MonoMS its monotonic clock,
// which is only comparable between events of the same Boot.
type Event struct {
	ID      EventID  `json:"id"`
	CheckID CheckID  `json:"check_id"`
	N       int      `json:"n"`
	Prev    string   `json:"prev"`
	Kind    string   `json:"kind"`
	V       int      `json:"v"`
	WallMS  int64    `json:"wall_ms"`
	MonoMS  float64  `json:"mono_ms"`
	Boot    string   `json:"boot"`
	Body    wire.Raw `json:"body"`
}

// MaxEventBytes bounds the body of one event; MaxEvents the length of one log.
const (
	MaxEventBytes = 16 << 10
	MaxEvents     = 5000
)

// Check reports the first thing that keeps the envelope of e from meaning
// something. What the body means is for the procedure to say.
func (e Event) Check() error {
	err := first(validID("id", string(e.ID)), validID("check_id", string(e.CheckID)),
		within("n", float64(e.N), 1, MaxEvents, ""), label("kind", e.Kind),
		within("v", float64(e.V), 1, 1000, ""), label("boot", e.Boot),
		within("wall_ms", float64(e.WallMS), 0, 4.1e12, "ms"), within("mono_ms", e.MonoMS, 0, 1e12, "ms"))
	switch {
	case err != nil:
		return err
	case e.N == 1 && e.Prev != "":
		return fault.Bad("event.prev", "prev", "must be empty on the first event")
	case e.N > 1:
		err = hash("prev", e.Prev)
	}
	if err == nil && len(e.Body) > MaxEventBytes {
		err = fault.Bad("event.long", "body", "is too long for one event")
	}
	return err
}
