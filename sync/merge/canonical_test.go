package merge

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"unicode/utf16"

	"pgregory.net/rapid"
)

func TestCanonicalExamplesOfTheStandard(t *testing.T) {
	tests := map[string]struct{ in, want string }{
		"RFC 8785 section 3.2.2": {
			`{"numbers":[333333333.33333329,1E30,4.50,2e-3,0.000000000000000000000000001],` +
				`"string":"\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/","literals":[null,true,false]}`,
			`{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],` +
				`"string":"€$\u000f\nA'B\"\\\\\"/"}`,
		},
		"RFC 8785 section 3.2.3, sorting by UTF-16": {
			`{"\u20ac":"Euro Sign","\r":"Carriage Return","\ufb33":"Hebrew Letter Dalet With Dagesh","1":"One",` +
				`"\ud83d\ude00":"Emoji: Grinning Face","\u0080":"Control","\u00f6":"Latin Small Letter O With Diaeresis"}`,
			"{\"\\r\":\"Carriage Return\",\"1\":\"One\",\"\u0080\":\"Control\",\"ö\":\"Latin Small Letter O With Diaeresis\"," +
				"\"€\":\"Euro Sign\",\"\U0001f600\":\"Emoji: Grinning Face\",\"\ufb33\":\"Hebrew Letter Dalet With Dagesh\"}",
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got, err := Canonical([]byte(tt.in))
			if err != nil || string(got) != tt.want {
				t.Errorf("got %s, %v, want %s", got, err, tt.want)
			}
		})
	}
}

// The bit patterns and texts are those of RFC 8785 appendix B.
func TestNumbersAsECMAScript(t *testing.T) {
	tests := map[uint64]string{
		0x0000000000000000: "0", 0x8000000000000000: "0",
		0x0000000000000001: "5e-324", 0x8000000000000001: "-5e-324",
		0x7fefffffffffffff: "1.7976931348623157e+308", 0xffefffffffffffff: "-1.7976931348623157e+308",
		0x4340000000000000: "9007199254740992", 0xc340000000000000: "-9007199254740992",
		0x4340000000000001: "9007199254740994", 0x4340000000000002: "9007199254740996",
		0x4430000000000000: "295147905179352830000",
		0x44b52d02c7e14af5: "9.999999999999997e+22", 0x44b52d02c7e14af6: "1e+23", 0x44b52d02c7e14af7: "1.0000000000000001e+23",
		0x444b1ae4d6e2ef4e: "999999999999999700000", 0x444b1ae4d6e2ef4f: "999999999999999900000", 0x444b1ae4d6e2ef50: "1e+21",
		0x3eb0c6f7a0b5ed8c: "9.999999999999997e-7", 0x3eb0c6f7a0b5ed8d: "0.000001",
		0x41b3de4355555553: "333333333.3333332", 0x41b3de4355555554: "333333333.33333325",
		0x41b3de4355555555: "333333333.3333333", 0x41b3de4355555556: "333333333.3333334", 0x41b3de4355555557: "333333333.33333343",
		0xbecbf647612f3696: "-0.0000033333333333333333", 0x43143ff3c1cb0959: "1424953923781206.2",
	}
	for bits, want := range tests {
		if got := string(appendNumber(nil, math.Float64frombits(bits))); got != want {
			t.Errorf("number %016x: got %s, want %s", bits, got, want)
		}
	}
}

func TestCanonicalForms(t *testing.T) {
	tests := map[string]struct{ in, want string }{
		"white space goes":          {" \t\r\n[ 1 , { } , [ ] ] \n", `[1,{},[]]`},
		"minus zero":                {`-0`, `0`},
		"too small becomes zero":    {`1e-400`, `0`},
		"whole number with point":   {`100.0`, `100`},
		"large whole number":        {`123456789012345678901`, `123456789012345680000`},
		"escapes that are not due":  {`"\u0041\/\u00e9"`, `"A/é"`},
		"escapes that are":          {`"\u0000\u001f\b\f\n\r\t\"\\"`, `"\u0000\u001f\b\f\n\r\t\"\\"`},
		"delete is not a control":   {"\"\x7f\"", "\"\x7f\""},
		"pair of surrogates":        {`"\uD83D\uDE00"`, `"😀"`},
		"replacement character":     {"\"\ufffd\"", "\"\ufffd\""},
		"members, deep":             {`{"b":{"d":1,"c":2},"a":[{"z":0,"y":0}]}`, `{"a":[{"y":0,"z":0}],"b":{"c":2,"d":1}}`},
		"no normalisation":          {`{"e\u0301":1,"\u00e9":2}`, "{\"e\u0301\":1,\"é\":2}"},
		"empty name":                {`{"":1}`, `{"":1}`},
		"as deep as allowed":        {strings.Repeat("[", MaxDepth) + strings.Repeat("]", MaxDepth), strings.Repeat("[", MaxDepth) + strings.Repeat("]", MaxDepth)},
		"words":                     {`[true,false,null]`, `[true,false,null]`},
		"angle brackets stay":       {`"<&>\u2028"`, "\"<&>\u2028\""},
		"shorter name sorts before": {`{"aa":1,"a":2}`, `{"a":2,"aa":1}`},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got, err := Canonical([]byte(tt.in))
			if err != nil || string(got) != tt.want {
				t.Errorf("got %q, %v, want %q", got, err, tt.want)
			}
		})
	}
}

func TestCanonicalRefuses(t *testing.T) {
	tests := map[string]string{
		``: "json.syntax", ` `: "json.syntax", `{`: "json.syntax", `[1,]`: "json.syntax", `{"a":1,}`: "json.syntax",
		`{a:1}`: "json.syntax", `{"a" 1}`: "json.syntax", `{"a":}`: "json.syntax", `[1 2]`: "json.syntax", `1 2`: "json.syntax",
		`01`: "json.syntax", `-`: "json.syntax", `1.`: "json.syntax", `.5`: "json.syntax", `+1`: "json.syntax", `1e`: "json.syntax",
		`NaN`: "json.syntax", `Infinity`: "json.syntax", `tru`: "json.syntax", `'a'`: "json.syntax", `0x1`: "json.syntax",
		`"a`: "json.syntax", "\"a\nb\"": "json.syntax", "\"\x00\"": "json.syntax", `"\x"`: "json.syntax", `"\u12"`: "json.syntax",
		`"\u12G4"`: "json.syntax", `"\`: "json.syntax", "\x00": "json.syntax", "\ufeff1": "json.syntax", "[1]\x00": "json.syntax",
		`1e400`: "json.number", `-1e400`: "json.number",
		`{"a":1,"a":1}`: "json.duplicate", `{"a":1,"\u0061":2}`: "json.duplicate", `[{"x":{"a":1,"b":2,"a":3}}]`: "json.duplicate",
		`"\ud83d"`: "json.surrogate", `"\ude00"`: "json.surrogate", `"\ud83dx"`: "json.surrogate", `"\ud83d\ud83d"`: "json.surrogate",
		`"\ud83d\n"`: "json.surrogate", `"\ud83d\u12"`: "json.syntax", `{"\udead":1}`: "json.surrogate",
		"\"\xff\"": "json.utf8", "\"\xed\xa0\x80\"": "json.utf8", "\"\xc0\x80\"": "json.utf8", "\"\xe2\x82\"": "json.utf8",
		strings.Repeat("[", MaxDepth+1) + strings.Repeat("]", MaxDepth+1): "json.depth",
		strings.Repeat(`{"a":`, 100000):                                   "json.depth",
	}
	for in, code := range tests {
		got, err := Canonical([]byte(in))
		var refusal *Refusal
		if !errors.As(err, &refusal) || refusal.Code != code || got != nil {
			t.Errorf("%.60q: got %q, %v, want %s", in, got, err, code)
			continue
		}
		if refusal.Offset < 0 || refusal.Offset > len(in) || !strings.Contains(err.Error(), "byte ") {
			t.Errorf("%.60q: %v at %d does not say where", in, err, refusal.Offset)
		}
	}
}

// drawn is one JSON value, written plainly and written carelessly: members in
// the opposite order, every character escaped, white space everywhere.
type drawn struct{ plain, careless string }

func drawText(t *rapid.T, label string) drawn {
	text := rapid.String().Draw(t, label)
	plain, _ := json.Marshal(text) // a string always has a JSON form
	careless := `"`
	for _, unit := range utf16.Encode([]rune(text)) {
		careless += fmt.Sprintf(`\u%04X`, unit)
	}
	return drawn{string(plain), careless + `"`}
}

func drawTree(t *rapid.T, depth int) drawn {
	switch rapid.IntRange(0, 2+2*min(depth, 1)).Draw(t, "kind") {
	case 0:
		v := rapid.Float64Range(-math.MaxFloat64, math.MaxFloat64).Draw(t, "number") + 0 // no minus zero
		return drawn{strconv.FormatFloat(v, 'g', 17, 64), strconv.FormatFloat(v, 'E', 25, 64)}
	case 1:
		return drawText(t, "text")
	case 2:
		word := rapid.SampledFrom([]string{"true", "false", "null"}).Draw(t, "word")
		return drawn{word, "\r\n" + word + "\t"}
	case 3:
		var list drawn
		for range rapid.IntRange(0, 4).Draw(t, "items") {
			item := drawTree(t, depth-1)
			list.plain += "," + item.plain
			list.careless += " , " + item.careless
		}
		return drawn{"[" + strings.TrimPrefix(list.plain, ",") + "]", "[" + strings.TrimPrefix(list.careless, " ,") + " ]"}
	}
	names, object := map[string]bool{}, drawn{}
	for range rapid.IntRange(0, 4).Draw(t, "members") {
		name, value := drawText(t, "name"), drawTree(t, depth-1)
		if !names[name.plain] {
			names[name.plain] = true
			object.plain += "," + name.plain + ":" + value.plain
			object.careless = " ," + name.careless + " : " + value.careless + object.careless
		}
	}
	return drawn{"{" + strings.TrimPrefix(object.plain, ",") + "}", "{" + strings.TrimPrefix(object.careless, " ,") + "\n}"}
}

func TestCanonicalIsOneForm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value := drawTree(t, 3)
		once, err := Canonical([]byte(value.plain))
		if err != nil {
			t.Fatalf("%s: %v", value.plain, err)
		}
		for name, text := range map[string][]byte{"written carelessly": []byte(value.careless), "a second time": once} {
			again, err := Canonical(text)
			if err != nil || !bytes.Equal(once, again) {
				t.Fatalf("%s: got %s, %v, want %s", name, again, err, once)
			}
		}
		var before, after any
		if json.Unmarshal([]byte(value.plain), &before) != nil || json.Unmarshal(once, &after) != nil || !reflect.DeepEqual(before, after) {
			t.Fatalf("the value changed: got %s, want %s", once, value.plain)
		}
	})
}

func FuzzCanonical(f *testing.F) {
	for _, seed := range []string{`{"a":[1,-0.5e-7,"\ud83d\ude00"],"a":2}`, `[[[[`, `"\u12`, "\xff", `1e999`} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		once, err := Canonical(raw)
		if err != nil {
			return
		}
		if !json.Valid(raw) {
			t.Fatalf("%q is not JSON but was accepted", raw)
		}
		twice, err := Canonical(once)
		if err != nil || !bytes.Equal(once, twice) {
			t.Fatalf("%q: got %q, %v the second time, %q the first", raw, twice, err, once)
		}
	})
}
