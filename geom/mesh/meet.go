package mesh

import (
	"math"

	"firstoff/geom/exact"
	"firstoff/geom/r3"
)

// meet decides exactly whether two triangles with area meet, touching included (Guigue and Devillers, JGT 8(1), 2003, by signs of
// determinants only). touch becomes false if each has corners strictly on both sides of the other.
func meet(a, b, c, p, q, r r3.Vec, touch *bool) bool {
	if apart(a, b, c, p, q, r) || apart(p, q, r, a, b, c) {
		return false
	}
	dp, dq, dr := exact.Orient3D(a, b, c, p), exact.Orient3D(a, b, c, q), exact.Orient3D(a, b, c, r)
	if dp > 0 && dq > 0 && dr > 0 || dp < 0 && dq < 0 && dr < 0 {
		return false
	}
	if dp == 0 && dq == 0 && dr == 0 {
		return meetFlat(a, b, c, p, q, r)
	}
	da, db, dc := exact.Orient3D(p, q, r, a), exact.Orient3D(p, q, r, b), exact.Orient3D(p, q, r, c)
	if da > 0 && db > 0 && dc > 0 || da < 0 && db < 0 && dc < 0 {
		return false
	}
	*touch = min(dp, dq, dr) >= 0 || max(dp, dq, dr) <= 0 || min(da, db, dc) >= 0 || max(da, db, dc) <= 0
	// One of the six edges passes through the other triangle.
	return through(p, q, dp, dq, a, b, c) || through(q, r, dq, dr, a, b, c) || through(r, p, dr, dp, a, b, c) ||
		through(a, b, da, db, p, q, r) || through(b, c, db, dc, p, q, r) || through(c, a, dc, da, p, q, r)
}

// apart says whether the plane of the first triangle, or a plane through one of its edges square to it, clearly separates the two: by
// more than rounding could feign. It settles nearly all pairs that do not meet, coplanar ones too.
func apart(a, b, c, p, q, r r3.Vec) bool {
	u, v := b.Sub(a), c.Sub(a)
	p, q, r = p.Sub(a), q.Sub(a), r.Sub(a)
	n := u.Cross(v)
	size := max(math.Abs(u.X), math.Abs(u.Y), math.Abs(u.Z)) + max(math.Abs(v.X), math.Abs(v.Y), math.Abs(v.Z))
	far := size + max(math.Abs(p.X), math.Abs(p.Y), math.Abs(p.Z)) + max(math.Abs(q.X), math.Abs(q.Y), math.Abs(q.Z)) + max(math.Abs(r.X), math.Abs(r.Y), math.Abs(r.Z))
	tol := 1e-13 * size * size * far
	x, y, z := n.Dot(p), n.Dot(q), n.Dot(r)
	if x > tol && y > tol && z > tol || x < -tol && y < -tol && z < -tol {
		return true
	}
	tol *= size
	m := n.Cross(u) // points from the edge a-b to c
	if m.Dot(p) < -tol && m.Dot(q) < -tol && m.Dot(r) < -tol {
		return true
	}
	m = v.Cross(n) // from a-c to b
	if m.Dot(p) < -tol && m.Dot(q) < -tol && m.Dot(r) < -tol {
		return true
	}
	w := v.Sub(u)
	m = n.Cross(w) // from b-c to a
	h := m.Dot(u) - tol
	return m.Dot(p) < h && m.Dot(q) < h && m.Dot(r) < h
}

// through decides whether the segment from p to q, whose ends lie on sides dp and dq of the triangle's plane, meets the triangle. A segment in
// the plane meets it only if the plane's case finds it elsewhere, see meetFlat and stabs.
func through(p, q r3.Vec, dp, dq int, a, b, c r3.Vec) bool {
	if dp*dq > 0 {
		return false
	}
	if dp == 0 && dq == 0 {
		return segmentFlat(p, q, a, b, c)
	}
	u, v, w := exact.Orient3D(p, q, a, b), exact.Orient3D(p, q, b, c), exact.Orient3D(p, q, c, a)
	return u >= 0 && v >= 0 && w >= 0 || u <= 0 && v <= 0 && w <= 0
}

// stabs decides whether the segment from p to q meets the triangle.
func stabs(p, q, a, b, c r3.Vec, touch *bool) bool {
	dp, dq := exact.Orient3D(a, b, c, p), exact.Orient3D(a, b, c, q)
	if !through(p, q, dp, dq, a, b, c) {
		return false
	}
	if dp*dq < 0 {
		*touch = false
	}
	return true
}

// folded decides whether two triangles on the edge from u to v, with apexes p and q, lie in one plane on the same side of it.
func folded(u, v, p, q r3.Vec) bool {
	// On the same side, their normals about the edge point the same way. Clearly opposite ones need no more thought.
	e := v.Sub(u)
	a, b := p.Sub(u).Cross(e), q.Sub(u).Cross(e)
	if a.Dot(b) < -1e-9*a.Norm()*b.Norm() {
		return false
	}
	if exact.Orient3D(u, v, p, q) != 0 {
		return false
	}
	i, j := shadow(u, v, p)
	return turn2(u, v, p, i, j) == turn2(u, v, q, i, j)
}

// shadow picks two axes onto which the triangle, which has area, projects with area.
func shadow(a, b, c r3.Vec) (i, j int) {
	n := b.Sub(a).Cross(c.Sub(a))
	x, y, z := math.Abs(n.X), math.Abs(n.Y), math.Abs(n.Z)
	first := 0
	if y > x {
		first = 1
	}
	if z > max(x, y) {
		first = 2
	}
	for k := range 3 {
		i, j = (first+k+1)%3, (first+k+2)%3
		if turn2(a, b, c, i, j) != 0 {
			return i, j
		}
	}
	return i, j
}

func turn2(a, b, c r3.Vec, i, j int) int {
	return exact.Orient2D(a.Axis(i), a.Axis(j), b.Axis(i), b.Axis(j), c.Axis(i), c.Axis(j))
}

// meetFlat is meet for triangles in one plane.
func meetFlat(a, b, c, p, q, r r3.Vec) bool {
	i, j := shadow(a, b, c)
	s, t := turn2(a, b, c, i, j), turn2(p, q, r, i, j)
	// They are apart exactly if an edge of one has the other strictly outside.
	out := func(u, v r3.Vec, s int, x, y, z r3.Vec) bool {
		return turn2(u, v, x, i, j)*s < 0 && turn2(u, v, y, i, j)*s < 0 && turn2(u, v, z, i, j)*s < 0
	}
	return !out(a, b, s, p, q, r) && !out(b, c, s, p, q, r) && !out(c, a, s, p, q, r) &&
		!out(p, q, t, a, b, c) && !out(q, r, t, a, b, c) && !out(r, p, t, a, b, c)
}

// segmentFlat decides whether a segment in the triangle's plane meets the triangle.
func segmentFlat(p, q, a, b, c r3.Vec) bool {
	i, j := shadow(a, b, c)
	s := turn2(a, b, c, i, j)
	for _, e := range [3][2]r3.Vec{{a, b}, {b, c}, {c, a}} {
		if turn2(e[0], e[1], p, i, j)*s < 0 && turn2(e[0], e[1], q, i, j)*s < 0 {
			return false
		}
	}
	x, y, z := turn2(p, q, a, i, j), turn2(p, q, b, i, j), turn2(p, q, c, i, j)
	if x > 0 && y > 0 && z > 0 || x < 0 && y < 0 && z < 0 {
		return false
	}
	return true
}
