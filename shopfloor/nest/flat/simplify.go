package flat

import "math"

// Simplify is an outline around p with fewer points: every point of p lies inside or on it. Points are taken away, the
// cheapest first, while the area grown in total stays within grow (a fraction of p's area) and no point
// moves further than reach mm from p. p must be clean.
func Simplify(p Poly, grow, reach float64) Poly {
	if len(p) <= 4 || grow <= 0 {
		return p
	}
	q := append(Poly(nil), p...)
	steps := make([]cut, len(q))
	for i := range q {
		steps[i] = cutAt(q, i, reach)
	}
	left := p.Area() * grow
	for len(q) > 4 {
		best := -1
		for i := range steps {
			if steps[i].cost <= left && (best < 0 || steps[i].cost < steps[best].cost) {
				best = i
			}
		}
		if best < 0 {
			break
		}
		n := len(q)
		c := steps[best]
		var clear bool
		if c.edge {
			clear = freeEdge(q, best, q[(best+n-1)%n], c.meet, q[(best+2)%n])
		} else {
			clear = freeNotch(q, best)
		}
		if !clear {
			steps[best].cost = math.Inf(1) // until a neighbour changes
			continue
		}
		left -= c.cost
		gone := best
		if c.edge {
			q[best] = c.meet
			gone = (best + 1) % n
		}
		q = append(q[:gone], q[gone+1:]...)
		steps = append(steps[:gone], steps[gone+1:]...)
		n--
		for d := -3; d <= 2; d++ {
			i := (gone + d + 2*n) % n
			steps[i] = cutAt(q, i, reach)
		}
	}
	return q
}

// cut is a way to take one point away: filling the notch at it, or dropping the edge after it by letting its neighbours meet.
type cut struct {
	cost float64 // area gained, infinite when there is no way
	edge bool
	meet Pt
}

func cutAt(q Poly, i int, reach float64) cut {
	n := len(q)
	none := cut{cost: math.Inf(1)}
	a, b, c, d := q[(i+n-1)%n], q[i], q[(i+1)%n], q[(i+2)%n]
	if turn := b.Sub(a).Cross(c.Sub(b)); turn <= 0 { // a notch: fill the triangle a b c
		if distLine(b, a, c) > reach {
			return none
		}
		return cut{cost: -turn / 2}
	}
	if c.Sub(b).Cross(d.Sub(c)) <= 0 { // b is an outer corner, c a notch: handled at c
		return none
	}
	// both outer: a–b and d–c meet at m beyond the edge
	u, v := b.Sub(a), c.Sub(d)
	den := u.Cross(v)
	if den >= 0 {
		return none
	}
	t := d.Sub(a).Cross(v) / den
	if t < 1 {
		return none
	}
	m := a.Add(u.Mul(t))
	if distLine(m, b, c) > reach {
		return none
	}
	return cut{math.Abs(c.Sub(b).Cross(m.Sub(b))) / 2, true, m}
}

// distLine is the distance of p from the line through a and b.
func distLine(p, a, b Pt) float64 {
	d := b.Sub(a)
	l := d.Len()
	if l == 0 {
		return p.Sub(a).Len()
	}
	return math.Abs(d.Cross(p.Sub(a))) / l
}

// freeNotch says whether the new edge that replaces point i crosses no other edge and encloses no other point.
func freeNotch(q Poly, i int) bool {
	n := len(q)
	a, b, c := q[(i+n-1)%n], q[i], q[(i+1)%n]
	for k := 0; k < n; k++ {
		if k == i || k == (i+n-1)%n || k == (i+1)%n {
			continue
		}
		if inTriangle(q[k], a, c, b) {
			return false
		}
	}
	for k := 0; k < n; k++ {
		l := (k + 1) % n
		if k == i || l == i || k == (i+1)%n || l == (i+n-1)%n {
			continue
		}
		if touches(a, c, q[k], q[l]) {
			return false
		}
	}
	return true
}

// freeEdge says the same of the edges a–m and m–d that replace the points i and i+1.
func freeEdge(q Poly, i int, a, m, d Pt) bool {
	n := len(q)
	b, c := q[i], q[(i+1)%n]
	ia, id := (i+n-1)%n, (i+2)%n
	for k := 0; k < n; k++ {
		l := (k + 1) % n
		if k == i || l == i || k == (i+1)%n || l == (i+1)%n {
			continue
		}
		if k != ia && k != id && inTriangle(q[k], b, m, c) {
			return false
		}
		if l != ia && k != ia && touches(b, m, q[k], q[l]) {
			return false
		}
		if k != id && l != id && touches(m, c, q[k], q[l]) {
			return false
		}
	}
	return true
}

// inTriangle says whether p lies in or on triangle abc of either sense.
func inTriangle(p, a, b, c Pt) bool {
	s1 := b.Sub(a).Cross(p.Sub(a))
	s2 := c.Sub(b).Cross(p.Sub(b))
	s3 := a.Sub(c).Cross(p.Sub(c))
	return s1 >= 0 && s2 >= 0 && s3 >= 0 || s1 <= 0 && s2 <= 0 && s3 <= 0
}

// touches says whether the closed segments ab and cd share a point.
func touches(a, b, c, d Pt) bool {
	if math.Max(a.X, b.X) < math.Min(c.X, d.X) || math.Max(c.X, d.X) < math.Min(a.X, b.X) ||
		math.Max(a.Y, b.Y) < math.Min(c.Y, d.Y) || math.Max(c.Y, d.Y) < math.Min(a.Y, b.Y) {
		return false
	}
	ab, cd := b.Sub(a), d.Sub(c)
	s1, s2 := ab.Cross(c.Sub(a)), ab.Cross(d.Sub(a))
	t1, t2 := cd.Cross(a.Sub(c)), cd.Cross(b.Sub(c))
	return !(s1 > 0 && s2 > 0 || s1 < 0 && s2 < 0) && !(t1 > 0 && t2 > 0 || t1 < 0 && t2 < 0)
}
