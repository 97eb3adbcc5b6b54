package mesh

import (
	"cmp"
	"slices"
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

// taken marks a filed half-edge that has its mate: there are never 2³¹ half-edges, and asking here costs less than asking for the mate.
const taken = 1 << 31

// slot is a half-edge that runs from its lower vertex to its higher one, filed under the lower.
type slot struct{ hi, half uint32 }

// Topology pairs the half-edges: those that run up are filed by lower vertex (a counting sort), those that run down look theirs up there.
func (m *Mesh) Topology() *Topology {
	nv, tri := m.Vertices(), m.Tri[:len(m.Tri)/3*3]
	t := &Topology{Mate: make([]uint32, len(tri))}
	mate := t.Mate
	for i := range mate {
		mate[i] = None
	}
	off := make([]uint32, nv+2) // off[v+1] becomes the start of v's slots, then its end
	for q := tri; len(q) >= 3; q = q[3:] {
		a, b, c := q[0], q[1], q[2]
		if a == b || b == c || c == a {
			continue
		}
		off[min(a, b)+2] += below(a, b)
		off[min(b, c)+2] += below(b, c)
		off[min(c, a)+2] += below(c, a)
	}
	sum := uint32(0)
	for i, n := range off {
		sum += n
		off[i] = sum
	}
	slots := make([]slot, sum+1) // the last one takes what is not filed
	trash := sum
	for h := 0; h+2 < len(tri); h += 3 {
		a, b, c := tri[h], tri[h+1], tri[h+2]
		if a == b || b == c || c == a {
			continue
		}
		file := func(a, b, half uint32) {
			up := below(a, b)
			lo, hi := min(a, b), max(a, b)
			at := &off[lo+1]
			k := *at
			*at = k + up
			if up == 0 {
				k = trash
			}
			slots[k] = slot{hi, half}
		}
		file(a, b, uint32(h))
		file(b, c, uint32(h+1))
		file(c, a, uint32(h+2))
	}
	// Now off[v] is the start of v's slots and off[v+1] their end. Half-edges that run down, some at a time.
	type down struct {
		lo, hi, half, from, to, first uint32
	}
	var buf [3*block + 1]down
	var extra [][2]uint32 // half-edge that first used the edge, further half-edge
	var lone []uint32     // half-edges that found nobody running up
	paired := 0
	for h := 0; h < len(tri); h += 3 * block {
		n := 0
		end := min(h+3*block, len(tri))
		for k := h; k+2 < end; k += 3 {
			a, b, c := tri[k], tri[k+1], tri[k+2]
			if a == b || b == c || c == a {
				continue
			}
			buf[n] = down{lo: b, hi: a, half: uint32(k)}
			n += int(below(b, a))
			buf[n] = down{lo: c, hi: b, half: uint32(k + 1)}
			n += int(below(c, b))
			buf[n] = down{lo: a, hi: c, half: uint32(k + 2)}
			n += int(below(a, c))
		}
		for i := range buf[:n] {
			d := &buf[i]
			d.from, d.to = off[d.lo], off[d.lo+1]
		}
		for i := range buf[:n] { // fetched here, so that the misses overlap
			d := &buf[i]
			d.first = slots[d.from].hi
		}
	half:
		for i := range buf[:n] {
			d := &buf[i]
			for k := d.from; k < d.to; k++ {
				s := &slots[k]
				if s.hi != d.hi {
					continue
				}
				if s.half&taken != 0 {
					extra = append(extra, [2]uint32{s.half &^ taken, d.half})
				} else {
					mate[s.half], mate[d.half] = d.half, s.half
					s.half |= taken
					paired++
				}
				continue half
			}
			lone = append(lone, d.half)
		}
	}
	t.Edges = int(sum) // one for each that runs up, unless several run up one edge
	if int(sum) == paired && len(extra) == 0 && len(lone) == 0 {
		return t
	}
	for i := range slots {
		slots[i].half &^= taken
	}
	m.odd(t, slots[:sum], off, extra, lone)
	return t
}

// below is 1 if a < b, else 0.
func below(a, b uint32) uint32 { return uint32((uint64(a) - uint64(b)) >> 63) }

// odd counts and settles the edges that are not used exactly once in each direction.
func (m *Mesh) odd(t *Topology, slots []slot, off []uint32, extra [][2]uint32, lone []uint32) {
	// Several that run up the same edge count as one edge, under the first of them.
	first := func(lo, hi, half uint32) uint32 {
		f := half
		for _, s := range slots[off[lo]:off[lo+1]] {
			if s.hi == hi {
				f = min(f, s.half)
			}
		}
		return f
	}
	groups := make(map[uint32][]uint32) // by a half-edge that stands for the edge: the lowest that runs up, or the lowest that runs down
	for v := range uint32(m.Vertices()) {
		for _, s := range slots[off[v]:off[v+1]] {
			if f := first(v, s.hi, s.half); f != s.half || t.Mate[s.half] == None {
				groups[f] = append(groups[f], s.half)
			}
		}
	}
	for _, e := range extra {
		f := first(m.To(e[1]), m.From(e[1]), e[0])
		groups[f] = append(groups[f], e[1])
	}
	slices.SortFunc(lone, func(a, b uint32) int {
		return cmp.Or(cmp.Compare(m.To(a), m.To(b)), cmp.Compare(m.From(a), m.From(b)), cmp.Compare(a, b))
	})
	for i := 0; i < len(lone); {
		j := i + 1
		for j < len(lone) && m.Tri[lone[j]] == m.Tri[lone[i]] && m.To(lone[j]) == m.To(lone[i]) {
			j++
		}
		groups[lone[i]] = append(groups[lone[i]], lone[i:j]...)
		t.Edges++
		i = j
	}
	keys := make([]uint32, 0, len(groups))
	for k := range groups {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	for _, k := range keys {
		g := groups[k]
		// All half-edges of the edge: those that run up, and whatever is mated with them.
		g = append(g, k)
		for _, h := range g {
			if o := t.Mate[h]; o != None {
				g = append(g, o)
			}
		}
		g = uniq(g)
		up := 0
		for _, h := range g {
			if m.From(h) < m.To(h) {
				up++
			}
		}
		if up > 1 {
			t.Edges -= up - 1
		}
		switch {
		case len(g) == 1:
			t.Boundary++
		case len(g) == 2 && up != 1:
			t.Misoriented++
			t.Mate[g[0]], t.Mate[g[1]] = g[1], g[0]
		case len(g) > 2:
			t.NonManifold++
			t.crowded = append(t.crowded, g)
			m.pairRadially(t, g)
		}
	}
}

// pairRadially makes mates of the facets about one edge that bound the same wedge of material.
func (m *Mesh) pairRadially(t *Topology, group []uint32) {
	a, b := m.Vertex(m.From(group[0])), m.Vertex(m.To(group[0]))
	// A facet whose half-edge runs along the axis has its material on the side of falling angle: the outward normal of
	// (a, b, apex) is axis × direction. So going round by rising angle, material begins at a "down" facet and ends at an "up" one.
	leaves := m.around(group, a, b.Sub(a).Unit())
	for _, h := range group {
		t.Mate[h] = None
	}
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
