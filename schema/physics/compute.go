package physics

import (
	"bytes"
	"strconv"

	"brimline/schema/fault"
	"brimline/schema/wire"
)

// Computation is one function of this package under the name a command line
// or a phone calls it by.
type Computation struct {
	Name string // such as "fluid-volume"
	Line string // what it does, in one line

	input, output string // shapes, see parseShape
	run           func(shape string, input []byte) ([]byte, error)
}

// Names lists every computation in the order of the job.
//
// Shapes: a fresh list on each call; names are unique.
// Units: none.
// Errors: none.
// Accuracy: exact.
// Source: this package.
func Names() []Computation {
	table := append(fluidComputations(), warmingComputations()...)
	table = append(table, checkComputations()...)
	return append(table, recordComputations()...)
}

// Compute runs one computation on one JSON object.
//
// Shapes: input is one JSON object of the computation's input schema, and
// nothing after it; the result is one JSON object without a line end.
// Units: in the names of the members.
// Errors: always a *fault.Error. not_found for an unknown name; json.malformed
// for text that is not one JSON value; json.unknown, json.missing, json.twice,
// json.type and json.range with the path of the member, such as
// readings[3].temp_c; then the faults of the computation itself.
// Accuracy: numbers are printed so that they read back to the same value.
// Source: JSON, RFC 8259.
func Compute(name string, input []byte) ([]byte, error) {
	for _, c := range Names() {
		if c.Name != name {
			continue
		}
		return c.run(c.input, input)
	}
	return nil, unknownName(name)
}

// Schema returns the JSON Schemas (2020-12) of a computation's input and
// output.
//
// Shapes: one name in, two JSON objects out.
// Units: none.
// Errors: not_found for an unknown name.
// Accuracy: the schemas state names, types and words; limits are in the
// functions' comments and faults.
// Source: JSON Schema 2020-12.
func Schema(name string) (input, output []byte, err error) {
	for _, c := range Names() {
		if c.Name == name {
			return whole(c.input, name+" input"), whole(c.output, name+" output"), nil
		}
	}
	return nil, nil, unknownName(name)
}

// unknownName is the fault for a name that is not in the table.
func unknownName(name string) error {
	if len(name) > 60 {
		name = name[:60]
	}
	return fault.New(fault.NotFound, "not_found", "name", strconv.Quote(name)+" is not a computation; list the names to choose one")
}

// whole prints a shape as a schema document of its own.
func whole(text, title string) []byte {
	body := parseShape(text).schema(nil)
	head := `{"$schema":"https://json-schema.org/draft/2020-12/schema","title":` + strconv.Quote(title) + `,`
	return append([]byte(head), body[1:]...)
}

// compute wraps a function of Go values as one of JSON texts.
func compute[In, Out any](f func(In) (Out, error)) func(string, []byte) ([]byte, error) {
	return func(text string, input []byte) ([]byte, error) {
		var in In
		if err := wire.ReadStrict(input, &in); err != nil {
			return nil, err
		}
		if missing := absent(parseShape(text), input, ""); missing != nil {
			return nil, missing
		}
		out, err := f(in)
		if err != nil {
			if known := fault.As(err); known != nil {
				return nil, known
			}
			return nil, fault.New(fault.Internal, "internal", "", err.Error())
		}
		return wire.Write(out)
	}
}

// absent finds the first member that a shape requires and a JSON text, known
// to be readable, lacks.
func absent(s shape, text wire.Raw, path string) *fault.Error {
	if string(text) == "null" {
		if s.optional || s.nullable {
			return nil
		}
		return fault.Bad("json.missing", path, "must not be null")
	}
	switch s.kind {
	case "object":
		var members map[string]wire.Raw
		if err := wire.Read(text, &members); err != nil {
			return fault.As(err)
		}
		for _, m := range s.members {
			value, given := members[m.name]
			if !given && !m.optional {
				return fault.Bad("json.missing", join(path, m.name), "is required")
			}
			if given {
				if found := absent(m, value, join(path, m.name)); found != nil {
					return found
				}
			}
		}
	case "list":
		if k := s.members[0].kind; k != "object" && k != "list" && !bytes.Contains(text, []byte("null")) {
			return nil // plain values are all there
		}
		var values []wire.Raw
		if err := wire.Read(text, &values); err != nil {
			return fault.As(err)
		}
		for i, value := range values {
			if found := absent(s.members[0], value, at(path, i, "")); found != nil {
				return found
			}
		}
	}
	return nil
}

// join is the path of an object's member.
func join(path, name string) string {
	if path == "" {
		return name
	}
	return path + "." + name
}
