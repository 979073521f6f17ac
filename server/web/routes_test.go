package web_test

import (
	"net/http"
	"sort"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"brimline/api"
)

// registered lists the API's routes as the router has them, in the words of openapi.yaml.
func registered(s *server) []string {
	routes, ok := s.handler.(interface{ Routes() []string })
	if !ok {
		s.t.Fatal("the server does not list its routes")
	}
	var list []string
	for _, r := range routes.Routes() {
		if strings.Contains(r, " /api/") {
			list = append(list, strings.ReplaceAll(r, ":id", "{id}"))
		}
	}
	sort.Strings(list)
	return list
}

func TestDescriptionAndRoutesAgree(t *testing.T) {
	s := newServer(t)
	doc, err := openapi3.NewLoader().LoadFromData(api.OpenAPI())
	must(t, err)
	must(t, doc.Validate(t.Context()))
	var described []string
	for path, item := range doc.Paths.Map() {
		for method := range item.Operations() {
			described = append(described, method+" "+path)
		}
	}
	sort.Strings(described)
	if got, want := strings.Join(registered(s), "\n"), strings.Join(described, "\n"); got != want {
		t.Errorf("the router has\n%s\nand openapi.yaml\n%s", got, want)
	}
	rec := s.do(request{method: "GET", path: "/api/v1/openapi.yaml"})
	if rec.Code != 200 || rec.Body.String() != string(api.OpenAPI()) {
		t.Errorf("served description: %d, %d bytes", rec.Code, rec.Body.Len())
	}
}

// TestEveryRouteForEverybody fails if a route has no line here. A check of
// workshop red is in the database; "other" is a mechanic of workshop blue.
func TestEveryRouteForEverybody(t *testing.T) {
	s := newServer(t)
	p := &phone{s: s, who: redMechanic}
	log := s.check(1, redMechanic)[:1]
	p.push(p.events(log)...)
	everybody := map[string]*caller{"nobody": nil, "mechanic": &redMechanic, "manager": &redManager, "other": &blueMechanic}
	table := []struct {
		route, path                      string
		body                             bool // a push of the caller's own device
		nobody, mechanic, manager, other int
	}{
		{"POST /api/v1/session", "", false, 400, 400, 400, 400}, // no password given
		{"POST /api/v1/session/refresh", "", false, 401, 401, 401, 401},
		{"DELETE /api/v1/session", "", false, 204, 0, 0, 0}, // signing out has its own test
		{"POST /api/v1/sync/push", "", true, 401, 200, 200, 200},
		{"GET /api/v1/sync/pull", "", false, 401, 200, 200, 200},
		{"GET /api/v1/checks", "", false, 401, 200, 200, 200},
		{"GET /api/v1/checks/{id}", "/api/v1/checks/" + string(log[0].CheckID), false, 401, 200, 200, 404},
		{"GET /api/v1/openapi.yaml", "", false, 200, 200, 200, 200},
		{"GET /api/v1/health", "", false, 200, 200, 200, 200},
	}
	var covered []string
	for _, row := range table {
		covered = append(covered, row.route)
		method, path, _ := strings.Cut(row.route, " ")
		if row.path != "" {
			path = row.path
		}
		for who, want := range map[string]int{"nobody": row.nobody, "mechanic": row.mechanic, "manager": row.manager, "other": row.other} {
			if want == 0 {
				continue
			}
			r := request{method: method, path: path, who: everybody[who]}
			switch {
			case row.body && r.who != nil:
				r.body = envelope(*r.who, nil)
			case row.body || method == http.MethodPost:
				r.body = "{}"
			}
			rec := s.do(r)
			if rec.Code != want {
				t.Errorf("%s as %s: %d %s, want %d", row.route, who, rec.Code, rec.Body, want)
			}
			for name, value := range map[string]string{"Cache-Control": "no-store", "X-Content-Type-Options": "nosniff", "Cross-Origin-Resource-Policy": "same-origin"} {
				if got := rec.Header().Get(name); got != value {
					t.Errorf("%s as %s: %s is %q, want %q", row.route, who, name, got, value)
				}
			}
		}
	}
	sort.Strings(covered)
	if got, want := strings.Join(covered, "\n"), strings.Join(registered(s), "\n"); got != want {
		t.Errorf("the table has\n%s\nand the router\n%s", got, want)
	}
}
