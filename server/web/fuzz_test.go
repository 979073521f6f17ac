package web_test

import (
	"bytes"
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// FuzzPush sends any bytes as a push: the answer is a result or a refusal,
// never a failure of the server, and never one that openapi.yaml does not describe.
func FuzzPush(f *testing.F) {
	s := newServer(f)
	p := &phone{s: s, who: redMechanic}
	log := s.check(1, redMechanic)
	for _, changes := range [][]int{{0}, {0, 1, 2}, {1}} {
		var raws []json.RawMessage
		for _, i := range changes {
			raw, err := json.Marshal(p.change(string(log[i].ID), "event", log[i]))
			must(f, err)
			raws = append(raws, raw)
		}
		whole, err := json.Marshal(envelope(redMechanic, raws))
		must(f, err)
		f.Add(whole)
		f.Add(whole[:len(whole)/2])
		f.Add(bytes.ReplaceAll(whole, []byte(`"n":1`), []byte(`"n":-1e400`)))
		f.Add(bytes.ReplaceAll(whole, []byte(`"body":{`), []byte(`"body":{"\ud800":"\u0000",`)))
	}
	edit, err := json.Marshal(p.change(id("2", 1), "reminder", reminderEdit(1, 1, 4294967295, redMechanic.device, "due_date", "due_date")))
	must(f, err)
	whole, err := json.Marshal(envelope(redMechanic, []json.RawMessage{edit, edit}))
	must(f, err)
	f.Add(whole)
	for _, text := range []string{"", "null", "[]", `{"changes":null}`, "\xff\xfe", strings.Repeat(`{"a":`, 200)} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		s.t = t
		rec := s.do(request{method: "POST", path: "/api/v1/sync/push", who: &redMechanic, body: body})
		switch rec.Code {
		case http.StatusOK, http.StatusBadRequest, http.StatusForbidden, http.StatusRequestEntityTooLarge:
		default:
			t.Errorf("push of %q is answered %d %s", body, rec.Code, rec.Body)
		}
	})
}

// TestRequestsCannotMakeATenant looks for the store's door for commands in the
// packages that answer requests.
func TestRequestsCannotMakeATenant(t *testing.T) {
	seen := 0
	for _, folder := range []string{".", "../auth"} {
		names, err := filepath.Glob(filepath.Join(folder, "*.go"))
		must(t, err)
		for _, name := range names {
			if strings.HasSuffix(name, "_test.go") {
				continue
			}
			seen++
			text, err := os.ReadFile(name)
			must(t, err)
			for _, door := range []string{".Local(", ".FindWorkshop(", ".AddWorkshop("} {
				if strings.Contains(string(text), door) {
					t.Errorf("%s calls %s, which is for commands on the server's own machine", name, door)
				}
			}
		}
	}
	if seen < 10 {
		t.Errorf("looked at %d files only", seen)
	}
}
