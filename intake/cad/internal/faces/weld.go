package faces

import (
	"math"

	"firstoff/geom/r3"
)

// weld gives each node the index of the first node within tol of it, and the positions of those.
//
// Nodes fall into cubes twenty times tol wide. A node near a side of its cube is looked for on the other side
// too, so a pair is found wherever it lies; most nodes need one look.
func weld(pos []float64, box r3.Box, tol float64) (index []uint32, out []float64) {
	n := len(pos) / 3
	index = make([]uint32, n)
	out = make([]float64, 0, len(pos))
	if n == 0 {
		return index, out
	}
	bits := 4
	for 1<<bits < 2*n {
		bits++
	}
	table := make([]uint32, 1<<bits) // vertex + 1
	mask := uint64(1<<bits - 1)
	cell := 20 * math.Max(tol, 1e-300)
	hash := func(c [3]int64) uint64 {
		h := uint64(c[0])*0x9e3779b97f4a7c15 ^ uint64(c[1])*0xc2b2ae3d27d4eb4f ^ uint64(c[2])*0x165667b19e3779f9
		return (h ^ h>>29) * 0xbf58476d1ce4e5b9 >> 20
	}
	cells := make([][3]int64, 0, n) // of each vertex
	near := func(c [3]int64, p r3.Vec) (uint32, bool) {
		for h := hash(c) & mask; table[h] != 0; h = (h + 1) & mask {
			if v := table[h] - 1; cells[v] == c && at(out, v).Sub(p).Norm() <= tol {
				return v, true
			}
		}
		return 0, false
	}
	for i := range uint32(n) {
		p := at(pos, i)
		var c, side [3]int64
		for a := range 3 {
			x := (p.Axis(a) - box.Min.Axis(a)) / cell
			f := math.Floor(x)
			c[a] = int64(f)
			switch {
			case x-f < 0.06:
				side[a] = -1
			case x-f > 0.94:
				side[a] = 1
			}
		}
		v, ok := near(c, p)
		for k := 1; k < 8 && !ok; k++ {
			d, use := c, true
			for a := range 3 {
				if k>>a&1 != 0 {
					d[a] += side[a]
					use = use && side[a] != 0
				}
			}
			if use {
				v, ok = near(d, p)
			}
		}
		if !ok {
			v = uint32(len(cells))
			cells = append(cells, c)
			out = append(out, p.X, p.Y, p.Z)
			h := hash(c) & mask
			for table[h] != 0 {
				h = (h + 1) & mask
			}
			table[h] = v + 1
		}
		index[i] = v
	}
	return index, out
}
