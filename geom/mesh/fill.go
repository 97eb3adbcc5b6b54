package mesh

import (
	"cmp"
	"iter"
	"math"
	"slices"

	"firstoff/geom/r3"
)

const (
	planeRatio = 1e-3   // a loop is planar if its corners lie within this share of its size of a plane
	maxLoop    = 50_000 // longer loops are left open
	maxExact   = 160    // curved loops up to this length are triangulated optimally
	maxGroup   = 4_000  // beyond this many loops each is filled for itself
)

type filled struct{ filled, sheets, left int }

// largeRatio: an opening wider than this share of the mesh is filled in a step of its own.
const largeRatio = 0.25

// width is twice the largest distance of the vertices listed from their mean: a size that does not turn with the part.
func (m *Mesh) width(list iter.Seq[uint32]) float64 {
	var mean r3.Vec
	n := 0.0
	for v := range list {
		mean, n = mean.Add(m.Vertex(v)), n+1
	}
	mean = mean.Mul(1 / n)
	most := 0.0
	for v := range list {
		most = max(most, m.Vertex(v).Sub(mean).Norm2())
	}
	return 2 * math.Sqrt(most)
}

// starts are the vertices at which the half-edges listed start.
func (m *Mesh) starts(half []uint32) iter.Seq[uint32] {
	return func(yield func(uint32) bool) {
		for _, h := range half {
			if !yield(m.From(h)) {
				return
			}
		}
	}
}

// ring is a loop to be filled: its corners in the order in which the filling runs along it.
type ring struct {
	v      []uint32
	across []uint32 // for corner i the facet beyond the edge from v[i] to v[i+1]
	normal r3.Vec   // twice the area vector (Newell)
	center r3.Vec
	size   float64
	planar bool
}

// fill closes the boundary loops, either those up to largeRatio or all. Loops along edges that more than two facets use are left.
func (k *mender) fill(large bool) (r filled) {
	t := k.m.Topology()
	loops := k.m.loops(t)
	if len(loops) == 0 {
		return
	}
	crowded := make(map[uint32]bool)
	for _, g := range t.crowded {
		for _, h := range g {
			crowded[h] = true
		}
	}
	whole := 0.0
	if !large {
		whole = k.m.width(slices.Values(k.m.Tri))
	}
	edges := make(edgeSet)
	var rings []ring
	for _, l := range loops {
		if slices.ContainsFunc(l.Half, func(h uint32) bool { return crowded[h] }) {
			r.left++
			continue
		}
		if !large && k.m.width(k.m.starts(l.Half)) > largeRatio*whole {
			continue
		}
		split, bad := k.rings(l)
		r.left += bad
		rings = append(rings, split...)
	}
	if len(rings) == 0 {
		return
	}
	edges.note(k.m, rings)
	before := k.m.Facets()
	var ringOf []int
	add := func(ring int, tri []uint32) {
		k.m.Tri = append(k.m.Tri, tri...)
		for range len(tri) / 3 {
			k.src = append(k.src, -1)
			ringOf = append(ringOf, ring)
		}
		edges.add(tri)
	}
	for _, group := range groupPlanar(rings) {
		if !rings[group[0]].planar {
			add(group[0], k.curved(&rings[group[0]], edges))
			continue
		}
		for _, part := range k.planar(rings, group, edges) {
			add(part.ring, part.tri)
		}
	}
	// Shells that enclose nothing once closed go back to what they were.
	t = k.m.Topology()
	p := k.m.shellsOf(t)
	closed := make([]bool, p.n)
	for f := before; f < k.m.Facets(); f++ {
		closed[p.of[f]] = true
	}
	for h, o := range t.Mate {
		if o == None {
			closed[p.of[h/3]] = false
		}
	}
	gone := make([]bool, k.m.Facets())
	undo := make(map[int]bool)
	for s, list := range p.lists() {
		if !closed[s] {
			continue
		}
		if q := k.m.measureOf(list); q.flat() {
			r.sheets++
			for _, f := range list {
				if int(f) >= before {
					gone[f] = true
					undo[ringOf[int(f)-before]] = true
				}
			}
		}
	}
	k.drop(gone)
	for i := range rings {
		if !undo[i] {
			r.filled++
		}
	}
	return r
}

// edgeSet is the edges between vertices of rings, which a filling should not use again.
type edgeSet map[[2]uint32]bool

func (e edgeSet) note(m *Mesh, rings []ring) {
	on := make(map[uint32]bool)
	for _, g := range rings {
		for _, v := range g.v {
			on[v] = true
		}
	}
	for f := range m.Facets() {
		t := m.Tri[3*f : 3*f+3]
		if a, b, c := on[t[0]], on[t[1]], on[t[2]]; a && b || b && c || c && a {
			e.add(t)
		}
	}
}

func (e edgeSet) add(tri []uint32) {
	for ; len(tri) >= 3; tri = tri[3:] {
		for j := range 3 {
			a, b := tri[j], tri[(j+1)%3]
			e[[2]uint32{min(a, b), max(a, b)}] = true
		}
	}
}

func (e edgeSet) has(a, b uint32) bool { return e[[2]uint32{min(a, b), max(a, b)}] }

// rings turns a boundary loop into simple rings: where it meets itself at a vertex it is cut in two.
func (k *mender) rings(l Loop) (out []ring, bad int) {
	if len(l.Half) > maxLoop {
		return nil, 1
	}
	// The filling runs against the walk.
	n := len(l.Half)
	walk := make([]uint32, n) // where each edge of the walk begins
	walk[0] = k.m.From(l.Half[0])
	for i := 1; i < n; i++ {
		if h := l.Half[i-1]; k.m.From(h) == walk[i-1] {
			walk[i] = k.m.To(h)
		} else {
			walk[i] = k.m.From(h)
		}
	}
	verts, across := make([]uint32, n), make([]uint32, n)
	for i, h := range l.Half {
		verts[n-1-i] = walk[(i+1)%n]
		across[n-1-i] = h / 3
	}
	at := make(map[uint32]int)
	var sv, sa []uint32
	for i, v := range verts {
		if j, ok := at[v]; ok {
			if len(sv)-j >= 3 {
				out = append(out, k.ring(slices.Clone(sv[j:]), slices.Clone(sa[j:])))
			} else {
				bad++
			}
			for _, w := range sv[j:] {
				delete(at, w)
			}
			sv, sa = sv[:j], sa[:j]
		}
		at[v] = len(sv)
		sv, sa = append(sv, v), append(sa, across[i])
	}
	if len(sv) >= 3 {
		out = append(out, k.ring(sv, sa))
	} else if len(sv) > 0 {
		bad++
	}
	return out, bad
}

func (k *mender) ring(v, across []uint32) ring {
	g := ring{v: v, across: across}
	box := r3.EmptyBox()
	for _, i := range v {
		box = box.Add(k.m.Vertex(i))
	}
	o := box.Center()
	for i := range v {
		a, b := k.m.Vertex(v[i]).Sub(o), k.m.Vertex(v[(i+1)%len(v)]).Sub(o)
		g.normal = g.normal.Add(a.Cross(b))
		g.center = g.center.Add(a)
	}
	g.center = g.center.Mul(1 / float64(len(v))).Add(o)
	g.size = k.m.width(slices.Values(v))
	n := g.normal.Unit()
	g.planar = n != r3.Vec{}
	for _, i := range v {
		if math.Abs(k.m.Vertex(i).Sub(g.center).Dot(n)) > planeRatio*g.size {
			g.planar = false
		}
	}
	return g
}

// groupPlanar puts planar rings of one plane together; the others stand alone.
func groupPlanar(rings []ring) [][]int {
	var out [][]int
	done := make([]bool, len(rings))
	for i := range rings {
		if done[i] {
			continue
		}
		group := []int{i}
		done[i] = true
		if a := &rings[i]; a.planar && len(rings) <= maxGroup {
			n := a.normal.Unit()
			for j := i + 1; j < len(rings); j++ {
				b := &rings[j]
				if done[j] || !b.planar {
					continue
				}
				tol := planeRatio * max(a.size, b.size)
				if math.Abs(n.Dot(b.normal.Unit())) > 1-planeRatio*planeRatio && math.Abs(b.center.Sub(a.center).Dot(n)) <= tol {
					group = append(group, j)
					done[j] = true
				}
			}
		}
		out = append(out, group)
	}
	return out
}

type patch struct {
	ring int
	tri  []uint32
}

// planar fills the rings of one plane: each that runs left about the plane's normal, with the ones directly inside it that
// run right as its holes. A ring that runs right and lies in no other is filled facing the other way.
func (k *mender) planar(rings []ring, group []int, edges edgeSet) (out []patch) {
	// The plane of the largest ring.
	big := group[0]
	for _, i := range group {
		if rings[i].normal.Norm2() > rings[big].normal.Norm2() {
			big = i
		}
	}
	n := rings[big].normal.Unit()
	u := n.Cross(r3.Vec{X: 1})
	if math.Abs(n.X) > 0.9 {
		u = n.Cross(r3.Vec{Y: 1})
	}
	u = u.Unit()
	w := n.Cross(u)
	o := rings[big].center
	type flatRing struct {
		ring int
		p    []point
		area float64
	}
	flat := make([]flatRing, len(group))
	for i, g := range group {
		f := flatRing{ring: g}
		for _, v := range rings[g].v {
			d := k.m.Vertex(v).Sub(o)
			f.p = append(f.p, point{d.Dot(u), d.Dot(w), v})
		}
		f.area = area2(f.p)
		flat[i] = f
	}
	slices.SortStableFunc(flat, func(a, b flatRing) int { return cmp.Compare(math.Abs(b.area), math.Abs(a.area)) })
	holes := make([][]int, len(flat))
	isHole := make([]bool, len(flat))
	for i := range flat {
		for j := i - 1; j >= 0; j-- { // the smallest ring around it
			if (flat[i].area > 0) != (flat[j].area > 0) && !isHole[j] && within(flat[i].p, flat[j].p) {
				isHole[i] = true
				holes[j] = append(holes[j], i)
				break
			}
		}
	}
	for i, f := range flat {
		if isHole[i] {
			continue
		}
		mirror := f.area < 0
		outer := slices.Clone(f.p)
		inner := make([][]point, 0, len(holes[i]))
		for _, h := range holes[i] {
			inner = append(inner, slices.Clone(flat[h].p))
		}
		if mirror { // seen from the back
			for _, l := range append([][]point{outer}, inner...) {
				for j := range l {
					l[j].x = -l[j].x
				}
			}
		}
		tri := clipEars(bridge(outer, inner), edges)
		out = append(out, patch{f.ring, tri})
	}
	return out
}

// curved fills one ring in space: optimally (Barequet and Sharir, CAGD 12, 1995; weights of Liepa, SGP 2003: least of the
// sharpest fold, then least area) up to maxExact corners, else ear by ear, flattest and shortest first.
func (k *mender) curved(g *ring, edges edgeSet) []uint32 {
	n := len(g.v)
	if n <= maxExact {
		return k.optimal(g, edges)
	}
	return k.greedy(g)
}

type weight struct{ fold, area float64 }

func (a weight) less(b weight) bool {
	if a.fold != b.fold {
		return a.fold < b.fold
	}
	return a.area < b.area
}

func (k *mender) optimal(g *ring, edges edgeSet) []uint32 {
	n := len(g.v)
	p := make([]r3.Vec, n)
	for i, v := range g.v {
		p[i] = k.m.Vertex(v)
	}
	rim := make([]r3.Vec, n) // normal of the facet across the edge from i to i+1
	for i, f := range g.across {
		rim[i] = k.m.FacetNormal(int(f))
	}
	best := make([]weight, n*n)
	via := make([]int32, n*n)
	// The fold between two facets, as 1 - cosine, in steps: nearly equal folds are decided by area.
	fold := func(a, b r3.Vec) float64 {
		return math.Round((1-a.Dot(b))*64) / 64
	}
	normal := func(i, j, l int) r3.Vec { return p[j].Sub(p[i]).Cross(p[l].Sub(p[i])) }
	edge := func(i, j int) r3.Vec { // normal beyond the edge from i to j of the chosen triangulation
		if j == i+1 {
			return rim[i]
		}
		return normal(i, int(via[i*n+j]), j).Unit()
	}
	for span := 2; span < n; span++ {
		for i := 0; i+span < n; i++ {
			j := i + span
			w := weight{math.Inf(1), 0}
			used := 0.0 // an edge that exists already comes after every fold
			if span < n-1 && edges.has(g.v[i], g.v[j]) {
				used = 4
			}
			for c := i + 1; c < j; c++ {
				l, r := best[i*n+c], best[c*n+j]
				m := max(l.fold, r.fold, used)
				if m > w.fold {
					continue
				}
				nn := normal(i, c, j)
				a := nn.Norm()
				if a == 0 {
					m = max(m, 2)
				} else {
					q := nn.Mul(1 / a)
					m = max(m, fold(q, edge(i, c)), fold(q, edge(c, j)))
					if span == n-1 {
						m = max(m, fold(q, rim[n-1]))
					}
				}
				if x := (weight{m, l.area + r.area + a}); x.less(w) {
					w = x
					via[i*n+j] = int32(c)
				}
			}
			best[i*n+j] = w
		}
	}
	var out []uint32
	type span struct{ i, j int }
	todo := []span{{0, n - 1}}
	for len(todo) > 0 {
		s := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		if s.j-s.i < 2 {
			continue
		}
		c := int(via[s.i*n+s.j])
		out = append(out, g.v[s.i], g.v[c], g.v[s.j])
		todo = append(todo, span{s.i, c}, span{c, s.j})
	}
	return out
}

// greedy cuts the ear whose new edge is shortest, again and again.
func (k *mender) greedy(g *ring) []uint32 {
	n := len(g.v)
	p := make([]r3.Vec, n)
	nxt, prv := make([]int, n), make([]int, n)
	for i, v := range g.v {
		p[i] = k.m.Vertex(v)
		nxt[i], prv[i] = (i+1)%n, (i+n-1)%n
	}
	cost := func(i int) float64 {
		a, b, c := p[prv[i]], p[i], p[nxt[i]]
		l := a.Dist(c)
		if a.Sub(b).Cross(c.Sub(b)).Dot(g.normal) > 0 { // a reflex corner seen along the ring's normal: late
			l += g.size
		}
		return l
	}
	type ear struct {
		cost float64
		at   int
		age  int
	}
	age := make([]int, n)
	gone := make([]bool, n)
	var heap []ear
	less := func(a, b ear) bool { return a.cost < b.cost || a.cost == b.cost && a.at < b.at }
	push := func(e ear) {
		heap = append(heap, e)
		for i := len(heap) - 1; i > 0 && less(heap[i], heap[(i-1)/2]); i = (i - 1) / 2 {
			heap[i], heap[(i-1)/2] = heap[(i-1)/2], heap[i]
		}
	}
	pop := func() ear {
		e := heap[0]
		last := len(heap) - 1
		heap[0] = heap[last]
		heap = heap[:last]
		for i := 0; ; {
			c := 2*i + 1
			if c >= last {
				break
			}
			if c+1 < last && less(heap[c+1], heap[c]) {
				c++
			}
			if !less(heap[c], heap[i]) {
				break
			}
			heap[i], heap[c] = heap[c], heap[i]
			i = c
		}
		return e
	}
	for i := range n {
		push(ear{cost(i), i, 0})
	}
	var out []uint32
	for left := n; left >= 3 && len(heap) > 0; {
		e := pop()
		if gone[e.at] || age[e.at] != e.age {
			continue
		}
		i := e.at
		a, c := prv[i], nxt[i]
		out = append(out, g.v[a], g.v[i], g.v[c])
		gone[i] = true
		nxt[a], prv[c] = c, a
		left--
		for _, j := range [2]int{a, c} {
			age[j]++
			push(ear{cost(j), j, age[j]})
		}
	}
	return out
}
