package physics

import "math"

// DayForecast is the weather forecast of one day.
type DayForecast struct {
	Date string  `json:"date"` // 2030-05-04
	MinC float64 `json:"min_c"`
	MaxC float64 `json:"max_c"`
}

// dailyRange is the share of the day's range by which the air is below its
// maximum at hours 1 to 24. Source: ASHRAE Fundamentals 2021, chapter 14, table
// 6, as cited in a public code file; not the older table of the load chapters.
func dailyRange() [24]float64 {
	return [24]float64{
		0.88, 0.92, 0.95, 0.98, 1.00, 0.98, 0.91, 0.74, 0.55, 0.38, 0.23, 0.13,
		0.05, 0.00, 0.00, 0.06, 0.14, 0.24, 0.39, 0.50, 0.59, 0.68, 0.75, 0.82,
	}
}

// airDays is the air of consecutive days as straight lines between whole hours.
type airDays struct {
	fromS int64 // unix time of the first midnight
	hourC []float64
}

// newAirDays lays the forecast out by the hour; hour 0 of the first day repeats
// the day's own last.
func newAirDays(days []DayForecast, firstMidnightS int64) airDays {
	shares := dailyRange()
	a := airDays{fromS: firstMidnightS, hourC: make([]float64, 0, 24*len(days)+1)}
	for d, day := range days {
		spanC := day.MaxC - day.MinC
		if d == 0 {
			a.hourC = append(a.hourC, day.MaxC-float64(shares[23]*spanC))
		}
		for _, share := range shares {
			a.hourC = append(a.hourC, day.MaxC-float64(share*spanC))
		}
	}
	return a
}

// endS is the last midnight.
func (a airDays) endS() int64 { return a.fromS + int64(len(a.hourC)-1)*3600 }

// hour returns the air at a whole hour; before the first day that day repeats.
func (a airDays) hour(h int64) float64 {
	if h < 0 {
		h = 24 + h%24 // the same time of the first day
	}
	return a.hourC[min(h, int64(len(a.hourC)-1))]
}

// at returns the air at a time.
func (a airDays) at(unixS float64) float64 {
	hours := (unixS - float64(a.fromS)) / 3600
	whole := math.Floor(hours)
	low, high := a.hour(int64(whole)), a.hour(int64(whole)+1)
	return low + float64((hours-whole)*(high-low))
}

// cool returns a fluid's temperature as keep·start + add after standing in this
// air from one time to another: on each straight piece T = A − kτ + (T0 − A0 + kτ)·e^(−t/τ).
func (a airDays) cool(fromS, toS, timeS float64) (keep, addC float64) {
	keep = 1
	for fromS < toS {
		nextS := float64(a.fromS) + float64(3600*(math.Floor((fromS-float64(a.fromS))/3600)+1))
		if nextS > toS {
			nextS = toS
		}
		begin, end := a.at(fromS), a.at(nextS)
		lagC := float64((end - begin) / (nextS - fromS) * timeS)
		fade := math.Exp((fromS - nextS) / timeS)
		addC = end - lagC + float64((addC-begin+lagC)*fade)
		keep *= fade
		fromS = nextS
	}
	return keep, addC
}
