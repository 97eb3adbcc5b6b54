package mesh

import (
	"slices"

	"firstoff/geom/r3"
)

// Clone is a copy that shares nothing with m.
func (m *Mesh) Clone() *Mesh { return &Mesh{Pos: slices.Clone(m.Pos), Tri: slices.Clone(m.Tri)} }

// Transformed is m turned by q, scaled by scale, then moved by t: p -> scale·(q·p) + t. Computed in float64 and rounded once.
// A negative scale mirrors; facets are then turned so that they still face outwards. m is not changed.
func (m *Mesh) Transformed(q r3.Quat, scale float64, t r3.Vec) *Mesh {
	out := &Mesh{Pos: make([]float32, len(m.Pos)), Tri: slices.Clone(m.Tri)}
	r := q.Mat()
	for i := range r {
		r[i] *= scale
	}
	src, dst := m.Pos, out.Pos
	for len(src) >= 3 && len(dst) >= 3 {
		x, y, z := float64(src[0]), float64(src[1]), float64(src[2])
		dst[0] = float32(r[0]*x + r[1]*y + r[2]*z + t.X)
		dst[1] = float32(r[3]*x + r[4]*y + r[5]*z + t.Y)
		dst[2] = float32(r[6]*x + r[7]*y + r[8]*z + t.Z)
		src, dst = src[3:], dst[3:]
	}
	if scale < 0 {
		out.turnAll()
	}
	return out
}

// turnAll reverses every facet.
func (m *Mesh) turnAll() {
	for t := m.Tri; len(t) >= 3; t = t[3:] {
		t[1], t[2] = t[2], t[1]
	}
}

// Merge is one mesh with the vertices and facets of all, in order; nothing is welded.
func Merge(all ...*Mesh) *Mesh {
	var nv, nf int
	for _, m := range all {
		nv, nf = nv+len(m.Pos), nf+len(m.Tri)
	}
	out := &Mesh{Pos: make([]float32, 0, nv), Tri: make([]uint32, 0, nf)}
	for _, m := range all {
		base := uint32(out.Vertices())
		out.Pos = append(out.Pos, m.Pos...)
		for _, v := range m.Tri {
			out.Tri = append(out.Tri, v+base)
		}
	}
	return out
}

// Soup is nine floats a facet, in facet order: what FromSoup takes.
func (m *Mesh) Soup() []float32 {
	out := make([]float32, 0, 3*len(m.Tri))
	for _, v := range m.Tri {
		out = append(out, m.Pos[3*v:3*v+3]...)
	}
	return out
}
