// Package web is the server's front door: it reads requests, asks the store and
// package auth, and writes answers.
//
// Handlers hold no rules of the trade and no SQL. Shape is checked here, by the
// tags of package api; meaning by schema and procedure; state by the store.
// Nothing outside this package knows echo.
package web

import (
	"io/fs"
	"log/slog"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"brimline/server/auth"
	"brimline/server/store"
)

// Settings are what a server needs to know of the world around it.
type Settings struct {
	Secure bool             // the public address is https
	App    fs.FS            // the built web app, rooted at index.html
	Log    *slog.Logger     // no personal data goes in
	Clock  func() time.Time // the calendar
}

// Server answers requests. It is safe for concurrent use.
type Server struct {
	store  *store.Store
	auth   *auth.Auth
	set    Settings
	app    *app
	reader *reader
	echo   *echo.Echo
}

// New returns a server over a store.
func New(s *store.Store, a *auth.Auth, set Settings) (*Server, error) {
	files, err := loadApp(set.App)
	if err != nil {
		return nil, err
	}
	w := &Server{store: s, auth: a, set: set, app: files, reader: newReader(), echo: echo.New()}
	e := w.echo
	e.HideBanner, e.HidePort = true, true
	e.Logger.SetOutput(discard{}) // the request log below is the only one
	e.HTTPErrorHandler = w.onError
	e.IPExtractor = echo.ExtractIPDirect() // headers that name an address can be made up by anybody
	e.Use(w.logged, w.recovered, w.headed)
	w.register()
	return w, nil
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.echo.ServeHTTP(w, r) }

// Routes lists what the router holds, each as "METHOD /path".
func (s *Server) Routes() []string {
	var list []string
	for _, r := range s.echo.Routes() {
		list = append(list, r.Method+" "+r.Path)
	}
	return list
}

type discard struct{}

func (discard) Write(p []byte) (int, error) { return len(p), nil }
