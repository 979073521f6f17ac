package physics

import "math"

// Spreads of a circuit's volume and the shares of it that still go in (all
// common practice, no source).
const (
	lineSpread    = 0.10 // inner diameters are read off the outside
	coreSpread    = 0.15
	openedShare   = 0.35 // drained only as far as the open joints let it
	openedSpread  = 0.25
	emptyShare    = 0.90 // some fluid clings, some air stays
	emptySpread   = 0.10
	unknownShare  = 0.30
	unknownSpread = 0.35
	flowingShare  = 0.10 // without a bypass the circuit fills while idling
	flowingSpread = 0.10
	usualOpensC   = 75.0 // where a bypass opens if nothing is known
)

// CoolerLine is a run of equal lines.
type CoolerLine struct {
	InnerMM  float64 `json:"inner_mm"`
	LengthMM float64 `json:"length_mm"`
	Count    int     `json:"count"`
}

// CoolerCircuitInput describes a cooler circuit and what was done to it.
type CoolerCircuitInput struct {
	Lines         []CoolerLine `json:"lines"`
	CoreML        float64      `json:"core_ml"`
	OpensC        *float64     `json:"opens_c,omitempty"`
	Bypass        string       `json:"bypass"`
	Lockable      bool         `json:"lockable"`
	Circuit       string       `json:"circuit"`
	FailedGearbox bool         `json:"failed_gearbox"`
}

// CoolerCircuitOutput is what the circuit holds and what follows from it.
type CoolerCircuitOutput struct {
	VolumeML    Normal   `json:"volume_ml"`
	UptakeML    Normal   `json:"uptake_ml"`
	SecondCycle string   `json:"second_cycle"`
	FlushFirst  bool     `json:"flush_first"`
	Reasons     []string `json:"reasons"`
}

// CoolerCircuit gives the volume of a cooler circuit, how much of it will
// still be taken on a hot drive, and whether the check must be repeated after
// one. The profile's source outranks this rule.
//
// SecondCycle: "not needed" for an untouched circuit; "optional" where no
// bypass keeps fluid away while idling, or where it can be locked open; else
// "required". FlushFirst: the gearbox failed and the circuit was neither
// flushed nor replaced. Reasons: circuit_untouched, circuit_opened,
// circuit_emptied, circuit_unknown, no_bypass, bypass_unknown,
// bypass_closed_until_hot, bypass_lockable, failed_gearbox,
// bypass_blocks_flush.
//
// Shapes: at most 20 kinds of line.
// Units: mm, mL, °C.
// Errors: out_of_range, too_many or unknown_word on the field at fault.
// Accuracy: 10 % for the lines and 15 % for the core; the uptake's spread
// covers what clings and what air stays.
// Source: cylinder volume (geometry); shares and rule common practice, no
// source.
func CoolerCircuit(in CoolerCircuitInput) (CoolerCircuitOutput, error) {
	if err := in.check(); err != nil {
		return CoolerCircuitOutput{}, err
	}
	lines := 0.0
	for _, l := range in.Lines {
		lines += math.Pi / 4 * l.InnerMM * l.InnerMM * l.LengthMM * float64(l.Count) / 1000
	}
	volume := Normal{Mean: lines + in.CoreML, SD: math.Hypot(lineSpread*lines, coreSpread*in.CoreML)}
	out := CoolerCircuitOutput{
		VolumeML:    volume,
		UptakeML:    in.uptake(volume),
		SecondCycle: in.secondCycle(),
		FlushFirst:  in.FailedGearbox && in.Circuit != "flushed" && in.Circuit != "replaced",
	}
	out.Reasons = in.reasons(out.FlushFirst)
	return out, nil
}

// check states the contract of CoolerCircuit.
func (in CoolerCircuitInput) check() error {
	var c checks
	c.count("lines", len(in.Lines), 20)
	for i, l := range in.Lines {
		c.between(at("lines", i, "inner_mm"), l.InnerMM, 1, 60)
		c.between(at("lines", i, "length_mm"), l.LengthMM, 0, 30000)
		c.between(at("lines", i, "count"), float64(l.Count), 1, 20)
	}
	c.between("core_ml", in.CoreML, 0, 20000)
	if in.OpensC != nil {
		c.fluidTemperature("opens_c", *in.OpensC)
	}
	c.oneOf("bypass", in.Bypass, "none", "in line", "in cooler", "on gearbox", "unknown")
	c.oneOf("circuit", in.Circuit, "untouched", "opened", "drained", "flushed", "replaced", "unknown")
	return c.err()
}

// uptake is the share of the circuit that a hot drive still fills.
func (in CoolerCircuitInput) uptake(volume Normal) Normal {
	share, spread := emptyShare, emptySpread
	switch in.Circuit {
	case "untouched":
		return Normal{}
	case "opened":
		share, spread = openedShare, openedSpread
	case "unknown":
		share, spread = unknownShare, unknownSpread
	}
	if in.Bypass == "none" {
		share, spread = math.Min(share, flowingShare), math.Min(spread, flowingSpread)
	}
	return Normal{Mean: share * volume.Mean, SD: math.Hypot(share*volume.SD, spread*volume.Mean)}
}

// secondCycle is the rule where the profile says nothing.
func (in CoolerCircuitInput) secondCycle() string {
	switch {
	case in.Circuit == "untouched":
		return "not needed"
	case in.Bypass == "none" || in.Lockable:
		return "optional"
	}
	return "required"
}

// reasons lists what the answer rests on, in a fixed order.
func (in CoolerCircuitInput) reasons(flushFirst bool) []string {
	reasons := []string{}
	switch in.Circuit {
	case "untouched":
		reasons = append(reasons, "circuit_untouched")
	case "opened":
		reasons = append(reasons, "circuit_opened")
	case "unknown":
		reasons = append(reasons, "circuit_unknown")
	default:
		reasons = append(reasons, "circuit_emptied")
	}
	opensC := usualOpensC
	if in.OpensC != nil {
		opensC = *in.OpensC
	}
	switch {
	case in.Bypass == "none":
		reasons = append(reasons, "no_bypass")
	case in.Bypass == "unknown":
		reasons = append(reasons, "bypass_unknown")
	case opensC > 50: // hotter than the windows in which a level is set
		reasons = append(reasons, "bypass_closed_until_hot")
	}
	if in.Lockable && in.Bypass != "none" {
		reasons = append(reasons, "bypass_lockable")
	}
	if in.FailedGearbox {
		reasons = append(reasons, "failed_gearbox")
	}
	if flushFirst && in.Bypass != "none" && !in.Lockable {
		reasons = append(reasons, "bypass_blocks_flush")
	}
	return reasons
}
