package demo

import (
	"bytes"
	"context"
	"go/parser"
	"go/token"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"brimline/schema"
	"brimline/server/auth"
	"brimline/server/store"
	"brimline/server/web"
	"brimline/sync/merge"
)

// summer is the moment most tests look back from.
var summer = time.Date(2026, 7, 3, 9, 30, 0, 0, time.UTC)

// loaded is a store with the demo in it.
type loaded struct {
	store  *store.Store
	tenant store.Tenant
	people []SignIn
	checks []store.WholeCheck // oldest first
	labels map[string][]store.WholeCheck
}

func load(t *testing.T, now time.Time) loaded {
	t.Helper()
	ctx := t.Context()
	s, err := store.Open(ctx, t.TempDir(), web.Replay)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	d := loaded{store: s, labels: map[string][]store.WholeCheck{}}
	if d.people, err = Load(ctx, s, now); err != nil {
		t.Fatal(err)
	}
	if _, d.tenant, err = s.FindWorkshop(ctx, workshop.Name); err != nil {
		t.Fatal(err)
	}
	list, _, err := s.Checks(ctx, d.tenant, "", store.MaxChecks)
	if err != nil {
		t.Fatal(err)
	}
	for i := len(list) - 1; i >= 0; i-- {
		whole, err := s.Check(ctx, d.tenant, list[i].ID)
		if err != nil {
			t.Fatal(err)
		}
		d.checks = append(d.checks, whole)
		d.labels[list[i].VehicleLabel] = append(d.labels[list[i].VehicleLabel], whole)
	}
	return d
}

// pulled returns every record as a phone would get it.
func (d loaded) pulled(t *testing.T) []store.Item {
	t.Helper()
	var items []store.Item
	for cursor, more := "", true; more; {
		page, err := d.store.Pull(t.Context(), d.tenant, cursor, store.MaxPage)
		if err != nil {
			t.Fatal(err)
		}
		items, cursor, more = append(items, page.Items...), page.Next, page.More
	}
	return items
}

// kind returns the records of a kind.
func kind[T any](t *testing.T, items []store.Item, name string) []T {
	t.Helper()
	var list []T
	for _, item := range items {
		if item.Kind == name {
			list = append(list, decoded[T](t, item.Body))
		}
	}
	return list
}

func TestTheStory(t *testing.T) {
	d := load(t, summer)
	items := d.pulled(t)
	reminders := kind[schema.Reminder](t, items, "reminder")
	t.Run("loading again changes nothing", func(t *testing.T) { d.loadAgain(t) })
	t.Run("everybody can sign in", func(t *testing.T) { d.signIn(t) })
	t.Run("every visit of the story is there", func(t *testing.T) {
		if len(d.checks) != len(visits()) {
			t.Errorf("%d checks stored, the story has %d visits", len(d.checks), len(visits()))
		}
	})
	t.Run("checks replay to what is stored", func(t *testing.T) { d.replays(t) })
	t.Run("visits do not overlap", func(t *testing.T) { d.apart(t) })
	t.Run("the losing van", func(t *testing.T) { d.losing(t) })
	t.Run("the van that only looks like it", func(t *testing.T) { d.lookAlike(t) })
	t.Run("the place with a hidden tilt", func(t *testing.T) { d.hiddenTilt(t) })
	t.Run("the second cycle", func(t *testing.T) { d.secondCycle(t) })
	t.Run("the job that waits for its second cycle", func(t *testing.T) { d.waiting(t, reminders) })
	t.Run("reminders", func(t *testing.T) { remindersTell(t, reminders) })
	t.Run("endings", func(t *testing.T) { d.endings(t) })
	t.Run("vehicles", func(t *testing.T) { d.vehicles(t, items) })
}

func (d loaded) loadAgain(t *testing.T) {
	before, err := d.store.Head(t.Context(), d.tenant)
	if err != nil {
		t.Fatal(err)
	}
	again, err := Load(t.Context(), d.store, summer.AddDate(0, 1, 0))
	if err != nil || !reflect.DeepEqual(again, d.people) {
		t.Errorf("second load returned %v, %v; want the same people", again, err)
	}
	if after, err := d.store.Head(t.Context(), d.tenant); err != nil || after != before {
		t.Errorf("second load moved the log from %d to %d (%v)", before, after, err)
	}
}

func (d loaded) signIn(t *testing.T) {
	a, err := auth.New(d.store, t.TempDir(), func() time.Time { return summer })
	if err != nil {
		t.Fatal(err)
	}
	roles := map[schema.Role]int{}
	for _, p := range d.people {
		roles[p.Role]++
		if !strings.HasSuffix(p.Email, ".example") {
			t.Errorf("mail address %q does not end in .example", p.Email)
		}
		grant, err := a.SignIn(t.Context(), auth.SignIn{Email: p.Email, Password: p.Password, Device: schema.DeviceID(fixedID("another device", p.Email)), DeviceName: "test", IP: "192.0.2.1"})
		if err != nil {
			t.Errorf("%s: %v", p.Email, err)
		} else if grant.Session.Person.Name != p.Name {
			t.Errorf("%s signed in as %q, want %q", p.Email, grant.Session.Person.Name, p.Name)
		}
	}
	if roles[schema.Lead] != 1 || roles[schema.Mechanic] != 1 || roles[schema.Manager] != 1 {
		t.Errorf("roles are %v, want one of each", roles)
	}
}

func (d loaded) replays(t *testing.T) {
	for _, c := range d.checks {
		again, err := web.Replay(c.Input)
		if err != nil {
			t.Errorf("check %s: %v", c.Check.ID, err)
			continue
		}
		if !reflect.DeepEqual(again, c.Check) {
			t.Errorf("check %s replays to %+v, stored is %+v", c.Check.ID, again, c.Check)
		}
		prev := ""
		for _, e := range c.Events {
			hash, err := merge.Hash(encoded(t, e.Event))
			if err != nil || e.Event.Prev != prev || e.Hash != hash {
				t.Errorf("check %s, event %d: the chain does not hold (%v)", c.Check.ID, e.Event.N, err)
				break
			}
			prev = hash
			if e.ReceivedMS < e.Event.WallMS || e.ReceivedMS > summer.UnixMilli() {
				t.Errorf("check %s, event %d arrived at %d, made at %d", c.Check.ID, e.Event.N, e.ReceivedMS, e.Event.WallMS)
				break
			}
		}
	}
}

// apart looks for two visits of one person at the same time, and for work at
// night or on a Sunday.
func (d loaded) apart(t *testing.T) {
	place, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	until := map[schema.PersonID]int64{}
	for _, c := range d.checks {
		if c.Check.StartedMS < until[c.Check.PersonID] {
			t.Errorf("check %s begins before its person's last one ended", c.Check.ID)
		}
		until[c.Check.PersonID] = c.Check.EndedMS
		at := time.UnixMilli(c.Check.StartedMS).In(place)
		if at.Weekday() == time.Sunday || at.Hour() < 5 || at.Hour() > 18 {
			t.Errorf("check %s begins on %s", c.Check.ID, at.Format("Monday 15:04"))
		}
	}
}

// trend is a plain regression of the levels found on time: mL a month, and how
// many standard errors that is.
func trend(checks []store.WholeCheck) (slope, errors float64) {
	var x, y []float64
	for _, c := range checks {
		if c.Check.Found != nil {
			x = append(x, float64(c.Check.StartedMS)/(30.4*24*3600e3))
			y = append(y, c.Check.Found.LevelML)
		}
	}
	n := float64(len(x))
	var mx, my, sxx, sxy, rest float64
	for i := range x {
		mx, my = mx+x[i]/n, my+y[i]/n
	}
	for i := range x {
		sxx += (x[i] - mx) * (x[i] - mx)
		sxy += (x[i] - mx) * (y[i] - my)
	}
	slope = sxy / sxx
	for i := range x {
		r := y[i] - my - slope*(x[i]-mx)
		rest += r * r
	}
	return slope, slope / math.Sqrt(rest/(n-2)/sxx)
}

// lost adds up what was gone between visits, in mL, and returns the months.
func lost(checks []store.WholeCheck) (ml, months float64) {
	for i := 1; i < len(checks); i++ {
		ml += checks[i-1].Check.Level.LevelML - checks[i].Check.Found.LevelML
	}
	return ml, float64(checks[len(checks)-1].Check.StartedMS-checks[0].Check.StartedMS) / (30.4 * 24 * 3600e3)
}

// Two-sided 5 % points of Student's t (from memory): 3.182 with 3 degrees of
// freedom, 4.303 with 2.
const (
	t3 = 3.182
	t2 = 4.303
)

func (d loaded) losing(t *testing.T) {
	list := d.labels["Bakery van 1"]
	if len(list) != 5 {
		t.Fatalf("%d checks, want 5", len(list))
	}
	if slope, errors := trend(list); slope >= 0 || errors > -t3 {
		t.Errorf("found levels change by %.0f mL a month, %.1f standard errors; want a sure fall", slope, errors)
	}
	for i, c := range list {
		if c.Check.PersonID != list[0].Check.PersonID || c.Input.Vehicle.Place != list[0].Input.Vehicle.Place {
			t.Errorf("check %d is by another person or at another place", i)
		}
		if i > 0 && c.Check.Found.LevelML >= list[i-1].Check.Found.LevelML {
			t.Errorf("check %d found %.0f mL, not less than the one before", i, c.Check.Found.LevelML)
		}
	}
	if ml, months := lost(list); math.Abs(ml/months-100) > 20 {
		t.Errorf("%.0f mL lost in %.1f months, want about 100 a month", ml, months)
	}
}

func (d loaded) lookAlike(t *testing.T) {
	list := d.labels["Bakery van 2"]
	if len(list) != 4 {
		t.Fatalf("%d checks, want 4", len(list))
	}
	if slope, errors := trend(list); math.Abs(errors) > t2 {
		t.Errorf("found levels change by %.0f mL a month, %.1f standard errors; want nothing sure", slope, errors)
	}
	if ml, months := lost(list); math.Abs(ml/months) > 15 {
		t.Errorf("%.0f mL lost in %.1f months, want next to nothing", ml, months)
	}
	topUps := 0
	for _, c := range list {
		for _, e := range c.Events {
			if e.Event.Kind == "fluid.added" {
				topUps++
				break
			}
		}
	}
	if topUps < 3 {
		t.Errorf("%d top-ups, want at least 3: it must look like a leak", topUps)
	}
}

func (d loaded) hiddenTilt(t *testing.T) {
	var there, elsewhere []float64
	for _, c := range d.labels["Library bus 2"] {
		if c.Input.Vehicle.Place == quarryLane {
			there = append(there, c.Check.Found.LevelML)
		} else {
			elsewhere = append(elsewhere, c.Check.Found.LevelML)
		}
	}
	if len(there) < 2 || len(elsewhere) < 2 {
		t.Fatalf("%d checks there and %d elsewhere, want two of each", len(there), len(elsewhere))
	}
	if gap := mean(there) - mean(elsewhere); gap < 60 {
		t.Errorf("found %.0f mL more there than elsewhere, want a gap that shows", gap)
	}
}

func mean(list []float64) float64 {
	sum := 0.0
	for _, v := range list {
		sum += v
	}
	return sum / float64(len(list))
}

func (d loaded) secondCycle(t *testing.T) {
	list := d.labels["Library bus 5, spare"]
	if len(list) < 2 || list[0].Check.Status != "provisional" || list[1].Check.Status != "final" || list[1].Check.Cycle != 2 {
		t.Fatal("want a provisional check and then its second cycle")
	}
	if found := list[1].Check.Found.LevelML; math.Abs(found+400) > 100 {
		t.Errorf("the second cycle found %.0f mL, want about 400 low", found)
	}
}

func (d loaded) waiting(t *testing.T, reminders []schema.Reminder) {
	list := d.labels["Library bus 3"]
	last := list[len(list)-1].Check
	if last.Status != "provisional" {
		t.Fatalf("its last check is %s", last.Status)
	}
	for _, r := range reminders {
		if r.CheckID == last.ID && r.Rule == "second_cycle" && r.DoneMS == 0 {
			due, err := time.Parse(time.DateOnly, r.DueDate)
			if ahead := due.Sub(summer).Hours() / 24; err != nil || ahead < -1 || ahead > 4 {
				t.Errorf("due on %s, want within the next days", r.DueDate)
			}
			if r.ID != schema.ReminderID(derivedID("reminder", string(last.ID), r.Rule)) {
				t.Error("its id is not the one a phone would derive")
			}
			return
		}
	}
	t.Error("there is no open reminder for its second cycle")
}

func remindersTell(t *testing.T, reminders []schema.Reminder) {
	today := summer.Format(time.DateOnly)
	counts := map[string]int{}
	for _, r := range reminders {
		switch {
		case r.DoneMS != 0 && r.DoneCheck != "":
			counts["done by a check"]++
		case r.DoneMS != 0:
			counts["done by a look"]++
		case r.DueDate < today:
			counts["overdue"]++
		default:
			counts["ahead"]++
		}
	}
	if counts["done by a check"] < 4 || counts["done by a look"] < 5 || counts["overdue"] != 1 || counts["ahead"] < 5 {
		t.Errorf("reminders: %v; want some of each and one overdue", counts)
	}
}

func (d loaded) endings(t *testing.T) {
	counts := map[string]int{}
	late := 0
	for _, c := range d.checks {
		counts[c.Check.Status+" "+c.Check.Reason]++
		if c.Check.ProfileEdition == 1 && c.Input.Profile.Window.HighC == 55 {
			late++
		}
	}
	for ending, least := range map[string]int{"not_done too_warm": 1, "not_done slope": 1, "not_done overrun": 1, "not_done interrupted": 1, "provisional ": 2, "final ": 20} {
		if counts[ending] < least {
			t.Errorf("%d checks end as %q, want at least %d", counts[ending], ending, least)
		}
	}
	if late < 5 {
		t.Errorf("%d checks under the edition that was corrected, want several", late)
	}
}

func (d loaded) vehicles(t *testing.T, items []store.Item) {
	autoStop, hybrid := 0, 0
	for _, v := range kind[schema.Vehicle](t, items, "vehicle") {
		if v.AutoStop {
			autoStop++
		}
		if v.Hybrid {
			hybrid++
		}
		if v.Label == "Bakery van 3" && len(d.labels[v.Label]) != 0 {
			t.Errorf("%s has been checked", v.Label)
		} else if v.Label != "Bakery van 3" && len(d.labels[v.Label]) < 2 {
			t.Errorf("%s has %d checks", v.Label, len(d.labels[v.Label]))
		}
		if v.OdometerKM <= 0 || v.WheelbaseMM <= 0 || v.TrackMM <= 0 {
			t.Errorf("%s lacks a figure: %+v", v.Label, v)
		}
	}
	if autoStop != 1 || hybrid != 1 {
		t.Errorf("%d vehicles stop by themselves and %d are hybrids, want one each", autoStop, hybrid)
	}
	for _, p := range kind[schema.Profile](t, items, "profile") {
		if string(p.ID) == profile8L.id && p.Edition != 2 {
			t.Errorf("the 8-speed's profile stands at edition %d", p.Edition)
		}
	}
}

// Loading twice gives the same records with the same numbers.
func TestLoadIsDeterministic(t *testing.T) {
	winter := time.Date(2027, 1, 16, 21, 5, 0, 0, time.UTC)
	a, b := load(t, winter).pulled(t), load(t, winter).pulled(t)
	if len(a) != len(b) {
		t.Fatalf("%d records, then %d", len(a), len(b))
	}
	for i := range a {
		if a[i].Seq != b[i].Seq || a[i].Kind != b[i].Kind || a[i].ID != b[i].ID || !bytes.Equal(a[i].Body, b[i].Body) {
			t.Fatalf("record %d is %s %s, then %s %s", i, a[i].Kind, a[i].Body, b[i].Kind, b[i].Body)
		}
	}
}

// The story comes out whole in any season, and where the vehicle was measured
// as it stands the levels hold the truth.
func TestStoryHoldsInOtherSeasons(t *testing.T) {
	for _, now := range []time.Time{time.Date(2026, 4, 6, 5, 0, 0, 0, time.UTC), time.Date(2028, 10, 29, 0, 30, 0, 0, time.UTC)} {
		st, err := newStory(now)
		if err == nil {
			err = st.work(t.Context())
		}
		if err != nil {
			t.Fatal(err)
		}
		if len(st.told) != len(visits()) {
			t.Errorf("%s: %d visits told, want %d", now.Format(time.DateOnly), len(st.told), len(visits()))
		}
		held, n := 0, 0
		for _, v := range st.told {
			left := v.result.Level.AsLeft
			if left == nil || v.typed || v.status != "final" {
				continue
			}
			n++
			if math.Abs(left.LevelML-v.leftML) <= 2*left.SDML {
				held++
			}
		}
		if n < 10 || held*100 < n*85 {
			t.Errorf("%s: %d of %d levels hold the truth in 2 sd, want 85 %%", now.Format(time.DateOnly), held, n)
		}
	}
}

// A workshop that was begun and not filled is not taken for the demo.
func TestLoadNamesAHalfFilledWorkshop(t *testing.T) {
	s, err := store.Open(t.Context(), t.TempDir(), web.Replay)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if _, err := s.AddWorkshop(t.Context(), workshop, 1); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(t.Context(), s, summer); err == nil || !strings.Contains(err.Error(), "empty data folder") {
		t.Errorf("got %v, want the remedy", err)
	}
}

func TestLoadEndsWithItsContext(t *testing.T) {
	s, err := store.Open(t.Context(), t.TempDir(), web.Replay)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Load(ctx, s, summer); err == nil {
		t.Error("loaded although the context had ended")
	}
}

// Nothing in this package can reach a network.
func TestNoNetwork(t *testing.T) {
	files, err := data.ReadDir("data")
	if err != nil || len(files) == 0 {
		t.Fatalf("no data is built in: %v", err)
	}
	for _, name := range sources(t) {
		f, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.ImportsOnly)
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range f.Imports {
			if path := strings.Trim(i.Path.Value, `"`); path == "net" || strings.HasPrefix(path, "net/") || strings.HasPrefix(path, "os/exec") || path == "syscall" {
				t.Errorf("%s imports %s", name, path)
			}
		}
	}
}
