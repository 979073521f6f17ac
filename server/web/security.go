package web

import (
	"net/http"
	"net/url"
	"strings"

	"github.com/labstack/echo/v4"

	"brimline/schema/fault"
)

// contentPolicy lets the app's own files run and nothing else; 'wasm-unsafe-eval'
// is what compiling WebAssembly needs.
//
// require-trusted-types-for is left out: the screens' framework makes elements
// from its compiled templates through innerHTML, and not every browser we serve
// knows policies; the directive would stop the app instead of an attacker.
const contentPolicy = "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self'; img-src 'self' blob: data:; " +
	"media-src 'self' blob:; connect-src 'self'; worker-src 'self'; manifest-src 'self'; font-src 'self'; " +
	"base-uri 'none'; form-action 'self'; frame-ancestors 'none'; object-src 'none'"

var fixedHeaders = map[string]string{
	"Content-Security-Policy":      contentPolicy,
	"X-Content-Type-Options":       "nosniff",
	"Referrer-Policy":              "no-referrer",
	"Cross-Origin-Opener-Policy":   "same-origin",
	"Cross-Origin-Resource-Policy": "same-origin",
	"Permissions-Policy":           "camera=(self), accelerometer=(self), gyroscope=(self), geolocation=(), microphone=()",
}

// headed puts the security headers on every answer, and no-store on the API's.
func (s *Server) headed(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		h := c.Response().Header()
		for name, value := range fixedHeaders {
			h.Set(name, value)
		}
		if s.set.Secure {
			h.Set("Strict-Transport-Security", "max-age=31536000; includeSubDomains")
		}
		if strings.HasPrefix(c.Request().URL.Path, "/api/") {
			h.Set("Cache-Control", "no-store")
		}
		return next(c)
	}
}

// ownPages refuses a request that another site's page made with our cookie.
// Browsers say where a request comes from in Sec-Fetch-Site; older ones in Origin.
func (s *Server) ownPages(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if !fromOwnPage(c.Request()) {
			return fault.New(fault.Denied, "auth.cross_site", "", "this can only be asked from the app itself")
		}
		return next(c)
	}
}

func fromOwnPage(r *http.Request) bool {
	switch r.Header.Get("Sec-Fetch-Site") {
	case "same-origin", "none":
		return true
	case "":
	default:
		return false
	}
	origin := r.Header.Get("Origin")
	if origin == "" {
		return true // not a browser; it holds no cookie of a victim
	}
	u, err := url.Parse(origin)
	return err == nil && u.Host == r.Host
}
