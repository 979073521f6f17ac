package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"

	"brimline/schema"
	"brimline/schema/fault"
	"brimline/sync/merge"
)

// Seconds after which a phone may send a deferred change again.
const retryAfterS = 30

// Push takes a phone's changes and answers each, in order. It returns after
// everything it calls applied is on the disk.
//
// A change is applied once, however often it is sent. One bad change delays
// only later events of its own check. Nothing is written for a change that is
// not applied. Faults: Denied if the person may not act at all, Unavailable if
// the server has no room; an error without a fault leaves the outcome unknown,
// and the phone sends the same changes again.
func (s *Store) Push(ctx context.Context, t Tenant, changes []Change, nowMS int64) ([]Result, error) {
	if len(changes) > MaxChanges {
		return nil, fault.Bad("list.long", "changes", "holds too many changes; send at most "+strconv.Itoa(MaxChanges))
	}
	p := newPlan(s, t, changes, nowMS)
	var err error
	if err = s.read.snapshot(ctx, func(q querier) error { return p.make(ctx, q) }); err != nil {
		return nil, err
	}
	if p.settled() {
		p.settleRepeats()
		return p.results, nil
	}
	err = s.writer.write(ctx, func(tx *writing) error {
		fresh, err := p.fresh(ctx, tx)
		if err != nil {
			return err
		}
		if !fresh { // somebody wrote since; decide again, this time with the writer's lock
			p.reset()
			if err := p.make(ctx, tx); err != nil {
				return err
			}
		}
		return p.apply(ctx, tx)
	})
	if err != nil {
		return nil, err
	}
	return p.results, nil
}

// plan decides what becomes of each change, without writing, and then writes
// what was decided. Deciding takes the time (replaying a log), so it is done
// outside the writer and only looked over again inside.
type plan struct {
	store   *Store
	tenant  Tenant
	nowMS   int64
	changes []Change
	parsed  []parsed
	faults  []*fault.Error

	results   []Result
	held      map[string]heldChange // change id → what is stored
	events    map[string]string     // event id → hash of the stored event
	logs      map[schema.CheckID]*checkLog
	order     []schema.CheckID
	reminders map[schema.ReminderID]*heldReminder
	loadedSeq map[schema.ReminderID]int64
	edits     []reminderWrite
	repeats   map[int]int // result → earlier result of the same push that it repeats
}

type heldChange struct {
	hash   string
	seq    int64
	result int // of this push, or -1
}

// reminderWrite is one accepted edit.
type reminderWrite struct {
	change parsed
	result int
	after  heldReminder
	lost   []lost
}

func newPlan(s *Store, t Tenant, changes []Change, nowMS int64) *plan {
	p := &plan{store: s, tenant: t, nowMS: nowMS, changes: changes, parsed: make([]parsed, len(changes)), faults: make([]*fault.Error, len(changes))}
	for i, c := range changes {
		p.parsed[i], p.faults[i] = parseChange(c)
	}
	p.reset()
	return p
}

func (p *plan) reset() {
	p.results = make([]Result, len(p.changes))
	p.held, p.events = map[string]heldChange{}, map[string]string{}
	p.logs, p.order = map[schema.CheckID]*checkLog{}, nil
	p.reminders, p.loadedSeq, p.edits = map[schema.ReminderID]*heldReminder{}, map[schema.ReminderID]int64{}, nil
	p.repeats = map[int]int{}
}

// settled reports whether there is nothing to write.
func (p *plan) settled() bool {
	if len(p.edits) > 0 {
		return false
	}
	for _, l := range p.logs {
		if len(l.added) > 0 {
			return false
		}
	}
	return true
}

func rejected(id string, f *fault.Error) Result {
	return Result{ID: id, Status: Rejected, Code: f.Code, Problem: f}
}

func waiting(id string) Result {
	return Result{ID: id, Status: Deferred, Code: "waits_for", RetryAfterS: retryAfterS}
}

// make decides every change on the state that q shows.
func (p *plan) make(ctx context.Context, q querier) error {
	if err := p.loadHeld(ctx, q); err != nil {
		return err
	}
	for i := range p.changes {
		if err := p.decide(ctx, q, i); err != nil {
			return err
		}
	}
	for _, id := range p.order {
		if l := p.logs[id]; len(l.added) > 0 {
			if err := p.store.extend(ctx, q, p.tenant, l, p.results); err != nil {
				return err
			}
		}
	}
	return nil
}

// loadHeld finds the changes and events that are stored already.
func (p *plan) loadHeld(ctx context.Context, q querier) error {
	changes, events := p.ids()
	err := scanPairs(ctx, q, "SELECT id, body_hash, seq FROM change WHERE workshop = $1 AND id IN ("+placeholders(2, chunk)+")", p.tenant, changes,
		func(id, hash string, seq int64) { p.held[id] = heldChange{hash, seq, -1} })
	if err != nil {
		return fmt.Errorf("select changes: %w", err)
	}
	err = scanPairs(ctx, q, "SELECT id, hash, seq FROM event WHERE workshop = $1 AND id IN ("+placeholders(2, chunk)+")", p.tenant, events,
		func(id, hash string, _ int64) { p.events[id] = hash })
	if err != nil {
		return fmt.Errorf("select events: %w", err)
	}
	return nil
}

func (p *plan) ids() (changes, events []string) {
	for i, c := range p.parsed {
		if p.faults[i] != nil {
			continue
		}
		changes = append(changes, c.id)
		if c.event != nil {
			events = append(events, string(c.event.ID))
		}
	}
	return changes, events
}

func scanPairs(ctx context.Context, q querier, query string, t Tenant, ids []string, found func(id, hash string, seq int64)) error {
	return inChunks(ids, func(args []any) error {
		rows, err := q.rows(ctx, query, append([]any{t.workshop}, args...)...)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var id, hash string
			var seq int64
			if err := rows.Scan(&id, &hash, &seq); err != nil {
				return err
			}
			found(id, hash, seq)
		}
		return rows.Err()
	})
}

// decide answers one change, or adds it to what is to be written.
func (p *plan) decide(ctx context.Context, q querier, i int) error {
	c := p.parsed[i]
	if f := p.faults[i]; f != nil {
		p.results[i] = rejected(p.changes[i].ID, f)
		p.stop(p.changes[i])
		return nil
	}
	if held, known := p.held[c.id]; known {
		switch {
		case held.hash != c.hash:
			p.results[i] = rejected(c.id, fault.New(fault.Conflict, "id.reuse", "id", "this id was used for another change; make a new id"))
		case held.result >= 0:
			p.repeats[i] = held.result
		default:
			p.results[i] = Result{ID: c.id, Status: Duplicate, Seq: held.seq}
		}
		return nil
	}
	p.held[c.id] = heldChange{c.hash, 0, i}
	if c.event != nil {
		return p.decideEvent(ctx, q, i, c)
	}
	return p.decideReminder(ctx, q, i, c)
}

// stop makes later events of a check wait, where a change that could not be
// read can still be told to be an event of it.
func (p *plan) stop(c Change) {
	var e struct {
		CheckID schema.CheckID `json:"check_id"`
	}
	if c.Kind == kindEvent && len(c.Body) <= MaxChangeBytes && json.Unmarshal(c.Body, &e) == nil {
		if l := p.logs[e.CheckID]; l != nil {
			l.stopped = true
		}
	}
}

func (p *plan) decideEvent(ctx context.Context, q querier, i int, c parsed) error {
	if p.tenant.role == schema.Manager {
		p.results[i] = rejected(c.id, fault.New(fault.Denied, "auth.forbidden", "kind", "only mechanics and leads make checks"))
		return nil
	}
	e := *c.event
	l := p.logs[e.CheckID]
	if l == nil {
		var err error
		if l, err = loadLog(ctx, q, p.tenant, e.CheckID); err != nil {
			return err
		}
		p.logs[e.CheckID] = l
		p.order = append(p.order, e.CheckID)
	}
	if hash, known := p.events[string(e.ID)]; known && hash != c.hash {
		p.reject(i, l, c, fault.New(fault.Conflict, "id.reuse", "body.id", "this id was used for another event; make a new id"))
		return nil
	}
	n, head := l.tail()
	switch {
	case e.N <= l.n:
		return p.decideHeld(ctx, q, i, l, c)
	case l.stopped || e.N > n+1:
		p.results[i] = waiting(c.id)
	case e.N <= n: // repeats an event of this push under another change id
		if first := l.added[e.N-l.n-1]; first.hash == c.hash {
			p.repeats[i] = first.result
		} else {
			p.reject(i, l, c, errChain("n", "another event already has this place in the check"))
		}
	case e.Prev != head:
		p.reject(i, l, c, errChain("prev", "is not the hash of the event before it"))
	case n == 0:
		refusal, err := p.store.begin(ctx, q, p.tenant, l, e)
		switch {
		case err != nil:
			return err
		case refusal == errEdition:
			l.stopped = true
			p.results[i] = Result{ID: c.id, Status: Deferred, Code: refusal.Code, RetryAfterS: retryAfterS}
		case refusal != nil:
			p.reject(i, l, c, refusal)
		default:
			p.add(i, l, c)
		}
	case l.device != p.tenant.device || l.person != p.tenant.person:
		p.reject(i, l, c, fault.New(fault.Denied, "check.holder", "body.check_id", "only the person and device that began a check may go on with it"))
	default:
		p.add(i, l, c)
	}
	return nil
}

func errChain(field, message string) *fault.Error {
	return fault.New(fault.Conflict, "event.chain", "body."+field, message)
}

func (p *plan) add(i int, l *checkLog, c parsed) {
	l.added = append(l.added, addedEvent{event: *c.event, text: c.text, hash: c.hash, change: c, result: i})
	p.results[i] = Result{ID: c.id, Status: Applied}
	p.events[string(c.event.ID)] = c.hash
}

func (p *plan) reject(i int, l *checkLog, c parsed, f *fault.Error) {
	p.results[i] = rejected(c.id, f)
	l.stopped = true
}

// decideHeld answers an event whose place in the log is taken: by itself, sent
// under a second change id, or by another.
func (p *plan) decideHeld(ctx context.Context, q querier, i int, l *checkLog, c parsed) error {
	var hash string
	var seq int64
	err := q.row(ctx, "SELECT hash, seq FROM event WHERE workshop = $1 AND check_id = $2 AND n = $3", p.tenant.workshop, l.id, c.event.N).Scan(&hash, &seq)
	if err != nil {
		return fmt.Errorf("select event %d of check %q: %w", c.event.N, l.id, err)
	}
	if hash == c.hash {
		p.results[i] = Result{ID: c.id, Status: Duplicate, Seq: seq}
		return nil
	}
	p.reject(i, l, c, errChain("n", "another event already has this place in the check"))
	return nil
}

func (p *plan) decideReminder(ctx context.Context, q querier, i int, c parsed) error {
	id := c.reminder.Reminder.ID
	held := p.reminders[id]
	if held == nil {
		held = &heldReminder{}
		d, err := loadDocument(ctx, q, p.tenant, kindReminder, string(id))
		switch {
		case errors.Is(err, errNotFound):
			_, err := loadDocument(ctx, q, p.tenant, kindVehicle, string(c.reminder.Reminder.VehicleID))
			if errors.Is(err, errNotFound) {
				p.results[i] = rejected(c.id, fault.New(fault.NotFound, "vehicle.unknown", "body.reminder.vehicle_id", "there is no such vehicle in this workshop"))
				return nil
			}
			if err != nil {
				return err
			}
		case err != nil:
			return err
		default:
			if *held, err = heldFrom(d); err != nil {
				return err
			}
		}
		p.reminders[id], p.loadedSeq[id] = held, held.seq
	}
	merged, over, refusal := mergeReminder(*held, *c.reminder, p.nowMS)
	if refusal != nil {
		p.results[i] = rejected(c.id, refusal)
		return nil
	}
	*held = merged
	p.results[i] = Result{ID: c.id, Status: Applied}
	p.edits = append(p.edits, reminderWrite{change: c, result: i, after: merged, lost: over})
	return nil
}

// fresh reports whether what the plan was made on is still so.
func (p *plan) fresh(ctx context.Context, q querier) (bool, error) {
	for id, l := range p.logs {
		now, err := loadTail(ctx, q, p.tenant, id)
		if err != nil || now != (tail{l.n, l.head}) {
			return false, err
		}
	}
	for id, seq := range p.loadedSeq {
		d, err := loadDocument(ctx, q, p.tenant, kindReminder, string(id))
		if err != nil && !errors.Is(err, errNotFound) || d.seq != seq {
			return false, ignoreNotFound(err)
		}
	}
	fresh := true
	changes, events := p.ids()
	again := func(id, hash string, _ int64) {
		held, known := p.held[id]
		fresh = fresh && known && held.result < 0 && held.hash == hash
	}
	err := scanPairs(ctx, q, "SELECT id, body_hash, seq FROM change WHERE workshop = $1 AND id IN ("+placeholders(2, chunk)+")", p.tenant, changes, again)
	if err != nil || !fresh {
		return false, err
	}
	planned := map[string]bool{}
	for _, l := range p.logs {
		for _, a := range l.added {
			planned[string(a.event.ID)] = true
		}
	}
	events = slices.DeleteFunc(events, func(id string) bool { return !planned[id] })
	err = scanPairs(ctx, q, "SELECT id, hash, seq FROM event WHERE workshop = $1 AND id IN ("+placeholders(2, chunk)+")", p.tenant, events,
		func(string, string, int64) { fresh = false })
	return fresh, err
}

func ignoreNotFound(err error) error {
	if errors.Is(err, errNotFound) {
		return nil
	}
	return err
}

// tail is how far a stored log goes.
type tail struct {
	n    int
	head string
}

func loadTail(ctx context.Context, q querier, t Tenant, id schema.CheckID) (tail, error) {
	rows, err := q.rows(ctx, "SELECT n, head FROM check_summary WHERE workshop = $1 AND id = $2", t.workshop, id)
	if err != nil {
		return tail{}, fmt.Errorf("select check %q: %w", id, err)
	}
	defer rows.Close()
	var l tail
	for rows.Next() {
		if err := rows.Scan(&l.n, &l.head); err != nil {
			return tail{}, fmt.Errorf("read check %q: %w", id, err)
		}
	}
	return l, rows.Err()
}

// apply writes what was decided: documents and summaries first, the numbered
// rows last.
func (p *plan) apply(ctx context.Context, tx *writing) error {
	count := len(p.edits)
	for _, l := range p.logs {
		if len(l.added) > 0 {
			count += len(l.added) + 1
		}
	}
	if count > 0 {
		n, err := beginNumbers(tx, p.tenant, count)
		if err != nil {
			return err
		}
		if err := p.applyChecks(tx, n); err != nil {
			return err
		}
		if err := p.applyReminders(tx, n); err != nil {
			return err
		}
		if err := n.finish(tx); err != nil {
			return err
		}
	}
	p.settleRepeats()
	return p.applyDevice(ctx, tx)
}

// settleRepeats answers what stood twice in the push as it was answered first.
func (p *plan) settleRepeats() {
	for i, first := range p.repeats {
		p.results[i] = p.results[first]
		p.results[i].ID = p.parsed[i].id
		if p.results[i].Status == Applied {
			p.results[i].Status = Duplicate
		}
	}
}

func (p *plan) applyChecks(tx *writing, n *numbers) error {
	for _, id := range p.order {
		l := p.logs[id]
		if len(l.added) == 0 {
			continue
		}
		rows := make([][]any, 0, len(l.added))
		for _, a := range l.added {
			seq := n.take(a.change.id, a.hash)
			p.results[a.result].Seq = seq
			rows = append(rows, []any{p.tenant.workshop, id, a.event.N, a.event.ID, a.hash, string(a.text), p.nowMS, seq})
		}
		if err := p.writeSummary(tx, n, l); err != nil {
			return err
		}
		if err := tx.insert("INSERT INTO event (workshop, check_id, n, id, hash, body, received_ms, seq) VALUES", 8, rows); err != nil {
			return fmt.Errorf("insert events of check %q: %w", id, err)
		}
	}
	return nil
}

func (p *plan) writeSummary(tx *writing, n *numbers, l *checkLog) error {
	body, err := json.Marshal(l.summary)
	if err != nil {
		return fmt.Errorf("encode check %q: %w", l.id, err)
	}
	hash, err := merge.Hash(body)
	if err != nil {
		return fmt.Errorf("hash check %q: %w", l.id, err)
	}
	basisText, err := json.Marshal(l.basis)
	if err != nil {
		return fmt.Errorf("encode basis of check %q: %w", l.id, err)
	}
	length, head := l.tail()
	seq := n.take(kindCheck+"/"+string(l.id)+"/"+strconv.Itoa(length), hash)
	const upsert = `
		INSERT INTO check_summary (workshop, id, person, device, started_ms, n, head, basis, body, seq) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
		ON CONFLICT (workshop, id) DO UPDATE SET started_ms = excluded.started_ms, n = excluded.n, head = excluded.head, body = excluded.body, seq = excluded.seq`
	if err := tx.exec(upsert, p.tenant.workshop, l.id, l.person, l.device, l.summary.StartedMS, length, head, string(basisText), string(body), seq); err != nil {
		return fmt.Errorf("upsert check %q: %w", l.id, err)
	}
	return nil
}

func (p *plan) applyReminders(tx *writing, n *numbers) error {
	for _, w := range p.edits {
		id := string(w.after.reminder.ID)
		body, err := json.Marshal(w.after.reminder)
		if err != nil {
			return fmt.Errorf("encode reminder %q: %w", id, err)
		}
		stamps, err := json.Marshal(w.after.cells)
		if err != nil {
			return fmt.Errorf("encode stamps of reminder %q: %w", id, err)
		}
		seq := n.take(w.change.id, w.change.hash)
		p.results[w.result].Seq = seq
		if err := writeDocument(tx, p.tenant, document{kind: kindReminder, id: id, body: body, stamps: stamps, seq: seq}); err != nil {
			return err
		}
		for _, lost := range w.lost {
			stamp, err := json.Marshal(lost.cell.At)
			if err != nil {
				return fmt.Errorf("encode stamp of reminder %q: %w", id, err)
			}
			const keep = "INSERT INTO field_history (workshop, kind, id, seq, field, value, stamp) VALUES ($1, $2, $3, $4, $5, $6, $7)"
			if err := tx.exec(keep, p.tenant.workshop, kindReminder, id, seq, lost.field, lost.cell.Value, string(stamp)); err != nil {
				return fmt.Errorf("insert history of reminder %q: %w", id, err)
			}
		}
	}
	return nil
}

// applyDevice moves the device's mark up to where every change was answered
// for good. A number that never comes shows as a mark that stands still.
func (p *plan) applyDevice(ctx context.Context, tx *writing) error {
	var mark int64
	err := tx.row(ctx, "SELECT COALESCE(MAX(dseq), 0) FROM device WHERE workshop = $1 AND id = $2", p.tenant.workshop, p.tenant.device).Scan(&mark)
	if err != nil {
		return fmt.Errorf("select device %q: %w", p.tenant.device, err)
	}
	answered := make([]int64, 0, len(p.changes))
	for i, c := range p.changes {
		if p.results[i].Status != Deferred {
			answered = append(answered, c.Dseq)
		}
	}
	slices.Sort(answered)
	for _, dseq := range answered {
		if dseq == mark+1 {
			mark++
		}
	}
	if err := tx.exec("UPDATE device SET dseq = $1, seen_ms = $2 WHERE workshop = $3 AND id = $4", mark, p.nowMS, p.tenant.workshop, p.tenant.device); err != nil {
		return fmt.Errorf("update device %q: %w", p.tenant.device, err)
	}
	return nil
}
