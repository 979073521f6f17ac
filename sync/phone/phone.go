// Package phone is the phone's half of the sync protocol (sync/PROTOCOL.md): what
// to send next, what an answer means, how long to wait after a failure.
//
// It decides and does nothing itself: Step takes the state and one thing that
// happened and returns the new state and what the shell has to do. It reads no
// clock, draws no random number, knows no network and no database; those
// arrive as inputs and leave as effects. It never looks into a change: that a
// check is being recorded never depends on it.
package phone

// Limits. Times are milliseconds.
const (
	MaxBatch      = 50        // changes in one push
	MaxBatchBytes = 480 << 10 // their bodies together; the server takes 512 KiB with the envelope

	FlightMS     = 90 * 1000      // a request or a local job that takes longer has failed
	MinWaitMS    = 250            // shortest wait after a failure
	MaxWaitMS    = 5 * 60 * 1000  // longest wait before all requests
	MaxHoldMS    = 60 * 60 * 1000 // longest wait of one change, or asked for by the server
	PullEveryMS  = 60 * 1000      // about how often to ask for news when nothing else happens
	ResetEveryMS = 60 * 1000      // a second reset sooner than this waits like a failure

	ParkFails = 5              // a change that failed alone this often …
	ParkMS    = 60 * 60 * 1000 // … over this long needs attention
)

// Mode is what the phone is doing. At most one request is in flight, in Pushing
// or Pulling.
type Mode string

const (
	Idle      Mode = "idle"       // nothing to do until WakeMS
	Pushing   Mode = "pushing"    // Flight is on its way
	Pulling   Mode = "pulling"    // a page is on its way, or being stored
	Waiting   Mode = "waiting"    // backing off until WakeMS, or for what Need says
	SignedOut Mode = "signed_out" // the server refused the person; changes pile up safely
)

// Need is a job of the shell that has to end before the next request.
type Need string

const (
	NeedNothing Need = ""
	NeedSession Need = "session" // refresh_session: answered by input session
	NeedReset   Need = "reset"   // reset: answered by input reset_done
	NeedPage    Need = "page"    // apply_page: answered by input page_applied or page_failed
)

// State is all the phone knows of the exchange. The shell keeps it in memory; it
// is built again from storage by the input started.
type State struct {
	Mode    Mode      `json:"mode"`
	Need    Need      `json:"need,omitempty"`
	Pending []Pending `json:"pending"` // by DSeq: what the server has not answered for
	Flight  []string  `json:"flight"`  // ids of the push on its way
	Cursor  string    `json:"cursor"`  // what storage holds; moves only after page_applied
	Epoch   string    `json:"epoch"`   // of the server the cursor is from; "" before the first page

	Page      string `json:"page,omitempty"`       // cursor after the page being stored
	PageEpoch string `json:"page_epoch,omitempty"` // and the epoch it is from
	More      bool   `json:"more,omitempty"`       // the server has more after it

	Failures int   `json:"failures"` // in a row
	Limit    int   `json:"limit"`    // changes in the next push, 1 to MaxBatch
	WakeMS   int64 `json:"wake_ms"`  // when to tick at the latest
	HoldMS   int64 `json:"hold_ms"`  // the server asked to be left alone until then
	PullMS   int64 `json:"pull_ms"`  // when to ask for news
	GoodMS   int64 `json:"good_ms"`  // when the server last answered as it should; 0 never
	ResetMS  int64 `json:"reset_ms"` // when the last reset began
}

// Pending is the summary of one outbox row. The change itself stays in storage.
type Pending struct {
	ID        string `json:"id"`
	DSeq      int64  `json:"dseq"`
	SizeBytes int    `json:"size_bytes"`
	CheckID   string `json:"check_id,omitempty"` // events of one check go in order

	Tries       int   `json:"tries,omitempty"`         // how often it was deferred
	Fails       int   `json:"fails,omitempty"`         // how often the server failed over it alone
	FirstFailMS int64 `json:"first_fail_ms,omitempty"` // since when
	NotBeforeMS int64 `json:"not_before_ms,omitempty"`
}

// Input is one thing that happened. NowMS is the calendar clock in milliseconds
// since 1970, Random a fresh number in [0,1); both come with every input.
type Input struct {
	Kind   string  `json:"kind"`
	NowMS  int64   `json:"now_ms"`
	Random float64 `json:"random"`

	Rows        []Pending `json:"rows,omitempty"`          // started, changed, reset_done
	Cursor      string    `json:"cursor,omitempty"`        // started
	Epoch       string    `json:"epoch,omitempty"`         // started, push_answered, pull_answered
	Session     string    `json:"session,omitempty"`       // session: valid, needs_sign_in or unreachable; started: needs_sign_in
	Results     []Result  `json:"results,omitempty"`       // push_answered
	Next        string    `json:"next,omitempty"`          // pull_answered
	More        bool      `json:"more,omitempty"`          // pull_answered
	Status      int       `json:"status,omitempty"`        // push_failed, pull_failed: HTTP status; 0 no answer, or one that is not ours
	RetryAfterS float64   `json:"retry_after_s,omitempty"` // push_failed, pull_failed
}

// Kinds of input.
const (
	Started      = "started"       // storage was read: Rows, Cursor, Epoch; the state before is forgotten
	Changed      = "changed"       // outbox rows were added, or put back by the person: Rows
	Online       = "online"        // the network came back
	Visible      = "visible"       // the app came to the front
	Tick         = "tick"          // the time of the last wake effect has come
	UserSync     = "user_sync"     // the person asked
	PushAnswered = "push_answered" // 200 of the promised shape: Epoch, Results
	PushFailed   = "push_failed"   // anything else: Status, RetryAfterS
	PullAnswered = "pull_answered" // 200 of the promised shape: Epoch, Next, More
	PullFailed   = "pull_failed"   // anything else: Status, RetryAfterS
	PageApplied  = "page_applied"  // the apply_page transaction is on disk
	PageFailed   = "page_failed"   // it was undone
	ResetDone    = "reset_done"    // the reset transaction is on disk: Rows
	SessionKnown = "session"       // the refresh has an answer, or someone signed in or out: Session
)

// Result is the server's answer for one change.
type Result struct {
	ID          string  `json:"id"`
	Status      string  `json:"status"` // applied, duplicate, rejected, deferred or conflict
	Code        string  `json:"code,omitempty"`
	Seq         int64   `json:"seq,omitempty"`
	RetryAfterS float64 `json:"retry_after_s,omitempty"`
}

// Effect is one thing the shell has to do, in the order given.
type Effect struct {
	Kind string `json:"kind"`

	IDs    []string `json:"ids,omitempty"`    // push
	Cursor string   `json:"cursor,omitempty"` // pull (absent: from the beginning), apply_page
	Epoch  string   `json:"epoch,omitempty"`  // apply_page
	AtMS   int64    `json:"at_ms,omitempty"`  // wake

	ID    string `json:"id,omitempty"`    // mark
	State string `json:"state,omitempty"` // mark
	Code  string `json:"code,omitempty"`  // mark
	Seq   int64  `json:"seq,omitempty"`   // mark held: the server's number for it
	// mark waiting or attention after a failure: worth keeping with the row, so
	// that started can bring it back.
	Fails       int   `json:"fails,omitempty"`
	FirstFailMS int64 `json:"first_fail_ms,omitempty"`
	NotBeforeMS int64 `json:"not_before_ms,omitempty"`
}

// Kinds of effect.
const (
	Push           = "push"            // post these outbox rows, in this order
	Pull           = "pull"            // get the page after Cursor
	Mark           = "mark"            // note State (and Code) at the outbox row
	ApplyPage      = "apply_page"      // store the page's items, Cursor and Epoch in one transaction
	Wake           = "wake"            // input tick at AtMS; replaces the wake before
	RefreshSession = "refresh_session" // ask for a new access token
	Reset          = "reset"           // forget cursor and downloaded copies, put own kept changes back in the outbox
	Abort          = "abort"           // give up the request in flight
)

// States of a change that a mark names.
const (
	MarkWaiting   = "waiting"   // not on the server, as far as is known
	MarkSending   = "sending"   // in flight; the same as waiting after a restart
	MarkHeld      = "held"      // the server has it on disk
	MarkAttention = "attention" // refused, or the server fails over it: kept, for a person to look at
)
