package procedure

import (
	"math"
	"strconv"
	"strings"

	"brimline/schema"
	"brimline/schema/fault"
	"brimline/schema/wire"
)

// Bodies of the events, one type a kind. Times are not in them: an event's
// stamp says when.
type (
	// Started opens a check.
	Started struct {
		VehicleID      schema.VehicleID `json:"vehicle_id"`
		UnitID         schema.UnitID    `json:"unit_id"`
		ProfileID      schema.ProfileID `json:"profile_id"`
		ProfileEdition int              `json:"profile_edition"`
		PersonID       schema.PersonID  `json:"person_id"`
		DeviceID       schema.DeviceID  `json:"device_id"`
		Reason         string           `json:"reason"`
		Circuit        string           `json:"cooler_circuit"` // untouched, opened, drained, flushed, replaced, unknown
		Cycle          int              `json:"cycle"`          // 1 or 2
		UTCOffsetMin   int              `json:"utc_offset_min"` // of the place of work
		Warmer         string           `json:"warmer"`         // yes, no, unknown
		FirstCheckID   schema.CheckID   `json:"first_check_id,omitempty"`
		HotDrive       bool             `json:"hot_drive,omitempty"` // a hot drive lies between this check and the first
		Prior          *schema.Warming  `json:"prior,omitempty"`     // what earlier checks of this gearbox let one expect
		Raised         bool             `json:"raised"`
		Indoors        bool             `json:"indoors"`
	}
	// Acknowledged says that the person has read a caution.
	Acknowledged struct {
		CautionID schema.CautionID `json:"caution_id"`
		Edition   int              `json:"edition"`
	}
	// Tilt is the vehicle's attitude. Nose up and right side up are positive.
	Tilt struct {
		PitchDeg float64 `json:"pitch_deg"`
		RollDeg  float64 `json:"roll_deg"`
		SDDeg    float64 `json:"sd_deg"`
		Method   string  `json:"method"` // reversal or typed
		First    *Pair   `json:"first,omitempty"`
		Turned   *Pair   `json:"turned,omitempty"`
		Where    string  `json:"where"`
	}
	// Pair is one reading of the phone as a level.
	Pair struct {
		PitchDeg float64 `json:"pitch_deg"`
		RollDeg  float64 `json:"roll_deg"`
	}
	// Cold is the plausibility test before the engine is started.
	Cold struct {
		GearboxC  float64  `json:"gearbox_c"`
		CoolantC  *float64 `json:"coolant_c,omitempty"`
		AirC      float64  `json:"air_c"`
		Source    string   `json:"source"`              // reader, probe, gun
		Explained string   `json:"explained,omitempty"` // why the three differ
	}
	// Decided is the go or no-go.
	Decided struct {
		Go     bool   `json:"go"`
		Reason string `json:"reason,omitempty"`
	}
	// Moved says where the person is now.
	Moved struct {
		To string `json:"to"` // seat, under, beside
	}
	// EngineStopped says why the engine stands.
	EngineStopped struct {
		Cause string `json:"cause"` // mechanic, stalled, emergency
	}
	// Reading is one temperature of the fluid as it was entered.
	Reading struct {
		Value     float64 `json:"value"`
		Unit      string  `json:"unit"`   // C or F
		Source    string  `json:"source"` // reader, probe, gun
		Confirmed bool    `json:"confirmed,omitempty"`
	}
	// Position is one selector position held.
	Position struct {
		Position string `json:"position"`
	}
	// ExerciseFinished ends the gear exercise, complete or broken off.
	ExerciseFinished struct {
		Complete bool `json:"complete"`
	}
	// PlugClosed says that the plug is in again.
	PlugClosed struct {
		Final    bool     `json:"final"` // fitted for good: seal and torque
		Seal     string   `json:"seal,omitempty"`
		TorqueNM *float64 `json:"torque_nm,omitempty"`
	}
	// Flow is what is seen at the open plug.
	Flow struct {
		Seen string `json:"seen"`
	}
	// Volume is fluid that went in or came out.
	Volume struct {
		Amount float64  `json:"amount"`
		Unit   string   `json:"unit"` // ml or g
		TempC  *float64 `json:"temp_c,omitempty"`
	}
	// Corrected replaces or voids an earlier entry, which stays in the log.
	Corrected struct {
		EventID schema.EventID `json:"event_id"`
		Void    bool           `json:"void,omitempty"`
		Body    wire.Raw       `json:"body,omitempty"`
	}
	// Written is a note.
	Written struct {
		Text string `json:"text"`
	}
	// Resumed says that the app was away.
	Resumed struct {
		HiddenWallMS int64    `json:"hidden_wall_ms"`
		HiddenMonoMS *float64 `json:"hidden_mono_ms,omitempty"`
		Restarted    bool     `json:"restarted"`
	}
	// StopBegun says that the work is being broken off safely.
	StopBegun struct {
		Reason string `json:"reason"`
	}
	// Finished closes the check.
	Finished struct {
		Outcome string `json:"outcome"` // set or not_done
		Reason  string `json:"reason,omitempty"`
	}
	// Nothing is the body of an event that says all by its kind.
	Nothing struct{}
)

// Circuits, Sources and NotDone are closed lists of the bodies above.
var (
	Circuits = []string{"untouched", "opened", "drained", "flushed", "replaced", "unknown"}
	Sources  = []string{"reader", "probe", "gun"}
	NotDone  = []string{"too_warm", "slope", "cold_implausible", "overrun", "no_time", "bad_fluid", "wrong_fluid", "seized_plug", "find_cause",
		"interrupted", "unsafe", "no_tool", "customer", "other"}
	StopReasons = []string{"phone_call", "person_near", "unwell", "alarm", "weather", "wrong_fluid", "bad_fluid", "stalled", "overrun", "reader_dead", "plug", "leak", "other"}
	Reasons     = []string{"level_check", "after_drain", "after_repair", "after_cooler_work", "leak_search", "second_cycle", "complaint"}
)

// decode reads one body strictly: an unknown field or a wrong type is a fault
// that names the field.
func decode[T any](raw wire.Raw) (T, error) {
	var v T
	if len(raw) == 0 {
		raw = wire.Raw("{}")
	}
	return v, wire.ReadStrict(raw, &v)
}

func oneOf(field, s string, words ...string) error {
	for _, w := range words {
		if s == w {
			return nil
		}
	}
	return fault.Bad("word.unknown", field, "must be one of: "+strings.Join(words, ", "))
}

func between(field string, v, low, high float64, unit string) error {
	if math.IsNaN(v) || v < low || v > high {
		return fault.Bad("number.range", field, "must lie between "+num(low)+" and "+num(high)+" "+unit)
	}
	return nil
}

func num(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// firstOf returns the first error that is not nil.
func firstOf(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

func (b Started) check() error {
	if b.ProfileEdition < 1 {
		return fault.Bad("number.range", "profile_edition", "must be at least 1")
	}
	return firstOf(oneOf("reason", b.Reason, Reasons...), oneOf("cooler_circuit", b.Circuit, Circuits...),
		between("cycle", float64(b.Cycle), 1, 2, ""), between("utc_offset_min", float64(b.UTCOffsetMin), -840, 840, "min"),
		oneOf("warmer", b.Warmer, "yes", "no", "unknown"), b.checkPrior())
}

func (b Started) checkPrior() error {
	p := b.Prior
	if p == nil {
		return nil
	}
	return firstOf(between("prior.rise_c.mean", p.RiseC.Mean, 1, 200, "°C"), between("prior.rise_c.sd", p.RiseC.SD, 0.1, 100, "°C"),
		between("prior.time_constant_s.mean", p.TimeConstantS.Mean, 60, 36000, "s"), between("prior.time_constant_s.sd", p.TimeConstantS.SD, 1, 36000, "s"))
}

func (b Tilt) check() error {
	return firstOf(between("pitch_deg", b.PitchDeg, -30, 30, "°"), between("roll_deg", b.RollDeg, -30, 30, "°"),
		between("sd_deg", b.SDDeg, 0.05, 5, "°"), oneOf("method", b.Method, "reversal", "typed"))
}

func (b Cold) check() error {
	err := firstOf(between("gearbox_c", b.GearboxC, -40, 150, "°C"), between("air_c", b.AirC, -40, 55, "°C"), oneOf("source", b.Source, Sources...))
	if err == nil && b.CoolantC != nil {
		err = between("coolant_c", *b.CoolantC, -40, 130, "°C")
	}
	return err
}

// tempC returns the reading in °C.
func (b Reading) tempC() float64 {
	if b.Unit == "F" {
		return (b.Value - 32) / 1.8
	}
	return b.Value
}

func (b Reading) check() error {
	if err := firstOf(oneOf("unit", b.Unit, "C", "F"), oneOf("source", b.Source, Sources...)); err != nil {
		return err
	}
	if b.Unit == "F" {
		return between("value", b.Value, -40, 340, "°F")
	}
	return between("value", b.Value, -40, 170, "°C")
}

func (b Volume) check() error {
	err := firstOf(oneOf("unit", b.Unit, "ml", "g"), between("amount", b.Amount, 0, 20000, b.Unit))
	if err == nil && b.TempC != nil {
		err = between("temp_c", *b.TempC, -40, 150, "°C")
	}
	return err
}

func (b PlugClosed) check() error {
	if !b.Final {
		return nil
	}
	err := oneOf("seal", b.Seal, "new", "reused")
	if err == nil && b.TorqueNM == nil {
		err = fault.Bad("torque.missing", "torque_nm", "say the torque the plug was tightened to")
	}
	if err == nil {
		err = between("torque_nm", *b.TorqueNM, 1, 200, "N·m")
	}
	return err
}
