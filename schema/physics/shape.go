package physics

import "strconv"

// shape describes a JSON value: what compute accepts and prints. It is
// written down as a short text such as
//
//	{volume_ml:number from_c:number label?:text readings:[{t_s:number}] plug:{ahead_mm:number}|null}
//
// where ? marks a member that may be absent or null and |null one that must
// be there but may be null; <a|b> lists the words allowed.
type shape struct {
	kind     string // number, integer, text, flag, object, list
	name     string // of a member
	optional bool
	nullable bool
	words    []string // allowed texts, if they are a closed list
	members  []shape  // of an object; a list has its one element here
}

// abbreviation replaces the names of shapes that many computations share.
func abbreviation(word string) (string, bool) {
	switch word {
	case "normal":
		return "{mean:number sd:number}", true
	case "quantiles":
		return "{p10:number p50:number p90:number}", true
	case "window":
		return "{low_c:number high_c:number}", true
	case "warmer":
		return "{probability:number onset_s:normal factor:normal}", true
	case "belief":
		return "{rise_c:normal time_constant_s:normal correlation?:number warmer?:warmer}", true
	case "angles":
		return "{pitch_deg:number roll_deg:number}", true
	}
	return "", false
}

// shapeText reads a shape's text from left to right.
type shapeText struct {
	text string
	next int
}

// parseShape reads one shape's text. The texts are part of this package; a
// slip in one is found by the test that compares them with the Go types.
func parseShape(text string) shape {
	t := &shapeText{text: text}
	return t.value()
}

// value reads one value and what follows it.
func (t *shapeText) value() shape {
	var s shape
	switch {
	case t.take("{"):
		s.kind = "object"
		for !t.take("}") && t.next < len(t.text) {
			s.members = append(s.members, t.member())
		}
	case t.take("["):
		s.kind = "list"
		s.members = []shape{t.value()}
		t.take("]")
	case t.take("<"):
		s.kind = "text"
		for !t.take(">") && t.next < len(t.text) {
			s.words = append(s.words, t.until("|>"))
			t.take("|")
		}
	default:
		s.kind = t.until(" |}]")
		if whole, ok := abbreviation(s.kind); ok {
			s = parseShape(whole)
		}
	}
	if t.take("|null") {
		s.nullable = true
	}
	t.take(" ")
	return s
}

// member reads one name and its value.
func (t *shapeText) member() shape {
	name := t.until("?:")
	optional := t.take("?")
	t.take(":")
	s := t.value()
	s.name, s.optional = name, optional
	return s
}

// take skips a piece of text if it stands next.
func (t *shapeText) take(piece string) bool {
	end := t.next + len(piece)
	if end <= len(t.text) && t.text[t.next:end] == piece {
		t.next = end
		return true
	}
	return false
}

// until reads up to the first of some bytes.
func (t *shapeText) until(stops string) string {
	start := t.next
	for t.next < len(t.text) {
		for i := range len(stops) {
			if t.text[t.next] == stops[i] {
				return t.text[start:t.next]
			}
		}
		t.next++
	}
	return t.text[start:]
}

// schema prints a shape as JSON Schema 2020-12.
func (s shape) schema(out []byte) []byte {
	switch s.kind {
	case "object":
		return s.objectSchema(out)
	case "list":
		out = append(out, `{"type":`+s.typeName("array")+`,"items":`...)
		return append(s.members[0].schema(out), '}')
	case "number", "integer":
		return append(out, `{"type":`+s.typeName(s.kind)+`}`...)
	case "flag":
		return append(out, `{"type":`+s.typeName("boolean")+`}`...)
	}
	out = append(out, `{"type":`+s.typeName("string")...)
	for i, word := range s.words {
		if i == 0 {
			out = append(out, `,"enum":[`...)
		} else {
			out = append(out, ',')
		}
		out = strconv.AppendQuote(out, word)
	}
	if len(s.words) > 0 {
		if s.optional || s.nullable {
			out = append(out, `,null`...)
		}
		out = append(out, ']')
	}
	return append(out, '}')
}

// typeName is the schema's type, with null where that is allowed.
func (s shape) typeName(name string) string {
	if s.optional || s.nullable {
		return `["` + name + `","null"]`
	}
	return `"` + name + `"`
}

// objectSchema prints an object's members and which of them must be there.
func (s shape) objectSchema(out []byte) []byte {
	out = append(out, `{"type":`+s.typeName("object")+`,"properties":{`...)
	for i, m := range s.members {
		if i > 0 {
			out = append(out, ',')
		}
		out = strconv.AppendQuote(out, m.name)
		out = append(out, ':')
		out = m.schema(out)
	}
	out = append(out, `},"required":[`...)
	first := true
	for _, m := range s.members {
		if m.optional {
			continue
		}
		if !first {
			out = append(out, ',')
		}
		first = false
		out = strconv.AppendQuote(out, m.name)
	}
	return append(out, `],"additionalProperties":false}`...)
}
