package solid

import (
	"math"
	"math/bits"

	"firstoff/fault"
	"firstoff/geom/cores"
	"firstoff/geom/r3"
)

// Grid says where cells lie. Cell (i, j, k) has its centre at Origin + ((i+½)·Cell, (j+½)·Cell, (k+½)·Layer).
type Grid struct {
	NX, NY, NZ int
	Cell       float64 // width of a cell along x and y, mm
	Layer      float64 // height of a cell, mm
	Origin     r3.Vec  // corner of cell (0, 0, 0), mm
	Stride     int     // words a row: 64 cells each, spare bits zero
}

// Solid is a set of cells.
type Solid struct {
	Grid
	Bits []uint64 // NZ planes of NY rows of Stride words
}

// MaxCells is the most cells a Solid may have: 1 GiB of bits. Larger parts are streamed.
const MaxCells = 1 << 33

// gridFor covers a box with cells, plus a margin of empty cells on all sides but z's.
func gridFor(b r3.Box, cell, layer float64, layers, margin int) Grid {
	size := b.Size()
	g := Grid{Cell: cell, Layer: layer, NZ: layers}
	along := func(mm float64) int { // far beyond what check lets pass, but no overflow
		return int(math.Max(1, math.Min(1<<40, math.Ceil(mm/cell-1e-9)))) + 2*margin
	}
	g.NX, g.NY = along(size.X), along(size.Y)
	g.Stride = (g.NX + 63) / 64
	m := float64(margin) * cell
	g.Origin = r3.Vec{X: b.Min.X - m, Y: b.Min.Y - m, Z: b.Min.Z}
	return g
}

// check refuses grids that cannot be held.
func (g *Grid) check() error {
	if float64(g.Stride)*64*float64(g.NY)*float64(max(1, g.NZ)) > MaxCells {
		return fault.New(fault.TooLarge, "too_many_cells", "", "%d x %d x %d cells of %.4g mm are more than this part may have; use larger cells", g.NX, g.NY, g.NZ, g.Cell)
	}
	return nil
}

// PlaneWords is the number of words in one layer.
func (g *Grid) PlaneWords() int { return g.Stride * g.NY }

// CellVolume is the volume of a cell, mm³.
func (g *Grid) CellVolume() float64 { return g.Cell * g.Cell * g.Layer }

// Center is the centre of a cell.
func (g *Grid) Center(i, j, k int) r3.Vec {
	return r3.Vec{X: g.Origin.X + (float64(i)+0.5)*g.Cell, Y: g.Origin.Y + (float64(j)+0.5)*g.Cell, Z: g.Origin.Z + (float64(k)+0.5)*g.Layer}
}

// lastMask has the bits of a row's last word that are cells.
func (g *Grid) lastMask() uint64 {
	if r := g.NX & 63; r != 0 {
		return 1<<r - 1
	}
	return ^uint64(0)
}

// Empty is a solid without cells on a grid.
func Empty(g Grid) *Solid { return &Solid{g, make([]uint64, g.PlaneWords()*g.NZ)} }

// Plane is layer k; changing it changes the solid.
func (s *Solid) Plane(k int) []uint64 {
	n := s.PlaneWords()
	return s.Bits[k*n : (k+1)*n : (k+1)*n]
}

// Row is row j of layer k.
func (s *Solid) Row(j, k int) []uint64 {
	at := (k*s.NY + j) * s.Stride
	return s.Bits[at : at+s.Stride : at+s.Stride]
}

// Has says whether a cell is solid; outside the grid nothing is.
func (s *Solid) Has(i, j, k int) bool {
	if i < 0 || j < 0 || k < 0 || i >= s.NX || j >= s.NY || k >= s.NZ {
		return false
	}
	return s.Bits[(k*s.NY+j)*s.Stride+i>>6]>>(i&63)&1 != 0
}

// Set makes a cell solid.
func (s *Solid) Set(i, j, k int) { s.Bits[(k*s.NY+j)*s.Stride+i>>6] |= 1 << (i & 63) }

// Count is the number of solid cells.
func (s *Solid) Count() int {
	n := s.PlaneWords()
	parts := make([]int, s.NZ)
	cores.Each(s.NZ, 8, func(_, from, to int) {
		for k := from; k < to; k++ {
			parts[k] = count(s.Bits[k*n : (k+1)*n])
		}
	})
	sum := 0
	for _, p := range parts {
		sum += p
	}
	return sum
}

// Volume is the volume of the solid cells, mm³.
func (s *Solid) Volume() float64 { return float64(s.Count()) * s.CellVolume() }

// Clone is a copy.
func (s *Solid) Clone() *Solid { return &Solid{s.Grid, append([]uint64(nil), s.Bits...)} }

// And, Or, AndNot and Not work cell by cell on solids of the same grid and give a new solid.
func (s *Solid) And(t *Solid) *Solid {
	return s.combine(t, func(d, a, b []uint64) {
		for i := range d {
			d[i] = a[i] & b[i]
		}
	})
}

// Or is the union.
func (s *Solid) Or(t *Solid) *Solid {
	return s.combine(t, func(d, a, b []uint64) {
		for i := range d {
			d[i] = a[i] | b[i]
		}
	})
}

// AndNot is s without t.
func (s *Solid) AndNot(t *Solid) *Solid {
	return s.combine(t, func(d, a, b []uint64) {
		for i := range d {
			d[i] = a[i] &^ b[i]
		}
	})
}

// Not is the rest of the grid.
func (s *Solid) Not() *Solid {
	d := Empty(s.Grid)
	last := s.lastMask()
	for i, w := range s.Bits {
		d.Bits[i] = ^w
	}
	for i := s.Stride - 1; i < len(d.Bits); i += s.Stride {
		d.Bits[i] &= last
	}
	return d
}

func (s *Solid) combine(t *Solid, f func(d, a, b []uint64)) *Solid {
	if s.NX != t.NX || s.NY != t.NY || s.NZ != t.NZ {
		panic("solid: grids differ")
	}
	d := Empty(s.Grid)
	cores.Each(len(d.Bits), 1<<16, func(_, from, to int) {
		n := to - from
		f(d.Bits[from:to:to], s.Bits[from:to][:n], t.Bits[from:to][:n])
	})
	return d
}

func count(w []uint64) int {
	n := 0
	for _, x := range w {
		n += bits.OnesCount64(x)
	}
	return n
}
