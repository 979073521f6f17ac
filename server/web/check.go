package web

import (
	"encoding/json"
	"fmt"

	"github.com/labstack/echo/v4"

	"brimline/api"
	"brimline/schema"
)

// defaultChecks is how many checks a list holds if the caller does not say.
const defaultChecks = 50

// checks answers GET /api/v1/checks.
func (s *Server) checks(c echo.Context) error {
	t, err := tenant(c)
	if err != nil {
		return err
	}
	var in api.ChecksQuery
	if err := s.reader.query(c, &in); err != nil {
		return err
	}
	if in.Limit == 0 {
		in.Limit = defaultChecks
	}
	list, next, err := s.store.Checks(c.Request().Context(), t, in.Before, in.Limit)
	if err != nil {
		return err
	}
	out := api.ChecksPage{Checks: make([]api.ListedCheck, len(list)), Next: next}
	for i, l := range list {
		out.Checks[i] = api.ListedCheck{Check: l.Check, VehicleLabel: l.VehicleLabel, PersonName: l.PersonName}
	}
	return answer(c, out)
}

// check answers GET /api/v1/checks/:id.
func (s *Server) check(c echo.Context) error {
	t, err := tenant(c)
	if err != nil {
		return err
	}
	whole, err := s.store.Check(c.Request().Context(), t, schema.CheckID(c.Param("id")))
	if err != nil {
		return err
	}
	out := api.Evidence{Check: whole.Check, Vehicle: whole.Input.Vehicle, Unit: whole.Input.Unit, Profile: whole.Input.Profile, Person: whole.Person,
		Events: make([]api.HeldEvent, len(whole.Events)), View: json.RawMessage("null")}
	for i, h := range whole.Events {
		out.Events[i] = api.HeldEvent{Event: h.Event, Hash: h.Hash, ReceivedMS: h.ReceivedMS}
	}
	summary, view, err := replayed(whole.Input)
	if err != nil { // a newer procedure refuses what an older one took: a finding, not a failure
		s.set.Log.Warn("stored check does not replay", "request", requestID(c), "check", whole.Check.ID, "err", err)
		return answer(c, out)
	}
	if out.View, err = json.Marshal(view); err != nil {
		return fmt.Errorf("encode view of check %q: %w", whole.Check.ID, err)
	}
	out.Recomputed.Agrees = agrees(whole.Check, summary)
	return answer(c, out)
}
