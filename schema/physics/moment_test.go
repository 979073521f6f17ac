package physics

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestMomentsAgreeWithTheStandardLibrary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		seconds := rapid.Int64Range(-62_000_000_000, 250_000_000_000).Draw(t, "seconds")
		offset := 60 * rapid.IntRange(-14*60, 14*60).Draw(t, "minutes")
		zone := time.FixedZone("", offset)
		text := time.Unix(seconds, 0).In(zone).Format(time.RFC3339)
		m, ok := parseMoment(text)
		if !ok || m.unixS != seconds || m.offsetS != int64(offset) {
			t.Fatalf("%s reads as %+v, %v, want %d", text, m, ok, seconds)
		}
		if m.text() != text {
			t.Fatalf("%s prints as %s", text, m.text())
		}
	})
}

func TestMomentsRefuseWhatIsNoTime(t *testing.T) {
	for _, text := range []string{
		"", "2026-03-01", "2026-03-01T10:00:00", "2026-02-29T10:00:00Z", "2026-13-01T10:00:00Z", "2026-03-01T24:00:00Z",
		"2026-03-01T10:60:00Z", "2026-03-01T10:00:00+1:00", "2026-03-01T10:00:00.Z", "2026/03/01T10:00:00Z", "2026-03-01T10:00:00+25:00",
		"2026-0a-01T10:00:00Z", "2026-03-01T10:00:00Zx", "2026-03-01X10:00:00Z",
	} {
		if m, ok := parseMoment(text); ok {
			t.Errorf("%q reads as %+v", text, m)
		}
	}
	for _, text := range []string{"2024-02-29T10:00:00.125+01:00", "2026-03-01t10:00:00z", "2026-03-01 10:00:00-05:30"} {
		if _, ok := parseMoment(text); !ok {
			t.Errorf("%q is refused", text)
		}
	}
}
