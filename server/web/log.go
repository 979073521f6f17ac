package web

import (
	"fmt"
	"runtime/debug"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"
)

const requestKey = "request"

// requestID returns the number that answer and log share.
func requestID(c echo.Context) string {
	id, _ := c.Get(requestKey).(string)
	return id
}

// logged writes one line for each request: the route and not the address, so
// that no id, name or query of a person is in it.
func (s *Server) logged(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		id := uuid.NewString()
		c.Set(requestKey, id)
		c.Response().Header().Set(echo.HeaderXRequestID, id)
		begun := time.Now()
		if err := next(c); err != nil {
			s.onError(err, c)
		}
		s.set.Log.Info("request", "request", id, "method", c.Request().Method, "route", c.Path(), "status", c.Response().Status,
			"bytes", c.Response().Size, "took_ms", float64(time.Since(begun).Microseconds())/1000)
		return nil
	}
}

// recovered turns a panic into an internal error: one bad request must not end
// the server.
func (s *Server) recovered(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) (err error) {
		defer func() {
			if p := recover(); p != nil {
				err = fmt.Errorf("handler panicked: %v\n%s", p, debug.Stack())
			}
		}()
		return next(c)
	}
}
