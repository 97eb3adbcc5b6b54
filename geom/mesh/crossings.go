package mesh

import (
	"math"
	"math/bits"
	"slices"
	"sync/atomic"

	"firstoff/geom/cores"
	"firstoff/geom/r3"
)

// Crossings are the pairs of facets that meet where they should not: that share no vertex and meet, or that share vertices and
// overlap beyond them. Facets that only touch count. Facets without area and facets on the same three vertices are left to the
// other defects. Every decision is exact.
type Crossings struct {
	Pairs [][2]uint32 // lower facet first, ascending
	Touch []bool      // the pair only touches or lies in one plane: neither facet has corners strictly on both sides of the other
	More  bool        // the search ended at its limit; there are more
}

// MaxCrossings is how many pairs Check looks for.
const MaxCrossings = 1 << 20

func (r *Report) addCrossings(m *Mesh, t *Topology) {
	r.Crossings = m.crossings(t, MaxCrossings)
	r.CrossingsLooked = true
	p := m.shellsOf(t)
	for i, q := range r.Crossings.Pairs {
		r.Places.Crossing = append(r.Places.Crossing, q[0], q[1])
		a, b := int(p.of[q[0]]), int(p.of[q[1]])
		switch {
		case a == b:
		case r.Crossings.Touch[i]:
			r.touch(a, b)
		default:
			r.Shells[a].Crosses = insert(r.Shells[a].Crosses, b)
			r.Shells[b].Crosses = insert(r.Shells[b].Crosses, a)
		}
	}
	r.Places.Crossing = uniq(r.Places.Crossing)
	r.Places.Crossing = r.Places.Crossing[:min(len(r.Places.Crossing), MaxPlaces)]
	for s := range r.Shells { // what crosses does not merely touch
		sh := &r.Shells[s]
		sh.Touches = slices.DeleteFunc(sh.Touches, func(o int) bool {
			_, ok := slices.BinarySearch(sh.Crosses, o)
			return ok
		})
	}
}

// Crossings finds up to limit pairs of facets that meet where they should not. With one core or many the answer is the same,
// unless it was cut at the limit.
func (m *Mesh) Crossings(limit int) Crossings { return m.crossings(m.Topology(), limit) }

func (m *Mesh) crossings(t *Topology, limit int) Crossings {
	j := &joiner{m: m, flat: m.flatFans(t), limit: int64(limit)}
	trees := j.plant()
	type task struct {
		a, b   *boxes
		la, lb int
		x, y   int
	}
	var tasks []task
	for i, a := range trees {
		// A tree with itself: its nodes of some level each with itself and with each later one.
		top := len(a.level) - 1
		for top > 0 && len(a.level[top]) < 48 {
			top--
		}
		n := len(a.level[top])
		for x := range n {
			for y := x; y < n; y++ {
				if a.level[top][x].meets(a.level[top][y]) {
					tasks = append(tasks, task{a, a, top, top, x, y})
				}
			}
		}
		for _, b := range trees[i+1:] {
			lb := len(b.level) - 1
			for x := range n {
				tasks = append(tasks, task{a, b, top, lb, x, 0})
			}
		}
	}
	lists := make([][]crossing, len(tasks))
	cores.Each(len(tasks), 1, func(_, from, to int) {
		for k := from; k < to; k++ {
			q := tasks[k]
			w := joinWork{joiner: j}
			if q.a == q.b && q.x == q.y {
				w.self(q.a, q.la, q.x)
			} else {
				w.pair(q.a, q.la, q.x, q.b, q.lb, q.y)
			}
			lists[k] = w.found
		}
	})
	all := slices.Concat(lists...)
	slices.SortFunc(all, func(a, b crossing) int { return slices.Compare(a.pair[:], b.pair[:]) })
	var c Crossings
	c.More = len(all) > limit
	for _, f := range all[:min(len(all), limit)] {
		c.Pairs = append(c.Pairs, f.pair)
		c.Touch = append(c.Touch, f.touch)
	}
	return c
}

type crossing struct {
	pair  [2]uint32
	touch bool
}

// cube is a box on a grid of 2^16 cells a side, three numbers to a word with a bit to spare between them.
type cubeBox struct{ lo, hi uint64 }

const guard = 1<<16 | 1<<37 | 1<<58

func pack(x, y, z uint32) uint64 { return uint64(x) | uint64(y)<<21 | uint64(z)<<42 }

// meets compares all three axes at once: no borrow may take away a guard bit.
func (a cubeBox) meets(b cubeBox) bool {
	return ((a.hi|guard)-b.lo)&((b.hi|guard)-a.lo)&guard == guard
}

func (a cubeBox) join(b cubeBox) cubeBox {
	var lo, hi uint64
	for s := 0; s < 63; s += 21 {
		lo |= min(a.lo>>s&0xffff, b.lo>>s&0xffff) << s
		hi |= max(a.hi>>s&0xffff, b.hi>>s&0xffff) << s
	}
	return cubeBox{lo, hi}
}

// boxes is a tree over facets in space-filling order: level 0 their own boxes, each higher level the boxes of four of the level below.
type boxes struct {
	id    []uint32
	level [][]cubeBox
}

type joiner struct {
	m     *Mesh
	flat  []bool // vertices whose fan cannot overlap itself
	limit int64
	total atomic.Int64
}

// plant makes one tree for each class of facet size, so that a few large facets do not spoil the boxes of many small ones.
func (j *joiner) plant() []*boxes {
	m := j.m
	n := m.Facets()
	box := m.Box()
	size := box.Size()
	largest := max(size.X, size.Y, size.Z)
	if n == 0 || largest == 0 {
		return nil
	}
	scale := 65000 / largest
	cube := make([]cubeBox, n)
	width := make([]uint16, n)
	cores.Each(n, 1<<14, func(_, from, to int) {
		pos, tri := m.Pos, m.Tri
		for f := from; f < to; f++ {
			i, k, l := 3*uint(tri[3*f]), 3*uint(tri[3*f+1]), 3*uint(tri[3*f+2])
			p, q, r := pos[i:i+3:i+3], pos[k:k+3:k+3], pos[l:l+3:l+3]
			var lo, hi [3]uint32
			w := uint32(0)
			for x, o := range [3]float64{box.Min.X, box.Min.Y, box.Min.Z} {
				// The map to cells is monotone, so boxes that meet in space meet on the grid.
				a, b, c := uint32((float64(p[x])-o)*scale), uint32((float64(q[x])-o)*scale), uint32((float64(r[x])-o)*scale)
				lo[x], hi[x] = min(a, b, c), max(a, b, c)
				w = max(w, hi[x]-lo[x])
			}
			cube[f] = cubeBox{pack(lo[0], lo[1], lo[2]), pack(hi[0], hi[1], hi[2])}
			width[f] = uint16(w)
		}
	})
	// Classes: up to four times the median, and each eight times the one before.
	var count [17]int
	for _, w := range width {
		count[bits.Len16(w)]++
	}
	median, below := 0, 0
	for below+count[median] <= n/2 {
		below += count[median]
		median++
	}
	class := func(w uint16) int { return max(bits.Len16(w)-median, 0) / 3 }
	keys := make([][]uint64, 7)
	for f := range cube {
		if j.skip(uint32(f)) {
			continue
		}
		b := &cube[f]
		var c [3]uint32
		for x := range c {
			c[x] = uint32(b.lo>>(21*x)&0xffff+b.hi>>(21*x)&0xffff) >> 7 // ten bits of the centre
		}
		k := class(width[f])
		keys[k] = append(keys[k], uint64(spread(c[0])|spread(c[1])<<1|spread(c[2])<<2)<<32|uint64(f))
	}
	var trees []*boxes
	for _, k := range keys {
		if len(k) == 0 {
			continue
		}
		k = radix(k)
		t := &boxes{id: make([]uint32, len(k))}
		l := make([]cubeBox, len(k))
		for i, v := range k {
			t.id[i] = uint32(v)
			l[i] = cube[uint32(v)]
		}
		t.level = append(t.level, l)
		for len(l) > 1 {
			up := make([]cubeBox, (len(l)+3)/4)
			for i := range up {
				b := l[4*i]
				for _, c := range l[4*i+1 : min(4*i+4, len(l))] {
					b = b.join(c)
				}
				up[i] = b
			}
			t.level = append(t.level, up)
			l = up
		}
		trees = append(trees, t)
	}
	return trees
}

// skip says whether a facet takes no part.
func (j *joiner) skip(f uint32) bool { return j.m.degenerate(f) || j.m.flat(f) }

// spread puts two zero bits before each of the ten bits of v.
func spread(v uint32) uint32 {
	v = (v | v<<16) & 0x030000ff
	v = (v | v<<8) & 0x0300f00f
	v = (v | v<<4) & 0x030c30c3
	return (v | v<<2) & 0x09249249
}

// radix sorts by the upper 30 of bits 32..61.
func radix(key []uint64) []uint64 {
	tmp := make([]uint64, len(key))
	for sh := 32; sh < 62; sh += 10 {
		var count [1024]int
		for _, k := range key {
			count[k>>sh&1023]++
		}
		sum := 0
		for i, c := range count {
			count[i] = sum
			sum += c
		}
		for _, k := range key {
			c := &count[k>>sh&1023]
			tmp[*c] = k
			*c++
		}
		key, tmp = tmp, key
	}
	return key
}

type joinWork struct {
	*joiner
	found []crossing
}

// self tries all pairs within node x.
func (w *joinWork) self(t *boxes, level, x int) {
	if level == 0 || w.total.Load() > w.limit {
		return
	}
	below := t.level[level-1]
	from, to := 4*x, min(4*x+4, len(below))
	for a := from; a < to; a++ {
		w.self(t, level-1, a)
		for b := a + 1; b < to; b++ {
			if below[a].meets(below[b]) {
				w.pair(t, level-1, a, t, level-1, b)
			}
		}
	}
}

// pair tries all pairs of a facet of one node and a facet of the other.
func (w *joinWork) pair(s *boxes, ls, x int, t *boxes, lt, y int) {
	if ls == 0 && lt == 0 {
		w.facets(s.id[x], t.id[y])
		return
	}
	if w.total.Load() > w.limit {
		return
	}
	if ls > lt {
		below := s.level[ls-1]
		b := t.level[lt][y]
		for a := 4 * x; a < min(4*x+4, len(below)); a++ {
			if below[a].meets(b) {
				w.pair(s, ls-1, a, t, lt, y)
			}
		}
		return
	}
	if lt > ls {
		below := t.level[lt-1]
		b := s.level[ls][x]
		for a := 4 * y; a < min(4*y+4, len(below)); a++ {
			if below[a].meets(b) {
				w.pair(s, ls, x, t, lt-1, a)
			}
		}
		return
	}
	bx, by := s.level[ls][x], t.level[lt][y]
	cs, ct := s.level[ls-1], t.level[lt-1]
	var near [4]int
	n := 0
	for b := 4 * y; b < min(4*y+4, len(ct)); b++ {
		if ct[b].meets(bx) {
			near[n&3] = b
			n++
		}
	}
	if n == 0 {
		return
	}
	for a := 4 * x; a < min(4*x+4, len(cs)); a++ {
		if !cs[a].meets(by) {
			continue
		}
		for i := range n {
			b := near[i&3]
			if !cs[a].meets(ct[b]) {
				continue
			}
			if ls == 1 {
				w.facets(s.id[a], t.id[b])
			} else {
				w.pair(s, ls-1, a, t, lt-1, b)
			}
		}
	}
}

// facets decides a pair whose boxes meet.
func (w *joinWork) facets(f, g uint32) {
	p, q := w.m.Tri[3*f:3*f+3:3*f+3], w.m.Tri[3*g:3*g+3:3*g+3]
	p0, p1, p2 := p[0], p[1], p[2]
	q0, q1, q2 := q[0], q[1], q[2]
	touch := true
	if p0 != q0 && p0 != q1 && p0 != q2 && p1 != q0 && p1 != q1 && p1 != q2 && p2 != q0 && p2 != q1 && p2 != q2 {
		m := w.m
		if !meet(m.Vertex(p0), m.Vertex(p1), m.Vertex(p2), m.Vertex(q0), m.Vertex(q1), m.Vertex(q2), &touch) {
			return
		}
	} else if !w.sharing(p, q, &touch) {
		return
	}
	if f > g {
		f, g = g, f
	}
	w.found = append(w.found, crossing{[2]uint32{f, g}, touch})
	w.total.Add(1)
}

// sharing decides a pair that shares vertices.
func (w *joinWork) sharing(p, q []uint32, touch *bool) bool {
	var at [3]int // place in q of each corner of p, or -1
	n := 0
	for i, v := range p {
		at[i] = slices.Index(q, v)
		if at[i] >= 0 {
			if w.flat[v] {
				return false
			}
			n++
		}
	}
	m := w.m
	switch n {
	case 1:
		i := 0
		for at[i] < 0 {
			i++
		}
		j := at[i]
		a := [3]r3.Vec{m.Vertex(p[i]), m.Vertex(p[(i+1)%3]), m.Vertex(p[(i+2)%3])}
		b := [3]r3.Vec{m.Vertex(q[j]), m.Vertex(q[(j+1)%3]), m.Vertex(q[(j+2)%3])}
		return stabs(a[1], a[2], b[0], b[1], b[2], touch) || stabs(b[1], b[2], a[0], a[1], a[2], touch)
	case 2:
		i := 0
		for at[i] >= 0 {
			i++
		}
		u, v := m.Vertex(p[(i+1)%3]), m.Vertex(p[(i+2)%3])
		return folded(u, v, m.Vertex(p[i]), m.Vertex(q[3-at[(i+1)%3]-at[(i+2)%3]]))
	}
	return false // the same three vertices: a duplicate
}

// flatFans marks the vertices whose facets, seen along some direction, lie side by side around it: no two of them can overlap.
//
// With d the sum of their normals, that is so if every facet faces d, the fan is closed (no edge at the vertex is open, crowded or misoriented)
// and the facets go round once. Rounding can only lose marks: the facing is asked with a margin, and how often the facets go round
// is counted by the sign of e·(d×axis), which is exact or leaves the vertex unmarked.
func (m *Mesh) flatFans(t *Topology) []bool {
	nv, nf := m.Vertices(), m.Facets()
	flat := make([]bool, nv)
	dir := make([][3]float32, nv)
	round := make([]uint8, nv)
	for f := range nf {
		a, b, c := m.Tri[3*f], m.Tri[3*f+1], m.Tri[3*f+2]
		p, q, r := m.Vertex(a), m.Vertex(b), m.Vertex(c)
		n := q.Sub(p).Cross(r.Sub(p))
		// Unit length, so that small facets count as much as large ones; its rounding does not matter.
		l := n.Norm2()
		if l == 0 {
			continue
		}
		s := 1 / math.Sqrt(l)
		x, y, z := float32(n.X*s), float32(n.Y*s), float32(n.Z*s)
		for _, v := range [3]uint32{a, b, c} {
			d := &dir[v]
			d[0], d[1], d[2] = d[0]+x, d[1]+y, d[2]+z
		}
	}
	const lost = 200
	for f := range nf {
		v := [3]uint32{m.Tri[3*f], m.Tri[3*f+1], m.Tri[3*f+2]}
		p := [3]r3.Vec{m.Vertex(v[0]), m.Vertex(v[1]), m.Vertex(v[2])}
		n := p[1].Sub(p[0]).Cross(p[2].Sub(p[0]))
		for c := range 3 {
			k := round[v[c]]
			if k == lost {
				continue
			}
			d := &dir[v[c]]
			dx, dy, dz := float64(d[0]), float64(d[1]), float64(d[2])
			e, g := p[(c+1)%3].Sub(p[c]), p[(c+2)%3].Sub(p[c])
			size := (math.Abs(e.X) + math.Abs(e.Y) + math.Abs(e.Z)) * (math.Abs(g.X) + math.Abs(g.Y) + math.Abs(g.Z)) * (math.Abs(dx) + math.Abs(dy) + math.Abs(dz))
			if !(n.X*dx+n.Y*dy+n.Z*dz > 1e-12*size) {
				round[v[c]] = lost
				continue
			}
			// d × an axis that is not near d.
			var a1, a2, b1, b2 float64
			if math.Abs(dx) <= math.Abs(dz) {
				a1, a2, b1, b2 = e.Y*dz, e.Z*dy, g.Y*dz, g.Z*dy
			} else {
				a1, a2, b1, b2 = e.X*dy, e.Y*dx, g.X*dy, g.Y*dx
			}
			a, b := a1-a2, b1-b2
			if unsure(a, a1, a2) || unsure(b, b1, b2) {
				round[v[c]] = lost
			} else if a <= 0 && b > 0 {
				round[v[c]] = k + 1
			}
		}
	}
	for v := range flat {
		flat[v] = round[v] == 1
	}
	for h, o := range t.Mate {
		if o == None || m.Tri[o] == m.Tri[h] {
			flat[m.Tri[h]], flat[m.Tri[next(uint32(h))]] = false, false
		}
	}
	for _, g := range t.crowded {
		flat[m.From(g[0])], flat[m.To(g[0])] = false, false
	}
	return flat
}

// unsure says whether the sign of d = p - q may be wrong by the rounding of p and q.
func unsure(d, p, q float64) bool {
	if d == 0 {
		return p != 0
	}
	return math.Abs(d) < 1e-15*(math.Abs(p)+math.Abs(q))
}
