package physics

import "math"

// LedgerMove is fluid that went in or came out, by volume or by mass. Fluid
// that came out and was poured back, or goes in again, is Returned: it is
// neither new nor waste.
type LedgerMove struct {
	Direction string   `json:"direction"`
	VolumeML  *float64 `json:"volume_ml,omitempty"`
	MassG     *float64 `json:"mass_g,omitempty"`
	TempC     float64  `json:"temp_c"`
	SDML      *float64 `json:"sd_ml,omitempty"`
	Returned  bool     `json:"returned,omitempty"`
}

// FluidLedgerInput is everything that was poured and caught.
type FluidLedgerInput struct {
	DensityKgM3  float64      `json:"density_15c_kg_m3"`
	ReferenceC   *float64     `json:"reference_c,omitempty"`
	Moves        []LedgerMove `json:"moves"`
	PackML       *float64     `json:"pack_ml,omitempty"`
	PricePerPack *float64     `json:"price_per_pack,omitempty"`
}

// FluidLedgerOutput is the balance.
type FluidLedgerOutput struct {
	ReferenceC  float64  `json:"reference_c"`
	InML        Normal   `json:"in_ml"`
	OutML       Normal   `json:"out_ml"`
	NetInML     Normal   `json:"net_in_ml"`
	NetInG      float64  `json:"net_in_g"`
	NewML       float64  `json:"new_ml"`
	WasteML     float64  `json:"waste_ml"`
	WasteG      float64  `json:"waste_g"`
	PacksOpened *int     `json:"packs_opened"`
	LeftoverML  *float64 `json:"leftover_ml"`
	Cost        *float64 `json:"cost"`
}

// usualStoreC is the temperature volumes are brought to unless told.
const usualStoreC = 20.0

// FluidLedger balances fluid that was poured and caught, in grams or in
// millilitres at whatever temperature, and says what it cost.
//
// Volumes are brought to one temperature (20 °C unless told), masses by the
// density there. New fluid is what went in and was not returned; waste what
// came out and was not returned. Packs are counted by their volume at the
// reference temperature and paid for when opened; without a pack size
// PacksOpened, LeftoverML and Cost are null, without a price Cost is.
//
// Shapes: at most 500 moves, each with either a volume or a mass.
// Units: kg/m³ at 15 °C, mL, g, °C; cost in the currency of the price.
// Errors: out_of_range, unknown_word, one_of or too_many on the field at
// fault; missing on pack_ml where a price is given without it.
// Accuracy: scale 6 mL, jug 10 mL and 2 % unless a move says otherwise
// (common practice, no source).
// Source: ASTM D1250-80 table 54D; sums.
func FluidLedger(in FluidLedgerInput) (FluidLedgerOutput, error) {
	if err := in.check(); err != nil {
		return FluidLedgerOutput{}, err
	}
	out := FluidLedgerOutput{ReferenceC: in.referenceC()}
	model := levelModel{alpha: expansionAt15(in.DensityKgM3), densityKgM3: in.DensityKgM3, referenceC: out.ReferenceC}
	gramsPerML := in.DensityKgM3 * volumeCorrection(model.alpha, out.ReferenceC) / 1000
	for _, move := range in.Moves {
		volumeML, sdML := model.movedML(LevelMove{VolumeML: move.VolumeML, MassG: move.MassG, TempC: move.TempC, SDML: move.SDML})
		side, plain := &out.OutML, &out.WasteML
		if move.Direction == "in" {
			side, plain = &out.InML, &out.NewML
		}
		side.Mean += volumeML
		side.SD = math.Hypot(side.SD, sdML)
		if !move.Returned {
			*plain += volumeML
		}
	}
	out.NetInML = Normal{Mean: out.InML.Mean - out.OutML.Mean, SD: math.Hypot(out.InML.SD, out.OutML.SD)}
	out.NetInG = out.NetInML.Mean * gramsPerML
	out.WasteG = out.WasteML * gramsPerML
	if in.PackML != nil {
		packs := int(math.Ceil(out.NewML/(*in.PackML) - 1e-9)) // a pack emptied to the last drop opens no other
		leftover := math.Max(0, float64(float64(packs)*(*in.PackML))-out.NewML)
		out.PacksOpened, out.LeftoverML = &packs, &leftover
		if in.PricePerPack != nil {
			cost := float64(packs) * *in.PricePerPack
			out.Cost = &cost
		}
	}
	return out, nil
}

// referenceC is the temperature volumes are brought to.
func (in FluidLedgerInput) referenceC() float64 {
	if in.ReferenceC == nil {
		return usualStoreC
	}
	return *in.ReferenceC
}

// check states the contract of FluidLedger.
func (in FluidLedgerInput) check() error {
	var c checks
	c.between("density_15c_kg_m3", in.DensityKgM3, densityLowKgM3, densityHighKgM3)
	c.fluidTemperature("reference_c", in.referenceC())
	c.count("moves", len(in.Moves), 500)
	for i := range min(len(in.Moves), 500) {
		move := in.Moves[i]
		LevelMove{Direction: move.Direction, VolumeML: move.VolumeML, MassG: move.MassG, TempC: move.TempC, SDML: move.SDML, Phase: "later"}.check(&c, i)
	}
	c.optional("pack_ml", in.PackML, 1, largestVolumeML)
	c.optional("price_per_pack", in.PricePerPack, 0, 1e9)
	if in.PricePerPack != nil && in.PackML == nil {
		c.fail("missing", "pack_ml", "is required with a price per pack")
	}
	return c.err()
}
