package faces

import (
	"math"
	"slices"

	"firstoff/geom/r3"
)

// arcs collects how far triangles reach around a cylinder's axis.
type arcs struct {
	c      *Cylinder
	e1, e2 r3.Vec
	list   [][2]float64 // from, to; to - from < π
}

func newArcs(c Cylinder) *arcs {
	a := &arcs{c: &c}
	a.e1, a.e2 = across(c.Axis)
	return a
}

func (a *arcs) angle(p r3.Vec) float64 {
	d := p.Sub(a.c.Point)
	return math.Atan2(d.Dot(a.e2), d.Dot(a.e1))
}

func (a *arcs) triangle(p, q, r r3.Vec) {
	x := a.angle(p)
	lo, hi := 0.0, 0.0
	for _, y := range []float64{a.angle(q), a.angle(r)} {
		d := math.Remainder(y-x, 2*math.Pi)
		lo, hi = math.Min(lo, d), math.Max(hi, d)
	}
	if hi-lo < math.Pi {
		a.list = append(a.list, [2]float64{x + lo, x + hi})
	}
}

// total is the angle covered, at most 2π.
func (a *arcs) total() float64 {
	var flat [][2]float64
	for _, s := range a.list {
		lo := math.Mod(s[0], 2*math.Pi)
		if lo < 0 {
			lo += 2 * math.Pi
		}
		hi := lo + s[1] - s[0]
		flat = append(flat, [2]float64{lo, math.Min(hi, 2*math.Pi)})
		if hi > 2*math.Pi {
			flat = append(flat, [2]float64{0, hi - 2*math.Pi})
		}
	}
	slices.SortFunc(flat, func(p, q [2]float64) int {
		if p[0] < q[0] {
			return -1
		} else if p[0] > q[0] {
			return 1
		}
		return 0
	})
	sum, end := 0.0, 0.0
	for _, s := range flat {
		if s[1] > end {
			sum += s[1] - math.Max(s[0], end)
			end = s[1]
		}
	}
	return sum
}
