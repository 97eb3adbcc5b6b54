package mesh

import (
	"math"

	"firstoff/geom/cores"
	"firstoff/geom/r3"
)

// CornerNormals is a unit normal for every corner of every facet, nine floats a facet: the mean of the facets at that vertex
// which face within crease (rad) of this one, weighted by their angle there (Thürmer and Wüthrich, JGT 3(1), 1998). Rounded surfaces
// are so told from edges. A facet without area gets zeros, and counts for nobody.
func (m *Mesh) CornerNormals(crease float64) []float32 {
	nf := m.Facets()
	// The corners at each vertex.
	off := make([]uint32, m.Vertices()+1)
	for _, v := range m.Tri {
		off[v+1]++
	}
	for i := range m.Vertices() {
		off[i+1] += off[i]
	}
	at := make([]uint32, len(m.Tri))
	for h := len(m.Tri) - 1; h >= 0; h-- { // filled from behind, so that lists ascend and off ends where it was
		v := m.Tri[h] + 1
		off[v]--
		at[off[v]] = uint32(h)
	}
	list := func(v uint32) []uint32 {
		end := uint32(len(at))
		if int(v)+2 < len(off) {
			end = off[v+2]
		}
		return at[off[v+1]:end]
	}
	norm := make([]r3.Vec, nf)
	angle := make([]float32, 3*nf)
	cores.Each(nf, 1<<14, func(_, from, to int) {
		for f := from; f < to; f++ {
			p := [3]r3.Vec{}
			p[0], p[1], p[2] = m.Corners(f)
			if norm[f] = p[1].Sub(p[0]).Cross(p[2].Sub(p[0])).Unit(); norm[f] == (r3.Vec{}) {
				continue
			}
			for c := range 3 {
				u, v := p[(c+1)%3].Sub(p[c]), p[(c+2)%3].Sub(p[c])
				angle[3*f+c] = float32(math.Atan2(u.Cross(v).Norm(), u.Dot(v)))
			}
		}
	})
	out := make([]float32, 9*nf)
	limit := math.Cos(crease)
	cores.Each(nf, 1<<14, func(_, from, to int) {
		for f := from; f < to; f++ {
			n := norm[f]
			if n == (r3.Vec{}) {
				continue
			}
			for c := range 3 {
				var s r3.Vec
				for _, h := range list(m.Tri[3*f+c]) {
					if o := norm[h/3]; o.Dot(n) >= limit {
						s = s.Add(o.Mul(float64(angle[h])))
					}
				}
				s = s.Unit()
				k := 9*f + 3*c
				out[k], out[k+1], out[k+2] = float32(s.X), float32(s.Y), float32(s.Z)
			}
		}
	})
	return out
}
