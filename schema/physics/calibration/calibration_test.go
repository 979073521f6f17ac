//go:build !race && !js

// The trials draw numbers by the million: the race detector and the phone's
// runtime would take minutes over them and find nothing, as all is one
// goroutine of arithmetic that the golden vectors hold equal everywhere.
package calibration

import (
	"strings"
	"testing"
)

const testShare = 0.2

const trials = "../../../testdata/gearboxes/calibration.json"

func TestFiguresKeepTheirLimits(t *testing.T) {
	e := Effort{Share: testShare}
	figures, err := Figures(trials, e)
	if err != nil {
		t.Fatal(err)
	}
	if len(figures) < 80 {
		t.Errorf("only %d figures", len(figures))
	}
	for _, f := range figures {
		if !f.Held(e) {
			t.Errorf("%s, %s: %s, want %s (over %d)", f.Area, f.Name, f.number(f.Value), f.limits(), f.Count)
		}
	}
	var table strings.Builder
	if err := Write(&table, figures, e); err != nil {
		t.Fatal(err)
	}
	t.Logf("\n%s", table.String())
}

// A limit that nothing can break holds nothing.
func TestAFigureBeyondItsLimitsIsNotHeld(t *testing.T) {
	f := Figure{Value: 0.70, Low: 0.76, High: 0.84, Count: 500, Percent: true, Share: true}
	if f.Held(Full()) {
		t.Error("0.70 is held between 0.76 and 0.84")
	}
	f.Value = 0.60
	if f.Held(Effort{Share: 0.2}) {
		t.Error("0.60 of 500 is within chance of 0.76")
	}
	f.Value = 0.80
	if !f.Held(Full()) {
		t.Error("0.80 is not held between 0.76 and 0.84")
	}
}
