package solid

import (
	"math"

	"firstoff/geom/cores"
)

// Field holds a length for every cell of a grid, mm.
type Field struct {
	Grid
	MM []float32 // ((k·NY)+j)·NX + i
}

// At is the value of a cell.
func (f *Field) At(i, j, k int) float64 { return float64(f.MM[(k*f.NY+j)*f.NX+i]) }

// Distances gives for each solid cell the distance from its centre to the nearest empty cell's centre, and zero for
// empty cells: exact (Felzenszwalb & Huttenlocher 2012: lower envelopes of parabolas, axis by axis). With edge, all cells
// beyond the grid count as empty; without, they do not count. Where no cell is empty the distance is infinite.
func Distances(s *Solid, edge bool) *Field {
	f := &Field{Grid: s.Grid, MM: make([]float32, s.NX*s.NY*s.NZ)}
	inf := float32(math.Inf(1))
	// along x: runs; squared, in mm²
	cores.Each(s.NZ*s.NY, 64, func(_, from, to int) {
		for row := from; row < to; row++ {
			bits := s.Bits[row*s.Stride : (row+1)*s.Stride]
			d := f.MM[row*s.NX : (row+1)*s.NX]
			away := inf // cells since the last empty one
			if edge {
				away = 0
			}
			for i := range d {
				if bits[i>>6]>>(i&63)&1 == 0 {
					away = 0
				} else {
					away++
				}
				d[i] = away
			}
			away = inf
			if edge {
				away = 0
			}
			for i := len(d) - 1; i >= 0; i-- {
				if d[i] == 0 {
					away = 0
				} else {
					away++
				}
				m := min(d[i], away) * float32(s.Cell)
				d[i] = m * m
			}
		}
	})
	cores.Each(s.NZ, 1, func(_, from, to int) {
		e := newEnvelope(s.NY)
		for k := from; k < to; k++ {
			for i := range s.NX {
				e.run(f.MM[k*s.NY*s.NX+i:], s.NX, s.NY, s.Cell, edge)
			}
		}
	})
	cores.Each(s.NY, 1, func(_, from, to int) {
		e := newEnvelope(s.NZ)
		for j := from; j < to; j++ {
			for i := range s.NX {
				e.run(f.MM[j*s.NX+i:], s.NX*s.NY, s.NZ, s.Layer, edge)
			}
		}
	})
	cores.Each(len(f.MM), 1<<15, func(_, from, to int) {
		for i, x := range f.MM[from:to] {
			f.MM[from+i] = float32(math.Sqrt(float64(x)))
		}
	})
	return f
}

// envelope is the scratch of one line.
type envelope struct {
	v    []int32   // places of the parabolas
	h    []float64 // their heights
	z    []float64 // where each takes over
	line []float64
}

func newEnvelope(n int) *envelope {
	return &envelope{make([]int32, n+2), make([]float64, n+2), make([]float64, n+3), make([]float64, n)}
}

// run replaces n squared distances, stride apart, by the least of distance along this axis (pitch apart) plus themselves.
func (e *envelope) run(d []float32, stride, n int, pitch float64, edge bool) {
	line := e.line[:n]
	zero := true
	for i := range line {
		line[i] = float64(d[i*stride])
		if line[i] != 0 {
			zero = false
		}
	}
	if zero {
		return
	}
	p2 := pitch * pitch
	k := -1
	add := func(at int32, h float64) {
		x := float64(at)
		for k >= 0 {
			// where the new parabola meets the last
			s := ((h + p2*x*x) - (e.h[k] + p2*float64(e.v[k])*float64(e.v[k]))) / (2 * p2 * (x - float64(e.v[k])))
			if s > e.z[k] {
				k++
				e.v[k], e.h[k], e.z[k] = at, h, s
				return
			}
			k--
		}
		k = 0
		e.v[0], e.h[0], e.z[0] = at, h, math.Inf(-1)
	}
	if edge {
		add(-1, 0)
	}
	for i, h := range line {
		if !math.IsInf(h, 1) {
			add(int32(i), h)
		}
	}
	if edge {
		add(int32(n), 0)
	}
	if k < 0 {
		return
	}
	e.z[k+1] = math.Inf(1)
	at := 0
	for i := range line {
		x := float64(i)
		for e.z[at+1] < x {
			at++
		}
		dx := (x - float64(e.v[at])) * pitch
		d[i*stride] = float32(dx*dx + e.h[at])
	}
}

// Over is the cells whose value is above r; AtMost those with at most r.
func (f *Field) Over(r float64) *Solid {
	return f.where(func(x float32) bool { return float64(x) > r*(1+1e-6) })
}

// AtMost is the cells whose value is at most r.
func (f *Field) AtMost(r float64) *Solid {
	return f.where(func(x float32) bool { return float64(x) <= r*(1+1e-6) })
}

func (f *Field) where(is func(float32) bool) *Solid {
	s := Empty(f.Grid)
	cores.Each(f.NZ*f.NY, 64, func(_, from, to int) {
		for row := from; row < to; row++ {
			bits := s.Bits[row*s.Stride : (row+1)*s.Stride]
			for i, x := range f.MM[row*f.NX : (row+1)*f.NX] {
				if is(x) {
					bits[i>>6] |= 1 << (i & 63)
				}
			}
		}
	})
	return s
}

// Most is the largest value over the cells of s and the cell that has it; ok is false when s has none.
func (f *Field) Most(s *Solid) (mm float64, at [3]int, ok bool) {
	best := float32(-1)
	s.each(func(i, j, k int) {
		if x := f.MM[(k*f.NY+j)*f.NX+i]; x > best {
			best, at = x, [3]int{i, j, k}
		}
	})
	return float64(best), at, best >= 0
}
