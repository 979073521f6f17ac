package store

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"strings"

	"brimline/schema"
	"brimline/schema/fault"
	"brimline/sync/merge"
)

// Limits of a push.
const (
	MaxChanges     = 200
	MaxChangeBytes = 64 << 10
)

// Change is one change as a phone sends it. Fault is set where the reader of
// the request could not decode it; such a change is answered and not written.
type Change struct {
	ID    string
	Dseq  int64
	Kind  string
	V     int
	Body  json.RawMessage
	Fault *fault.Error
}

// Status says what became of a change.
type Status string

// A phone keeps what is not applied or a duplicate.
const (
	Applied   Status = "applied"   // committed and on the disk
	Duplicate Status = "duplicate" // was applied before
	Rejected  Status = "rejected"  // never acceptable as sent
	Deferred  Status = "deferred"  // acceptable later
)

// Result answers one change.
type Result struct {
	ID          string
	Status      Status
	Code        string
	Seq         int64
	RetryAfterS int
	Problem     *fault.Error
}

// parsed is a change whose own meaning was checked, without looking at
// anything that is stored.
type parsed struct {
	id, hash string
	event    *schema.Event
	text     []byte // canonical body
	reminder *ReminderEdit
}

// ReminderEdit is the body of a reminder change: the reminder as the phone has
// it, the fields the person changed, and when.
type ReminderEdit struct {
	Reminder schema.Reminder `json:"reminder"`
	Fields   []string        `json:"fields"`
	Stamp    merge.Stamp     `json:"stamp"`
}

// parseChange checks everything about a change that needs no database.
func parseChange(c Change) (parsed, *fault.Error) {
	if c.Fault != nil {
		return parsed{}, c.Fault
	}
	if !validID(c.ID) {
		return parsed{}, fault.Bad("id.form", "id", "must be a UUID in lower-case letters")
	}
	if c.Dseq < 1 || c.Dseq > 1<<53 {
		return parsed{}, fault.Bad("number.range", "dseq", "must count from 1")
	}
	if len(c.Body) > MaxChangeBytes {
		return parsed{}, fault.Bad("change.long", "body", "is too long for one change")
	}
	text, err := merge.Canonical(c.Body)
	if err != nil {
		return parsed{}, refused(err, "body")
	}
	p := parsed{id: c.ID, text: text, hash: hashOf(text)}
	switch c.Kind {
	case kindEvent:
		return p.withEvent(c.V)
	case kindReminder:
		return p.withReminder(c.V)
	}
	return parsed{}, fault.Bad("change.kind", "kind", "is not known here; update the server, or the app if it is older")
}

func (p parsed) withEvent(v int) (parsed, *fault.Error) {
	if v != 1 {
		return parsed{}, fault.Bad("change.version", "v", "is not known here; update the server, or the app if it is older")
	}
	var e schema.Event
	if f := decodeExactly(p.text, &e); f != nil {
		return parsed{}, f
	}
	if err := e.Check(); err != nil {
		return parsed{}, inField(err, "body.")
	}
	p.event = &e
	return p, nil
}

func (p parsed) withReminder(v int) (parsed, *fault.Error) {
	if v != 1 {
		return parsed{}, fault.Bad("change.version", "v", "is not known here; update the server, or the app if it is older")
	}
	var edit ReminderEdit
	if err := json.Unmarshal(p.text, &edit); err != nil {
		return parsed{}, decodeFault(err)
	}
	if err := edit.Reminder.Check(); err != nil {
		return parsed{}, inField(err, "body.reminder.")
	}
	if err := edit.Stamp.Check(); err != nil {
		return parsed{}, refused(err, "body.stamp")
	}
	if !validID(edit.Stamp.Device) {
		return parsed{}, fault.Bad("id.form", "body.stamp.device", "must be the device's UUID")
	}
	if len(edit.Fields) == 0 || len(edit.Fields) > len(reminderFields) {
		return parsed{}, fault.Bad("reminder.fields", "body.fields", "name the fields that were changed")
	}
	for _, name := range edit.Fields {
		if !reminderField(name) {
			return parsed{}, fault.Bad("reminder.fields", "body.fields", "must be among: "+strings.Join(reminderFields, ", "))
		}
	}
	p.reminder = &edit
	return p, nil
}

// decodeExactly decodes canonical text into an event and refuses members that
// an event does not have: the hash covers all of them, the record would not.
func decodeExactly(text []byte, into *schema.Event) *fault.Error {
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		return decodeFault(err)
	}
	again, err := json.Marshal(into)
	if err == nil {
		again, err = merge.Canonical(again)
	}
	if err != nil || !bytes.Equal(again, text) {
		return fault.Bad("event.form", "body", "must have exactly the members of an event, each once and under its exact name")
	}
	return nil
}

// hashOf returns the hash of canonical text: what merge.Hash gives, without
// making it canonical once more, and by the processor's own instructions.
func hashOf(text []byte) string {
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}

func decodeFault(err error) *fault.Error {
	var wrong *json.UnmarshalTypeError
	if errors.As(err, &wrong) && wrong.Field != "" {
		return fault.Bad("json.type", "body."+wrong.Field, "must not be a "+wrong.Value)
	}
	return fault.Bad("json.form", "body", "does not have the form of its kind")
}

// refused turns a refusal of package merge into a fault.
func refused(err error, field string) *fault.Error {
	var r *merge.Refusal
	if errors.As(err, &r) {
		return fault.Bad(r.Code, field, r.Text)
	}
	return fault.Bad("json.form", field, err.Error())
}

// inField puts a prefix before a fault's field.
func inField(err error, prefix string) *fault.Error {
	f := fault.As(err)
	if f == nil {
		return fault.Bad("change.form", strings.TrimSuffix(prefix, "."), err.Error())
	}
	return fault.New(f.Kind, f.Code, prefix+f.Field, f.Message)
}

// validID reports whether id is a UUID in lower-case text, by the rule every record uses.
func validID(id string) bool {
	return schema.Person{ID: schema.PersonID(id), Name: "x", Role: schema.Lead}.Check() == nil
}
