package section

import (
	"math"
	"slices"
)

// Contours are the closed polygons of one layer, material to the left.
type Contours struct {
	Z      float64 // mm
	Points []Point // of all contours, one after another; the first is not repeated at the end
	End    []int32 // per contour: where its points end
	Open   int     // how many needed a gap of the surface bridged; they come last
}

// Len is the number of contours.
func (c *Contours) Len() int { return len(c.End) }

// Contour gives the points of contour i.
func (c *Contours) Contour(i int) []Point {
	from := int32(0)
	if i > 0 {
		from = c.End[i-1]
	}
	return c.Points[from:c.End[i]:c.End[i]]
}

// Clone is a copy that outlives the Work it came from.
func (c *Contours) Clone() *Contours {
	return &Contours{c.Z, slices.Clone(c.Points), slices.Clone(c.End), c.Open}
}

// Area is the signed area of a closed polygon, positive when counter-clockwise, mm².
func Area(p []Point) float64 {
	var sum float64
	for i := 2; i < len(p); i++ {
		sum += (p[i-1].X-p[0].X)*(p[i].Y-p[0].Y) - (p[i].X-p[0].X)*(p[i-1].Y-p[0].Y)
	}
	return sum / 2
}

// Length is the length of a closed polygon, mm.
func Length(p []Point) float64 {
	var sum float64
	for i := range p {
		q := p[(i+1)%len(p)]
		sum += math.Sqrt((p[i].X-q.X)*(p[i].X-q.X) + (p[i].Y-q.Y)*(p[i].Y-q.Y))
	}
	return sum
}

// Contains says whether a point lies inside a closed polygon by the even-odd rule.
func Contains(p []Point, at Point) bool {
	in := false
	for i, j := 0, len(p)-1; i < len(p); j, i = i, i+1 {
		a, b := p[j], p[i]
		if (a.Y <= at.Y) != (b.Y <= at.Y) && at.X < a.X+(at.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			in = !in
		}
	}
	return in
}

// Nest gives for each contour the smallest one around it, or -1. Contours that cross each other are nested by where
// their first point lies.
func (c *Contours) Nest() []int {
	n := c.Len()
	type ring struct {
		p          []Point
		area       float64
		lo, hi     Point
		containing int
	}
	rings := make([]ring, n)
	order := make([]int, n)
	for i := range rings {
		p := c.Contour(i)
		r := ring{p: p, area: math.Abs(Area(p)), lo: p[0], hi: p[0]}
		for _, q := range p {
			r.lo = Point{min(r.lo.X, q.X), min(r.lo.Y, q.Y)}
			r.hi = Point{max(r.hi.X, q.X), max(r.hi.Y, q.Y)}
		}
		rings[i], order[i] = r, i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case rings[a].area < rings[b].area:
			return -1
		case rings[a].area > rings[b].area:
			return 1
		}
		return a - b
	})
	parent := make([]int, n)
	for k, i := range order {
		parent[i] = -1
		at := rings[i].p[0]
		for _, j := range order[k+1:] {
			r := &rings[j]
			if at.X < r.lo.X || at.X > r.hi.X || at.Y < r.lo.Y || at.Y > r.hi.Y || r.area == rings[i].area {
				continue
			}
			if Contains(r.p, at) {
				parent[i] = j
				break
			}
		}
	}
	return parent
}
