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
	left := p.Area() * grow
	for len(q) > 4 {
		best, bestCost := -1, math.Inf(1)
		var bestPt Pt
		kind := 0
		n := len(q)
		for i := 0; i < n; i++ {
			a, b, c, d := q[(i+n-1)%n], q[i], q[(i+1)%n], q[(i+2)%n]
			turnB := b.Sub(a).Cross(c.Sub(b))
			if turnB <= 0 { // a notch: fill the triangle a b c
				cost := -turnB / 2
				if cost < bestCost && cost <= left && distLine(b, a, c) <= reach && free(q, i, a, c, 1) {
					best, bestCost, kind = i, cost, 1
				}
				continue
			}
			turnC := c.Sub(b).Cross(d.Sub(c))
			if turnC <= 0 { // b is an outer corner, c a notch: handled at c
				continue
			}
			// both outer: drop the edge b c by meeting ab with dc
			u, v := b.Sub(a), c.Sub(d)
			den := u.Cross(v)
			if den >= 0 { // they do not meet beyond the edge
				continue
			}
			t := d.Sub(a).Cross(v) / den
			if t < 1 {
				continue
			}
			m := a.Add(u.Mul(t))
			cost := math.Abs(c.Sub(b).Cross(m.Sub(b))) / 2
			if cost < bestCost && cost <= left && distLine(m, b, c) <= reach && free2(q, i, a, m, d) {
				best, bestCost, kind, bestPt = i, cost, 2, m
			}
		}
		if best < 0 {
			break
		}
		left -= bestCost
		if kind == 2 {
			q[best] = bestPt
			best = (best + 1) % n
		}
		q = append(q[:best], q[best+1:]...)
	}
	return q
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

// free says whether the new edge a–c, replacing point i, crosses no other edge and encloses no other point.
func free(q Poly, i int, a, c Pt, _ int) bool {
	n := len(q)
	b := q[i]
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

// free2 says the same of the edges a–m and m–d that replace the points i and i+1.
func free2(q Poly, i int, a, m, d Pt) bool {
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
