package phone

import (
	"cmp"
	"maps"
	"slices"
	"strconv"
	"strings"
	"testing"

	"brimline/sync/merge"

	"pgregory.net/rapid"
)

// Faults of the road and of the machines, each of which the test must have met.
const (
	requestLost  = "request lost"
	answerLost   = "answer lost after the server acted"
	answerLate   = "answer after the phone gave up"
	serverDown   = "server down"
	serverBusy   = "server busy"
	portal       = "captive portal"
	tokenSpent   = "token spent"
	phoneKilled  = "phone killed"
	diskFull     = "page not stored"
	markLost     = "mark not stored"
	serverBackup = "server restored"
	clockJump    = "clock jumped"
	poisoned     = "server failed over a change"
)

// change is one event of the model: number n of a check.
type change struct {
	id, check string
	n         int
	poison    bool
}

// model is a server in its simplest form: one list of what it took, by the rules
// of PROTOCOL.md.
type model struct {
	epoch string
	log   []change
	links []string // links[i] is the chain after i changes
}

func newModel() *model { return &model{epoch: "e1", links: []string{""}} }

func (s *model) cursor(seq int) string { return strconv.Itoa(seq) + "." + s.links[seq] }

// seqOf returns the number a cursor stands at, or false if it is of another history.
func (s *model) seqOf(cursor string) (int, bool) {
	if cursor == "" {
		return 0, true
	}
	number, chain, _ := strings.Cut(cursor, ".")
	seq, err := strconv.Atoi(number)
	return seq, err == nil && seq < len(s.links) && s.links[seq] == chain
}

func (s *model) push(changes []change) (results []Result, status int) {
	if slices.ContainsFunc(changes, func(c change) bool { return c.poison }) {
		return nil, 500
	}
	for _, c := range changes {
		held := slices.IndexFunc(s.log, func(l change) bool { return l.id == c.id })
		last := 0
		for _, l := range s.log {
			if l.check == c.check {
				last = l.n
			}
		}
		switch {
		case held >= 0:
			results = append(results, Result{ID: c.id, Status: "duplicate", Seq: int64(held + 1)})
		case c.n == last+1:
			s.log = append(s.log, c)
			s.links = append(s.links, merge.Chain(s.links[len(s.links)-1], c.id, "hash of "+c.id))
			results = append(results, Result{ID: c.id, Status: "applied", Seq: int64(len(s.log))})
		default:
			results = append(results, Result{ID: c.id, Status: "deferred", Code: "waits_for", RetryAfterS: 30})
		}
	}
	return results, 200
}

// handset is the shell: what is on its disk, and the machine in its memory.
type handset struct {
	name    string
	made    map[string]change // everything recorded here
	outbox  map[string]int64  // id → number
	sent    map[string]int64  // held by the server, kept for its next restore
	items   map[string]bool   // pulled
	cursor  string            // on disk
	epoch   string
	dseq    int64
	checks  map[string]int // check → events recorded
	told    map[string]bool
	state   State
	flight  *flight
	wakeMS  int64
	session string // the outcome of the refresh under way
	resets  bool
	page    []string
}

// flight is the one request on its way.
type flight struct {
	ids    []string
	cursor string
	push   bool
}

type world struct {
	t      *rapid.T
	fired  map[string]int
	server *model
	backup *model
	phones []*handset
	nowMS  int64
	calm   bool // no more faults
}

// fault says whether a fault happens now, by chance of one in so many.
func (w *world) fault(name string, oneIn int) bool {
	if w.calm || rapid.IntRange(1, oneIn).Draw(w.t, name) != oneIn {
		return false
	}
	w.fired[name]++
	return true
}

func (w *world) step(p *handset, in Input) {
	in.NowMS, in.Random = w.nowMS, rapid.Float64Range(0, 0.99).Draw(w.t, "random")
	before := p.state
	after, effects := Step(before, in)
	checkStep(w.t, before, in, after, effects)
	p.state = after
	for _, e := range effects {
		w.do(p, e)
	}
}

func (w *world) do(p *handset, e Effect) {
	switch e.Kind {
	case Push, Pull:
		if p.flight != nil {
			w.t.Fatalf("%s: a second request in flight", p.name)
		}
		p.flight = &flight{e.IDs, e.Cursor, e.Kind == Push}
	case Abort:
		p.flight = nil
	case Wake:
		p.wakeMS = e.AtMS
	case Mark:
		if e.State == MarkHeld {
			p.told[e.ID] = true
			if !w.fault(markLost, 20) { // else it goes again after a restart
				p.sent[e.ID] = p.outbox[e.ID]
				delete(p.outbox, e.ID)
			}
		}
	case RefreshSession:
		p.session = "valid"
		if w.fault(tokenSpent, 3) {
			p.session = rapid.SampledFrom([]string{"unreachable", "needs_sign_in"}).Draw(w.t, "refresh")
		}
	case Reset:
		p.resets = true
	case ApplyPage:
		p.flight = nil
	}
}

// rows returns the outbox as the shell hands it over.
func (p *handset) rows() (rows []Pending) {
	for id, dseq := range p.outbox {
		rows = append(rows, Pending{ID: id, DSeq: dseq, SizeBytes: 100, CheckID: p.made[id].check})
	}
	slices.SortFunc(rows, func(a, b Pending) int { return cmp.Compare(a.DSeq, b.DSeq) })
	return rows
}

func (w *world) record(p *handset) {
	check := p.name + strconv.Itoa(rapid.IntRange(1, 3).Draw(w.t, "check"))
	p.checks[check]++
	p.dseq++
	c := change{id: check + "-" + strconv.Itoa(p.checks[check]), check: check, n: p.checks[check]}
	c.poison = w.fault(poisoned, 25)
	p.made[c.id], p.outbox[c.id] = c, p.dseq
	w.step(p, Input{Kind: Changed, Rows: p.rows()})
}

func (w *world) restart(p *handset) {
	p.flight, p.session, p.resets, p.page = nil, "", false, nil
	w.step(p, Input{Kind: Started, Rows: p.rows(), Cursor: p.cursor, Epoch: p.epoch})
}

// serve lets a phone's request reach the server, and its answer the phone.
func (w *world) serve(p *handset) {
	f := p.flight
	if f == nil {
		return
	}
	failed := PullFailed
	if f.push {
		failed = PushFailed
	}
	lose := func(in Input) { p.flight = nil; w.step(p, in) }
	switch {
	case w.fault(requestLost, 8):
		lose(Input{Kind: failed})
		return
	case w.fault(portal, 20): // an answer, but not ours, that even got past the shell
		lose(Input{Kind: strings.Replace(failed, "failed", "answered", 1)})
		return
	case w.fault(serverDown, 15):
		lose(Input{Kind: failed, Status: 502})
		return
	case w.fault(serverBusy, 25):
		lose(Input{Kind: failed, Status: 429, RetryAfterS: 20})
		return
	case w.fault(tokenSpent, 15):
		lose(Input{Kind: failed, Status: 401})
		return
	}
	answer := w.answer(p, f, failed)
	switch {
	case w.fault(answerLost, 8):
		lose(Input{Kind: failed})
	case w.fault(answerLate, 20):
		w.nowMS += 2 * FlightMS
		w.step(p, Input{Kind: Tick})
		w.step(p, answer)
	default:
		lose(answer)
	}
}

// answer is what the server says to a request.
func (w *world) answer(p *handset, f *flight, failed string) Input {
	seq, ours := w.server.seqOf(p.state.Cursor)
	if !ours {
		return Input{Kind: failed, Status: 409}
	}
	if f.push {
		var changes []change
		for _, id := range f.ids {
			changes = append(changes, p.made[id])
		}
		results, status := w.server.push(changes)
		if status != 200 {
			return Input{Kind: failed, Status: status}
		}
		return Input{Kind: PushAnswered, Epoch: w.server.epoch, Results: results}
	}
	end := min(seq+rapid.IntRange(1, 4).Draw(w.t, "page"), len(w.server.log))
	p.page = nil
	for _, c := range w.server.log[seq:end] {
		p.page = append(p.page, c.id)
	}
	return Input{Kind: PullAnswered, Epoch: w.server.epoch, Next: w.server.cursor(end), More: end < len(w.server.log)}
}

// local ends the shell's own jobs: a page, a reset, a refresh.
func (w *world) local(p *handset) {
	switch {
	case p.state.Need == NeedPage && w.fault(diskFull, 8):
		w.step(p, Input{Kind: PageFailed})
	case p.state.Need == NeedPage:
		for _, id := range p.page {
			p.items[id] = true
		}
		p.cursor, p.epoch = p.state.Page, p.state.PageEpoch // one transaction
		w.step(p, Input{Kind: PageApplied})
	case p.resets:
		p.resets = false
		maps.Copy(p.outbox, p.sent)
		clear(p.sent)
		clear(p.items)
		p.cursor, p.epoch = "", ""
		w.step(p, Input{Kind: ResetDone, Rows: p.rows()})
	case p.session != "":
		word := p.session
		p.session = ""
		w.step(p, Input{Kind: SessionKnown, Session: word})
	}
}

// anything lets one thing happen somewhere.
func (w *world) anything() {
	p := rapid.SampledFrom(w.phones).Draw(w.t, "phone")
	switch rapid.SampledFrom([]string{"record", "record", "serve", "serve", "serve", "local", "local", "wait", "wait", "word", "trouble"}).Draw(w.t, "what") {
	case "record":
		w.record(p)
	case "serve":
		w.serve(p)
	case "local":
		w.local(p)
	case "wait":
		w.nowMS = max(w.nowMS, p.wakeMS)
		w.step(p, Input{Kind: Tick})
	case "word":
		w.step(p, Input{Kind: rapid.SampledFrom([]string{Online, Visible, UserSync}).Draw(w.t, "word")})
	case "trouble":
		switch {
		case w.fault(phoneKilled, 2):
			w.restart(p)
		case w.fault(clockJump, 4):
			w.nowMS += rapid.SampledFrom([]int64{-86_400_000, 86_400_000}).Draw(w.t, "jump")
		case w.fault(serverBackup, 8):
			w.restore()
		default:
			w.backup = w.server.copy()
		}
	}
}

func (s *model) copy() *model {
	return &model{epoch: s.epoch, log: slices.Clone(s.log), links: slices.Clone(s.links)}
}

// restore puts the server back to its backup, under a new epoch.
func (w *world) restore() {
	epoch := w.server.epoch + "'"
	w.server = w.backup.copy()
	w.server.epoch = epoch
}

// settle ends all faults and lets the phones finish, in a bounded number of rounds.
func (w *world) settle() {
	w.calm = true
	for _, p := range w.phones {
		for id, c := range p.made {
			c.poison = false
			p.made[id] = c
		}
		w.step(p, Input{Kind: SessionKnown, Session: "valid"})
		p.session = ""
		w.step(p, Input{Kind: UserSync})
	}
	const rounds = 400
	for range rounds {
		for _, p := range w.phones {
			w.serve(p)
			w.local(p)
			if p.flight == nil && p.state.Need == NeedNothing {
				w.nowMS = max(w.nowMS, p.wakeMS)
				w.step(p, Input{Kind: Tick})
			}
		}
		if w.agreed() {
			return
		}
	}
	for _, p := range w.phones {
		w.t.Errorf("%s after %d rounds: %s/%s at %s, %d pending, %d items, server at %s", p.name, rounds, p.state.Mode, p.state.Need, p.cursor, len(p.state.Pending), len(p.items), w.server.cursor(len(w.server.log)))
	}
}

// agreed says whether every phone holds all the server has and owes it nothing.
func (w *world) agreed() bool {
	for _, p := range w.phones {
		if len(p.state.Pending) > 0 || p.cursor != w.server.cursor(len(w.server.log)) || len(p.items) != len(w.server.log) {
			return false
		}
	}
	return true
}

// Phones and a server on a bad road: whatever happens, once it is over, all hold
// the same, nothing that was recorded is missing and nothing is there twice.
func TestExchangeConverges(t *testing.T) {
	fired := map[string]int{}
	const times = 10 // of rapid.checks worlds each
	for range times {
		rapid.Check(t, func(t *rapid.T) { converge(t, fired) })
	}
	for _, name := range []string{
		requestLost, answerLost, answerLate, serverDown, serverBusy, portal, tokenSpent, phoneKilled, diskFull, markLost, serverBackup, clockJump, poisoned,
	} {
		if fired[name] < 5 {
			t.Errorf("%s: happened %d times, want at least 5 for the test to mean anything", name, fired[name])
		}
	}
}

// converge lives through one world and asserts how it ends.
func converge(t *rapid.T, fired map[string]int) {
	w := &world{t: t, fired: fired, server: newModel(), nowMS: noon}
	w.backup = w.server.copy()
	for _, name := range []string{"ann", "bob"} {
		p := &handset{
			name: name, made: map[string]change{}, outbox: map[string]int64{}, sent: map[string]int64{},
			items: map[string]bool{}, checks: map[string]int{}, told: map[string]bool{},
		}
		w.phones = append(w.phones, p)
		w.restart(p)
	}
	for range rapid.IntRange(20, 150).Draw(t, "things") {
		w.anything()
	}
	w.settle()
	seen, last := map[string]bool{}, map[string]int{}
	for _, c := range w.server.log {
		if seen[c.id] || c.n != last[c.check]+1 {
			t.Fatalf("the server holds %s twice or out of order", c.id)
		}
		seen[c.id], last[c.check] = true, c.n
	}
	for _, p := range w.phones {
		for id := range p.made {
			if !seen[id] {
				t.Fatalf("%s recorded %s, told held %v, and the server does not have it", p.name, id, p.told[id])
			}
		}
		if !maps.Equal(p.items, seen) {
			t.Fatalf("%s holds %v, want %v", p.name, p.items, seen)
		}
	}
}
