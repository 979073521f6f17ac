package procedure

import (
	"math"

	"brimline/schema"
	"brimline/schema/physics"
)

const (
	interpolateS = 150.0 // two readings this near a moment are joined by a line
	freshS       = 20.0  // a reading this young is taken as it is
	defaultDrop  = 38.0  // µL, 0.033-0.044 mL (trade notes, on several pages)
	caseGrowth   = 6.9e-5
	newFluidC    = 15.0 // taken where the temperature of poured fluid was not said and no air was read
)

// volumeML returns a volume entry in mL at its own temperature.
func (m *machine) volumeML(v Volume) float64 {
	if v.Unit != "g" {
		return v.Amount
	}
	at15 := v.Amount / m.Profile.Fluid.Density15 * 1000
	out, err := physics.FluidVolume(physics.FluidVolumeInput{DensityKgM3: m.Profile.Fluid.Density15, VolumeML: at15, FromC: 15, ToC: m.volumeC(v)})
	if err != nil {
		return at15
	}
	return out.VolumeML
}

// volumeC returns the temperature of a volume entry: as said, else the air's.
func (m *machine) volumeC(v Volume) float64 {
	switch {
	case v.TempC != nil:
		return *v.TempC
	case m.cold != nil:
		return m.cold.v.AirC
	}
	return newFluidC
}

// forecastInput gathers what the log knows of the warming up to time t.
func (m *machine) forecastInput(t float64) (physics.WarmupForecastInput, []schema.EventID) {
	active := m.Profile.Fluid.ActiveML
	in := physics.WarmupForecastInput{
		Window:         physics.Window{LowC: m.Profile.Window.LowC, HighC: m.Profile.Window.HighC},
		ActiveVolumeML: &active, CoolantWarmer: m.started.Warmer, NowS: t, Readings: []physics.WarmupReading{},
	}
	var ids []schema.EventID
	if p := m.started.Prior; p != nil {
		in.Prior = &physics.WarmupBelief{RiseC: physics.Normal(p.RiseC), TimeConstantS: physics.Normal(p.TimeConstantS)}
	}
	if m.cold != nil {
		in.AmbientC = m.cold.v.AirC
		in.Readings = append(in.Readings, physics.WarmupReading{TS: m.cold.atS, TempC: m.cold.v.GearboxC})
		ids = append(ids, m.cold.id)
	}
	for _, r := range m.readings {
		if !r.void && r.atS <= t {
			step := 1.0
			if r.v.Unit == "F" {
				step = 1 / 1.8
			}
			in.Readings = append(in.Readings, physics.WarmupReading{TS: r.atS, TempC: r.v.tempC(), ResolutionC: &step})
			ids = append(ids, r.id)
		}
	}
	in.Engine = append(in.Engine, physics.EngineChange{TS: 0, State: "off"})
	for _, c := range m.engine {
		if c.atS <= t {
			state := "off"
			if c.on {
				state = "idle"
			}
			in.Engine = append(in.Engine, physics.EngineChange{TS: c.atS, State: state})
		}
	}
	for _, v := range m.volumes {
		if !v.out && !v.void && v.atS <= t && v.v.Amount > 0 {
			in.Additions = append(in.Additions, physics.FluidAddition{TS: v.atS, VolumeML: m.volumeML(v.v), TempC: m.volumeC(v.v)})
		}
	}
	return in, ids
}

// forecastAt is a forecast that was made of a log of n entries for time t.
type forecastAt struct {
	t   float64
	n   int
	out *physics.WarmupForecastOutput
	ids []schema.EventID
}

// forecast returns the warming forecast at time t, or nil before there is
// anything to forecast from. The ids are the readings it was made from.
func (m *machine) forecast(t float64) (*physics.WarmupForecastOutput, []schema.EventID) {
	if !m.everOn {
		return nil, nil
	}
	for _, c := range m.cached {
		if c.t == t && c.n == len(m.ids) {
			return c.out, c.ids
		}
	}
	out, ids := m.forecastAnew(t)
	if len(m.cached) >= 4 {
		m.cached = m.cached[1:]
	}
	m.cached = append(m.cached, forecastAt{t, len(m.ids), out, ids})
	return out, ids
}

func (m *machine) forecastAnew(t float64) (*physics.WarmupForecastOutput, []schema.EventID) {
	in, ids := m.forecastInput(t)
	mean, variance := 0.0, 0.0
	for _, s := range m.plan() {
		mean += s.TypicalS
		variance += float64(s.SDS * s.SDS)
	}
	if mean > 0 {
		in.RemainingS = &physics.Normal{Mean: mean, SD: math.Sqrt(variance)}
	}
	out, err := physics.WarmupForecast(in)
	if err != nil {
		return nil, nil
	}
	return &out, ids
}

// learnsFromS is how long an engine must have idled, and learnsFrom how many
// readings must stand, before a check teaches anything about its gearbox.
const (
	learnsFromS = 300.0
	learnsFrom  = 4
)

// warmed returns what a closed check says of its gearbox's warming, or nil.
func (m *machine) warmed() *schema.Warming {
	n := 0
	var last float64
	for _, r := range m.readings {
		if !r.void && len(m.engine) > 0 && r.atS > m.engine[0].atS {
			n, last = n+1, r.atS
		}
	}
	if m.phase != "done" || n < learnsFrom || m.onS < learnsFromS {
		return nil
	}
	f, _ := m.forecast(last)
	if f == nil {
		return nil
	}
	return &schema.Warming{RiseC: schema.Spread(f.Model.RiseC), TimeConstantS: schema.Spread(f.Model.TimeConstantS)}
}

// tempAt returns the fluid's temperature at time t: between two near readings
// by a line, just after a reading that reading, else by the forecast.
func (m *machine) tempAt(t float64) *float64 {
	var before, after *entry[Reading]
	for i := range m.readings {
		r := &m.readings[i]
		switch {
		case r.void:
		case r.atS <= t:
			before = r
		case after == nil:
			after = r
		}
	}
	if before == nil {
		if m.cold != nil && !m.everOn {
			return &m.cold.v.GearboxC
		}
		return nil
	}
	v := before.v.tempC()
	switch {
	case after != nil && t-before.atS <= interpolateS && after.atS-t <= interpolateS && after.atS > before.atS:
		f := (t - before.atS) / (after.atS - before.atS)
		v += float64(f * (after.v.tempC() - v))
	case t-before.atS > freshS:
		if f, _ := m.forecast(t); f != nil {
			v = f.NowC.P50
		}
	}
	return &v
}

// zone says where the fluid is in the window and whether the steps still fit.
func (m *machine) zone(t float64, f *physics.WarmupForecastOutput) string {
	temp := m.tempAt(t)
	switch {
	case temp == nil:
		return "unknown"
	case *temp < m.Profile.Window.LowC:
		return "below"
	case *temp > m.Profile.Window.HighC:
		return "above"
	case f == nil || f.FitsProbability == nil || *f.FitsProbability >= 0.5:
		return "in_time"
	}
	return "in_short"
}

// judge runs the drip judgement on a watch, up to time t while it is open.
func (m *machine) judge(w *watch, t float64) *physics.DripJudgeOutput {
	to := w.toS
	if w.open {
		to = t
	}
	temp := m.tempAt(to)
	if temp == nil || to-w.fromS < 1 {
		return nil
	}
	rate := physics.Normal{Mean: 0, SD: 0.3}
	if f, _ := m.forecast(to); f != nil {
		rate = f.RateCPerMin
	}
	drop := m.Profile.Plug.DropUL
	if drop == 0 {
		drop = defaultDrop
	}
	growth := caseGrowth
	out, err := physics.DripJudge(physics.DripJudgeInput{
		DripsS: w.times(), Watched: physics.Span{FromS: w.fromS, ToS: to}, DropUL: drop, ActiveVolumeML: m.Profile.Fluid.ActiveML,
		DensityKgM3: m.Profile.Fluid.Density15, TempC: *temp, RateCPerMin: rate, CaseExpansionPer: &growth,
	})
	if err != nil {
		return nil
	}
	return &out
}

// seenFromWatch turns a counted watch into a row of the branch table.
func (m *machine) seenFromWatch() string {
	out := m.judge(m.watch(), m.now())
	if out == nil {
		return ""
	}
	if out.Advice == "dry_is_right" && m.dripped() {
		return "drops" // nothing warms, and it ran out before: dry is the balance
	}
	switch out.Class {
	case "none":
		return "nothing"
	case "below":
		return "few_drops"
	case "balanced":
		return "drops"
	case "above":
		return "fast_drops"
	}
	return "thread"
}

// dripped reports whether fluid ran out at any time in the current opening.
func (m *machine) dripped() bool {
	o := m.opening()
	if o == nil {
		return false
	}
	for _, s := range o.seen {
		if !s.void && (s.v == "drops" || s.v == "fast_drops" || s.v == "few_drops" || s.v == "thread" || s.v == "stream") {
			return true
		}
	}
	for _, w := range o.watches {
		if len(w.times()) > 0 {
			return true
		}
	}
	return false
}

// decision returns the branch table's answer to what was last seen, or "".
func (m *machine) decision() string {
	if !m.plugOut {
		return ""
	}
	seen := m.seen()
	if !m.engineOn {
		seen = "engine_off"
	}
	if inML, outML := m.totals(); outML > m.Profile.Limits.OutStopML || inML > m.Profile.Limits.AddStopML {
		return "stop_find_cause"
	}
	if seen == "" {
		return ""
	}
	row, ok := m.Profile.Branch(seen)
	if !ok {
		return ""
	}
	t := m.now()
	f, _ := m.forecast(t)
	cell := row.InTime
	switch m.zone(t, f) {
	case "below":
		cell = row.Below
	case "in_short":
		cell = row.InShort
	case "above":
		cell = row.Above
	}
	if !m.exercised && cell.Unexercised != "" {
		return cell.Unexercised
	}
	return cell.Do
}
