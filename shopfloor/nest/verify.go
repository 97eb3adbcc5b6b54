package nest

import (
	"math"
	"sort"
)

// The judge is written apart from the search: it shares no geometry with it. It works on the outlines as given, never on a
// simplified or cut one, and measures the shared area of two outlines by slabs between all corner and crossing heights, in
// which edges do not cross, so that the sum of trapezia is exact up to rounding.

// ring is a placed outline.
type ring [][2]float64

// placeRing turns r about the origin by deg, then moves it.
func placeRing(r [][2]float64, deg, x, y float64) ring {
	q := int(math.Round(math.Mod(math.Mod(deg, 360)+360, 360) * 1e6))
	s, c := math.Sincos(deg * math.Pi / 180)
	switch q {
	case 0, 360e6:
		s, c = 0, 1
	case 90e6:
		s, c = 1, 0
	case 180e6:
		s, c = 0, -1
	case 270e6:
		s, c = -1, 0
	}
	out := make(ring, len(r))
	for i, p := range r {
		out[i] = [2]float64{c*p[0] - s*p[1] + x, s*p[0] + c*p[1] + y}
	}
	return out
}

func (r ring) bounds() (x0, y0, x1, y1 float64) {
	x0, y0, x1, y1 = math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, p := range r {
		x0, x1 = math.Min(x0, p[0]), math.Max(x1, p[0])
		y0, y1 = math.Min(y0, p[1]), math.Max(y1, p[1])
	}
	return
}

func (r ring) area() float64 {
	var s float64
	for i := range r {
		j := (i + 1) % len(r)
		s += (r[i][0]-r[0][0])*(r[j][1]-r[0][1]) - (r[j][0]-r[0][0])*(r[i][1]-r[0][1])
	}
	return math.Abs(s) / 2
}

// shared is the area that two rings have in common.
func shared(a, b ring) float64 {
	ax0, ay0, ax1, ay1 := a.bounds()
	bx0, by0, bx1, by1 := b.bounds()
	lo, hi := math.Max(ay0, by0), math.Min(ay1, by1)
	if lo >= hi || math.Max(ax0, bx0) >= math.Min(ax1, bx1) {
		return 0
	}
	type seg struct{ x0, y0, x1, y1 float64 } // y0 < y1
	edges := func(r ring) (out []seg) {
		for i, p := range r {
			q := r[(i+1)%len(r)]
			if p[1] > q[1] {
				p, q = q, p
			}
			if p[1] < q[1] && q[1] > lo && p[1] < hi {
				out = append(out, seg{p[0], p[1], q[0], q[1]})
			}
		}
		return
	}
	ea, eb := edges(a), edges(b)
	at := func(s seg, y float64) float64 { return s.x0 + (s.x1-s.x0)*(y-s.y0)/(s.y1-s.y0) }
	ys := []float64{lo, hi}
	add := func(y float64) {
		if y > lo && y < hi {
			ys = append(ys, y)
		}
	}
	for _, s := range append(append([]seg(nil), ea...), eb...) {
		add(s.y0)
		add(s.y1)
	}
	all := append(append([]seg(nil), ea...), eb...)
	for i, s := range all {
		for _, t := range all[i+1:] {
			y0, y1 := math.Max(s.y0, t.y0), math.Min(s.y1, t.y1)
			if y0 >= y1 {
				continue
			}
			d0, d1 := at(s, y0)-at(t, y0), at(s, y1)-at(t, y1)
			if d0*d1 < 0 {
				add(y0 + (y1-y0)*d0/(d0-d1))
			}
		}
	}
	sort.Float64s(ys)
	var sum float64
	var xa, xb []float64
	cross := func(es []seg, y float64, into []float64) []float64 {
		into = into[:0]
		for _, s := range es {
			if s.y0 <= y && y < s.y1 {
				into = append(into, at(s, y))
			}
		}
		sort.Float64s(into)
		return into
	}
	for k := 0; k+1 < len(ys); k++ {
		h := ys[k+1] - ys[k]
		if h <= 0 {
			continue
		}
		mid := ys[k] + h/2
		xa, xb = cross(ea, mid, xa), cross(eb, mid, xb)
		i, j := 0, 0
		for i+1 < len(xa) && j+1 < len(xb) {
			l := math.Max(xa[i], xb[j])
			r := math.Min(xa[i+1], xb[j+1])
			if r > l {
				sum += (r - l) * h
			}
			if xa[i+1] < xb[j+1] {
				i += 2
			} else {
				j += 2
			}
		}
	}
	return sum
}

// gap is the least distance between the borders of two rings.
func gap(a, b ring) float64 {
	best := math.Inf(1)
	for i, p := range a {
		p2 := a[(i+1)%len(a)]
		for j, q := range b {
			q2 := b[(j+1)%len(b)]
			best = math.Min(best, math.Min(
				math.Min(pointSeg(p, q, q2), pointSeg(p2, q, q2)),
				math.Min(pointSeg(q, p, p2), pointSeg(q2, p, p2))))
		}
	}
	return best
}

func pointSeg(p, a, b [2]float64) float64 {
	dx, dy := b[0]-a[0], b[1]-a[1]
	t := 0.0
	if l := dx*dx + dy*dy; l > 0 {
		t = math.Max(0, math.Min(1, ((p[0]-a[0])*dx+(p[1]-a[1])*dy)/l))
	}
	return math.Hypot(p[0]-a[0]-t*dx, p[1]-a[1]-t*dy)
}
