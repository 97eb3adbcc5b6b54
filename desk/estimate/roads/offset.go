package roads

import (
	"math"
	"sort"
)

// inset moves contours (material to the left) inwards by d. Raw offset edges, with arcs around reflex corners, are cut at all
// their crossings; what lies nearer than d to a contour is dropped; the rest is chained. opens counts chains that did not close.
func inset(contours [][]pt, d float64) (loops [][]pt, opens int) {
	type seg struct{ a, b pt }
	var orig, raw []seg
	for _, c := range contours {
		n := len(c)
		if n < 3 {
			continue
		}
		dir := make([]pt, n)
		for i := range c {
			e := c[(i+1)%n].sub(c[i])
			l := e.norm()
			if l > 0 {
				e = e.mul(1 / l)
			}
			dir[i] = e
			orig = append(orig, seg{c[i], c[(i+1)%n]})
		}
		long := make([]float64, n)
		for i := range c {
			long[i] = c[i].dist(c[(i+1)%n])
		}
		// a convex corner between edges long enough is a plain mitre; the others are left to the crossings
		mitre := make([]float64, n) // at the end of edge i: how much both edges lose, −1 where it does not hold
		for i := range c {
			j := (i + 1) % n
			mitre[i] = -1
			turn := math.Atan2(dir[i].cross(dir[j]), dir[i].dot(dir[j]))
			if turn < 0 || turn > 2.8 {
				continue
			}
			if t := d * math.Tan(turn/2); t <= 0.499*long[i] && t <= 0.499*long[j] {
				mitre[i] = t
			}
		}
		for i := range c {
			j, h := (i+1)%n, (i+n-1)%n
			ni, nj := pt{-dir[i].y, dir[i].x}, pt{-dir[j].y, dir[j].x}
			a, b := c[i].add(ni.mul(d)), c[j].add(ni.mul(d))
			if mitre[h] >= 0 {
				nh := pt{-dir[h].y, dir[h].x}
				a = c[i].add(nh.mul(d)).sub(dir[h].mul(mitre[h])) // the same point from both sides
			}
			if mitre[i] >= 0 {
				b = c[j].add(ni.mul(d)).sub(dir[i].mul(mitre[i]))
			}
			raw = append(raw, seg{a, b})
			if mitre[i] >= 0 {
				continue
			}
			next := c[j].add(nj.mul(d))
			turn := math.Atan2(dir[i].cross(dir[j]), dir[i].dot(dir[j]))
			if turn < -1e-9 { // reflex: an arc around the corner
				k := int(math.Ceil(-turn / (6 * math.Pi / 180)))
				from := math.Atan2(ni.y, ni.x)
				p := b
				for s := 1; s <= k; s++ {
					q := next
					if s < k {
						sn, cs := math.Sincos(from + turn*float64(s)/float64(k))
						q = c[j].add(pt{cs, sn}.mul(d))
					}
					raw = append(raw, seg{p, q})
					p = q
				}
			} else if b.dist(next) > 1e-9 {
				raw = append(raw, seg{b, next})
			}
		}
	}
	if len(raw) == 0 {
		return nil, 0
	}
	lo, hi := raw[0].a, raw[0].a
	for _, s := range append(append([]seg(nil), raw...), orig...) {
		for _, p := range []pt{s.a, s.b} {
			lo, hi = pt{math.Min(lo.x, p.x), math.Min(lo.y, p.y)}, pt{math.Max(hi.x, p.x), math.Max(hi.y, p.y)}
		}
	}
	cell := math.Max(1.5*d, math.Sqrt((hi.x-lo.x)*(hi.y-lo.y)/float64(len(raw)+1)))
	nx, ny := int((hi.x-lo.x)/cell)+1, int((hi.y-lo.y)/cell)+1
	grid := func(segs []seg) [][]int32 {
		g := make([][]int32, nx*ny)
		for i, s := range segs {
			each(s.a, s.b, lo, cell, nx, ny, 0, func(k int) { g[k] = append(g[k], int32(i)) })
		}
		return g
	}
	og, rg := grid(orig), grid(raw)
	// crossings of raw segments
	type cut struct {
		t float64
		p pt
	}
	cuts := make([][]cut, len(raw))
	seen := map[[2]int32]bool{}
	for _, list := range rg {
		for x := 0; x < len(list); x++ {
			for y := x + 1; y < len(list); y++ {
				i, j := list[x], list[y]
				if i > j {
					i, j = j, i
				}
				if seen[[2]int32{i, j}] {
					continue
				}
				seen[[2]int32{i, j}] = true
				s, r := raw[i], raw[j]
				u, w := s.b.sub(s.a), r.b.sub(r.a)
				den := u.cross(w)
				if math.Abs(den) < 1e-14 {
					continue
				}
				q := r.a.sub(s.a)
				ti, tj := q.cross(w)/den, q.cross(u)/den
				const e = 1e-9
				if ti < -e || ti > 1+e || tj < -e || tj > 1+e {
					continue
				}
				p := lerp(s.a, s.b, ti)
				cuts[i] = append(cuts[i], cut{ti, p})
				cuts[j] = append(cuts[j], cut{tj, p})
			}
		}
	}
	tol := math.Max(1e-6, 0.004*d)
	far := func(p pt) bool {
		lim := (d - tol) * (d - tol)
		ok := true
		x0, x1 := clampi(int((p.x-d-lo.x)/cell), nx), clampi(int((p.x+d-lo.x)/cell), nx)
		y0, y1 := clampi(int((p.y-d-lo.y)/cell), ny), clampi(int((p.y+d-lo.y)/cell), ny)
		for y := y0; y <= y1 && ok; y++ {
			for x := x0; x <= x1 && ok; x++ {
				for _, i := range og[y*nx+x] {
					if dist2(p, orig[i].a, orig[i].b) < lim {
						ok = false
						break
					}
				}
			}
		}
		return ok
	}
	// kept pieces
	const q = 1e-6
	key := func(p pt) [2]int64 { return [2]int64{int64(math.Round(p.x / q)), int64(math.Round(p.y / q))} }
	var kept []seg
	for i, s := range raw {
		c := cuts[i]
		sort.Slice(c, func(a, b int) bool { return c[a].t < c[b].t })
		p := s.a
		for k := 0; k <= len(c); k++ {
			e := s.b
			if k < len(c) {
				e = c[k].p
			}
			if key(p) != key(e) {
				if far(lerp(p, e, 0.5)) {
					kept = append(kept, seg{p, e})
				}
				p = e
			}
		}
	}
	from := map[[2]int64][]int32{}
	for i, s := range kept {
		k := key(s.a)
		from[k] = append(from[k], int32(i))
	}
	used := make([]bool, len(kept))
	for i := range kept {
		if used[i] {
			continue
		}
		loop := []pt{kept[i].a}
		used[i] = true
		end := kept[i].b
		start := key(kept[i].a)
		closed := false
		for {
			if key(end) == start {
				closed = true
				break
			}
			next := pick(from, key, end, used)
			if next < 0 { // a sliver was dropped between two pieces: go on at the nearest start
				best := 0.01 + 0.4*d
				if len(loop) > 2 && end.dist(loop[0]) < best {
					closed = true
					break
				}
				for k := range kept {
					if g := kept[k].a.dist(end); !used[k] && g < best {
						best, next = g, int32(k)
					}
				}
				if next < 0 {
					break
				}
			}
			used[next] = true
			loop = append(loop, kept[next].a)
			end = kept[next].b
		}
		if !closed {
			if len(loop) < 3 || end.dist(loop[0]) > 0.4*d {
				if length(loop) > 2*d {
					opens++
				}
				continue
			}
			loop = append(loop, end)
		}
		if len(loop) >= 3 && length(loop) > 2*d && area(loop) != 0 {
			loops = append(loops, loop)
		}
	}
	return loops, opens
}

// pick finds an unused piece that starts at p, or within a rounding step of it.
func pick(from map[[2]int64][]int32, key func(pt) [2]int64, p pt, used []bool) int32 {
	k := key(p)
	for _, dx := range []int64{0, 1, -1, 2, -2} {
		for _, dy := range []int64{0, 1, -1, 2, -2} {
			for _, i := range from[[2]int64{k[0] + dx, k[1] + dy}] {
				if !used[i] {
					return i
				}
			}
		}
	}
	return -1
}

func clampi(i, n int) int { return max(0, min(i, n-1)) }

func dist2(p, a, b pt) float64 {
	u := b.sub(a)
	l := u.dot(u)
	t := 0.0
	if l > 0 {
		t = math.Max(0, math.Min(1, p.sub(a).dot(u)/l))
	}
	v := p.sub(lerp(a, b, t))
	return v.dot(v)
}

// each visits the grid cells near a segment.
func each(a, b, lo pt, cell float64, nx, ny int, pad float64, f func(k int)) {
	l := a.dist(b)
	steps := int(l/cell) + 1
	last := [4]int{-1, -1, -1, -1}
	for s := 0; s < steps; s++ {
		p, q := lerp(a, b, float64(s)/float64(steps)), lerp(a, b, float64(s+1)/float64(steps))
		x0, x1 := clampi(int((math.Min(p.x, q.x)-pad-lo.x)/cell), nx), clampi(int((math.Max(p.x, q.x)+pad-lo.x)/cell), nx)
		y0, y1 := clampi(int((math.Min(p.y, q.y)-pad-lo.y)/cell), ny), clampi(int((math.Max(p.y, q.y)+pad-lo.y)/cell), ny)
		for y := y0; y <= y1; y++ {
			for x := x0; x <= x1; x++ {
				if x >= last[0] && x <= last[1] && y >= last[2] && y <= last[3] {
					continue
				}
				f(y*nx + x)
			}
		}
		last = [4]int{x0, x1, y0, y1}
	}
}

// simplify drops points that stray less than tol from the line they lie on (Douglas & Peucker 1973), keeping a loop a loop.
func simplify(loop []pt, tol float64) []pt {
	n := len(loop)
	if n < 5 {
		return loop
	}
	// anchor at the two points farthest apart from the first
	far, at := 0.0, 0
	for i := range loop {
		if d := loop[i].dist(loop[0]); d > far {
			far, at = d, i
		}
	}
	if at == 0 {
		return nil
	}
	keep := make([]bool, n+1)
	keep[0], keep[at], keep[n] = true, true, true
	get := func(i int) pt { return loop[i%n] }
	var rec func(i, j int)
	rec = func(i, j int) {
		worst, k := tol*tol, -1
		for m := i + 1; m < j; m++ {
			if d := dist2(get(m), get(i), get(j)); d > worst {
				worst, k = d, m
			}
		}
		if k >= 0 {
			keep[k] = true
			rec(i, k)
			rec(k, j)
		}
	}
	rec(0, at)
	rec(at, n)
	var out []pt
	for i := 0; i < n; i++ {
		if keep[i] {
			out = append(out, loop[i])
		}
	}
	if len(out) < 3 {
		return nil
	}
	return out
}
