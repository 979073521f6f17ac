package merge

import (
	"cmp"
	"math"
)

// Limits of a stamp. MaxLeadMS is how far a phone's clock may run ahead of the
// server's before the server stops believing it; MaxWallMS is in the year 2099.
const (
	MaxLeadMS = 2 * 60 * 1000
	MaxWallMS = 4_100_000_000_000
)

// Stamp is the time of one edit on a hybrid logical clock: the calendar time in
// milliseconds since 1970, a counter for edits the calendar cannot tell apart,
// and the device, so that no two devices make the same stamp.
type Stamp struct {
	WallMS int64  `json:"wall_ms"`
	Count  uint32 `json:"count"`
	Device string `json:"device"`
}

// Compare orders stamps by wall time, then counter, then device.
func (s Stamp) Compare(t Stamp) int {
	return cmp.Or(cmp.Compare(s.WallMS, t.WallMS), cmp.Compare(s.Count, t.Count), cmp.Compare(s.Device, t.Device))
}

// Check reports a *Refusal with code stamp.wall or stamp.device unless s could
// have been made by a device.
func (s Stamp) Check() error {
	switch {
	case s.WallMS < 0 || s.WallMS > MaxWallMS:
		return &Refusal{Code: "stamp.wall", Text: "wall_ms must lie between 1970 and 2099"}
	case s.Device == "":
		return &Refusal{Code: "stamp.device", Text: "device must name the device that made the edit"}
	}
	return nil
}

// Clock is a hybrid logical clock: the latest time seen. The zero Clock has seen
// nothing. A clock never goes back, whatever the calendar clock does.
type Clock struct {
	WallMS int64  `json:"wall_ms"`
	Count  uint32 `json:"count"`
}

// Tick returns the clock after an edit of one's own at nowMS. The new reading is
// later than c and is the time of the edit.
func (c Clock) Tick(nowMS int64) Clock {
	if nowMS > c.WallMS {
		return Clock{WallMS: nowMS}
	}
	return c.next()
}

// Hear returns the clock after learning of an edit at s. The new reading is
// later than c and than s. For a batch, call it once, with the latest stamp.
func (c Clock) Hear(s Stamp, nowMS int64) Clock {
	heard := Clock{s.WallMS, s.Count}
	switch {
	case nowMS > c.WallMS && nowMS > heard.WallMS:
		return Clock{WallMS: nowMS}
	case heard.WallMS > c.WallMS || heard.WallMS == c.WallMS && heard.Count > c.Count:
		return heard.next()
	}
	return c.next()
}

// next counts up. A full counter borrows a millisecond from the future; only a
// clock at the end of both stands still.
func (c Clock) next() Clock {
	switch {
	case c.Count < math.MaxUint32:
		c.Count++
	case c.WallMS < math.MaxInt64:
		c = Clock{WallMS: c.WallMS + 1}
	}
	return c
}

// Stamp returns the clock's reading as device's stamp.
func (c Clock) Stamp(device string) Stamp { return Stamp{c.WallMS, c.Count, device} }

// Clamp returns the stamp the server lets s count as: s itself, but never more
// than MaxLeadMS after receivedMS, so that a clock running ahead cannot win for
// ever.
//
// Clamping would make two edits of one fast device equal, and the earlier could
// win. held is the stamp the field has now: where it is of the same device and
// s was clamped to no later than that, s counts as one step later, because a
// device's edits reach the server in the order they were made.
func Clamp(s Stamp, receivedMS int64, held Stamp) Stamp {
	limit := receivedMS + MaxLeadMS
	if s.WallMS <= limit {
		return s
	}
	s.WallMS = limit
	if s.Device == held.Device && s.Compare(held) <= 0 {
		return Clock{held.WallMS, held.Count}.next().Stamp(s.Device)
	}
	return s
}
