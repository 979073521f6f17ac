package phone

// pullAnswered takes a page. The cursor stays where it is until the page is on
// disk: a cursor ahead of the data would be a hole nobody ever finds.
func (m *machine) pullAnswered(in Input) {
	if m.Mode != Pulling || m.Need != NeedNothing {
		return // late: its page will come again
	}
	stuck := in.More && in.Next == m.Cursor
	if in.Epoch == "" || in.Next == "" || stuck {
		m.pullFailed(0, 0) // not our server's answer, whatever its status
		return
	}
	if m.Epoch != "" && m.Epoch != in.Epoch {
		m.reset()
		return
	}
	m.Page, m.PageEpoch, m.More = in.Next, in.Epoch, in.More
	if m.Epoch != "" && in.Next == m.Cursor { // no news
		m.stored()
		return
	}
	m.Need, m.WakeMS = NeedPage, m.now+FlightMS
	m.do(Effect{Kind: ApplyPage, Cursor: m.Page, Epoch: m.PageEpoch})
}

// pageDone takes the outcome of the transaction that stores a page.
func (m *machine) pageDone(onDisk bool) {
	switch {
	case m.Need != NeedPage: // late
	case onDisk:
		m.stored()
	default:
		m.Failures++
		m.wait()
	}
}

// stored moves the cursor behind the page that storage holds now.
func (m *machine) stored() {
	m.Cursor, m.Epoch, m.PullMS = m.Page, m.PageEpoch, m.now
	if !m.More {
		m.PullMS += PullEveryMS*3/4 + int64(m.random*PullEveryMS/2)
	}
	m.good()
	m.Mode, m.Need, m.Page, m.PageEpoch, m.More = Idle, NeedNothing, "", "", false
}

func (m *machine) pullFailed(status int, retryAfterS float64) {
	if m.Mode != Pulling || m.Need != NeedNothing {
		return
	}
	m.hold(retryAfterS)
	if m.refused(status) {
		return
	}
	m.Failures++
	m.wait()
}
