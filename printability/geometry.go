package printability

import (
	"math"
	"sync"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/geom/section"
	"firstoff/geom/solid"
	"firstoff/part"
)

// Geometry is a part's shape as the rules ask it. What is costly is worked out when first asked and kept. It may be used by
// several goroutines at once.
type Geometry struct {
	Mesh *mesh.Mesh

	edgesOnce sync.Once
	edges     []edge

	normals   func() []r3.Vec // of facets, twice as long as their areas
	measure   func() mesh.Measures
	topology  func() *mesh.Topology
	cylinders func() []Cylinder
	relief    func() []step
	hull      func() *mesh.Mesh
	gap       func() bodies2
	wide      func() ball
	cavity    func() float64

	mu       sync.Mutex
	drained  map[float64][]solid.Chamber
	rastered map[rasterKey]*solid.Solid
	islands  map[rasterKey]airborne
	cups     map[rasterKey]cupped
	tips     map[r3.Quat]float64
}

type bodies2 struct {
	gap float64
	at  r3.Vec
	ok  bool
}

type ball struct {
	d  float64
	at r3.Vec
	ok bool
}

type rasterKey struct {
	pose   r3.Quat
	across int
	margin int
}

// Look makes the geometry of a mended mesh in mm, which must not be changed afterwards.
func Look(m *mesh.Mesh) *Geometry {
	g := &Geometry{Mesh: m, drained: map[float64][]solid.Chamber{}, rastered: map[rasterKey]*solid.Solid{}, islands: map[rasterKey]airborne{}, cups: map[rasterKey]cupped{}, tips: map[r3.Quat]float64{}}
	g.topology = sync.OnceValue(m.Topology)
	g.measure = sync.OnceValue(m.Measure)
	g.normals = sync.OnceValue(func() []r3.Vec {
		n := make([]r3.Vec, m.Facets())
		for f := range n {
			a, b, c := m.Corners(f)
			n[f] = b.Sub(a).Cross(c.Sub(a))
		}
		return n
	})
	g.cylinders = sync.OnceValue(func() []Cylinder { return Cylinders(m, g.topology()) })
	g.relief = sync.OnceValue(func() []step { return reliefOf(g) })
	g.hull = sync.OnceValue(func() *mesh.Mesh { return mesh.ConvexHull(m) })
	g.gap = sync.OnceValue(func() (b bodies2) { b.gap, b.at, b.ok = bodyGap(m); return b })
	g.cavity = sync.OnceValue(func() (v float64) {
		for _, s := range mesh.CheckTopology(m).Shells {
			if s.Role == mesh.Cavity {
				v += math.Abs(s.VolumeMM3)
			}
		}
		return v
	})
	g.wide = sync.OnceValue(func() (b ball) {
		s, ok := g.bits(r3.Identity, 112, 1)
		if !ok {
			return b
		}
		f := solid.Distances(s, true)
		r, at, ok := f.Most(s)
		return ball{2 * r, s.Center(at[0], at[1], at[2]), ok}
	})
	return g
}

// Cylinders are the round holes and pins of the part.
func (g *Geometry) Cylinders() []Cylinder { return g.cylinders() }

// cavities is the exact volume of the shells that enclose nothing but air.
func (g *Geometry) cavities() float64 { return g.cavity() }

func (g *Geometry) steps() []step { return g.relief() }

func (g *Geometry) nearestBodies() (float64, r3.Vec, bool) { b := g.gap(); return b.gap, b.at, b.ok }

// widest is the diameter of the largest ball inside, to about a cell of a 112th of the part.
func (g *Geometry) widest() (float64, r3.Vec, bool) { b := g.wide(); return b.d, b.at, b.ok }

// bits is the part rastered in a pose with about across cells along its longest side and a margin of empty cells; ok is false when it
// cannot be.
func (g *Geometry) bits(pose r3.Quat, across, margin int) (*solid.Solid, bool) {
	k := rasterKey{pose, across, margin}
	g.mu.Lock()
	s := g.rastered[k]
	g.mu.Unlock()
	if s != nil {
		return s, true
	}
	_, box := section.Posed(g.Mesh, pose)
	size := box.Size()
	cell := math.Max(size.X, math.Max(size.Y, size.Z)) / float64(across)
	if !(cell > 0) {
		return nil, false
	}
	s, err := solid.Rasterise(g.Mesh, pose, cell, cell, margin)
	if err != nil {
		return nil, false
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	g.rastered[k] = s
	return s, true
}

// chambers are the hollows that a ball of diameter gate cannot leave, found at a quarter of the gate or a 160th of the part.
func (g *Geometry) chambers(gate float64) ([]solid.Chamber, bool) {
	g.mu.Lock()
	got, ok := g.drained[gate]
	g.mu.Unlock()
	if ok {
		return got, true
	}
	size := g.Mesh.Box().Size()
	long := math.Max(size.X, math.Max(size.Y, size.Z))
	across := int(math.Min(160, math.Max(48, 4*long/gate)))
	if long/float64(across) > gate/2 { // too coarse to tell an opening of this size
		return nil, false
	}
	s, ok := g.bits(r3.Identity, across, 1)
	if !ok {
		return nil, false
	}
	got = solid.Chambers(s, gate)
	g.mu.Lock()
	defer g.mu.Unlock()
	g.drained[gate] = got
	return got, true
}

// fits says whether the part goes into a space in any turn, and whether that is certain.
func (g *Geometry) fits(s Space) bool {
	e := s.Envelope
	_, ok := mesh.FitsIn(g.hull(), r3.Vec{X: e.X, Y: e.Y, Z: e.Z + 2*s.EdgeMM}, s.EdgeMM)
	return ok
}

// spot gives a finding its facets and the middle of the first of them.
func (g *Geometry) spot(f part.Finding, facets []uint32) part.Finding {
	if len(facets) > 0 {
		p := g.middle(facets[0])
		f.At, f.Facets = &p, few(facets)
	}
	return f
}

func (g *Geometry) middle(facet uint32) r3.Vec {
	a, b, c := g.Mesh.Corners(int(facet))
	return a.Add(b).Add(c).Mul(1.0 / 3)
}

// few is at most 512 of the facets, evenly taken.
func few(f []uint32) []uint32 {
	if len(f) <= 512 {
		return f
	}
	out := make([]uint32, 512)
	for i := range out {
		out[i] = f[i*len(f)/512]
	}
	return out
}

// edge is an edge between two facets.
type edge struct {
	at     r3.Vec  // middle
	length float64 // mm
	turn   float64 // angle between the normals, rad; positive where the edge is convex
	across float64 // smaller extent of the two facets across the edge, mm
	f, h   uint32  // the facets
	a, b   int32   // the flat faces they belong to
}

// sharp gives the edges whose facets are not in one plane, each once.
func (g *Geometry) sharp() []edge {
	g.edgesOnce.Do(func() {
		m := g.Mesh
		t := g.topology()
		face := make([]int32, m.Facets()) // union of facets that lie flat to each other
		for i := range face {
			face[i] = int32(i)
		}
		root := func(i int32) int32 {
			for face[i] != i {
				face[i] = face[face[i]]
				i = face[i]
			}
			return i
		}
		for h, mate := range t.Mate {
			if mate == mesh.None || uint32(h) > mate {
				continue
			}
			f, k := uint32(h)/3, mate/3
			if e, ok := between(m, m.From(uint32(h)), m.To(uint32(h)), f, k); ok {
				e.f, e.h = f, k
				g.edges = append(g.edges, e)
			} else if a, b := root(int32(f)), root(int32(k)); a != b {
				face[max(a, b)] = min(a, b)
			}
		}
		for i := range g.edges {
			e := &g.edges[i]
			e.a, e.b = root(int32(e.f)), root(int32(e.h))
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
	return edge{at: p.Add(q).Mul(0.5), length: l, turn: turn, across: math.Min(a1, a2) / l}, true
}
