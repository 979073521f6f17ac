package physics

// fluidComputations lists what needs a fluid but no check.
func fluidComputations() []Computation {
	return []Computation{
		{
			Name:   "fluid-volume",
			Line:   "volume of an oil at another temperature, free or against the case",
			input:  `{density_15c_kg_m3:number volume_ml:number from_c:number to_c:number case_expansion_per_c?:number}`,
			output: `{alpha_15c_per_c:number vcf_from:number vcf_to:number volume_ml:number}`,
			run:    compute(FluidVolume),
		},
		{
			Name:   "fluid-viscosity",
			Line:   "viscosity at another temperature, and the viscosity index",
			input:  `{kv40_mm2_s:number kv100_mm2_s:number temp_c:number}`,
			output: `{kv_mm2_s:number viscosity_index:number|null extrapolated:flag}`,
			run:    compute(FluidViscosity),
		},
		{
			Name:   "drop-volume",
			Line:   "size of a drop that falls from a wetted edge",
			input:  `{edge_radius_mm:number surface_tension_mn_m:number density_kg_m3:number}`,
			output: `{volume_ul:number per_ml:number x:number f:number}`,
			run:    compute(DropVolume),
		},
		{
			Name:   "fluid-mix",
			Line:   "share of old fluid left after partial changes",
			input:  `{drained_ml:number total_ml:number exchanges:integer}`,
			output: `{old_fraction_after:[number]}`,
			run:    compute(FluidMix),
		},
		{
			Name:   "units",
			Line:   "one value in another unit; a temperature and a temperature difference are two things",
			input:  `{value:number from:text to:text}`,
			output: `{value:number quantity:text}`,
			run:    compute(Units),
		},
	}
}

// warmingComputations lists what warms and cools.
func warmingComputations() []Computation {
	return []Computation{
		{
			Name: "warmup-forecast",
			Line: "when a warming gearbox reaches the limits of its window",
			input: `{ambient_c:number window:window readings?:[{t_s:number temp_c:number resolution_c?:number coolant_c?:number}]` +
				` engine?:[{t_s:number state:<off|idle|driving>}] additions?:[{t_s:number volume_ml:number temp_c:number}]` +
				` active_volume_ml?:number coolant_warmer?:<yes|no|unknown> prior?:belief` +
				` now_s:number remaining_s?:normal horizon_s?:number}`,
			output: `{now_c:quantiles rate_c_per_min:normal reaches_low_s:{p10:number p50:number p90:number probability:number}|null` +
				` reaches_high_s:{p10:number p50:number p90:number probability:number}|null fits_probability:number|null` +
				` curve:[{t_s:number p10:number p50:number p90:number}] model:belief` +
				` doubtful:[integer] codes:[text]}`,
			run: compute(WarmupForecast),
		},
		{
			Name:   "exponential-fit",
			Line:   "least squares of y = b1(1 - exp(-b2 x)), as NIST certifies it",
			input:  `{x:[number] y:[number] start:[number]}`,
			output: `{b:[number] sd:[number] residual_sd:number rss:number iterations:integer}`,
			run:    compute(ExponentialFit),
		},
		{
			Name:  "warmup-prior",
			Line:  "what to expect of a vehicle's next warming, from earlier checks",
			input: `{vehicle:text checks:[{vehicle:text rise_c:normal time_constant_s:normal correlation?:number warmer?:warmer}]}`,
			output: `{rise_c:normal time_constant_s:normal correlation:number warmer:warmer|null from:<default|profile|vehicle|vehicle and profile> own_checks:integer` +
				` other_vehicles:integer doubtful:[integer]}`,
			run: compute(WarmupPrior),
		},
		{
			Name:  "cooldown-prior",
			Line:  "what to expect of a vehicle's next cooling, from earlier ones",
			input: `{vehicle:text checks:[{vehicle:text time_constant_s:normal}]}`,
			output: `{time_constant_s:normal from:<default|profile|vehicle|vehicle and profile> own_checks:integer` +
				` other_vehicles:integer doubtful:[integer]}`,
			run: compute(CooldownPrior),
		},
		{
			Name: "step-prior",
			Line: "how long each act takes a mechanic, from earlier checks, and the rest of a plan",
			input: `{mechanic:text done:[{mechanic:text act:text took_s:number}] typical?:[{act:text took_s:normal}]` +
				` plan?:[text]}`,
			output: `{steps:[{act:text took_s:normal from:<default|profile|mechanic|mechanic and profile> own_steps:integer` +
				` other_mechanics:integer doubtful:[integer]}] remaining_s:normal|null}`,
			run: compute(StepPrior),
		},
		{
			Name: "cooldown",
			Line: "how a standing gearbox cools, and its time constant from readings",
			input: `{ambient:{mean_c:number amplitude_c?:number period_s?:number phase_rad?:number} start_c?:number` +
				` time_constant_s?:normal readings?:[{t_s:number temp_c:number}] at_s?:[number] until_c?:number}`,
			output: `{time_constant_s:normal learned:<default|given|two readings|readings>` +
				` three_point:{time_constant_s:number end_c:number}|null temps:[{t_s:number temp_c:number sd_c:number}]` +
				` reaches_s:{p10:number p50:number p90:number probability:number}|null gain:number lag_s:number}`,
			run: compute(Cooldown),
		},
		{
			Name: "visit-slots",
			Line: "when a parked vehicle is cold enough to check, and whether the work fits",
			input: `{switched_off_at:text fluid_at_switch_off_c:normal cool_time_constant_s?:normal` +
				` days:[{date:text min_c:number max_c:number}] time_zone?:text start_below_c:number start_margin_c?:number` +
				` window:window needed_s:normal prior?:belief coolant_warmer?:<yes|no|unknown>` +
				` working_hours?:{from:text to:text} not_before?:text horizon_h?:number}`,
			output: `{earliest_at:text|null slots:[{from:text to:text fluid_c:normal ambient_c:number window_length_s:quantiles` +
				` fits_probability:number}] never:<air_too_warm|cools_too_slowly|outside_working_hours|window_not_reached|window_too_short>|null` +
				` park_from:text|null}`,
			run: compute(VisitSlots),
		},
	}
}

// checkComputations lists what a check asks beside the warming, in the order
// it asks.
func checkComputations() []Computation {
	return []Computation{
		{
			Name:   "tilt-shift",
			Line:   "what a tilted vehicle does to a level set at the plug",
			input:  `{pitch_deg:number roll_deg:number sd_deg:number plug:{ahead_mm:number right_mm:number} free_surface_cm2:number}`,
			output: `{head_mm:number shift_ml:number sd_ml:number}`,
			run:    compute(TiltShift),
		},
		{
			Name: "attitude",
			Line: "which end stands high, by how much, and how to come level",
			input: `{pitch_deg:number roll_deg:number wheelbase_mm:number track_mm:number tolerance_deg:number` +
				` surface_limit_deg:number}`,
			output: `{tilt_deg:number high_end:<none|front|rear|left|right|front left|front right|rear left|rear right>` +
				` front_rear_mm:number left_right_mm:number` +
				` advice:<level enough|level on drive-on pads|move the vehicle|decline>}`,
			run: compute(Attitude),
		},
		{
			Name:   "reversal",
			Line:   "true angles and the phone's own offset from a reading and one turned by 180 degrees",
			input:  `{first:angles turned:angles}`,
			output: `{pitch_deg:number roll_deg:number offset:angles}`,
			run:    compute(Reversal),
		},
		{
			Name: "drip-judge",
			Line: "what the drip means, given the warming",
			input: `{drips_s:[number] watched:{from_s:number to_s:number} drop_ul:number active_volume_ml:number` +
				` density_15c_kg_m3:number temp_c:number rate_c_per_min:normal pulse_s?:number case_expansion_per_c?:number}`,
			output: `{per_min:{estimate:number low:number high:number} expected_per_min:normal ratio:quantiles` +
				` class:<none|below|balanced|above|stream> remaining_ml?:normal settles_s?:quantiles` +
				` advice:<keep_watching|at_the_lip|still_draining|below_lip|dry_is_right|count_longer|cannot_judge_stream> codes:[text]}`,
			run: compute(DripJudge),
		},
		{
			Name: "cooler-circuit",
			Line: "what a cooler circuit holds and will still take, and whether a second cycle is due",
			input: `{lines:[{inner_mm:number length_mm:number count:integer}] core_ml:number opens_c?:number` +
				` bypass:<none|in line|in cooler|on gearbox|unknown> lockable:flag` +
				` circuit:<untouched|opened|drained|flushed|replaced|unknown> failed_gearbox:flag}`,
			output: `{volume_ml:normal uptake_ml:normal second_cycle:<required|optional|not needed> flush_first:flag reasons:[text]}`,
			run:    compute(CoolerCircuit),
		},
		{
			Name:   "level-estimate",
			Line:   "the level a check found and left, its budget and the word it carries",
			input:  levelInput,
			output: levelOutput,
			run:    compute(LevelEstimate),
		},
	}
}

// recordComputations lists what the books and the planning ask.
func recordComputations() []Computation {
	return []Computation{
		{
			Name: "level-trend",
			Line: "how fast a gearbox loses fluid, when it is due, and what else explains it",
			input: `{checks:[{at:text odometer_km?:number as_found_ml?:number as_left_ml?:number sd_ml:number site?:text` +
				` person?:text unit?:text}] minimum_ml:number}`,
			output: `{loss_ml_per_1000_km:{mean:number low:number high:number}|null loss_ml_per_month:{mean:number low:number high:number}|null` +
				` significant:flag next_due:{at:text|null odometer_km:number|null}|null` +
				` suspects:[{kind:<site|person|sensor> name:text shift_ml:number sd_ml:number checks:[integer]}]}`,
			run: compute(LevelTrend),
		},
		{
			Name: "fluid-ledger",
			Line: "what was poured and caught, in grams or millilitres: net, waste, packs and cost",
			input: `{density_15c_kg_m3:number reference_c?:number moves:[{direction:<in|out> volume_ml?:number mass_g?:number` +
				` temp_c:number sd_ml?:number returned?:flag}] pack_ml?:number price_per_pack?:number}`,
			output: `{reference_c:number in_ml:normal out_ml:normal net_in_ml:normal net_in_g:number new_ml:number waste_ml:number` +
				` waste_g:number packs_opened:integer|null leftover_ml:number|null cost:number|null}`,
			run: compute(FluidLedger),
		},
		{
			Name: "bring-list",
			Line: "how much fluid, which packs and how many seals a visit needs",
			input: `{density_15c_kg_m3:number deficit_ml?:normal exchange_ml?:normal cooler_uptake_ml?:normal pack_sizes_ml:[number]` +
				` openings:integer seals_per_opening:integer second_cycle:flag sureness?:number}`,
			output: `{expected_ml:number margin_ml:number volume_ml:number mass_g:number packs:[{size_ml:number count:integer}]` +
				` spare_ml:number seals:integer reasons:[text]}`,
			run: compute(BringList),
		},
		{
			Name:   "vin",
			Line:   "check digit and model years of a vehicle's number",
			input:  `{vin:text}`,
			output: `{well_formed:flag check_digit:text expected:text matches:flag model_years:[integer] warnings:[text]}`,
			run:    compute(VIN),
		},
	}
}

const levelInput = `{profile:{window:window active_volume_ml:number density_15c_kg_m3:number case_expansion_per_c?:number` +
	` acceptance?:{low_ml:number high_ml:number origin:text} second_cycle:<never|if cooler opened|always> drop_ul?:number}` +
	` sensor:{source:<reader|probe|gun> resolution_c?:number tolerance_c?:number}` +
	` attitude:{pitch_deg:number roll_deg:number sd_deg:number plug:{ahead_mm:number right_mm:number} free_surface_cm2:number}|null` +
	` as_found:{opened_c:number outcome:<ran out|dripping|nothing> first_drip_c?:number plug_in_c?:number seen?:text}|null` +
	` moves?:[{direction:<in|out> volume_ml?:number mass_g?:number temp_c:number sd_ml?:number phase:<as_found|later>}]` +
	` as_left:{plug_in_c:number class:<none|below|balanced|above|stream> ratio?:quantiles remaining_ml?:normal watched:flag` +
	` exercised:flag seconds_since_exercise?:number}|null` +
	` cooler:{circuit:<untouched|opened|drained|flushed|replaced|unknown> uptake_ml?:normal cycle:integer hot_drive_since:flag}` +
	` irregular?:[<overrun|stalled|exercise_skipped|attitude_unknown|foam|unproven_profile|clock_gap|reading_gap>]}`

const levelOutput = `{reference_c:number as_found:{level_ml:number sd_ml:number` +
	` method:<caught_to_balance|first_drip|added_to_first_drip|added_and_caught|dripping_at_opening>}|null` +
	` as_left:{level_ml:number sd_ml:number}|null budget:[{source:text shift_ml:number sd_ml:number}]` +
	` band:{low_ml:number high_ml:number origin:text} probability:{low:number in:number high:number}|null` +
	` reading:<in|likely in|likely low|likely high|low|high|not proven> status:<provisional|final|not done>` +
	` reasons:[text] next:[<second_cycle|measure_attitude|second_reading|repeat_cold|none>]}`
