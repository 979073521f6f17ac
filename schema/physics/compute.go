package physics

import (
	"encoding/json"
	"errors"
	"strconv"

	"brimline/schema/fault"
)

// Computation is one function of this package under the name a command line
// or a phone calls it by.
type Computation struct {
	Name string // such as "fluid-volume"
	Line string // what it does, in one line

	input, output string // shapes, see parseShape
	run           func([]byte) ([]byte, error)
}

// Names lists every computation in the order of the job.
func Names() []Computation {
	return append(append(fluidComputations(), checkComputations()...), recordComputations()...)
}

// Compute runs one computation on one JSON object.
//
// Shapes: input is one JSON object of the computation's input schema, and
// nothing after it; the result is one JSON object without a line end.
// Units: in the names of the members.
// Errors: always a *fault.Error. not_found for an unknown name; bad_json for
// text that is not one JSON value; unknown_field, missing, duplicate_field,
// wrong_type and out_of_range with the path of the member, such as
// readings[3].temp_c; then the faults of the computation itself.
// Accuracy: numbers are printed so that they read back to the same value.
// Source: JSON, RFC 8259.
func Compute(name string, input []byte) ([]byte, error) {
	for _, c := range Names() {
		if c.Name != name {
			continue
		}
		if err := strictly(c.input, input); err != nil {
			return nil, err
		}
		return c.run(input)
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

// compute wraps a function of Go values as one of JSON texts whose shape has
// been checked.
func compute[In, Out any](f func(In) (Out, error)) func([]byte) ([]byte, error) {
	return func(input []byte) ([]byte, error) {
		var in In
		if err := json.Unmarshal(input, &in); err != nil {
			return nil, typeFault(err)
		}
		out, err := f(in)
		if err != nil {
			if known := fault.As(err); known != nil {
				return nil, known
			}
			return nil, fault.New(fault.Internal, "internal", "", err.Error())
		}
		text, err := json.Marshal(out)
		if err != nil { // the only values of ours JSON cannot hold are NaN and infinities
			return nil, fault.New(fault.Internal, "not_finite", "", "the result is not a number")
		}
		return text, nil
	}
}

// typeFault names the member that Go could not hold; strictly has found
// nearly all of them before.
func typeFault(err error) error {
	var wrong *json.UnmarshalTypeError
	if errors.As(err, &wrong) {
		return fault.Bad("wrong_type", wrong.Field, "must be "+wrong.Type.String()+", not "+wrong.Value)
	}
	return fault.Bad("bad_json", "", err.Error())
}

// strictly checks one JSON text against a shape.
func strictly(text string, input []byte) error {
	var raw json.RawMessage
	if err := json.Unmarshal(input, &raw); err != nil {
		return fault.Bad("bad_json", "", "must be one JSON object and nothing after it: "+err.Error())
	}
	ended := append(append([]byte(nil), input...), '\n') // a bare word needs an end
	decoder := json.NewDecoder(&once{rest: ended})
	decoder.UseNumber()
	w := walk{decoder: decoder}
	if found := w.value(parseShape(text), ""); found != nil {
		return found
	}
	return nil
}

// once hands a text out a single time.
type once struct{ rest []byte }

// Read copies what is left. The text is known to hold one whole value, so
// that the decoder never asks beyond its end.
func (o *once) Read(p []byte) (int, error) {
	if len(o.rest) == 0 {
		return 0, errors.New("the text has ended")
	}
	n := copy(p, o.rest)
	o.rest = o.rest[n:]
	return n, nil
}

// walk goes through a JSON text beside a shape.
type walk struct{ decoder *json.Decoder }

// value checks the next value.
func (w walk) value(s shape, path string) *fault.Error {
	token, err := w.decoder.Token()
	if err != nil {
		return fault.Bad("bad_json", path, err.Error())
	}
	if token == nil {
		if s.optional || s.nullable {
			return nil
		}
		return fault.Bad("missing", path, "must not be null")
	}
	switch s.kind {
	case "object":
		if token == json.Delim('{') {
			return w.object(s, path)
		}
	case "list":
		if token == json.Delim('[') {
			return w.list(s, path)
		}
	case "number", "integer":
		if number, ok := token.(json.Number); ok {
			return numberFault(s, path, number)
		}
	case "text":
		if _, ok := token.(string); ok {
			return nil
		}
	case "flag":
		if _, ok := token.(bool); ok {
			return nil
		}
	}
	return fault.Bad("wrong_type", path, "must be "+s.article())
}

// article names a kind of value for a person.
func (s shape) article() string {
	switch s.kind {
	case "object":
		return "an object"
	case "list":
		return "a list"
	case "number":
		return "a number"
	case "integer":
		return "a whole number"
	case "flag":
		return "true or false"
	}
	return "a text"
}

// numberFault refuses numbers that Go's types cannot hold.
func numberFault(s shape, path string, number json.Number) *fault.Error {
	if s.kind == "integer" {
		if _, err := strconv.ParseInt(number.String(), 10, 32); err != nil {
			return fault.Bad("wrong_type", path, "must be a whole number of at most nine digits")
		}
		return nil
	}
	if _, err := number.Float64(); err != nil {
		return fault.Bad("out_of_range", path, "is larger than any number a computer holds")
	}
	return nil
}

// object checks an object whose opening brace has been read.
func (w walk) object(s shape, path string) *fault.Error {
	seen := make([]bool, len(s.members))
	for w.decoder.More() {
		token, err := w.decoder.Token()
		key, ok := token.(string)
		if err != nil || !ok {
			return fault.Bad("bad_json", path, "must have names as its keys")
		}
		index := s.member(key)
		below := join(path, key)
		if index < 0 {
			return fault.Bad("unknown_field", below, "is not a field here; remove it or correct its spelling")
		}
		if seen[index] {
			return fault.Bad("duplicate_field", below, "must be given once")
		}
		seen[index] = true
		if found := w.value(s.members[index], below); found != nil {
			return found
		}
	}
	for i, m := range s.members {
		if !seen[i] && !m.optional {
			return fault.Bad("missing", join(path, m.name), "is required")
		}
	}
	if _, err := w.decoder.Token(); err != nil {
		return fault.Bad("bad_json", path, err.Error())
	}
	return nil
}

// list checks a list whose opening bracket has been read.
func (w walk) list(s shape, path string) *fault.Error {
	for i := 0; w.decoder.More(); i++ {
		if found := w.value(s.members[0], at(path, i, "")); found != nil {
			return found
		}
	}
	if _, err := w.decoder.Token(); err != nil {
		return fault.Bad("bad_json", path, err.Error())
	}
	return nil
}

// member finds a member by its exact name.
func (s shape) member(name string) int {
	for i, m := range s.members {
		if m.name == name {
			return i
		}
	}
	return -1
}

// join is the path of an object's member.
func join(path, name string) string {
	if len(name) > 60 {
		name = name[:60]
	}
	if path == "" {
		return name
	}
	return path + "." + name
}
