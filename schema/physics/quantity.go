// Package physics computes what a level check needs: how fluid expands, how
// it warms and cools, what a tilted vehicle does to the level, what a drip
// says, and how sure all of that is.
//
// Every function is pure: no input or output, no clock, no globals. The same
// code runs on the phone (compiled to WebAssembly) and on the server, so sums
// of products are written float64(x*y)+z: that forbids a fused multiply-add,
// which some processors have and others have not. Bad input gives a
// *fault.Error that names the field; nothing panics and nothing returns NaN.
package physics

import (
	"math"
	"strconv"

	"brimline/schema/fault"
)

// Normal is a quantity known with a standard uncertainty.
type Normal struct {
	Mean float64 `json:"mean"`
	SD   float64 `json:"sd"`
}

// Quantiles describes a quantity whose spread need not be symmetric.
type Quantiles struct {
	P10 float64 `json:"p10"`
	P50 float64 `json:"p50"`
	P90 float64 `json:"p90"`
}

// Window is the range of fluid temperatures in which a level may be judged.
type Window struct {
	LowC  float64 `json:"low_c"`
	HighC float64 `json:"high_c"`
}

// Mid returns the middle of the window: the reference temperature of a level.
//
// Shapes: one number.
// Units: °C.
// Errors: none; what is not finite stays so.
// Accuracy: a unit in the last place.
// Source: definition.
func (w Window) Mid() float64 { return 0.5 * (w.LowC + w.HighC) }

// finite says whether x is neither NaN nor infinite.
func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// checks keeps the first fault found in an input, so that a function can
// state its whole contract in one column of lines.
type checks struct{ first *fault.Error }

// err returns the first fault as an error, or nil.
func (c *checks) err() error {
	if c.first == nil {
		return nil
	}
	return c.first
}

// fail records a fault unless there is one already.
func (c *checks) fail(code, field, message string) {
	if c.first == nil {
		c.first = fault.Bad(code, field, message)
	}
}

// between requires low <= x <= high; NaN fails.
func (c *checks) between(field string, x, low, high float64) {
	if !(low <= x && x <= high) {
		c.fail("out_of_range", field, "must lie between "+number(low)+" and "+number(high))
	}
}

// above requires low < x <= high; NaN fails.
func (c *checks) above(field string, x, low, high float64) {
	if !(low < x && x <= high) {
		c.fail("out_of_range", field, "must be more than "+number(low)+" and at most "+number(high))
	}
}

// normal requires the mean between low and high and a finite spread of at
// least nothing and at most maxSD.
func (c *checks) normal(field string, q Normal, low, high, maxSD float64) {
	c.between(field+".mean", q.Mean, low, high)
	c.between(field+".sd", q.SD, 0, maxSD)
}

// window requires two temperatures in the order low, high.
func (c *checks) window(field string, w Window) {
	c.temperature(field+".low_c", w.LowC)
	c.temperature(field+".high_c", w.HighC)
	if !(w.LowC < w.HighC) {
		c.fail("order", field+".high_c", "must be above low_c")
	}
}

// temperature requires a temperature a gearbox or the air around it can have.
func (c *checks) temperature(field string, tempC float64) { c.between(field, tempC, -60, 200) }

// count requires that a list is no longer than the function can answer in time.
func (c *checks) count(field string, n, most int) {
	if n > most {
		c.fail("too_many", field, "must have at most "+strconv.Itoa(most)+" entries; leave the oldest out")
	}
}

// oneOf requires a word from a closed list.
func (c *checks) oneOf(field, word string, words ...string) {
	list := ""
	for i, w := range words {
		if w == word {
			return
		}
		if i > 0 {
			list += ", "
		}
		list += strconv.Quote(w)
	}
	c.fail("unknown_word", field, "must be one of "+list)
}

// at returns the path of one entry of a list, such as readings[3].temp_c.
func at(list string, index int, member string) string {
	path := list + "[" + strconv.Itoa(index) + "]"
	if member == "" {
		return path
	}
	return path + "." + member
}

// number prints a limit the way a person writes it.
func number(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }
