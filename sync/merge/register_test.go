package merge

import (
	"maps"
	"testing"
	"testing/quick"

	"pgregory.net/rapid"
)

func TestNewerLaws(t *testing.T) {
	laws := map[string]any{
		"commutative": func(a, b Cell) bool { return Newer(a, b) == Newer(b, a) },
		"associative": func(a, b, c Cell) bool { return Newer(a, Newer(b, c)) == Newer(Newer(a, b), c) },
		"idempotent":  func(a Cell) bool { return Newer(a, a) == a },
		"one of both": func(a, b Cell) bool { n := Newer(a, b); return n == a || n == b },
	}
	for name, law := range laws {
		t.Run(name, func(t *testing.T) {
			if err := quick.Check(law, &quick.Config{MaxCount: 20000}); err != nil {
				t.Error(err)
			}
		})
	}
}

// Few walls, counts, devices and values, so that ties of every kind come up.
func drawRecord(t *rapid.T, label string) Record {
	return rapid.MapOfN(rapid.SampledFrom([]string{"due_date", "due_km", "reason"}), rapid.Custom(func(t *rapid.T) Cell {
		return Cell{
			Value: rapid.SampledFrom([]string{`"x"`, `"y"`, `1`}).Draw(t, "value"),
			At: Stamp{
				rapid.Int64Range(0, 2).Draw(t, "wall"), rapid.Uint32Range(0, 1).Draw(t, "count"),
				rapid.SampledFrom([]string{"a", "b"}).Draw(t, "device"),
			},
		}
	}), 0, 3).Draw(t, label)
}

func TestMergeLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := Record(drawRecord(t, "a")), Record(drawRecord(t, "b")), Record(drawRecord(t, "c"))
		before := maps.Clone(a)
		if !maps.Equal(Merge(a, b), Merge(b, a)) {
			t.Fatal("the order of two matters")
		}
		if !maps.Equal(Merge(a, Merge(b, c)), Merge(Merge(a, b), c)) {
			t.Fatal("the order of three matters")
		}
		if !maps.Equal(Merge(a, a), a) || !maps.Equal(Merge(Merge(a, b), b), Merge(a, b)) {
			t.Fatal("an edit that comes twice counts twice")
		}
		if !maps.Equal(a, before) {
			t.Fatal("Merge changed what it was given")
		}
	})
}

func TestFieldsAreWonOneByOne(t *testing.T) {
	cell := func(value string, wallMS int64, device string) Cell { return Cell{value, Stamp{wallMS, 0, device}} }
	ann := Record{"due_date": cell(`"2026-05-01"`, 10, "ann"), "reason": cell(`"wet"`, 30, "ann")}
	bob := Record{"due_date": cell(`"2026-06-01"`, 20, "bob"), "due_km": cell(`5000`, 5, "bob")}
	want := Record{"due_date": cell(`"2026-06-01"`, 20, "bob"), "reason": cell(`"wet"`, 30, "ann"), "due_km": cell(`5000`, 5, "bob")}
	if got := Merge(ann, bob); !maps.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}
