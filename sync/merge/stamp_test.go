package merge

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// The cases are those of the hybrid clock published with Kulkarni et al. 2014 as
// worked by MattiaPispisa/crdt, packages/hlc/test/hlc_test.dart.
func TestClockCases(t *testing.T) {
	at := func(wallMS int64, count uint32) Clock { return Clock{wallMS, count} }
	tests := []struct {
		name         string
		clock, heard Clock
		nowMS        int64
		want         Clock
		local        bool
	}{
		{"local, clock behind", at(1000, 5), Clock{}, 500, at(1000, 6), true},
		{"local, clock ahead", at(1000, 5), Clock{}, 2000, at(2000, 0), true},
		{"heard, same time", at(1000, 5), at(1000, 3), 500, at(1000, 6), false},
		{"heard, later", at(1000, 5), at(2000, 3), 500, at(2000, 4), false},
		{"heard, now latest", at(1000, 5), at(2000, 3), 3000, at(3000, 0), false},
		{"heard, now between", at(1000, 5), at(2000, 3), 1500, at(2000, 4), false},
		{"heard, all the same", at(1000, 5), at(1000, 3), 1000, at(1000, 6), false},
		{"heard, earlier", at(2000, 5), at(1000, 3), 1500, at(2000, 6), false},
		{"full counter borrows", at(2000, math.MaxUint32), Clock{}, 1500, at(2001, 0), true},
		{"full counter heard", at(1000, 0), at(2000, math.MaxUint32), 1500, at(2001, 0), false},
	}
	for _, tt := range tests {
		got := tt.clock.Hear(tt.heard.Stamp("b"), tt.nowMS)
		if tt.local {
			got = tt.clock.Tick(tt.nowMS)
		}
		if got != tt.want {
			t.Errorf("%s: got %v, want %v", tt.name, got, tt.want)
		}
	}
}

// Two phones, messages late and twice; worked by hand from the paper's rules.
func TestClockTrace(t *testing.T) {
	var a, b Clock
	check := func(step string, got, want Clock) {
		t.Helper()
		if got != want {
			t.Errorf("%s: got %v, want %v", step, got, want)
		}
	}
	a = a.Tick(10)
	first := a.Stamp("a")
	check("a sends at 10", a, Clock{10, 0})
	b = b.Hear(first, 3)
	check("b hears at 3", b, Clock{10, 1})
	b = b.Tick(4)
	second := b.Stamp("b")
	check("b sends at 4", b, Clock{10, 2})
	a = a.Hear(second, 10)
	check("a hears at 10", a, Clock{10, 3})
	a = a.Tick(13)
	third := a.Stamp("a")
	check("a sends at 13", a, Clock{13, 0})
	b = b.Tick(9)
	check("b edits at 9", b, Clock{10, 3})
	b = b.Hear(third, 12)
	check("b hears at 12", b, Clock{13, 1})
	b = b.Tick(15)
	check("b edits at 15", b, Clock{15, 0})
	check("a hears the second again at 14", a.Hear(second, 14), Clock{14, 0})
}

func TestClockNeverGoesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var c Clock
		wall := rapid.Int64Range(-5, MaxWallMS)
		for range 20 {
			before, now := c, wall.Draw(t, "now")
			if rapid.Bool().Draw(t, "own") {
				c = c.Tick(now)
			} else {
				heard := Stamp{wall.Draw(t, "heard"), rapid.SampledFrom([]uint32{0, 1, math.MaxUint32}).Draw(t, "count"), "b"}
				if c = c.Hear(heard, now); c.Stamp("").Compare(Stamp{heard.WallMS, heard.Count, ""}) <= 0 {
					t.Fatalf("got %v after hearing %v, want later", c, heard)
				}
			}
			if c.Stamp("").Compare(before.Stamp("")) <= 0 || c.WallMS < now {
				t.Fatalf("got %v after %v at %d, want later", c, before, now)
			}
		}
	})
}

func TestClamp(t *testing.T) {
	const now = 1_700_000_000_000
	edge := int64(now + MaxLeadMS)
	tests := map[string]struct{ in, held, want Stamp }{
		"in the past":                {Stamp{now - 5, 3, "a"}, Stamp{}, Stamp{now - 5, 3, "a"}},
		"at the edge":                {Stamp{edge, 3, "a"}, Stamp{}, Stamp{edge, 3, "a"}},
		"one beyond":                 {Stamp{edge + 1, 3, "a"}, Stamp{}, Stamp{edge, 3, "a"}},
		"a year ahead":               {Stamp{edge + 3e10, 0, "a"}, Stamp{}, Stamp{edge, 0, "a"}},
		"after its own, clamped too": {Stamp{edge + 9, 0, "a"}, Stamp{edge, 4, "a"}, Stamp{edge, 5, "a"}},
		"after its own, true":        {Stamp{now, 0, "a"}, Stamp{now + 1, 0, "a"}, Stamp{now, 0, "a"}},
		"beside another's":           {Stamp{edge + 9, 0, "a"}, Stamp{edge, 4, "b"}, Stamp{edge, 0, "a"}},
		"the server's clock is back": {Stamp{edge + 9, 0, "a"}, Stamp{edge + 5, 0, "a"}, Stamp{edge + 5, 1, "a"}},
	}
	for name, tt := range tests {
		if got := Clamp(tt.in, now, tt.held); got != tt.want {
			t.Errorf("%s: got %v, want %v", name, got, tt.want)
		}
	}
}

// However fast a phone's clock, its last edit of a field is the one that stays
// against its own, and another phone's edit more than MaxLeadMS later wins.
func TestClampKeepsOneDevicesOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		received := int64(1_700_000_000_000)
		lead := rapid.Int64Range(0, 4*MaxLeadMS).Draw(t, "lead")
		var clock Clock
		var field Cell
		last := ""
		for i := range rapid.IntRange(1, 6).Draw(t, "edits") {
			received += rapid.SampledFrom([]int64{0, 0, 1, MaxLeadMS}).Draw(t, "pause")
			clock = clock.Tick(received + lead)
			last = string(rune('f' - i)) // a later edit has the smaller text
			field = Newer(field, Cell{last, Clamp(clock.Stamp("fast"), received, field.At)})
		}
		if field.Value != last {
			t.Fatalf("got %q, want the last edit %q", field.Value, last)
		}
		late := received + MaxLeadMS + 1
		if field = Newer(field, Cell{"other", Clamp(Stamp{late, 0, "other"}, late, field.At)}); field.Value != "other" {
			t.Fatalf("got %q, want the edit made genuinely later", field.Value)
		}
	})
}

func TestStampCheck(t *testing.T) {
	for stamp, good := range map[Stamp]bool{
		{0, 0, "a"}: true, {MaxWallMS, math.MaxUint32, "a"}: true,
		{-1, 0, "a"}: false, {MaxWallMS + 1, 0, "a"}: false, {5, 0, ""}: false,
	} {
		if err := stamp.Check(); (err == nil) != good {
			t.Errorf("%v: got %v, want good %v", stamp, err, good)
		}
	}
}

func TestCompareIsAnOrder(t *testing.T) {
	stamps := []Stamp{{1, 0, "a"}, {1, 0, "b"}, {1, 1, "a"}, {2, 0, "a"}}
	for i, a := range stamps {
		for j, b := range stamps {
			if got, want := a.Compare(b), slices.Compare([]int{i}, []int{j}); got != want {
				t.Errorf("%v to %v: got %d, want %d", a, b, got, want)
			}
		}
	}
}
