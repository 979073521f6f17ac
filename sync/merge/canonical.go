package merge

import (
	"errors"
	"slices"
	"strconv"
	"unicode/utf16"
	"unicode/utf8"
)

// MaxDepth is how many arrays and objects may be nested inside one another.
const MaxDepth = 32

// Canonical returns raw in the one form RFC 8785 allows: members ordered by
// their UTF-16 code units, no white space, numbers as ECMAScript prints them,
// and no escape that is not needed. Two texts that say the same have the same
// canonical form, so their hashes can be compared.
//
// Errors: a *Refusal with code json.syntax, json.duplicate (two members of one
// name), json.surrogate (half a character), json.utf8, json.number (beyond what
// 64 bits hold) or json.depth (more than MaxDepth levels). Time and memory
// grow with the length of raw.
func Canonical(raw []byte) ([]byte, error) {
	r := &reader{text: raw, out: make([]byte, 0, len(raw))}
	r.space()
	if err := r.value(0); err != nil {
		return nil, err
	}
	if r.space(); r.at < len(r.text) {
		return nil, r.refuse("json.syntax", "text goes on after the value")
	}
	return r.out, nil
}

// reader goes through text once and appends the canonical form to out.
type reader struct {
	text []byte
	at   int
	out  []byte
}

func (r *reader) refuse(code, text string) error {
	return &Refusal{Code: code, Offset: r.at, Text: text}
}

// peek returns the byte ahead, or 0 at the end; a real 0 is never allowed.
func (r *reader) peek() byte {
	if r.at < len(r.text) {
		return r.text[r.at]
	}
	return 0
}

func (r *reader) space() {
	for r.at < len(r.text) {
		switch r.text[r.at] {
		case ' ', '\t', '\n', '\r':
			r.at++
		default:
			return
		}
	}
}

func (r *reader) value(depth int) error {
	switch c := r.peek(); {
	case c == '{' || c == '[':
		if depth == MaxDepth {
			return r.refuse("json.depth", "is nested more than "+strconv.Itoa(MaxDepth)+" levels deep")
		}
		r.at++
		if c == '{' {
			return r.object(depth + 1)
		}
		return r.array(depth + 1)
	case c == '"':
		text, err := r.quoted()
		if err == nil {
			r.out = appendQuoted(r.out, text)
		}
		return err
	case c == '-' || c >= '0' && c <= '9':
		return r.number()
	}
	for _, word := range [3]string{"true", "false", "null"} {
		if rest := r.text[r.at:]; len(rest) >= len(word) && string(rest[:len(word)]) == word {
			r.at += len(word)
			r.out = append(r.out, word...)
			return nil
		}
	}
	return r.refuse("json.syntax", "a value was expected")
}

func (r *reader) array(depth int) error {
	r.out = append(r.out, '[')
	if r.space(); r.peek() == ']' {
		r.at++
		r.out = append(r.out, ']')
		return nil
	}
	for {
		r.space()
		if err := r.value(depth); err != nil {
			return err
		}
		r.space()
		c := r.peek()
		if c != ',' && c != ']' {
			return r.refuse("json.syntax", "a comma or the end of the list was expected")
		}
		r.at++
		r.out = append(r.out, c)
		if c == ']' {
			return nil
		}
	}
}

// member is one name and canonical value of an object that is being read.
type member struct {
	name  string
	order []uint16
	value []byte
}

func (r *reader) object(depth int) error {
	outer := r.out
	var members []member
	if r.space(); r.peek() == '}' {
		r.at++
		r.out = append(outer, "{}"...)
		return nil
	}
	for done := false; !done; {
		r.space()
		if r.peek() != '"' {
			return r.refuse("json.syntax", "a name in quotes was expected")
		}
		name, err := r.quoted()
		if err != nil {
			return err
		}
		if r.space(); r.peek() != ':' {
			return r.refuse("json.syntax", "a colon was expected")
		}
		r.at++
		r.space()
		r.out = nil
		if err := r.value(depth); err != nil {
			return err
		}
		members = append(members, member{name, utf16.Encode([]rune(name)), r.out})
		r.space()
		c := r.peek()
		if c != ',' && c != '}' {
			return r.refuse("json.syntax", "a comma or the end of the object was expected")
		}
		r.at++
		done = c == '}'
	}
	slices.SortFunc(members, func(a, b member) int { return slices.Compare(a.order, b.order) })
	for i, m := range members {
		if i > 0 && members[i-1].name == m.name {
			return r.refuse("json.duplicate", "the name "+strconv.Quote(m.name)+" stands twice in one object")
		}
		outer = append(appendQuoted(append(outer, "{,"[min(i, 1)]), m.name), ':')
		outer = append(outer, m.value...)
	}
	r.out = append(outer, '}')
	return nil
}

// quoted reads the string whose opening quote is ahead and returns its text.
func (r *reader) quoted() (string, error) {
	r.at++
	var text []byte
	for {
		c := r.peek()
		switch {
		case c == '"':
			r.at++
			return string(text), nil
		case c == '\\':
			char, err := r.escape()
			if err != nil {
				return "", err
			}
			text = utf8.AppendRune(text, char)
		case c < ' ': // the end of the text too
			return "", r.refuse("json.syntax", "a string is not closed, or holds a bare control character")
		default:
			char, size := utf8.DecodeRune(r.text[r.at:])
			if char == utf8.RuneError && size == 1 {
				return "", r.refuse("json.utf8", "is not UTF-8")
			}
			text = append(text, r.text[r.at:r.at+size]...)
			r.at += size
		}
	}
}

// escape reads one escape, a surrogate pair as one, whose backslash is ahead.
func (r *reader) escape() (rune, error) {
	if r.at++; r.peek() == 'u' {
		high, err := r.unit()
		if err != nil || !utf16.IsSurrogate(high) {
			return high, err
		}
		if r.peek() != '\\' || r.at+1 >= len(r.text) || r.text[r.at+1] != 'u' {
			return 0, r.refuse("json.surrogate", "a surrogate stands alone")
		}
		r.at++
		low, err := r.unit()
		if err != nil {
			return 0, err
		}
		pair := utf16.DecodeRune(high, low)
		if pair == utf8.RuneError {
			return 0, r.refuse("json.surrogate", "a surrogate stands alone")
		}
		return pair, nil
	}
	var char rune
	switch c := r.peek(); c {
	case '"', '\\', '/':
		char = rune(c)
	case 'b':
		char = '\b'
	case 'f':
		char = '\f'
	case 'n':
		char = '\n'
	case 'r':
		char = '\r'
	case 't':
		char = '\t'
	default:
		return 0, r.refuse("json.syntax", "there is no such escape")
	}
	r.at++
	return char, nil
}

// unit reads the "u" ahead and its four hex digits.
func (r *reader) unit() (rune, error) {
	if r.at+5 > len(r.text) {
		return 0, r.refuse("json.syntax", "an escape is cut short")
	}
	var unit rune
	for _, c := range r.text[r.at+1 : r.at+5] {
		switch {
		case c >= '0' && c <= '9':
			c -= '0'
		case c >= 'a' && c <= 'f':
			c -= 'a' - 10
		case c >= 'A' && c <= 'F':
			c -= 'A' - 10
		default:
			return 0, r.refuse("json.syntax", "an escape needs four hex digits")
		}
		unit = unit<<4 | rune(c)
	}
	r.at += 5
	return unit, nil
}

// appendQuoted appends text as RFC 8785 section 3.2.2.2 wants it.
func appendQuoted(out []byte, text string) []byte {
	const hex = "0123456789abcdef"
	out = append(out, '"')
	for i := range len(text) {
		switch c := text[i]; c {
		case '"', '\\':
			out = append(out, '\\', c)
		case '\b':
			out = append(out, `\b`...)
		case '\f':
			out = append(out, `\f`...)
		case '\n':
			out = append(out, `\n`...)
		case '\r':
			out = append(out, `\r`...)
		case '\t':
			out = append(out, `\t`...)
		default:
			if c < ' ' {
				out = append(out, '\\', 'u', '0', '0', hex[c>>4], hex[c&15])
			} else {
				out = append(out, c)
			}
		}
	}
	return append(out, '"')
}

// digits moves past digits and says whether there was at least one.
func (r *reader) digits() bool {
	start := r.at
	for c := r.peek(); c >= '0' && c <= '9'; c = r.peek() {
		r.at++
	}
	return r.at > start
}

func (r *reader) number() error {
	start := r.at
	if r.peek() == '-' {
		r.at++
	}
	zero := r.peek() == '0'
	first := r.at
	good := r.digits() && (!zero || r.at == first+1) // no leading zeros
	if good && r.peek() == '.' {
		r.at++
		good = r.digits()
	}
	if good && (r.peek() == 'e' || r.peek() == 'E') {
		if r.at++; r.peek() == '+' || r.peek() == '-' {
			r.at++
		}
		good = r.digits()
	}
	if !good {
		return r.refuse("json.syntax", "a number is malformed")
	}
	v, err := strconv.ParseFloat(string(r.text[start:r.at]), 64)
	if errors.Is(err, strconv.ErrRange) {
		return r.refuse("json.number", "a number is too large")
	}
	r.out = appendNumber(r.out, v)
	return nil
}

// appendNumber appends a finite v as ECMAScript's Number::toString does: the
// fewest digits that read back as v, with an exponent from 1e21 and below 1e-6.
func appendNumber(out []byte, v float64) []byte {
	if v == 0 { // minus zero too
		return append(out, '0')
	}
	if v < 0 {
		out, v = append(out, '-'), -v
	}
	var digits [32]byte
	shortest := strconv.AppendFloat(digits[:0], v, 'e', -1, 64) // d.ddde±xx
	e := slices.Index(shortest, 'e')
	exponent, _ := strconv.Atoi(string(shortest[e+1:])) // written a line ago
	d := append([]byte{shortest[0]}, shortest[min(2, e):e]...)
	point := exponent + 1 // digits before the decimal point
	zeros := func(n int) {
		for range n {
			out = append(out, '0')
		}
	}
	switch {
	case point >= len(d) && point <= 21:
		out = append(out, d...)
		zeros(point - len(d))
	case point > 0 && point <= 21:
		out = append(append(append(out, d[:point]...), '.'), d[point:]...)
	case point > -6 && point <= 0:
		out = append(out, "0."...)
		zeros(-point)
		out = append(out, d...)
	default:
		out = append(out, d[0])
		if len(d) > 1 {
			out = append(append(out, '.'), d[1:]...)
		}
		out = append(out, 'e')
		if exponent > 0 {
			out = append(out, '+')
		}
		out = strconv.AppendInt(out, int64(exponent), 10)
	}
	return out
}
