// Package fault names the kinds of failure a person may be told about.
//
// A fault carries a kind for machines, a stable code for translators and the
// JSON path of the offending input. Everything that is not a fault is for the
// log and is shown as "internal". The package knows nothing of HTTP, SQL or
// the screen.
package fault

import "errors"

// Kind says who can do something about a failure.
type Kind uint8

const (
	Internal    Kind = iota // ours: a bug or a broken machine; details stay in the log
	Invalid                 // theirs: the input breaks a rule
	NotFound                // theirs: no such thing, or not theirs to see
	Conflict                // theirs: it changed since they looked
	Denied                  // theirs: not signed in, or not allowed
	Unavailable             // nobody's: try again later
)

// String returns the kind's name as it stands in problem documents.
func (k Kind) String() string {
	switch k {
	case Invalid:
		return "invalid"
	case NotFound:
		return "not_found"
	case Conflict:
		return "conflict"
	case Denied:
		return "denied"
	case Unavailable:
		return "unavailable"
	}
	return "internal"
}

// Error is a failure a person may be told about.
//
// Code is stable; the screen translates it. Field is the JSON path of the
// offending input, or "". Message says in plain English what is wrong and
// what to do about it; it is the text of last resort where no translation of
// Code exists.
type Error struct {
	Kind    Kind
	Code    string
	Field   string
	Message string
}

// Error returns the field and the message, or the code where there is no message.
func (e *Error) Error() string {
	text := e.Message
	if text == "" {
		text = e.Code
	}
	if e.Field == "" {
		return text
	}
	return e.Field + ": " + text
}

// New returns a fault.
func New(kind Kind, code, field, message string) *Error {
	return &Error{Kind: kind, Code: code, Field: field, Message: message}
}

// Bad returns an Invalid fault about one field.
func Bad(code, field, message string) *Error { return New(Invalid, code, field, message) }

// As returns the fault inside err, or nil if there is none.
func As(err error) *Error {
	var f *Error
	if errors.As(err, &f) {
		return f
	}
	return nil
}
