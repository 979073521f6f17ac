package store

import (
	"encoding/json"
	"fmt"
	"slices"

	"brimline/schema"
	"brimline/schema/fault"
	"brimline/sync/merge"
)

// reminderFields are the fields two people may edit at the same time. What a
// reminder is about (id, vehicle_id) never changes.
var reminderFields = []string{"check_id", "rule", "due_date", "due_km", "reason", "done_ms", "done_check"}

func reminderField(name string) bool { return slices.Contains(reminderFields, name) }

// heldReminder is a reminder with who last wrote each field.
type heldReminder struct {
	reminder schema.Reminder
	cells    merge.Record
	seq      int64
}

// lost is a value that another edit overwrote, or that came too late.
type lost struct {
	field string
	cell  merge.Cell
}

// mergeReminder returns held with edit applied field by field: the later stamp
// wins, where a stamp from a clock that runs ahead counts as at most two
// minutes after it was received. Being done is a fact: an edit can move it but
// not take it back. held.cells is empty for a reminder that is new.
func mergeReminder(held heldReminder, edit ReminderEdit, receivedMS int64) (heldReminder, []lost, *fault.Error) {
	values, err := fieldValues(edit.Reminder)
	if err != nil {
		return heldReminder{}, nil, fault.Bad("json.form", "body.reminder", err.Error())
	}
	fields := edit.Fields
	if len(held.cells) == 0 { // everything the first edit says is its own
		fields = reminderFields
		held.reminder = edit.Reminder
	}
	if held.reminder.VehicleID != edit.Reminder.VehicleID {
		return heldReminder{}, nil, fault.Bad("reminder.vehicle", "body.reminder.vehicle_id", "must stay the same; make a new reminder for another vehicle")
	}
	var over []lost
	incoming := merge.Record{}
	for _, name := range fields {
		old, known := held.cells[name]
		cell := merge.Cell{Value: values[name], At: merge.Clamp(edit.Stamp, receivedMS, old.At)}
		if undone := name == "done_ms" && values[name] == "0" || name == "done_check" && edit.Reminder.DoneMS == 0; undone && held.reminder.DoneMS != 0 {
			over = append(over, lost{name, cell})
			continue
		}
		if known && old.Value != cell.Value {
			loser := old
			if merge.Newer(old, cell) == old {
				loser = cell
			}
			over = append(over, lost{name, loser})
		}
		incoming[name] = cell
	}
	merged := heldReminder{cells: merge.Merge(held.cells, incoming), seq: held.seq}
	merged.reminder, err = reminderOf(held.reminder, merged.cells)
	if err != nil {
		return heldReminder{}, nil, fault.Bad("json.form", "body.reminder", err.Error())
	}
	if err := merged.reminder.Check(); err != nil {
		return heldReminder{}, nil, inField(err, "body.reminder.")
	}
	return merged, over, nil
}

// fieldValues returns each field of r as canonical JSON.
func fieldValues(r schema.Reminder) (map[string]string, error) {
	values := map[string]string{}
	for name, v := range map[string]any{"check_id": r.CheckID, "rule": r.Rule, "due_date": r.DueDate, "due_km": r.DueKM,
		"reason": r.Reason, "done_ms": r.DoneMS, "done_check": r.DoneCheck} {
		raw, err := json.Marshal(v)
		if err == nil {
			raw, err = merge.Canonical(raw)
		}
		if err != nil {
			return nil, fmt.Errorf("encode %s: %w", name, err)
		}
		values[name] = string(raw)
	}
	return values, nil
}

// reminderOf returns the reminder that the cells describe. base says what it is about.
func reminderOf(base schema.Reminder, cells merge.Record) (schema.Reminder, error) {
	r := schema.Reminder{ID: base.ID, VehicleID: base.VehicleID}
	for name, into := range map[string]any{"check_id": &r.CheckID, "rule": &r.Rule, "due_date": &r.DueDate, "due_km": &r.DueKM,
		"reason": &r.Reason, "done_ms": &r.DoneMS, "done_check": &r.DoneCheck} {
		if cell, known := cells[name]; known {
			if err := json.Unmarshal([]byte(cell.Value), into); err != nil {
				return schema.Reminder{}, fmt.Errorf("decode %s: %w", name, err)
			}
		}
	}
	return r, nil
}

// heldFrom reads a stored reminder. One that was put as a whole has no cells
// yet: its fields then count as written before every edit.
func heldFrom(d document) (heldReminder, error) {
	held := heldReminder{seq: d.seq}
	if err := json.Unmarshal(d.body, &held.reminder); err != nil {
		return held, fmt.Errorf("decode reminder %q: %w", d.id, err)
	}
	if err := json.Unmarshal(d.stamps, &held.cells); err != nil {
		return held, fmt.Errorf("decode stamps of reminder %q: %w", d.id, err)
	}
	if len(held.cells) > 0 {
		return held, nil
	}
	values, err := fieldValues(held.reminder)
	if err != nil {
		return held, err
	}
	held.cells = merge.Record{}
	for name, value := range values {
		held.cells[name] = merge.Cell{Value: value}
	}
	return held, nil
}
