package dripcam

import (
	"math"
	"slices"
)

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
	turn    int // which cells have their noise computed next
	litPart float64
	wide    [cellRows]bool
	// covered says that too much is lit for drops: the frame is not evidence.
	covered bool
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
	c.age()
	c.noise(l)
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
	var sorted [memory]float64
	for n := c.turn; n < cellRows*cellCols; n += 8 {
		i, j := n/cellCols, n%cellCols
		copy(sorted[:], c.past[i][j][:c.held])
		part := sorted[:c.held]
		slices.Sort(part)
		c.sigma[i][j] = math.Max(floor, 1.4826*part[c.held/2])
	}
	c.turn = (c.turn + 1) % 8
}

// evidenceAt are the values of evidence at |z| = 0, 0.5, 1, …: the logarithm of
// how much likelier a cell on a drop's way shows z with a drop there than
// without. It is ln(0.1 + 0.9 q(z)/p(z)) with p the normal density mixed with
// one stray value in two hundred, q flat to 20; the strays keep any single
// frame from being proof.
var evidenceAt = [...]float64{-1.85, -1.80, -1.62, -1.28, -0.66, 0.32, 1.58, 2.90, 3.90, 4.36, 4.48, 4.5, 4.5}

// evidence interpolates evidenceAt.
func evidence(z float64) float64 {
	s := 2 * math.Abs(z)
	k := int(s)
	if k >= len(evidenceAt)-1 {
		return evidenceAt[len(evidenceAt)-1]
	}
	return evidenceAt[k] + float64((s-float64(k))*(evidenceAt[k+1]-evidenceAt[k]))
}
