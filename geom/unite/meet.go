package unite

import (
	"math"
	"slices"

	"firstoff/geom/r3"
)

// cutter finds where facets meet. Corners of facets are numbers of the cloud, and whole points.
type cutter struct {
	cloud
	tri   [][3]int32
	plane map[int32]*flat
	cuts  map[[3]int32]int32 // the point of an edge (lower end first) in the plane of a facet
}

func newCutter(points int) cutter {
	n := points + points/8
	return cutter{cloud: cloud{pts: make([]point, 0, n), next: make([]int32, 0, n), at: make(map[[3]float64]int32, points)},
		plane: make(map[int32]*flat), cuts: make(map[[3]int32]int32)}
}

// corners are the three corners of facet f.
func (c *cutter) corners(f int32) (p, q, r *point) {
	t := &c.tri[f]
	return &c.pts[t[0]], &c.pts[t[1]], &c.pts[t[2]]
}

// shadow is the axis along which facet f is seen best, with the two others, and whether it faces along it (1) or against it (-1); 0 for a
// facet without area. Two axes in that order turn left seen from the end of the third.
func (c *cutter) shadow(f int32) (axis, s int) {
	p, q, r := c.corners(f)
	return shadow(p, q, r)
}

func shadow(p, q, r *point) (axis, s int) {
	n := q.vec().Sub(p.vec()).Cross(r.vec().Sub(p.vec())).Array()
	order := [3]int{0, 1, 2}
	slices.SortStableFunc(order[:], func(i, j int) int { return sign(math.Abs(n[j]) - math.Abs(n[i])) })
	for _, axis := range order {
		if s := turn(p, q, r, (axis+1)%3, (axis+2)%3); s != 0 {
			return axis, s
		}
	}
	return 0, 0
}

func (c *cutter) planeOf(f int32) *flat {
	p := c.plane[f]
	if p == nil {
		p = planeOf(c.corners(f))
		c.plane[f] = p
	}
	return p
}

// covers says whether a point of facet f's plane lies in f, its border included.
func (c *cutter) covers(f int32, axis, s int, p *point) bool {
	u, v := (axis+1)%3, (axis+2)%3
	a, b, d := c.corners(f)
	if p.f[u] < min(a.f[u], b.f[u], d.f[u]) || p.f[u] > max(a.f[u], b.f[u], d.f[u]) || p.f[v] < min(a.f[v], b.f[v], d.f[v]) || p.f[v] > max(a.f[v], b.f[v], d.f[v]) {
		return false
	}
	return turn(a, b, p, u, v)*s >= 0 && turn(b, d, p, u, v)*s >= 0 && turn(d, a, p, u, v)*s >= 0
}

// meet gives the ends of what two facets have in common: none, one or two points; coplanar facets give none.
func (c *cutter) meet(f, g int32) (ends []int32, coplanar bool) {
	sf, sg := c.sides(g, f), c.sides(f, g) // of f's corners to g, of g's to f
	if sg == [3]int{} || sf == [3]int{} {
		return nil, true
	}
	add := func(p int32) {
		if !slices.Contains(ends, p) {
			ends = append(ends, p)
		}
	}
	for _, way := range [2]struct {
		of, in int32
		s      [3]int
	}{{g, f, sg}, {f, g, sf}} {
		t := c.tri[way.of]
		for i := range 3 {
			j := (i + 1) % 3
			switch {
			case way.s[i] == 0:
				if axis, s := c.shadow(way.in); c.covers(way.in, axis, s, &c.pts[t[i]]) {
					add(t[i])
				}
			case way.s[i]*way.s[j] < 0 && c.pierced(way.in, t[i], t[j]):
				add(c.cut(t[i], t[j], way.in))
			}
		}
	}
	return ends, false
}

// pierced says whether the edge from a to b, whose ends lie on both sides of facet f's plane, passes through f, its border included: it
// turns the same way about all three edges.
func (c *cutter) pierced(f, a, b int32) bool {
	p, q := &c.pts[a], &c.pts[b]
	x, y, z := c.corners(f)
	i, j, k := side(p, q, x, y), side(p, q, y, z), side(p, q, z, x)
	return min(i, j, k) >= 0 || max(i, j, k) <= 0
}

// sides says where the corners of g lie to the plane of f.
func (c *cutter) sides(f, g int32) (s [3]int) {
	a, b, d := c.corners(f)
	for i, v := range c.tri[g] {
		s[i] = side(a, b, d, &c.pts[v])
	}
	return s
}

// cut is the point where the edge from a to b passes through the plane of facet f.
func (c *cutter) cut(a, b, f int32) int32 {
	if a > b {
		a, b = b, a
	}
	k := [3]int32{a, b, f}
	id, ok := c.cuts[k]
	if !ok {
		id = c.id(c.planeOf(f).through(&c.pts[a], &c.pts[b]))
		c.cuts[k] = id
	}
	return id
}

// wall is the plane through the edge from a to b and the direction of an axis.
func (c *cutter) wall(a, b int32, axis int) *flat {
	p, q := &c.pts[a], &c.pts[b]
	up := point{f: p.f}
	up.f[axis]++
	return planeOf(p, q, &up)
}

// area is that of the triangle on three numbered points, in cells², rounded.
func (c *cutter) area(t [3]int32) float64 {
	p := [3]r3.Vec{c.pts[t[0]].vec(), c.pts[t[1]].vec(), c.pts[t[2]].vec()}
	return p[1].Sub(p[0]).Cross(p[2].Sub(p[0])).Norm() / 2
}
