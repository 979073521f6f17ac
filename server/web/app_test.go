package web_test

import (
	"compress/gzip"
	"io"
	"net/http/httptest"
	"strings"
	"testing"

	"brimline/server/auth"
	"brimline/server/web"
	"log/slog"
)

func TestWebApp(t *testing.T) {
	s := newServer(t)
	const page, immutable = "<!doctype html><title>app</title>", "public, max-age=31536000, immutable"
	tests := []struct {
		path, accept   string
		status         int
		body, encoding string
		cache          string
	}{
		{"/", "", 200, page, "", "no-cache"},
		{"/", "gzip, deflate, br", 200, "brotli", "br", "no-cache"},
		{"/index.html", "", 200, page, "", "no-cache"},
		{"/check/017f22e2", "", 200, page, "", "no-cache"},
		{"/sw.js", "br", 200, "self.skipWaiting", "", "no-cache"},
		{"/assets/app-1a2b.js", "gzip, br", 200, "b", "br", immutable},
		{"/assets/app-1a2b.js", "gzip, br;q=0", 200, "g", "gzip", immutable},
		{"/assets/app-1a2b.js", "br;q=x", 200, "let app = 1", "", immutable},
		{"/assets/app-0000.js", "", 404, "", "", "no-cache"},
		{"/assets/app-1a2b.js.br", "", 404, "", "", ""},
		{"/../../etc/passwd", "", 200, page, "", "no-cache"}, // only names in the app exist
		{"/..%2f..%2fgo.mod", "", 404, "", "", ""},
		{"/api/v2/x", "", 404, "", "", "no-store"},
	}
	for _, tt := range tests {
		t.Run(tt.path+" "+tt.accept, func(t *testing.T) {
			rec := s.do(request{method: "GET", path: tt.path, header: map[string]string{"Accept-Encoding": tt.accept}})
			if rec.Code != tt.status {
				t.Fatalf("status = %d, want %d: %s", rec.Code, tt.status, rec.Body)
			}
			if tt.status != 200 {
				if got := code(t, rec); got != "not_found" {
					t.Errorf("code = %q", got)
				}
				return
			}
			if got := rec.Body.String(); got != tt.body {
				t.Errorf("body = %q, want %q", got, tt.body)
			}
			if got := rec.Header().Get("Content-Encoding"); got != tt.encoding {
				t.Errorf("encoding = %q, want %q", got, tt.encoding)
			}
			if got := rec.Header().Get("Cache-Control"); got != tt.cache {
				t.Errorf("cache = %q, want %q", got, tt.cache)
			}
			if csp := rec.Header().Get("Content-Security-Policy"); !strings.Contains(csp, "default-src 'none'") || !strings.Contains(csp, "'wasm-unsafe-eval'") {
				t.Errorf("policy = %q", csp)
			}
			again := s.do(request{method: "GET", path: tt.path, header: map[string]string{"Accept-Encoding": tt.accept, "If-None-Match": rec.Header().Get("ETag")}})
			if again.Code != 304 {
				t.Errorf("asked again: %d, want 304", again.Code)
			}
		})
	}
	if rec := s.do(request{method: "HEAD", path: "/"}); rec.Code != 200 || rec.Body.Len() != 0 {
		t.Errorf("HEAD: %d with %d bytes", rec.Code, rec.Body.Len())
	}
	if rec := s.do(request{method: "POST", path: "/", body: "{}"}); rec.Code != 405 {
		t.Errorf("POST /: %d, want 405", rec.Code)
	}
}

func TestAppNotBuilt(t *testing.T) {
	s := newServer(t)
	a, err := auth.New(s.store, t.TempDir(), s.clock)
	must(t, err)
	bare, err := web.New(s.store, a, web.Settings{Log: slog.New(slog.DiscardHandler), Clock: s.clock})
	must(t, err)
	rec := httptest.NewRecorder()
	bare.ServeHTTP(rec, httptest.NewRequest("GET", "/", nil))
	if rec.Code != 404 || code(t, rec) != "app.missing" {
		t.Errorf("answer = %d %s", rec.Code, rec.Body)
	}
}

// TestLongAnswersAreSmall reads a compressed pull back.
func TestLongAnswersAreSmall(t *testing.T) {
	s := newServer(t)
	plain := s.do(request{method: "GET", path: "/api/v1/sync/pull", who: &redMechanic})
	small := s.do(request{method: "GET", path: "/api/v1/sync/pull", who: &redMechanic, header: map[string]string{"Accept-Encoding": "gzip"}})
	if small.Header().Get("Content-Encoding") != "gzip" || small.Body.Len()*2 > plain.Body.Len() {
		t.Fatalf("compressed %d bytes to %d, encoding %q", plain.Body.Len(), small.Body.Len(), small.Header().Get("Content-Encoding"))
	}
	reader, err := gzip.NewReader(small.Body)
	must(t, err)
	got, err := io.ReadAll(reader)
	must(t, err)
	if string(got) != plain.Body.String() {
		t.Error("the compressed answer says something else")
	}
	refused := s.do(request{method: "GET", path: "/api/v1/sync/pull?cursor=x", who: &redMechanic, header: map[string]string{"Accept-Encoding": "gzip"}})
	if refused.Code != 400 || code(t, refused) != "cursor.form" {
		t.Errorf("refused: %d %s", refused.Code, refused.Body)
	}
}
