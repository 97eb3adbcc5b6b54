package flat

import "math"

// edge is the half-plane n·d ≤ c with unit normal n; c − n·d is how deep d lies inside.
type edge struct{ nx, ny, c float64 }

// convex is a convex polygon of displacements as half-planes.
type convex struct {
	box   Box
	edges []edge
}

// convexOf turns a counter-clockwise convex ring into half-planes; sides shorter than 1e-12 of its size are dropped, which only
// widens it.
func convexOf(p Poly) convex {
	c := convex{box: p.Box(), edges: make([]edge, 0, len(p))}
	eps := 1e-12 * (c.box.W() + c.box.H())
	for i, a := range p {
		e := p[(i+1)%len(p)].Sub(a)
		l := math.Sqrt(e.X*e.X + e.Y*e.Y)
		if l <= eps {
			continue
		}
		nx, ny := e.Y/l, -e.X/l
		c.edges = append(c.edges, edge{nx, ny, nx*a.X + ny*a.Y})
	}
	return c
}

// collisions lists convex polygons whose union is the set of displacements of b against a at which the two come nearer
// than grown allows (a polygon around the origin, or nil).
func collisions(a, b []Poly, grown Poly) []convex {
	out := make([]convex, 0, len(a)*len(b))
	for _, p := range a {
		if grown != nil {
			p = minkowski(p, grown)
		}
		for _, q := range b {
			out = append(out, convexOf(minkowski(p, mirror(q))))
		}
	}
	return out
}

// entry is how far a point may travel from d along the axis step dir before it enters m, at most far. A point already inside
// by rounding may leave, not go deeper.
func (m *convex) entry(d, dir Pt, far float64) float64 {
	const eps = 1e-9
	x, y := d.X+dir.X*far, d.Y+dir.Y*far
	if d.X <= m.box.MinX && x <= m.box.MinX || d.X >= m.box.MaxX && x >= m.box.MaxX ||
		d.Y <= m.box.MinY && y <= m.box.MinY || d.Y >= m.box.MaxY && y >= m.box.MaxY {
		return far
	}
	in, out := math.Inf(-1), math.Inf(1)
	for i := range m.edges {
		e := &m.edges[i]
		side := e.c - e.nx*d.X - e.ny*d.Y // > 0 inside
		rate := -(e.nx*dir.X + e.ny*dir.Y)
		switch {
		case rate > 1e-12: // moving inward across this side
			if t := -side / rate; t > in {
				in = t
			}
		case rate < -1e-12:
			if t := -side / rate; t < out {
				out = t
			}
		case side <= eps:
			return far
		}
	}
	if in >= out-eps || out <= eps || in >= far {
		return far
	}
	if in < 0 {
		return 0
	}
	return in
}
