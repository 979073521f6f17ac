package physics

import (
	"math"
	"testing"
)

// rungeKutta integrates T' = slope(t, T) by the classical fourth-order rule: an
// independent route to every closed form here.
func rungeKutta(fromS, toS, stepS, tempC float64, slope func(tS, tempC float64) float64) float64 {
	for tS := fromS; tS < toS-1e-9; {
		h := math.Min(stepS, toS-tS)
		a := slope(tS, tempC)
		b := slope(tS+h/2, tempC+h/2*a)
		c := slope(tS+h/2, tempC+h/2*b)
		d := slope(tS+h, tempC+h*c)
		tempC += h / 6 * (a + 2*b + 2*c + d)
		tS += h
	}
	return tempC
}

func TestCooldownAgainstRungeKutta(t *testing.T) {
	for _, c := range []struct{ meanC, amplitudeC, phase, startC, timeS float64 }{
		{25, 8, -math.Pi / 2, 90, 7200}, {12, 3, 0.4, 70, 9000}, {30, 10, 2, 85, 14_400}, {-5, 6, -1, 60, 5000}, {18, 0, 0, 95, 11_000},
	} {
		in := CooldownInput{Ambient: AirWave{MeanC: c.meanC, AmplitudeC: c.amplitudeC, PhaseRad: c.phase}, StartC: &c.startC,
			TimeConstantS: &Normal{Mean: c.timeS}, AtS: []float64{900, 3600, 10_000, 30_000, 86_400, 200_000}}
		out := mustCool(t, in)
		air := func(tS float64) float64 { return c.meanC + c.amplitudeC*math.Sin(2*math.Pi*tS/86_400+c.phase) }
		for _, p := range out.Temps {
			want := rungeKutta(0, p.TS, 60, c.startC, func(tS, tempC float64) float64 { return (air(tS) - tempC) / c.timeS })
			if math.Abs(p.TempC-want) > 1e-6 {
				t.Errorf("%+v at %g s: %.8f °C, integrated %.8f", c, p.TS, p.TempC, want)
			}
		}
	}
}

// plannedAir is the published course of a day, typed in again: hours 1 to 24, new table.
func plannedAir(days []DayForecast, sinceMidnightS float64) float64 {
	share := [25]float64{0.82, 0.88, 0.92, 0.95, 0.98, 1.00, 0.98, 0.91, 0.74, 0.55, 0.38, 0.23, 0.13, 0.05, 0.00, 0.00, 0.06, 0.14, 0.24, 0.39, 0.50, 0.59, 0.68, 0.75, 0.82}
	at := func(hour int) float64 {
		day := min(max(hour-1, 0)/24, len(days)-1)
		clock := hour - 24*day
		return days[day].MaxC - share[clock]*(days[day].MaxC-days[day].MinC)
	}
	hours := sinceMidnightS / 3600
	low := int(math.Floor(hours))
	return at(low) + (hours-float64(low))*(at(low+1)-at(low))
}

func TestVisitSlotsAgainstRungeKutta(t *testing.T) {
	for _, timeS := range []float64{5400, 9000, 15_000} {
		in := mildNight()
		in.FluidAtSwitchOffC.SD, in.CoolTimeConstantS = 0, &Normal{Mean: timeS}
		in.Prior = &WarmupBelief{RiseC: Normal{Mean: 52}, TimeConstantS: Normal{Mean: 1500}}
		out := mustPlan(t, in)
		midnightS := unixOf(t, "2030-05-04T00:00:00+02:00")
		offS := unixOf(t, in.SwitchedOffAt) - midnightS
		fluid := func(untilS float64) float64 {
			return rungeKutta(offS, untilS, 60, 85, func(tS, tempC float64) float64 { return (plannedAir(in.Days, tS) - tempC) / timeS })
		}
		earliestS := unixOf(t, *out.EarliestAt) - midnightS
		if before, after := fluid(earliestS-61), fluid(earliestS); before < 28-0.02 || after > 28+0.02 {
			t.Errorf("τ %g s: cold at %s, but integrated %.3f °C a minute before and %.3f then", timeS, *out.EarliestAt, before, after)
		}
		for _, s := range out.Slots {
			fromS := unixOf(t, s.From) - midnightS
			want := fluid(fromS)
			if math.Abs(s.FluidC.Mean-want) > 0.01*want {
				t.Errorf("τ %g s, %s: %.3f °C, integrated %.3f", timeS, s.From, s.FluidC.Mean, want)
			}
			wantS := integratedWindow(plannedAir(in.Days, fromS)+52, 1500, want, in.Window)
			if math.Abs(s.WindowLengthS.P50-wantS) > 0.01*wantS {
				t.Errorf("τ %g s, %s: window of %.1f s, integrated %.1f", timeS, s.From, s.WindowLengthS.P50, wantS)
			}
		}
		if len(out.Slots) == 0 {
			t.Errorf("τ %g s: no slot to compare", timeS)
		}
	}
}

// integratedWindow warms from startC and measures the time between the limits.
func integratedWindow(endC, timeS, startC float64, w Window) float64 {
	tempC, lowS := startC, 0.0
	for tS := 0.0; tS < 6*3600; tS++ {
		next := rungeKutta(tS, tS+1, 1, tempC, func(_, tempC float64) float64 { return (endC - tempC) / timeS })
		if tempC < w.LowC && next >= w.LowC {
			lowS = tS + (w.LowC-tempC)/(next-tempC)
		}
		if next >= w.HighC {
			return tS + (w.HighC-tempC)/(next-tempC) - lowS
		}
		tempC = next
	}
	return math.Inf(1)
}
