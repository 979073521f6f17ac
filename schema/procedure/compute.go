package procedure

import (
	"brimline/schema"
	"brimline/schema/physics"
	"brimline/schema/wire"
)

// replayInput is the input of check-replay. Now is the moment of the last
// event if it is absent.
type replayInput struct {
	Setup
	Events []schema.Event `json:"events"`
	Now    *Stamp         `json:"now,omitempty"`
}

// Names lists every computation, the whole check last.
func Names() []physics.Computation {
	return append(physics.Names(), physics.Computation{Name: "check-replay",
		Line: "state, what may come next, timers, hazards and result of a check's log"})
}

// Compute runs one computation: one JSON object in, one out.
//
// Errors: *fault.Error, with the JSON path of the field at fault.
func Compute(name string, input []byte) ([]byte, error) {
	if name != "check-replay" {
		return physics.Compute(name, input)
	}
	in, err := decode[replayInput](input)
	if err != nil {
		return nil, err
	}
	v, err := in.view()
	if err != nil {
		return nil, err
	}
	return wire.Write(v)
}

func (in replayInput) view() (View, error) {
	c, err := Replay(in.Setup, in.Events)
	if err != nil {
		return View{}, err
	}
	now := Stamp{}
	switch {
	case in.Now != nil:
		now = *in.Now
	case len(in.Events) > 0:
		e := in.Events[len(in.Events)-1]
		now = Stamp{e.WallMS, e.MonoMS, e.Boot}
	}
	return c.View(now), nil
}
