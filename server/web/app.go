package web

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"brimline/schema/fault"
)

// mediaTypes are the kinds of file the web app has. What the machine's own
// table says would differ from machine to machine.
var mediaTypes = map[string]string{
	".html": "text/html; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".css": "text/css; charset=utf-8",
	".json": "application/json", ".webmanifest": "application/manifest+json", ".wasm": "application/wasm", ".svg": "image/svg+xml",
	".png": "image/png", ".ico": "image/vnd.microsoft.icon", ".woff2": "font/woff2", ".txt": "text/plain; charset=utf-8",
	".mp4": "video/mp4", ".webm": "video/webm",
}

// assetFolder holds files whose name carries their hash: they never change.
const assetFolder = "assets/"

// file is one file of the web app, ready to be sent.
type file struct {
	mediaType string
	forms     []form // the smallest first
}

// form is a file in one encoding.
type form struct {
	encoding string // br, gzip or "" for as it is
	bytes    []byte
	etag     string
}

// app is the built web app in memory: it is part of the program anyway.
type app struct{ files map[string]file }

// loadApp reads the web app. A checkout where it has not been built has none.
func loadApp(from fs.FS) (*app, error) {
	a := &app{files: map[string]file{}}
	if from == nil {
		return a, nil
	}
	if _, err := fs.Stat(from, "."); err != nil {
		return a, nil
	}
	err := fs.WalkDir(from, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.HasSuffix(name, ".br") || strings.HasSuffix(name, ".gz") {
			return err
		}
		f := file{mediaType: mediaTypes[path.Ext(name)]}
		if f.mediaType == "" {
			f.mediaType = "application/octet-stream"
		}
		for _, e := range []struct{ encoding, suffix string }{{"br", ".br"}, {"gzip", ".gz"}, {"", ""}} {
			raw, err := fs.ReadFile(from, name+e.suffix)
			if err != nil {
				if e.suffix == "" {
					return err
				}
				continue // this form was not made
			}
			sum := sha256.Sum256(raw)
			f.forms = append(f.forms, form{e.encoding, raw, `"` + hex.EncodeToString(sum[:12]) + `"`})
		}
		a.files[name] = f
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read web app: %w", err)
	}
	return a, nil
}

// serveApp answers everything that is not the API: a file of the web app, or
// its first page for an address that one of its screens has.
func (s *Server) serveApp(c echo.Context) error {
	at := c.Request().URL.Path
	if strings.HasPrefix(at, "/api/") {
		return errNotFound
	}
	name := strings.TrimPrefix(path.Clean("/"+at), "/")
	f, known := s.app.files[name]
	if !known && path.Ext(name) == "" { // a screen's address, or "/"
		name = "index.html"
		if f, known = s.app.files[name]; !known {
			return fault.New(fault.NotFound, "app.missing", "", "the web app has not been built into this server; run: go run ./server/dev demo")
		}
	}
	if !known {
		return errNotFound
	}
	h := c.Response().Header()
	h.Set("Cache-Control", "no-cache")
	if strings.HasPrefix(name, assetFolder) {
		h.Set("Cache-Control", "public, max-age=31536000, immutable")
	}
	h.Add("Vary", "Accept-Encoding")
	chosen := f.choose(c.Request().Header.Get("Accept-Encoding"))
	if chosen.encoding != "" {
		h.Set("Content-Encoding", chosen.encoding)
	}
	h.Set("Content-Type", f.mediaType)
	h.Set("ETag", chosen.etag)
	http.ServeContent(c.Response(), c.Request(), "", time.Time{}, bytes.NewReader(chosen.bytes))
	return nil
}

// choose returns the smallest form that the header allows. The last form is
// the file as it is, which everybody can read.
func (f file) choose(header string) form {
	accepted := map[string]bool{}
	for _, part := range strings.Split(header, ",") {
		coding, parameters, err := mime.ParseMediaType(strings.TrimSpace(part))
		if err != nil {
			continue
		}
		quality := 1.0
		if q, given := parameters["q"]; given {
			if quality, err = strconv.ParseFloat(q, 64); err != nil {
				continue
			}
		}
		accepted[coding] = quality > 0
	}
	for _, form := range f.forms {
		if form.encoding == "" || accepted[form.encoding] {
			return form
		}
	}
	return f.forms[len(f.forms)-1]
}
