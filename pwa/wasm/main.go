//go:build js && wasm

// Command wasm is the phone's door to the trunk: one function that takes a name
// and a JSON object and returns a JSON object. It keeps no state but the last
// check it read, so that fast taps need not read the whole log again.
package main

import (
	"syscall/js"

	"brimline/schema/fault"
	"brimline/schema/procedure"
	"brimline/schema/wire"
	"brimline/sync/merge"
	"brimline/sync/phone"
)

// abi is raised when the shape of a call changes; the screen refuses to run
// with a door it does not know.
const abi = 1

func main() {
	d := &door{}
	eyes := &cameras{}
	js.Global().Set("brimlineFrame", js.FuncOf(eyes.frame))
	js.Global().Set("brimline", js.FuncOf(func(_ js.Value, args []js.Value) any {
		if len(args) != 2 {
			return answer(nil, fault.Bad("call.form", "", "takes a name and a JSON text"))
		}
		name, input := args[0].String(), []byte(args[1].String())
		switch name {
		case "dripcam-open":
			return answer(eyes.add())
		case "dripcam-frame":
			return answer(eyes.state(input))
		case "dripcam-close":
			return answer(eyes.remove(input))
		}
		return answer(d.call(name, input))
	}))
	js.Global().Call("brimlineReady")
	select {}
}

// answer wraps a result or a fault in the one form the screen reads.
func answer(out wire.Raw, err error) string {
	type problem struct {
		Code    string `json:"code"`
		Field   string `json:"field,omitempty"`
		Message string `json:"message"`
	}
	if err == nil {
		return `{"ok":` + string(out) + `}`
	}
	p := problem{Code: "internal", Message: err.Error()}
	if f := fault.As(err); f != nil {
		p = problem{f.Code, f.Field, f.Message}
	}
	b, _ := wire.Write(map[string]problem{"error": p}) // strings only: cannot fail
	return string(b)
}

func (d *door) call(name string, input []byte) (wire.Raw, error) {
	switch name {
	case "abi":
		return marshal(map[string]int{"abi": abi})
	case "check-act":
		return d.act(input)
	case "check-view":
		return d.view(input)
	case "verify-chain":
		return verify(input)
	case "phone-step":
		return step(input)
	}
	return procedure.Compute(name, input)
}

func marshal(v any) (wire.Raw, error) { return wire.Write(v) }

func unmarshal(input []byte, v any) error {
	return wire.Read(input, v)
}

func verify(input []byte) (wire.Raw, error) {
	var in struct {
		Events []wire.Raw `json:"events"`
	}
	if err := unmarshal(input, &in); err != nil {
		return nil, err
	}
	head, err := merge.VerifyChain(in.Events)
	if err != nil {
		return nil, fault.Bad("event.chain", "events", err.Error())
	}
	return marshal(map[string]any{"ok": true, "head": head})
}

func step(input []byte) (wire.Raw, error) {
	var in struct {
		State phone.State `json:"state"`
		Input phone.Input `json:"input"`
	}
	if err := unmarshal(input, &in); err != nil {
		return nil, err
	}
	state, effects := phone.Step(in.State, in.Input)
	return marshal(map[string]any{"state": state, "effects": effects})
}
