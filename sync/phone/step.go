package phone

import (
	"cmp"
	"slices"
)

// Step returns what state becomes by in, and what there is to do now.
//
// It is total: every input has an answer in every mode, also one that comes
// late or twice, and an unknown one changes nothing. A change leaves
// State.Pending only when the server answered for it by its id, or with the
// input started. Neither argument is changed. Effects is never nil.
func Step(state State, in Input) (State, []Effect) {
	m := &machine{State: sound(state), now: min(max(in.NowMS, 0), lastMS), random: in.Random, effects: []Effect{}}
	if !(m.random >= 0 && m.random < 1) {
		m.random = 0.5
	}
	m.take(in)
	m.proceed()
	if m.due(m.WakeMS) {
		m.WakeMS = min(m.WakeMS, m.now) // a moment from before the clock was put back
	}
	if m.Mode != SignedOut {
		m.do(Effect{Kind: Wake, AtMS: m.WakeMS})
	}
	return m.State, m.effects
}

// lastMS is in the year 2099: later moments are a broken clock and could overflow.
const lastMS = 4_100_000_000_000

// machine is one step being taken.
type machine struct {
	State
	now     int64
	random  float64
	effects []Effect
}

// sound returns a copy of s that keeps the promises of State, so that a state
// from an older version or a damaged one cannot lead astray.
func sound(s State) State {
	s.Pending = append([]Pending{}, s.Pending...)
	s.Flight = append([]string{}, s.Flight...)
	switch s.Mode {
	case Pushing:
		s.Need = NeedNothing
	case Pulling:
		s.Flight = s.Flight[:0]
		if s.Need != NeedPage {
			s.Need = NeedNothing
		}
	case Waiting, SignedOut:
		s.Flight = s.Flight[:0]
		if s.Need != NeedSession && s.Need != NeedReset || s.Mode == SignedOut {
			s.Need = NeedNothing
		}
	default:
		s.Mode, s.Need, s.Flight = Idle, NeedNothing, s.Flight[:0]
	}
	if s.Limit < 1 || s.Limit > MaxBatch {
		s.Limit = MaxBatch
	}
	s.Failures = max(s.Failures, 0)
	return s
}

func (m *machine) do(e Effect) { m.effects = append(m.effects, e) }

func (m *machine) take(in Input) {
	switch in.Kind {
	case Started:
		if m.Mode == Pushing || m.Mode == Pulling {
			m.do(Effect{Kind: Abort}) // of a shell that began again
		}
		m.State = sound(State{Cursor: in.Cursor, Epoch: in.Epoch})
		if in.Session == "needs_sign_in" {
			m.Mode = SignedOut
		}
		m.add(in.Rows)
	case Changed:
		m.add(in.Rows)
	case Online, Visible:
		m.encourage()
	case UserSync:
		for i := range m.Pending {
			m.Pending[i].NotBeforeMS = 0
		}
		m.encourage()
		if m.Mode == SignedOut {
			m.do(Effect{Kind: RefreshSession})
		}
	case Tick:
		m.tick()
	case PushAnswered:
		m.pushAnswered(in)
	case PushFailed:
		m.pushFailed(in.Status, in.RetryAfterS)
	case PullAnswered:
		m.pullAnswered(in)
	case PullFailed:
		m.pullFailed(in.Status, in.RetryAfterS)
	case PageApplied, PageFailed:
		m.pageDone(in.Kind == PageApplied)
	case ResetDone:
		m.add(in.Rows)
		if m.Need == NeedReset {
			m.Mode, m.Need = Idle, NeedNothing
		}
	case SessionKnown:
		m.session(in.Session)
	}
}

// add takes rows into the queue by their number. A row that is queued already
// stays as it is.
func (m *machine) add(rows []Pending) {
	known := make(map[string]bool, len(m.Pending))
	for _, p := range m.Pending {
		known[p.ID] = true
	}
	for _, row := range rows {
		if row.ID != "" && !known[row.ID] {
			known[row.ID] = true
			m.Pending = append(m.Pending, row)
		}
	}
	slices.SortStableFunc(m.Pending, func(a, b Pending) int { return cmp.Compare(a.DSeq, b.DSeq) })
}

// encourage ends a wait of our own making, because something changed that may
// have removed its cause. A wait the server asked for goes on.
func (m *machine) encourage() {
	m.Failures, m.PullMS = 0, 0
	switch {
	case m.Mode == Waiting && m.Need == NeedNothing:
		m.Mode = Idle
	case m.Need == NeedSession:
		m.ask(RefreshSession)
	}
}

func (m *machine) tick() {
	if !m.due(m.WakeMS) {
		return
	}
	switch {
	case m.Mode == Pushing:
		m.do(Effect{Kind: Abort})
		m.pushFailed(0, 0)
	case m.Need == NeedPage:
		m.pageDone(false)
	case m.Mode == Pulling:
		m.do(Effect{Kind: Abort})
		m.pullFailed(0, 0)
	case m.Need == NeedSession:
		m.ask(RefreshSession)
	case m.Need == NeedReset:
		m.ask(Reset)
	case m.Mode == Waiting:
		m.Mode = Idle
	}
}

// ask gives the shell a local job, once more if it was asked before.
func (m *machine) ask(job string) {
	m.WakeMS = m.now + FlightMS
	m.do(Effect{Kind: job})
}

func (m *machine) session(word string) {
	switch {
	case word == "needs_sign_in":
		if m.Mode == Pushing || m.Mode == Pulling && m.Need == NeedNothing {
			m.do(Effect{Kind: Abort})
		}
		m.unsend()
		m.Mode, m.Need = SignedOut, NeedNothing
	case word == "valid" && (m.Mode == SignedOut || m.Need == NeedSession):
		again := m.Need == NeedSession && m.Failures > 1 // a fresh token was refused: do not run in circles
		m.Mode, m.Need = Idle, NeedNothing
		if again {
			m.wait()
		}
	case word != "valid" && m.Need == NeedSession: // unreachable
		m.Failures++
		m.wait()
		m.Need = NeedSession
	}
}

// proceed begins the next request where none is in flight and nothing forbids it.
func (m *machine) proceed() {
	if m.Mode != Idle {
		return
	}
	if !m.due(m.HoldMS) {
		m.Mode, m.WakeMS = Waiting, m.HoldMS
		return
	}
	ids, suspect := m.batch()
	// Nothing is sent before the server's epoch is on disk: a change held by a
	// server that is then restored would not be missed after a restart.
	unmet := m.Epoch == ""
	switch {
	case len(ids) > 0 && !unmet:
		m.push(ids)
		return
	case unmet || m.due(m.PullMS):
		m.Mode, m.WakeMS = Pulling, m.now+FlightMS
		m.do(Effect{Kind: Pull, Cursor: m.Cursor})
		return
	case suspect != "":
		m.push([]string{suspect})
		return
	}
	m.WakeMS = m.PullMS
	for _, p := range m.Pending {
		if !m.due(p.NotBeforeMS) {
			m.WakeMS = min(m.WakeMS, p.NotBeforeMS)
		}
	}
}
