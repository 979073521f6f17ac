package web

import (
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"

	"brimline/schema/fault"
	"brimline/server/store"
)

// access says who may call a route.
type access int

const (
	anyone   access = iota
	sameSite        // uses the cookie: our own pages alone
	signedIn        // needs an access token
)

// route is one line of the contents page.
type route struct {
	method, path string
	access       access
	handle       echo.HandlerFunc
}

// routes is everything the server answers, as it stands in api/openapi.yaml.
// What is not in it is the web app.
func (s *Server) routes() []route {
	return []route{
		{http.MethodPost, "/api/v1/session", sameSite, s.signIn},
		{http.MethodPost, "/api/v1/session/refresh", sameSite, s.refresh},
		{http.MethodDelete, "/api/v1/session", sameSite, s.signOut},

		{http.MethodPost, "/api/v1/sync/push", signedIn, s.push},
		{http.MethodGet, "/api/v1/sync/pull", signedIn, s.pull},

		{http.MethodGet, "/api/v1/checks", signedIn, s.checks},
		{http.MethodGet, "/api/v1/checks/:id", signedIn, s.check},

		{http.MethodGet, "/api/v1/openapi.yaml", anyone, s.openapi},
		{http.MethodGet, "/api/v1/health", anyone, s.health},
	}
}

func (s *Server) register() {
	// Answers hold no secret beside text a stranger can choose, so compressing them is safe.
	squeezed := middleware.GzipWithConfig(middleware.GzipConfig{Level: 5, MinLength: 1400})
	for _, r := range s.routes() {
		var before []echo.MiddlewareFunc
		switch r.access {
		case sameSite:
			before = append(before, s.ownPages)
		case signedIn:
			before = append(before, s.verified, squeezed)
		}
		s.echo.Add(r.method, r.path, r.handle, before...)
	}
	s.echo.GET("/*", s.serveApp)
	s.echo.HEAD("/*", s.serveApp)
}

// tenantKey is where verified leaves the tenant.
const tenantKey = "tenant"

// verified lets a request through that brings a good access token.
func (s *Server) verified(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		t, err := s.auth.Verify(c.Request().Context(), bearer(c.Request()))
		if err != nil {
			return err
		}
		c.Set(tenantKey, t)
		return next(c)
	}
}

func bearer(r *http.Request) string {
	scheme, token, _ := strings.Cut(r.Header.Get("Authorization"), " ")
	if !strings.EqualFold(scheme, "bearer") {
		return ""
	}
	return strings.TrimSpace(token)
}

// tenant returns who is signed in. Without verified before it there is nobody.
func tenant(c echo.Context) (store.Tenant, error) {
	t, ok := c.Get(tenantKey).(store.Tenant)
	if !ok {
		return store.Tenant{}, fault.New(fault.Denied, "auth.missing", "", "sign in first")
	}
	return t, nil
}
