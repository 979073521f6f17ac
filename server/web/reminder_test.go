package web_test

import (
	"encoding/json"
	"testing"

	"brimline/schema"
	"brimline/server/store"
	"brimline/sync/merge"
)

// reminderEdit is an edit of reminder n, made so many minutes after the test's
// clock began, which sets fields to values that depend on count.
func reminderEdit(n, minutes int, count uint32, device string, fields ...string) store.ReminderEdit {
	if fields == nil {
		fields = []string{}
	}
	return store.ReminderEdit{
		Reminder: schema.Reminder{ID: schema.ReminderID(id("8", n)), VehicleID: schema.VehicleID(id("d", 1)), Rule: "by_hand", DueDate: "2026-06-15", Reason: "look again"},
		Fields:   fields, Stamp: merge.Stamp{WallMS: 1_780_000_000_000 + int64(minutes)*60_000, Count: count, Device: device},
	}
}

// reminder returns reminder n as a phone pulls it.
func (s *server) reminder(n int) schema.Reminder {
	s.t.Helper()
	items, _ := s.pullAll(redManager, 500)
	var r schema.Reminder
	for _, item := range items {
		if item.Kind == "reminder" && item.ID == id("8", n) {
			must(s.t, json.Unmarshal(item.Body, &r))
		}
	}
	return r
}

// TestReminderEdits lets two phones edit one reminder, in an order other than
// that of their stamps.
func TestReminderEdits(t *testing.T) {
	s := newServer(t)
	a, b := &phone{s: s, who: redMechanic}, &phone{s: s, who: redLead}
	edits := 0
	push := func(p *phone, minutes int, change func(*schema.Reminder), fields ...string) {
		t.Helper()
		edits++
		e := reminderEdit(1, minutes, 0, p.who.device, fields...)
		change(&e.Reminder)
		wantStatuses(t, p.push(p.change(id("2", edits), "reminder", e)), map[string]int{"applied": 1})
	}
	push(a, -60, func(*schema.Reminder) {}, "due_date")
	push(b, -30, func(r *schema.Reminder) { r.Reason = "lead's words" }, "reason")
	push(a, -40, func(r *schema.Reminder) { r.Reason, r.DueDate = "came too late", "2026-07-01" }, "reason", "due_date")
	got := s.reminder(1)
	if got.Reason != "lead's words" || got.DueDate != "2026-07-01" {
		t.Errorf("reminder = %+v, want the lead's words and the mechanic's date", got)
	}

	// A clock a day ahead counts as two minutes ahead, so an edit made later by a right clock wins.
	push(a, 24*60, func(r *schema.Reminder) { r.DueDate = "2026-08-01" }, "due_date")
	s.pass(5 * 60 * 1e9)
	push(b, 5, func(r *schema.Reminder) { r.DueDate = "2026-09-01" }, "due_date")
	if got := s.reminder(1); got.DueDate != "2026-09-01" {
		t.Errorf("due_date = %s, want the edit of the right clock, 2026-09-01", got.DueDate)
	}

	// Done is a fact: an edit that knows nothing of it does not take it back.
	push(a, 6, func(r *schema.Reminder) { r.DoneMS = 1_780_000_300_000 }, "done_ms")
	push(b, 7, func(r *schema.Reminder) { r.DoneMS = 0 }, "done_ms")
	if got := s.reminder(1); got.DoneMS != 1_780_000_300_000 {
		t.Errorf("done_ms = %d, want it to stay", got.DoneMS)
	}

	moved := reminderEdit(1, 9, 0, redMechanic.device, "due_date")
	moved.Reminder.VehicleID = schema.VehicleID(id("d", 9))
	wantStatuses(t, a.push(a.change(id("2", 99), "reminder", moved)), map[string]int{"rejected reminder.vehicle": 1})
}
