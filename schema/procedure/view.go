package procedure

import (
	"brimline/schema"
	"brimline/schema/physics"
)

// View is everything the screen shows of a check at one moment. It is derived
// from the profile and the log alone, so the phone and the server see the same.
type View struct {
	State    State                         `json:"state"`
	Allowed  []string                      `json:"allowed_next"`       // event kinds that may be appended now
	Next     Advice                        `json:"next"`               // the one thing to do now
	Plan     []PlanStep                    `json:"plan"`               // the steps still ahead, in order
	Timers   []Timer                       `json:"timers"`             // running waits and exposures
	Hazards  []string                      `json:"hazards"`            // codes of what can hurt at this moment
	Stop     []string                      `json:"stop_safely"`        // acts, in order, that make this moment safe
	Forecast *physics.WarmupForecastOutput `json:"forecast,omitempty"` // while the engine warms the fluid
	Drip     *physics.DripJudgeOutput      `json:"drip,omitempty"`     // of the watch that is open or was last closed
	Branch   *BranchView                   `json:"branch,omitempty"`   // the branch table's answer while the plug is out
	GoSheet  GoSheet                       `json:"go_sheet"`
	Tilt     *physics.TiltShiftOutput      `json:"tilt,omitempty"`
	Result   *Result                       `json:"result,omitempty"`
	Trace    []TracePoint                  `json:"trace"`            // the readings, for the picture
	Warmed   *schema.Warming               `json:"warmed,omitempty"` // of a closed check: what it teaches about the gearbox
}

// State is what the log says is so.
type State struct {
	CheckID        schema.CheckID   `json:"check_id"`
	VehicleID      schema.VehicleID `json:"vehicle_id"`
	Phase          string           `json:"phase"` // empty, prepare, run or done
	Events         int              `json:"events"`
	StartedMS      int64            `json:"started_ms"`
	Place          string           `json:"place"`    // seat, under, beside
	Engine         string           `json:"engine"`   // off or idle
	PlugOut        bool             `json:"plug_out"` // false: in
	Cracked        bool             `json:"cracked"`  // the plug has been proved to come undone
	Selector       string           `json:"selector"`
	Exercising     bool             `json:"exercising"`
	ExerciseAt     int              `json:"exercise_at"` // index of the position being held, -1 for none
	Exercised      bool             `json:"exercised"`   // since the engine was last started
	Openings       int              `json:"openings"`
	Watching       bool             `json:"watching"` // a drip watch is open
	Drips          int              `json:"drips"`    // of the watch that is open or was last closed
	Seen           string           `json:"seen"`     // last observation of this opening
	TempC          *float64         `json:"temp_c"`   // best estimate now
	LastReading    *ReadingView     `json:"last_reading"`
	AddedML        float64          `json:"added_ml"`
	CaughtML       float64          `json:"caught_ml"`
	FitFinal       bool             `json:"fit_final"` // plug fitted with its seal and torque
	Zone           string           `json:"zone"`      // below, in_time, in_short, above or unknown
	Cycle          int              `json:"cycle"`
	Circuit        string           `json:"cooler_circuit"`
	Irregular      []string         `json:"irregular"` // codes of what went outside the procedure
	ElapsedS       float64          `json:"elapsed_s"` // since the check was opened, best estimate
	EngineOnS      float64          `json:"engine_on_s"`
	Outcome        string           `json:"outcome"` // set or not_done once the check is finished
	Reason         string           `json:"reason"`
	ClockGap       *ClockGap        `json:"clock_gap,omitempty"` // the last time the app was away or a clock jumped
	Unproven       bool             `json:"unproven"`
	ProfileID      schema.ProfileID `json:"profile_id"`
	ProfileEdition int              `json:"profile_edition"`
}

// ReadingView is one temperature as it was entered.
type ReadingView struct {
	EventID schema.EventID `json:"event_id"`
	AtS     float64        `json:"t_s"`
	TempC   float64        `json:"temp_c"`
	Value   float64        `json:"value"`
	Unit    string         `json:"unit"` // C or F
	Source  string         `json:"source"`
	AgeS    float64        `json:"age_s"`
}

// TracePoint is one reading on the picture, in seconds since the check was
// opened: the same time axis as the forecast's.
type TracePoint struct {
	EventID  schema.EventID `json:"event_id"`
	AtS      float64        `json:"t_s"`
	TempC    float64        `json:"temp_c"`
	Doubtful bool           `json:"doubtful"`
}

// ClockGap says that time was not seen to pass.
type ClockGap struct {
	WallS     float64 `json:"wall_s"`    // by the calendar clock
	MonoS     float64 `json:"mono_s"`    // by the monotonic clock; 0 after a restart
	Restarted bool    `json:"restarted"` // the app was closed in between
	AtS       float64 `json:"t_s"`
}

// Advice is the one thing to do now: a code for the words, and where.
type Advice struct {
	Code     string  `json:"code"`
	Act      string  `json:"act"`   // event kind of the main button, or ""
	Place    string  `json:"place"` // seat, under or beside
	StepID   string  `json:"step_id,omitempty"`
	Text     string  `json:"text,omitempty"` // the profile's own words for the step
	WaitS    float64 `json:"wait_s,omitempty"`
	Argument string  `json:"argument,omitempty"` // for example the selector position
	AmountML float64 `json:"amount_ml,omitempty"`
}

// PlanStep is one step still ahead. FromS is seconds from now.
type PlanStep struct {
	Act      string  `json:"act"`
	Place    string  `json:"place"`
	FromS    float64 `json:"from_s"`
	TypicalS float64 `json:"typical_s"`
	SDS      float64 `json:"sd_s"`
}

// Timer is a wait (done once the surest elapsed time is past TotalS) or an
// exposure (over once the longest possible elapsed time is past TotalS).
type Timer struct {
	Code     string  `json:"code"`
	Kind     string  `json:"kind"` // wait or exposure
	TotalS   float64 `json:"total_s"`
	ElapsedS float64 `json:"elapsed_s"`
	LeftS    float64 `json:"left_s"`
	Certain  bool    `json:"certain"` // false: the app was away; confirm or start the wait again
}

// BranchView is the branch table's answer to what was last seen.
type BranchView struct {
	Seen string `json:"seen"`
	Zone string `json:"zone"`
	Do   string `json:"do"`
}

// GoSheet is the one decision before the engine is started, with every input.
type GoSheet struct {
	Ready   bool      `json:"ready"` // every input says go
	Items   []GoItem  `json:"items"`
	Decided string    `json:"decided"` // go, no_go or ""
	Refused []string  `json:"refused"` // codes of the items that say no
	Tilt    *GoTilt   `json:"tilt,omitempty"`
	Cold    *ColdView `json:"cold,omitempty"`
}

// GoItem is one line of the go sheet.
type GoItem struct {
	Code  string `json:"code"`  // cautions, profile, attitude, cold, start_limit, plug, kit
	State string `json:"state"` // open, yes or no
	Why   string `json:"why,omitempty"`
}

// GoTilt is the vehicle's attitude as measured.
type GoTilt struct {
	PitchDeg float64 `json:"pitch_deg"`
	RollDeg  float64 `json:"roll_deg"`
	SDDeg    float64 `json:"sd_deg"`
	Method   string  `json:"method"`
}

// ColdView is the cold plausibility test of the temperature reading.
type ColdView struct {
	GearboxC float64  `json:"gearbox_c"`
	CoolantC *float64 `json:"coolant_c,omitempty"`
	AirC     float64  `json:"air_c"`
	Codes    []string `json:"codes"`
}

// Result is what the check came to.
type Result struct {
	Level    physics.LevelEstimateOutput `json:"level"`
	Input    physics.LevelEstimateInput  `json:"input"` // what the level was computed from
	InML     float64                     `json:"in_ml"`
	OutML    float64                     `json:"out_ml"`
	NetML    float64                     `json:"net_ml"`
	Status   string                      `json:"status"` // provisional, final or not_done
	Reason   string                      `json:"reason,omitempty"`
	PlugInC  *float64                    `json:"plug_in_c,omitempty"`
	Reminder *Proposal                   `json:"reminder,omitempty"`
	Unproven bool                        `json:"unproven"`
}

// Proposal is the next visit the result asks for.
type Proposal struct {
	Rule    string `json:"rule"`
	DueDate string `json:"due_date"`
	Reason  string `json:"reason"` // code
}
