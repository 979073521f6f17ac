package main

import (
	"bytes"
	"encoding/json"
	"reflect"
	"strings"

	"brimline/schema"
	"brimline/schema/procedure"
)

// replayInput is what check-replay reads; now is the moment of the last event
// if it is absent.
type replayInput struct {
	procedure.Setup
	Events []schema.Event   `json:"events"`
	Now    *procedure.Stamp `json:"now,omitempty"`
}

// replaySchemas describes the whole check's input and output. They are taken from
// the Go types, which are too many to be written down twice.
func replaySchemas() (input, output []byte) {
	return describe(reflect.TypeFor[replayInput](), "check-replay input", true),
		describe(reflect.TypeFor[procedure.View](), "check-replay output", false)
}

// describe is the JSON Schema (2020-12) of a Go type. An input's members may be absent,
// and then count as empty; an output's are there unless they are marked to be left out.
func describe(t reflect.Type, title string, input bool) []byte {
	var body, out bytes.Buffer
	describer{&body, input}.value(t)
	out.WriteString(`{"$schema":"https://json-schema.org/draft/2020-12/schema","title":`)
	out.WriteString(quoted(title))
	out.WriteByte(',')
	out.Write(body.Bytes()[1:])
	return out.Bytes()
}

// quoted is a JSON string of text without anything to escape.
func quoted(text string) string { return `"` + text + `"` }

type describer struct {
	out   *bytes.Buffer
	input bool
}

func (d describer) write(parts ...string) {
	for _, p := range parts {
		d.out.WriteString(p)
	}
}

// value describes one value.
func (d describer) value(t reflect.Type) {
	switch {
	case t.Kind() == reflect.Slice && t.Elem().Kind() == reflect.Uint8 && t.Implements(reflect.TypeFor[json.Marshaler]()):
		d.write(`{}`) // any JSON value, such as the body of an event
	case t.Kind() == reflect.Pointer:
		d.write(`{"anyOf":[`)
		d.value(t.Elem())
		d.write(`,{"type":"null"}]}`)
	case t.Kind() == reflect.Slice:
		d.write(`{"type":["array","null"],"items":`)
		d.value(t.Elem())
		d.write(`}`)
	case t.Kind() == reflect.Map:
		d.write(`{"type":["object","null"],"additionalProperties":`)
		d.value(t.Elem())
		d.write(`}`)
	case t.Kind() == reflect.Struct:
		d.object(t)
	default:
		d.write(`{"type":"`, plainType(t.Kind()), `"}`)
	}
}

// plainType is JSON's word for a Go kind.
func plainType(k reflect.Kind) string {
	switch k {
	case reflect.String:
		return "string"
	case reflect.Bool:
		return "boolean"
	case reflect.Float64, reflect.Float32:
		return "number"
	}
	return "integer"
}

// object describes a struct; those embedded in it lend their members.
func (d describer) object(t reflect.Type) {
	var required []string
	d.write(`{"type":"object","additionalProperties":false,"properties":{`)
	first := true
	for _, f := range reflect.VisibleFields(t) {
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		if f.Anonymous || !f.IsExported() || name == "-" {
			continue
		}
		if !first {
			d.write(`,`)
		}
		first = false
		d.write(quoted(name), `:`)
		d.value(f.Type)
		if !d.input && !strings.Contains(options, "omit") {
			required = append(required, quoted(name))
		}
	}
	d.write(`}`)
	if len(required) > 0 {
		d.write(`,"required":[`, strings.Join(required, ","), `]`)
	}
	d.write(`}`)
}
