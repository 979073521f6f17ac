package phone

import (
	"maps"
	"math"
	"reflect"
	"slices"
	"strconv"
	"testing"

	"brimline/schema/wire"

	"pgregory.net/rapid"
)

var modes = []Mode{Idle, Pushing, Pulling, Waiting, SignedOut}

var kinds = []string{
	Started, Changed, Online, Visible, Tick, UserSync, PushAnswered, PushFailed, PullAnswered, PullFailed,
	PageApplied, PageFailed, ResetDone, SessionKnown,
}

const noon = storyMS

// stateIn returns a sound state in a mode, with two changes waiting.
func stateIn(mode Mode, need Need) State {
	s := State{
		Mode: mode, Need: need, Limit: MaxBatch, Cursor: "5.aa", Epoch: "e1", WakeMS: noon + 1000, PullMS: noon + 9000, Failures: 2,
		Pending: []Pending{{ID: "a", DSeq: 1, CheckID: "c", SizeBytes: 10}, {ID: "b", DSeq: 2, CheckID: "c", SizeBytes: 10}}, Flight: []string{},
	}
	switch {
	case mode == Pushing:
		s.Flight = []string{"a", "b"}
	case need == NeedPage:
		s.Page, s.PageEpoch = "6.bb", "e1"
	case mode == Idle: // idle with something due would not be idle
		s.Pending[0].NotBeforeMS = noon + 5000
	}
	return s
}

// The whole table: what mode an input leads to. Need is written after a slash.
func TestEveryModeAnswersEveryInput(t *testing.T) {
	inputs := map[string]Input{
		"started": {Kind: Started, Rows: []Pending{{ID: "a"}, {ID: "b"}}, Cursor: "5.aa", Epoch: "e1"}, "changed": {Kind: Changed, Rows: []Pending{{ID: "z", DSeq: 9}}},
		"online": {Kind: Online}, "visible": {Kind: Visible}, "tick early": {Kind: Tick}, "tick": {Kind: Tick, NowMS: noon + 1000}, "user_sync": {Kind: UserSync},
		"push ok": {Kind: PushAnswered, Epoch: "e1", Results: []Result{{ID: "a", Status: "applied"}, {ID: "b", Status: "applied"}}}, "push 500": {Kind: PushFailed, Status: 500},
		"push 401": {Kind: PushFailed, Status: 401}, "push 403": {Kind: PushFailed, Status: 403}, "push 409": {Kind: PushFailed, Status: 409}, "push nothing": {Kind: PushFailed},
		"pull ok": {Kind: PullAnswered, Epoch: "e1", Next: "6.bb"}, "pull same": {Kind: PullAnswered, Epoch: "e1", Next: "5.aa"}, "pull other": {Kind: PullAnswered, Epoch: "e2", Next: "6.bb"},
		"pull 500": {Kind: PullFailed, Status: 500}, "pull 401": {Kind: PullFailed, Status: 401}, "pull 403": {Kind: PullFailed, Status: 403}, "pull 409": {Kind: PullFailed, Status: 409},
		"page_applied": {Kind: PageApplied}, "page_failed": {Kind: PageFailed}, "reset_done": {Kind: ResetDone}, "valid": {Kind: SessionKnown, Session: "valid"},
		"needs_sign_in": {Kind: SessionKnown, Session: "needs_sign_in"}, "unreachable": {Kind: SessionKnown, Session: "unreachable"}, "unknown": {Kind: "rain"},
	}
	columns := []struct {
		name string
		mode Mode
		need Need
	}{
		{"idle", Idle, ""}, {"pushing", Pushing, ""}, {"pulling", Pulling, ""}, {"pulling/page", Pulling, NeedPage}, {"waiting", Waiting, ""},
		{"waiting/session", Waiting, NeedSession}, {"waiting/reset", Waiting, NeedReset}, {"signed_out", SignedOut, ""},
	}
	const same = "" // as the column
	table := map[string][8]string{
		"started":       {"pushing", "pushing", "pushing", "pushing", "pushing", "pushing", "pushing", "pushing"},
		"changed":       {"pushing", same, same, same, same, same, same, same},
		"online":        {"pulling", same, same, same, "pushing", same, same, same},
		"visible":       {"pulling", same, same, same, "pushing", same, same, same},
		"tick early":    {same, same, same, same, same, same, same, same},
		"tick":          {same, "waiting", "waiting", "waiting", "pushing", same, same, same},
		"user_sync":     {"pushing", same, same, same, "pushing", same, same, same},
		"push ok":       {same, "pulling", same, same, same, same, same, same},
		"push 500":      {same, "waiting", same, same, same, same, same, same},
		"push 401":      {same, "waiting/session", same, same, same, same, same, same},
		"push 403":      {same, "signed_out", same, same, same, same, same, same},
		"push 409":      {same, "waiting/reset", same, same, same, same, same, same},
		"push nothing":  {same, "waiting", same, same, same, same, same, same},
		"pull ok":       {same, same, "pulling/page", same, same, same, same, same},
		"pull same":     {same, same, "pushing", same, same, same, same, same},
		"pull other":    {same, same, "waiting/reset", same, same, same, same, same},
		"pull 500":      {same, same, "waiting", same, same, same, same, same},
		"pull 401":      {same, same, "waiting/session", same, same, same, same, same},
		"pull 403":      {same, same, "signed_out", same, same, same, same, same},
		"pull 409":      {same, same, "waiting/reset", same, same, same, same, same},
		"page_applied":  {same, same, same, "pushing", same, same, same, same},
		"page_failed":   {same, same, same, "waiting", same, same, same, same},
		"reset_done":    {same, same, same, same, same, same, "pushing", same},
		"valid":         {same, same, same, same, same, "waiting", same, "pushing"},
		"needs_sign_in": {"signed_out", "signed_out", "signed_out", "signed_out", "signed_out", "signed_out", "signed_out", same},
		"unreachable":   {same, same, same, same, same, same, same, same},
		"unknown":       {same, same, same, same, same, same, same, same},
	}
	for _, kind := range kinds {
		if !slices.ContainsFunc(slices.Collect(maps.Values(inputs)), func(in Input) bool { return in.Kind == kind }) {
			t.Errorf("the table has no input %s", kind)
		}
	}
	for name, in := range inputs {
		row, known := table[name]
		if !known {
			t.Errorf("the table has no row %s", name)
		}
		for i, column := range columns {
			in.Random = 0.5
			in.NowMS = max(in.NowMS, noon)
			before := stateIn(column.mode, column.need)
			after, effects := Step(before, in)
			got := string(after.Mode)
			if after.Need != "" {
				got += "/" + string(after.Need)
			}
			want := row[i]
			if want == same {
				want = column.name
			}
			if got != want {
				t.Errorf("%s in %s: got %s, want %s", name, column.name, got, want)
			}
			checkStep(t, before, in, after, effects)
		}
	}
}

type failer interface{ Errorf(string, ...any) }

// checkStep asserts what holds for every step.
func checkStep(t failer, before State, in Input, after State, effects []Effect) {
	where := in.Kind + " in " + string(before.Mode) + "/" + string(before.Need)
	answered := map[string]bool{}
	if in.Kind == PushAnswered {
		for _, r := range in.Results {
			answered[r.ID] = answered[r.ID] || slices.Contains([]string{"applied", "duplicate", "rejected", "conflict"}, r.Status)
		}
	}
	place := map[string]int{}
	for i, p := range after.Pending {
		if _, twice := place[p.ID]; twice {
			t.Errorf("%s: %s waits twice", where, p.ID)
		}
		place[p.ID] = i
	}
	for _, p := range before.Pending {
		if _, waits := place[p.ID]; !waits && !answered[p.ID] && in.Kind != Started {
			t.Errorf("%s: %s was lost", where, p.ID)
		}
	}
	requests, wakes, aborted := 0, 0, false
	for _, e := range effects {
		switch e.Kind {
		case Push:
			requests++
			if after.Mode != Pushing || !slices.Equal(e.IDs, after.Flight) || len(e.IDs) == 0 || len(e.IDs) > MaxBatch {
				t.Errorf("%s: pushes %v with %v in flight", where, e.IDs, after.Flight)
			}
			for _, id := range e.IDs {
				if _, waits := place[id]; !waits {
					t.Errorf("%s: pushes %s, which does not wait", where, id)
				}
			}
		case Pull:
			requests++
			if after.Mode != Pulling || e.Cursor != after.Cursor {
				t.Errorf("%s: pulls %q in %s at %q", where, e.Cursor, after.Mode, after.Cursor)
			}
		case Wake:
			wakes++
			if e.AtMS != after.WakeMS || e.AtMS > min(max(in.NowMS, 0), lastMS)+MaxHoldMS {
				t.Errorf("%s: wakes at %d, %d after now", where, e.AtMS, e.AtMS-in.NowMS)
			}
		case Abort:
			aborted = true
		}
	}
	flying := before.Mode == Pushing || before.Mode == Pulling && before.Need == NeedNothing
	done := aborted || in.Kind == PushAnswered || in.Kind == PushFailed || in.Kind == PullAnswered || in.Kind == PullFailed
	if requests > 1 || requests == 1 && flying && !done {
		t.Errorf("%s: two requests in flight", where)
	}
	if wakes != 1 && after.Mode != SignedOut {
		t.Errorf("%s: %d wakes, want 1", where, wakes)
	}
	if again := sound(after); !reflect.DeepEqual(again, after) {
		t.Errorf("%s: the state is not sound: got %+v, want %+v", where, after, again)
	}
	if after.Mode == Idle && slices.ContainsFunc(after.Pending, func(p Pending) bool { return p.Fails == 0 && p.CheckID == "" && p.NotBeforeMS <= in.NowMS }) {
		t.Errorf("%s: rests although something could go", where)
	}
}

func drawPending(t *rapid.T) Pending {
	return Pending{
		ID: rapid.SampledFrom([]string{"a", "b", "c", "d", ""}).Draw(t, "id"), DSeq: rapid.Int64Range(-1, 5).Draw(t, "dseq"),
		SizeBytes: rapid.SampledFrom([]int{-1, 0, 100, 300 << 10, math.MaxInt}).Draw(t, "size"), CheckID: rapid.SampledFrom([]string{"", "x", "y"}).Draw(t, "check"),
		Tries: rapid.SampledFrom([]int{0, 1, 40, math.MaxInt}).Draw(t, "tries"), Fails: rapid.SampledFrom([]int{0, 0, 1, 5, math.MaxInt}).Draw(t, "fails"),
		FirstFailMS: drawMS(t), NotBeforeMS: drawMS(t),
	}
}

func drawMS(t *rapid.T) int64 {
	return rapid.SampledFrom([]int64{0, noon - 1, noon, noon + 500, noon + MaxHoldMS, noon + 2*MaxHoldMS, math.MinInt64, math.MaxInt64}).Draw(t, "ms")
}

func drawInput(t *rapid.T) Input {
	return Input{
		Kind: rapid.SampledFrom(append(slices.Clone(kinds), "", "rain")).Draw(t, "kind"), NowMS: drawMS(t),
		Random: rapid.SampledFrom([]float64{0, 0.5, 0.999999, 1, -1, math.NaN(), math.Inf(1)}).Draw(t, "random"),
		Rows:   rapid.SliceOfN(rapid.Custom(drawPending), 0, 4).Draw(t, "rows"), Cursor: rapid.SampledFrom([]string{"", "1.a"}).Draw(t, "cursor"),
		Epoch: rapid.SampledFrom([]string{"", "e1", "e2"}).Draw(t, "epoch"), Session: rapid.SampledFrom([]string{"", "valid", "needs_sign_in", "unreachable"}).Draw(t, "session"),
		Next: rapid.SampledFrom([]string{"", "1.a", "2.b"}).Draw(t, "next"), More: rapid.Bool().Draw(t, "more"),
		Status:      rapid.SampledFrom([]int{0, 200, 400, 401, 403, 408, 409, 413, 429, 500, 503, -1}).Draw(t, "status"),
		RetryAfterS: rapid.SampledFrom([]float64{0, 1, 30, 1e300, -5, math.NaN(), math.Inf(1)}).Draw(t, "after"),
		Results: rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Result {
			return Result{
				ID:     rapid.SampledFrom([]string{"a", "b", "c", "d", "e"}).Draw(t, "id"),
				Status: rapid.SampledFrom([]string{"applied", "duplicate", "rejected", "deferred", "conflict", "new word", ""}).Draw(t, "status"),
			}
		}), 0, 4).Draw(t, "results"),
	}
}

// From any state, damaged ones included, any row of inputs keeps every promise,
// changes nothing it was given, and answers the same when asked again.
func TestStepHoldsItsPromises(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		state := State{
			Mode: rapid.SampledFrom(append(slices.Clone(modes), "", "asleep")).Draw(t, "mode"), Need: rapid.SampledFrom([]Need{"", NeedSession, NeedReset, NeedPage, "rest"}).Draw(t, "need"),
			Limit: rapid.IntRange(-1, 60).Draw(t, "limit"), Failures: rapid.SampledFrom([]int{-1, 0, 5, 1 << 40}).Draw(t, "failures"),
			WakeMS: drawMS(t), HoldMS: drawMS(t), PullMS: drawMS(t), GoodMS: drawMS(t), ResetMS: drawMS(t),
			Epoch: rapid.SampledFrom([]string{"", "e1"}).Draw(t, "epoch"), Cursor: rapid.SampledFrom([]string{"", "1.a"}).Draw(t, "cursor"),
		}
		state, _ = Step(state, Input{Kind: Changed, Rows: rapid.SliceOfN(rapid.Custom(drawPending), 0, 5).Draw(t, "rows"), NowMS: noon})
		for range 12 {
			in := drawInput(t)
			kept := sound(state)
			after, effects := Step(state, in)
			if !reflect.DeepEqual(kept, sound(state)) {
				t.Fatal("Step changed the state it was given")
			}
			checkStep(t, state, in, after, effects)
			again, same := Step(state, in)
			if !reflect.DeepEqual(again, after) || !reflect.DeepEqual(same, effects) {
				t.Fatal("Step answered otherwise the second time")
			}
			raw, err := wire.Write(after) // as it crosses to the screen and back
			var back State
			if err != nil || wire.Read(raw, &back) != nil || !reflect.DeepEqual(back, after) {
				t.Fatalf("the state does not survive as JSON: %s, %v", raw, err)
			}
			state = after
		}
	})
}

func TestChecksGoInOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := machine{now: noon, State: State{Limit: rapid.IntRange(1, 5).Draw(t, "limit")}}
		for i := range rapid.IntRange(0, 10).Draw(t, "rows") {
			p := drawPending(t)
			p.ID = strconv.Itoa(i)
			m.Pending = append(m.Pending, p)
		}
		ids, suspect := m.batch()
		sent := map[string]bool{suspect: true}
		bytes := 0
		for _, id := range ids {
			sent[id] = true
			p := m.Pending[m.find(id)]
			bytes += max(p.SizeBytes, 0)
			if p.Fails > 0 || !m.due(p.NotBeforeMS) {
				t.Fatalf("%s goes, but should not: %+v", id, p)
			}
		}
		if len(ids) > m.Limit || len(ids) > 1 && bytes > MaxBatchBytes {
			t.Fatalf("got %d changes of %d bytes, want at most %d and %d", len(ids), bytes, m.Limit, MaxBatchBytes)
		}
		for i, p := range m.Pending {
			for j, before := range m.Pending[:i] {
				if sent[p.ID] && p.CheckID != "" && p.CheckID == before.CheckID && !slices.Contains(ids, before.ID) {
					t.Fatalf("%d goes before %d of its check", i, j)
				}
			}
		}
	})
}

func TestBackoff(t *testing.T) {
	tests := []struct {
		failures  int
		random    float64
		low, high int64
	}{
		{1, 0, MinWaitMS, MinWaitMS}, {1, 0.9999, 990, 1000}, {2, 0.9999, 1990, 2000}, {9, 0.9999, 255_000, 256_000},
		{10, 0.9999, 299_000, MaxWaitMS}, {1000, 0.9999, 299_000, MaxWaitMS}, {0, 0.5, MinWaitMS, 1000},
	}
	for _, tt := range tests {
		m := machine{now: noon, random: tt.random}
		if got := m.backoff(tt.failures, MaxWaitMS); got < tt.low || got > tt.high {
			t.Errorf("after %d failures at %v: got %d ms, want %d to %d", tt.failures, tt.random, got, tt.low, tt.high)
		}
	}
}
