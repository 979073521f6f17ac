package phone

// due says whether the moment has come. One further off than any wait is long
// was set before the clock was put back, and has come too.
func (m *machine) due(atMS int64) bool { return atMS <= m.now || atMS-m.now > MaxHoldMS }

// backoff returns how long to wait after the n-th failure in a row: anything up
// to a bound that doubles, so that phones that failed together do not come back
// together.
func (m *machine) backoff(n int, boundMS int64) int64 {
	top := boundMS
	if n < 20 {
		top = min(top, 1000<<max(n-1, 0))
	}
	return MinWaitMS + int64(m.random*float64(top-MinWaitMS))
}

// wait backs off before the next request, whatever it is.
func (m *machine) wait() {
	m.Mode, m.Need = Waiting, NeedNothing
	m.WakeMS = m.now + m.backoff(m.Failures, MaxWaitMS)
	if !m.due(m.HoldMS) {
		m.WakeMS = max(m.WakeMS, m.HoldMS)
	}
}

// hold notes how long the server asked to be left alone, in seconds.
func (m *machine) hold(seconds float64) {
	if seconds > 0 {
		m.HoldMS = m.now + int64(min(seconds*1000, MaxHoldMS))
	}
}

// good notes that the server answered as it should.
func (m *machine) good() { m.Failures, m.GoodMS, m.HoldMS = 0, m.now, 0 }

// refused deals with the statuses that mean the same for a push and a pull, and
// says whether status was one of them.
func (m *machine) refused(status int) bool {
	switch status {
	case 401: // the access token is spent
		m.Failures++
		m.Mode, m.Need = Waiting, NeedSession
		m.ask(RefreshSession)
	case 403: // this person or this phone may not any more; only signing in helps
		m.Mode, m.Need = SignedOut, NeedNothing
	case 409: // the server's history is not the one the cursor came from
		m.reset()
	default:
		return false
	}
	return true
}

// reset begins again from the server's beginning, because it is not the server
// it was. What the server had is asked for again and what it may have lost is
// sent again.
func (m *machine) reset() {
	if m.ResetMS > 0 && m.ResetMS <= m.now && m.now-m.ResetMS < ResetEveryMS {
		m.Failures++
		m.wait() // nothing is adopted, so the next answer finds the same
		return
	}
	m.ResetMS, m.Cursor, m.Epoch, m.PullMS = m.now, "", "", 0
	m.Mode, m.Need = Waiting, NeedReset
	m.ask(Reset)
}
