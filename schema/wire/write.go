package wire

import (
	"math"
	"reflect"
	"sort"
	"strconv"
	"unicode/utf8"

	"brimline/schema/fault"
)

// Write returns v as one line of JSON. Members stand in the order of the
// struct, keys of maps in the order of their bytes; numbers are written as
// ECMAScript writes them, so that they read back to the same value.
//
// Errors: *fault.Error with code json.finite and the path of a number that is
// not finite, or json.target for a type this package does not know.
func Write(v any) ([]byte, error) {
	w := &writer{out: make([]byte, 0, 512)}
	w.value(reflect.ValueOf(v), "")
	if w.bad != nil {
		return nil, w.bad
	}
	return w.out, nil
}

type writer struct {
	out []byte
	bad *fault.Error
}

func (w *writer) put(s string) { w.out = append(w.out, s...) }

func (w *writer) value(v reflect.Value, path string) {
	if !v.IsValid() {
		w.put("null")
		return
	}
	if v.Type() == rawType {
		if v.Len() == 0 {
			w.put("null")
		} else {
			w.out = append(w.out, v.Bytes()...)
		}
		return
	}
	switch v.Kind() {
	case reflect.Pointer, reflect.Interface:
		if v.IsNil() {
			w.put("null")
		} else {
			w.value(v.Elem(), path)
		}
	case reflect.Struct:
		w.object(v, path)
	case reflect.Slice, reflect.Array:
		w.list(v, path)
	case reflect.Map:
		w.table(v, path)
	case reflect.String:
		w.text(v.String())
	case reflect.Bool:
		w.out = strconv.AppendBool(w.out, v.Bool())
	case reflect.Float64:
		w.number(v.Float(), path)
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		w.out = strconv.AppendInt(w.out, v.Int(), 10)
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		w.out = strconv.AppendUint(w.out, v.Uint(), 10)
	default:
		w.fail("json.target", path, "is not something that can be written")
	}
}

func (w *writer) fail(code, path, message string) {
	if w.bad == nil {
		w.bad = fault.New(fault.Internal, code, path, message)
	}
}

func (w *writer) object(v reflect.Value, path string) {
	mark := byte('{')
	for _, f := range layout(v.Type()) {
		member := v.FieldByIndex(f.index)
		if f.omitEmpty && empty(member) {
			continue
		}
		w.out = append(w.out, mark)
		mark = ','
		w.text(f.name)
		w.out = append(w.out, ':')
		w.value(member, join(path, f.name))
	}
	if mark == '{' {
		w.out = append(w.out, '{')
	}
	w.out = append(w.out, '}')
}

// empty is what omitempty leaves out.
func empty(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.Slice, reflect.Map, reflect.String:
		return v.Len() == 0
	case reflect.Struct:
		return false
	}
	return v.IsZero()
}

func (w *writer) list(v reflect.Value, path string) {
	if v.Kind() == reflect.Slice && v.IsNil() {
		w.put("null")
		return
	}
	w.out = append(w.out, '[')
	for i := range v.Len() {
		if i > 0 {
			w.out = append(w.out, ',')
		}
		w.value(v.Index(i), path+"["+strconv.Itoa(i)+"]")
	}
	w.out = append(w.out, ']')
}

func (w *writer) table(v reflect.Value, path string) {
	if v.IsNil() {
		w.put("null")
		return
	}
	keys := v.MapKeys()
	sort.Slice(keys, func(i, j int) bool { return keys[i].String() < keys[j].String() })
	w.out = append(w.out, '{')
	for i, k := range keys {
		if i > 0 {
			w.out = append(w.out, ',')
		}
		w.text(k.String())
		w.out = append(w.out, ':')
		w.value(v.MapIndex(k), join(path, k.String()))
	}
	w.out = append(w.out, '}')
}

// number writes x as ECMAScript does (RFC 8785, section 3.2.2.3), but keeps -0.
func (w *writer) number(x float64, path string) {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		w.fail("json.finite", path, "is not a finite number")
		return
	}
	form := byte('f')
	if a := math.Abs(x); a != 0 && (a < 1e-6 || a >= 1e21) {
		form = 'e'
	}
	from := len(w.out)
	w.out = strconv.AppendFloat(w.out, x, form, -1, 64)
	if n := len(w.out); form == 'e' && n-from >= 4 && w.out[n-4] == 'e' && w.out[n-2] == '0' {
		w.out[n-2] = w.out[n-1] // e-09 is written e-9
		w.out = w.out[:n-1]
	}
}

func (w *writer) text(s string) {
	const hex = "0123456789abcdef"
	w.out = append(w.out, '"')
	for _, c := range s {
		switch {
		case c == '"' || c == '\\':
			w.out = append(w.out, '\\', byte(c))
		case c == '\n':
			w.put(`\n`)
		case c == '\t':
			w.put(`\t`)
		case c == '\r':
			w.put(`\r`)
		case c < 0x20:
			w.out = append(w.out, '\\', 'u', '0', '0', hex[c>>4], hex[c&15])
		default:
			w.out = utf8.AppendRune(w.out, c)
		}
	}
	w.out = append(w.out, '"')
}
