package demo

import (
	"encoding/json"
	"fmt"
	"time"

	"brimline/schema"
	"brimline/server/store"
	"brimline/sync/merge"
)

// reminderEdit is one edit of a reminder by a person at a moment.
type reminderEdit struct {
	who    person
	sentMS int64 // when the phone's change reached the server
	edit   store.ReminderEdit
}

// allFields is what the first edit of a reminder says, doneFields what the one
// says that settles it.
var (
	allFields  = []string{"check_id", "rule", "due_date", "reason"}
	doneFields = []string{"done_ms", "done_check"}
)

func newEdit(who person, atMS, sentMS int64, r schema.Reminder, fields []string) reminderEdit {
	return reminderEdit{who: who, sentMS: sentMS, edit: store.ReminderEdit{Reminder: r, Fields: fields, Stamp: merge.Stamp{WallMS: atMS, Device: string(who.device)}}}
}

// change is the edit as the phone sends it.
func (e reminderEdit) change() (store.Change, error) {
	body, err := json.Marshal(e.edit)
	if err != nil {
		return store.Change{}, fmt.Errorf("encode reminder edit: %w", err)
	}
	g := ids{name: string(e.edit.Reminder.ID) + e.edit.Fields[0]}
	return store.Change{ID: g.next(e.edit.Stamp.WallMS), Kind: "reminder", V: 1, Body: body}, nil
}

// remind makes every reminder the checks asked for, the ones the people wrote
// themselves, and what was done about them until now.
func (st *story) remind() error {
	for i, t := range st.told {
		proposal := t.result.Reminder
		if proposal == nil {
			continue
		}
		r := schema.Reminder{ID: schema.ReminderID(derivedID("reminder", string(t.checkID), proposal.Rule)), VehicleID: t.record.ID, CheckID: t.checkID,
			Rule: proposal.Rule, DueDate: proposal.DueDate, Reason: proposal.Reason}
		st.reminders = append(st.reminders, newEdit(t.who, t.endMS, t.sentMS(st.calendar.now), r, allFields))
		if err := st.settle(i, r); err != nil {
			return err
		}
	}
	for _, p := range st.planned() {
		atMS := st.calendar.now.Add(-30 * time.Hour).UnixMilli()
		st.reminders = append(st.reminders, newEdit(jory, atMS, atMS+soonMS, p, allFields))
	}
	return nil
}

// settle marks a reminder as done by the next check that set the level, or by a
// look under the vehicle where that is all it asks.
func (st *story) settle(i int, r schema.Reminder) error {
	t := st.told[i]
	if t.forget {
		return nil
	}
	if r.Rule == "wet_spot" {
		due, err := time.ParseInLocation(time.DateOnly, r.DueDate, st.calendar.now.Location())
		if err != nil {
			return fmt.Errorf("due date of visit %s: %w", t.key, err)
		}
		looked := due.Add(time.Duration(-2*24+int(seed("look", t.key)%4)*24+16) * time.Hour)
		if looked.Before(st.calendar.now.Add(-24 * time.Hour)) {
			r.DoneMS = looked.UnixMilli()
			st.reminders = append(st.reminders, newEdit(t.who, r.DoneMS, r.DoneMS+soonMS, r, doneFields))
		}
		return nil
	}
	for _, later := range st.told[i+1:] {
		if later.record.ID == t.record.ID && later.status != "not_done" {
			r.DoneMS, r.DoneCheck = later.endMS, later.checkID
			st.reminders = append(st.reminders, newEdit(later.who, r.DoneMS, later.sentMS(st.calendar.now), r, doneFields))
			return nil
		}
	}
	return nil
}

// planned lists the reminders the lead wrote by hand.
func (st *story) planned() []schema.Reminder {
	due := func(label string, days int, reason string) schema.Reminder {
		return schema.Reminder{ID: schema.ReminderID(fixedID("reminder", label)), VehicleID: schema.VehicleID(fixedID("vehicle", label)), Rule: "by_hand",
			DueDate: st.calendar.now.AddDate(0, 0, days).Format(time.DateOnly), Reason: reason}
	}
	return []schema.Reminder{
		due("Bakery van 3", 0, "First level check; stands in the yard from the evening before"),
		due("Bakery van 1", 5, "Loses about 0.1 L a month: look at the output seal, dye is in"),
		due("Library bus 1", 23, "Last set under the first edition: check by the corrected one"),
		due("Bakery van 5", 40, "Fluid change by the bakery's own interval"),
	}
}
