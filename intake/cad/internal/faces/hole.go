package faces

import (
	"math"
	"slices"

	"firstoff/geom/r3"
)

// Hole is a round hole: concave cylinder faces on one axis and of one diameter that together go around it.
type Hole struct {
	Diameter float64
	Depth    float64 // of the cylindrical part
	Axis     r3.Vec  // unit, from the mouth into the hole
	At       r3.Vec  // middle of the mouth
	Through  bool    // open at both ends
}

// minTurn is how far around its axis a wall must go to count as a hole: less is a slot's end or a fillet.
const minTurn = 1.5 * math.Pi

// findHoles groups the concave cylinders.
func (s *Surface) findHoles(e *edges, tol float64) []Hole {
	type wall struct {
		c    *Cylinder
		foot r3.Vec // the point of the axis nearest the box's middle
	}
	var walls []wall
	o := s.Box.Center()
	for i := range s.Cylinders {
		if c := &s.Cylinders[i]; c.Concave {
			d := o.Sub(c.Point)
			walls = append(walls, wall{c, c.Point.Add(c.Axis.Mul(d.Dot(c.Axis)))})
		}
	}
	slices.SortStableFunc(walls, func(a, b wall) int {
		if a.foot.X < b.foot.X {
			return -1
		} else if a.foot.X > b.foot.X {
			return 1
		}
		return 0
	})
	facets := s.facetsByFace()
	slack := 4 * tol
	used := make([]bool, len(walls))
	var holes []Hole
	for i, w := range walls {
		if used[i] {
			continue
		}
		used[i] = true
		axis := *w.c // the group's frame
		group := []span{axis.span(w.c)}
		for j := i + 1; j < len(walls) && walls[j].foot.X-w.foot.X <= 2*slack; j++ {
			if o := walls[j].c; !used[j] && math.Abs(o.Radius-axis.Radius) <= slack && axis.coaxial(o, slack) {
				used[j] = true
				group = append(group, axis.span(o))
			}
		}
		slices.SortStableFunc(group, func(a, b span) int {
			if a.lo < b.lo {
				return -1
			} else if a.lo > b.lo {
				return 1
			}
			return 0
		})
		for len(group) > 0 {
			n, hi := 1, group[0].hi
			for n < len(group) && group[n].lo <= hi+slack {
				hi = math.Max(hi, group[n].hi)
				n++
			}
			if h, ok := s.hole(e, axis, group[:n], hi, facets); ok {
				holes = append(holes, h)
			}
			group = group[n:]
		}
	}
	return holes
}

// span is a wall's extent along a group's axis.
type span struct {
	c      *Cylinder
	lo, hi float64
}

func (c *Cylinder) span(o *Cylinder) span {
	a := o.Point.Add(o.Axis.Mul(o.Lo)).Sub(c.Point).Dot(c.Axis)
	b := o.Point.Add(o.Axis.Mul(o.Hi)).Sub(c.Point).Dot(c.Axis)
	return span{o, math.Min(a, b), math.Max(a, b)}
}

// coaxial says whether both ends of o's axis lie within slack of c's.
func (c *Cylinder) coaxial(o *Cylinder, slack float64) bool {
	return c.radial(o.Point.Add(o.Axis.Mul(o.Lo))).Norm() <= slack && c.radial(o.Point.Add(o.Axis.Mul(o.Hi))).Norm() <= slack
}

// facetsByFace lists the facets of each face that is a cylinder.
func (s *Surface) facetsByFace() map[int32][]int32 {
	m := map[int32][]int32{}
	for _, c := range s.Cylinders {
		m[int32(c.Face)] = nil
	}
	for f, face := range s.Source {
		if l, ok := m[face]; ok {
			m[face] = append(l, int32(f))
		}
	}
	return m
}

// hole makes one of walls that follow each other along the axis, if they go around it.
func (s *Surface) hole(e *edges, axis Cylinder, walls []span, hi float64, facets map[int32][]int32) (Hole, bool) {
	turn := newArcs(axis)
	inside := map[int32]bool{}
	for _, w := range walls {
		inside[int32(w.c.Face)] = true
		for _, f := range facets[int32(w.c.Face)] {
			turn.triangle(s.corners(f))
		}
	}
	if turn.total() < minTurn {
		return Hole{}, false
	}
	lo := walls[0].lo
	// What borders on either end says whether it is open: the neighbour's normal leans out of an open one
	// and into a closed one.
	var top, bottom float64
	for face := range inside {
		for _, f := range facets[face] {
			t := s.Tri[3*f : 3*f+3]
			for i := range 3 {
				a, b := t[i], t[(i+1)%3]
				g := e.across(a, b, f)
				if g < 0 || inside[s.Source[g]] {
					continue
				}
				p, q, r := s.corners(g)
				n := q.Sub(p).Cross(r.Sub(p)).Unit()
				pa, pb := at(s.Pos, a), at(s.Pos, b)
				length := pa.Dist(pb)
				h := pa.Add(pb).Mul(0.5).Sub(axis.Point).Dot(axis.Axis)
				if h > (lo+hi)/2 {
					top += length * n.Dot(axis.Axis)
				} else {
					bottom -= length * n.Dot(axis.Axis)
				}
			}
		}
	}
	if s.Volume < 0 { // wound inside out
		top, bottom = -top, -bottom
	}
	h := Hole{Diameter: 2 * axis.Radius, Depth: hi - lo, Through: top > 0 && bottom > 0}
	mouth, into := hi, axis.Axis.Mul(-1)
	if bottom > top {
		mouth, into = lo, axis.Axis
	}
	h.Axis, h.At = into, axis.Point.Add(axis.Axis.Mul(mouth))
	return h, true
}

func (s *Surface) corners(f int32) (a, b, c r3.Vec) {
	t := s.Tri[3*f : 3*f+3]
	return at(s.Pos, t[0]), at(s.Pos, t[1]), at(s.Pos, t[2])
}
