package flat

import (
	"math"
	"sort"
)

// Pt is a point or displacement, mm.
type Pt struct{ X, Y float64 }

func (a Pt) Add(b Pt) Pt        { return Pt{a.X + b.X, a.Y + b.Y} }
func (a Pt) Sub(b Pt) Pt        { return Pt{a.X - b.X, a.Y - b.Y} }
func (a Pt) Mul(s float64) Pt   { return Pt{a.X * s, a.Y * s} }
func (a Pt) Cross(b Pt) float64 { return a.X*b.Y - a.Y*b.X }
func (a Pt) Dot(b Pt) float64   { return a.X*b.X + a.Y*b.Y }
func (a Pt) Len() float64       { return math.Hypot(a.X, a.Y) }

// Poly is a ring of points, not closed. After Clean it runs counter-clockwise.
type Poly []Pt

// Box is an upright rectangle.
type Box struct{ MinX, MinY, MaxX, MaxY float64 }

func (b Box) W() float64 { return b.MaxX - b.MinX }
func (b Box) H() float64 { return b.MaxY - b.MinY }

// Box is the smallest upright rectangle around p.
func (p Poly) Box() Box {
	b := Box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for _, q := range p {
		b.MinX, b.MaxX = math.Min(b.MinX, q.X), math.Max(b.MaxX, q.X)
		b.MinY, b.MaxY = math.Min(b.MinY, q.Y), math.Max(b.MaxY, q.Y)
	}
	return b
}

// Area is the signed area, positive when p runs counter-clockwise.
func (p Poly) Area() float64 {
	if len(p) < 3 {
		return 0
	}
	var s float64
	o := p[0]
	for i := 1; i+1 < len(p); i++ {
		s += p[i].Sub(o).Cross(p[i+1].Sub(o))
	}
	return s / 2
}

// Turn is the rotation of deg degrees as (cos, sin), exact at quarter turns.
func Turn(deg float64) (c, s float64) {
	deg = math.Mod(deg, 360)
	if deg < 0 {
		deg += 360
	}
	switch deg {
	case 0:
		return 1, 0
	case 90:
		return 0, 1
	case 180:
		return -1, 0
	case 270:
		return 0, -1
	}
	s, c = math.Sincos(deg * math.Pi / 180)
	return c, s
}

// Rotate is p turned about the origin.
func (p Poly) Rotate(deg float64) Poly {
	c, s := Turn(deg)
	q := make(Poly, len(p))
	for i, a := range p {
		q[i] = Pt{c*a.X - s*a.Y, s*a.X + c*a.Y}
	}
	return q
}

// Clean is p without repeated points, needles and points on a straight line, counter-clockwise. Nearness is judged
// against the size of p (1e-9 of its box). Fewer than three points remain when p has no area.
func Clean(p Poly) Poly {
	q, _, _ := clean(p)
	return q
}

// Needle finds a corner at which p doubles back on itself over more than 1e-6 of its size: a line without area.
func Needle(p Poly) (tip Pt, found bool) {
	_, tip, found = clean(p)
	return tip, found
}

func clean(p Poly) (q Poly, tip Pt, needle bool) {
	b := p.Box()
	size := math.Max(b.W(), b.H())
	if len(p) < 3 || size == 0 || math.IsNaN(size) || math.IsInf(size, 0) {
		return nil, tip, false
	}
	eps := size * 1e-9
	q = append(Poly(nil), p...)
	for changed := true; changed && len(q) >= 3; {
		changed = false
		out := q[:0:0]
		for i := range q {
			a := q[(i+len(q)-1)%len(q)]
			if len(out) > 0 {
				a = out[len(out)-1]
			}
			c := q[(i+1)%len(q)]
			ab, bc := q[i].Sub(a), c.Sub(q[i])
			if ab.Len() <= eps {
				changed = true
				continue
			}
			ac := c.Sub(a)
			l := math.Max(ac.Len(), math.Max(ab.Len(), bc.Len()))
			if bc.Len() > eps && math.Abs(ab.Cross(bc)) <= eps*l {
				if ab.Dot(bc) < 0 && math.Min(ab.Len(), bc.Len()) > 1e-6*size {
					tip, needle = q[i], true
				}
				changed = true
				continue
			}
			out = append(out, q[i])
		}
		q = out
	}
	if len(q) < 3 {
		return nil, tip, needle
	}
	if q.Area() < 0 {
		for i, j := 0, len(q)-1; i < j; i, j = i+1, j-1 {
			q[i], q[j] = q[j], q[i]
		}
	}
	return q, tip, needle
}

// Crossing finds two edges of p that cross properly, or ok = false when p is simple up to touching.
func Crossing(p Poly) (i, j int, ok bool) {
	n := len(p)
	type edge struct {
		b Box
		i int
	}
	es := make([]edge, n)
	for k := range p {
		es[k] = edge{Poly{p[k], p[(k+1)%n]}.Box(), k}
	}
	sort.Slice(es, func(a, b int) bool {
		if es[a].b.MinX != es[b].b.MinX {
			return es[a].b.MinX < es[b].b.MinX
		}
		return es[a].i < es[b].i
	})
	for u := range es {
		for v := u + 1; v < n && es[v].b.MinX <= es[u].b.MaxX; v++ {
			if es[v].b.MinY > es[u].b.MaxY || es[v].b.MaxY < es[u].b.MinY {
				continue
			}
			a, b := es[u].i, es[v].i
			if (a+1)%n == b || (b+1)%n == a {
				continue
			}
			if crosses(p[a], p[(a+1)%n], p[b], p[(b+1)%n]) {
				return min(a, b), max(a, b), true
			}
		}
	}
	return 0, 0, false
}

// crosses says whether segments ab and cd cross in their interiors.
func crosses(a, b, c, d Pt) bool {
	ab, cd := b.Sub(a), d.Sub(c)
	eps := 1e-12 * ab.Len() * cd.Len()
	s1, s2 := ab.Cross(c.Sub(a)), ab.Cross(d.Sub(a))
	t1, t2 := cd.Cross(a.Sub(c)), cd.Cross(b.Sub(c))
	return (s1 > eps && s2 < -eps || s1 < -eps && s2 > eps) && (t1 > eps && t2 < -eps || t1 < -eps && t2 > eps)
}

// Hull is the convex hull of the points, counter-clockwise (Andrew 1979).
func Hull(p Poly) Poly {
	q := append(Poly(nil), p...)
	sort.Slice(q, func(i, j int) bool {
		if q[i].X != q[j].X {
			return q[i].X < q[j].X
		}
		return q[i].Y < q[j].Y
	})
	if len(q) < 3 {
		return q
	}
	half := func(q Poly) Poly {
		var h Poly
		for _, c := range q {
			for len(h) >= 2 && h[len(h)-1].Sub(h[len(h)-2]).Cross(c.Sub(h[len(h)-2])) <= 0 {
				h = h[:len(h)-1]
			}
			h = append(h, c)
		}
		return h[:len(h)-1]
	}
	lower := half(q)
	for i, j := 0, len(q)-1; i < j; i, j = i+1, j-1 {
		q[i], q[j] = q[j], q[i]
	}
	return append(lower, half(q)...)
}
