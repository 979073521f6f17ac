// Package api is the server's HTTP interface as words: the description
// openapi.yaml and the JSON types it names, with the rules of their shape as
// `validate` tags.
//
// It holds no behaviour. What a record means is for package schema to say, and
// which answer is given when, for server/web.
package api

import (
	_ "embed"
	"encoding/json"

	"brimline/schema"
)

//go:embed openapi.yaml
var openAPI []byte

// OpenAPI returns the description of the interface, as it is served.
func OpenAPI() []byte { return openAPI }

// Limits of one request.
const (
	MaxBodyBytes = 512 << 10
	MaxChanges   = 200
)

// Problem is every answer that is not a success (RFC 9457). Code is stable and
// is what the screen translates; Detail is the text of last resort.
type Problem struct {
	Type      string `json:"type"`
	Title     string `json:"title"`
	Status    int    `json:"status"`
	Code      string `json:"code"`
	Detail    string `json:"detail"`
	Field     string `json:"field,omitempty"` // JSON path of the offending input
	Retryable bool   `json:"retryable"`       // the same request may succeed later
}

// SignIn asks for a session. DeviceID is a UUID that the phone made for itself.
type SignIn struct {
	Email      string `json:"email" validate:"required,max=254"`
	Password   string `json:"password" validate:"required,max=512"`
	DeviceID   string `json:"device_id" validate:"required,uuid"`
	DeviceName string `json:"device_name" validate:"max=120"`
}

// Session answers a sign-in or a refresh. The refresh token is in the cookie alone.
type Session struct {
	AccessToken string          `json:"access_token"`
	ExpiresInS  int             `json:"expires_in_s"`
	Person      schema.Person   `json:"person"`
	Workshop    schema.Workshop `json:"workshop"`
	DeviceID    schema.DeviceID `json:"device_id"`
}

// Push brings a phone's changes. Each change is decoded on its own (Change), so
// that one that cannot be read does not keep the others back.
type Push struct {
	Proto      int               `json:"proto" validate:"eq=1"`
	App        string            `json:"app" validate:"max=120"`
	Device     string            `json:"device" validate:"required,uuid"`
	Epoch      string            `json:"epoch" validate:"max=64"`
	Cursor     string            `json:"cursor" validate:"max=128"`
	SentWallMS int64             `json:"sent_wall_ms"`
	Changes    []json.RawMessage `json:"changes" validate:"max=200"`
}

// Change is one change. Dseq counts 1, 2, 3 … on each device.
type Change struct {
	ID   string          `json:"id"`
	Dseq int64           `json:"dseq"`
	Kind string          `json:"kind"`
	V    int             `json:"v"`
	Body json.RawMessage `json:"body"`
}

// PushAnswer answers a push, one result for each change, in order.
type PushAnswer struct {
	Epoch    string   `json:"epoch"`
	ServerMS int64    `json:"server_ms"`
	Results  []Result `json:"results"`
}

// Result says what became of a change: applied, duplicate, rejected or deferred.
type Result struct {
	ID          string   `json:"id"`
	Status      string   `json:"status"`
	Code        string   `json:"code,omitempty"`
	Seq         int64    `json:"seq,omitempty"`
	RetryAfterS int      `json:"retry_after_s,omitempty"`
	Problem     *Problem `json:"problem,omitempty"`
}

// PullQuery are the parameters of a pull.
type PullQuery struct {
	Cursor string `query:"cursor" json:"cursor" validate:"max=128"`
	Limit  int    `query:"limit" json:"limit" validate:"min=0,max=1000"`
}

// PullPage is one page of what changed.
type PullPage struct {
	Epoch string `json:"epoch"`
	Items []Item `json:"items"`
	Next  string `json:"next"`
	More  bool   `json:"more"`
}

// Item is one record as it is now, or one event.
type Item struct {
	Seq     int64           `json:"seq"`
	Kind    string          `json:"kind"`
	V       int             `json:"v"`
	ID      string          `json:"id"`
	Deleted bool            `json:"deleted,omitempty"`
	Body    json.RawMessage `json:"body"`
}

// ChecksQuery are the parameters of a list of checks.
type ChecksQuery struct {
	Before string `query:"before" json:"before" validate:"max=64"`
	Limit  int    `query:"limit" json:"limit" validate:"min=0,max=200"`
}

// ChecksPage is one page of the workshop's checks, the newest first.
type ChecksPage struct {
	Checks []ListedCheck `json:"checks"`
	Next   string        `json:"next,omitempty"`
}

// ListedCheck is a check with what a list shows of it.
type ListedCheck struct {
	schema.Check
	VehicleLabel string `json:"vehicle_label"`
	PersonName   string `json:"person_name"`
}

// Evidence is one check as the server holds it, with the server's own
// computation of it. View is null where the log no longer replays.
type Evidence struct {
	Check      schema.Check    `json:"check"`
	Vehicle    schema.Vehicle  `json:"vehicle"`
	Unit       schema.Unit     `json:"unit"`
	Profile    schema.Profile  `json:"profile"`
	Person     schema.Person   `json:"person"`
	Events     []HeldEvent     `json:"events"`
	View       json.RawMessage `json:"view"`
	Recomputed Recomputed      `json:"recomputed"`
}

// HeldEvent is one stored event.
type HeldEvent struct {
	Event      schema.Event `json:"event"`
	Hash       string       `json:"hash"`
	ReceivedMS int64        `json:"received_ms"`
}

// Recomputed says whether the events still give the stored summary.
type Recomputed struct {
	Agrees bool `json:"agrees"`
}

// Health says that the server and its database answer.
type Health struct {
	Status string `json:"status"`
	Epoch  string `json:"epoch"`
}
