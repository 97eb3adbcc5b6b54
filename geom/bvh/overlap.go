package bvh

import (
	"math"

	"firstoff/geom/r3"
)

// Overlap calls visit for every facet that meets the box (its surface included), in no order, until it says false. Decided by separating axes
// in float64: a facet that only touches may go either way by rounding.
func (t *Tree) Overlap(box r3.Box, visit func(facet uint32) bool) {
	if len(t.nodes) == 0 || box.Empty() {
		return
	}
	lo := [3]float32{down(box.Min.X), down(box.Min.Y), down(box.Min.Z)}
	hi := [3]float32{-down(-box.Max.X), -down(-box.Max.Y), -down(-box.Max.Z)}
	var stack [2 * maxDepth]int32
	sp := 1
	for sp > 0 {
		sp--
		at := stack[sp]
		if at < 0 {
			first, count := leafOf(at)
			for i := first; i < first+count; i++ {
				if t.tri[i].meets(box) && !visit(t.id[i]) {
					return
				}
			}
			continue
		}
		n := &t.nodes[at]
		for c := range 2 {
			s := 2 * c
			if n.x[s] <= hi[0] && n.x[s+1] >= lo[0] && n.y[s] <= hi[1] && n.y[s+1] >= lo[1] && n.z[s] <= hi[2] && n.z[s+1] >= lo[2] {
				stack[sp] = n.child[c]
				sp++
			}
		}
	}
}

// down is the largest float32 not above v.
func down(v float64) float32 {
	f := float32(v)
	if float64(f) > v {
		f = math.Nextafter32(f, -inf)
	}
	return f
}

// meets is the test of thirteen axes (Akenine-Möller, JGT 6(1), 2001).
func (f *tri) meets(b r3.Box) bool {
	c, h := b.Center(), b.Size().Mul(0.5)
	var v [3]r3.Vec
	for i := range v {
		v[i] = r3.Vec{X: float64(f.x[i]), Y: float64(f.y[i]), Z: float64(f.z[i])}.Sub(c)
	}
	apart := func(a r3.Vec) bool {
		p, q, r := a.Dot(v[0]), a.Dot(v[1]), a.Dot(v[2])
		s := h.X*math.Abs(a.X) + h.Y*math.Abs(a.Y) + h.Z*math.Abs(a.Z)
		return min(p, q, r) > s || max(p, q, r) < -s
	}
	axes := [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}
	for _, a := range axes {
		if apart(a) {
			return false
		}
	}
	e := [3]r3.Vec{v[1].Sub(v[0]), v[2].Sub(v[1]), v[0].Sub(v[2])}
	if apart(e[0].Cross(e[1])) {
		return false
	}
	for _, a := range axes {
		for _, d := range e {
			if apart(a.Cross(d)) {
				return false
			}
		}
	}
	return true
}

// Inside says whether p lies in the material of a closed surface that faces outwards: along two of three unlike
// directions the nearest facet is met from behind.
func (t *Tree) Inside(p r3.Vec) bool {
	in := 0
	for _, d := range [3]r3.Vec{{X: 0.8134732861, Y: 0.1364727463, Z: 0.5653874112}, {X: -0.2453190427, Y: 0.9128709292, Z: -0.3265986324}, {X: 0.3713906764, Y: -0.5570860145, Z: -0.7427813527}} {
		if h, ok := t.Ray(p, d, math.Inf(1)); ok && !h.Front {
			in++
		}
	}
	return in >= 2
}
