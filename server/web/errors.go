package web

import (
	"encoding/json"
	"errors"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"brimline/api"
	"brimline/schema/fault"
)

// retryAfterS is what a phone is told to wait where nothing better is known.
const retryAfterS = 30

// statusOfKind is the HTTP status of a fault, unless its code has one of its own.
var statusOfKind = map[fault.Kind]int{
	fault.Internal:    http.StatusInternalServerError,
	fault.Invalid:     http.StatusBadRequest,
	fault.NotFound:    http.StatusNotFound,
	fault.Conflict:    http.StatusConflict,
	fault.Denied:      http.StatusForbidden,
	fault.Unavailable: http.StatusServiceUnavailable,
}

var statusOfCode = map[string]int{
	"auth.wrong":      http.StatusUnauthorized,
	"auth.missing":    http.StatusUnauthorized,
	"auth.expired":    http.StatusUnauthorized,
	"auth.invalid":    http.StatusUnauthorized,
	"session_revoked": http.StatusUnauthorized,
	"auth.slow":       http.StatusTooManyRequests,
	"body.large":      http.StatusRequestEntityTooLarge,
	"media.type":      http.StatusUnsupportedMediaType,
	"http.method":     http.StatusMethodNotAllowed,
}

var (
	errNotFound = fault.New(fault.NotFound, "not_found", "", "there is nothing here")
	errMethod   = fault.New(fault.Invalid, "http.method", "", "this address does not answer this method")
	errLarge    = fault.New(fault.Invalid, "body.large", "", "the request is too large; send less at once")
	errInternal = fault.New(fault.Internal, "internal", "", "something went wrong on the server; it is in the server's log")
)

// onError writes the one answer for err. Faults are shown; anything else is in
// the log in full and shown as "internal".
func (s *Server) onError(err error, c echo.Context) {
	if c.Response().Committed {
		return
	}
	f := faultOf(err, c)
	if f.Kind == fault.Internal {
		s.set.Log.Error("request failed", "request", requestID(c), "method", c.Request().Method, "route", c.Path(), "err", err)
	}
	p := problemOf(f)
	header := c.Response().Header()
	if f.Kind == fault.Unavailable {
		header.Set("Retry-After", strconv.Itoa(retryAfterS))
	}
	if p.Status == http.StatusUnauthorized {
		header.Set("WWW-Authenticate", "Bearer")
	}
	if err := writeJSON(c, p.Status, "application/problem+json", p); err != nil {
		s.set.Log.Warn("answer not written", "request", requestID(c), "err", err)
	}
}

// faultOf finds the fault a person is told about.
func faultOf(err error, c echo.Context) *fault.Error {
	if f := fault.As(err); f != nil {
		return f
	}
	var tooLarge *http.MaxBytesError
	var h *echo.HTTPError
	switch {
	case errors.As(err, &tooLarge):
		return errLarge
	case errors.As(err, &h) && h.Code == http.StatusNotFound:
		return errNotFound
	case errors.As(err, &h) && h.Code == http.StatusMethodNotAllowed:
		if c.Path() == "/*" && strings.HasPrefix(c.Request().URL.Path, "/api/") {
			return errNotFound
		}
		return errMethod
	}
	return errInternal
}

// problemOf returns the problem document of a fault. Of an internal one it
// tells nothing but that.
func problemOf(f *fault.Error) api.Problem {
	status := statusOfKind[f.Kind]
	if own, ok := statusOfCode[f.Code]; ok {
		status = own
	}
	detail := f.Message
	if detail == "" {
		detail = f.Code
	}
	return api.Problem{Type: "urn:brimline:problem:" + f.Code, Title: http.StatusText(status), Status: status, Code: f.Code, Detail: detail, Field: f.Field,
		Retryable: f.Kind == fault.Unavailable || f.Kind == fault.Internal}
}

// writeJSON writes one answer. Text goes out as it is: nothing here is put into a page.
func writeJSON(c echo.Context, status int, mediaType string, body any) error {
	c.Response().Header().Set(echo.HeaderContentType, mediaType)
	c.Response().WriteHeader(status)
	encoder := json.NewEncoder(c.Response())
	encoder.SetEscapeHTML(false)
	return encoder.Encode(body)
}

func answer(c echo.Context, body any) error {
	return writeJSON(c, http.StatusOK, "application/json", body)
}
