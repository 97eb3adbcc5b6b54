package mesh

import (
	"math"
	"slices"

	"firstoff/geom/r3"
)

// None marks a half-edge without a mate.
const None = ^uint32(0)

// Topology says which facet lies across each edge. Half-edge h = 3·f + j runs from corner j of facet f to corner j+1.
//
// Facets that use a vertex twice have no place in it: their half-edges have no mate and are counted nowhere.
// Where more than two facets meet at an edge, those that enclose a wedge of material are mates (sorted by angle about
// the edge), so that two bodies that only touch along an edge stay two.
type Topology struct {
	Mate        []uint32 // of each half-edge, or None; the mate runs the other way except across a misoriented edge
	Edges       int      // distinct vertex pairs
	Boundary    int      // used by one facet
	NonManifold int      // used by more than two facets
	Misoriented int      // used by two facets in the same direction

	crowded [][]uint32 // the half-edges of each non-manifold edge, ascending
}

// Closed says whether every edge is used exactly twice, once in each direction. A mesh without facets is not closed.
func (t *Topology) Closed() bool {
	return t.Edges > 0 && t.Boundary == 0 && t.NonManifold == 0 && t.Misoriented == 0
}

// Solid says whether every half-edge has a mate that runs the other way: the surface encloses a volume, though bodies may
// touch along an edge. A closed mesh is solid; a solid one with non-manifold edges is not closed.
func (t *Topology) Solid() bool {
	if t.Edges == 0 || t.Boundary > 0 || t.Misoriented > 0 {
		return false
	}
	for _, g := range t.crowded {
		for _, h := range g {
			if t.Mate[h] == None {
				return false
			}
		}
	}
	return true
}

// From is the vertex where half-edge h starts, To where it ends.
func (m *Mesh) From(h uint32) uint32 { return m.Tri[h] }

// To is the vertex where half-edge h ends.
func (m *Mesh) To(h uint32) uint32 { return m.Tri[next(h)] }

// next is the following half-edge of the same facet.
func next(h uint32) uint32 {
	if h%3 == 2 {
		return h - 2
	}
	return h + 1
}

// prev is the half-edge of the same facet before h.
func prev(h uint32) uint32 {
	if h%3 == 0 {
		return h + 2
	}
	return h - 1
}

// Topology pairs the half-edges: a counting sort by lower vertex, each bucket searched as it fills.
func (m *Mesh) Topology() *Topology {
	nv, tri := m.Vertices(), m.Tri
	t := &Topology{Mate: make([]uint32, len(tri))}
	mate := t.Mate
	off := make([]uint32, nv+1)
	for q := tri; len(q) >= 3; q = q[3:] {
		a, b, c := q[0], q[1], q[2]
		if a == b || b == c || c == a {
			continue
		}
		off[min(a, b)]++
		off[min(b, c)]++
		off[min(c, a)]++
	}
	sum := uint32(0)
	for i, n := range off { // off[v] becomes the end of bucket v, and counts down to its start as the bucket fills
		sum += n
		off[i] = sum
	}
	// One slot a half-edge: the higher vertex, and the half-edge with its direction in the low bit.
	type slot struct{ hi, half uint32 }
	slots := make([]slot, sum)
	ends := make([]uint32, nv)
	copy(ends, off)
	edges, paired, mis := 0, 0, 0
	var extra [][2]uint32 // half-edge that first used the edge, further half-edge
	for h := 0; h+2 < len(tri); h += 3 {
		q := [4]uint32{tri[h], tri[h+1], tri[h+2], tri[h]}
		if q[0] == q[1] || q[1] == q[2] || q[2] == q[0] {
			mate[h], mate[h+1], mate[h+2] = None, None, None
			continue
		}
	edge:
		for j := range 3 {
			lo, hi := q[j], q[j+1]
			half := uint32(h + j)
			if lo > hi {
				lo, hi = hi, lo
			}
			at := off[lo]
			for _, s := range slots[at:ends[lo]] {
				if s.hi != hi {
					continue
				}
				first := s.half
				if mate[first] != None {
					extra = append(extra, [2]uint32{first, half})
					mate[half] = None
					continue edge
				}
				mate[first], mate[half] = half, first
				paired++
				if tri[first] == q[j] {
					mis++
				}
				continue edge
			}
			mate[half] = None
			off[lo] = at - 1
			slots[at-1] = slot{hi, half}
			edges++
		}
	}
	t.Edges, t.Misoriented = edges, mis
	t.Boundary = edges - paired
	if len(extra) > 0 {
		m.crowd(t, extra)
	}
	return t
}

// crowd settles the edges that more than two facets use.
func (m *Mesh) crowd(t *Topology, extra [][2]uint32) {
	slices.SortFunc(extra, func(a, b [2]uint32) int {
		if a[0] != b[0] {
			return int(int64(a[0]) - int64(b[0]))
		}
		return int(int64(a[1]) - int64(b[1]))
	})
	for i := 0; i < len(extra); {
		first := extra[i][0]
		second := t.Mate[first]
		if m.Tri[first] == m.Tri[second] {
			t.Misoriented--
		}
		group := []uint32{first, second}
		for ; i < len(extra) && extra[i][0] == first; i++ {
			group = append(group, extra[i][1])
		}
		slices.Sort(group)
		t.crowded = append(t.crowded, group)
		t.NonManifold++
		m.pairRadially(t, group)
	}
}

// pairRadially makes mates of the facets about one edge that bound the same wedge of material.
func (m *Mesh) pairRadially(t *Topology, group []uint32) {
	a, b := m.Vertex(m.From(group[0])), m.Vertex(m.To(group[0]))
	axis := b.Sub(a).Unit()
	var u, v r3.Vec
	type leaf struct {
		half  uint32
		angle float64
		up    bool // runs from a to b
	}
	leaves := make([]leaf, len(group))
	for i, h := range group {
		t.Mate[h] = None
		d := m.Vertex(m.Tri[prev(h)]).Sub(a)
		d = d.Sub(axis.Mul(d.Dot(axis)))
		if i == 0 {
			u = d.Unit()
			v = axis.Cross(u)
		}
		ang := math.Atan2(d.Dot(v), d.Dot(u))
		if ang < 0 {
			ang += 2 * math.Pi
		}
		leaves[i] = leaf{h, ang, m.From(h) == m.From(group[0])}
	}
	// A facet whose half-edge runs along the axis has its material on the side of falling angle: the outward normal of
	// (a, b, apex) is axis × direction. So going round by rising angle, material begins at a "down" facet and ends at an "up" one.
	slices.SortStableFunc(leaves, func(p, q leaf) int {
		switch {
		case p.angle < q.angle:
			return -1
		case p.angle > q.angle:
			return 1
		case p.up != q.up: // coincident facets: end the material before it begins again
			if p.up {
				return -1
			}
			return 1
		}
		return int(int64(p.half) - int64(q.half))
	})
	// Match like brackets on a ring: a "down" opens, the next "up" closes.
	n := len(leaves)
	var open []int
	matched := make([]bool, n)
	for k := range 2 * n {
		i := k % n
		if matched[i] {
			continue
		}
		if !leaves[i].up {
			if k < n {
				open = append(open, i)
			}
		} else if len(open) > 0 {
			j := open[len(open)-1]
			open = open[:len(open)-1]
			matched[i], matched[j] = true, true
			t.Mate[leaves[i].half], t.Mate[leaves[j].half] = leaves[j].half, leaves[i].half
		}
	}
}

// Components counts the pieces that hang together by shared vertices, and gives each facet the number of its piece;
// pieces are numbered in order of their first facet.
func (m *Mesh) Components() (n int, of []uint32) {
	par := m.union()
	of = make([]uint32, m.Facets())
	num := make([]uint32, len(par))
	for f := range of {
		r := root(par, m.Tri[3*f])
		if num[r] == 0 {
			n++
			num[r] = uint32(n)
		}
		of[f] = num[r] - 1
	}
	return n, of
}

// Bodies counts the pieces that hang together by shared vertices: what Components counts, without naming facets.
func (m *Mesh) Bodies() int {
	par := m.union()
	used := make([]bool, len(par))
	for _, v := range m.Tri {
		used[v] = true
	}
	n := 0
	for v, p := range par {
		if used[v] && p == uint32(v) {
			n++
		}
	}
	return n
}

func (m *Mesh) union() []uint32 {
	par := make([]uint32, m.Vertices())
	for i := range par {
		par[i] = uint32(i)
	}
	for q := m.Tri; len(q) >= 3; q = q[3:] {
		a, b, c := root(par, q[0]), root(par, q[1]), root(par, q[2])
		r := min(a, b, c)
		par[a], par[b], par[c] = r, r, r
	}
	return par
}

func root(par []uint32, x uint32) uint32 {
	for {
		p := par[x]
		if p == x {
			return x
		}
		g := par[p]
		par[x] = g
		x = g
	}
}
