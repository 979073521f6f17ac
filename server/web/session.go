package web

import (
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"brimline/api"
	"brimline/schema"
	"brimline/server/auth"
	"brimline/server/store"
)

// signIn answers POST /api/v1/session.
func (s *Server) signIn(c echo.Context) error {
	var in api.SignIn
	if err := s.reader.body(c, &in); err != nil {
		return err
	}
	g, err := s.auth.SignIn(c.Request().Context(), auth.SignIn{Email: in.Email, Password: in.Password,
		Device: schema.DeviceID(in.DeviceID), DeviceName: in.DeviceName, IP: c.RealIP()})
	if err != nil {
		return err
	}
	return s.granted(c, g)
}

// refresh answers POST /api/v1/session/refresh.
func (s *Server) refresh(c echo.Context) error {
	g, err := s.auth.Refresh(c.Request().Context(), s.refreshToken(c))
	if err != nil {
		return err
	}
	return s.granted(c, g)
}

// signOut answers DELETE /api/v1/session.
func (s *Server) signOut(c echo.Context) error {
	if err := s.auth.SignOut(c.Request().Context(), s.refreshToken(c), bearer(c.Request())); err != nil {
		return err
	}
	c.SetCookie(s.cookie("", -1))
	return c.NoContent(http.StatusNoContent)
}

func (s *Server) granted(c echo.Context, g auth.Grant) error {
	c.SetCookie(s.cookie(g.RefreshToken, store.SlidingMS/1000))
	return answer(c, api.Session{AccessToken: g.AccessToken, ExpiresInS: g.ExpiresInS, Person: g.Session.Person, Workshop: g.Session.Workshop, DeviceID: g.Session.Device})
}

// cookieName is bound to our own host and to https by its prefix, where there is https.
func (s *Server) cookieName() string {
	if s.set.Secure {
		return "__Host-rt"
	}
	return "rt"
}

func (s *Server) cookie(value string, maxAgeS int) *http.Cookie {
	c := &http.Cookie{Name: s.cookieName(), Value: value, Path: "/", MaxAge: maxAgeS, HttpOnly: true, Secure: s.set.Secure, SameSite: http.SameSiteStrictMode}
	if maxAgeS > 0 {
		c.Expires = s.set.Clock().Add(time.Duration(maxAgeS) * time.Second)
	}
	return c
}

func (s *Server) refreshToken(c echo.Context) string {
	cookie, err := c.Cookie(s.cookieName())
	if err != nil {
		return "" // there is none
	}
	return cookie.Value
}
