package mesh

import (
	"slices"

	"firstoff/geom/r3"
)

// Report is what is wrong with a surface, and where. It describes the mesh as given; nothing is mended.
type Report struct {
	Facets, Vertices int // vertices: those that facets use
	Edges            int
	Closed           bool // every edge used exactly twice, once in each direction
	Solid            bool // encloses a volume: closed, except that bodies may touch along edges

	BoundaryEdges       int // used by one facet
	NonManifoldEdges    int // used by more than two
	MisorientedEdges    int // used by two facets that run along it in the same direction
	NonManifoldVertices int // whose facets form more than one fan

	Degenerate      int // facets that use a vertex twice
	ZeroArea        int // facets without area, degenerate ones included
	Duplicates      int // facets beyond the first on the same three vertices, whichever way they face
	Flipped         int // facets that must be turned for every outermost shell to face outwards and every cavity inwards
	Components      int // pieces that hang together by shared vertices
	Loops           []Loop
	Shells          []Shell
	Specks          int       // shells too small to matter, see SpeckRatio
	Crossings       Crossings // facets that cut each other; not looked for by CheckTopology
	CrossingsLooked bool
	Places          Places
}

// Places are the facets concerned, ascending, at most MaxPlaces of each kind.
type Places struct {
	Boundary, NonManifold, NonManifoldVertex, Misoriented, Degenerate, ZeroArea, Duplicate, Flipped, Crossing []uint32
}

// MaxPlaces bounds each list of Places; counts are never cut.
const MaxPlaces = 100_000

// SpeckRatio: a shell whose box diagonal is below this share of the whole mesh's is a speck.
const SpeckRatio = 1.0 / 500

// Loop is a closed walk along boundary edges.
type Loop struct {
	Half     []uint32 // boundary half-edges in order
	LengthMM float64
	Box      r3.Box
}

// Euler is vertices - edges + facets, degenerate facets left out.
func (r *Report) Euler() int { return r.Vertices - r.Edges + r.Facets - r.Degenerate }

// CheckTopology is Check without the search for facets that cut each other, which takes most of its time.
func CheckTopology(m *Mesh) *Report { return check(m, m.Topology()) }

// Check looks for everything that is wrong with a surface.
func Check(m *Mesh) *Report {
	t := m.Topology()
	r := check(m, t)
	r.addCrossings(m, t)
	return r
}

func check(m *Mesh, t *Topology) *Report {
	r := &Report{
		Facets: m.Facets(), Edges: t.Edges, Closed: t.Closed(), Solid: t.Solid(),
		BoundaryEdges: t.Boundary, NonManifoldEdges: t.NonManifold, MisorientedEdges: t.Misoriented,
	}
	r.edgePlaces(m, t)
	r.facetDefects(m)
	r.duplicates(m, t)
	fans := newFans(m, t)
	r.Vertices = fans.used
	r.NonManifoldVertices = len(fans.split)
	for _, f := range fans.facets {
		keep(&r.Places.NonManifoldVertex, f)
	}
	r.Places.NonManifoldVertex = uniq(r.Places.NonManifoldVertex)
	r.Loops = m.loops(t)
	r.Components, _ = m.Components()
	r.shells(m, t)
	return r
}

func keep(list *[]uint32, f uint32) {
	if len(*list) < MaxPlaces {
		*list = append(*list, f)
	}
}

func uniq(list []uint32) []uint32 {
	slices.Sort(list)
	return slices.Compact(list)
}

// edgePlaces notes the facets at boundary, crowded and misoriented edges.
func (r *Report) edgePlaces(m *Mesh, t *Topology) {
	crowded := make(map[uint32]bool)
	for _, g := range t.crowded {
		for _, h := range g {
			crowded[h] = true
			keep(&r.Places.NonManifold, h/3)
		}
	}
	r.Places.NonManifold = uniq(r.Places.NonManifold)
	if t.Boundary == 0 && t.Misoriented == 0 {
		return
	}
	add := func(list *[]uint32, f uint32) {
		if n := len(*list); n == 0 || (*list)[n-1] != f {
			keep(list, f)
		}
	}
	for h := range uint32(len(t.Mate)) {
		o := t.Mate[h]
		switch {
		case crowded[h]:
		case o == None:
			if !m.degenerate(h / 3) {
				add(&r.Places.Boundary, h/3)
			}
		case m.Tri[o] == m.Tri[h]:
			add(&r.Places.Misoriented, h/3)
		}
	}
}

// degenerate says whether facet f uses a vertex twice.
func (m *Mesh) degenerate(f uint32) bool {
	t := m.Tri[3*f : 3*f+3 : 3*f+3]
	return t[0] == t[1] || t[1] == t[2] || t[2] == t[0]
}

// flat says whether facet f has no area at all. Differences of float32 are held in float64, so the test is exact for
// vertices within a factor of 2²⁸ of each other; beyond that a facet may count as flat only if its sides are parallel to that accuracy.
func (m *Mesh) flat(f uint32) bool {
	t := m.Tri[3*f : 3*f+3 : 3*f+3]
	a, b, c := m.Vertex(t[0]), m.Vertex(t[1]), m.Vertex(t[2])
	return b.Sub(a).Cross(c.Sub(a)) == r3.Vec{}
}

func (r *Report) facetDefects(m *Mesh) {
	for f := range uint32(r.Facets) {
		d := m.degenerate(f)
		if d {
			r.Degenerate++
			keep(&r.Places.Degenerate, f)
		}
		if d || m.flat(f) {
			r.ZeroArea++
			keep(&r.Places.ZeroArea, f)
		}
	}
}

// twins groups the facets that lie on the same three vertices, two or more each, in order of their first facet.
func (m *Mesh) twins(t *Topology) [][]uint32 {
	// Only facets all of whose edges are crowded or lead to one and the same neighbour can have a twin.
	var cand []uint32
	crowd := make(map[uint32]bool)
	for _, g := range t.crowded {
		for _, h := range g {
			if !crowd[h/3] {
				crowd[h/3] = true
				cand = append(cand, h/3)
			}
		}
	}
	for f := range uint32(m.Facets()) {
		if a, b := t.Mate[3*f], t.Mate[3*f+1]; a != None && b != None && a/3 == b/3 && !crowd[f] {
			cand = append(cand, f)
		}
	}
	type key struct {
		v [3]uint32
		f uint32
	}
	keys := make([]key, len(cand))
	for i, f := range cand {
		v := [3]uint32(m.Tri[3*f : 3*f+3])
		slices.Sort(v[:])
		keys[i] = key{v, f}
	}
	slices.SortFunc(keys, func(a, b key) int {
		if c := slices.Compare(a.v[:], b.v[:]); c != 0 {
			return c
		}
		return int(int64(a.f) - int64(b.f))
	})
	var out [][]uint32
	for i := 0; i < len(keys); {
		j := i + 1
		for j < len(keys) && keys[j].v == keys[i].v {
			j++
		}
		if j > i+1 {
			g := make([]uint32, 0, j-i)
			for ; i < j; i++ {
				g = append(g, keys[i].f)
			}
			out = append(out, g)
		}
		i = j
	}
	slices.SortFunc(out, func(a, b []uint32) int { return int(int64(a[0]) - int64(b[0])) })
	return out
}

func (r *Report) duplicates(m *Mesh, t *Topology) {
	for _, g := range m.twins(t) {
		r.Duplicates += len(g) - 1
		for _, f := range g[1:] {
			keep(&r.Places.Duplicate, f)
		}
	}
	slices.Sort(r.Places.Duplicate)
}

// turn gives the other half-edge of the same facet that meets vertex v.
func (m *Mesh) turn(h, v uint32) uint32 {
	if m.Tri[h] == v {
		return prev(h)
	}
	return next(h)
}

// loops walks the boundary: at each vertex from one boundary edge through the fan of facets to the other. Works on any
// orientation; surfaces that only touch at a vertex keep their own loops. Loops are in order of their lowest half-edge.
func (m *Mesh) loops(t *Topology) []Loop {
	if t.Boundary == 0 && t.NonManifold == 0 {
		return nil
	}
	done := make(map[uint32]bool)
	var out []Loop
	for h := range uint32(len(t.Mate)) {
		if t.Mate[h] != None || done[h] || m.degenerate(h/3) {
			continue
		}
		l := Loop{Box: r3.EmptyBox()}
		at, v := h, m.To(h)
		for !done[at] {
			done[at] = true
			l.Half = append(l.Half, at)
			a, b := m.Vertex(m.From(at)), m.Vertex(m.To(at))
			l.LengthMM += a.Dist(b)
			l.Box = l.Box.Add(a).Add(b)
			g := m.turn(at, v)
			for t.Mate[g] != None {
				g = m.turn(t.Mate[g], v)
			}
			at = g
			if m.From(g) == v {
				v = m.To(g)
			} else {
				v = m.From(g)
			}
		}
		out = append(out, l)
	}
	return out
}

// fans finds the vertices whose facets do not form one fan.
type fans struct {
	used   int      // vertices with facets
	split  []uint32 // vertices with more than one fan, ascending
	facets []uint32 // facets at them
}

func newFans(m *Mesh, t *Topology) fans {
	nv := m.Vertices()
	count := make([]uint32, nv) // corners at a vertex, less those reached so far
	start := make([]uint32, nv) // some half-edge that starts there
	for f := range uint32(m.Facets()) {
		if m.degenerate(f) {
			continue
		}
		for h := 3 * f; h < 3*f+3; h++ {
			v := m.Tri[h]
			count[v]++
			start[v] = h
		}
	}
	var r fans
	for v := range uint32(nv) {
		if count[v] == 0 {
			continue
		}
		r.used++
		h := start[v]
		n, closed := uint32(1), false
		g := prev(h)
		for o := t.Mate[g]; o != None; o = t.Mate[g] {
			if closed = o/3 == h/3; closed {
				break
			}
			n++
			g = m.turn(o, v)
		}
		if !closed { // the fan has ends: walk to the other one
			g = h
			for o := t.Mate[g]; o != None; o = t.Mate[g] {
				n++
				g = m.turn(o, v)
			}
		}
		if n < count[v] {
			r.split = append(r.split, v)
		}
	}
	if len(r.split) > 0 {
		for f := range uint32(m.Facets()) {
			for _, v := range m.Tri[3*f : 3*f+3] {
				if _, ok := slices.BinarySearch(r.split, v); ok {
					r.facets = append(r.facets, f)
					break
				}
			}
		}
	}
	return r
}
