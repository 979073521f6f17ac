package wire

import (
	"reflect"
	"strconv"
	"unicode/utf16"
	"unicode/utf8"

	"brimline/schema/fault"
)

// reader goes through a JSON text once, from left to right.
type reader struct {
	s      []byte
	i      int
	strict bool
}

func (r *reader) malformed(path, what string) *fault.Error {
	return fault.Bad("json.malformed", path, "is not readable JSON: "+what+" at byte "+strconv.Itoa(r.i))
}

func (r *reader) space() {
	for r.i < len(r.s) && (r.s[r.i] == ' ' || r.s[r.i] == '\n' || r.s[r.i] == '\t' || r.s[r.i] == '\r') {
		r.i++
	}
}

// next returns the first byte of the next value or mark, 0 at the end.
func (r *reader) next() byte {
	if r.space(); r.i < len(r.s) {
		return r.s[r.i]
	}
	return 0
}

func (r *reader) take(c byte) bool {
	if r.next() != c {
		return false
	}
	r.i++
	return true
}

func (r *reader) word(w string) bool {
	if len(r.s)-r.i < len(w) || string(r.s[r.i:r.i+len(w)]) != w {
		return false
	}
	r.i += len(w)
	return true
}

// value reads the next value into v.
func (r *reader) value(v reflect.Value, path string, depth int) *fault.Error {
	if depth > MaxDepth {
		return fault.Bad("json.depth", path, "is nested more than "+strconv.Itoa(MaxDepth)+" levels deep")
	}
	if v.Type() == rawType {
		r.space()
		from := r.i
		if f := r.skip(path, depth); f != nil {
			return f
		}
		v.SetBytes(append([]byte{}, r.s[from:r.i]...))
		return nil
	}
	if r.next() == 'n' {
		if !r.word("null") {
			return r.malformed(path, "a value was expected")
		}
		if k := v.Kind(); k == reflect.Pointer || k == reflect.Slice || k == reflect.Map {
			v.SetZero()
		}
		return nil
	}
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			v.Set(reflect.New(v.Type().Elem()))
		}
		return r.value(v.Elem(), path, depth)
	case reflect.Struct:
		return r.object(v, path, depth)
	case reflect.Slice:
		return r.list(v, path, depth)
	case reflect.Map:
		return r.table(v, path, depth)
	}
	return r.plain(v, path)
}

// plain reads a text, a flag or a number.
func (r *reader) plain(v reflect.Value, path string) *fault.Error {
	c := r.next()
	switch v.Kind() {
	case reflect.String:
		if c != '"' {
			return r.wrong(path, "a text")
		}
		s, f := r.text(path)
		v.SetString(s)
		return f
	case reflect.Bool:
		if yes := r.word("true"); yes || r.word("false") {
			v.SetBool(yes)
			return nil
		}
		return r.wrong(path, "true or false")
	}
	if c != '-' && (c < '0' || c > '9') {
		return r.wrong(path, "a number")
	}
	digits, f := r.number(path)
	if f != nil {
		return f
	}
	switch v.Kind() {
	case reflect.Float64:
		x, err := strconv.ParseFloat(digits, 64)
		if err != nil {
			return fault.Bad("json.range", path, "is larger than any number a computer holds")
		}
		v.SetFloat(x)
	case reflect.Int, reflect.Int64:
		n, err := strconv.ParseInt(digits, 10, 64)
		if err != nil || v.OverflowInt(n) {
			return fault.Bad("json.type", path, "must be a whole number")
		}
		v.SetInt(n)
	case reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		n, err := strconv.ParseUint(digits, 10, 64)
		if err != nil || v.OverflowUint(n) {
			return fault.Bad("json.type", path, "must be a whole number, not negative")
		}
		v.SetUint(n)
	default:
		return fault.New(fault.Internal, "json.target", path, "is not something that can be read into")
	}
	return nil
}

// wrong is the fault for a value of another kind, or for none at all.
func (r *reader) wrong(path, want string) *fault.Error {
	switch c := r.next(); {
	case c == '"', c == '{', c == '[', c == '-', c >= '0' && c <= '9', c == 't', c == 'f':
		return fault.Bad("json.type", path, "must be "+want)
	}
	return r.malformed(path, "a value was expected")
}

func (r *reader) object(v reflect.Value, path string, depth int) *fault.Error {
	if !r.take('{') {
		return r.wrong(path, "an object")
	}
	members := layout(v.Type())
	var seen uint64
	return r.members(path, func(name, below string) *fault.Error {
		for i, m := range members {
			if m.name != name {
				continue
			}
			if bit := uint64(1) << (i & 63); r.strict && i < 64 {
				if seen&bit != 0 {
					return fault.Bad("json.twice", below, "must be given once")
				}
				seen |= bit
			}
			return r.value(v.FieldByIndex(m.index), below, depth+1)
		}
		if r.strict {
			return fault.Bad("json.unknown", below, "is not a field here; remove it or correct its spelling")
		}
		return r.skip(below, depth+1)
	})
}

func (r *reader) table(v reflect.Value, path string, depth int) *fault.Error {
	if !r.take('{') {
		return r.wrong(path, "an object")
	}
	v.Set(reflect.MakeMap(v.Type()))
	return r.members(path, func(name, below string) *fault.Error {
		e := reflect.New(v.Type().Elem()).Elem()
		if f := r.value(e, below, depth+1); f != nil {
			return f
		}
		v.SetMapIndex(reflect.ValueOf(name).Convert(v.Type().Key()), e)
		return nil
	})
}

// members reads an object's members after its brace, handing each to f when
// its value is next.
func (r *reader) members(path string, f func(name, below string) *fault.Error) *fault.Error {
	if r.take('}') {
		return nil
	}
	for {
		if r.next() != '"' {
			return r.malformed(path, "a name in quotes was expected")
		}
		name, bad := r.text(path)
		if bad != nil {
			return bad
		}
		if !r.take(':') {
			return r.malformed(path, "a colon was expected")
		}
		if bad := f(name, join(path, name)); bad != nil {
			return bad
		}
		if r.take(',') {
			continue
		}
		if r.take('}') {
			return nil
		}
		return r.malformed(path, "a comma or the end of the object was expected")
	}
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

func (r *reader) list(v reflect.Value, path string, depth int) *fault.Error {
	if !r.take('[') {
		return r.wrong(path, "a list")
	}
	v.Set(reflect.MakeSlice(v.Type(), 0, 4))
	if r.take(']') {
		return nil
	}
	for i := 0; ; i++ {
		v.Grow(1)
		v.SetLen(i + 1)
		v.Index(i).SetZero()
		if f := r.value(v.Index(i), path+"["+strconv.Itoa(i)+"]", depth+1); f != nil {
			return f
		}
		if r.take(',') {
			continue
		}
		if r.take(']') {
			return nil
		}
		return r.malformed(path, "a comma or the end of the list was expected")
	}
}

// skip passes over the next value.
func (r *reader) skip(path string, depth int) *fault.Error {
	if depth > MaxDepth {
		return fault.Bad("json.depth", path, "is nested more than "+strconv.Itoa(MaxDepth)+" levels deep")
	}
	switch c := r.next(); {
	case c == '{':
		r.i++
		return r.members(path, func(_, below string) *fault.Error { return r.skip(below, depth+1) })
	case c == '[':
		r.i++
		return r.skipList(path, depth)
	case c == '"':
		_, f := r.text(path)
		return f
	case c == '-' || c >= '0' && c <= '9':
		_, f := r.number(path)
		return f
	}
	if r.word("true") || r.word("false") || r.word("null") {
		return nil
	}
	return r.malformed(path, "a value was expected")
}

func (r *reader) skipList(path string, depth int) *fault.Error {
	if r.take(']') {
		return nil
	}
	for {
		if f := r.skip(path, depth+1); f != nil {
			return f
		}
		if r.take(',') {
			continue
		}
		if r.take(']') {
			return nil
		}
		return r.malformed(path, "a comma or the end of the list was expected")
	}
}

// number returns the text of a number that follows the grammar.
func (r *reader) number(path string) (string, *fault.Error) {
	from := r.i
	digits := func() bool {
		at := r.i
		for r.i < len(r.s) && r.s[r.i] >= '0' && r.s[r.i] <= '9' {
			r.i++
		}
		return r.i > at
	}
	at := func(c byte) bool { return r.i < len(r.s) && r.s[r.i] == c }
	if at('-') {
		r.i++
	}
	ok := true
	if at('0') {
		r.i++
	} else {
		ok = digits()
	}
	if ok && at('.') {
		r.i++
		ok = digits()
	}
	if ok && (at('e') || at('E')) {
		r.i++
		if at('+') || at('-') {
			r.i++
		}
		ok = digits()
	}
	if !ok {
		return "", r.malformed(path, "a number breaks off")
	}
	return string(r.s[from:r.i]), nil
}

// text returns a string whose opening quote is next.
func (r *reader) text(path string) (string, *fault.Error) {
	r.i++
	from := r.i
	for r.i < len(r.s) && r.s[r.i] != '"' && r.s[r.i] != '\\' && r.s[r.i] >= 0x20 && r.s[r.i] < utf8.RuneSelf {
		r.i++
	}
	if r.i < len(r.s) && r.s[r.i] == '"' {
		r.i++
		return string(r.s[from : r.i-1]), nil
	}
	out := append([]byte{}, r.s[from:r.i]...)
	for r.i < len(r.s) {
		switch c := r.s[r.i]; {
		case c == '"':
			r.i++
			return string(out), nil
		case c < 0x20:
			return "", r.malformed(path, "a text holds a bare control character")
		case c == '\\':
			char, f := r.escape(path)
			if f != nil {
				return "", f
			}
			out = utf8.AppendRune(out, char)
		default:
			char, size := utf8.DecodeRune(r.s[r.i:])
			if char == utf8.RuneError && size <= 1 {
				return "", r.malformed(path, "a text is not UTF-8")
			}
			out = append(out, r.s[r.i:r.i+size]...)
			r.i += size
		}
	}
	return "", r.malformed(path, "a text is not closed")
}

// escape reads one escaped character.
func (r *reader) escape(path string) (rune, *fault.Error) {
	r.i++
	if r.i >= len(r.s) {
		return 0, r.malformed(path, "an escape is cut short")
	}
	c := r.s[r.i]
	r.i++
	const plain, meant = `"\/bfnrt`, "\"\\/\b\f\n\r\t"
	for i := range len(plain) {
		if c == plain[i] {
			return rune(meant[i]), nil
		}
	}
	if c != 'u' {
		return 0, r.malformed(path, "there is no such escape")
	}
	high, ok := r.hex()
	if !ok {
		return 0, r.malformed(path, "an escape needs four hex digits")
	}
	if !utf16.IsSurrogate(high) {
		return high, nil
	}
	if r.word(`\u`) {
		if low, ok := r.hex(); ok {
			if char := utf16.DecodeRune(high, low); char != utf8.RuneError {
				return char, nil
			}
		}
	}
	return 0, r.malformed(path, "half a character stands alone")
}

func (r *reader) hex() (rune, bool) {
	if len(r.s)-r.i < 4 {
		return 0, false
	}
	n, err := strconv.ParseUint(string(r.s[r.i:r.i+4]), 16, 32)
	if err != nil || r.s[r.i] == '+' {
		return 0, false
	}
	r.i += 4
	return rune(n), true
}
