package physics

import (
	"testing"

	"brimline/schema/fault"
)

// wantFault requires a fault of the kind Invalid with this code and field.
func wantFault(t *testing.T, err error, code, field string) {
	t.Helper()
	f := fault.As(err)
	if f == nil {
		t.Errorf("got %v, want a fault %s on %s", err, code, field)
		return
	}
	if f.Kind != fault.Invalid || f.Code != code || f.Field != field {
		t.Errorf("got %s %s on %q (%s), want %s on %q", f.Kind, f.Code, f.Field, f.Message, code, field)
	}
	if f.Message == "" {
		t.Errorf("the fault %s on %s has no message", code, field)
	}
}
