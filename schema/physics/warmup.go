package physics

// WarmupReading is one temperature read off at a time of the check.
// ResolutionC is the step of the display, found from the readings if absent;
// CoolantC is the coolant's temperature read at the same moment.
type WarmupReading struct {
	TS          float64  `json:"t_s"`
	TempC       float64  `json:"temp_c"`
	ResolutionC *float64 `json:"resolution_c,omitempty"`
	CoolantC    *float64 `json:"coolant_c,omitempty"`
}

// EngineChange is a moment from which the engine is "off", "idle" or "driving".
type EngineChange struct {
	TS    float64 `json:"t_s"`
	State string  `json:"state"`
}

// FluidAddition is fluid poured in at a time of the check, with its temperature.
type FluidAddition struct {
	TS       float64 `json:"t_s"`
	VolumeML float64 `json:"volume_ml"`
	TempC    float64 `json:"temp_c"`
}

// WarmupBelief is what is known of a gearbox's warming: how far idling lifts
// the fluid above the air, and how fast; how the one goes with the logarithm of
// the other; and its coolant-fed warmer.
type WarmupBelief struct {
	RiseC         Normal        `json:"rise_c"`
	TimeConstantS Normal        `json:"time_constant_s"`
	Correlation   *float64      `json:"correlation,omitempty"`
	Warmer        *WarmerBelief `json:"warmer,omitempty"`
}

// WarmerBelief is what is known of a coolant-fed warmer: the chance that there is one
// that works, when after the engine's start it begins, and how many times faster
// the fluid then warms.
type WarmerBelief struct {
	Probability float64 `json:"probability"`
	OnsetS      Normal  `json:"onset_s"`
	Factor      Normal  `json:"factor"`
}

// checkShape checks the parts of a prior that may be absent.
func (b *WarmupBelief) checkShape(c *checks) {
	if b.Correlation != nil {
		c.between("prior.correlation", *b.Correlation, -0.999, 0.999)
	}
	if b.Warmer != nil {
		b.Warmer.check(c, "prior.warmer")
	}
}

func (w *WarmerBelief) check(c *checks, path string) {
	c.between(path+".probability", w.Probability, 0, 1)
	c.between(path+".onset_s.mean", w.OnsetS.Mean, 0, 7200)
	c.between(path+".onset_s.sd", w.OnsetS.SD, 0, 7200)
	c.between(path+".factor.mean", w.Factor.Mean, 1, 5)
	c.between(path+".factor.sd", w.Factor.SD, 0, 5)
}

// WarmupForecastInput is a check so far. Pointers and empty lists may be absent.
type WarmupForecastInput struct {
	AmbientC       float64         `json:"ambient_c"`
	Window         Window          `json:"window"`
	Readings       []WarmupReading `json:"readings"`
	Engine         []EngineChange  `json:"engine,omitempty"`
	Additions      []FluidAddition `json:"additions,omitempty"`
	ActiveVolumeML *float64        `json:"active_volume_ml,omitempty"`
	CoolantWarmer  string          `json:"coolant_warmer,omitempty"`
	Prior          *WarmupBelief   `json:"prior,omitempty"`
	NowS           float64         `json:"now_s"`
	RemainingS     *Normal         `json:"remaining_s,omitempty"`
	HorizonS       *float64        `json:"horizon_s,omitempty"`
}

// Reach is when a limit is reached, and how likely it is reached before the horizon.
type Reach struct {
	P10         float64 `json:"p10"`
	P50         float64 `json:"p50"`
	P90         float64 `json:"p90"`
	Probability float64 `json:"probability"`
}

// CurvePoint is the fluid's temperature at one time ahead.
type CurvePoint struct {
	TS  float64 `json:"t_s"`
	P10 float64 `json:"p10"`
	P50 float64 `json:"p50"`
	P90 float64 `json:"p90"`
}

// WarmupForecastOutput is the outlook of a check.
type WarmupForecastOutput struct {
	NowC            Quantiles    `json:"now_c"`
	RateCPerMin     Normal       `json:"rate_c_per_min"`
	ReachesLowS     *Reach       `json:"reaches_low_s"`
	ReachesHighS    *Reach       `json:"reaches_high_s"`
	FitsProbability *float64     `json:"fits_probability"`
	Curve           []CurvePoint `json:"curve"`
	Model           WarmupBelief `json:"model"`
	Doubtful        []int        `json:"doubtful"`
	Codes           []string     `json:"codes"`
}

const (
	defaultHorizonS   = 3600
	lookaheadS        = 4 * 3600 // a limit not reached within this is never reached
	defaultRiseC      = 55
	defaultRiseSDC    = 15
	defaultTimeS      = 28 * 60
	defaultTimeLogSD  = 0.35
	defaultActiveML   = 8500
	readingNoiseC     = 0.3 // beside the display's step
	slipShare         = 0.04
	slipDensityPerC   = 1.0 / 50
	leastReachChance  = 0.05
	mostReadings      = 5000
	mostReadingsFiled = 60 // more are gathered into groups
)

// WarmupForecast says when a warming gearbox will reach the limits of its
// window, from the readings so far and what is known of such gearboxes.
//
// Model: one lump, dT/dt = pace·(T∞ − T)/τ, T∞ = ambient + rise while the
// engine idles and ambient while it is off. A coolant-fed warmer raises the pace
// 1 to 2.5 times from an unknown moment 2 to 12 minutes after the start.
// Poured-in fluid is a step of uncertain size. The forecast is a weighted sum
// of Kalman filters (temperature and rise are linear in the model) over a
// grid of time constants, warmer onsets and paces and the likeliest sets of
// mistyped readings; nothing is sampled, so the same input gives the same
// output.
//
// Shapes: up to 5,000 readings, 200 engine changes and 200 additions, each in
// order of time; readings not after now_s. Without engine changes the engine
// idles from 0 s; before the first change it is off; after the last it stays
// as it is. coolant_warmer is "yes", "no" or "unknown" (also if absent); what the
// prior says of a warmer counts unless the answer is "no".
// curve runs from now_s to horizon_s (3600 if absent) in at most 60 points; it
// is one point if the horizon has passed. doubtful holds, in order, the indexes of
// readings that look mistyped or are a control unit's stand-in value; they do not
// move the forecast.
// Units: as the names say; reaches_low_s, reaches_high_s and curve count seconds
// from the start of the check.
// Nulls: reaches_low_s is null if the fluid is already at or above that limit
// (more likely than not; code "in_window" or "above_high"), or if the chance
// that it is reached within four hours from now (or the horizon, if later) is
// below 5 % (code "never_low"); the same for reaches_high_s with "above_high"
// and "never_high". The quantiles hold for the case that it is reached in that time
// and may lie beyond the horizon; probability is the chance that it is
// reached by the horizon. fits_probability is null without remaining_s; else
// it is the chance that the remaining work, begun now, ends before the upper
// limit.
// Codes: no_readings, engine_stopped, flat_line, jump, equals_coolant,
// substituted_value, reading_old (five minutes or more), in_window, above_high, never_low,
// never_high.
// Errors: out_of_range, order, too_many, unknown_word, each with its path.
// Accuracy: on 500 simulated gearboxes of the default prior p10-p90 of
// reaches_high_s holds the truth in 76 to 84 % of cases at 3, 6 and 10 minutes.
// Source: one-lump warming, references of this package; Kalman filter from memory;
// ranges are design assumptions, not measurements.
func WarmupForecast(in WarmupForecastInput) (WarmupForecastOutput, error) {
	if err := in.check(); err != nil {
		return WarmupForecastOutput{}, err
	}
	horizonS := float64(defaultHorizonS)
	if in.HorizonS != nil {
		horizonS = *in.HorizonS
	}
	signs := in.signs()
	plan := newTimeline(in, signs)
	belief := newWarmupMixture(in, plan)
	out := belief.outlook(in, plan, horizonS)
	out.Doubtful = belief.doubtful(plan, signs.substituted)
	out.Codes = append(signs.codes, out.Codes...)
	return out, nil
}

func (in WarmupForecastInput) check() error {
	var c checks
	c.temperature("ambient_c", in.AmbientC)
	c.window("window", in.Window)
	c.between("now_s", in.NowS, 0, 86_400)
	c.count("readings", len(in.Readings), mostReadings)
	c.count("engine", len(in.Engine), 200)
	c.count("additions", len(in.Additions), 200)
	if c.first != nil {
		return c.err()
	}
	last := 0.0
	for i, r := range in.Readings {
		path := at("readings", i, "t_s")
		c.between(path, r.TS, 0, 86_400)
		if r.TS < last {
			c.fail("order", path, "must not be before the reading above it")
		}
		if r.TS > in.NowS {
			c.fail("order", path, "must not be after now_s")
		}
		last = r.TS
		// Wider than a gearbox can be: a digit too many is a slip to list, not a fault.
		c.between(at("readings", i, "temp_c"), r.TempC, -60, 300)
		if r.ResolutionC != nil {
			c.between(at("readings", i, "resolution_c"), *r.ResolutionC, 0, 10)
		}
		if r.CoolantC != nil {
			c.temperature(at("readings", i, "coolant_c"), *r.CoolantC)
		}
	}
	in.checkEvents(&c)
	in.checkOptions(&c)
	return c.err()
}

func (in WarmupForecastInput) checkEvents(c *checks) {
	last := 0.0
	for i, e := range in.Engine {
		path := at("engine", i, "t_s")
		c.between(path, e.TS, 0, 172_800)
		if e.TS < last {
			c.fail("order", path, "must not be before the change above it")
		}
		last = e.TS
		c.oneOf(at("engine", i, "state"), e.State, "off", "idle", "driving")
	}
	last = 0
	for i, a := range in.Additions {
		path := at("additions", i, "t_s")
		c.between(path, a.TS, 0, 172_800)
		if a.TS < last {
			c.fail("order", path, "must not be before the addition above it")
		}
		last = a.TS
		c.between(at("additions", i, "volume_ml"), a.VolumeML, 0, 50_000)
		c.temperature(at("additions", i, "temp_c"), a.TempC)
	}
}

func (in WarmupForecastInput) checkOptions(c *checks) {
	if in.ActiveVolumeML != nil {
		c.between("active_volume_ml", *in.ActiveVolumeML, 100, 200_000)
	}
	if in.CoolantWarmer != "" {
		c.oneOf("coolant_warmer", in.CoolantWarmer, "yes", "no", "unknown")
	}
	if in.Prior != nil {
		c.between("prior.rise_c.mean", in.Prior.RiseC.Mean, 1, 150)
		c.between("prior.rise_c.sd", in.Prior.RiseC.SD, 0.1, 100)
		c.between("prior.time_constant_s.mean", in.Prior.TimeConstantS.Mean, 30, 86_400)
		c.between("prior.time_constant_s.sd", in.Prior.TimeConstantS.SD, 1, 86_400)
		in.Prior.checkShape(c)
	}
	if in.RemainingS != nil {
		c.normal("remaining_s", *in.RemainingS, 0, 86_400, 86_400)
	}
	if in.HorizonS != nil {
		c.between("horizon_s", *in.HorizonS, 0, 86_400)
	}
}
