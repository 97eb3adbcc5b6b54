package unite

import (
	"errors"
	"math"
)

// tess is a triangulation of points in a plane, within three points far outside. Triangles turn left.
type tess struct {
	p     []point
	u, v  int
	tri   [][3]int32
	nb    [][3]int32 // across the edge from corner i to i+1, or -1
	fixed [][3]bool  // that edge is wanted
	at    []int32    // some triangle at each point
	last  int32
}

var errPlane = errors.New("the triangles of a plane do not come out")

func newTess(c *cutter, used []int32, u, v int) *tess {
	n := int32(len(used))
	t := &tess{p: make([]point, n+3), u: u, v: v, at: make([]int32, n+3)}
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for i, id := range used {
		t.p[i] = c.pts[id]
		for k, x := range [2]int{u, v} {
			lo[k], hi[k] = min(lo[k], t.p[i].f[x]), max(hi[k], t.p[i].f[x])
		}
	}
	r := math.Ceil(max(hi[0]-lo[0], hi[1]-lo[1])) + 2
	x, y := math.Floor(lo[0]), math.Floor(lo[1])
	for i, o := range [3][2]float64{{x - 3*r, y - 2*r}, {x + 4*r, y - 2*r}, {x, y + 4*r}} {
		t.p[n+int32(i)].f[u], t.p[n+int32(i)].f[v] = o[0], o[1]
	}
	t.tri, t.nb, t.fixed = [][3]int32{{n, n + 1, n + 2}}, [][3]int32{{-1, -1, -1}}, make([][3]bool, 1)
	return t
}

func (t *tess) turn(a, b, c int32) int { return turn(&t.p[a], &t.p[b], &t.p[c], t.u, t.v) }

// insert adds a point that lies within the three outer ones and on no other.
func (t *tess) insert(p int32) error {
	k, s, ok := t.find(p)
	if !ok {
		return errPlane
	}
	for i := range 3 {
		if s[i] == 0 {
			if s[(i+1)%3] == 0 || s[(i+2)%3] == 0 || t.nb[k][i] < 0 {
				return errPlane // on a corner, or outside
			}
			t.splitEdge(k, i, p)
			return nil
		}
	}
	a, b, c := t.tri[k][0], t.tri[k][1], t.tri[k][2]
	n := t.nb[k]
	k1, k2 := t.grow(), t.grow()
	t.set(k, [3]int32{a, b, p}, [3]int32{n[0], k1, k2})
	t.set(k1, [3]int32{b, c, p}, [3]int32{n[1], k2, k})
	t.set(k2, [3]int32{c, a, p}, [3]int32{n[2], k, k1})
	t.link(n[1], k, k1)
	t.link(n[2], k, k2)
	t.settle(p, k, k1, k2)
	return nil
}

// find walks to the triangle that holds p, and gives the turns of p along its edges.
func (t *tess) find(p int32) (k int32, s [3]int, ok bool) {
	k = t.last
walk:
	for step := 0; step < len(t.tri)+16; step++ {
		for j := range 3 {
			i := (j + step) % 3
			if s[i] = t.turn(t.tri[k][i], t.tri[k][(i+1)%3], p); s[i] < 0 {
				if k = t.nb[k][i]; k < 0 {
					return 0, s, false
				}
				continue walk
			}
		}
		return k, s, true
	}
	for k := range int32(len(t.tri)) { // the walk went round in circles
		ok := true
		for i := range 3 {
			s[i] = t.turn(t.tri[k][i], t.tri[k][(i+1)%3], p)
			ok = ok && s[i] >= 0
		}
		if ok {
			return k, s, true
		}
	}
	return 0, s, false
}

func (t *tess) grow() int32 {
	t.tri, t.nb, t.fixed = append(t.tri, [3]int32{}), append(t.nb, [3]int32{}), append(t.fixed, [3]bool{})
	return int32(len(t.tri) - 1)
}

func (t *tess) set(k int32, v, nb [3]int32) {
	t.tri[k], t.nb[k] = v, nb
	for _, p := range v {
		t.at[p] = k
	}
	t.last = k
}

// link makes new the neighbour of k where old was.
func (t *tess) link(k, old, new int32) {
	if k < 0 {
		return
	}
	for i := range 3 {
		if t.nb[k][i] == old {
			t.nb[k][i] = new
			return
		}
	}
}

// across is the place in k's neighbour over edge i of the edge they share.
func (t *tess) across(k int32, i int) (o int32, j int) {
	o = t.nb[k][i]
	if o < 0 {
		return o, 0
	}
	for j = range 3 {
		if t.tri[o][j] == t.tri[k][(i+1)%3] {
			return o, j
		}
	}
	return -1, 0
}

// splitEdge puts p on edge i of triangle k. No edges are fixed yet.
func (t *tess) splitEdge(k int32, i int, p int32) {
	o, j := t.across(k, i)
	a, b, c, d := t.tri[k][i], t.tri[k][(i+1)%3], t.tri[k][(i+2)%3], t.tri[o][(j+2)%3]
	nbc, nca := t.nb[k][(i+1)%3], t.nb[k][(i+2)%3]
	nad, ndb := t.nb[o][(j+1)%3], t.nb[o][(j+2)%3]
	k1, k2 := t.grow(), t.grow()
	t.set(k, [3]int32{c, a, p}, [3]int32{nca, k2, k1})
	t.set(k1, [3]int32{b, c, p}, [3]int32{nbc, k, o})
	t.set(o, [3]int32{d, b, p}, [3]int32{ndb, k1, k2})
	t.set(k2, [3]int32{a, d, p}, [3]int32{nad, o, k})
	t.link(nbc, k, k1)
	t.link(nad, o, k2)
	t.settle(p, k, k1, o, k2)
}

// settle turns edges opposite a new point until none is better turned. The point is the last corner of each triangle given.
func (t *tess) settle(p int32, todo ...int32) {
	for n := 0; len(todo) > 0 && n < 10*len(t.tri)+100; n++ {
		k := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		i := 0
		for i < 3 && t.tri[k][(i+2)%3] != p {
			i++
		}
		if i == 3 || !t.better(k, i) {
			continue
		}
		o, _ := t.across(k, i)
		t.flip(k, i)
		todo = append(todo, k, o)
	}
}

// better says that the other diagonal of the two triangles at edge i of k is possible and gives rounder triangles.
func (t *tess) better(k int32, i int) bool {
	o, j := t.across(k, i)
	if o < 0 || t.fixed[k][i] {
		return false
	}
	a, b, c, d := t.tri[k][i], t.tri[k][(i+1)%3], t.tri[k][(i+2)%3], t.tri[o][(j+2)%3]
	return t.round(a, b, c, d) && t.turn(c, d, a)*t.turn(c, d, b) < 0
}

// round says that d lies clearly in the circle through a, b, c. Rounded: only the shape of triangles hangs on it.
func (t *tess) round(a, b, c, d int32) bool {
	o := &t.p[d]
	rel := func(q int32) (x, y, s float64) {
		x, y = t.p[q].f[t.u]-o.f[t.u], t.p[q].f[t.v]-o.f[t.v]
		return x, y, x*x + y*y
	}
	ax, ay, as := rel(a)
	bx, by, bs := rel(b)
	cx, cy, cs := rel(c)
	det := as*(bx*cy-by*cx) - bs*(ax*cy-ay*cx) + cs*(ax*by-ay*bx)
	size := as*(math.Abs(bx*cy)+math.Abs(by*cx)) + bs*(math.Abs(ax*cy)+math.Abs(ay*cx)) + cs*(math.Abs(ax*by)+math.Abs(ay*bx))
	return det > 1e-9*size
}

// flip exchanges the diagonal of the two triangles at edge i of k.
func (t *tess) flip(k int32, i int) {
	o, j := t.across(k, i)
	a, b, c, d := t.tri[k][i], t.tri[k][(i+1)%3], t.tri[k][(i+2)%3], t.tri[o][(j+2)%3]
	nbc, nca := t.nb[k][(i+1)%3], t.nb[k][(i+2)%3]
	nad, ndb := t.nb[o][(j+1)%3], t.nb[o][(j+2)%3]
	fbc, fca := t.fixed[k][(i+1)%3], t.fixed[k][(i+2)%3]
	fad, fdb := t.fixed[o][(j+1)%3], t.fixed[o][(j+2)%3]
	t.set(k, [3]int32{a, d, c}, [3]int32{nad, o, nca})
	t.set(o, [3]int32{d, b, c}, [3]int32{ndb, nbc, k})
	t.fixed[k], t.fixed[o] = [3]bool{fad, false, fca}, [3]bool{fdb, fbc, false}
	t.link(nad, o, k)
	t.link(nbc, k, o)
}

// edge finds the triangle with the edge from a to b.
func (t *tess) edge(a, b int32) (k int32, i int, ok bool) {
	if k, i, ok = t.around(a, b, 2); !ok { // the fan of an outer point has ends
		k, i, ok = t.around(a, b, 0)
	}
	return k, i, ok
}

// around goes round a from triangle to triangle, to the left (2) or right (0).
func (t *tess) around(a, b int32, way int) (k int32, i int, ok bool) {
	first := t.at[a]
	for k = first; ; {
		for i = 0; t.tri[k][i] != a; i++ {
		}
		if t.tri[k][(i+1)%3] == b {
			return k, i, true
		}
		if k = t.nb[k][(i+way)%3]; k == first || k < 0 {
			return 0, 0, false
		}
	}
}

// constrain makes the line from a to b an edge. No other point and no fixed edge may lie on it.
func (t *tess) constrain(a, b int32) error {
	if k, i, ok := t.edge(a, b); ok {
		t.fix(k, i)
		return nil
	}
	// The triangle at a that the line leaves.
	k, i := t.at[a], 0
	first := k
	for {
		for i = 0; t.tri[k][i] != a; i++ {
		}
		if t.turn(a, b, t.tri[k][(i+1)%3]) < 0 && t.turn(a, b, t.tri[k][(i+2)%3]) > 0 {
			break
		}
		if k = t.nb[k][(i+2)%3]; k == first || k < 0 {
			return errPlane
		}
	}
	// The edges it crosses.
	var queue [][2]int32
	i = (i + 1) % 3
	for {
		queue = append(queue, [2]int32{t.tri[k][i], t.tri[k][(i+1)%3]})
		o, j := t.across(k, i)
		if o < 0 || t.fixed[k][i] || len(queue) > len(t.tri) {
			return errPlane
		}
		d := t.tri[o][(j+2)%3]
		if d == b {
			break
		}
		k, i = o, (j+1)%3
		switch s := t.turn(a, b, d); {
		case s < 0:
			i = (j + 2) % 3
		case s == 0:
			return errPlane
		}
	}
	for n := 0; len(queue) > 0; n++ {
		if n > 100+len(t.tri)*len(t.tri) {
			return errPlane
		}
		e := queue[0]
		queue = queue[1:]
		k, i, ok := t.edge(e[0], e[1])
		if !ok {
			return errPlane
		}
		o, j := t.across(k, i)
		if o < 0 {
			return errPlane
		}
		c, d := t.tri[k][(i+2)%3], t.tri[o][(j+2)%3]
		if t.turn(c, d, e[0])*t.turn(c, d, e[1]) >= 0 {
			queue = append(queue, e)
			continue
		}
		t.flip(k, i)
		if c != a && c != b && d != a && d != b && t.turn(a, b, c)*t.turn(a, b, d) < 0 {
			queue = append(queue, [2]int32{c, d})
		}
	}
	k, i, ok := t.edge(a, b)
	if !ok {
		return errPlane
	}
	t.fix(k, i)
	return nil
}

func (t *tess) fix(k int32, i int) {
	o, j := t.across(k, i)
	t.fixed[k][i] = true
	if o >= 0 {
		t.fixed[o][j] = true
	}
}

// improve turns edges that need not stay, for rounder triangles.
func (t *tess) improve() {
	for range 8 {
		done := true
		for k := range int32(len(t.tri)) {
			for i := range 3 {
				if t.nb[k][i] > k && t.better(k, i) {
					t.flip(k, i)
					done = false
				}
			}
		}
		if done {
			return
		}
	}
}
