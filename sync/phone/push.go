package phone

import "slices"

// batch returns the ids of the next push, in order, or none. A change that has to
// wait holds back the later ones of its own check, no others. One the server
// failed over is not among them but returned as suspect: it goes alone, when
// nothing else is left to do.
func (m *machine) batch() (ids []string, suspect string) {
	held := map[string]bool{}
	bytes := 0
	for _, p := range m.Pending {
		if p.CheckID != "" && held[p.CheckID] {
			continue
		}
		ready := m.due(p.NotBeforeMS)
		if !ready || p.Fails > 0 {
			held[p.CheckID] = true
			if ready && suspect == "" {
				suspect = p.ID
			}
			continue
		}
		size := max(p.SizeBytes, 0)
		if len(ids) == m.Limit || len(ids) > 0 && bytes+size > MaxBatchBytes {
			break
		}
		ids, bytes = append(ids, p.ID), bytes+size
	}
	return ids, suspect
}

// push sends ids.
func (m *machine) push(ids []string) {
	m.Mode, m.Flight, m.WakeMS = Pushing, ids, m.now+FlightMS
	for _, id := range ids {
		m.do(Effect{Kind: Mark, ID: id, State: MarkSending})
	}
	m.do(Effect{Kind: Push, IDs: slices.Clone(ids)})
}

// find returns the place of id in the queue, or -1.
func (m *machine) find(id string) int {
	return slices.IndexFunc(m.Pending, func(p Pending) bool { return p.ID == id })
}

func (m *machine) pushAnswered(in Input) {
	asked := m.Mode == Pushing
	if in.Epoch == "" || asked && len(in.Results) == 0 {
		m.pushFailed(0, 0) // not our server's answer, whatever its status
		return
	}
	if !asked && in.Epoch != m.Epoch {
		return // late, and from a server that may be restored by now
	}
	unanswered := m.Flight
	for _, r := range in.Results {
		m.settle(r)
		unanswered = slices.DeleteFunc(unanswered, func(id string) bool { return id == r.ID })
	}
	if !asked {
		return // late, but true
	}
	for _, id := range unanswered {
		m.settle(Result{ID: id, Status: "deferred", Code: "change.unanswered"})
	}
	m.good()
	m.Mode, m.Flight, m.PullMS = Idle, []string{}, 0
	m.Limit = min(2*m.Limit, MaxBatch)
	if m.Epoch != in.Epoch {
		m.reset()
	}
}

// settle takes the server's word for one change.
func (m *machine) settle(r Result) {
	i := m.find(r.ID)
	if i < 0 {
		return
	}
	p := &m.Pending[i]
	switch r.Status {
	case "applied", "duplicate":
		m.do(Effect{Kind: Mark, ID: r.ID, State: MarkHeld, Seq: r.Seq})
		m.unblock(p.CheckID)
		m.Pending = slices.Delete(m.Pending, i, i+1)
	case "rejected", "conflict":
		code := r.Code
		if code == "" {
			code = "change." + r.Status
		}
		m.do(Effect{Kind: Mark, ID: r.ID, State: MarkAttention, Code: code})
		m.Pending = slices.Delete(m.Pending, i, i+1)
	default: // deferred, or a word of a later server: keep it, ask again later
		p.Tries, p.Fails, p.FirstFailMS = min(p.Tries+1, 1000), 0, 0
		wait := m.backoff(p.Tries, MaxHoldMS)
		if r.RetryAfterS > 0 {
			wait = max(wait, int64(min(r.RetryAfterS*1000, MaxHoldMS)))
		}
		p.NotBeforeMS = m.now + wait
		m.do(Effect{Kind: Mark, ID: r.ID, State: MarkWaiting, Code: r.Code, NotBeforeMS: p.NotBeforeMS})
	}
}

// unblock lets the changes of a check go at once that waited for an earlier one.
func (m *machine) unblock(checkID string) {
	for i := range m.Pending {
		if p := &m.Pending[i]; checkID != "" && p.CheckID == checkID && p.Fails == 0 {
			p.NotBeforeMS = 0
		}
	}
}

// pushFailed takes a push that has no readable answer. What the server did with
// it is unknown, so the same ids go again: sending twice is harmless.
func (m *machine) pushFailed(status int, retryAfterS float64) {
	if m.Mode != Pushing {
		return
	}
	flight := m.Flight
	m.unsend()
	m.hold(retryAfterS)
	if m.refused(status) {
		return
	}
	m.Failures++
	network := status == 0 || status == 408
	busy := status == 429 || status == 503 && retryAfterS > 0
	switch {
	case busy || network && m.Failures < 3:
	case len(flight) > 1: // one of them may be the cause, or all together too long for the link
		m.Limit = max(len(flight)/2, 1)
		if status == 413 {
			m.Mode = Idle
			return
		}
	case !network:
		m.blame(flight)
	}
	m.wait()
}

// unsend puts the flight back among what waits.
func (m *machine) unsend() {
	for _, id := range m.Flight {
		m.do(Effect{Kind: Mark, ID: id, State: MarkWaiting})
	}
	m.Flight = []string{}
}

// blame notes that the server failed over a change sent alone. It goes last from
// now on. Once it failed often and long, while the server answered otherwise, a
// person is told; it is tried on, seldom.
func (m *machine) blame(flight []string) {
	for _, id := range flight {
		i := m.find(id)
		if i < 0 {
			continue
		}
		p := &m.Pending[i]
		if p.Fails == 0 || p.FirstFailMS > m.now {
			p.FirstFailMS = m.now
		}
		p.Fails = min(p.Fails+1, 1000)
		p.NotBeforeMS = m.now + m.backoff(p.Fails, MaxHoldMS)
		mark := Effect{Kind: Mark, ID: id, State: MarkWaiting, Fails: p.Fails, FirstFailMS: p.FirstFailMS}
		if p.Fails >= ParkFails && m.now-p.FirstFailMS >= ParkMS && m.GoodMS > p.FirstFailMS {
			p.NotBeforeMS = m.now + MaxHoldMS
			mark.State, mark.Code = MarkAttention, "server.fails"
		}
		mark.NotBeforeMS = p.NotBeforeMS
		m.do(mark)
	}
}
