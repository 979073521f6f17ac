package physics

import (
	"math"
	"sort"
)

const (
	usualSureness = 0.95 // of not running short
	leastSpareML  = 200  // wetted funnels and hoses (common practice, no source)
	mostPackSizes = 6
)

// BringListInput is what a visit is expected to need.
type BringListInput struct {
	DensityKgM3     float64   `json:"density_15c_kg_m3"`
	DeficitML       *Normal   `json:"deficit_ml,omitempty"`
	ExchangeML      *Normal   `json:"exchange_ml,omitempty"`
	CoolerUptakeML  *Normal   `json:"cooler_uptake_ml,omitempty"`
	PackSizesML     []float64 `json:"pack_sizes_ml"`
	Openings        int       `json:"openings"`
	SealsPerOpening int       `json:"seals_per_opening"`
	SecondCycle     bool      `json:"second_cycle"`
	Sureness        *float64  `json:"sureness,omitempty"`
}

// PackCount is a number of packs of one size.
type PackCount struct {
	SizeML float64 `json:"size_ml"`
	Count  int     `json:"count"`
}

// BringListOutput is what to load.
type BringListOutput struct {
	ExpectedML float64     `json:"expected_ml"`
	MarginML   float64     `json:"margin_ml"`
	VolumeML   float64     `json:"volume_ml"`
	MassG      float64     `json:"mass_g"`
	Packs      []PackCount `json:"packs"`
	SpareML    float64     `json:"spare_ml"`
	Seals      int         `json:"seals"`
	Reasons    []string    `json:"reasons"`
}

// BringList says how much fluid, which packs and how many seals to take along
// so that a visit does not run short.
//
// The volume covers the expected need with the wanted sureness (0.95 unless
// told), and at least 200 mL beyond it. Packs are chosen to buy the least
// volume, then the fewest packs, among choices with up to three packs of a
// size fewer than would fit. A second cycle opens the plug once more; one
// seal is spare. Reasons: deficit, exchange, cooler_uptake (what the volume
// is for), margin_spread or margin_least (which margin counts),
// second_cycle, spare_seal.
//
// Shapes: one to six pack sizes.
// Units: kg/m³ at 15 °C, mL and g at 20 °C.
// Errors: out_of_range, too_many, or missing (no pack size) on the field at
// fault.
// Accuracy: as the spreads given; needs are taken as uncorrelated.
// Source: sum of normal quantities; least margin and spare seal common
// practice, no source.
func BringList(in BringListInput) (BringListOutput, error) {
	if err := in.check(); err != nil {
		return BringListOutput{}, err
	}
	out := BringListOutput{Reasons: []string{}}
	spread := 0.0
	for _, part := range []struct {
		need *Normal
		word string
	}{{in.DeficitML, "deficit"}, {in.ExchangeML, "exchange"}, {in.CoolerUptakeML, "cooler_uptake"}} {
		if part.need == nil {
			continue
		}
		out.ExpectedML += math.Max(0, part.need.Mean)
		spread = math.Hypot(spread, part.need.SD)
		out.Reasons = append(out.Reasons, part.word)
	}
	sureness := usualSureness
	if in.Sureness != nil {
		sureness = *in.Sureness
	}
	out.MarginML = float64(normalQuantile(sureness) * spread)
	word := "margin_spread"
	if out.MarginML < leastSpareML {
		out.MarginML, word = leastSpareML, "margin_least"
	}
	out.VolumeML = out.ExpectedML + out.MarginML
	out.MassG = out.VolumeML * in.DensityKgM3 * volumeCorrection(expansionAt15(in.DensityKgM3), usualStoreC) / 1000
	out.Reasons = append(out.Reasons, word)
	out.Packs, out.SpareML = choosePacks(in.PackSizesML, out.VolumeML)
	openings := in.Openings
	if in.SecondCycle {
		openings++
		out.Reasons = append(out.Reasons, "second_cycle")
	}
	out.Seals = openings * in.SealsPerOpening
	if out.Seals > 0 {
		out.Seals++
		out.Reasons = append(out.Reasons, "spare_seal")
	}
	return out, nil
}

// check states the contract of BringList.
func (in BringListInput) check() error {
	var c checks
	c.between("density_15c_kg_m3", in.DensityKgM3, densityLowKgM3, densityHighKgM3)
	for _, part := range []struct {
		need  *Normal
		field string
	}{{in.DeficitML, "deficit_ml"}, {in.ExchangeML, "exchange_ml"}, {in.CoolerUptakeML, "cooler_uptake_ml"}} {
		if part.need != nil {
			c.normal(part.field, *part.need, -50000, 50000, 20000)
		}
	}
	if len(in.PackSizesML) == 0 {
		c.fail("missing", "pack_sizes_ml", "must name at least one pack size")
	}
	c.count("pack_sizes_ml", len(in.PackSizesML), mostPackSizes)
	for i := range min(len(in.PackSizesML), mostPackSizes) {
		c.between(at("pack_sizes_ml", i, ""), in.PackSizesML[i], 50, largestVolumeML)
	}
	c.between("openings", float64(in.Openings), 0, 20)
	c.between("seals_per_opening", float64(in.SealsPerOpening), 0, 20)
	if in.Sureness != nil {
		c.between("sureness", *in.Sureness, 0.5, 0.9999)
	}
	return c.err()
}

// packChoice is one way to cover a need.
type packChoice struct {
	counts   []int
	volumeML float64
	packs    int
}

// choosePacks covers a need from pack sizes with the least volume, then with
// the fewest packs, and says what is left over.
func choosePacks(sizesML []float64, needML float64) ([]PackCount, float64) {
	sizes := append([]float64(nil), sizesML...)
	sort.Sort(sort.Reverse(sort.Float64Slice(sizes)))
	best := packChoice{volumeML: math.Inf(1)}
	cover(sizes, 0, needML, packChoice{counts: make([]int, len(sizes))}, &best)
	packs := []PackCount{}
	for i, count := range best.counts {
		if count > 0 {
			packs = append(packs, PackCount{SizeML: sizes[i], Count: count})
		}
	}
	return packs, math.Max(0, best.volumeML-needML)
}

// cover tries, for each size from the largest, the few counts that can belong
// to the best choice: as many as fit into the rest, up to three fewer, and
// one more, which ends the choice.
func cover(sizes []float64, index int, restML float64, chosen packChoice, best *packChoice) {
	fits := int(math.Floor(restML/sizes[index] + 1e-9))
	last := index == len(sizes)-1
	for count := fits + 1; count >= max(0, fits-3); count-- {
		next := packChoice{counts: append([]int(nil), chosen.counts...), packs: chosen.packs + count,
			volumeML: chosen.volumeML + float64(float64(count)*sizes[index])}
		next.counts[index] = count
		left := restML - float64(float64(count)*sizes[index])
		if left <= 1e-6 {
			if better(next, *best) {
				*best = next
			}
			continue
		}
		if !last {
			cover(sizes, index+1, left, next, best)
		}
	}
}

// better prefers less volume, then fewer packs.
func better(a, b packChoice) bool {
	if math.Abs(a.volumeML-b.volumeML) > 1e-6 {
		return a.volumeML < b.volumeML
	}
	return a.packs < b.packs
}
