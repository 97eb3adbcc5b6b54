package mesh

import (
	"cmp"
	"slices"

	"firstoff/geom/exact"
)

// point is a corner of a planar ring with the vertex it stands for.
type point struct {
	x, y float64
	v    uint32
}

// turnOf is the exact sign of the turn a, b, c: positive to the left.
func turnOf(a, b, c point) int { return exact.Orient2D(a.x, a.y, b.x, b.y, c.x, c.y) }

// area2 is twice the signed area.
func area2(p []point) (s float64) {
	o := p[0]
	for i := range p {
		a, b := p[i], p[(i+1)%len(p)]
		s += (a.x-o.x)*(b.y-o.y) - (b.x-o.x)*(a.y-o.y)
	}
	return s
}

// inside says whether q lies within the ring (even-odd; on the edge is either).
func inside(q point, ring []point) bool {
	in := false
	for i := range ring {
		a, b := ring[i], ring[(i+1)%len(ring)]
		if (a.y > q.y) != (b.y > q.y) && (turnOf(a, b, q) > 0) == (b.y > a.y) {
			in = !in
		}
	}
	return in
}

// within says whether ring a lies in ring b, judged by its first corner that is not on b; touching all along is not within.
func within(a, b []point) bool {
	for _, q := range a {
		on := false
		for i := range b {
			u, v := b[i], b[(i+1)%len(b)]
			if turnOf(u, v, q) == 0 && min(u.x, v.x) <= q.x && q.x <= max(u.x, v.x) && min(u.y, v.y) <= q.y && q.y <= max(u.y, v.y) {
				on = true
				break
			}
		}
		if !on {
			return inside(q, b)
		}
	}
	return false
}

// bridge joins the holes (running right) to the outer ring (running left) by pairs of coincident edges, rightmost hole first
// (Eberly, "Triangulation by ear clipping", 2002).
func bridge(outer []point, holes [][]point) []point {
	rightmost := func(h []point) int {
		m := 0
		for i := range h {
			if h[i].x > h[m].x || h[i].x == h[m].x && h[i].y < h[m].y {
				m = i
			}
		}
		return m
	}
	slices.SortStableFunc(holes, func(a, b []point) int { return cmp.Compare(b[rightmost(b)].x, a[rightmost(a)].x) })
	for _, h := range holes {
		m := rightmost(h)
		at := visible(outer, h[m])
		if at < 0 {
			continue // no way out: the hole's place is filled over
		}
		joined := make([]point, 0, len(outer)+len(h)+2)
		joined = append(joined, outer[:at+1]...)
		joined = append(joined, h[m:]...)
		joined = append(joined, h[:m+1]...)
		joined = append(joined, outer[at:]...)
		outer = joined
	}
	return outer
}

// visible finds a corner of the ring that q, inside it, sees to its right.
func visible(ring []point, q point) int {
	// The nearest edge straight to the right.
	best, bx := -1, 0.0
	for i := range ring {
		a, b := ring[i], ring[(i+1)%len(ring)]
		if a.y > q.y || b.y < q.y || a.y == b.y { // edges that rise past q: their inner side is on the left
			continue
		}
		x := a.x + (q.y-a.y)/(b.y-a.y)*(b.x-a.x)
		if x >= q.x && (best < 0 || x < bx) {
			best, bx = i, x
		}
	}
	if best < 0 {
		return -1
	}
	a, b := ring[best], ring[(best+1)%len(ring)]
	hit := point{bx, q.y, 0}
	pick, at := best, a
	if b.x > a.x {
		pick, at = (best+1)%len(ring), b
	}
	if bx == a.x && a.y == q.y {
		pick, at = best, a
	} else if bx == b.x && b.y == q.y {
		pick, at = (best+1)%len(ring), b
	}
	// A reflex corner within the triangle q, hit, at is nearer in angle and is taken instead.
	t := [3]point{q, hit, at}
	if turnOf(t[0], t[1], t[2]) < 0 {
		t[1], t[2] = t[2], t[1]
	}
	bestTan, bestD := -1.0, 0.0
	for i, p := range ring {
		if p == at || p.x < q.x {
			continue
		}
		if turnOf(t[0], t[1], p) < 0 || turnOf(t[1], t[2], p) < 0 || turnOf(t[2], t[0], p) < 0 {
			continue
		}
		prev, next := ring[(i+len(ring)-1)%len(ring)], ring[(i+1)%len(ring)]
		if turnOf(prev, p, next) >= 0 {
			continue
		}
		dx, dy := p.x-q.x, p.y-q.y
		if dy < 0 {
			dy = -dy
		}
		d := dx*dx + dy*dy
		if dx == 0 {
			continue
		}
		if tan := dy / dx; bestTan < 0 || tan < bestTan || tan == bestTan && d < bestD {
			bestTan, bestD = tan, d
			pick = i
		}
	}
	return pick
}

// clipEars triangulates a ring that runs left, bridges allowed. Every corner appears in some triangle; the turns are decided exactly. If the
// ring crosses itself no ear may be found: then the flattest remaining corner is cut, so that the result is always topologically a disc.
// Edges that exist already are used only when nothing else is left.
func clipEars(p []point, edges edgeSet) []uint32 {
	n := len(p)
	if n < 3 {
		return nil
	}
	nxt, prv := make([]int, n), make([]int, n)
	for i := range n {
		nxt[i], prv[i] = (i+1)%n, (i+n-1)%n
	}
	reflex := make([]bool, n)
	turn := func(i int) int { return turnOf(p[prv[i]], p[i], p[nxt[i]]) }
	// Corners that do not turn left are the only ones that can lie in an ear.
	sharp := 0
	for i := range n {
		if reflex[i] = turn(i) <= 0; reflex[i] {
			sharp++
		}
	}
	hinders := make([]int, 0, sharp)
	for i := range n {
		if reflex[i] {
			hinders = append(hinders, i)
		}
	}
	gone := make([]bool, n)
	isEar := func(i int) bool {
		if turn(i) <= 0 {
			return false
		}
		a, b, c := p[prv[i]], p[i], p[nxt[i]]
		x0, x1 := min(a.x, b.x, c.x), max(a.x, b.x, c.x)
		y0, y1 := min(a.y, b.y, c.y), max(a.y, b.y, c.y)
		live := hinders[:0]
		ok := true
		for _, j := range hinders {
			if gone[j] || !reflex[j] {
				continue
			}
			live = append(live, j)
			if !ok {
				continue
			}
			q := p[j]
			if q.x < x0 || q.x > x1 || q.y < y0 || q.y > y1 || j == prv[i] || j == nxt[i] {
				continue
			}
			if q.x == a.x && q.y == a.y || q.x == c.x && q.y == c.y {
				continue // the other side of a bridge
			}
			if turnOf(a, b, q) >= 0 && turnOf(b, c, q) >= 0 && turnOf(c, a, q) >= 0 {
				ok = false
			}
		}
		hinders = live
		return ok
	}
	out := make([]uint32, 0, 3*(n-2))
	emit := func(a, b, c int) {
		// At a bridge a corner may meet itself: then there is nothing to fill, and the two edges are each other's mates.
		if u, v, w := p[a].v, p[b].v, p[c].v; u != v && v != w && w != u {
			out = append(out, u, v, w)
		}
	}
	i, idle := 0, 0
	for left := n; left > 3; {
		if idle > left && isEar(i) || idle > 2*left || idle <= left && isEar(i) && !edges.has(p[prv[i]].v, p[nxt[i]].v) {
			if idle > 2*left { // no ear: a degenerate or crossing ring
				i = flattest(p, nxt, prv, i, left)
			}
			a, c := prv[i], nxt[i]
			emit(a, i, c)
			gone[i] = true
			nxt[a], prv[c] = c, a
			left--
			idle = 0
			for _, j := range [2]int{a, c} {
				if was := reflex[j]; was {
					reflex[j] = turn(j) <= 0
				} else if turn(j) <= 0 {
					reflex[j] = true
					hinders = append(hinders, j)
				}
			}
			i = nxt[c] // skip one, so that fans do not grow
			continue
		}
		i = nxt[i]
		idle++
	}
	for gone[i] {
		i = nxt[i]
	}
	emit(prv[i], i, nxt[i])
	return out
}

// flattest finds the remaining corner that spans the least area.
func flattest(p []point, nxt, prv []int, i, left int) int {
	best, at := -1.0, i
	for range left {
		a := area2([]point{p[prv[i]], p[i], p[nxt[i]]})
		if a < 0 {
			a = -a
		}
		if best < 0 || a < best {
			best, at = a, i
		}
		i = nxt[i]
	}
	return at
}
