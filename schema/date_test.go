package schema

import (
	"testing"
	"time"
)

// Every day to 2200 against the standard library's calendar.
func TestDate(t *testing.T) {
	day := time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC)
	for n := 0; day.Year() < 2200; n++ {
		if got, want := Date(n), day.Format("2006-01-02"); got != want {
			t.Fatalf("Date(%d) = %s, want %s", n, got, want)
		}
		if err := date("due", Date(n)); day.Year() >= 2000 && err != nil {
			t.Fatalf("Date(%d): %v", n, err)
		}
		day = day.AddDate(0, 0, 1)
	}
}
