package printability

import (
	"math"
	"slices"

	"firstoff/geom/r3"
	"firstoff/part"
)

// tip: how far a part as posed may be tilted before it falls over its own base (without supports).
func tip(q *Question) []part.Finding {
	if q.Geometry == nil || q.Pose == nil || !q.Process.NeedsSupport {
		return nil
	}
	deg, ok := q.Geometry.TipDeg(*q.Pose)
	if !ok || deg >= 10 {
		return nil
	}
	return one(finding(Note, practice+": tips at less than 10°", deg, 10, "deg", "As posed the part stands on so little that it tips over at %.0f°: it needs supports to the side or another pose.", deg))
}

// TipDeg is the tilt at which the part as posed tips over the edge of what it stands on; 0 where it does not stand by itself at all.
func (g *Geometry) TipDeg(pose r3.Quat) (float64, bool) {
	g.mu.Lock()
	deg, known := g.tips[pose]
	g.mu.Unlock()
	if known {
		return deg, true
	}
	deg, ok := g.tipDeg(pose)
	if ok {
		g.mu.Lock()
		g.tips[pose] = deg
		g.mu.Unlock()
	}
	return deg, ok
}

func (g *Geometry) tipDeg(pose r3.Quat) (float64, bool) {
	m := g.Mesh
	c := g.measure().CentroidMM
	low := math.Inf(1)
	pts := make([]r3.Vec, m.Vertices())
	for v := range pts {
		pts[v] = pose.Rotate(m.Vertex(uint32(v)))
		low = math.Min(low, pts[v].Z)
	}
	var base []r3.Vec
	for _, p := range pts {
		if p.Z < low+0.05 {
			base = append(base, p)
		}
	}
	if len(base) == 0 {
		return 0, false
	}
	c = pose.Rotate(c)
	h := c.Z - low
	if h <= 0 {
		return 90, true
	}
	hull := outline(base)
	if len(hull) < 3 {
		return 0, true
	}
	near := math.Inf(1)
	for i := range hull {
		a, b := hull[i], hull[(i+1)%len(hull)]
		e := b.Sub(a)
		l := math.Hypot(e.X, e.Y)
		if l == 0 {
			continue
		}
		near = math.Min(near, (e.X*(c.Y-a.Y)-e.Y*(c.X-a.X))/l)
	}
	return math.Max(0, math.Atan2(near, h)*180/math.Pi), true
}

// outline is the convex hull of points seen from above, counter-clockwise (Andrew 1979).
func outline(p []r3.Vec) []r3.Vec {
	p = slices.Clone(p)
	slices.SortFunc(p, func(a, b r3.Vec) int {
		switch {
		case a.X < b.X || a.X == b.X && a.Y < b.Y:
			return -1
		case a.X == b.X && a.Y == b.Y:
			return 0
		}
		return 1
	})
	turn := func(a, b, c r3.Vec) float64 { return (b.X-a.X)*(c.Y-a.Y) - (b.Y-a.Y)*(c.X-a.X) }
	half := func(next func(i int) r3.Vec) []r3.Vec {
		var h []r3.Vec
		for i := range p {
			v := next(i)
			for len(h) >= 2 && turn(h[len(h)-2], h[len(h)-1], v) <= 0 {
				h = h[:len(h)-1]
			}
			h = append(h, v)
		}
		return h
	}
	lower := half(func(i int) r3.Vec { return p[i] })
	upper := half(func(i int) r3.Vec { return p[len(p)-1-i] })
	if len(lower) < 2 || len(upper) < 2 {
		return lower
	}
	return append(lower[:len(lower)-1], upper[:len(upper)-1]...)
}
