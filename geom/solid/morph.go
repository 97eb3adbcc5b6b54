package solid

import (
	"math"

	"firstoff/geom/cores"
)

// wordRadius is the radius, in cells, up to which balls are worked word by word; beyond it the distance transform is
// cheaper.
const wordRadius = 14

// Dilate is every cell whose centre lies within r mm of the centre of a solid cell. It does not grow past the grid:
// pad first (Padded) where it should.
func (s *Solid) Dilate(r float64) *Solid {
	if r < math.Min(s.Cell, s.Layer) {
		return s.Clone()
	}
	if r/s.Cell > wordRadius || r/s.Layer > wordRadius {
		return Distances(s.Not(), false).AtMost(r)
	}
	return s.ball(r, true)
}

// Erode is every cell with no empty cell centre within r mm. Beyond the grid all is empty.
func (s *Solid) Erode(r float64) *Solid {
	if r < math.Min(s.Cell, s.Layer) {
		return s.Clone()
	}
	if r/s.Cell > wordRadius || r/s.Layer > wordRadius {
		return Distances(s, true).Over(r)
	}
	return s.ball(r, false)
}

// Open is erosion, then dilation: what is narrower than 2r goes. Close is the reverse: gaps narrower than 2r fill.
func (s *Solid) Open(r float64) *Solid { return s.Erode(r).Dilate(r) }

// Close fills gaps narrower than 2r. The grid is padded for the work, so that its edge plays no part.
func (s *Solid) Close(r float64) *Solid {
	p, q := int(math.Ceil(r/s.Cell)), int(math.Ceil(r/s.Layer))
	return s.Padded(p, q).Dilate(r).Erode(r).Cropped(p, q, s.Grid)
}

// ball ORs (grow) or ANDs the solid over all cells of a ball: rows are widened step by step along x, and each width is
// taken for the neighbouring rows at which the ball is that wide.
func (s *Solid) ball(r float64, grow bool) *Solid {
	ny, nz := int(r/s.Cell+1e-9), int(r/s.Layer+1e-9)
	type step struct{ dj, dk int }
	byWidth := make([][]step, int(r/s.Cell+1e-9)+1)
	for dk := -nz; dk <= nz; dk++ {
		for dj := -ny; dj <= ny; dj++ {
			left := r*r*(1+1e-12) - float64(dj*dj)*s.Cell*s.Cell - float64(dk*dk)*s.Layer*s.Layer
			if left >= 0 {
				w := int(math.Sqrt(left)/s.Cell + 1e-9)
				byWidth[w] = append(byWidth[w], step{dj, dk})
			}
		}
	}
	out := Empty(s.Grid)
	if !grow {
		for i := range out.Bits {
			out.Bits[i] = ^uint64(0)
		}
	}
	wide := s.Clone()
	last := s.lastMask()
	for w, steps := range byWidth {
		if w > 0 {
			cores.Each(s.NZ*s.NY, 256, func(_, from, to int) {
				for row := from; row < to; row++ {
					widen(wide.Bits[row*s.Stride:(row+1)*s.Stride], last, grow)
				}
			})
		}
		if len(steps) == 0 {
			continue
		}
		cores.Each(s.NZ*s.NY, 256, func(_, from, to int) {
			for row := from; row < to; row++ {
				j, k := row%s.NY, row/s.NY
				d := out.Bits[row*s.Stride : (row+1)*s.Stride]
				for _, t := range steps {
					y, z := j+t.dj, k+t.dk
					if y < 0 || z < 0 || y >= s.NY || z >= s.NZ {
						if !grow {
							clear(d)
						}
						continue
					}
					src := wide.Row(y, z)
					if grow {
						for i, x := range src {
							d[i] |= x
						}
					} else {
						for i, x := range src {
							d[i] &= x
						}
					}
				}
			}
		})
	}
	return out
}

// widen grows a row by one cell to both sides, or shrinks it so.
func widen(row []uint64, last uint64, grow bool) {
	var before uint64
	for i, x := range row {
		var after uint64
		if i+1 < len(row) {
			after = row[i+1]
		}
		left, right := x<<1|before>>63, x>>1|after<<63
		before = x
		if grow {
			row[i] = x | left | right
		} else {
			row[i] = x & left & right
		}
	}
	row[len(row)-1] &= last
}

// Padded is s with m empty cells more on all four sides and mz empty layers more below and above.
func (s *Solid) Padded(m, mz int) *Solid {
	g := s.Grid
	g.NX, g.NY, g.NZ = g.NX+2*m, g.NY+2*m, g.NZ+2*mz
	g.Stride = (g.NX + 63) / 64
	g.Origin.X -= float64(m) * g.Cell
	g.Origin.Y -= float64(m) * g.Cell
	g.Origin.Z -= float64(mz) * g.Layer
	d := Empty(g)
	cores.Each(s.NZ, 4, func(_, from, to int) {
		for k := from; k < to; k++ {
			for j := range s.NY {
				orShifted(d.Row(j+m, k+mz), s.Row(j, k), m)
			}
		}
	})
	return d
}

// Cropped takes back a Padded solid to the grid it came from.
func (s *Solid) Cropped(m, mz int, g Grid) *Solid {
	d := Empty(g)
	last := d.lastMask()
	for k := range g.NZ {
		for j := range g.NY {
			row := d.Row(j, k)
			orShifted(row, s.Row(j+m, k+mz), -m)
			row[len(row)-1] &= last
		}
	}
	return d
}

// orShifted ORs src into dst, moved by n cells to higher columns (lower when negative). What falls off is lost.
func orShifted(dst, src []uint64, n int) {
	words, by := n>>6, n&63 // floor division: by is 0..63 for negative n too
	for i := range dst {
		var x uint64
		if k := i - words; k >= 0 && k < len(src) {
			x = src[k] << by
		}
		if k := i - words - 1; by > 0 && k >= 0 && k < len(src) {
			x |= src[k] >> (64 - by)
		}
		dst[i] |= x
	}
}
