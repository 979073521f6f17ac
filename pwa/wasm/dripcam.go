//go:build js && wasm

package main

import (
	"math"
	"syscall/js"

	"brimline/schema/dripcam"
	"brimline/schema/fault"
	"brimline/schema/wire"
)

// maxCameras bounds the detectors that can be open; one page has one camera.
const maxCameras = 4

// cameras are the open drip cameras. Frames come in by a function of their own,
// brimlineFrame, because thirty texts a second would be mostly quoting.
type cameras struct {
	open  map[int]*camera
	last  int
	strip [dripcam.Width * dripcam.Height]byte
}

type camera struct {
	detector *dripcam.Detector
	fresh    []dripDrop // told by dripcam-frame, not yet fetched
}

// dripDrop is a drop as the screen gets it.
type dripDrop struct {
	AtMS       float64 `json:"at_ms"`
	Confidence float64 `json:"confidence"`
}

// maxFresh bounds the drops kept for a screen that fetches none.
const maxFresh = 256

// add opens a detector: `dripcam-open`.
func (c *cameras) add() (wire.Raw, error) {
	if len(c.open) >= maxCameras {
		return nil, fault.Bad("dripcam.many", "", "too many cameras are open; close one")
	}
	if c.open == nil {
		c.open = map[int]*camera{}
	}
	c.last++
	c.open[c.last] = &camera{detector: dripcam.New()}
	return marshal(map[string]int{"id": c.last, "width": dripcam.Width, "height": dripcam.Height})
}

func (c *cameras) find(input []byte) (int, *camera, error) {
	var in struct {
		ID int `json:"id"`
	}
	if err := unmarshal(input, &in); err != nil {
		return 0, nil, err
	}
	found, ok := c.open[in.ID]
	if !ok {
		return 0, nil, fault.New(fault.NotFound, "dripcam.unknown", "id", "names no open camera; open one")
	}
	return in.ID, found, nil
}

// state tells what brimlineFrame found since the last call, and how it stands:
// `dripcam-frame`.
func (c *cameras) state(input []byte) (wire.Raw, error) {
	_, found, err := c.find(input)
	if err != nil {
		return nil, err
	}
	out := struct {
		Count      int        `json:"count"`
		Confidence float64    `json:"confidence"`
		State      string     `json:"state"`
		Drops      []dripDrop `json:"drops"`
	}{found.detector.Count(), found.detector.Confidence(), found.detector.State().String(), found.fresh}
	if out.Drops == nil {
		out.Drops = []dripDrop{}
	}
	found.fresh = nil
	return marshal(out)
}

// remove closes a detector: `dripcam-close`.
func (c *cameras) remove(input []byte) (wire.Raw, error) {
	id, _, err := c.find(input)
	if err != nil {
		return nil, err
	}
	delete(c.open, id)
	return marshal(map[string]int{"id": id})
}

// frame is globalThis.brimlineFrame(id, tMS, strip): it gives one strip of grey
// levels, a Uint8Array, to a camera and returns [count, confidence, state], or
// the name of what is wrong.
func (c *cameras) frame(_ js.Value, args []js.Value) any {
	if len(args) != 3 || args[0].Type() != js.TypeNumber || args[1].Type() != js.TypeNumber || !args[2].InstanceOf(js.Global().Get("Uint8Array")) {
		return "call.form"
	}
	found, ok := c.open[args[0].Int()]
	if !ok {
		return "dripcam.unknown"
	}
	if args[2].Length() != len(c.strip) {
		return "dripcam.strip"
	}
	tMS := args[1].Float()
	if math.IsNaN(tMS) {
		return "dripcam.time"
	}
	js.CopyBytesToGo(c.strip[:], args[2])
	drops, err := found.detector.Frame(tMS, c.strip[:])
	if err != nil {
		if f := fault.As(err); f != nil {
			return f.Code
		}
		return "internal"
	}
	for _, d := range drops {
		if len(found.fresh) < maxFresh {
			found.fresh = append(found.fresh, dripDrop(d))
		}
	}
	return []any{found.detector.Count(), found.detector.Confidence(), found.detector.State().String()}
}
