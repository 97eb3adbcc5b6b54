package printability

import (
	"math"

	"firstoff/geom/bvh"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/part"
)

// touch: bodies nearer to each other than the process keeps apart grow together.
func touch(q *Question) []part.Finding {
	p := q.Process
	if q.Geometry == nil || q.Facts.Bodies < 2 || p.MinGapMM <= 0 {
		return nil
	}
	gap, at, ok := q.Geometry.nearestBodies()
	if !ok || gap >= p.MinGapMM || gap < touching {
		return nil
	}
	msg := "Two bodies are %.2f mm apart; by %s they grow together under %.2f mm. Merge them if they are one part, or move them apart."
	f := finding(Warning, string(p.Origin), gap, p.MinGapMM, "mm", msg, gap, p.Name, p.MinGapMM)
	f.At = &at
	return one(f)
}

// touching is the gap under which bodies count as meeting, mm.
const touching = 0.01

// meet: bodies that touch or run into each other come out as one piece whatever makes them.
func meet(q *Question) []part.Finding {
	if q.Geometry == nil || q.Facts.Bodies < 2 {
		return nil
	}
	gap, at, ok := q.Geometry.nearestBodies()
	if !ok || gap >= touching {
		return nil
	}
	f := finding(Note, practice, gap, touching, "mm", "Bodies touch or run into each other: they come out as one piece. Leave a gap if they are to come apart.")
	f.At = &at
	return one(f)
}

// sampleVertices is how many vertices of a body are asked for their nearest neighbour.
const sampleVertices = 4000

// bodyGap finds the two bodies that come nearest to each other: 0 when they touch or run into each other.
func bodyGap(m *mesh.Mesh) (gap float64, at r3.Vec, ok bool) {
	parts := mesh.SplitBodies(m)
	if len(parts) < 2 || len(parts) > 64 {
		return 0, r3.Vec{}, false
	}
	trees := make([]*bvh.Tree, len(parts))
	gap = math.Inf(1)
	for i := range parts {
		for j := range parts {
			if i == j || apart(parts[i].Box(), parts[j].Box()) >= gap {
				continue
			}
			if trees[j] == nil {
				trees[j] = bvh.Build(parts[j])
			}
			n := parts[i].Vertices()
			for v := 0; v < n; v += max(1, n/sampleVertices) {
				p := parts[i].Vertex(uint32(v))
				if near, hit := trees[j].Nearest(p, gap); hit {
					if d := near.Point.Dist(p); d < gap {
						gap, at = d, p
					}
				}
			}
		}
	}
	return gap, at, !math.IsInf(gap, 0)
}

// apart is the distance between two boxes.
func apart(a, b r3.Box) float64 {
	d := func(lo1, hi1, lo2, hi2 float64) float64 { return math.Max(0, math.Max(lo2-hi1, lo1-hi2)) }
	x, y, z := d(a.Min.X, a.Max.X, b.Min.X, b.Max.X), d(a.Min.Y, a.Max.Y, b.Min.Y, b.Max.Y), d(a.Min.Z, a.Max.Z, b.Min.Z, b.Max.Z)
	return math.Sqrt(x*x + y*y + z*z)
}
