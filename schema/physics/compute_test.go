package physics

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"

	"brimline/schema/fault"
	"pgregory.net/rapid"
)

// typesOf pairs each computation with its Go types, so that the written
// shapes cannot drift from the code.
func typesOf(t *testing.T, name string) (in, out reflect.Type) {
	t.Helper()
	table := map[string]any{
		"fluid-volume": FluidVolume, "units": Units, "warmup-forecast": WarmupForecast, "exponential-fit": ExponentialFit,
		"tilt-shift": TiltShift, "reversal": Reversal, "drip-judge": DripJudge, "level-estimate": LevelEstimate,
		"fluid-viscosity": FluidViscosity, "drop-volume": DropVolume, "fluid-mix": FluidMix, "attitude": Attitude,
		"cooler-circuit": CoolerCircuit, "vin": VIN,
		"warmup-prior": WarmupPrior, "cooldown-prior": CooldownPrior, "step-prior": StepPrior,
		"cooldown": Cooldown, "visit-slots": VisitSlots,
		"level-trend": LevelTrend, "fluid-ledger": FluidLedger, "bring-list": BringList,
	}
	f, ok := table[name]
	if !ok {
		t.Fatalf("%s has no Go function in this test", name)
	}
	return reflect.TypeOf(f).In(0), reflect.TypeOf(f).Out(0)
}

func TestShapesMatchTheGoTypes(t *testing.T) {
	for _, c := range Names() {
		in, out := typesOf(t, c.Name)
		compareShape(t, c.Name+" input", parseShape(c.input), in, true)
		compareShape(t, c.Name+" output", parseShape(c.output), out, false)
	}
}

// compareShape requires the same members in the same order and of the same kind.
func compareShape(t *testing.T, path string, s shape, typ reflect.Type, input bool) {
	t.Helper()
	if typ.Kind() == reflect.Pointer {
		typ = typ.Elem()
	}
	kinds := map[reflect.Kind]string{
		reflect.Float64: "number", reflect.Int: "integer", reflect.String: "text", reflect.Bool: "flag",
		reflect.Struct: "object", reflect.Slice: "list",
	}
	if kinds[typ.Kind()] != s.kind {
		t.Errorf("%s: the shape says %q, Go says %s", path, s.kind, typ)
		return
	}
	if s.kind == "list" {
		compareShape(t, path+"[]", s.members[0], typ.Elem(), input)
	}
	if s.kind != "object" {
		return
	}
	if typ.NumField() != len(s.members) {
		t.Errorf("%s: the shape has %d members, Go has %d", path, len(s.members), typ.NumField())
		return
	}
	for i, m := range s.members {
		field := typ.Field(i)
		name, options, _ := strings.Cut(field.Tag.Get("json"), ",")
		pointer := field.Type.Kind() == reflect.Pointer
		omitted := options == "omitempty"
		if name != m.name {
			t.Errorf("%s: the shape says %q, Go says %q", path, m.name, name)
		}
		if list := field.Type.Kind() == reflect.Slice; input && list {
			omitted = m.optional // a list may be left out and then is empty
		}
		if m.optional != omitted || m.nullable != (pointer && !omitted) {
			t.Errorf("%s.%s: optional %v, nullable %v, but Go has pointer %v, %q", path, name, m.optional, m.nullable, pointer, options)
		}
		compareShape(t, path+"."+name, m, field.Type, input)
	}
}

func TestComputeNamesTheFieldAtFault(t *testing.T) {
	cases := []struct{ name, input, code, field string }{
		{"fluid-volume", `{"density_15c_kg_m3":850,"volume_ml":1,"from_c":20,"to_c":30,"colour":1}`, "json.unknown", "colour"},
		{"fluid-volume", `{"density_15c_kg_m3":850,"volume_ml":1,"from_c":20}`, "json.missing", "to_c"},
		{"fluid-volume", `{"density_15c_kg_m3":850,"volume_ml":1,"from_c":20,"to_c":null}`, "json.missing", "to_c"},
		{"fluid-volume", `{"density_15c_kg_m3":"850","volume_ml":1,"from_c":20,"to_c":30}`, "json.type", "density_15c_kg_m3"},
		{"fluid-volume", `{"density_15c_kg_m3":850,"volume_ml":1e999,"from_c":20,"to_c":30}`, "json.range", "volume_ml"},
		{"fluid-volume", `{"density_15c_kg_m3":850,"volume_ml":1,"volume_ml":2,"from_c":20,"to_c":30}`, "json.twice", "volume_ml"},
		{"fluid-volume", `{"Density_15c_kg_m3":850,"volume_ml":1,"from_c":20,"to_c":30}`, "json.unknown", "Density_15c_kg_m3"},
		{"fluid-volume", `{"density_15c_kg_m3":1,"volume_ml":1,"from_c":20,"to_c":30}`, "out_of_range", "density_15c_kg_m3"},
		{"fluid-volume", `{"density_15c_kg_m3":850} trailing`, "json.malformed", ""},
		{"fluid-volume", `{} {}`, "json.malformed", ""},
		{"fluid-volume", `{"density_15c_kg_m3":`, "json.malformed", "density_15c_kg_m3"},
		{"fluid-volume", ``, "json.malformed", ""},
		{"fluid-volume", `[]`, "json.type", ""},
		{"fluid-volume", `null`, "json.missing", ""},
		{"fluid-volume", `{"density_15c_kg_m3":NaN}`, "json.malformed", "density_15c_kg_m3"},
		{"tilt-shift", `{"pitch_deg":1,"roll_deg":0,"sd_deg":0,"plug":{"ahead_mm":"far","right_mm":0},"free_surface_cm2":400}`, "json.type", "plug.ahead_mm"},
		{"tilt-shift", `{"pitch_deg":1,"roll_deg":0,"sd_deg":0,"plug":{"ahead_mm":1},"free_surface_cm2":400}`, "json.missing", "plug.right_mm"},
		{"drip-judge", `{"drips_s":[1,2,true]}`, "json.type", "drips_s[2]"},
		{"warmup-forecast", `{"readings":[{"t_s":0,"temp_c":20},{"t_s":60,"temp_c":21},{"t_s":90,"temp_c":22},{"t_s":120,"temp_c":"23"}]}`,
			"json.type", "readings[3].temp_c"},
		{"warmup-forecast", `{"readings":[{"t_s":0,"temp_c":20,"temp_f":68}]}`, "json.unknown", "readings[0].temp_f"},
		{"level-estimate", `{"cooler":{"circuit":"opened","cycle":1.5,"hot_drive_since":false}}`, "json.type", "cooler.cycle"},
		{"level-estimate", `{"moves":[{"direction":"in","temp_c":20,"phase":7}]}`, "json.type", "moves[0].phase"},
	}
	for _, c := range cases {
		_, err := Compute(c.name, []byte(c.input))
		wantFault(t, err, c.code, c.field)
	}
	_, err := Compute("fluid-colour", []byte(`{}`))
	if f := fault.As(err); f == nil || f.Kind != fault.NotFound || f.Code != "not_found" {
		t.Errorf("an unknown name gives %v", err)
	}
}

func TestComputeNeverPanicsOnAnyText(t *testing.T) {
	names := Names()
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom(names).Draw(t, "name").Name
		text := rapid.OneOf(
			rapid.String(),
			rapid.StringMatching(`\{("(window|readings|first|moves|x)":(\{|\[|null|1e400|-0|"a"|true)[\]\}]?,?){0,6}\}?`),
		).Draw(t, "text")
		out, err := Compute(name, []byte(text))
		if (out == nil) == (err == nil) {
			t.Fatalf("%q gives %q and %v", text, out, err)
		}
		if err != nil && fault.As(err) == nil {
			t.Fatalf("%q gives an error that is not a fault: %v", text, err)
		}
	})
}

func TestComputeReportsWhatIsNotANumber(t *testing.T) {
	broken := compute(func(in struct{}) (Normal, error) {
		zero := 0.0
		return Normal{Mean: zero / zero}, nil
	})
	_, err := broken("{}", []byte(`{}`))
	if f := fault.As(err); f == nil || f.Kind != fault.Internal || f.Code != "json.finite" {
		t.Errorf("a result that is not a number gives %v", err)
	}
}

func TestSchemasAreJSONAndNameEveryField(t *testing.T) {
	for _, c := range Names() {
		input, output, err := Schema(c.Name)
		if err != nil {
			t.Fatal(err)
		}
		for _, text := range [][]byte{input, output} {
			var document struct {
				Schema     string         `json:"$schema"`
				Type       string         `json:"type"`
				Properties map[string]any `json:"properties"`
				Required   []string       `json:"required"`
			}
			if err := json.Unmarshal(text, &document); err != nil {
				t.Fatalf("%s: %v in %s", c.Name, err, text)
			}
			if document.Type != "object" || len(document.Properties) == 0 || !strings.Contains(document.Schema, "2020-12") {
				t.Errorf("%s: not a schema of an object: %s", c.Name, text)
			}
		}
		if c.Line == "" || strings.Contains(c.Line, "\n") {
			t.Errorf("%s: the line is %q", c.Name, c.Line)
		}
	}
	if _, _, err := Schema("nothing"); fault.As(err) == nil {
		t.Errorf("an unknown name gives %v", err)
	}
}

func BenchmarkCompute(b *testing.B) {
	input := []byte(`{"density_15c_kg_m3":850,"volume_ml":8000,"from_c":30,"to_c":50}`)
	for b.Loop() {
		if _, err := Compute("fluid-volume", input); err != nil {
			b.Fatal(err)
		}
	}
}
