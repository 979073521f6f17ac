//go:build js && wasm

package main

import (
	"reflect"

	"brimline/schema"
	"brimline/schema/procedure"
	"brimline/schema/wire"
	"brimline/sync/merge"
)

// door holds the check that was read last, with what it was read from.
type door struct {
	check *procedure.Check
	setup procedure.Setup
	last  schema.EventID
}

// checkCall is a check's log, a moment and, for check-act, one new entry.
type checkCall struct {
	procedure.Setup
	Events []schema.Event  `json:"events"`
	Now    procedure.Stamp `json:"now"`

	ID      schema.EventID `json:"id"`
	CheckID schema.CheckID `json:"check_id"`
	Kind    string         `json:"kind"`
	Body    wire.Raw       `json:"body"`
}

// read returns the call's check, from memory where the log is the one read last.
func (d *door) read(in checkCall) (*procedure.Check, error) {
	n := len(in.Events)
	if n > 0 && d.check != nil && d.check.Events() == n && d.last == in.Events[n-1].ID && reflect.DeepEqual(d.setup, in.Setup) {
		return d.check, nil
	}
	c, err := procedure.Replay(in.Setup, in.Events)
	if err != nil {
		return nil, err
	}
	d.check, d.setup, d.last = c, in.Setup, ""
	if n > 0 {
		d.last = in.Events[n-1].ID
	}
	return c, nil
}

func (d *door) view(input []byte) (wire.Raw, error) {
	var in checkCall
	if err := unmarshal(input, &in); err != nil {
		return nil, err
	}
	c, err := d.read(in)
	if err != nil {
		return nil, err
	}
	return marshal(c.View(in.Now))
}

// act makes the next event of a log, with its place in the chain.
func (d *door) act(input []byte) (wire.Raw, error) {
	var in checkCall
	if err := unmarshal(input, &in); err != nil {
		return nil, err
	}
	c, err := d.read(in)
	if err != nil {
		return nil, err
	}
	e := schema.Event{ID: in.ID, CheckID: in.CheckID, N: len(in.Events) + 1, Kind: in.Kind, V: 1,
		WallMS: in.Now.WallMS, MonoMS: in.Now.MonoMS, Boot: in.Now.Boot, Body: in.Body}
	if n := len(in.Events); n > 0 {
		e.CheckID = in.Events[n-1].CheckID
		if e.Prev, err = hashOf(in.Events[n-1]); err != nil {
			return nil, err
		}
	}
	if len(e.Body) == 0 {
		e.Body = wire.Raw("{}")
	}
	next := c.Clone() // a refused act must leave no trace
	if err := procedure.Act(next, e); err != nil {
		return nil, err
	}
	hash, err := hashOf(e)
	if err != nil {
		return nil, err
	}
	d.check, d.last = next, e.ID
	return marshal(map[string]any{"event": e, "hash": hash, "view": next.View(in.Now)})
}

func hashOf(e schema.Event) (string, error) {
	b, err := wire.Write(e)
	if err != nil {
		return "", err
	}
	return merge.Hash(b)
}
