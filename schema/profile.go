package schema

import (
	"strconv"

	"brimline/schema/fault"
)

// Profile is one level-check procedure as data: what the service information
// says, with its source, and nothing that the source does not say. A figure
// that must not be defaulted is a pointer; nil means "cannot run".
type Profile struct {
	ID        ProfileID `json:"id"`
	Edition   int       `json:"edition"`
	Name      string    `json:"name"`
	Archetype string    `json:"archetype"` // A: side plug, engine running
	AppliesTo string    `json:"applies_to"`
	NotFor    string    `json:"not_for"`
	Changes   string    `json:"changes,omitempty"` // what this edition changed
	Source    *Source   `json:"source"`            // nil: the profile is unproven

	StartBelowC *Figure       `json:"start_below_c"`
	Window      *WindowFigure `json:"window"`
	Plug        *Plug         `json:"plug"`
	Engine      string        `json:"engine_at_reading"`   // idle or off
	Selector    string        `json:"selector_at_reading"` // P or N
	Exercise    *Exercise     `json:"exercise"`
	Attitude    *AttitudeRule `json:"attitude"`
	Fluid       *Fluid        `json:"fluid"`
	SecondCycle string        `json:"second_cycle"` // never, if cooler opened, always
	Limits      *Limits       `json:"limits"`
	Acceptance  *Band         `json:"acceptance,omitempty"` // nil: what the window itself implies
	Steps       []Step        `json:"steps"`
	Branches    []Branch      `json:"branches"`
}

// Source says who stands behind the figures.
type Source struct {
	Issuer    string `json:"issuer"`
	Title     string `json:"title"`
	Edition   string `json:"edition"`
	Date      string `json:"date"`
	Page      string `json:"page"`
	ReadBy    string `json:"read_by"`
	CheckedBy string `json:"checked_by"` // empty: nobody has; the profile is unproven
}

// Figure is a value in the unit of its field, with the figure as it is printed.
type Figure struct {
	Value   float64 `json:"value"`
	Printed string  `json:"printed"`
}

// WindowFigure is the temperature window of the check.
type WindowFigure struct {
	LowC    float64 `json:"low_c"`
	HighC   float64 `json:"high_c"`
	Printed string  `json:"printed"`
}

// Plug is the opening that shows the level.
type Plug struct {
	Role     string  `json:"role"` // level, or level and fill
	Where    string  `json:"where"`
	Drive    string  `json:"drive"` // the tool that fits, in plain words
	TorqueNM *Figure `json:"torque_nm"`
	Seal     string  `json:"seal"`      // new at every opening, new at the end, reused
	AheadMM  float64 `json:"ahead_mm"`  // from the centre of the free surface, forwards
	RightMM  float64 `json:"right_mm"`  // … and to the right
	PlaceSD  float64 `json:"place_sd"`  // mm, how well the two are known
	DropUL   float64 `json:"drop_ul"`   // volume of one drop off this edge; 0 is not known
	SkinNote string  `json:"skin_note"` // what is hot beside it
}

// Exercise is the moving of the selector that fills the gearbox's circuits.
type Exercise struct {
	Positions []string `json:"positions"` // in order, for example P R N D N P
	DwellS    *Figure  `json:"dwell_s"`   // in each
	When      string   `json:"when"`      // before opening, after first look
}

// AttitudeRule says how level the vehicle must stand.
type AttitudeRule struct {
	ToleranceDeg   *Figure `json:"tolerance_deg"`
	DeclineDeg     float64 `json:"decline_deg"` // beyond it nothing is raised or judged
	Reference      string  `json:"reference"`   // where to measure
	FreeSurfaceCM2 float64 `json:"free_surface_cm2"`
}

// Fluid is what goes in.
type Fluid struct {
	Specification string  `json:"specification"`
	Density15     float64 `json:"density_15c_kg_m3"`
	ActiveML      float64 `json:"active_volume_ml"` // what warms during the check
	ServiceML     float64 `json:"service_fill_ml"`
	TotalML       float64 `json:"total_fill_ml"`
}

// Limits end the work before it does harm.
type Limits struct {
	AddLotML  float64 `json:"add_lot_ml"`  // add so much, then look
	AddStopML float64 `json:"add_stop_ml"` // more than this: stop and look for the cause
	OutStopML float64 `json:"out_stop_ml"` // more than this ran out: stop and look for the cause
	Openings  int     `json:"openings"`    // at most so many openings in one check
}

// Band is the range of level that counts as right, in mL about the lip at the
// middle of the window.
type Band struct {
	LowML  float64 `json:"low_ml"`
	HighML float64 `json:"high_ml"`
	Origin string  `json:"origin"`
}

// Step is one act of the procedure with what it needs.
type Step struct {
	ID       string   `json:"id"`
	Act      string   `json:"act"`
	Place    string   `json:"place"`
	Engine   string   `json:"engine"` // off, idle
	Plug     string   `json:"plug"`   // in, out (when the step begins)
	Text     string   `json:"text"`
	TypicalS float64  `json:"typical_s"`
	SDS      float64  `json:"sd_s"`
	Hazards  []string `json:"hazards,omitempty"`
	MaySkip  bool     `json:"may_skip"`
}

// Branch is one row of the branch table: what was seen, and what to do in each zone.
type Branch struct {
	Seen    string `json:"seen"`
	Below   Cell   `json:"below"`
	InTime  Cell   `json:"in_time"`
	InShort Cell   `json:"in_short"`
	Above   Cell   `json:"above"`
}

// Cell is one answer of the branch table. Unexercised stands instead of Do
// while the gears have not been exercised since the engine was started.
type Cell struct {
	Do          string `json:"do"`
	Unexercised string `json:"unexercised,omitempty"`
}

// The closed lists a profile is written in.
var (
	SeenWords     = []string{"nothing", "few_drops", "drops", "fast_drops", "thread", "stream", "gush", "pulses", "foam", "bad_fluid", "engine_off"}
	DecisionWords = []string{"wait_for_window", "leave_open", "watch", "add_lot", "add_to_first_drip", "let_thin", "fit", "close_exercise_reopen",
		"close_stop_repeat", "close_idle_reopen", "judge_between", "stop_find_cause", "stop_vehicle", "close_restart_exercise"}
	StepActs   = []string{"crack", "start", "warm", "exercise", "open", "judge", "add", "close", "fit", "stop", "wipe"}
	PlaceWords = []string{"seat", "under", "bonnet", "bench", "drive", "wait"}
)

// Unproven reports whether nobody stands behind the profile's figures.
func (p Profile) Unproven() bool { return p.Source == nil || p.Source.CheckedBy == "" }

// Step returns the profile's step for an act.
func (p Profile) Step(act string) (Step, bool) {
	for _, s := range p.Steps {
		if s.Act == act {
			return s, true
		}
	}
	return Step{}, false
}

// Branch returns the row for what was seen.
func (p Profile) Branch(seen string) (Branch, bool) {
	for _, b := range p.Branches {
		if b.Seen == seen {
			return b, true
		}
	}
	return Branch{}, false
}

// Check returns the first of Faults.
func (p Profile) Check() error {
	if all := p.Faults(); len(all) > 0 {
		return all[0]
	}
	return nil
}

// Faults lists everything that keeps p from being run, each with its JSON path
// and remedy. An empty list means the profile can be run.
func (p Profile) Faults() []*fault.Error {
	var f faults
	f.add(validID("id", string(p.ID)), within("edition", float64(p.Edition), 1, 1e6, ""), label("name", p.Name),
		oneOf("archetype", p.Archetype, "A"), note("applies_to", p.AppliesTo), note("not_for", p.NotFor), note("changes", p.Changes))
	if s := p.Source; s != nil {
		f.add(label("source.issuer", s.Issuer), label("source.title", s.Title), label("source.edition", s.Edition),
			label("source.page", s.Page), label("source.read_by", s.ReadBy))
	}
	p.temperatureFaults(&f)
	p.plugFaults(&f)
	p.fluidFaults(&f)
	p.stepFaults(&f)
	p.branchFaults(&f)
	return f.list
}

func (p Profile) temperatureFaults(f *faults) {
	f.figure("start_below_c", p.StartBelowC, -40, 150, "°C")
	if p.Window == nil {
		f.missing("window")
	} else {
		f.add(within("window.low_c", p.Window.LowC, -40, 150, "°C"), within("window.high_c", p.Window.HighC, -40, 150, "°C"),
			label("window.printed", p.Window.Printed))
		if p.Window.HighC <= p.Window.LowC {
			f.add(fault.Bad("window.order", "window.high_c", "must be above window.low_c"))
		}
	}
	f.add(oneOf("engine_at_reading", p.Engine, "idle"), oneOf("selector_at_reading", p.Selector, "P", "N"),
		oneOf("second_cycle", p.SecondCycle, "never", "if cooler opened", "always"))
	if e := p.Exercise; e == nil {
		f.missing("exercise")
	} else {
		f.figure("exercise.dwell_s", e.DwellS, 1, 60, "s")
		f.add(oneOf("exercise.when", e.When, "before opening", "after first look"))
		if len(e.Positions) < 2 || len(e.Positions) > 20 {
			f.add(fault.Bad("profile.missing", "exercise.positions", "list the selector positions in order"))
		}
	}
	if a := p.Attitude; a == nil {
		f.missing("attitude")
	} else {
		f.figure("attitude.tolerance_deg", a.ToleranceDeg, 0.1, 5, "°")
		f.add(within("attitude.decline_deg", a.DeclineDeg, 0.5, 10, "°"), label("attitude.reference", a.Reference),
			within("attitude.free_surface_cm2", a.FreeSurfaceCM2, 50, 2000, "cm²"))
	}
}

func (p Profile) plugFaults(f *faults) {
	g := p.Plug
	if g == nil {
		f.missing("plug")
		return
	}
	f.add(oneOf("plug.role", g.Role, "level", "level and fill"), label("plug.where", g.Where), label("plug.drive", g.Drive),
		oneOf("plug.seal", g.Seal, "new at every opening", "new at the end", "reused"),
		within("plug.ahead_mm", g.AheadMM, -1000, 1000, "mm"), within("plug.right_mm", g.RightMM, -1000, 1000, "mm"),
		within("plug.place_sd", g.PlaceSD, 0, 300, "mm"), within("plug.drop_ul", g.DropUL, 0, 200, "µL"))
	f.figure("plug.torque_nm", g.TorqueNM, 1, 200, "N·m")
}

func (p Profile) fluidFaults(f *faults) {
	if u := p.Fluid; u == nil {
		f.missing("fluid")
	} else {
		f.add(label("fluid.specification", u.Specification), within("fluid.density_15c_kg_m3", u.Density15, 800, 1000, "kg/m³"),
			within("fluid.active_volume_ml", u.ActiveML, 500, 40000, "mL"), within("fluid.service_fill_ml", u.ServiceML, 0, 40000, "mL"),
			within("fluid.total_fill_ml", u.TotalML, 0, 40000, "mL"))
	}
	if l := p.Limits; l == nil {
		f.missing("limits")
	} else {
		f.add(within("limits.add_lot_ml", l.AddLotML, 20, 2000, "mL"), within("limits.add_stop_ml", l.AddStopML, 100, 20000, "mL"),
			within("limits.out_stop_ml", l.OutStopML, 100, 20000, "mL"), within("limits.openings", float64(l.Openings), 1, 20, ""))
	}
	if b := p.Acceptance; b != nil {
		f.add(within("acceptance.low_ml", b.LowML, -5000, 5000, "mL"), within("acceptance.high_ml", b.HighML, -5000, 5000, "mL"),
			label("acceptance.origin", b.Origin))
		if b.HighML <= b.LowML {
			f.add(fault.Bad("band.order", "acceptance.high_ml", "must be above acceptance.low_ml"))
		}
	}
}

func (p Profile) stepFaults(f *faults) {
	if len(p.Steps) > MaxList {
		f.add(fault.Bad("list.long", "steps", "has too many entries"))
		return
	}
	for _, act := range StepActs {
		if _, ok := p.Step(act); !ok {
			f.add(fault.Bad("step.missing", "steps", "has no step whose act is "+act))
		}
	}
	for i, s := range p.Steps {
		at := "steps[" + strconv.Itoa(i) + "]."
		f.add(label(at+"id", s.ID), oneOf(at+"act", s.Act, StepActs...), oneOf(at+"place", s.Place, PlaceWords...),
			oneOf(at+"engine", s.Engine, "off", "idle"), oneOf(at+"plug", s.Plug, "in", "out"), note(at+"text", s.Text),
			within(at+"typical_s", s.TypicalS, 0, 7200, "s"), within(at+"sd_s", s.SDS, 0, 3600, "s"))
	}
}

func (p Profile) branchFaults(f *faults) {
	if len(p.Branches) > MaxList {
		f.add(fault.Bad("list.long", "branches", "has too many entries"))
		return
	}
	for _, seen := range SeenWords {
		if _, ok := p.Branch(seen); !ok {
			f.add(fault.Bad("branch.missing", "branches", "has no row for "+seen+"; every observation needs an answer in every zone"))
		}
	}
	for i, b := range p.Branches {
		at := "branches[" + strconv.Itoa(i) + "]."
		f.add(oneOf(at+"seen", b.Seen, SeenWords...))
		for _, c := range []struct {
			zone string
			cell Cell
		}{{"below", b.Below}, {"in_time", b.InTime}, {"in_short", b.InShort}, {"above", b.Above}} {
			f.add(oneOf(at+c.zone+".do", c.cell.Do, DecisionWords...))
			if c.cell.Unexercised != "" {
				f.add(oneOf(at+c.zone+".unexercised", c.cell.Unexercised, DecisionWords...))
			}
		}
	}
}

// faults gathers every fault of a record instead of stopping at the first.
type faults struct{ list []*fault.Error }

func (f *faults) add(errs ...error) {
	for _, err := range errs {
		if e := fault.As(err); e != nil {
			f.list = append(f.list, e)
		}
	}
}

func (f *faults) missing(field string) {
	f.add(fault.Bad("profile.missing", field, "is missing; take it from the service information, it has no default"))
}

func (f *faults) figure(field string, v *Figure, low, high float64, unit string) {
	if v == nil {
		f.missing(field)
		return
	}
	f.add(within(field+".value", v.Value, low, high, unit), label(field+".printed", v.Printed))
}
