package solid

import (
	"math/bits"
)

// each calls f for every solid cell in order.
func (s *Solid) each(f func(i, j, k int)) {
	for row := range s.NZ * s.NY {
		for w, x := range s.Bits[row*s.Stride : (row+1)*s.Stride] {
			for ; x != 0; x &= x - 1 {
				f(w<<6+bits.TrailingZeros64(x), row%s.NY, row/s.NY)
			}
		}
	}
}

// Flooded is what can be reached from the seeds through cells of s, from face to face. Rows are filled whole: a carry
// runs through each word in both directions.
func (s *Solid) Flooded(seeds *Solid) *Solid {
	got := seeds.And(s)
	f := flood{s: s, got: got, waiting: make([]bool, s.NY*s.NZ)}
	for row := range f.waiting {
		for _, x := range got.Bits[row*s.Stride : (row+1)*s.Stride] {
			if x != 0 {
				f.push(row)
				break
			}
		}
	}
	f.run()
	return got
}

type flood struct {
	s, got  *Solid
	queue   []int32
	waiting []bool // row is in the queue
}

func (f *flood) push(row int) {
	if !f.waiting[row] {
		f.waiting[row] = true
		f.queue = append(f.queue, int32(row))
	}
}

func (f *flood) run() {
	s, w := f.s, f.s.Stride
	for head := 0; head < len(f.queue); head++ {
		if head > 1<<16 && head > len(f.queue)/2 { // give the passed half back
			f.queue = f.queue[:copy(f.queue, f.queue[head:])]
			head = 0
		}
		row := int(f.queue[head])
		f.waiting[row] = false
		got, open := f.got.Bits[row*w:(row+1)*w], s.Bits[row*w:(row+1)*w]
		spreadRow(got, open)
		j, k := row%s.NY, row/s.NY
		if j > 0 {
			f.offer(row, row-1)
		}
		if j+1 < s.NY {
			f.offer(row, row+1)
		}
		if k > 0 {
			f.offer(row, row-s.NY)
		}
		if k+1 < s.NZ {
			f.offer(row, row+s.NY)
		}
	}
}

// offer hands a row's cells on to a neighbouring row.
func (f *flood) offer(from, to int) {
	w := f.s.Stride
	a, b, open := f.got.Bits[from*w:(from+1)*w], f.got.Bits[to*w:(to+1)*w], f.s.Bits[to*w:(to+1)*w]
	fresh := false
	for i, x := range a {
		if x &= open[i] &^ b[i]; x != 0 {
			b[i] |= x
			fresh = true
		}
	}
	if fresh {
		f.push(to)
	}
}

// spreadRow fills the runs of open cells that hold a seed.
func spreadRow(got, open []uint64) {
	var carry uint64
	for i, m := range open {
		g := got[i]
		sum, c := bits.Add64(m, g&m, carry)
		// from each seed upwards to the end of its run the sum has lost the run's bits
		got[i] = m&^sum | g
		carry = c
	}
	carry = 0
	for i := len(open) - 1; i >= 0; i-- {
		m, g := bits.Reverse64(open[i]), bits.Reverse64(got[i])
		sum, c := bits.Add64(m, g&m, carry)
		got[i] = bits.Reverse64(m&^sum | g)
		carry = c
	}
}

// Outside is the empty cells connected with the space around the grid, from face to face.
func (s *Solid) Outside() *Solid { return s.Not().fromEdge() }

// fromEdge is the cells of s connected with the grid's faces.
func (s *Solid) fromEdge() *Solid {
	seeds := Empty(s.Grid)
	full := func(row []uint64) {
		for i := range row {
			row[i] = ^uint64(0)
		}
		row[len(row)-1] &= s.lastMask()
	}
	for k := range s.NZ {
		for j := range s.NY {
			row := seeds.Row(j, k)
			if j == 0 || k == 0 || j == s.NY-1 || k == s.NZ-1 {
				full(row)
				continue
			}
			row[0] |= 1
			row[len(row)-1] |= 1 << ((s.NX - 1) & 63)
		}
	}
	return s.Flooded(seeds)
}

// Trapped is the empty cells that nothing can leave: not connected with the space around the part.
func (s *Solid) Trapped() *Solid { return s.Not().AndNot(s.Outside()) }

// Pieces separates s into its parts that touch from face to face, in order of their first cells, at most limit of them.
func (s *Solid) Pieces(limit int) []*Solid {
	left := s.Clone()
	var out []*Solid
	for row := range s.NZ * s.NY {
		for w := range s.Stride {
			for left.Bits[row*s.Stride+w] != 0 {
				if len(out) == limit {
					return out
				}
				seed := Empty(s.Grid)
				x := left.Bits[row*s.Stride+w]
				seed.Bits[row*s.Stride+w] = x & -x
				p := left.Flooded(seed)
				for i, b := range p.Bits {
					left.Bits[i] &^= b
				}
				out = append(out, p)
			}
		}
	}
	return out
}
