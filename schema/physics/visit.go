package physics

import (
	"math"
	"sort"
)

// WorkingHours are the local times between which an engine may be started.
type WorkingHours struct {
	From string `json:"from"` // 07:30
	To   string `json:"to"`   // 18:00; 24:00 is midnight
}

// VisitSlotsInput is a parked vehicle and the weather to come.
type VisitSlotsInput struct {
	SwitchedOffAt     string        `json:"switched_off_at"`
	FluidAtSwitchOffC Normal        `json:"fluid_at_switch_off_c"`
	CoolTimeConstantS *Normal       `json:"cool_time_constant_s,omitempty"`
	Days              []DayForecast `json:"days"`
	TimeZone          string        `json:"time_zone,omitempty"`
	StartBelowC       float64       `json:"start_below_c"`
	StartMarginC      *float64      `json:"start_margin_c,omitempty"`
	Window            Window        `json:"window"`
	NeededS           Normal        `json:"needed_s"`
	Prior             *WarmupBelief `json:"prior,omitempty"`
	CoolantWarmer     string        `json:"coolant_warmer,omitempty"`
	WorkingHours      *WorkingHours `json:"working_hours,omitempty"`
	NotBefore         string        `json:"not_before,omitempty"`
	HorizonH          *float64      `json:"horizon_h,omitempty"`
}

// VisitSlot is a time to start the engine in.
type VisitSlot struct {
	From            string    `json:"from"`
	To              string    `json:"to"`
	FluidC          Normal    `json:"fluid_c"`
	AmbientC        float64   `json:"ambient_c"`
	WindowLengthS   Quantiles `json:"window_length_s"`
	FitsProbability float64   `json:"fits_probability"`
}

// VisitSlotsOutput is when the vehicle may be checked.
type VisitSlotsOutput struct {
	EarliestAt *string     `json:"earliest_at"`
	Slots      []VisitSlot `json:"slots"`
	Never      *string     `json:"never"`
	ParkFrom   *string     `json:"park_from"`
}

const (
	defaultMarginC   = 2.0 // common practice, no source
	defaultHorizonH  = 48.0
	airForecastSDC   = 1.5 // doubt of a forecast for the day; common practice, no source
	quarterS         = 900
	longestSlotS     = 7200 // one answer holds for no longer
	leastFitsChance  = 0.05
	coolNodes        = 9
	longestWindowS   = lookaheadS
	mostForecastDays = 16
)

// VisitSlots says when a parked vehicle is cold enough for a check, and whether
// the work will fit into the window that follows.
//
// Model: the fluid cools by Newton's law in air that follows the published hourly
// shares of the day's range, straight between whole hours. It counts as cold when
// its expected temperature is at or below start_below_c less start_margin_c.
// The window then lasts τ·ln((T∞ − low)/(T∞ − high)) at idle, over the spread of rise
// and time constant, with a coolant-fed warmer that is said to be there or that the
// prior holds likelier than not; where the fluid starts above low, from there.
//
// Shapes: times are RFC 3339 with offset; days are 1 to 16 consecutive dates in
// order. time_zone is an offset such as "+02:00", or a name, for which the
// offset of switched_off_at stands, also across a change of the clocks; so results
// carry that offset. working_hours is the whole day if absent, horizon_h 48, counted
// from switched_off_at and cut at the last midnight; not_before bars earlier
// starts; start_margin_c is 2, the cooling time constant 2.5 h with log sd 0.4 (a
// mean and sd are read as log-normal), prior the default of warmup-forecast.
// Slots are at most two hours long, do not overlap, and say what holds at from.
// Units: as the names say. window_length_s is cut at four hours.
// Nulls: earliest_at is null if the fluid is never cold within the horizon; never is null
// unless slots is empty, and then says why: "air_too_warm", "cools_too_slowly",
// "outside_working_hours", "window_not_reached" or "window_too_short". A limit is
// never shifted to make a slot. park_from is the latest time to switch off, as hot as
// stated, for the first slot to hold; null without slots.
// fits_probability is the chance that the fluid is really below start_below_c and that
// the needed time ends within the window; slots under 5 % are left out.
// Errors: out_of_range, order, too_many, unknown_word, bad_time and bad_date, with the path.
// Accuracy: closed form for the stated air; earliest_at to the minute, slots to a
// quarter of an hour. The air's own doubt is taken as 1.5 °C.
// Source: references of this package, sections 5 and 6.
func VisitSlots(in VisitSlotsInput) (VisitSlotsOutput, error) {
	p, err := in.plan()
	if err != nil {
		return VisitSlotsOutput{}, err
	}
	out := VisitSlotsOutput{Slots: []VisitSlot{}}
	earliestS, ever := p.earliest()
	if ever {
		out.EarliestAt = p.text(earliestS)
	}
	worked, reason := p.slots(earliestS, ever)
	for _, s := range worked {
		out.Slots = append(out.Slots, s.VisitSlot)
	}
	if len(worked) == 0 {
		out.Never = &reason
		return out, nil
	}
	out.ParkFrom = p.text(p.parkFrom(worked[0].fromS))
	return out, nil
}

// cooled is what standing from switch-off to a time does to a temperature:
// it becomes keep·start + addC.
type cooled struct{ keep, addC float64 }

// visitPlan is an input made ready.
type visitPlan struct {
	in             VisitSlotsInput
	air            airDays
	offsetS        int64
	offS           float64
	endS           float64
	notBeforeS     float64
	coldC          float64
	openS, closeS  int64 // seconds after local midnight
	timesS         [coolNodes]float64
	track          [coolNodes][]cooled // from switch-off, hour by hour
	paces          []plannedPace
	warmerQuickens []float64
}

// plan checks the input and makes it ready.
func (in VisitSlotsInput) plan() (*visitPlan, error) {
	var c checks
	in.checkNumbers(&c)
	off, ok := parseMoment(in.SwitchedOffAt)
	if !ok {
		c.fail("bad_time", "switched_off_at", "must be RFC 3339 with an offset, such as 2030-05-04T06:15:00+02:00")
	}
	p := &visitPlan{in: in, offsetS: off.offsetS, offS: float64(off.unixS), notBeforeS: float64(off.unixS), closeS: daySeconds}
	if zone, ok := parseOffset(in.TimeZone); ok {
		p.offsetS = zone
	} else if in.TimeZone == "UTC" {
		p.offsetS = 0
	} else {
		c.zoneName(in.TimeZone)
	}
	if in.NotBefore != "" {
		bar, ok := parseMoment(in.NotBefore)
		if !ok {
			c.fail("bad_time", "not_before", "must be RFC 3339 with an offset")
		}
		p.notBeforeS = math.Max(p.offS, float64(bar.unixS))
	}
	if h := in.WorkingHours; h != nil {
		p.openS, p.closeS = c.clock("working_hours.from", h.From), c.clock("working_hours.to", h.To)
		if p.openS >= p.closeS {
			c.fail("order", "working_hours.to", "must be after from")
		}
	}
	first := c.dates(in.Days)
	if err := c.err(); err != nil {
		return nil, err
	}
	p.air = newAirDays(in.Days, first*daySeconds-p.offsetS)
	if p.offS < float64(p.air.fromS)-2*daySeconds || p.offS >= float64(p.air.endS()) {
		c.fail("out_of_range", "switched_off_at", "must lie within the days of the forecast, or at most two days before")
		return nil, c.err()
	}
	p.prepare()
	return p, nil
}

func (in VisitSlotsInput) checkNumbers(c *checks) {
	c.temperature("fluid_at_switch_off_c.mean", in.FluidAtSwitchOffC.Mean)
	c.between("fluid_at_switch_off_c.sd", in.FluidAtSwitchOffC.SD, 0, 60)
	if k := in.CoolTimeConstantS; k != nil {
		c.between("cool_time_constant_s.mean", k.Mean, 60, 864_000)
		c.between("cool_time_constant_s.sd", k.SD, 0, 864_000)
	}
	c.temperature("start_below_c", in.StartBelowC)
	if in.StartMarginC != nil {
		c.between("start_margin_c", *in.StartMarginC, 0, 30)
	}
	c.window("window", in.Window)
	c.normal("needed_s", in.NeededS, 0, 86_400, 86_400)
	if b := in.Prior; b != nil {
		c.between("prior.rise_c.mean", b.RiseC.Mean, 1, 150)
		c.between("prior.rise_c.sd", b.RiseC.SD, 0, 100)
		c.between("prior.time_constant_s.mean", b.TimeConstantS.Mean, 30, 86_400)
		c.between("prior.time_constant_s.sd", b.TimeConstantS.SD, 0, 86_400)
		b.checkShape(c)
	}
	if in.CoolantWarmer != "" {
		c.oneOf("coolant_warmer", in.CoolantWarmer, "yes", "no", "unknown")
	}
	if in.HorizonH != nil {
		c.between("horizon_h", *in.HorizonH, 0, 24*mostForecastDays)
	}
}

// zoneName accepts any short name of a time zone; it only guards against noise.
func (c *checks) zoneName(name string) {
	if len(name) > 60 {
		c.fail("out_of_range", "time_zone", "must be an offset such as +02:00, or a name of at most 60 letters")
	}
	for i := range len(name) {
		b := name[i]
		letter := b >= 'a' && b <= 'z' || b >= 'A' && b <= 'Z'
		if !letter && (i == 0 || b != '/' && b != '_' && b != '-' && b != '+' && (b < '0' || b > '9')) {
			c.fail("unknown_word", "time_zone", "must be an offset such as +02:00, or a name")
		}
	}
}

// clock reads hh:mm as seconds after midnight.
func (c *checks) clock(field, text string) int64 {
	if len(text) == 5 && text[2] == ':' {
		hour, minute := wholeNumber(text[0:2]), wholeNumber(text[3:5])
		if hour >= 0 && minute >= 0 && minute < 60 && hour*60+minute <= 24*60 {
			return hour*3600 + minute*60
		}
	}
	c.fail("bad_time", field, "must be a time such as 07:30")
	return 0
}

// dates requires consecutive days and returns the first as days since 1970.
func (c *checks) dates(days []DayForecast) int64 {
	if len(days) == 0 {
		c.fail("missing", "days", "give the forecast of at least one day")
	}
	c.count("days", len(days), mostForecastDays)
	if c.first != nil {
		return 0
	}
	first := int64(0)
	for i, d := range days {
		number, ok := parseDate(d.Date)
		if !ok {
			c.fail("bad_date", at("days", i, "date"), "must be a date such as 2030-05-04")
		}
		if i == 0 {
			first = number
		} else if number != first+int64(i) {
			c.fail("order", at("days", i, "date"), "must be the day after the one above it")
		}
		c.between(at("days", i, "min_c"), d.MinC, -60, 60)
		c.between(at("days", i, "max_c"), d.MaxC, -60, 60)
		if d.MaxC < d.MinC {
			c.fail("order", at("days", i, "max_c"), "must not be below min_c")
		}
	}
	return first
}

// parseDate reads yyyy-mm-dd as days since 1970.
func parseDate(text string) (int64, bool) {
	if len(text) != 10 || text[4] != '-' || text[7] != '-' {
		return 0, false
	}
	year, month, day := wholeNumber(text[0:4]), wholeNumber(text[5:7]), wholeNumber(text[8:10])
	if year < 1 || month < 1 || month > 12 || day < 1 || day > monthLength(year, month) {
		return 0, false
	}
	return daysFromCivil(year, month, day), true
}

// prepare lays out the nodes that stand for what is not known exactly.
func (p *visitPlan) prepare() {
	horizonH, marginC := defaultHorizonH, defaultMarginC
	if p.in.HorizonH != nil {
		horizonH = *p.in.HorizonH
	}
	if p.in.StartMarginC != nil {
		marginC = *p.in.StartMarginC
	}
	p.endS = math.Min(p.offS+float64(3600*horizonH), float64(p.air.endS()))
	p.coldC = p.in.StartBelowC - marginC
	median, logSD := float64(defaultCoolS), float64(defaultCoolLogSD)
	if p.in.CoolTimeConstantS != nil {
		median, logSD = logNormal(*p.in.CoolTimeConstantS)
	}
	prior := newWarmupPrior(p.in.Prior)
	for i := range coolNodes {
		z := evenNode(i, coolNodes)
		p.timesS[i] = median * math.Exp(logSD*z)
		rise := prior.riseAt(z)
		for k := range coolNodes {
			p.paces = append(p.paces, plannedPace{timeS: prior.timeAt(z), riseC: rise.Mean + float64(rise.SD*evenNode(k, coolNodes))})
		}
	}
	p.warmerQuickens = []float64{1}
	learned := p.in.Prior.warmer()
	if learned != nil && (learned.Probability < 0.5 || p.in.CoolantWarmer == "no") {
		learned = nil
	}
	if p.in.CoolantWarmer == "yes" || learned != nil {
		_, p.warmerQuickens = warmerGrid(learned)
	}
}

// plannedPace is one guess of how the fluid warms.
type plannedPace struct{ timeS, riseC float64 }

// evenNode is the middle of the i-th of n equally likely parts of a normal
// distribution, in standard deviations.
func evenNode(i, n int) float64 {
	return math.Sqrt2 * math.Erfinv(float64(2*i+1)/float64(n)-1)
}

// fluid is the temperature at a time after being switched off at offS, and the
// chance that it is at or below a limit.
func (p *visitPlan) fluid(offS, unixS, limitC float64) (Normal, float64) {
	var mean, square, chance float64
	for node := range p.timesS {
		c := p.cool(offS, unixS, node)
		tempC := float64(c.keep*p.in.FluidAtSwitchOffC.Mean) + c.addC
		sd := math.Hypot(c.keep*p.in.FluidAtSwitchOffC.SD, (1-c.keep)*airForecastSDC)
		mean += tempC / coolNodes
		square += (float64(tempC*tempC) + float64(sd*sd)) / coolNodes
		switch {
		case sd > 0:
			chance += 0.5 * math.Erfc((tempC-limitC)/(sd*math.Sqrt2)) / coolNodes
		case tempC <= limitC:
			chance += 1.0 / coolNodes
		}
	}
	return Normal{Mean: mean, SD: math.Sqrt(math.Max(0, square-float64(mean*mean)))}, math.Min(1, chance)
}

// cool takes the way already walked from switch-off, if that is where it starts.
func (p *visitPlan) cool(offS, unixS float64, node int) cooled {
	if offS != p.offS {
		keep, addC := p.air.cool(offS, unixS, p.timesS[node])
		return cooled{keep, addC}
	}
	hours := math.Max(0, math.Floor((unixS-p.offS)/3600))
	for len(p.track[node]) <= int(hours) {
		n := len(p.track[node])
		if n == 0 {
			p.track[node] = append(p.track[node], cooled{keep: 1})
			continue
		}
		last, fromS := p.track[node][n-1], p.offS+float64(3600*float64(n-1))
		keep, addC := p.air.cool(fromS, fromS+3600, p.timesS[node])
		p.track[node] = append(p.track[node], cooled{keep: keep * last.keep, addC: float64(keep*last.addC) + addC})
	}
	last := p.track[node][int(hours)]
	keep, addC := p.air.cool(p.offS+float64(3600*hours), unixS, p.timesS[node])
	return cooled{keep: keep * last.keep, addC: float64(keep*last.addC) + addC}
}

// isCold says whether the expected temperature is low enough.
func (p *visitPlan) isCold(offS, unixS float64) bool {
	fluid, _ := p.fluid(offS, unixS, p.in.StartBelowC)
	return fluid.Mean <= p.coldC
}

// earliest is the first minute at which the fluid is cold.
func (p *visitPlan) earliest() (unixS float64, ever bool) {
	if p.isCold(p.offS, p.offS) {
		return p.offS, true
	}
	for fromS := p.offS; fromS < p.endS; fromS += quarterS {
		toS := math.Min(fromS+quarterS, p.endS)
		if !p.isCold(p.offS, toS) {
			continue
		}
		for toS-fromS > 1 {
			if mid := 0.5 * (fromS + toS); p.isCold(p.offS, mid) {
				toS = mid
			} else {
				fromS = mid
			}
		}
		return math.Min(60*math.Ceil(toS/60), p.endS), true
	}
	return 0, false
}

// workedSlot is a slot with its times as numbers.
type workedSlot struct {
	VisitSlot
	fromS, toS float64
}

// slots lists the times to start in, or says why there is none.
func (p *visitPlan) slots(earliestS float64, ever bool) ([]workedSlot, string) {
	if !ever {
		coolest := math.Inf(1)
		for tS := p.offS; tS <= p.endS; tS += quarterS {
			coolest = math.Min(coolest, p.air.at(tS))
		}
		if coolest > p.coldC {
			return nil, "air_too_warm"
		}
		return nil, "cools_too_slowly"
	}
	spans := p.spans(math.Max(earliestS, p.notBeforeS))
	if len(spans) == 0 {
		return nil, "outside_working_hours"
	}
	var list []workedSlot
	reached := false
	for _, s := range spans {
		fluid, below := p.fluid(p.offS, s.fromS, p.in.StartBelowC)
		s.FluidC, s.AmbientC = fluid, p.air.at(s.fromS)
		length, fits := p.windowAfter(fluid.Mean, s.AmbientC)
		s.WindowLengthS, s.FitsProbability = length, math.Min(1, fits*below)
		s.From, s.To = *p.text(s.fromS), *p.text(s.toS)
		reached = reached || length.P50 > 0
		if s.FitsProbability >= leastFitsChance {
			list = append(list, s)
		}
	}
	if !reached {
		return nil, "window_not_reached"
	}
	return list, "window_too_short"
}

// spans cuts the cold times within working hours into pieces of two hours.
func (p *visitPlan) spans(fromS float64) []workedSlot {
	var list []workedSlot
	open := false
	for tS := fromS; tS <= p.endS; {
		nextS := quarterS * (math.Floor(tS/quarterS) + 1)
		fits := p.isOpen(tS) && p.isCold(p.offS, tS)
		switch {
		case fits && open && tS+quarterS-list[len(list)-1].fromS <= longestSlotS:
			list[len(list)-1].toS = tS
		case fits:
			if open {
				list[len(list)-1].toS = tS
			}
			list = append(list, workedSlot{fromS: tS, toS: tS})
		}
		open = fits
		tS = nextS
	}
	// A moment with nothing after it is no slot.
	kept := list[:0]
	for _, s := range list {
		if s.toS > s.fromS {
			kept = append(kept, s)
		}
	}
	return kept
}

// isOpen says whether a time lies in working hours; the last one counts.
func (p *visitPlan) isOpen(unixS float64) bool {
	local := int64(math.Floor(unixS)) + p.offsetS
	clock := local % daySeconds
	if clock < 0 {
		clock += daySeconds
	}
	return clock >= p.openS && clock <= p.closeS
}

// windowAfter is how long the window lasts after a start at fluidC, and the
// chance that the work fits.
func (p *visitPlan) windowAfter(fluidC, ambientC float64) (Quantiles, float64) {
	lowC := math.Max(p.in.Window.LowC, math.Min(fluidC, p.in.Window.HighC))
	lengths := make([]float64, 0, len(p.paces)*len(p.warmerQuickens))
	fits := 0.0
	for _, pace := range p.paces {
		endC := ambientC + pace.riseC
		for _, quicken := range p.warmerQuickens {
			length := 0.0
			switch {
			case endC > p.in.Window.HighC:
				length = math.Min(pace.timeS/quicken*math.Log((endC-lowC)/(endC-p.in.Window.HighC)), longestWindowS)
			case endC > lowC:
				length = longestWindowS // it warms into the window and never out of it
			}
			lengths = append(lengths, length)
			fits += p.within(length)
		}
	}
	sort.Float64s(lengths)
	pick := func(q float64) float64 {
		place := float64(q*float64(len(lengths))) - 0.5
		low := math.Floor(place)
		i := int(low)
		return lengths[i] + float64((place-low)*(lengths[i+1]-lengths[i]))
	}
	return Quantiles{P10: pick(0.1), P50: pick(0.5), P90: pick(0.9)}, fits / float64(len(lengths))
}

// within is the chance that the needed time is no longer than a window.
func (p *visitPlan) within(lengthS float64) float64 {
	need := p.in.NeededS
	switch {
	case lengthS <= 0:
		return 0
	case need.SD == 0 && need.Mean <= lengthS:
		return 1
	case need.SD == 0:
		return 0
	}
	return 0.5 * math.Erfc((need.Mean-lengthS)/(need.SD*math.Sqrt2))
}

// parkFrom is the latest quarter of an hour to switch off for a start at slotS.
func (p *visitPlan) parkFrom(slotS float64) float64 {
	early, late := p.offS, slotS // cold in time, perhaps not
	if p.isCold(late, slotS) {
		return late
	}
	for late-early > 1 {
		if mid := 0.5 * (early + late); p.isCold(mid, slotS) {
			early = mid
		} else {
			late = mid
		}
	}
	return math.Max(p.offS, quarterS*math.Floor(early/quarterS))
}

// text prints a time with the local offset.
func (p *visitPlan) text(unixS float64) *string {
	s := moment{unixS: int64(math.Floor(unixS)), offsetS: p.offsetS}.text()
	return &s
}
