package web

import (
	"encoding/json"

	"github.com/labstack/echo/v4"

	"brimline/api"
	"brimline/schema"
	"brimline/schema/fault"
	"brimline/server/store"
)

// defaultPage is how many items a pull brings if the phone does not say.
const defaultPage = 500

// push answers POST /api/v1/sync/push.
func (s *Server) push(c echo.Context) error {
	t, err := tenant(c)
	if err != nil {
		return err
	}
	var in api.Push
	if err := s.reader.body(c, &in); err != nil {
		return err
	}
	if schema.DeviceID(in.Device) != t.Device() {
		return fault.New(fault.Denied, "auth.device", "device", "must be the device that is signed in")
	}
	changes := make([]store.Change, len(in.Changes))
	for i, raw := range in.Changes {
		changes[i] = readChange(raw)
	}
	results, err := s.store.Push(c.Request().Context(), t, changes, s.set.Clock().UnixMilli())
	if err != nil {
		return err
	}
	out := api.PushAnswer{Epoch: s.store.Epoch(), ServerMS: s.set.Clock().UnixMilli(), Results: make([]api.Result, len(results))}
	for i, r := range results {
		out.Results[i] = api.Result{ID: r.ID, Status: string(r.Status), Code: r.Code, Seq: r.Seq, RetryAfterS: r.RetryAfterS}
		if r.Problem != nil {
			p := problemOf(r.Problem)
			out.Results[i].Problem = &p
		}
	}
	return answer(c, out)
}

// readChange reads one change. One that cannot be read keeps as much of itself
// as could be, so that its answer finds it.
func readChange(raw json.RawMessage) store.Change {
	var in api.Change
	if err := decode(raw, &in); err != nil {
		var known struct {
			ID any `json:"id"`
		}
		change := store.Change{Fault: fault.Bad("change.form", "", "is not a change: "+err.Error())}
		if json.Unmarshal(raw, &known) == nil {
			change.ID, _ = known.ID.(string)
		}
		return change
	}
	return store.Change{ID: in.ID, Dseq: in.Dseq, Kind: in.Kind, V: in.V, Body: in.Body}
}

// pull answers GET /api/v1/sync/pull.
func (s *Server) pull(c echo.Context) error {
	t, err := tenant(c)
	if err != nil {
		return err
	}
	var in api.PullQuery
	if err := s.reader.query(c, &in); err != nil {
		return err
	}
	if in.Limit == 0 {
		in.Limit = defaultPage
	}
	page, err := s.store.Pull(c.Request().Context(), t, in.Cursor, in.Limit)
	if err != nil {
		return err
	}
	out := api.PullPage{Epoch: s.store.Epoch(), Items: make([]api.Item, len(page.Items)), Next: page.Next, More: page.More}
	for i, item := range page.Items {
		out.Items[i] = api.Item{Seq: item.Seq, Kind: item.Kind, V: 1, ID: item.ID, Body: item.Body}
	}
	return answer(c, out)
}
