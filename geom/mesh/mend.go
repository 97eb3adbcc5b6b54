package mesh

import (
	"fmt"
	"math"
	"slices"

	"firstoff/geom/r3"
)

// Log is what Mend changed.
type Log struct {
	Steps  []Step
	Source []int32 // for each facet of the mended mesh the facet of the input it came from, or -1 for an added one
}

// Step is one kind of change.
type Step struct {
	Code         string // stable, snake_case
	Message      string // one sentence
	Count        int
	VolumeBefore float64 // mm³, as Measure gives it
	VolumeAfter  float64
}

// The steps of Mend, in the order in which they are taken.
const (
	StepDegenerate = "degenerate_dropped"
	StepCracks     = "cracks_joined"
	StepSplit      = "edges_split"
	StepDuplicates = "duplicates_dropped"
	StepInnerWalls = "inner_walls_dropped"
	StepTurned     = "facets_turned"
	StepFilled     = "loops_filled"
	StepLarge      = "large_openings_filled"
	StepSheet      = "sheet_left_open"
	StepLeftOpen   = "loops_left_open"
)

// CrackRatio: boundary vertices closer than this share of the mesh's diagonal are taken for one (about 3 µm on 300 mm: the
// rounding of six printed digits, far below what any process resolves).
const CrackRatio = 1e-5

// Mend makes a closed, consistently outward surface as far as that is possible without guessing at design, and says what it did.
// The input is not changed.
//
// In turn: facets that use a vertex twice are dropped; cracks are joined (boundary vertices within CrackRatio, then vertices
// that lie on a boundary edge); facets on the same three vertices are reduced to their net (two that face each other cancel); single
// walls between two bodies that share them are dropped; facets are turned to agree; boundary loops are filled, those in one plane together, so that an annulus stays an annulus, openings as wide as the part itself in a step of their own;
// closed shells are turned by nesting. A sheet that would enclose nothing is left open. Crossing and overlapping
// shells are left to geom/unite, or to the winding rule of whoever fills the solid.
func Mend(m *Mesh) (*Mesh, Log) {
	k := &mender{m: m.Clone(), src: make([]int32, m.Facets())}
	for f := range k.src {
		k.src[f] = int32(f)
	}
	k.vol = k.m.Measure().VolumeMM3
	if t := k.m.Topology(); t.Closed() && !slices.ContainsFunc(all(m.Facets()), m.degenerate) {
		// Nothing can be wrong but the side: the usual case, and soon done.
		k.step(StepTurned, turnedText, k.face(t))
		return k.m, Log{Steps: k.steps, Source: k.src}
	}
	k.step(StepDegenerate, "%d facets used a vertex twice and were dropped.", k.dropDegenerate())
	joined, split := k.joinCracks()
	k.step(StepCracks, "%d vertices along open edges lay within rounding of another and were joined to it.", joined)
	k.step(StepSplit, "%d open edges passed through a vertex of their neighbour and were split there.", split)
	k.step(StepDuplicates, "%d facets lay on the same three corners as another and were dropped.", k.dropTwins())
	k.step(StepInnerWalls, "%d facets formed inner walls with material on both sides and were dropped.", k.dropInnerWalls())
	turned := k.agree()
	k.step(StepTurned, "%d facets faced against their neighbours and were turned.", turned)
	small := k.fill(false)
	k.step(StepFilled, "%d open loops were filled.", small.filled)
	large := k.fill(true)
	k.step(StepLarge, "%d openings as wide as the part itself were closed: check that nothing is missing.", large.filled)
	k.step(StepSheet, "%d sheets enclose nothing and were left open.", large.sheets)
	k.step(StepLeftOpen, "%d open loops could not be filled.", large.left)
	k.step(StepTurned, turnedText, k.face(k.m.Topology()))
	out := k.m.Pick(all(k.m.Facets()))
	return out, Log{Steps: k.steps, Source: k.src}
}

const turnedText = "%d facets of closed shells faced the wrong way and were turned."

// Volume is the change of volume over all steps.
func (l Log) Volume() (before, after float64) {
	if len(l.Steps) == 0 {
		return 0, 0
	}
	return l.Steps[0].VolumeBefore, l.Steps[len(l.Steps)-1].VolumeAfter
}

func all(n int) []uint32 {
	l := make([]uint32, n)
	for i := range l {
		l[i] = uint32(i)
	}
	return l
}

type mender struct {
	m     *Mesh
	src   []int32
	vol   float64
	steps []Step
}

func (k *mender) step(code, format string, n int) {
	if n == 0 {
		return
	}
	v := k.m.Measure().VolumeMM3
	k.steps = append(k.steps, Step{Code: code, Message: fmt.Sprintf(format, n), Count: n, VolumeBefore: k.vol, VolumeAfter: v})
	k.vol = v
}

// drop removes the facets marked; nil marks none.
func (k *mender) drop(gone []bool) (n int) {
	if gone == nil {
		return 0
	}
	to := uint32(0)
	for f, g := range gone {
		if g {
			n++
			continue
		}
		copy(k.m.Tri[3*to:3*to+3], k.m.Tri[3*f:3*f+3])
		k.src[to] = k.src[f]
		to++
	}
	k.m.Tri, k.src = k.m.Tri[:3*to], k.src[:to]
	return n
}

func (k *mender) dropDegenerate() int {
	var gone []bool
	for f := range uint32(k.m.Facets()) {
		if k.m.degenerate(f) {
			if gone == nil {
				gone = make([]bool, k.m.Facets())
			}
			gone[f] = true
		}
	}
	return k.drop(gone)
}

// dropTwins reduces facets on the same three vertices to their net: equal ones to one, opposite ones to none, unless
// nothing would remain at all.
func (k *mender) dropTwins() int {
	groups := k.m.twins(k.m.Topology())
	if len(groups) == 0 {
		return 0
	}
	gone := make([]bool, k.m.Facets())
	n := 0
	mark := func(cancel bool) {
		clear(gone)
		n = 0
		for _, g := range groups {
			net, keep := 0, [2]uint32{None, None}
			for _, f := range g {
				s := 0
				if k.m.parity(g[0], f) {
					net++
				} else {
					net--
					s = 1
				}
				keep[s] = min(keep[s], f)
				gone[f] = true
				n++
			}
			switch {
			case net > 0 || net == 0 && !cancel:
				gone[keep[0]] = false
				n--
			case net < 0:
				gone[keep[1]] = false
				n--
			}
		}
	}
	if mark(true); n == k.m.Facets() {
		mark(false)
	}
	return k.drop(gone)
}

// parity says whether facets f and g, on the same vertices, face the same way.
func (m *Mesh) parity(f, g uint32) bool {
	a, b := m.Tri[3*f:3*f+3], m.Tri[3*g:3*g+3]
	i := slices.Index(b, a[0])
	return b[(i+1)%3] == a[1]
}

// agree turns facets so that neighbours agree; closed shells are left on the side of their first facet, open ones on the
// side that holds most of their area.
func (k *mender) agree() int {
	t := k.m.Topology()
	if t.Misoriented == 0 {
		return 0
	}
	p := k.m.shellsOf(t)
	lists := p.lists()
	n := nestOf(k.m, t, &p, lists)
	turned := 0
	for f, s := range p.of {
		if p.turn[f] != n.turn[s] && (n.role[s] == Open || n.role[s] == Unoriented) {
			k.m.Tri[3*f+1], k.m.Tri[3*f+2] = k.m.Tri[3*f+2], k.m.Tri[3*f+1]
			turned++
		}
	}
	return turned
}

// face turns closed shells by nesting.
func (k *mender) face(t *Topology) int {
	p := k.m.shellsOf(t)
	lists := p.lists()
	n := nestOf(k.m, t, &p, lists)
	turned := 0
	for f, s := range p.of {
		if p.turn[f] != n.turn[s] && n.role[s] != Open {
			k.m.Tri[3*f+1], k.m.Tri[3*f+2] = k.m.Tri[3*f+2], k.m.Tri[3*f+1]
			turned++
		}
	}
	return turned
}

// joinCracks merges boundary vertices that lie within the tolerance of each other, and splits boundary edges at boundary
// vertices that lie on them.
func (k *mender) joinCracks() (joined, split int) {
	tol := k.m.Box().Size().Norm() * CrackRatio
	for range 4 { // splitting may bring further vertices together
		t := k.m.Topology()
		if t.Boundary == 0 || tol == 0 {
			return
		}
		j := k.joinVertices(t, tol)
		if j > 0 {
			joined += j
			t = k.m.Topology()
		}
		s := k.splitEdges(t, tol)
		split += s
		if j+s == 0 {
			return
		}
	}
	return
}

// rim is the half-edges without a mate and the vertices on them, ascending.
func (m *Mesh) rim(t *Topology) (half, vert []uint32) {
	for h := range uint32(len(t.Mate)) {
		if t.Mate[h] == None && !m.degenerate(h/3) {
			half = append(half, h)
			vert = append(vert, m.From(h), m.To(h))
		}
	}
	return half, uniq(vert)
}

func (k *mender) joinVertices(t *Topology, tol float64) int {
	_, rim := k.m.rim(t)
	g := newHashGrid(k.m, rim, 2*tol)
	to := make(map[uint32]uint32)
	for _, v := range rim {
		if _, ok := to[v]; ok {
			continue
		}
		p := k.m.Vertex(v)
		g.near(p, tol, func(w uint32) {
			if w > v {
				if _, ok := to[w]; !ok && p.Dist(k.m.Vertex(w)) <= tol {
					to[w] = v
				}
			}
		})
	}
	if len(to) == 0 {
		return 0
	}
	for i, v := range k.m.Tri {
		if w, ok := to[v]; ok {
			k.m.Tri[i] = w
		}
	}
	k.dropDegenerate()
	return len(to)
}

// splitEdges inserts boundary vertices into the boundary edges they lie on.
func (k *mender) splitEdges(t *Topology, tol float64) int {
	half, rim := k.m.rim(t)
	size := 0.0
	for _, h := range half {
		size += k.m.Vertex(k.m.From(h)).Dist(k.m.Vertex(k.m.To(h)))
	}
	if len(half) == 0 || size == 0 {
		return 0
	}
	g := newHashGrid(k.m, rim, max(size/float64(len(half)), 4*tol))
	type hit struct {
		v uint32
		s float64
	}
	inside := make(map[uint32][]uint32) // vertices to insert, in order along the half-edge
	for _, h := range half {
		a, b := k.m.Vertex(k.m.From(h)), k.m.Vertex(k.m.To(h))
		d := b.Sub(a)
		l := d.Norm()
		if l <= 2*tol {
			continue
		}
		apex := k.m.Tri[prev(h)]
		var on []hit
		g.along(a, b, tol, func(v uint32) {
			if v == k.m.From(h) || v == k.m.To(h) || v == apex {
				return
			}
			p := k.m.Vertex(v).Sub(a)
			s := p.Dot(d) / l
			if s > tol && s < l-tol && p.Sub(d.Mul(s/l)).Norm() <= tol {
				on = append(on, hit{v, s})
			}
		})
		slices.SortFunc(on, func(p, q hit) int {
			if p.s != q.s {
				if p.s < q.s {
					return -1
				}
				return 1
			}
			return int(int64(p.v) - int64(q.v))
		})
		for _, o := range on {
			if l := inside[h]; len(l) == 0 || l[len(l)-1] != o.v {
				inside[h] = append(inside[h], o.v)
			}
		}
	}
	if len(inside) == 0 {
		return 0
	}
	// Each facet becomes a fan about the corner opposite its first split edge; what remains to be split lies on outer edges of the fan.
	var cut func(a, b, c uint32, ab, bc, ca []uint32, src int32)
	cut = func(a, b, c uint32, ab, bc, ca []uint32, src int32) {
		switch {
		case len(ab) > 0:
			last := len(ab) - 1
			cut(a, ab[0], c, nil, nil, ca, src)
			for i := range last {
				k.add(ab[i], ab[i+1], c, src)
			}
			cut(ab[last], b, c, nil, bc, nil, src)
		case len(bc) > 0:
			cut(b, c, a, bc, ca, nil, src)
		case len(ca) > 0:
			cut(c, a, b, ca, nil, nil, src)
		default:
			k.add(a, b, c, src)
		}
	}
	tri, src := k.m.Tri, k.src
	k.m.Tri = make([]uint32, 0, len(tri)+3*len(inside))
	k.src = make([]int32, 0, len(src)+len(inside))
	n := 0
	for f := range uint32(len(src)) {
		ab, bc, ca := inside[3*f], inside[3*f+1], inside[3*f+2]
		for _, l := range [][]uint32{ab, bc, ca} {
			if len(l) > 0 {
				n++
			}
		}
		cut(tri[3*f], tri[3*f+1], tri[3*f+2], ab, bc, ca, src[f])
	}
	return n
}

// add appends a facet, unless it uses a vertex twice (a facet without area may be split twice at one vertex).
func (k *mender) add(a, b, c uint32, src int32) {
	if a == b || b == c || c == a {
		return
	}
	k.m.Tri = append(k.m.Tri, a, b, c)
	k.src = append(k.src, src)
}

// hashGrid files vertices by cube-shaped cells.
type hashGrid struct {
	m    *Mesh
	cell float64
	at   map[[3]int64][]uint32
}

func newHashGrid(m *Mesh, list []uint32, cell float64) *hashGrid {
	g := &hashGrid{m, cell, make(map[[3]int64][]uint32)}
	for _, v := range list {
		k := g.key(m.Vertex(v))
		g.at[k] = append(g.at[k], v)
	}
	return g
}

func (g *hashGrid) key(p r3.Vec) [3]int64 {
	return [3]int64{int64(math.Floor(p.X / g.cell)), int64(math.Floor(p.Y / g.cell)), int64(math.Floor(p.Z / g.cell))}
}

// near visits all vertices within tol of p, and some others.
func (g *hashGrid) near(p r3.Vec, tol float64, visit func(v uint32)) {
	t := r3.Vec{X: tol, Y: tol, Z: tol}
	lo, hi := g.key(p.Sub(t)), g.key(p.Add(t))
	for x := lo[0]; x <= hi[0]; x++ {
		for y := lo[1]; y <= hi[1]; y++ {
			for z := lo[2]; z <= hi[2]; z++ {
				for _, v := range g.at[[3]int64{x, y, z}] {
					visit(v)
				}
			}
		}
	}
}

// along visits all vertices within tol of the segment from a to b at least once, and some others.
func (g *hashGrid) along(a, b r3.Vec, tol float64, visit func(v uint32)) {
	n := int(a.Dist(b)/g.cell) + 1
	seen := make(map[[3]int64]bool, 8*n)
	for i := range n { // the cells of the box of each stretch, a cell long
		p, q := a.Add(b.Sub(a).Mul(float64(i)/float64(n))), a.Add(b.Sub(a).Mul(float64(i+1)/float64(n)))
		t := r3.Vec{X: tol, Y: tol, Z: tol}
		box := r3.EmptyBox().Add(p).Add(q)
		lo, hi := g.key(box.Min.Sub(t)), g.key(box.Max.Add(t))
		for x := lo[0]; x <= hi[0]; x++ {
			for y := lo[1]; y <= hi[1]; y++ {
				for z := lo[2]; z <= hi[2]; z++ {
					c := [3]int64{x, y, z}
					if l := g.at[c]; len(l) > 0 && !seen[c] {
						seen[c] = true
						for _, v := range l {
							visit(v)
						}
					}
				}
			}
		}
	}
}

// WeldWithin is m with vertices closer than tol mm made one, each taking the place of the first of its group in vertex order; what becomes
// degenerate is dropped. Groups do not chain: a vertex joins the first earlier one within reach that stands for itself. m is not changed.
func WeldWithin(m *Mesh, tol float64) *Mesh {
	if !(tol > 0) {
		return m.Clone()
	}
	to := make([]uint32, m.Vertices())
	g := &hashGrid{m, 2 * tol, make(map[[3]int64][]uint32)}
	for v := range to {
		p := m.Vertex(uint32(v))
		best := uint32(v)
		g.near(p, tol, func(w uint32) {
			if w < best && p.Dist(m.Vertex(w)) <= tol {
				best = w
			}
		})
		to[v] = best
		if best == uint32(v) {
			k := g.key(p)
			g.at[k] = append(g.at[k], best)
		}
	}
	out := &Mesh{Pos: m.Pos, Tri: make([]uint32, 0, len(m.Tri))}
	for t := m.Tri; len(t) >= 3; t = t[3:] {
		if a, b, c := to[t[0]], to[t[1]], to[t[2]]; a != b && b != c && c != a {
			out.Tri = append(out.Tri, a, b, c)
		}
	}
	return out.Pick(all(out.Facets()))
}
