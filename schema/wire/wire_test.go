package wire

import (
	"bytes"
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"brimline/schema/fault"
)

type inner struct {
	TempC  float64  `json:"temp_c"`
	Marks  []string `json:"marks,omitempty"`
	Place  *inner   `json:"place,omitempty"`
	Hidden int      `json:"-"`
}

type base struct {
	Name string `json:"name"`
	On   bool   `json:"on"`
}

type record struct {
	base
	N     int               `json:"n"`
	At    int64             `json:"at_ms"`
	List  []inner           `json:"list"`
	One   *float64          `json:"one"`
	Body  Raw               `json:"body"`
	Words map[string]string `json:"words,omitempty"`
	Plain string
}

func drawRecord(t *rapid.T) record {
	number := rapid.Float64().Filter(func(x float64) bool { return !math.IsInf(x, 0) && !math.IsNaN(x) && !(x == 0 && math.Signbit(x)) })
	text := rapid.String()
	in := func(t *rapid.T) inner {
		v := inner{TempC: number.Draw(t, "temp"), Marks: rapid.SliceOfN(text, 0, 3).Draw(t, "marks")}
		if rapid.Bool().Draw(t, "nested") {
			v.Place = &inner{TempC: number.Draw(t, "below")}
		}
		return v
	}
	r := record{base: base{text.Draw(t, "name"), rapid.Bool().Draw(t, "on")}, N: rapid.Int().Draw(t, "n"), At: rapid.Int64().Draw(t, "at"),
		List: rapid.SliceOfN(rapid.Custom(in), 0, 4).Draw(t, "list"), Body: Raw(`{"a":[1,2.5,"x"]}`), Plain: text.Draw(t, "plain"),
		Words: rapid.MapOfN(text, text, 0, 3).Draw(t, "words")}
	if rapid.Bool().Draw(t, "has one") {
		x := number.Draw(t, "one")
		r.One = &x
	}
	return r
}

// The standard library reads what Write wrote as the same value, and Read
// reads what the standard library wrote as the same value.
func TestAgreesWithTheStandardLibrary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := drawRecord(t)
		ours, err := Write(want)
		if err != nil {
			t.Fatal(err)
		}
		theirs, err := json.Marshal(want)
		if err != nil {
			t.Fatal(err)
		}
		var a, b, c record
		if err := json.Unmarshal(ours, &a); err != nil {
			t.Fatalf("they cannot read %s: %v", ours, err)
		}
		if err := json.Unmarshal(theirs, &b); err != nil {
			t.Fatal(err)
		}
		if err := ReadStrict(theirs, &c); err != nil {
			t.Fatalf("cannot read %s: %v", theirs, err)
		}
		if !reflect.DeepEqual(a, b) || !reflect.DeepEqual(b, c) {
			t.Fatalf("got %+v and %+v, want %+v", a, c, b)
		}
	})
}

func TestFaultsNameTheirPath(t *testing.T) {
	for _, tt := range []struct{ text, code, field string }{
		{`{"name":1}`, "json.type", "name"},
		{`{"list":[{"temp_c":1},{"temp_c":"x"}]}`, "json.type", "list[1].temp_c"},
		{`{"list":[{"place":{"temp_c":true}}]}`, "json.type", "list[0].place.temp_c"},
		{`{"lost":1}`, "json.unknown", "lost"},
		{`{"n":1,"n":2}`, "json.twice", "n"},
		{`{"n":1.5}`, "json.type", "n"},
		{`{"n":1e400}`, "json.type", "n"},
		{`{"one":1e400}`, "json.range", "one"},
		{`[]`, "json.type", ""},
		{``, "json.malformed", ""},
		{`{"name":"a`, "json.malformed", "name"},
		{`{"name":"\ud800"}`, "json.malformed", "name"},
		{`{"n":01}`, "json.malformed", ""},
		{`{"n":1} x`, "json.malformed", ""},
		{`{"body":{"a":}}`, "json.malformed", "body.a"},
		{`{"body":` + strings.Repeat("[", 100) + strings.Repeat("]", 100) + `}`, "json.depth", "body"},
	} {
		var r record
		f := fault.As(ReadStrict([]byte(tt.text), &r))
		if f == nil || f.Code != tt.code || f.Field != tt.field {
			t.Errorf("%s: got %+v, want %s at %q", tt.text, f, tt.code, tt.field)
		}
	}
}

func TestWriteRefusesWhatJSONCannotHold(t *testing.T) {
	f := fault.As(func() error { _, err := Write(record{List: []inner{{TempC: math.NaN()}}}); return err }())
	if f == nil || f.Code != "json.finite" || f.Field != "list[0].temp_c" {
		t.Errorf("got %+v, want json.finite at list[0].temp_c", f)
	}
}

// What is JSON by the standard library is JSON here and the other way round,
// but for half characters, bytes that are not UTF-8 and great depth, which
// only this package refuses.
func FuzzRead(f *testing.F) {
	for _, s := range []string{`{"a":[1,-0.5e+3,true,null,"\u00e9\ud83d\ude00"]}`, ` [ ] `, `"\ud800"`, `-`, `{"a" :1,}`, "\"\xff\""} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		var raw Raw
		err := Read(text, &raw)
		if err == nil && !json.Valid(text) {
			t.Errorf("accepted %q", text)
		}
		lenient := bytes.Contains(text, []byte(`\u`)) || bytes.ContainsFunc(text, func(r rune) bool { return r >= 0x80 }) || bytes.Count(text, []byte("[")) > 30 || bytes.Count(text, []byte("{")) > 30
		if err != nil && json.Valid(text) && !lenient {
			t.Errorf("refused %q: %v", text, err)
		}
		var r record
		_ = Read(text, &r) // must not panic
	})
}
