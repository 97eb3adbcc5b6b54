// Package polygon cuts the polygons of mesh files into triangles.
//
// Promise: a polygon of n corners gives n-2 triangles that use its corners only, so that neighbouring polygons still meet
// edge to edge; a simple polygon, convex or not, is covered exactly once (TestConcave, TestAnyPolygon). A polygon that crosses itself
// gives n-2 triangles too, of no promised shape.
//
// Source: ear clipping, e.g. Meisters, American Mathematical Monthly 82 (1975); the plane by Newell's normal.
package polygon

import "math"

// MaxCorners is the largest concave polygon that is cut by ears, whose cost grows with the square; larger ones are cut
// as a fan.
const MaxCorners = 8192

// Cutter cuts polygons and keeps its room for the next one. Its zero value is ready.
type Cutter struct {
	x, y       []float64
	prev, next []int32
	reflex     []int32
	tri        []int32
}

// Cut appends the triangles of the polygon as triples of places in face (0…n-1). pos has three numbers a vertex, face
// names the vertices. Fewer than three corners give nothing. The result is good until the next call.
func (c *Cutter) Cut(pos []float64, face []uint32) []int32 {
	n := len(face)
	c.tri = c.tri[:0]
	switch {
	case n < 3:
		return nil
	case n == 3:
		return append(c.tri, 0, 1, 2)
	}
	c.project(pos, face)
	switch {
	case c.convex(n) || n > MaxCorners:
		c.fan(n)
	case n == 4:
		c.quad()
	default:
		c.ears(n)
	}
	return c.tri
}

func (c *Cutter) fan(n int) {
	for i := int32(1); int(i) < n-1; i++ {
		c.tri = append(c.tri, 0, i, i+1)
	}
}

// quad cuts at the corner that points inwards.
func (c *Cutter) quad() {
	if c.turn(0, 1, 2) <= 0 || c.turn(2, 3, 0) <= 0 {
		c.tri = append(c.tri, 1, 2, 3, 1, 3, 0)
		return
	}
	c.fan(4)
}

// project lays the polygon into the coordinate plane it faces most, seen so that it runs counter-clockwise.
func (c *Cutter) project(pos []float64, face []uint32) {
	var nx, ny, nz float64
	at := func(i int) (float64, float64, float64) {
		p := pos[3*face[i] : 3*face[i]+3]
		return p[0], p[1], p[2]
	}
	x0, y0, z0 := at(len(face) - 1)
	for i := range face {
		x1, y1, z1 := at(i)
		nx += (y0 - y1) * (z0 + z1)
		ny += (z0 - z1) * (x0 + x1)
		nz += (x0 - x1) * (y0 + y1)
		x0, y0, z0 = x1, y1, z1
	}
	c.x, c.y = c.x[:0], c.y[:0]
	ax, ay, az := math.Abs(nx), math.Abs(ny), math.Abs(nz)
	for i := range face {
		x, y, z := at(i)
		var u, v, w float64
		switch {
		case ax >= ay && ax >= az:
			u, v, w = y, z, nx
		case ay >= az:
			u, v, w = z, x, ny
		default:
			u, v, w = x, y, nz
		}
		if w < 0 {
			u, v = v, u
		}
		c.x, c.y = append(c.x, u), append(c.y, v)
	}
}

// turn is positive when i, j, k turn left.
func (c *Cutter) turn(i, j, k int32) float64 {
	return (c.x[j]-c.x[i])*(c.y[k]-c.y[i]) - (c.y[j]-c.y[i])*(c.x[k]-c.x[i])
}

// convex says whether no corner turns right.
func (c *Cutter) convex(n int) bool {
	a, b := int32(n-2), int32(n-1)
	for i := range int32(n) {
		if c.turn(a, b, i) < 0 {
			return false
		}
		a, b = b, i
	}
	return true
}

func (c *Cutter) ears(n int) {
	c.prev, c.next, c.reflex = c.prev[:0], c.next[:0], c.reflex[:0]
	for i := range int32(n) {
		c.prev, c.next = append(c.prev, i-1), append(c.next, i+1)
	}
	c.prev[0], c.next[n-1] = int32(n-1), 0
	for i := range int32(n) {
		if c.turn(c.prev[i], i, c.next[i]) <= 0 {
			c.reflex = append(c.reflex, i)
		}
	}
	i, left := int32(0), n
	for since := 0; left > 3; {
		p, q := c.prev[i], c.next[i]
		// After one round without an ear the polygon is not simple, or what is left is flat: take any corner that does
		// not turn right, after another round any corner at all.
		if since <= left && c.ear(p, i, q) || since > left && c.turn(p, i, q) >= 0 || since > 2*left {
			c.tri = append(c.tri, p, i, q)
			c.next[p], c.prev[q] = q, p
			left--
			since = 0
			c.forget(i)
			i = q
			continue
		}
		since++
		i = q
	}
	c.tri = append(c.tri, c.prev[i], i, c.next[i])
}

// forget takes i out of the polygon; its neighbours may have ceased to be reflex.
func (c *Cutter) forget(i int32) {
	p, q := c.prev[i], c.next[i]
	keep := c.reflex[:0]
	for _, r := range c.reflex {
		if r == i || (r == p || r == q) && c.turn(c.prev[r], r, c.next[r]) > 0 {
			continue
		}
		keep = append(keep, r)
	}
	c.reflex = keep
}

// ear says whether corner i turns left and no reflex corner lies in the triangle it would take off. A corner at the very
// place of one of the triangle's is let through: polygons with holes are drawn with such seams.
func (c *Cutter) ear(p, i, q int32) bool {
	if c.turn(p, i, q) <= 0 {
		return false
	}
	for _, r := range c.reflex {
		if r == p || r == i || r == q {
			continue
		}
		x, y := c.x[r], c.y[r]
		if x == c.x[p] && y == c.y[p] || x == c.x[i] && y == c.y[i] || x == c.x[q] && y == c.y[q] {
			continue
		}
		if c.turn(p, i, r) >= 0 && c.turn(i, q, r) >= 0 && c.turn(q, p, r) >= 0 {
			return false
		}
	}
	return true
}
