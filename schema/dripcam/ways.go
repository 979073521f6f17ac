package dripcam

import "math"

// way is how a drop crosses the strip: from rest at a lip, in a given time.
type way struct {
	crossMS float64 // from the upper edge, or the lip, to the lower edge
	midMS   float64 // until its time is taken
	row     []uint8 // cell row at each millisecond
}

var (
	// lips are heights of the lip in strip heights below the upper edge.
	lips = [...]float64{-1.5, -0.6, -0.2, -0.05, 0.05, 0.15, 0.27, 0.4}
	// crossings are the times of crossing. A strip of 2 cm right under the lip
	// takes 60 ms, one of 60 cm 350 ms; the longest are for boxes drawn far too
	// high. Those after which a drop would be told too late are not in the bank.
	crossings = [...]float64{42, 54, 69, 88, 112, 143, 182, 232, 295, 375, 475, 600}
	// leans are how far a way leans over the whole strip, in strip widths.
	leans = [...]float64{-0.4, 0, 0.4}
)

// places is how many places a way can stand at: its column and its lean.
const places = len(leans) * cellCols

// makeWays returns the bank.
func makeWays() []way {
	var bank []way
	for _, lip := range lips {
		for _, cross := range crossings {
			if w := makeWay(lip, cross); w.crossMS-w.midMS <= lagMS {
				bank = append(bank, w)
			}
		}
	}
	return bank
}

func makeWay(lip, crossMS float64) way {
	w := way{crossMS: crossMS, row: make([]uint8, int(crossMS)+1)}
	top := math.Max(0, lip)
	// Time in units in which a fall over one strip height takes 1.
	from, to := math.Sqrt(top-lip), math.Sqrt(1-lip)
	for ms := range w.row {
		s := from + float64((to-from)*float64(ms)/crossMS)
		y := lip + float64(s*s)
		w.row[ms] = uint8(clamp(float64(y*Height)/2-1, 0, cellRows-1) + 0.5)
	}
	w.midMS = crossMS * (math.Sqrt((1+top)/2-lip) - from) / (to - from)
	return w
}

// makeColumns returns the cell column of every place at every row; columns
// outside the strip are -1.
func makeColumns() [places][cellRows]int8 {
	var table [places][cellRows]int8
	for k, lean := range leans {
		for x := range cellCols {
			for i := range cellRows {
				at := float64(x) + float64(lean*cellCols*(float64(i)/(cellRows-1)-0.5))
				col := int8(math.Floor(at + 0.5))
				if col < 0 || col >= cellCols {
					col = -1
				}
				table[k*cellCols+x][i] = col
			}
		}
	}
	return table
}
