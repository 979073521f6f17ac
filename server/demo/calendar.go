package demo

import (
	"fmt"
	"math"
	"time"
)

// calendar places the story before a moment.
type calendar struct {
	now time.Time // in the workshop's zone
	hot time.Time // the hot day
}

// hotMonth and hotDate are about when the year's hottest afternoons come there.
const (
	hotMonth = time.July
	hotDate  = 24
	hotLeast = 30 // days ago, at least
)

func newCalendar(now time.Time) (calendar, error) {
	place, err := time.LoadLocation(zone)
	if err != nil {
		return calendar{}, fmt.Errorf("load time zone %s: %w", zone, err)
	}
	c := calendar{now: now.In(place)}
	c.hot = time.Date(c.now.Year(), hotMonth, hotDate, 12, 0, 0, 0, place)
	if c.now.Sub(c.hot) < hotLeast*24*time.Hour {
		c.hot = c.hot.AddDate(-1, 0, 0)
	}
	for c.hot.Weekday() == time.Saturday || c.hot.Weekday() == time.Sunday || c.taken(c.hot) {
		c.hot = c.hot.AddDate(0, 0, -1)
	}
	return c, nil
}

// taken reports whether another visit is within three days of a day: the hot day
// moves with the calendar and must not meet the days that are counted back from now.
func (c calendar) taken(day time.Time) bool {
	for _, v := range visits() {
		if v.daysAgo <= 0 {
			continue
		}
		if gap := c.day(v.daysAgo).Sub(day).Hours() / 24; math.Abs(gap) < 3 {
			return true
		}
	}
	return false
}

// day returns noon of a day counted back from now, never a Sunday.
func (c calendar) day(ago int) time.Time {
	switch ago {
	case hotDay:
		return c.hot
	case afterHot:
		return c.hot.AddDate(0, 0, 1)
	}
	d := time.Date(c.now.Year(), c.now.Month(), c.now.Day()-ago, 12, 0, 0, 0, c.now.Location())
	if d.Weekday() == time.Sunday {
		d = d.AddDate(0, 0, -1)
	}
	return d
}

// airC is the air at the hour of a visit: the season's morning and a little
// weather of the day's own. Invented, for a place with mild summers.
func airC(at time.Time) float64 {
	season := math.Cos(2 * math.Pi * float64(at.YearDay()-200) / 365)
	weather := 5 * (share("weather", at.Format("01-02")) - 0.5)
	return math.Round(10 + 6*season + weather)
}
