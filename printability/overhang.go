package printability

import (
	"math"

	"firstoff/geom/r3"
	"firstoff/part"
)

// overhang: surface flatter than the process carries by itself, in this pose: area of facets with n.z < 0 and slope under the limit, not on the
// plate (handbook 2.4, exact).
func overhang(q *Question) []part.Finding {
	p := q.Process
	if q.Geometry == nil || q.Pose == nil || !p.NeedsSupport || p.SelfSupportDeg <= 0 {
		return nil
	}
	area, facets, at := q.Geometry.Overhang(*q.Pose, p.SelfSupportDeg)
	if area < 1 {
		return nil
	}
	f := finding(Note, string(p.Origin), area, 0, "mm2", "In this pose %.0f mm² hang flatter than %.0f°: supports carry and mark them.", area, p.SelfSupportDeg)
	f.At, f.Facets = &at, few(facets)
	return one(f)
}

// Overhang is the surface that looks down at less than a slope limit (degrees from the horizontal) in a pose and does not lie on the plate.
func (g *Geometry) Overhang(pose r3.Quat, selfSupportDeg float64) (area float64, facets []uint32, at r3.Vec) {
	m := g.Mesh
	up := pose.Inverse().Rotate(r3.Vec{Z: 1})
	low := math.Inf(1)
	for v := 0; v < m.Vertices(); v++ {
		low = math.Min(low, m.Vertex(uint32(v)).Dot(up))
	}
	limit := math.Cos(selfSupportDeg * math.Pi / 180)
	most := 0.0
	for f, n := range g.normals() {
		d := -n.Dot(up)
		if d <= 0 || d*d <= limit*limit*n.Norm2() {
			continue
		}
		l := n.Norm()
		a, b, c := m.Corners(f)
		if max(a.Dot(up), b.Dot(up), c.Dot(up)) < low+0.02 {
			continue
		}
		area += l / 2
		facets = append(facets, uint32(f))
		if l > most {
			most, at = l, a.Add(b).Add(c).Mul(1.0/3)
		}
	}
	return area, facets, at
}
