package pose

import (
	"cmp"
	"math"
	"slices"

	"firstoff/geom/r3"
)

type flat struct{ x, y float64 }

// frame gives two horizontal unit axes that make (x, y, up) right-handed.
func frame(up r3.Vec) (x, y r3.Vec) {
	q := r3.Between(r3.Vec{Z: 1}, up)
	return q.Rotate(r3.Vec{X: 1}), q.Rotate(r3.Vec{Y: 1})
}

// outlineOf is the convex outline of the part seen along up, counter-clockwise in the frame (x, y): from its farthest
// vertices in 64 horizontal directions.
func (p *Part) outlineOf(x, y r3.Vec) []flat {
	pts := make([]flat, 0, 64)
	var known []uint32
	for i := range 64 {
		s, c := math.Sincos(2 * math.Pi * float64(i) / 64)
		v, _ := p.Extremes.Farthest(x.Mul(c).Add(y.Mul(s)), known)
		known = append(known, v)
		w := p.Extremes.at(v)
		pts = append(pts, flat{w.Dot(x), w.Dot(y)})
	}
	return convex(pts)
}

// convex is the convex hull of points, counter-clockwise (Andrew 1979, monotone chain).
func convex(pts []flat) []flat {
	slices.SortFunc(pts, func(a, b flat) int { return cmp.Or(cmp.Compare(a.x, b.x), cmp.Compare(a.y, b.y)) })
	pts = slices.Compact(pts)
	if len(pts) < 3 {
		return pts
	}
	hull := make([]flat, 0, len(pts)+1)
	grow := func(q flat, floor int) {
		for len(hull) >= floor+2 {
			a, b := hull[len(hull)-2], hull[len(hull)-1]
			if (b.x-a.x)*(q.y-a.y)-(b.y-a.y)*(q.x-a.x) > 0 {
				break
			}
			hull = hull[:len(hull)-1]
		}
		hull = append(hull, q)
	}
	for _, q := range pts {
		grow(q, 0)
	}
	floor := len(hull) - 1
	for _, q := range slices.Backward(pts[:len(pts)-1]) {
		grow(q, floor)
	}
	return hull[:len(hull)-1]
}

// leastRectangle turns a convex outline so that its bounding rectangle is smallest (one side lies on an edge: Freeman &
// Shapira 1975) and gives the angle of the rectangle's longer side and both sides.
func leastRectangle(hull []flat) (angle, long, short float64) {
	best := math.Inf(1)
	for i, a := range hull {
		b := hull[(i+1)%len(hull)]
		l := math.Hypot(b.x-a.x, b.y-a.y)
		if l == 0 {
			continue
		}
		c, s := (b.x-a.x)/l, (b.y-a.y)/l
		w, d := extent(hull, c, s)
		if area := w * d; area < best*(1-1e-9) {
			best, angle, long, short = area, math.Atan2(s, c), w, d
		}
	}
	if short > long {
		angle, long, short = angle+math.Pi/2, short, long
	}
	return angle, long, short
}

// extent is a convex outline's size along (c, s) and across.
func extent(hull []flat, c, s float64) (along, across float64) {
	x0, x1, y0, y1 := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, p := range hull {
		x, y := p.x*c+p.y*s, p.y*c-p.x*s
		x0, x1, y0, y1 = min(x0, x), max(x1, x), min(y0, y), max(y1, y)
	}
	return x1 - x0, y1 - y0
}

// lay looks for an angle at which the outline fits w x d: the smallest rectangle first, then every degree.
func lay(hull []flat, w, d float64) (angle float64, fits bool) {
	a, long, short := leastRectangle(hull)
	if long <= w && short <= d {
		return a, true
	}
	if long <= d && short <= w {
		return a + math.Pi/2, true
	}
	for i := range 180 {
		t := float64(i) * math.Pi / 180
		s, c := math.Sincos(t)
		if x, y := extent(hull, c, s); x <= w && y <= d {
			return t, true
		}
	}
	return a, false
}
