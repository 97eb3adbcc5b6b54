package mesh

import (
	"math"

	"firstoff/geom/r3"
)

// FromIndexed welds an indexed surface given in float64: vertices whose three coordinates are equal become one, so the
// topology is that of the file and not of its rounding to float32. Facets keep their order; vertices are numbered in
// order of first use, unused ones are left out. Indices must be in range and coordinates finite; readers see to that.
//
// A small part far from the origin would lose its detail in float32. Then the mesh is moved to the origin and offset,
// a whole number of mm, says by how much: file position = mesh position + offset. It is zero for a part whose
// distance from the origin is below 4 times its size.
func FromIndexed(pos []float64, tri []uint32) (m *Mesh, offset r3.Vec) {
	n := len(pos) / 3
	size := 16
	for size < n+n/2 {
		size <<= 1
	}
	slot := make([]uint32, size)
	bits := func(v uint32) [3]uint64 {
		p := pos[3*v : 3*v+3 : 3*v+3]
		return [3]uint64{math.Float64bits(p[0] + 0), math.Float64bits(p[1] + 0), math.Float64bits(p[2] + 0)} // -0 + 0 is 0
	}
	to := make([]uint32, n) // new number + 1 of each old vertex
	var kept []uint32       // old vertex behind each new one
	m = &Mesh{Tri: make([]uint32, len(tri)/3*3)}
	box := r3.EmptyBox()
	for i := range m.Tri {
		v := tri[i]
		if to[v] == 0 {
			k := bits(v)
			h := k[0]*0x9e3779b97f4a7c15 ^ k[1]*0xc2b2ae3d27d4eb4f ^ k[2]*0x165667b19e3779f9
			h ^= h >> 32
			h = h * 0xd6e8feb86659fd93 >> 20 & uint64(size-1)
			for slot[h] != 0 && bits(kept[slot[h]-1]) != k {
				h = (h + 1) & uint64(size-1)
			}
			if slot[h] == 0 {
				kept = append(kept, v)
				slot[h] = uint32(len(kept))
				box = box.Add(r3.Vec{X: pos[3*v], Y: pos[3*v+1], Z: pos[3*v+2]})
			}
			to[v] = slot[h]
		}
		m.Tri[i] = to[v] - 1
	}
	c := box.Center()
	if len(kept) > 0 && max(math.Abs(c.X), math.Abs(c.Y), math.Abs(c.Z)) > 4*box.Size().Norm() {
		offset = r3.Vec{X: math.Round(c.X), Y: math.Round(c.Y), Z: math.Round(c.Z)}
	}
	m.Pos = make([]float32, 3*len(kept))
	for i, v := range kept {
		for x := range 3 {
			m.Pos[3*i+x] = float32(pos[3*int(v)+x] - offset.Axis(x))
		}
	}
	return m, offset
}
