package unite

import (
	"math"

	"firstoff/geom/mesh"
)

// columns files the facets of closed shells by the cells of a grid across an axis, for rays along it.
type columns struct {
	axis, u, v int
	lo, inv    [2]float64
	n          [2]int
	off        []int32
	facets     []int32
}

func newColumns(w *work, axis int) *columns {
	g := &columns{axis: axis, u: (axis + 1) % 3, v: (axis + 2) % 3}
	hi := [2]float64{math.Inf(-1), math.Inf(-1)}
	g.lo = [2]float64{math.Inf(1), math.Inf(1)}
	span := func(f int) (lo, hi [2]float64) {
		a, b, c := w.corners(int32(f))
		for k, x := range [2]int{g.u, g.v} {
			lo[k], hi[k] = min(a.f[x], b.f[x], c.f[x]), max(a.f[x], b.f[x], c.f[x])
		}
		return
	}
	for f, s := range w.shell {
		if s != mesh.None {
			l, h := span(f)
			for k := range 2 {
				g.lo[k], hi[k] = min(g.lo[k], l[k]), max(hi[k], h[k])
			}
		}
	}
	side := math.Sqrt((hi[0] - g.lo[0]) * (hi[1] - g.lo[1]) / float64(w.closed/2+1))
	for k := range 2 {
		g.n[k] = 1
		if s := hi[k] - g.lo[k]; s > 0 && side > 0 {
			g.n[k] = int(min(max(s/side, 1), 4096))
			g.inv[k] = float64(g.n[k]) / s
		}
	}
	each := func(visit func(cell, f int32)) {
		for f, s := range w.shell {
			if s == mesh.None {
				continue
			}
			l, h := span(f)
			for y := g.at(1, l[1]); y <= g.at(1, h[1]); y++ {
				for x := g.at(0, l[0]); x <= g.at(0, h[0]); x++ {
					visit(int32(y*g.n[0]+x), int32(f))
				}
			}
		}
	}
	g.off = make([]int32, g.n[0]*g.n[1]+1)
	each(func(c, _ int32) { g.off[c+1]++ })
	for i := range len(g.off) - 1 {
		g.off[i+1] += g.off[i]
	}
	g.facets = make([]int32, g.off[len(g.off)-1])
	next := append([]int32(nil), g.off...)
	each(func(c, f int32) {
		g.facets[next[c]] = f
		next[c]++
	})
	return g
}

// at is the row or column of the grid that holds x: never lower for a larger x, so a point within a facet's span is filed where the facet is.
func (g *columns) at(k int, x float64) int {
	return min(max(int((x-g.lo[k])*g.inv[k]), 0), g.n[k]-1)
}

// above is how often the shells wind around the place just above p: facets above it that face along the axis less those that face
// against it. Facets through p do not count. A ray through an edge is decided as if p lay a little lower along u and higher along v.
func (g *columns) above(w *work, p point) (n int) {
	c := g.at(1, p.f[g.v])*g.n[0] + g.at(0, p.f[g.u])
	for _, f := range g.facets[g.off[c]:g.off[c+1]] {
		n += over(&w.cutter, f, &p, g.u, g.v)
	}
	return n
}

// over is 1 or -1 if facet f lies above p along the axis after u and v, by the way it faces, else 0.
func over(c *cutter, f int32, p *point, u, v int) int {
	a, b, d := c.corners(f)
	s := past(a, b, p, u, v) + past(b, d, p, u, v) + past(d, a, p, u, v)
	if s != 0 && side(a, b, d, p) == -s {
		return s
	}
	return 0
}

// past counts the edge from a to b if it runs past p on the right: 1 upwards along v, -1 downwards.
func past(a, b, p *point, u, v int) int {
	ay, by := compare(a, p, v), compare(b, p, v)
	switch {
	case ay <= 0 && by > 0:
		if turn(a, b, p, u, v) >= 0 {
			return 1
		}
	case by <= 0 && ay > 0:
		if turn(a, b, p, u, v) <= 0 {
			return -1
		}
	}
	return 0
}
