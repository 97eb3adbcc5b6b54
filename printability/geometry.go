package printability

import (
	"math"
	"sync"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// Geometry is a part's shape as the rules ask it. What is costly is worked out when first asked and kept. It may be used by
// several goroutines at once.
type Geometry struct {
	Mesh *mesh.Mesh

	edgesOnce sync.Once
	edges     []edge
}

// Look makes the geometry of a mended mesh in mm, which must not be changed afterwards.
func Look(m *mesh.Mesh) *Geometry { return &Geometry{Mesh: m} }

// edge is an edge between two facets.
type edge struct {
	at     r3.Vec  // middle
	length float64 // mm
	turn   float64 // angle between the normals, rad; positive where the edge is convex
	across float64 // smaller extent of the two facets across the edge, mm
}

// sharp gives the edges whose facets are not in one plane, each once.
func (g *Geometry) sharp() []edge {
	g.edgesOnce.Do(func() {
		m := g.Mesh
		t := m.Topology()
		for h, mate := range t.Mate {
			if mate == mesh.None || uint32(h) > mate {
				continue
			}
			if e, ok := between(m, m.From(uint32(h)), m.To(uint32(h)), uint32(h)/3, mate/3); ok {
				g.edges = append(g.edges, e)
			}
		}
	})
	return g.edges
}

// between measures the edge a–b of facets f and h; ok false where they are flat to each other or degenerate.
func between(m *mesh.Mesh, a, b, f, h uint32) (edge, bool) {
	n := func(f uint32) (r3.Vec, float64) {
		p, q, r := m.Corners(int(f))
		x := q.Sub(p).Cross(r.Sub(p))
		l := x.Norm()
		if l == 0 {
			return r3.Vec{}, 0
		}
		return x.Mul(1 / l), l
	}
	n1, a1 := n(f)
	n2, a2 := n(h)
	p, q := m.Vertex(a), m.Vertex(b)
	l := p.Dist(q)
	if a1 == 0 || a2 == 0 || l == 0 {
		return edge{}, false
	}
	c := math.Max(-1, math.Min(1, n1.Dot(n2)))
	turn := math.Acos(c)
	if turn < 0.2*math.Pi/180 {
		return edge{}, false
	}
	// convex when the other facet's far corner lies below this facet's plane
	var far r3.Vec
	for k := uint32(0); k < 3; k++ {
		if v := m.Tri[3*h+k]; v != a && v != b {
			far = m.Vertex(v)
		}
	}
	if n1.Dot(far.Sub(p)) > 0 {
		turn = -turn
	}
	return edge{p.Add(q).Mul(0.5), l, turn, math.Min(a1, a2) / l}, true
}

// fits says whether the part goes into a space in any turn.
func (g *Geometry) fits(s Space) bool { return false }
