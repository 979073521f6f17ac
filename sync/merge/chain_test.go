package merge

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"brimline/schema/wire"
)

// The hashes are sha256sum's of the canonical text.
func TestHash(t *testing.T) {
	tests := map[string]string{
		`{}`:                       "44136fa355b3678a1146ad16f7e8649e94fb4fc21fe77e8310c060f61caaff8a",
		` { "b" : 2.0, "a" : "" }`: "8befb880ef698633b1724f44dc72347f9dbd1f7ca492766738a93e162ba5884a",
	}
	for in, want := range tests {
		if got, err := Hash([]byte(in)); err != nil || got != want {
			t.Errorf("%s: got %s, %v, want %s", in, got, err, want)
		}
	}
	if got, err := Hash([]byte(`{`)); err == nil || got != "" {
		t.Errorf("cut text: got %q, %v, want a refusal", got, err)
	}
}

func TestChainTellsEveryPartApart(t *testing.T) {
	links := map[string]bool{}
	for _, parts := range [][3]string{{"", "a", "b"}, {"a", "", "b"}, {"a", "b", ""}, {"", "ab", ""}, {"ab", "", ""}, {"", "", "ab"}} {
		link := Chain(parts[0], parts[1], parts[2])
		if len(link) != 64 || links[link] {
			t.Errorf("%q: got %q, want 64 digits not seen before", parts, link)
		}
		links[link] = true
	}
}

// log makes a check's log of length n as a phone would.
func log(t interface{ Fatal(...any) }, n int) (events []wire.Raw, head string) {
	for i := range n {
		raw := wire.Raw(fmt.Sprintf(`{"id":"e%d","check_id":"c","n":%d,"prev":%q,"kind":"note.written","body":{"text":"%d"}}`, i+1, i+1, head, i))
		hash, err := Hash(raw)
		if err != nil {
			t.Fatal(err)
		}
		events, head = append(events, raw), hash
	}
	return events, head
}

func TestVerifyChain(t *testing.T) {
	edit := func(k int, old, new string) func([]wire.Raw) []wire.Raw {
		return func(e []wire.Raw) []wire.Raw {
			text := strings.Replace(string(e[k-1]), old, new, 1)
			if text == string(e[k-1]) {
				panic("the test edits nothing") // a fault of this table
			}
			e[k-1] = wire.Raw(text)
			return e
		}
	}
	tests := map[string]struct {
		change func([]wire.Raw) []wire.Raw
		code   string
		n      int
	}{
		"untouched":             {func(e []wire.Raw) []wire.Raw { return e }, "", 0},
		"other white space":     {edit(2, `,"kind"`, ` , "kind"`), "", 0},
		"other member order":    {edit(3, `{"id":"e3","check_id":"c"`, `{"check_id":"c","id":"e3"`), "", 0},
		"tail cut off":          {func(e []wire.Raw) []wire.Raw { return e[:3] }, "", 0},
		"empty":                 {func([]wire.Raw) []wire.Raw { return nil }, "", 0},
		"first missing":         {func(e []wire.Raw) []wire.Raw { return e[1:] }, "chain.number", 1},
		"middle missing":        {func(e []wire.Raw) []wire.Raw { return append(e[:1], e[2:]...) }, "chain.number", 2},
		"two swapped":           {func(e []wire.Raw) []wire.Raw { e[1], e[2] = e[2], e[1]; return e }, "chain.number", 2},
		"one twice":             {func(e []wire.Raw) []wire.Raw { e[2] = e[1]; return e }, "chain.number", 3},
		"text edited":           {edit(2, `"text":"1"`, `"text":"7"`), "chain.prev", 3},
		"first has a prev":      {edit(1, `"prev":""`, `"prev":"0"`), "chain.prev", 1},
		"of another check":      {edit(4, `"check_id":"c"`, `"check_id":"d"`), "chain.check", 4},
		"an id used twice":      {edit(4, `"id":"e4"`, `"id":"e1"`), "chain.id", 4},
		"a second n in case":    {edit(4, `"n":4`, `"N":4`), "chain.form", 4},
		"n as text":             {edit(1, `"n":1`, `"n":"1"`), "chain.form", 1},
		"n not whole":           {edit(1, `"n":1`, `"n":1.5`), "chain.form", 1},
		"no check":              {edit(1, `"check_id":"c"`, `"check_id":null`), "chain.form", 1},
		"not an object":         {edit(2, string(`{"id":"e2","check_id":"c",`), `[{"id":"e2","check_id":"c",`), "json.syntax", 2},
		"a list":                {func(e []wire.Raw) []wire.Raw { e[0] = wire.Raw(`[]`); return e }, "chain.form", 1},
		"a member stands twice": {edit(2, `"n":2`, `"n":2,"n":2`), "json.duplicate", 2},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			events, _ := log(t, 4)
			head, err := VerifyChain(tt.change(events))
			var refusal *Refusal
			switch {
			case tt.code == "" && err != nil:
				t.Errorf("got %v, want no refusal", err)
			case tt.code != "" && (!errors.As(err, &refusal) || refusal.Code != tt.code || refusal.N != tt.n || head != ""):
				t.Errorf("got %q, %v, want %s at event %d", head, err, tt.code, tt.n)
			case tt.code != "" && !strings.HasPrefix(err.Error(), fmt.Sprintf("event %d: ", tt.n)):
				t.Errorf("got %q, want the event named", err)
			}
		})
	}
}

// Changing any one byte of a log shows, unless it still says the same.
func TestVerifyChainFindsAnyEdit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		events, head := log(t, rapid.IntRange(1, 6).Draw(t, "events"))
		k := rapid.IntRange(0, len(events)-1).Draw(t, "event")
		edited := append(wire.Raw(nil), events[k]...)
		edited[rapid.IntRange(0, len(edited)-1).Draw(t, "byte")] = byte(rapid.IntRange(0, 255).Draw(t, "value"))
		before, _ := Canonical(events[k]) // made by log
		after, err := Canonical(edited)
		same := err == nil && string(before) == string(after)
		events[k] = edited
		got, err := VerifyChain(events)
		if noticed := err != nil || got != head; noticed == same {
			t.Fatalf("event %d is now %s: noticed %v, want %v", k+1, edited, noticed, !same)
		}
	})
}

// testdata/sync/chain.json is also for tests in other languages: a log, the hash
// of each event and the workshop's chain over them.
func TestChainVectors(t *testing.T) {
	raw, err := os.ReadFile("../../testdata/sync/chain.json")
	if err != nil {
		t.Fatal(err)
	}
	var vectors struct {
		Events    []wire.Raw `json:"events"`
		Canonical []string   `json:"canonical"`
		Hashes    []string   `json:"hashes"`
		Links     []string   `json:"links"`
	}
	if err := json.Unmarshal(raw, &vectors); err != nil {
		t.Fatal(err)
	}
	head, err := VerifyChain(vectors.Events)
	if n := len(vectors.Events); err != nil || n < 3 || len(vectors.Hashes) != n || head != vectors.Hashes[n-1] {
		t.Fatalf("got head %s, %v, want the last hash of the file", head, err)
	}
	link := ""
	for i, event := range vectors.Events {
		text, _ := Canonical(event) // verified above
		hash, _ := Hash(event)
		var named struct {
			ID string `json:"id"`
		}
		if err := json.Unmarshal(event, &named); err != nil {
			t.Fatal(err)
		}
		link = Chain(link, named.ID, hash)
		if string(text) != vectors.Canonical[i] || hash != vectors.Hashes[i] || link != vectors.Links[i] {
			t.Errorf("event %d: got %s %s %s", i+1, text, hash, link)
		}
	}
}
