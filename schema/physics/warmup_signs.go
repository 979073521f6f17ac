package physics

import "math"

// signs are what the bare readings say about the sensor and the check, before
// any model: codes for the screen, and readings not to be used.
type signs struct {
	codes       []string
	substituted []bool // no measurement: a control unit's stand-in value
	restarts    []bool // the temperature jumped here and stayed
	stepsC      []float64
}

// A reading moves less than this between looks; common practice, no source.
const (
	jumpC        = 3.0
	jumpCPerMin  = 4.0
	flatAfterS   = 180.0
	oldAfterS    = 300.0
	coolantMinC  = 8.0 // above ambient; when all is cold, equal is right
	coolantCount = 2
)

func (in WarmupForecastInput) signs() signs {
	n := len(in.Readings)
	s := signs{substituted: make([]bool, n), restarts: make([]bool, n), stepsC: displaySteps(in.Readings)}
	s.codes = []string{}
	if n == 0 {
		s.codes = append(s.codes, "no_readings")
	}
	plan := &timeline{engine: in.Engine, ambientC: in.AmbientC}
	if len(plan.engine) == 0 {
		plan.engine = []EngineChange{{State: "idle"}}
	}
	if state, _ := plan.stateAt(in.NowS); state == "off" {
		s.codes = append(s.codes, "engine_stopped")
	}
	if in.findSubstituted(s.substituted) {
		s.codes = append(s.codes, "substituted_value")
	}
	if in.findJumps(s.substituted, s.restarts) {
		s.codes = append(s.codes, "jump")
	}
	if in.isFlat(plan, s.stepsC) {
		s.codes = append(s.codes, "flat_line")
	}
	if in.equalsCoolant(s.stepsC) {
		s.codes = append(s.codes, "equals_coolant")
	}
	if n > 0 && in.NowS-in.Readings[n-1].TS >= oldAfterS {
		s.codes = append(s.codes, "reading_old")
	}
	return s
}

// displaySteps finds the step of the display behind each reading: whole °C,
// whole °F, or tenths of a °C. Readings in both units may be mixed.
func displaySteps(readings []WarmupReading) []float64 {
	allC, allF, whole := true, true, true
	steps := make([]float64, len(readings))
	for i, r := range readings {
		f := 32 + float64(1.8*r.TempC)
		isC := math.Abs(r.TempC-math.Round(r.TempC)) < 1e-6
		// A whole °F written in tenths of a °C is up to 0.09 °F off.
		isF := math.Abs(f-math.Round(f)) < 0.1
		allC, allF, whole = allC && isC, allF && isF, whole && (isC || isF)
		steps[i] = 5.0 / 9
		if isC {
			steps[i] = 1
		}
	}
	for i, r := range readings {
		switch {
		case r.ResolutionC != nil:
			steps[i] = *r.ResolutionC
		case allC:
			steps[i] = 1
		case allF:
			steps[i] = 5.0 / 9
		case !whole:
			steps[i] = 0.1
		}
	}
	return steps
}

// tooFar says whether two readings differ by more than warming explains.
func tooFar(a, b WarmupReading) bool {
	return math.Abs(b.TempC-a.TempC) > jumpC+float64(jumpCPerMin*math.Abs(b.TS-a.TS)/60)
}

// findSubstituted marks readings of exactly 60, 90 or 135 °C that do not
// belong to a rise: cut off from a neighbour, or standing still.
func (in WarmupForecastInput) findSubstituted(mark []bool) bool {
	found := false
	r := in.Readings
	for i := 0; i < len(r); {
		end := i + 1
		for end < len(r) && r[end].TempC == r[i].TempC {
			end++
		}
		if !isRound(r[i].TempC) {
			i = end
			continue
		}
		cutOff := i > 0 && tooFar(r[i-1], r[i]) || end < len(r) && tooFar(r[end-1], r[end])
		still := r[end-1].TS-r[i].TS >= flatAfterS
		alone := end-i == len(r) && r[i].TempC > in.AmbientC+25
		if cutOff || still || alone {
			found = true
			for ; i < end; i++ {
				mark[i] = true
			}
		}
		i = end
	}
	return found
}

// isRound recognises the stand-in values control units are known to use.
func isRound(tempC float64) bool {
	for _, round := range [...]float64{60, 90, 135} {
		if math.Abs(tempC-round) < 0.051 {
			return true
		}
	}
	return false
}

// findJumps marks readings from which the temperature stays on another level.
// It takes two readings on either side: one alone may as well be a slip, and is
// left to the filters. A jump up to the last reading is reported, not marked.
func (in WarmupForecastInput) findJumps(skip, mark []bool) bool {
	used := make([]int, 0, len(in.Readings))
	for i := range in.Readings {
		if !skip[i] {
			used = append(used, i)
		}
	}
	found := false
	for k := 1; k < len(used); k++ {
		r, before := in.Readings[used[k]], in.Readings[used[k-1]]
		if !tooFar(before, r) || in.pouredBetween(used[k-1], used[k]) {
			continue
		}
		if k+1 == len(used) {
			found = found || k > 1 && !tooFar(in.Readings[used[k-2]], before)
			continue
		}
		if k < 2 || tooFar(in.Readings[used[k-2]], before) {
			continue
		}
		next := in.Readings[used[k+1]]
		stays := !tooFar(r, next) && math.Abs(next.TempC-r.TempC) < math.Abs(next.TempC-before.TempC)
		if stays {
			found, mark[used[k]] = true, true
		}
	}
	return found
}

func (in WarmupForecastInput) pouredBetween(i, j int) bool {
	for _, a := range in.Additions {
		if a.TS >= in.Readings[i].TS-30 && a.TS <= in.Readings[j].TS {
			return true
		}
	}
	return false
}

// isFlat says whether the last readings stood still for three minutes of
// idling in which the default gearbox would have moved by more than its display can hide.
func (in WarmupForecastInput) isFlat(plan *timeline, stepsC []float64) bool {
	n := len(in.Readings)
	if n < 3 {
		return false
	}
	stepC := stepsC[n-1]
	low, high := in.Readings[n-1].TempC, in.Readings[n-1].TempC
	for i := n - 2; i >= 0; i-- {
		r := in.Readings[i]
		low, high = math.Min(low, r.TempC), math.Max(high, r.TempC)
		if high-low > math.Max(0.3, 0.55*stepC) {
			return false
		}
		if state, _ := plan.stateAt(r.TS); state == "off" || in.pouredBetween(i, n-1) {
			return false
		}
		spanS := in.Readings[n-1].TS - r.TS
		expected := (in.AmbientC + defaultRiseC - high) * (1 - math.Exp(-spanS/defaultTimeS))
		if spanS >= flatAfterS && n-i >= 3 && expected > math.Max(1, 1.5*stepC) {
			return true
		}
	}
	return false
}

// equalsCoolant says whether the reading follows the coolant's, which warms
// far sooner than a gearbox at idle.
func (in WarmupForecastInput) equalsCoolant(stepsC []float64) bool {
	count := 0
	for i, r := range in.Readings {
		if r.CoolantC == nil || math.Abs(*r.CoolantC-r.TempC) > math.Max(0.3, 0.5*stepsC[i]) {
			continue
		}
		switch above := r.TempC - in.AmbientC; {
		case above > 2*coolantMinC:
			return true
		case above > coolantMinC:
			count++
		}
	}
	return count >= coolantCount
}
