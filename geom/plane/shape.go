package plane

import (
	"cmp"
	"math"
	"slices"
)

// ConvexHull is the hull of a region's points, counter-clockwise, corners only (Andrew 1979, monotone chain). Exact.
func ConvexHull(r Region) Path {
	var pts []Point
	for _, p := range r {
		pts = append(pts, p...)
	}
	slices.SortFunc(pts, func(a, b Point) int { return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(a.Y, b.Y)) })
	pts = slices.Compact(pts)
	if len(pts) < 3 {
		return pts
	}
	var hull Path
	grow := func(q Point, floor int) {
		for len(hull) >= floor+2 && side(hull[len(hull)-2], hull[len(hull)-1], q) <= 0 {
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

// Rectangle is a rectangle at any angle.
type Rectangle struct {
	LongMM, ShortMM float64
	AngleDeg        float64 // of the long side to the x axis, in [0, 180)
}

// LeastRectangle is the rectangle of least area around a region: one side lies on an edge of the hull (Freeman & Shapira
// 1975).
func LeastRectangle(r Region) Rectangle {
	hull := ConvexHull(r)
	best := Rectangle{}
	area := math.Inf(1)
	for i, a := range hull {
		b := hull[(i+1)%len(hull)]
		l := math.Hypot(float64(b.X-a.X), float64(b.Y-a.Y))
		if l == 0 {
			continue
		}
		ux, uy := float64(b.X-a.X)/l, float64(b.Y-a.Y)/l
		x0, x1, y0, y1 := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
		for _, p := range hull {
			px, py := float64(p.X-a.X), float64(p.Y-a.Y)
			x, y := px*ux+py*uy, py*ux-px*uy
			x0, x1, y0, y1 = min(x0, x), max(x1, x), min(y0, y), max(y1, y)
		}
		if w, h := (x1-x0)/PerMM, (y1-y0)/PerMM; w*h < area*(1-1e-9) {
			area = w * h
			angle := math.Atan2(uy, ux) * 180 / math.Pi
			if h > w {
				w, h, angle = h, w, angle+90
			}
			best = Rectangle{w, h, math.Mod(math.Mod(angle, 180)+180, 180)}
		}
	}
	return best
}

// Simplify leaves out points as long as no left-out point lies farther than tol (mm) from the path that remains
// (Douglas & Peucker 1973), then cleans up should paths have come to cross. Paths that shrink to nothing go.
func Simplify(r Region, tol float64) Region {
	out := make(Region, 0, len(r))
	t2 := tol * PerMM * tol * PerMM
	for _, p := range r {
		if len(p) < 4 {
			out = append(out, p)
			continue
		}
		// two fixed points: the first, and the one farthest from it
		far, best := 0, -1.0
		for i, q := range p {
			if d := distance2(q, p[0], p[0]); d > best {
				far, best = i, d
			}
		}
		keep := make([]bool, len(p)+1)
		keep[0], keep[far], keep[len(p)] = true, true, true
		closed := append(slices.Clone(p), p[0])
		thin(closed, keep, 0, far, t2)
		thin(closed, keep, far, len(p), t2)
		var q Path
		for i := range p {
			if keep[i] {
				q = append(q, p[i])
			}
		}
		if len(q) >= 3 {
			out = append(out, q)
		}
	}
	return Union(out, Positive)
}

func thin(p Path, keep []bool, from, to int, t2 float64) {
	for to-from > 1 {
		far, best := 0, t2
		for i := from + 1; i < to; i++ {
			if d := distance2(p[i], p[from], p[to]); d > best {
				far, best = i, d
			}
		}
		if far == 0 {
			return
		}
		keep[far] = true
		thin(p, keep, from, far, t2)
		from = far
	}
}

// distance2 is the squared distance of p from the segment a b, in steps.
func distance2(p, a, b Point) float64 {
	dx, dy := float64(b.X-a.X), float64(b.Y-a.Y)
	px, py := float64(p.X-a.X), float64(p.Y-a.Y)
	if l := dx*dx + dy*dy; l > 0 {
		t := max(0, min(1, (px*dx+py*dy)/l))
		px, py = px-t*dx, py-t*dy
	}
	return px*px + py*py
}
