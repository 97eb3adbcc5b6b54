package flat

import "math"

// Shape is one outline in the turns it may be laid in.
type Shape struct {
	Outline Poly     // as asked, clean
	Turns   []Turned // at least one
	Area    float64  // of Outline, mm²
}

// Turned is a shape in one of its turns. Positions name where the outline's own origin comes to lie.
type Turned struct {
	Deg    float64
	Ring   Poly   // the outline turned; perhaps simplified outward
	Pieces []Poly // convex, covering Ring exactly
	Box    Box    // of Ring, about the origin
}

// manyCorners is the number above which an outline may grow three times as much: it is searched so much faster that
// this gains more room than it costs (by trial on the open strip sets).
const manyCorners = 80

// Reach is how far a simplified outline may lie outside the true one and by what share it may grow its area, three times that where
// many corners remain.
type Reach struct {
	MM   float64
	Grow float64
}

// NewShape prepares an outline for placing; degs lists its turns in degrees (none means as drawn). ok is false when the
// outline has no area.
func NewShape(outline Poly, degs []float64, simplify Reach) (s Shape, ok bool) {
	p := Clean(outline)
	if p == nil {
		return Shape{}, false
	}
	s.Outline, s.Area = p, p.Area()
	ring := p
	if _, _, bad := Crossing(p); bad {
		ring = Hull(p)
		s.Area = math.Abs(s.Area)
	} else {
		ring = Simplify(p, simplify.Grow, simplify.MM)
		if len(ring) > manyCorners {
			ring = Simplify(p, 3*simplify.Grow, simplify.MM)
		}
	}
	pieces := Pieces(ring)
	if len(degs) == 0 {
		degs = []float64{0}
	}
	for _, d := range degs {
		t := Turned{Deg: d, Ring: ring.Rotate(d), Pieces: make([]Poly, len(pieces))}
		for i, q := range pieces {
			t.Pieces[i] = q.Rotate(d)
		}
		t.Box = t.Ring.Box()
		s.Turns = append(s.Turns, t)
	}
	return s, true
}

// Spot is where a piece lies: the tray, the index of its turn, and where the outline's origin comes to lie in it.
type Spot struct {
	Tray, Turn int
	X, Y       float64
}

// trueBox is the box of the outline itself in this turn, which a simplified ring may exceed.
func (t *Turned) trueBox(outline Poly) Box { return outline.Rotate(t.Deg).Box() }

// Around lists n evenly spaced turns, the first of which lays the smallest box around p square to the axes.
func Around(p Poly, n int) []float64 {
	h := Hull(p)
	best, deg := math.Inf(1), 0.0
	for i := range h {
		e := h[(i+1)%len(h)].Sub(h[i])
		d := -math.Atan2(e.Y, e.X) * 180 / math.Pi
		if b := h.Rotate(d).Box(); b.W()*b.H() < best*(1-1e-9) {
			best, deg = b.W()*b.H(), d
		}
	}
	deg = math.Mod(deg, 90)
	if math.Abs(deg) < 1e-9 {
		deg = 0
	}
	out := make([]float64, n)
	for k := range out {
		out[k] = math.Mod(deg+360+float64(k)*360/float64(n), 360)
	}
	return out
}
