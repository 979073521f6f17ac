package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"brimline/schema"
	"brimline/schema/physics/gearbox"
	"brimline/schema/procedure"
	"brimline/schema/procedure/mechanic"
)

// fits is a small judge of JSON Schemas: of the words that replaySchemas uses.
func fits(rule map[string]any, value any, at string) error {
	if choices, ok := rule["anyOf"].([]any); ok {
		var last error
		for _, one := range choices {
			if last = fits(one.(map[string]any), value, at); last == nil {
				return nil
			}
		}
		return last
	}
	if kinds, ok := rule["type"]; ok && !isOf(kinds, value) {
		return fmt.Errorf("%s is %v, the schema says %v", at, value, kinds)
	}
	switch v := value.(type) {
	case []any:
		for i := range v {
			if err := fits(rule["items"].(map[string]any), v[i], fmt.Sprintf("%s[%d]", at, i)); err != nil {
				return err
			}
		}
	case map[string]any:
		properties, ok := rule["properties"].(map[string]any)
		if !ok {
			return nil // any value
		}
		for name, member := range v {
			one, known := properties[name].(map[string]any)
			if !known {
				return fmt.Errorf("%s.%s is not in the schema", at, name)
			}
			if err := fits(one, member, at+"."+name); err != nil {
				return err
			}
		}
		required, _ := rule["required"].([]any)
		for _, name := range required {
			if _, given := v[name.(string)]; !given {
				return fmt.Errorf("%s.%s is missing", at, name)
			}
		}
	}
	return nil
}

// isOf says whether a value is of one of the schema's types.
func isOf(kinds, value any) bool {
	words, ok := kinds.([]any)
	if !ok {
		words = []any{kinds}
	}
	kind := "null"
	switch v := value.(type) {
	case string:
		kind = "string"
	case bool:
		kind = "boolean"
	case float64:
		kind = "number"
		if v == math.Trunc(v) && slices.Contains(words, any("integer")) {
			kind = "integer"
		}
	case []any:
		kind = "array"
	case map[string]any:
		kind = "object"
	}
	return slices.Contains(words, any(kind))
}

// wholeCheck is the log of a check that a simulated mechanic carried out.
func wholeCheck(t *testing.T) []byte {
	t.Helper()
	text, err := os.ReadFile("demo/data/profile-8l.json")
	if err != nil {
		t.Fatal(err)
	}
	var p schema.Profile
	if err := json.Unmarshal(text, &p); err != nil {
		t.Fatal(err)
	}
	const vehicle, unit = "01900000-0000-7000-8000-000000000001", "01900000-0000-7000-8000-000000000002"
	n := 0
	m := mechanic.Mechanic{
		Setup: procedure.Setup{Profile: p, Cautions: []schema.Caution{}, Vehicle: schema.Vehicle{ID: vehicle, Label: "Van 1", UnitID: unit, WheelbaseMM: 2900, TrackMM: 1600},
			Unit: schema.Unit{ID: unit, Label: "Unit 1", Description: p.Name, ProfileID: p.ID, Warmer: "unknown"}},
		Gearbox: gearbox.Draw(7, gearbox.Base()), CheckID: "01900000-0000-7000-8000-000000000003", WallMS: 1780000000000, WalkS: 15, Unit: "C",
		NewID: func() string { n++; return fmt.Sprintf("01900000-0000-7000-8111-%012x", n) },
		Start: procedure.Started{VehicleID: vehicle, UnitID: unit, ProfileID: p.ID, ProfileEdition: p.Edition, PersonID: "01900000-0000-7000-8000-000000000004",
			DeviceID: "01900000-0000-7000-8000-000000000005", Reason: "level_check", Circuit: "untouched", Cycle: 1, UTCOffsetMin: 120, Warmer: "unknown", Raised: true},
	}
	events, _, _, err := m.Work()
	if err != nil {
		t.Fatal(err)
	}
	input, err := json.Marshal(replayInput{Setup: m.Setup, Events: events})
	if err != nil {
		t.Fatal(err)
	}
	return input
}

func TestReplaySchemasDescribeAWholeCheck(t *testing.T) {
	exit, text, _ := runWith(t, nil, nil, "compute", "check-replay", "--schema")
	lines := strings.Split(strings.TrimSpace(text), "\n")
	if exit != 0 || len(lines) != 2 {
		t.Fatalf("exit %d, %d lines", exit, len(lines))
	}
	input := wholeCheck(t)
	output, err := procedure.Compute("check-replay", input)
	if err != nil {
		t.Fatal(err)
	}
	for i, text := range [][]byte{input, output} {
		var rule map[string]any
		if err := json.Unmarshal([]byte(lines[i]), &rule); err != nil {
			t.Fatalf("schema %d: %v", i, err)
		}
		var value any
		if err := json.Unmarshal(text, &value); err != nil {
			t.Fatal(err)
		}
		if err := fits(rule, value, rule["title"].(string)); err != nil {
			t.Error(err)
		}
		value.(map[string]any)["colour"] = "red"
		if fits(rule, value, "") == nil {
			t.Errorf("schema %d lets a member pass that is not known", i)
		}
	}
}

// What the procedure reads must be what is described: a member that one knows
// and the other does not is refused by one of them.
func TestReplaySchemaHasEveryMemberTheProcedureReads(t *testing.T) {
	input, _ := replaySchemas()
	var rule struct {
		Properties map[string]any `json:"properties"`
	}
	if err := json.Unmarshal(input, &rule); err != nil {
		t.Fatal(err)
	}
	for name := range rule.Properties {
		_, err := procedure.Compute("check-replay", []byte(`{"`+name+`":null}`))
		if err != nil && strings.Contains(err.Error(), "json.unknown") {
			t.Errorf("the schema names %q, which is not read: %v", name, err)
		}
	}
	if len(rule.Properties) != 6 {
		t.Errorf("the input has %d members in the schema, want 6", len(rule.Properties))
	}
}
