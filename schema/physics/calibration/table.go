package calibration

import (
	"fmt"
	"io"
	"strconv"
	"strings"
)

// Write prints the figures as two Markdown tables: the warm-up forecasts with one line
// per population, then the rest with one line per figure.
func Write(out io.Writer, figures []Figure, e Effort) error {
	var text strings.Builder
	text.WriteString("Warm-up forecasts: how often p10-p90 of the upper limit's time holds the truth, and the median error of p50 as a share of the time to go.\n\n")
	text.WriteString("| population | 3 min | 6 min | 10 min | limit | median error, 6 min | limit | gearboxes | held |\n|---|---|---|---|---|---|---|---|---|\n")
	var rest []Figure
	for i := 0; i < len(figures); i++ {
		f := figures[i]
		if f.Area != coverageArea(0) || i+3 >= len(figures) {
			rest = append(rest, f)
			continue
		}
		row := figures[i : i+4]
		fmt.Fprintf(&text, "| %s | %s | %s | %s | %s | %s | %s | %d | %s |\n", f.Name, row[0].number(row[0].Value), row[1].number(row[1].Value),
			row[2].number(row[2].Value), f.limits(), row[3].number(row[3].Value), row[3].limits(), f.Count, heldWord(row, e))
		i += 3
	}
	text.WriteString("\n| figure | of | value | limit | over | held |\n|---|---|---|---|---|---|\n")
	for _, f := range rest {
		fmt.Fprintf(&text, "| %s | %s | %s | %s | %d | %s |\n", f.Area, f.Name, f.number(f.Value), f.limits(), f.Count, heldWord([]Figure{f}, e))
	}
	_, err := io.WriteString(out, text.String())
	return err
}

func heldWord(figures []Figure, e Effort) string {
	for _, f := range figures {
		if !f.Held(e) {
			return "NO"
		}
	}
	return "yes"
}

func (f Figure) number(v float64) string {
	if f.Percent {
		return strconv.FormatFloat(100*v, 'f', 1, 64) + " %"
	}
	return strconv.FormatFloat(v, 'f', 3, 64)
}

func (f Figure) limits() string {
	switch {
	case f.Low <= 0 && f.High >= 1:
		return "none"
	case f.High >= 1:
		return "at least " + f.number(f.Low)
	case f.Low == 0:
		return "at most " + f.number(f.High)
	}
	return f.number(f.Low) + " to " + f.number(f.High)
}
