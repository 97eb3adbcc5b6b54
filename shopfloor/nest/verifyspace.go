package nest

import (
	"math"
	"sort"

	"firstoff/geom/r3"
)

// apart is the distance between two boxes, 0 when they meet.
func apart(a, b r3.Box) float64 {
	d := func(amin, amax, bmin, bmax float64) float64 { return math.Max(0, math.Max(amin-bmax, bmin-amax)) }
	x, y, z := d(a.Min.X, a.Max.X, b.Min.X, b.Max.X), d(a.Min.Y, a.Max.Y, b.Min.Y, b.Max.Y), d(a.Min.Z, a.Max.Z, b.Min.Z, b.Max.Z)
	return math.Sqrt(x*x + y*y + z*z)
}

func triBox(t [3]r3.Vec) r3.Box { return r3.EmptyBox().Add(t[0]).Add(t[1]).Add(t[2]) }

// near calls f for all pairs of facets whose boxes are nearer than within, by a sweep along x.
func near(a, b [][3]r3.Vec, within float64, f func(s, t [3]r3.Vec) bool) {
	type facet struct {
		t   [3]r3.Vec
		box r3.Box
	}
	list := func(ts [][3]r3.Vec) []facet {
		out := make([]facet, len(ts))
		for i, t := range ts {
			out[i] = facet{t, triBox(t)}
		}
		sort.Slice(out, func(i, j int) bool { return out[i].box.Min.X < out[j].box.Min.X })
		return out
	}
	la, lb := list(a), list(b)
	var widest float64
	for _, q := range lb {
		widest = math.Max(widest, q.box.Max.X-q.box.Min.X)
	}
	for _, p := range la {
		from := sort.Search(len(lb), func(i int) bool { return lb[i].box.Min.X >= p.box.Min.X-widest-within })
		for _, q := range lb[from:] {
			if q.box.Min.X > p.box.Max.X+within {
				break
			}
			if apart(p.box, q.box) <= within && !f(p.t, q.t) {
				return
			}
		}
	}
}

// nearest is the least distance between two sets of facets, at most within.
func nearest(a, b [][3]r3.Vec, within float64) float64 {
	best := within
	near(a, b, within, func(s, t [3]r3.Vec) bool {
		best = math.Min(best, facetDistance(s, t))
		return best > 0
	})
	return best
}

// crossing says whether a facet of a is run through by an edge of b, or the other way round; touching is not crossing.
func crossing(a, b [][3]r3.Vec) (yes bool) {
	near(a, b, 0, func(s, t [3]r3.Vec) bool {
		yes = pierces(s, t) || pierces(t, s)
		return !yes
	})
	return yes
}

// pierces says whether an edge of t passes through the inside of s by more than rounding.
func pierces(s, t [3]r3.Vec) bool {
	n := s[1].Sub(s[0]).Cross(s[2].Sub(s[0]))
	l := n.Norm()
	if l == 0 {
		return false
	}
	n = n.Mul(1 / l)
	eps := 1e-7 * math.Sqrt(l)
	for i := range 3 {
		p, q := t[i], t[(i+1)%3]
		dp, dq := n.Dot(p.Sub(s[0])), n.Dot(q.Sub(s[0]))
		if !(dp > eps && dq < -eps || dp < -eps && dq > eps) {
			continue
		}
		x := p.Add(q.Sub(p).Mul(dp / (dp - dq)))
		in := true
		for k := range 3 {
			u, w := s[k], s[(k+1)%3]
			in = in && n.Dot(w.Sub(u).Cross(x.Sub(u))) > eps*w.Sub(u).Norm()
		}
		if in {
			return true
		}
	}
	return false
}

// facetDistance is the least distance of two triangles: 0 where one runs through the other, else corner to facet or side to side.
func facetDistance(s, t [3]r3.Vec) float64 {
	if pierces(s, t) || pierces(t, s) {
		return 0
	}
	best := math.Inf(1)
	for i := range 3 {
		best = math.Min(best, math.Min(pointFacet(t[i], s), pointFacet(s[i], t)))
		for k := range 3 {
			best = math.Min(best, sideSide(s[i], s[(i+1)%3], t[k], t[(k+1)%3]))
		}
	}
	return best
}

func pointSide(p, a, b r3.Vec) float64 {
	d := b.Sub(a)
	u := 0.0
	if l := d.Norm2(); l > 0 {
		u = math.Max(0, math.Min(1, p.Sub(a).Dot(d)/l))
	}
	return p.Dist(a.Add(d.Mul(u)))
}

func pointFacet(p r3.Vec, t [3]r3.Vec) float64 {
	n := t[1].Sub(t[0]).Cross(t[2].Sub(t[0]))
	if l := n.Norm(); l > 0 {
		in := true
		for k := range 3 {
			u, w := t[k], t[(k+1)%3]
			in = in && n.Dot(w.Sub(u).Cross(p.Sub(u))) >= 0
		}
		if in {
			return math.Abs(n.Dot(p.Sub(t[0]))) / l
		}
	}
	return math.Min(pointSide(p, t[0], t[1]), math.Min(pointSide(p, t[1], t[2]), pointSide(p, t[2], t[0])))
}

// sideSide is the least distance of two segments.
func sideSide(a, b, c, d r3.Vec) float64 {
	u, v, w := b.Sub(a), d.Sub(c), a.Sub(c)
	uu, uv, vv, uw, vw := u.Norm2(), u.Dot(v), v.Norm2(), u.Dot(w), v.Dot(w)
	best := math.Min(math.Min(pointSide(a, c, d), pointSide(b, c, d)), math.Min(pointSide(c, a, b), pointSide(d, a, b)))
	if den := uu*vv - uv*uv; den > 1e-12*uu*vv {
		s, t := (uv*vw-vv*uw)/den, (uu*vw-uv*uw)/den
		if s > 0 && s < 1 && t > 0 && t < 1 {
			best = math.Min(best, a.Add(u.Mul(s)).Dist(c.Add(v.Mul(t))))
		}
	}
	return best
}

// within says whether p lies inside closed facets, by counting crossings of a slanted ray.
func within(p r3.Vec, ts [][3]r3.Vec) bool {
	d := r3.Vec{X: 0.5773, Y: 0.3147, Z: 0.7534}
	n := 0
	for _, t := range ts {
		e1, e2 := t[1].Sub(t[0]), t[2].Sub(t[0])
		h := d.Cross(e2)
		det := e1.Dot(h)
		if det == 0 {
			continue
		}
		s := p.Sub(t[0])
		u := s.Dot(h) / det
		q := s.Cross(e1)
		w := d.Dot(q) / det
		if u >= 0 && w >= 0 && u+w <= 1 && e2.Dot(q)/det > 0 {
			n++
		}
	}
	return n%2 == 1
}
