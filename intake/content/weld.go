package content

import (
	"math"

	"firstoff/geom/mesh"
)

// Welded is m with vertices of exactly equal position made one (-0 counts as 0) and unused vertices dropped; facets
// keep their order and number. Readers of indexed formats call it so that a seam of texture or colour does not
// show up as an open edge. m itself is used up.
func Welded(m *mesh.Mesh) *mesh.Mesh {
	n := m.Vertices()
	size := 16
	for size < 2*n {
		size *= 2
	}
	mask := uint64(size - 1)
	table := make([]uint32, size) // vertex + 1
	to := make([]uint32, n)       // old vertex -> new vertex + 1
	kept := uint32(0)
	for i, v := range m.Tri {
		if to[v] != 0 {
			m.Tri[i] = to[v] - 1
			continue
		}
		// Adding zero turns -0 into +0.
		x, y, z := m.Pos[3*v]+0, m.Pos[3*v+1]+0, m.Pos[3*v+2]+0
		h := uint64(math.Float32bits(x))*0x9e3779b97f4a7c15 ^ uint64(math.Float32bits(y))*0xc2b2ae3d27d4eb4f ^ uint64(math.Float32bits(z))*0x165667b19e3779f9
		h ^= h >> 29
		h *= 0xbf58476d1ce4e5b9
		slot := (h >> 32) & mask
		for {
			at := table[slot]
			if at == 0 {
				table[slot] = v + 1
				kept++
				to[v] = v + 1
				break
			}
			w := at - 1
			if m.Pos[3*w]+0 == x && m.Pos[3*w+1]+0 == y && m.Pos[3*w+2]+0 == z {
				to[v] = at
				break
			}
			slot = (slot + 1) & mask
		}
		m.Tri[i] = to[v] - 1
	}
	if int(kept) == n {
		return m
	}
	// Close the gaps, vertices in the order of the file.
	next := uint32(0)
	for v := range n {
		if to[v] != uint32(v)+1 {
			continue
		}
		copy(m.Pos[3*next:3*next+3], m.Pos[3*v:3*v+3])
		to[v] = next + 1
		next++
	}
	// A vertex merged into another points at its twin's old number: every index in Tri is a kept one now.
	for i, v := range m.Tri {
		m.Tri[i] = to[v] - 1
	}
	m.Pos = m.Pos[: 3*next : 3*next]
	return m
}
