package dripcam

import "math"

// Cells are windows of 4 by 4 pixels, two pixels apart.
const (
	cellRows = Height/2 - 1
	cellCols = Width/2 - 1

	litZ      = 3.0 // from here on a cell is called lit
	wideCols  = 8   // a row with more lit cells shows something wider than a drop
	memory    = 32  // values kept per cell to know its noise
	stuckRise = 1.0 / 18
)

// cells says for every cell how far it differs from the background, measured in
// the noise of that very cell, so that an edge which trembles with the engine
// weighs less than a quiet surface.
type cells struct {
	z       [cellRows][cellCols]float64
	lit     [cellRows][cellCols]bool
	stuck   [cellRows][cellCols]bool
	since   [cellRows][cellCols]float64 // how long it has been lit, 1 for too long
	sigma   [cellRows][cellCols]float64
	past    [cellRows][cellCols][memory]float64
	held    int // values in past
	next    int
	turn    int     // which cells have their noise computed next
	typical float64 // noise of the cells at the beginning
	litPart float64
	wide    [cellRows]bool
	// covered says that too much is lit for drops: the frame is not evidence.
	covered bool

	// long are windows three times as high, for drops that leave a streak;
	// longScale makes their noise 1.
	long      [cellRows][cellCols]float64
	longScale float64
	clutter   [cellRows][cellCols]float64
}

func (c *cells) init() {}

// take computes the cells of the frame that l holds.
func (c *cells) take(l *leveller) {
	var block [Height / 2][Width / 2]float64
	for i := range block {
		for j := range block[i] {
			at := 2*i*Width + 2*j
			block[i][j] = l.rest[at] + l.rest[at+1] + l.rest[at+Width] + l.rest[at+Width+1]
		}
	}
	if c.held == 0 {
		for i := range cellRows {
			for j := range cellCols {
				c.sigma[i][j] = l.noise/3 + 0.2
			}
		}
	}
	count, wideRows := 0, 0
	for i := range cellRows {
		inRow := 0
		for j := range cellCols {
			f := (block[i][j] + block[i][j+1] + block[i+1][j] + block[i+1][j+1]) / 16
			c.z[i][j] = f / c.sigma[i][j]
			c.lit[i][j] = math.Abs(c.z[i][j]) > litZ
			if c.lit[i][j] {
				inRow++
			}
			c.past[i][j][c.next] = math.Min(math.Abs(f), litZ*c.sigma[i][j])
		}
		count += inRow
		c.wide[i] = inRow >= wideCols
		if c.wide[i] {
			wideRows++
		}
	}
	c.litPart = float64(count) / (cellRows * cellCols)
	c.covered = c.litPart > 0.5 || wideRows > cellRows/4
	c.next = (c.next + 1) % memory
	c.held = min(c.held+1, memory)
	c.streaks()
	c.age()
	c.noise(l)
}

// streaks computes the long windows from three short ones each.
func (c *cells) streaks() {
	var sample [(cellRows - 4) * cellCols / 5]float64
	if c.longScale == 0 {
		c.longScale = 1.6
	}
	n, k := 0, 0
	for i := 2; i < cellRows-2; i++ {
		for j := range cellCols {
			sum, noise := 0.0, 0.0
			for at := i - 2; at <= i+2; at += 2 {
				s := c.sigma[at][j]
				sum += float64(c.z[at][j] * s)
				noise += float64(s * s)
			}
			z := sum / math.Sqrt(noise)
			c.long[i][j] = z / c.longScale
			if k++; k%5 == 0 && n < len(sample) {
				sample[n] = math.Abs(z)
				n++
			}
		}
	}
	c.longScale += 0.05 * (clamp(1.4826*median(sample[:n]), 0.7, 4) - c.longScale)
}

// age follows how long cells have been lit. A drop leaves a cell within a few
// frames even at six a second; what stands longer becomes background.
func (c *cells) age() {
	for i := range cellRows {
		for j := range cellCols {
			if c.lit[i][j] {
				c.since[i][j] = math.Min(1.2, c.since[i][j]+stuckRise)
			} else {
				c.since[i][j] = math.Max(0, c.since[i][j]-2*stuckRise)
			}
			c.stuck[i][j] = c.since[i][j] >= 1
		}
	}
}

// noise recomputes the noise of an eighth of the cells.
func (c *cells) noise(l *leveller) {
	floor := 0.15*l.usual + 0.15
	var values [memory]float64
	for n := c.turn; n < cellRows*cellCols; n += 8 {
		i, j := n/cellCols, n%cellCols
		copy(values[:], c.past[i][j][:c.held])
		c.sigma[i][j] = math.Max(floor, 1.4826*median(values[:c.held]))
		if c.held < memory { // too few values to call a cell quiet
			c.sigma[i][j] = math.Max(c.sigma[i][j], c.typical)
		}
	}
	if c.held < memory {
		var all [cellRows * cellCols / 7]float64
		for n := range all {
			all[n] = c.sigma[n*7/cellCols][n*7%cellCols]
		}
		c.typical = median(all[:])
	}
	c.turn = (c.turn + 1) % 8
}

// quietAt are values at |z| = 0, 0.5, 1, … of the normal density, by which
// noise shows z.
var quietAt = [...]float64{0.3989, 0.3521, 0.2420, 0.1295, 0.0540, 0.0175, 0.00443, 0.000873, 0.000134, 1.6e-5, 1.5e-6, 1e-7, 0}

const (
	dropDensity = 0.025 // by which a drop shows z: flat to 20 either way
	clutterZ    = 0.05  // and clutter: flat to 10
	strays      = 1.0 / 5000
	farCells    = 4 // from here on cells beside a cell cannot be the same drop
	nearRows    = 4
)

// quiet interpolates quietAt.
func quiet(z float64) float64 {
	s := 2 * math.Abs(z)
	k := int(s)
	if k >= len(quietAt)-1 {
		return 0
	}
	return quietAt[k] + float64((s-float64(k))*(quietAt[k+1]-quietAt[k]))
}

// evidence writes into out, which has a column more on each side, the logarithm
// of how much likelier each cell is with a drop near it than without. A drop
// may be up to two cells above or below the cell, because no way fits it
// exactly, and a short blob or a streak; one drop in ten is not seen at all.
//
// Without a drop a cell shows noise or clutter. One cell in 5000 is clutter for
// no reason; where cells to the side are lit too, as at the edge of a hand, so
// many more that being lit is no evidence.
func (c *cells) evidence(out *[cellRows][cellCols + 2]float32) {
	var single [cellRows][cellCols]float64
	c.countClutter()
	for i := range cellRows {
		for j := range cellCols {
			stray := strays + c.clutter[i][j]
			none := float64(stray * clutterZ)
			short := dropDensity / (none + float64((1-stray)*quiet(c.z[i][j])))
			long := dropDensity / (none + float64((1-stray)*quiet(c.long[i][j])))
			single[i][j] = (short + long) / 2
		}
	}
	for i := range cellRows {
		up, down := max(i-1, 0), min(i+1, cellRows-1)
		out[i][0], out[i][cellCols+1] = outside, outside
		for j := range cellCols {
			near := (single[up][j] + single[i][j] + single[down][j]) / 3
			out[i][j+1] = float32(logarithm(0.1 + float64(0.9*near)))
			if c.wide[i] {
				out[i][j+1] = 0
			}
		}
	}
}

// countClutter leaves for every cell which share of the cells too far to its
// sides for the same drop is lit.
func (c *cells) countClutter() {
	var sum [cellRows + 1][cellCols + 1]int // lit cells above and left of
	for i := range cellRows {
		row := 0
		for j := range cellCols {
			if c.lit[i][j] {
				row++
			}
			sum[i+1][j+1] = sum[i][j+1] + row
		}
	}
	for i := range cellRows {
		top, bottom := max(0, i-nearRows), min(cellRows, i+nearRows+1)
		for j := range cellCols {
			left, right := max(0, j-farCells+1), min(cellCols, j+farCells)
			all := sum[bottom][cellCols] - sum[top][cellCols]
			here := sum[bottom][right] - sum[top][right] - sum[bottom][left] + sum[top][left]
			cellsFar := (bottom - top) * (cellCols - right + left)
			c.clutter[i][j] = 0
			// A single lit cell may be noise.
			if n := all - here - 1; n > 0 {
				c.clutter[i][j] = float64(n) / float64(cellsFar)
			}
		}
	}
}

// logarithm is the natural logarithm to about 0.01, by the same steps on every
// processor.
func logarithm(v float64) float64 {
	m, e := math.Frexp(v) // v = m 2^e, m in [0.5, 1)
	t := (m - 0.75) / (m + 0.75)
	return float64(float64(e)*math.Ln2) - 0.28768 + 2*t + float64(2*t*t*t)/3
}
