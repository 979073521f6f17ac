package web_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/getkin/kin-openapi/routers/gorillamux"

	"brimline/api"
	"brimline/schema"
	"brimline/schema/physics/gearbox"
	"brimline/schema/procedure"
	"brimline/schema/procedure/mechanic"
	"brimline/server/auth"
	"brimline/server/store"
	"brimline/server/web"
)

const password = "a long enough password"

// description is api/openapi.yaml, loaded once.
var description = sync.OnceValues(func() (routers.Router, error) {
	doc, err := openapi3.NewLoader().LoadFromData(api.OpenAPI())
	if err != nil {
		return nil, err
	}
	return gorillamux.NewRouter(doc)
})

// who signs in. The two workshops hold records of the same kinds and other ids.
var (
	redMechanic  = caller{"mechanic@red.example", id("b", 1)}
	redLead      = caller{"lead@red.example", id("b", 2)}
	redManager   = caller{"manager@red.example", id("b", 3)}
	redOther     = caller{"mechanic@red.example", id("b", 4)} // the mechanic's second phone
	blueMechanic = caller{"mechanic@blue.example", id("b", 5)}
)

type caller struct{ mail, device string }

// id makes a readable UUID.
func id(kind string, n int) string {
	return fmt.Sprintf("01900000-0000-7000-8000-%s%0*x", kind, 12-len(kind), n)
}

// server is a whole server on a database of its own, with a clock that the test turns.
type server struct {
	t       testing.TB
	store   *store.Store
	handler http.Handler
	setup   procedure.Setup // of workshop red
	mu      sync.Mutex
	now     time.Time
	grants  map[caller]grant
	log     *bytes.Buffer
}

// grant is what a caller holds after signing in.
type grant struct {
	access, refresh string
	person          string
}

func newServer(t testing.TB) *server {
	t.Helper()
	folder := t.TempDir()
	must(t, os.CopyFS(folder, os.DirFS(template)))
	st, err := store.Open(context.Background(), folder, web.Replay)
	must(t, err)
	t.Cleanup(func() { must(t, st.Close()) })
	s := &server{t: t, store: st, now: begun, grants: map[caller]grant{}, log: &bytes.Buffer{}}
	a, err := auth.New(st, folder, s.clock)
	must(t, err)
	s.handler, err = web.New(st, a, web.Settings{App: builtApp(), Log: slog.New(slog.NewJSONHandler(s.log, nil)), Clock: s.clock})
	must(t, err)
	s.setup, err = setupOf(1)
	must(t, err)
	return s
}

// builtApp stands for the built web app; the real one takes Node to build.
func builtApp() fstest.MapFS {
	return fstest.MapFS{
		"index.html": {Data: []byte("<!doctype html><title>app</title>")}, "index.html.br": {Data: []byte("brotli")},
		"sw.js": {Data: []byte("self.skipWaiting")}, "assets/app-1a2b.js": {Data: []byte("let app = 1")},
		"assets/app-1a2b.js.br": {Data: []byte("b")}, "assets/app-1a2b.js.gz": {Data: []byte("g")},
	}
}

func (s *server) clock() time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.now
}

func (s *server) pass(d time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.now = s.now.Add(d)
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// begun is when the tests' clocks begin.
var begun = time.UnixMilli(1_780_000_000_000)

// template is a data folder with both workshops in it, made once by TestMain;
// each test gets a copy.
var template string

func TestMain(m *testing.M) {
	code, err := withTemplate(m)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		code = 1
	}
	os.Exit(code)
}

func withTemplate(m *testing.M) (code int, err error) {
	if template, err = os.MkdirTemp("", "brimline-web-"); err != nil {
		return 0, err
	}
	defer os.RemoveAll(template)
	st, err := store.Open(context.Background(), template, web.Replay)
	if err != nil {
		return 0, err
	}
	hash, err := auth.HashPassword(password)
	if err = errors.Join(err, fill(st, "red", 1, hash), fill(st, "blue", 2, hash), st.Close()); err != nil {
		return 0, err
	}
	return m.Run(), nil
}

// fill makes workshop n with its people and the records of setupOf.
func fill(st *store.Store, name string, n int, hash string) error {
	ctx, nowMS := context.Background(), begun.UnixMilli()-1000
	tenant, err := st.AddWorkshop(ctx, schema.Workshop{ID: schema.WorkshopID(id("a", n)), Name: name, TimeZone: "Europe/Berlin"}, nowMS)
	for i, role := range []schema.Role{schema.Mechanic, schema.Lead, schema.Manager} {
		p := schema.Person{ID: schema.PersonID(id("c", n*16+i)), Name: string(role) + " of " + name, Role: role}
		err = errors.Join(err, st.AddPerson(ctx, tenant, p, string(role)+"@"+name+".example", hash, nowMS))
	}
	set, setErr := setupOf(n)
	err = errors.Join(err, setErr, st.PutProfile(ctx, tenant, set.Profile, nowMS), st.PutUnit(ctx, tenant, set.Unit), st.PutVehicle(ctx, tenant, set.Vehicle))
	for _, c := range set.Cautions {
		err = errors.Join(err, st.PutCaution(ctx, tenant, c, nowMS))
	}
	return err
}

func demoData[T any](name string) (v T, err error) {
	raw, err := os.ReadFile(filepath.Join("..", "demo", "data", name))
	if err == nil {
		err = json.Unmarshal(raw, &v)
	}
	return v, err
}

// setupOf is the vehicle of workshop n with all that belongs to it.
func setupOf(n int) (procedure.Setup, error) {
	p, err := demoData[schema.Profile]("profile-8l.json")
	cautions, cautionsErr := demoData[[]schema.Caution]("cautions.json")
	return procedure.Setup{Profile: p, Cautions: cautions,
		Vehicle: schema.Vehicle{ID: schema.VehicleID(id("d", n)), Label: "Van", UnitID: schema.UnitID(id("e", n)), WheelbaseMM: 2900, TrackMM: 1600},
		Unit:    schema.Unit{ID: schema.UnitID(id("e", n)), Label: "Unit", Description: p.Name, ProfileID: p.ID, Warmer: "unknown"}}, errors.Join(err, cautionsErr)
}

// request is one request; who == nil asks as nobody.
type request struct {
	method, path string
	body         any // string or []byte goes as it is
	who          *caller
	cookie       string
	header       map[string]string
}

// do sends a request and checks the answer against the interface's description.
func (s *server) do(r request) *httptest.ResponseRecorder {
	s.t.Helper()
	var body io.Reader
	switch b := r.body.(type) {
	case nil:
	case string:
		body = strings.NewReader(b)
	case []byte:
		body = bytes.NewReader(b)
	default:
		raw, err := json.Marshal(b)
		must(s.t, err)
		body = bytes.NewReader(raw)
	}
	req := httptest.NewRequest(r.method, "http://brimline.example"+r.path, body)
	if body != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	if r.who != nil {
		req.Header.Set("Authorization", "Bearer "+s.signIn(*r.who).access)
	}
	if r.cookie != "" {
		req.Header.Set("Cookie", "rt="+r.cookie)
	}
	for name, value := range r.header {
		req.Header.Set(name, value)
	}
	rec := httptest.NewRecorder()
	s.handler.ServeHTTP(rec, req)
	s.described(req, rec)
	return rec
}

// described fails the test if an answer of the API is not as api/openapi.yaml says.
func (s *server) described(req *http.Request, rec *httptest.ResponseRecorder) {
	s.t.Helper()
	if !strings.HasPrefix(req.URL.Path, "/api/") || rec.Header().Get("Content-Encoding") != "" {
		return
	}
	router, err := description()
	must(s.t, err)
	route, path, err := router.FindRoute(req)
	if err != nil { // not in the description: then it must not exist
		if rec.Code != http.StatusNotFound && rec.Code != http.StatusMethodNotAllowed {
			s.t.Errorf("%s %s is answered with %d and not described", req.Method, req.URL.Path, rec.Code)
		}
		return
	}
	in := &openapi3filter.ResponseValidationInput{
		RequestValidationInput: &openapi3filter.RequestValidationInput{Request: req, PathParams: path, Route: route},
		Status:                 rec.Code, Header: rec.Header(), Options: &openapi3filter.Options{IncludeResponseStatus: true},
	}
	in.SetBodyBytes(rec.Body.Bytes())
	if err := openapi3filter.ValidateResponse(req.Context(), in); err != nil {
		s.t.Errorf("%s %s: answer differs from openapi.yaml: %v", req.Method, req.URL.Path, err)
	}
}

// signIn signs a caller in once.
func (s *server) signIn(who caller) grant {
	s.t.Helper()
	if g, ok := s.grants[who]; ok {
		return g
	}
	g, rec := s.trySignIn(who, password)
	if rec.Code != http.StatusOK {
		s.t.Fatalf("sign in as %s: %d %s", who.mail, rec.Code, rec.Body)
	}
	s.grants[who] = g
	return g
}

func (s *server) trySignIn(who caller, password string) (grant, *httptest.ResponseRecorder) {
	s.t.Helper()
	rec := s.do(request{method: "POST", path: "/api/v1/session", body: map[string]string{
		"email": who.mail, "password": password, "device_id": who.device, "device_name": "phone"}})
	return grantOf(s.t, rec), rec
}

func grantOf(t testing.TB, rec *httptest.ResponseRecorder) grant {
	t.Helper()
	if rec.Code != http.StatusOK {
		return grant{}
	}
	g := grant{}
	for _, c := range rec.Result().Cookies() {
		if c.Name == "rt" {
			g.refresh = c.Value
		}
	}
	in := read[api.Session](t, rec)
	g.access, g.person = in.AccessToken, string(in.Person.ID)
	return g
}

func read[T any](t testing.TB, rec *httptest.ResponseRecorder) T {
	t.Helper()
	var v T
	if err := json.Unmarshal(rec.Body.Bytes(), &v); err != nil {
		t.Fatalf("read answer %d %q: %v", rec.Code, rec.Body, err)
	}
	return v
}

// code returns the code of a problem, or "".
func code(t testing.TB, rec *httptest.ResponseRecorder) string {
	t.Helper()
	if rec.Code < 400 {
		return ""
	}
	return read[api.Problem](t, rec).Code
}

// phone makes changes as one caller's phone does.
type phone struct {
	s    *server
	who  caller
	dseq int64
}

func (p *phone) change(changeID, kind string, body any) api.Change {
	raw, err := json.Marshal(body)
	must(p.s.t, err)
	p.dseq++
	return api.Change{ID: changeID, Dseq: p.dseq, Kind: kind, V: 1, Body: raw}
}

// events makes the changes of a log; each has its event's id.
func (p *phone) events(log []schema.Event) []api.Change {
	changes := make([]api.Change, len(log))
	for i, e := range log {
		changes[i] = p.change(string(e.ID), "event", e)
	}
	return changes
}

func (p *phone) push(changes ...api.Change) []api.Result {
	p.s.t.Helper()
	raws := make([]json.RawMessage, len(changes))
	for i, c := range changes {
		raw, err := json.Marshal(c)
		must(p.s.t, err)
		raws[i] = raw
	}
	return p.pushRaw(raws...)
}

func (p *phone) pushRaw(changes ...json.RawMessage) []api.Result {
	p.s.t.Helper()
	rec := p.s.do(request{method: "POST", path: "/api/v1/sync/push", who: &p.who, body: envelope(p.who, changes)})
	if rec.Code != http.StatusOK {
		p.s.t.Fatalf("push: %d %s", rec.Code, rec.Body)
	}
	results := read[api.PushAnswer](p.s.t, rec).Results
	if len(results) != len(changes) {
		p.s.t.Fatalf("push of %d changes has %d results", len(changes), len(results))
	}
	return results
}

func envelope(who caller, changes []json.RawMessage) api.Push {
	return api.Push{Proto: 1, App: "test", Device: who.device, SentWallMS: 1_780_000_000_000, Changes: changes}
}

// check works a whole check through with the simulated mechanic and returns its log.
func (s *server) check(n int, who caller) []schema.Event {
	s.t.Helper()
	return checkOf(s.t, s.setup, n, s.signIn(who).person, who.device)
}

func checkOf(t testing.TB, set procedure.Setup, n int, person, device string) []schema.Event {
	t.Helper()
	population := gearbox.Base()
	population.AmbientHighC = 24
	g := gearbox.Draw(uint64(n), population)
	p := set.Profile
	g.ReferenceC = (p.Window.LowC + p.Window.HighC) / 2
	g.ActiveML, g.FreeSurfaceCM2, g.DropUL = p.Fluid.ActiveML, p.Attitude.FreeSurfaceCM2, p.Plug.DropUL
	g.PlugAheadMM, g.PlugRightMM = p.Plug.AheadMM, p.Plug.RightMM
	made := 0
	m := &mechanic.Mechanic{Setup: set, Gearbox: g, CheckID: schema.CheckID(id("f", n)), WallMS: 1_780_000_000_000, WalkS: 15, Unit: "C",
		NewID: func() string { made++; return id("1", n<<16+made) },
		Start: procedure.Started{VehicleID: set.Vehicle.ID, UnitID: set.Unit.ID, ProfileID: p.ID, ProfileEdition: p.Edition,
			PersonID: schema.PersonID(person), DeviceID: schema.DeviceID(device), Reason: "level_check", Circuit: "untouched", Cycle: 1,
			UTCOffsetMin: 120, Warmer: "unknown", Raised: true}}
	log, _, _, err := m.Work()
	must(t, err)
	return log
}

// pullAll pages through everything.
func (s *server) pullAll(who caller, limit int) (items []api.Item, cursor string) {
	s.t.Helper()
	for pages := 0; ; pages++ {
		if pages > 10_000 {
			s.t.Fatal("pull does not come to an end")
		}
		rec := s.do(request{method: "GET", path: fmt.Sprintf("/api/v1/sync/pull?cursor=%s&limit=%d", cursor, limit), who: &who})
		if rec.Code != http.StatusOK {
			s.t.Fatalf("pull: %d %s", rec.Code, rec.Body)
		}
		page := read[api.PullPage](s.t, rec)
		items, cursor = append(items, page.Items...), page.Next
		if !page.More {
			return items, cursor
		}
	}
}
