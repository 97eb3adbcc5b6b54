package pose

import (
	"math"
	"slices"

	"firstoff/geom/r3"
)

// hullFace finds the face of the convex hull that a ray from the centroid along d leaves through, and gives its outward
// unit normal. ok is false when the part is too flat or too small to have one. The portal of three hull vertices around
// the ray is moved outwards until nothing lies beyond it (as in portal refinement, Snethen 2008, from memory).
func (p *Part) hullFace(d r3.Vec) (normal r3.Vec, ok bool) {
	c := p.Centroid
	far := func(dir r3.Vec) r3.Vec {
		v, _ := p.Extremes.Farthest(dir, nil)
		return p.Extremes.at(v).Sub(c)
	}
	a := far(d)
	n := a.Cross(d)
	if n.Norm() < 1e-9*a.Norm() { // the ray goes through a vertex: any plane along it will do
		n = d.Cross(r3.Vec{X: 1})
		if n.Norm() < 0.1 {
			n = d.Cross(r3.Vec{Y: 1})
		}
	}
	b := far(n)
	n = a.Cross(b)
	if n.Dot(d) < 0 {
		a, b, n = b, a, n.Mul(-1)
	}
	var e r3.Vec
	found := false
	for range 64 {
		if n.Norm2() == 0 {
			return n, false
		}
		e = far(n)
		if x := a.Cross(e); x.Dot(d) > 0 {
			b, n = e, x
			continue
		}
		if x := e.Cross(b); x.Dot(d) > 0 {
			a, n = e, x
			continue
		}
		found = true
		break
	}
	if !found {
		return n, false
	}
	for range 256 {
		n = b.Sub(a).Cross(e.Sub(a))
		l := n.Norm()
		if l == 0 || n.Dot(d) <= 0 {
			return n, false
		}
		n = n.Mul(1 / l)
		f := far(n)
		if f.Sub(a).Dot(n) <= 1e-6*(1e-3+a.Norm()) {
			return n, true
		}
		// which of the three triangles with f does the ray pass
		sa, sb, se := a.Cross(f).Dot(d), b.Cross(f).Dot(d), e.Cross(f).Dot(d)
		switch {
		case sb >= 0 && sa <= 0:
			e = f
		case se >= 0 && sb <= 0:
			a = f
		default:
			b = f
		}
	}
	return n, true
}

// mostRolls is how many faces a part may roll over before it counts as round: on so many small faces it would not stand.
const mostRolls = 16

// settle lets the part roll with direction down at first lowest, until it stands, and gives the direction it stands on.
func (p *Part) settle(down r3.Vec) (r3.Vec, bool) {
	last := math.Inf(1)
	for range mostRolls {
		n, ok := p.hullFace(down)
		if !ok {
			return down, false
		}
		_, h := p.Extremes.Farthest(n, nil)
		h -= n.Dot(p.Centroid)
		if n.Dot(down) > 1-1e-13 || h >= last*(1-1e-12) {
			return n, true
		}
		last, down = h, n
	}
	return down, false
}

// resting are the directions (up) in which the part stands, found by rolling from the given ones, without repetitions.
func (p *Part) resting(from []r3.Vec) []r3.Vec {
	var ups []r3.Vec
	for _, u := range from {
		down, ok := p.settle(u.Mul(-1))
		if !ok {
			continue
		}
		up := down.Mul(-1)
		if !slices.ContainsFunc(ups, func(v r3.Vec) bool { return v.Dot(up) > math.Cos(0.5*math.Pi/180) }) {
			ups = append(ups, up)
		}
	}
	return ups
}

// Near calls f for the vertices with v·d >= least.
func (e *Extremes) Near(d r3.Vec, least float64, f func(v uint32)) {
	var pick [3]int
	for i := range 3 {
		if d.Axis(i) > 0 {
			pick[i] = 3 + i
		} else {
			pick[i] = i
		}
	}
	var visit func(level, from, to int)
	visit = func(level, from, to int) {
		for b := from; b < min(to, len(e.levels[level])); b++ {
			q := &e.levels[level][b]
			if d.X*float64(q[pick[0]])+d.Y*float64(q[pick[1]])+d.Z*float64(q[pick[2]]) < least {
				continue
			}
			if level > 0 {
				visit(level-1, b*boxBoxes, (b+1)*boxBoxes)
				continue
			}
			for _, v := range e.used[b*boxVertices : min(len(e.used), (b+1)*boxVertices)] {
				if d.Dot(e.at(v)) >= least {
					f(v)
				}
			}
		}
	}
	visit(len(e.levels)-1, 0, boxBoxes)
}
