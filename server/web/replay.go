package web

import (
	"math"

	"brimline/schema"
	"brimline/schema/procedure"
	"brimline/server/store"
)

// Replay derives a check's summary from its log, by the procedure. It is the
// store's Replayer.
func Replay(in store.ReplayInput) (schema.Check, error) {
	return procedure.Summarize(in.Profile, in.Vehicle, in.Unit, in.Cautions, in.Events)
}

// replayed returns the summary of a log and its view at its last event.
func replayed(in store.ReplayInput) (schema.Check, procedure.View, error) {
	c, err := procedure.Replay(procedure.Setup{Profile: in.Profile, Vehicle: in.Vehicle, Unit: in.Unit, Cautions: in.Cautions}, in.Events)
	if err != nil {
		return schema.Check{}, procedure.View{}, err
	}
	last := in.Events[len(in.Events)-1] // a stored check has at least its first event
	return c.Summary(last.CheckID), c.View(procedure.Stamp{WallMS: last.WallMS, MonoMS: last.MonoMS, Boot: last.Boot}), nil
}

// relative is how far two computations of one number may lie apart: machines
// differ in the last digits of exponentials.
const relative = 1e-9

// agrees reports whether two summaries of one log say the same.
func agrees(a, b schema.Check) bool {
	if !sameLevel(a.Level, b.Level) || !sameLevel(a.Found, b.Found) || !sameWarming(a.Warming, b.Warming) {
		return false
	}
	a.Level, a.Found, b.Level, b.Found = nil, nil, nil, nil
	a.Warming, b.Warming = nil, nil
	return a == b
}

func sameWarming(a, b *schema.Warming) bool {
	if a == nil || b == nil {
		return a == b
	}
	return same(a.RiseC.Mean, b.RiseC.Mean) && same(a.RiseC.SD, b.RiseC.SD) &&
		same(a.TimeConstantS.Mean, b.TimeConstantS.Mean) && same(a.TimeConstantS.SD, b.TimeConstantS.SD)
}

func sameLevel(a, b *schema.Level) bool {
	if a == nil || b == nil {
		return a == b
	}
	return same(a.LevelML, b.LevelML) && same(a.SDML, b.SDML)
}

func same(a, b float64) bool {
	return math.Abs(a-b) <= relative*max(1, math.Abs(a), math.Abs(b))
}
