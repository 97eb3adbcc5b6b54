package solid

import (
	"firstoff/geom/cores"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/geom/section"
)

// Supports is the column supports of a rasterised mesh: below every facet flatter than selfSupportDeg, and below every
// tip or ledge that starts in the air, down to the part or the plate. m and pose must be those s was made from. Where
// overhangs lie over one another too often to be sampled (no solid does that), only tips and ledges are supported.
func Supports(s *Solid, m *mesh.Mesh, pose r3.Quat, selfSupportDeg float64) *Solid {
	d := Empty(s.Grid)
	if s.NZ == 0 || !(selfSupportDeg > 0) {
		return d
	}
	pos, _ := section.Posed(m, pose)
	over, err := overhangs(pos, m.Tri, &s.Grid, selfSupportDeg)
	if err != nil {
		over = &overhang{}
	}
	off, seeds := over.byLayer(s.NZ, s.Layer)
	b := &slab{g: &s.Grid, low: 0, high: s.NZ, part: s.Bits, rows: s.rowRanges(), empty: make([]uint64, s.PlaneWords())}
	b.support = make([]uint64, len(s.Bits)+s.PlaneWords())
	b.columns(0, s.NZ, s.NZ, off, seeds, islandReach(s.Grid, selfSupportDeg))
	copy(d.Bits, b.support)
	return d
}

// Skins are the cells of s within depth layers of its own top and bottom surfaces; the plate counts as a surface.
func Skins(s *Solid, depth int) (top, bottom *Solid) {
	top, bottom = Empty(s.Grid), Empty(s.Grid)
	b := &slab{g: &s.Grid, low: 0, high: s.NZ, part: s.Bits, empty: make([]uint64, s.PlaneWords())}
	cores.Each(s.NZ, 4, func(_, from, to int) {
		for k := from; k < to; k++ {
			p, t, u := s.Plane(k), top.Plane(k), bottom.Plane(k)
			copy(t, p)
			copy(u, p)
			for d := 1; d <= depth; d++ {
				above, below := b.plane(k+d), b.plane(k-d)
				for i := range p {
					t[i] &= above[i]
					u[i] &= below[i]
				}
			}
			for i, x := range p {
				t[i], u[i] = x&^t[i], x&^u[i]
			}
		}
	})
	return top, bottom
}

// rowRanges finds the rows of each layer that have cells.
func (s *Solid) rowRanges() []filled {
	r := make([]filled, s.NZ)
	for k := range r {
		p := s.Plane(k)
		lo, hi := 0, len(p)
		for lo < hi && p[lo] == 0 {
			lo++
		}
		for hi > lo && p[hi-1] == 0 {
			hi--
		}
		if lo < hi {
			r[k] = filled{low: lo / s.Stride, high: (hi-1)/s.Stride + 1}
		}
	}
	return r
}
