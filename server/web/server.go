package web

import (
	"fmt"
	"net/http"

	"github.com/labstack/echo/v4"

	"brimline/api"
)

// openapi answers GET /api/v1/openapi.yaml.
func (s *Server) openapi(c echo.Context) error {
	return c.Blob(http.StatusOK, "application/yaml", api.OpenAPI())
}

// health answers GET /api/v1/health.
func (s *Server) health(c echo.Context) error {
	if err := s.store.Ping(c.Request().Context()); err != nil {
		return fmt.Errorf("health: %w", err)
	}
	return answer(c, api.Health{Status: "ok", Epoch: s.store.Epoch()})
}
