package physics

import (
	"math"
	"testing"

	"brimline/schema/fault"
)

func TestDailyRange(t *testing.T) {
	// References, section 6: shares of the 2021 table add up to 12.87; a maximum of
	// 33 with a range of 11 gives 22.00, 28.82 and 33.00 at hours 5, 10 and 15, and
	// 27.10125 in the mean.
	a := newAirDays([]DayForecast{{MinC: 22, MaxC: 33}}, 0)
	closeTo(t, "hour 5", a.at(5*3600), 22, 1e-12)
	closeTo(t, "hour 10", a.at(10*3600), 28.82, 1e-12)
	closeTo(t, "hour 15", a.at(15*3600), 33, 1e-12)
	closeTo(t, "half past nine", a.at(9.5*3600), 0.5*(33-0.55*11+28.82), 1e-12)
	sum, shares := 0.0, 0.0
	for h := 1; h <= 24; h++ {
		sum += a.at(float64(h) * 3600)
	}
	for _, s := range dailyRange() {
		shares += s
	}
	closeTo(t, "mean of the day", sum/24, 27.10125, 1e-12)
	closeTo(t, "sum of shares", shares, 12.87, 1e-12)
	closeTo(t, "the day before repeats the first", a.at(-19*3600), 22, 1e-12)
}

func TestAirDaysCoolAgainstSmallSteps(t *testing.T) {
	a := newAirDays([]DayForecast{{MinC: 8, MaxC: 21}, {MinC: 11, MaxC: 25}}, 0)
	fluidC, timeS := 88.0, 8000.0
	const stepS = 2.0
	for tS := 3000.0; tS < 100_000; tS += stepS {
		// Midpoint rule, an independent route to the closed form.
		half := fluidC + 0.5*stepS*(a.at(tS)-fluidC)/timeS
		fluidC += stepS * (a.at(tS+0.5*stepS) - half) / timeS
	}
	keep, addC := a.cool(3000, 100_000, timeS)
	closeTo(t, "fluid", keep*88+addC, fluidC, 1e-5)
}

// mildNight is a vehicle parked at 18:00 with two mild days ahead.
func mildNight() VisitSlotsInput {
	return VisitSlotsInput{
		SwitchedOffAt:     "2030-05-04T18:00:00+02:00",
		FluidAtSwitchOffC: Normal{Mean: 85, SD: 5},
		Days:              []DayForecast{{"2030-05-04", 11, 22}, {"2030-05-05", 12, 24}},
		TimeZone:          "+02:00",
		StartBelowC:       30,
		Window:            Window{LowC: 30, HighC: 50},
		NeededS:           Normal{Mean: 480, SD: 120},
		WorkingHours:      &WorkingHours{From: "07:00", To: "18:00"},
	}
}

func mustPlan(t *testing.T, in VisitSlotsInput) VisitSlotsOutput {
	t.Helper()
	out, err := VisitSlots(in)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func unixOf(t *testing.T, text string) float64 {
	t.Helper()
	m, ok := parseMoment(text)
	if !ok {
		t.Fatalf("%q is no time", text)
	}
	return float64(m.unixS)
}

func TestVisitSlotsInConstantAir(t *testing.T) {
	// 90 → 45 °C in 20 °C air with τ = 75 min takes 77.2215 min (references, section 5).
	in := mildNight()
	in.Days = []DayForecast{{"2030-05-04", 20, 20}, {"2030-05-05", 20, 20}}
	in.FluidAtSwitchOffC, in.CoolTimeConstantS = Normal{Mean: 90}, &Normal{Mean: 4500}
	in.StartBelowC, in.StartMarginC, in.WorkingHours = 47, number64(2), nil
	in.Window = Window{LowC: 50, HighC: 70}
	out := mustPlan(t, in)
	if out.EarliestAt == nil || *out.EarliestAt != "2030-05-04T19:18:00+02:00" {
		t.Fatalf("earliest_at = %v, want 78 minutes after switching off", out.EarliestAt)
	}
	s := out.Slots[0]
	if s.From != *out.EarliestAt || s.To != "2030-05-04T21:15:00+02:00" {
		t.Errorf("first slot from %s to %s", s.From, s.To)
	}
	closeTo(t, "fluid", s.FluidC.Mean, 20+70*math.Exp(-78.0/75), 1e-9)
	closeTo(t, "air", s.AmbientC, 20, 1e-12)
	// Parked exactly then: switching off any later is too late for the first slot.
	if *out.ParkFrom != "2030-05-04T18:00:00+02:00" {
		t.Errorf("park_from = %s", *out.ParkFrom)
	}
}

func TestVisitSlotsWindowLength(t *testing.T) {
	// References, section 5: T∞ = 80 °C, τ = 30 min, 30 → 50 °C takes 15.3248 min.
	in := mildNight()
	in.Days = []DayForecast{{"2030-05-04", 20, 20}, {"2030-05-05", 20, 20}}
	in.Prior = &WarmupBelief{RiseC: Normal{Mean: 60}, TimeConstantS: Normal{Mean: 1800}}
	in.NeededS = Normal{Mean: 900, SD: 0}
	out := mustPlan(t, in)
	for _, s := range out.Slots {
		closeTo(t, "window", s.WindowLengthS.P50/60, 15.3248, 5e-5)
		closeTo(t, "window", s.WindowLengthS.P10, s.WindowLengthS.P90, 1e-9)
	}
	if len(out.Slots) == 0 || out.Slots[0].FitsProbability < 0.9 {
		t.Fatalf("slots %+v", out.Slots)
	}
	in.NeededS.Mean = 930 // half a minute more than the window
	if out := mustPlan(t, in); len(out.Slots) != 0 || out.Never == nil || *out.Never != "window_too_short" {
		t.Errorf("never = %v", out.Never)
	}
}

func TestVisitSlotsOnAMildDay(t *testing.T) {
	in := mildNight()
	out := mustPlan(t, in)
	if out.Never != nil || len(out.Slots) < 3 || out.EarliestAt == nil || out.ParkFrom == nil {
		t.Fatalf("output %+v", out)
	}
	if out.Slots[0].From != "2030-05-05T07:00:00+02:00" {
		t.Errorf("first slot from %s, want when work begins", out.Slots[0].From)
	}
	last := 0.0
	for i, s := range out.Slots {
		from, to := unixOf(t, s.From), unixOf(t, s.To)
		if !(last <= from && from < to && to-from <= longestSlotS) {
			t.Errorf("slot %d from %s to %s", i, s.From, s.To)
		}
		last = to
		if s.FluidC.Mean > 28 || !(s.FitsProbability >= 0.05 && s.FitsProbability <= 1) || !(0 < s.WindowLengthS.P10 && s.WindowLengthS.P10 <= s.WindowLengthS.P50 && s.WindowLengthS.P50 <= s.WindowLengthS.P90) {
			t.Errorf("slot %d: %+v", i, s)
		}
	}
	// Parked a quarter of an hour after park_from, the first slot is gone.
	later := in
	later.SwitchedOffAt = moment{unixS: int64(unixOf(t, *out.ParkFrom)) + quarterS + 60, offsetS: 7200}.text()
	if again := mustPlan(t, later); len(again.Slots) > 0 && again.Slots[0].From == out.Slots[0].From {
		t.Errorf("park_from is %s, yet parking at %s still gives %s", *out.ParkFrom, later.SwitchedOffAt, again.Slots[0].From)
	}
	barred := in
	barred.NotBefore = "2030-05-05T09:40:00+02:00"
	if out := mustPlan(t, barred); len(out.Slots) == 0 || unixOf(t, out.Slots[0].From) < unixOf(t, barred.NotBefore) {
		t.Errorf("not_before is ignored: %+v", out.Slots)
	}
	// A warmer shortens the window; a name of a zone stands for the offset given.
	warm := in
	warm.CoolantWarmer, warm.TimeZone = "yes", "Somewhere/Else"
	if w := mustPlan(t, warm); !(w.Slots[0].WindowLengthS.P50 < 0.75*out.Slots[0].WindowLengthS.P50) || w.Slots[0].From != out.Slots[0].From {
		t.Errorf("with a warmer %+v, without %+v", w.Slots[0], out.Slots[0])
	}
}

func TestVisitSlotsUsesWhatWasLearned(t *testing.T) {
	in := mildNight()
	in.Prior = &WarmupBelief{RiseC: Normal{Mean: 55, SD: 10}, TimeConstantS: Normal{Mean: 1700, SD: 400}}
	plain := mustPlan(t, in).Slots[0].WindowLengthS
	in.Prior.Warmer = &WarmerBelief{Probability: 0.9, OnsetS: Normal{300, 60}, Factor: Normal{1.8, 0.15}}
	if warm := mustPlan(t, in).Slots[0].WindowLengthS; !(warm.P50 < 0.65*plain.P50) {
		t.Errorf("a warmer that was learned leaves the window at %+v, without it is %+v", warm, plain)
	}
	in.CoolantWarmer = "no"
	if denied := mustPlan(t, in).Slots[0].WindowLengthS; denied != plain {
		t.Errorf("a warmer that is denied shortens the window to %+v", denied)
	}
	// Rise and time constant that go together leave the warming, and so the window, better known.
	in.Prior.Warmer, in.Prior.Correlation = nil, number64(0.95)
	if tied := mustPlan(t, in).Slots[0].WindowLengthS; !(tied.P90-tied.P10 < plain.P90-plain.P10) {
		t.Errorf("with correlation %+v, without %+v", tied, plain)
	}
}

func TestVisitSlotsSaysWhyNever(t *testing.T) {
	tests := []struct {
		name  string
		spoil func(*VisitSlotsInput)
		want  string
	}{
		// Trade notes, situation 1: nights of 29, days of 36 °C, start below 30 less 2.
		{"heat wave", func(in *VisitSlotsInput) {
			in.Days = []DayForecast{{"2030-05-04", 29, 36}, {"2030-05-05", 29, 36}}
		}, "air_too_warm"},
		{"slow gearbox", func(in *VisitSlotsInput) {
			in.CoolTimeConstantS = &Normal{Mean: 40 * 3600, SD: 3600}
		}, "cools_too_slowly"},
		{"only at night", func(in *VisitSlotsInput) {
			in.Days = []DayForecast{{"2030-05-04", 24, 40}, {"2030-05-05", 24, 40}}
			in.CoolTimeConstantS, in.StartMarginC = &Normal{Mean: 3600, SD: 60}, number64(1)
			in.WorkingHours = &WorkingHours{From: "14:00", To: "16:00"}
		}, "outside_working_hours"},
		{"idle never warms it", func(in *VisitSlotsInput) {
			in.Prior = &WarmupBelief{RiseC: Normal{Mean: 5, SD: 0.5}, TimeConstantS: Normal{Mean: 1700, SD: 100}}
		}, "window_not_reached"},
		{"no time in the window", func(in *VisitSlotsInput) {
			in.Prior = &WarmupBelief{RiseC: Normal{Mean: 60, SD: 3}, TimeConstantS: Normal{Mean: 1700, SD: 100}}
			in.NeededS = Normal{Mean: 5000, SD: 60}
		}, "window_too_short"},
	}
	for _, tt := range tests {
		in := mildNight()
		tt.spoil(&in)
		out := mustPlan(t, in)
		if out.Never == nil || *out.Never != tt.want || len(out.Slots) != 0 || out.ParkFrom != nil {
			t.Errorf("%s: never = %v, %d slots, want %s", tt.name, out.Never, len(out.Slots), tt.want)
		}
	}
}

func TestVisitSlotsNamesWhatIsWrong(t *testing.T) {
	tests := []struct {
		spoil func(*VisitSlotsInput)
		code  string
		field string
	}{
		{func(in *VisitSlotsInput) { in.SwitchedOffAt = "yesterday" }, "bad_time", "switched_off_at"},
		{func(in *VisitSlotsInput) { in.SwitchedOffAt = "2030-08-04T18:00:00+02:00" }, "out_of_range", "switched_off_at"},
		{func(in *VisitSlotsInput) { in.Days = nil }, "missing", "days"},
		{func(in *VisitSlotsInput) { in.Days[1].Date = "2030-02-30" }, "bad_date", "days[1].date"},
		{func(in *VisitSlotsInput) { in.Days[1].Date = "2030-05-06" }, "order", "days[1].date"},
		{func(in *VisitSlotsInput) { in.Days[0].MaxC = 3 }, "order", "days[0].max_c"},
		{func(in *VisitSlotsInput) { in.Days[0].MinC = math.NaN() }, "out_of_range", "days[0].min_c"},
		{func(in *VisitSlotsInput) { in.TimeZone = "??" }, "unknown_word", "time_zone"},
		{func(in *VisitSlotsInput) { in.WorkingHours.To = "06:00" }, "order", "working_hours.to"},
		{func(in *VisitSlotsInput) { in.WorkingHours.From = "7" }, "bad_time", "working_hours.from"},
		{func(in *VisitSlotsInput) { in.HorizonH = number64(-1) }, "out_of_range", "horizon_h"},
		{func(in *VisitSlotsInput) { in.FluidAtSwitchOffC.SD = math.Inf(1) }, "out_of_range", "fluid_at_switch_off_c.sd"},
		{func(in *VisitSlotsInput) { in.CoolTimeConstantS = &Normal{} }, "out_of_range", "cool_time_constant_s.mean"},
		{func(in *VisitSlotsInput) { in.Window.HighC = 1 }, "order", "window.high_c"},
		{func(in *VisitSlotsInput) { in.Prior = &WarmupBelief{} }, "out_of_range", "prior.rise_c.mean"},
		{func(in *VisitSlotsInput) { in.NotBefore = "soon" }, "bad_time", "not_before"},
	}
	for _, tt := range tests {
		in := mildNight()
		tt.spoil(&in)
		_, err := VisitSlots(in)
		if f := fault.As(err); f == nil || f.Code != tt.code || f.Field != tt.field {
			t.Errorf("got %v, want %s on %s", err, tt.code, tt.field)
		}
	}
}
