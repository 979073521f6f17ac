package web_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"brimline/api"
	"brimline/schema"
	"brimline/schema/wire"
	"brimline/sync/merge"
)

// statuses counts the results of a push by status and code.
func statuses(results []api.Result) map[string]int {
	count := map[string]int{}
	for _, r := range results {
		key := r.Status
		if r.Code != "" {
			key += " " + r.Code
		}
		count[key]++
	}
	return count
}

func wantStatuses(t *testing.T, results []api.Result, want map[string]int) {
	t.Helper()
	if got := statuses(results); !reflect.DeepEqual(got, want) {
		t.Errorf("results = %v, want %v", got, want)
		for i, r := range results {
			if r.Problem != nil {
				t.Logf("result %d: %s %s: %s", i, r.Problem.Code, r.Problem.Field, r.Problem.Detail)
			}
		}
	}
}

// TestCheckTravels pushes a whole check and finds it again by pull, list and
// record, with the summary the procedure gives.
func TestCheckTravels(t *testing.T) {
	s := newServer(t)
	p := &phone{s: s, who: redMechanic}
	log := s.check(1, redMechanic)
	changes := p.events(log)

	half := len(changes) / 2
	wantStatuses(t, p.push(changes[:half]...), map[string]int{"applied": half})
	wantStatuses(t, p.push(changes[half:]...), map[string]int{"applied": len(changes) - half})

	items, _ := s.pullAll(redManager, 7)
	var pulled []schema.Event
	var summary schema.Check
	last := int64(0)
	for _, item := range items {
		if item.Seq <= last {
			t.Errorf("item %d comes after %d", item.Seq, last)
		}
		last = item.Seq
		switch item.Kind {
		case "event":
			var e schema.Event
			must(t, json.Unmarshal(item.Body, &e))
			pulled = append(pulled, e)
		case "check":
			must(t, json.Unmarshal(item.Body, &summary))
		}
	}
	if len(pulled) != len(log) {
		t.Fatalf("pulled %d events, want %d", len(pulled), len(log))
	}
	raws := make([]wire.Raw, len(pulled))
	for i, e := range pulled {
		raw, err := json.Marshal(e)
		must(t, err)
		raws[i] = raw
	}
	if _, err := merge.VerifyChain(raws); err != nil {
		t.Errorf("pulled chain: %v", err)
	}
	if summary.Events != len(log) || summary.Phase != "done" {
		t.Errorf("summary = %+v, want %d events and done", summary, len(log))
	}

	list := read[api.ChecksPage](t, s.do(request{method: "GET", path: "/api/v1/checks", who: &redManager}))
	if len(list.Checks) != 1 || !reflect.DeepEqual(list.Checks[0].Check, summary) || list.Checks[0].VehicleLabel != "Van" || list.Checks[0].PersonName != "mechanic of red" {
		t.Errorf("list = %+v, want the summary %+v", list, summary)
	}
	whole := read[api.Evidence](t, s.do(request{method: "GET", path: "/api/v1/checks/" + string(summary.ID), who: &redManager}))
	if !whole.Recomputed.Agrees || len(whole.Events) != len(log) || string(whole.View) == "null" {
		t.Errorf("record: agrees %v, %d events, view %.40s", whole.Recomputed.Agrees, len(whole.Events), whole.View)
	}
	for i, h := range whole.Events {
		raw, err := json.Marshal(log[i])
		must(t, err)
		want, err := merge.Hash(raw)
		must(t, err)
		if h.Hash != want {
			t.Errorf("event %d has hash %s, want %s", i+1, h.Hash, want)
		}
	}
}

func TestPushIsIdempotent(t *testing.T) {
	s := newServer(t)
	p := &phone{s: s, who: redMechanic}
	changes := p.events(s.check(1, redMechanic))
	first := p.push(changes...)
	before, cursor := s.pullAll(redMechanic, 500)
	for range 3 {
		again := p.push(changes...)
		wantStatuses(t, again, map[string]int{"duplicate": len(changes)})
		for i := range again {
			if again[i].Seq != first[i].Seq {
				t.Errorf("change %d has number %d again, first it was %d", i, again[i].Seq, first[i].Seq)
			}
		}
	}
	twice := p.push(changes[0], changes[0])
	wantStatuses(t, twice, map[string]int{"duplicate": 2})
	if after, next := s.pullAll(redMechanic, 500); next != cursor || !reflect.DeepEqual(before, after) {
		t.Error("sending again changed what is stored")
	}

	// The same events under other change ids have no second effect either.
	renamed := slices.Clone(changes)
	for i := range renamed {
		renamed[i].ID = id("2", i+1)
	}
	wantStatuses(t, p.push(renamed...), map[string]int{"duplicate": len(changes)})

	reused := p.change(changes[0].ID, "reminder", reminderEdit(1, 1, 1, redMechanic.device, "due_date"))
	wantStatuses(t, p.push(reused), map[string]int{"rejected id.reuse": 1})
}

func TestRepeatInsideOnePush(t *testing.T) {
	s := newServer(t)
	p := &phone{s: s, who: redMechanic}
	c := p.events(s.check(1, redMechanic)[:2])
	renamed := c[1]
	renamed.ID = id("2", 1)
	results := p.push(c[0], c[0], c[1], renamed)
	wantStatuses(t, results, map[string]int{"applied": 2, "duplicate": 2})
	if results[1].Seq != results[0].Seq || results[3].Seq != results[2].Seq {
		t.Errorf("repeats have other numbers: %+v", results)
	}
}

// TestPoisonDelaysOnlyItsOwnCheck spoils one event in the middle of three checks.
func TestPoisonDelaysOnlyItsOwnCheck(t *testing.T) {
	s := newServer(t)
	p := &phone{s: s, who: redMechanic}
	a, b := s.check(1, redMechanic)[:8], s.check(2, redMechanic)[:8]
	bad := slices.Clone(a)
	bad[3].Kind = "flow.seen" // nothing is open yet: an order that cannot happen
	bad[3].Body = wire.Raw(`{"seen":"drops"}`)
	rechain(t, bad)
	good := s.check(3, redMechanic)[:1]
	results := p.push(slices.Concat(p.events(bad), p.events(b), p.events(good))...)
	got := results[3].Code
	if results[3].Status != "rejected" || got == "" || got == "waits_for" {
		t.Errorf("spoiled event: %+v, want a refusal of the procedure", results[3])
	}
	wantStatuses(t, results[:3], map[string]int{"applied": 3})
	wantStatuses(t, results[4:8], map[string]int{"deferred waits_for": 4})
	wantStatuses(t, results[8:], map[string]int{"applied": 9})

	// The check goes on once the phone sends what belongs there.
	wantStatuses(t, p.push(p.events(a[3:])...), map[string]int{"applied": 5})
}

func rechain(t *testing.T, log []schema.Event) {
	t.Helper()
	prev := ""
	for i := range log {
		log[i].Prev = prev
		raw, err := json.Marshal(log[i])
		must(t, err)
		prev, err = merge.Hash(raw)
		must(t, err)
	}
}

func TestOrderAndChain(t *testing.T) {
	s := newServer(t)
	p := &phone{s: s, who: redMechanic}
	log := s.check(1, redMechanic)
	c := p.events(log)
	wantStatuses(t, p.push(c[2], c[1]), map[string]int{"deferred waits_for": 2})
	wantStatuses(t, p.push(c[1], c[0]), map[string]int{"deferred waits_for": 1, "applied": 1})
	wantStatuses(t, p.push(c[1], c[2]), map[string]int{"applied": 2})

	forged := log[3]
	forged.ID = schema.EventID(id("9", 1))
	forged.Prev = strings.Repeat("0", 64)
	wantStatuses(t, p.push(p.change(id("9", 1), "event", forged)), map[string]int{"rejected event.chain": 1})

	rewritten := log[1]
	rewritten.ID = schema.EventID(id("9", 2))
	wantStatuses(t, p.push(p.change(id("9", 2), "event", rewritten)), map[string]int{"rejected event.chain": 1})

	reused := log[3]
	reused.ID = log[0].ID
	wantStatuses(t, p.push(p.change(id("9", 3), "event", reused)), map[string]int{"rejected id.reuse": 1})
	wantStatuses(t, p.push(c[3]), map[string]int{"applied": 1})
}

// TestRefusedChanges sends what must be refused by itself and checks that a
// good change beside it is taken and nothing else is stored.
func TestRefusedChanges(t *testing.T) {
	s := newServer(t)
	log := s.check(1, redMechanic)
	good := reminderEdit(1, 5, 0, redMechanic.device, "due_date")
	event := func(change func(*schema.Event)) any {
		e := log[0]
		change(&e)
		return e
	}
	body := func(member string, value any) any {
		return event(func(e *schema.Event) {
			var b map[string]any
			must(t, json.Unmarshal(e.Body, &b))
			b[member] = value
			raw, err := json.Marshal(b)
			must(t, err)
			e.Body = raw
		})
	}
	tests := []struct {
		name, kind string
		body       any
		code       string
	}{
		{"unknown kind", "vehicle", map[string]string{"id": "x"}, "change.kind"},
		{"event of no id", "event", event(func(e *schema.Event) { e.ID = "x" }), "id.form"},
		{"event of n 0", "event", event(func(e *schema.Event) { e.N = 0 }), "number.range"},
		{"event with an unknown member", "event", map[string]any{"id": log[0].ID, "extra": 1}, "json.form"},
		{"event with a member in capitals", "event", map[string]any{"ID": log[0].ID, "check_id": log[0].CheckID, "n": 1, "prev": "", "kind": "check.started", "v": 1,
			"wall_ms": 1, "mono_ms": 1, "boot": "b", "body": map[string]any{}}, "event.form"},
		{"event that is a list", "event", []int{1}, "json.form"},
		{"event of another kind first", "event", event(func(e *schema.Event) { e.Kind = "plug.cracked" }), "check.start"},
		{"event with a long body", "event", event(func(e *schema.Event) { e.Body = wire.Raw(`"` + strings.Repeat("x", 17<<10) + `"`) }), "event.long"},
		{"unknown vehicle", "event", body("vehicle_id", id("d", 77)), "vehicle.unknown"},
		{"another workshop's vehicle", "event", body("vehicle_id", id("d", 2)), "vehicle.unknown"},
		{"another workshop's unit", "event", body("unit_id", id("e", 2)), "unit.unknown"},
		{"somebody else's check", "event", body("person_id", id("c", 17)), "auth.person"},
		{"another device's check", "event", body("device_id", id("b", 9)), "auth.device"},
		{"reminder of another workshop's vehicle", "reminder", func() any {
			e := reminderEdit(2, 5, 0, redMechanic.device, "due_date")
			e.Reminder.VehicleID = schema.VehicleID(id("d", 2))
			return e
		}(), "vehicle.unknown"},
		{"reminder of no date", "reminder", func() any {
			e := reminderEdit(2, 5, 0, redMechanic.device, "due_date")
			e.Reminder.DueDate = "2026-02-30"
			return e
		}(), "date.form"},
		{"reminder with an unknown field", "reminder", reminderEdit(2, 5, 0, redMechanic.device, "id"), "reminder.fields"},
		{"reminder without fields", "reminder", reminderEdit(2, 5, 0, redMechanic.device), "reminder.fields"},
		{"reminder of no device", "reminder", reminderEdit(2, 5, 0, "phone", "due_date"), "id.form"},
	}
	p := &phone{s: s, who: redMechanic}
	wantStatuses(t, p.push(p.change(id("2", 1), "reminder", good)), map[string]int{"applied": 1})
	before, cursor := s.pullAll(redMechanic, 500)
	for i, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			results := p.push(p.change(id("3", i+1), tt.kind, tt.body))
			wantStatuses(t, results, map[string]int{"rejected " + tt.code: 1})
			if results[0].Problem == nil || results[0].Problem.Detail == "" {
				t.Errorf("no problem says why: %+v", results[0])
			}
		})
	}
	if after, next := s.pullAll(redMechanic, 500); next != cursor || !reflect.DeepEqual(before, after) {
		t.Error("a refused change changed what is stored")
	}
}

// TestUnreadableChanges sends changes that are not even changes, beside a good one.
func TestUnreadableChanges(t *testing.T) {
	s := newServer(t)
	p := &phone{s: s, who: redMechanic}
	good, err := json.Marshal(p.change(id("2", 1), "reminder", reminderEdit(1, 5, 0, redMechanic.device, "due_date")))
	must(t, err)
	raws := []json.RawMessage{json.RawMessage(`5`), json.RawMessage(`null`), json.RawMessage(`{}`), json.RawMessage(`{"id":7}`),
		json.RawMessage(`{"id":"` + id("3", 1) + `","dseq":"x"}`), json.RawMessage(`{"id":"` + id("3", 2) + `","dseq":1,"kind":"event","v":2,"body":{}}`),
		json.RawMessage(`{"id":"` + id("3", 3) + `","dseq":1,"kind":"event","v":1,"body":{"a":1,"a":2}}`), good}
	results := p.pushRaw(raws...)
	for i, r := range results[:7] {
		if r.Status != "rejected" || r.Problem == nil {
			t.Errorf("change %s: %+v, want it rejected", raws[i], r)
		}
	}
	if results[4].ID != id("3", 1) || results[7].Status != "applied" {
		t.Errorf("results = %+v", results)
	}
}

// refusedRequest is one line of testdata/api/refused.json.
type refusedRequest struct {
	Name        string `json:"name"`
	Method      string `json:"method"`
	Path        string `json:"path"`
	ContentType string `json:"content_type"`
	Body        string `json:"body"`
	Repeat      int    `json:"repeat"` // so many copies of Body make the body
	Status      int    `json:"status"`
	Code        string `json:"code"`
	Field       string `json:"field"`
}

func TestRefusedRequests(t *testing.T) {
	raw, err := os.ReadFile("../../testdata/api/refused.json")
	must(t, err)
	var tests []refusedRequest
	must(t, json.Unmarshal(raw, &tests))
	s := newServer(t)
	before, cursor := s.pullAll(redMechanic, 500)
	for _, tt := range tests {
		t.Run(tt.Name, func(t *testing.T) {
			r := request{method: tt.Method, path: tt.Path, who: &redMechanic}
			if tt.Body != "" {
				r.body = strings.ReplaceAll(strings.Repeat(tt.Body, max(1, tt.Repeat)), "DEVICE", redMechanic.device)
			}
			if tt.ContentType != "" {
				r.header = map[string]string{"Content-Type": tt.ContentType}
			}
			rec := s.do(r)
			problem := read[api.Problem](t, rec)
			if rec.Code != tt.Status || problem.Code != tt.Code || problem.Field != tt.Field {
				t.Errorf("answer = %d %s %q, want %d %s %q", rec.Code, problem.Code, problem.Field, tt.Status, tt.Code, tt.Field)
			}
		})
	}
	if after, next := s.pullAll(redMechanic, 500); next != cursor || !reflect.DeepEqual(before, after) {
		t.Error("a refused request changed what is stored")
	}
}

func TestManagerMakesNoChecks(t *testing.T) {
	s := newServer(t)
	p := &phone{s: s, who: redManager}
	wantStatuses(t, p.push(p.events(s.check(1, redManager)[:2])...), map[string]int{"rejected auth.forbidden": 2})
}

func TestOneDeviceHoldsACheck(t *testing.T) {
	s := newServer(t)
	log := s.check(1, redMechanic)
	first, second := &phone{s: s, who: redMechanic}, &phone{s: s, who: redOther}
	wantStatuses(t, first.push(first.events(log[:2])...), map[string]int{"applied": 2})
	wantStatuses(t, second.push(second.events(log[2:4])...), map[string]int{"rejected check.holder": 1, "deferred waits_for": 1})
}

// TestEditionReleasedMeanwhile finishes a check after a new edition of its
// profile and its cautions was released: it is judged by what it began with.
func TestEditionReleasedMeanwhile(t *testing.T) {
	s := newServer(t)
	ctx := t.Context()
	p := &phone{s: s, who: redMechanic}
	log := s.check(1, redMechanic)
	wantStatuses(t, p.push(p.events(log[:3])...), map[string]int{"applied": 3})

	_, tenant, err := s.store.FindWorkshop(ctx, "red")
	must(t, err)
	next := s.setup.Profile
	next.Edition++
	next.Window = &schema.WindowFigure{LowC: 80, HighC: 90, Printed: "80 to 90 °C"}
	must(t, s.store.PutProfile(ctx, tenant, next, s.clock().UnixMilli()))
	gate := s.setup.Cautions[0]
	gate.ID, gate.Gates = schema.CautionID(id("7", 1)), true
	must(t, s.store.PutCaution(ctx, tenant, gate, s.clock().UnixMilli()+1))
	changed := s.setup.Cautions[1]
	changed.Edition++
	must(t, s.store.PutCaution(ctx, tenant, changed, s.clock().UnixMilli()+1))

	wantStatuses(t, p.push(p.events(log[3:])...), map[string]int{"applied": len(log) - 3})
	whole := read[api.Evidence](t, s.do(request{method: "GET", path: "/api/v1/checks/" + string(log[0].CheckID), who: &redLead}))
	if whole.Profile.Edition != s.setup.Profile.Edition || !whole.Recomputed.Agrees {
		t.Errorf("judged by edition %d, agrees %v", whole.Profile.Edition, whole.Recomputed.Agrees)
	}

	ahead := s.check(2, redMechanic)[0]
	ahead.Body = wire.Raw(strings.Replace(string(ahead.Body), fmt.Sprintf(`"profile_edition":%d`, next.Edition-1), `"profile_edition":99`, 1))
	wantStatuses(t, p.push(p.change(string(ahead.ID), "event", ahead)), map[string]int{"deferred profile.edition_unknown": 1})
}

func TestPullFollowsChanges(t *testing.T) {
	s := newServer(t)
	p := &phone{s: s, who: redMechanic}
	_, cursor := s.pullAll(redMechanic, 500)
	empty, again := s.pullFrom(redMechanic, cursor)
	if len(empty) != 0 || again != cursor {
		t.Errorf("nothing changed, and pull brings %d items and the cursor %q after %q", len(empty), again, cursor)
	}
	p.push(p.change(id("2", 1), "reminder", reminderEdit(1, 5, 0, redMechanic.device, "due_date")))
	p.push(p.change(id("2", 2), "reminder", reminderEdit(1, 6, 0, redMechanic.device, "reason")))
	items, next := s.pullFrom(redMechanic, cursor)
	if len(items) != 1 || items[0].Kind != "reminder" || next == cursor {
		t.Errorf("items = %+v, want the reminder once, as it is now", items)
	}

	for _, c := range []string{strings.Split(next, ".")[0] + "." + strings.Repeat("0", 64), "9999." + strings.Repeat("0", 64)} {
		rec := s.do(request{method: "GET", path: "/api/v1/sync/pull?cursor=" + c, who: &redMechanic})
		if rec.Code != http.StatusConflict || code(t, rec) != "history_diverged" {
			t.Errorf("cursor %q: %d %s, want 409 history_diverged", c, rec.Code, rec.Body)
		}
	}
	rec := s.do(request{method: "GET", path: "/api/v1/sync/pull?cursor=" + next, who: &blueMechanic})
	if rec.Code != http.StatusConflict {
		t.Errorf("another workshop's cursor: %d, want 409", rec.Code)
	}
}

func (s *server) pullFrom(who caller, cursor string) ([]api.Item, string) {
	s.t.Helper()
	page := read[api.PullPage](s.t, s.do(request{method: "GET", path: "/api/v1/sync/pull?cursor=" + cursor, who: &who}))
	return page.Items, page.Next
}

// TestWorkshopsAreApart looks for any byte of one workshop in the other's answers.
func TestWorkshopsAreApart(t *testing.T) {
	s := newServer(t)
	p := &phone{s: s, who: redMechanic}
	log := s.check(1, redMechanic)
	p.push(p.events(log)...)
	for _, path := range []string{"/api/v1/sync/pull", "/api/v1/checks", "/api/v1/checks/" + string(log[0].CheckID), "/api/v1/checks/" + id("f", 99)} {
		rec := s.do(request{method: "GET", path: path, who: &blueMechanic})
		for _, secret := range []string{id("a", 1), id("c", 16), id("d", 1), id("e", 1), "of red"} {
			if strings.Contains(rec.Body.String(), secret) {
				t.Errorf("%s shows %q of workshop red to workshop blue", path, secret)
			}
		}
	}
	theirs := s.do(request{method: "GET", path: "/api/v1/checks/" + string(log[0].CheckID), who: &blueMechanic})
	nobodys := s.do(request{method: "GET", path: "/api/v1/checks/" + id("f", 99), who: &blueMechanic})
	if theirs.Code != http.StatusNotFound || theirs.Body.String() != nobodys.Body.String() {
		t.Errorf("another workshop's check: %d %s, and one nobody has: %d %s", theirs.Code, theirs.Body, nobodys.Code, nobodys.Body)
	}

	// Both workshops may hold the same ids; neither sees the other's.
	other := &phone{s: s, who: blueMechanic}
	set, err := setupOf(2)
	must(t, err)
	own := checkOf(t, set, 1, s.signIn(blueMechanic).person, blueMechanic.device)
	wantStatuses(t, other.push(other.events(own)...), map[string]int{"applied": len(own)})
}
