package pose

import (
	"math"

	"firstoff/geom/cores"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// Part is a mesh prepared for questions about poses. Read-only after Prepare.
type Part struct {
	mesh     *mesh.Mesh
	Normals  *Normals
	Extremes *Extremes
	Centroid r3.Vec // of the solid; of the surface's box when the mesh encloses nothing
	Volume   float64
}

// Prepare builds what pose questions need: about 130 bytes a facet.
func Prepare(m *mesh.Mesh) *Part {
	p := &Part{mesh: m, Normals: NewNormals(m), Extremes: NewExtremes(m)}
	w := m.Measure()
	p.Centroid, p.Volume = w.CentroidMM, w.VolumeMM3
	if b := m.Box(); !(w.VolumeMM3 > 0) || p.Centroid != b.Add(p.Centroid).Min && b.Add(p.Centroid) != b {
		p.Centroid = b.Center()
	}
	return p
}

// Load is what one build direction asks for.
type Load struct {
	OverhangMM2 float64 // facets flatter than the self-support angle that look down, those on the plate included
	PlanMM2     float64 // their plan area
	SupportMM3  float64 // columns under them down to the plate, through the part if need be
	LowestMM    float64 // height of the lowest vertex along the direction, about the origin of coordinates
}

// Loads answers for many build directions at once: exact sums over facets. up are unit vectors in the part's own
// coordinates; selfSupportDeg as in solid.Options.
func (p *Part) Loads(up []r3.Vec, selfSupportDeg float64) []Load {
	out := make([]Load, len(up))
	if len(p.Normals.nodes) == 0 {
		return out
	}
	limit := -math.Cos(math.Min(90, selfSupportDeg) * math.Pi / 180)
	if selfSupportDeg >= 90 {
		limit = 0
	}
	o := p.Normals.origin
	cores.Each(len(up), 32, func(_, from, to int) {
		var stack []int32
		var w sums
		var known []uint32
		for i := from; i < to; i++ {
			u := up[i]
			v, h := p.Extremes.Farthest(u.Mul(-1), known)
			known = append(known, v)
			w, stack = p.Normals.cone(u, limit, stack)
			low := -h - u.Dot(o)
			l := Load{LowestMM: -h}
			l.OverhangMM2, l.PlanMM2, l.SupportMM3 = w.support(u, low)
			out[i] = l
		}
	})
	return out
}
