package web_test

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"brimline/api"
	"brimline/schema"
)

func (s *server) refresh(cookie string) *httptest.ResponseRecorder {
	s.t.Helper()
	return s.do(request{method: "POST", path: "/api/v1/session/refresh", cookie: cookie})
}

// works reports whether an access token is taken.
func (s *server) works(access string) (int, string) {
	s.t.Helper()
	rec := s.do(request{method: "GET", path: "/api/v1/checks", header: map[string]string{"Authorization": "Bearer " + access}})
	return rec.Code, code(s.t, rec)
}

func (s *server) wantWorks(access string, status int, wantCode string) {
	s.t.Helper()
	if got, gotCode := s.works(access); got != status || gotCode != wantCode {
		s.t.Errorf("access token is answered %d %q, want %d %q", got, gotCode, status, wantCode)
	}
}

func TestSignIn(t *testing.T) {
	s := newServer(t)
	g, rec := s.trySignIn(redMechanic, password)
	in := read[api.Session](t, rec)
	if in.Person.Role != schema.Mechanic || in.Workshop.Name != "red" || string(in.DeviceID) != redMechanic.device || in.ExpiresInS != 600 {
		t.Errorf("session = %+v", in)
	}
	cookie := rec.Header().Get("Set-Cookie")
	for _, want := range []string{"rt=", "HttpOnly", "SameSite=Strict", "Path=/"} {
		if !strings.Contains(cookie, want) {
			t.Errorf("cookie %q lacks %s", cookie, want)
		}
	}
	if strings.Contains(rec.Body.String(), g.refresh) {
		t.Error("the refresh token is in the body, where a script can read it")
	}
	s.wantWorks(g.access, 200, "")

	_, wrong := s.trySignIn(redMechanic, "another password")
	_, unknown := s.trySignIn(caller{"nobody@red.example", id("b", 1)}, password)
	if wrong.Code != 401 || wrong.Body.String() != unknown.Body.String() || code(t, wrong) != "auth.wrong" {
		t.Errorf("wrong password: %d %s; unknown mail: %d %s; want both 401 auth.wrong", wrong.Code, wrong.Body, unknown.Code, unknown.Body)
	}
	folded, _ := s.trySignIn(caller{" Mechanic@RED.example ", redMechanic.device}, password)
	s.wantWorks(folded.access, 200, "")
	_, noDevice := s.trySignIn(caller{redMechanic.mail, "phone"}, password)
	if p := read[api.Problem](t, noDevice); noDevice.Code != 400 || p.Code != "field.uuid" || p.Field != "device_id" {
		t.Errorf("no device: %d %s", noDevice.Code, noDevice.Body)
	}
	for _, secret := range []string{redMechanic.mail, password, g.access, g.refresh, g.person} {
		if strings.Contains(s.log.String(), secret) {
			t.Errorf("the log holds %q", secret)
		}
	}
}

func TestSignInIsLimited(t *testing.T) {
	s := newServer(t)
	for range 10 {
		s.trySignIn(redMechanic, "wrong password")
	}
	_, rec := s.trySignIn(redMechanic, password)
	if rec.Code != 429 || code(t, rec) != "auth.slow" || rec.Header().Get("Retry-After") == "" {
		t.Errorf("after 10 failures: %d %s", rec.Code, rec.Body)
	}
	if _, other := s.trySignIn(redLead, password); other.Code != 200 {
		t.Errorf("another person is kept out too: %d %s", other.Code, other.Body)
	}
	s.pass(31 * time.Second)
	if _, rec := s.trySignIn(redMechanic, password); rec.Code != 200 {
		t.Errorf("half a minute later: %d %s", rec.Code, rec.Body)
	}
}

func TestAccessTokenEnds(t *testing.T) {
	s := newServer(t)
	g := s.signIn(redMechanic)
	s.pass(10*time.Minute + 30*time.Second) // within the leeway
	s.wantWorks(g.access, 200, "")
	s.pass(time.Minute)
	s.wantWorks(g.access, 401, "auth.expired")
	next := grantOf(t, s.refresh(g.refresh))
	s.wantWorks(next.access, 200, "")

	head, rest, _ := strings.Cut(next.access, ".")
	body, signature, _ := strings.Cut(rest, ".")
	for name, token := range map[string]string{
		"nothing":             "x",
		"no signature":        head + "." + body + ".",
		"another signature":   head + "." + body + "." + strings.Repeat("A", len(signature)),
		"algorithm none":      "eyJhbGciOiJub25lIiwidHlwIjoiYXQrand0In0." + body + ".",
		"trailing characters": next.access + "=",
		"the refresh token":   next.refresh,
		"very long":           strings.Repeat("a.", 5000),
	} {
		t.Run(name, func(t *testing.T) { s.wantWorks(token, 401, "auth.invalid") })
	}
}

// TestRefreshSurvivesLostAnswers asks again with the token it still has, as a
// phone does whose answer did not arrive.
func TestRefreshSurvivesLostAnswers(t *testing.T) {
	s := newServer(t)
	first := s.signIn(redMechanic)
	lost := grantOf(t, s.refresh(first.refresh))
	lostToo := grantOf(t, s.refresh(first.refresh))
	arrived := grantOf(t, s.refresh(first.refresh))
	if lost.refresh == "" || lost.refresh == arrived.refresh || lostToo.refresh == arrived.refresh {
		t.Fatal("asking again gives no successor of its own")
	}
	next := grantOf(t, s.refresh(arrived.refresh))
	s.wantWorks(next.access, 200, "")
	for i := range 20 { // and so for a long time
		next = grantOf(t, s.refresh(next.refresh))
		if next.refresh == "" {
			t.Fatalf("refresh %d was refused", i)
		}
	}
}

// TestSpentTokenEndsTheSession presents a token whose successor was used: two
// parties hold it, and neither may go on.
func TestSpentTokenEndsTheSession(t *testing.T) {
	for name, spent := range map[string]func(tokens [4]string, lost string) string{
		"the first":                     func(tokens [4]string, _ string) string { return tokens[0] },
		"the one before the last":       func(tokens [4]string, _ string) string { return tokens[1] },
		"a lost sibling of a used one":  func(_ [4]string, lost string) string { return lost },
		"one whose successor is unused": nil,
	} {
		t.Run(name, func(t *testing.T) {
			s := newServer(t)
			var tokens [4]string
			tokens[0] = s.signIn(redMechanic).refresh
			lost := grantOf(t, s.refresh(tokens[0])).refresh
			tokens[1] = grantOf(t, s.refresh(tokens[0])).refresh
			tokens[2] = grantOf(t, s.refresh(tokens[1])).refresh
			newest := grantOf(t, s.refresh(tokens[2]))
			if spent == nil {
				if rec := s.refresh(tokens[2]); rec.Code != 200 {
					t.Errorf("an unspent token is refused: %d %s", rec.Code, rec.Body)
				}
				s.wantWorks(newest.access, 200, "")
				return
			}
			rec := s.refresh(spent(tokens, lost))
			if rec.Code != 401 || code(t, rec) != "session_revoked" {
				t.Errorf("spent token: %d %s, want 401 session_revoked", rec.Code, rec.Body)
			}
			if rec := s.refresh(newest.refresh); code(t, rec) != "session_revoked" {
				t.Errorf("newest token of an ended session: %d %s", rec.Code, rec.Body)
			}
			s.wantWorks(newest.access, 401, "session_revoked")
		})
	}
}

func TestSessionsEnd(t *testing.T) {
	s := newServer(t)
	if rec := s.refresh(""); rec.Code != 401 || code(t, rec) != "auth.missing" {
		t.Errorf("no cookie: %d %s", rec.Code, rec.Body)
	}
	if rec := s.refresh("made-up"); code(t, rec) != "session_revoked" {
		t.Errorf("made-up cookie: %d %s", rec.Code, rec.Body)
	}

	g, _ := s.trySignIn(redMechanic, password)
	s.pass(91 * 24 * time.Hour)
	if rec := s.refresh(g.refresh); code(t, rec) != "session_revoked" {
		t.Errorf("unused for 91 days: %d %s", rec.Code, rec.Body)
	}
	g, _ = s.trySignIn(redMechanic, password)
	for range 3 {
		s.pass(60*24*time.Hour - time.Minute)
		g = grantOf(t, s.refresh(g.refresh))
	}
	s.pass(time.Hour)
	if rec := s.refresh(g.refresh); code(t, rec) != "session_revoked" {
		t.Errorf("used for 180 days: %d %s", rec.Code, rec.Body)
	}

	for name, r := range map[string]func(grant) request{
		"by cookie": func(g grant) request { return request{cookie: g.refresh} },
		"by access token": func(g grant) request {
			return request{header: map[string]string{"Authorization": "Bearer " + g.access}}
		},
	} {
		t.Run("sign out "+name, func(t *testing.T) {
			g, _ := s.trySignIn(redMechanic, password)
			out := r(g)
			out.method, out.path = "DELETE", "/api/v1/session"
			for range 2 { // again is no error
				if rec := s.do(out); rec.Code != 204 || !strings.Contains(rec.Header().Get("Set-Cookie"), "Max-Age=0") {
					t.Errorf("sign out: %d %s %q", rec.Code, rec.Body, rec.Header().Get("Set-Cookie"))
				}
			}
			s.wantWorks(g.access, 401, "session_revoked")
			if rec := s.refresh(g.refresh); code(t, rec) != "session_revoked" {
				t.Errorf("refresh after sign-out: %d %s", rec.Code, rec.Body)
			}
		})
	}
}

func TestRightsEndAtOnce(t *testing.T) {
	s := newServer(t)
	_, tenant, err := s.store.FindWorkshop(t.Context(), "red")
	must(t, err)
	mechanic, lead := s.signIn(redMechanic), s.signIn(redLead)
	must(t, s.store.RevokeDevice(t.Context(), tenant, schema.DeviceID(redMechanic.device), s.clock().UnixMilli()))
	s.wantWorks(mechanic.access, 401, "session_revoked")
	if _, rec := s.trySignIn(redMechanic, password); code(t, rec) != "session_revoked" {
		t.Errorf("sign in on a lost phone: %d %s", rec.Code, rec.Body)
	}
	if _, rec := s.trySignIn(redOther, password); rec.Code != 200 {
		t.Errorf("sign in on another phone: %d %s", rec.Code, rec.Body)
	}
	must(t, s.store.DisablePerson(t.Context(), tenant, schema.PersonID(lead.person), s.clock().UnixMilli()))
	s.wantWorks(lead.access, 401, "session_revoked")
	if rec := s.refresh(lead.refresh); code(t, rec) != "session_revoked" {
		t.Errorf("refresh of a person who left: %d %s", rec.Code, rec.Body)
	}
	if _, rec := s.trySignIn(redLead, password); code(t, rec) != "auth.wrong" {
		t.Errorf("sign in of a person who left: %d %s", rec.Code, rec.Body)
	}
}

func TestOtherSitesAreRefused(t *testing.T) {
	s := newServer(t)
	g := s.signIn(redMechanic)
	tests := []struct {
		name   string
		header map[string]string
		status int
	}{
		{"our own page", map[string]string{"Sec-Fetch-Site": "same-origin"}, 200},
		{"another site", map[string]string{"Sec-Fetch-Site": "cross-site"}, 403},
		{"another host of ours", map[string]string{"Sec-Fetch-Site": "same-site"}, 403},
		{"an older browser, our page", map[string]string{"Origin": "http://brimline.example"}, 200},
		{"an older browser, another site", map[string]string{"Origin": "http://other.example"}, 403},
		{"an older browser, a sandboxed page", map[string]string{"Origin": "null"}, 403},
		{"no browser", nil, 200},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			rec := s.do(request{method: "POST", path: "/api/v1/session/refresh", cookie: g.refresh, header: tt.header})
			if rec.Code != tt.status {
				t.Errorf("refresh: %d %s, want %d", rec.Code, rec.Body, tt.status)
			}
			if rec.Code == http.StatusOK {
				g = grantOf(t, rec)
			}
		})
	}
}
