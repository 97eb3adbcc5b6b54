package plane

import "math"

// Join says how the corners of an offset are made.
type Join int

// Corners.
const (
	Mitre Join = iota // the moved edges prolonged until they meet, no farther than twice the distance; beyond, squared off at the distance
	Round             // arcs, within 1/500 of the distance or 2 µm, whichever is more
)

// Offset moves the border of a clean region (a result of this package, or Union of it first) outwards by mm, inwards
// when negative.
//
// Why corners may be cut at once: without cutting, the moved outline's winding number at a place inside the region is
// 1 - N, where N counts the strips swept by edges (and wedges swept at corners that open) that cover it; outside it is
// -N. Keeping what is above zero keeps exactly what no strip covers. Cutting the two moved edges of a corner where they
// cross adds 1 over the kite between corner and crossing, which lies in both edges' strips. Kites at both ends of one
// edge do not overlap as long as their lengths on it sum to no more than the edge; then each covered place lies in at
// most every second of the strips' kites, so at least one of its strips still counts, and the region is unchanged.
// (For moves outwards exchange region and complement.)
func Offset(r Region, mm float64, join Join) Region {
	d := mm * PerMM
	if len(r) == 0 || d == 0 || d != d {
		return Union(r, Positive)
	}
	var o offsetter
	o.d, o.join = d, join
	for _, p := range r {
		o.path(p)
	}
	return Union(o.out, Positive)
}

type offsetter struct {
	d     float64
	join  Join
	uncut bool // leave all loops to the sweep (tests)
	out   Region
	sides []side2
	buf   []Point // all paths' points, cut into out
}

// side2 is one edge of a path: its direction, length and how much its moved copy loses at both ends.
type side2 struct {
	x, y       float64 // where it starts
	ux, uy     float64
	length     float64
	head, tail float64 // lost at its start and end
	cutAtStart bool
}

// path adds the moved outline of one path.
func (o *offsetter) path(p Path) {
	n := 0
	o.sides = grown(o.sides, len(p))
	for i, q := range p {
		r := p[(i+1)%len(p)]
		dx, dy := float64(r.X-q.X), float64(r.Y-q.Y)
		l := math.Sqrt(dx*dx + dy*dy)
		if l == 0 {
			continue
		}
		o.sides[n] = side2{x: float64(q.X), y: float64(q.Y), ux: dx / l, uy: dy / l, length: l}
		n++
	}
	s := o.sides[:n]
	if n < 2 {
		return
	}
	d := o.d
	// where corners close (the moved edges overlap), cut both edges if they are long enough
	for i := range s {
		e, f := &s[(i+n-1)%n], &s[i]
		cross, dot := e.ux*f.uy-e.uy*f.ux, e.ux*f.ux+e.uy*f.uy
		if cross*d >= 0 || dot <= -0.999 || o.uncut {
			continue
		}
		t := math.Abs(d * cross / (1 + dot)) // |d|·tan(turn/2)
		if t <= e.length-e.head-e.tail && t <= f.length-f.head-f.tail {
			e.tail, f.head, f.cutAtStart = t, t, true
		}
	}
	start := len(o.buf)
	for i := range s {
		e, f := &s[(i+n-1)%n], &s[i]
		cross, dot := e.ux*f.uy-e.uy*f.ux, e.ux*f.ux+e.uy*f.uy
		// outward normals are to the right: (uy, -ux)
		ex, ey := f.x+d*e.uy, f.y-d*e.ux
		fx, fy := f.x+d*f.uy, f.y-d*f.ux
		switch {
		case f.cutAtStart:
			o.add(fx+f.ux*f.head, fy+f.uy*f.head)
		case cross*d < 0: // closes, too short to cut: down to the corner and out again
			o.add(ex, ey)
			o.add(f.x, f.y)
			o.add(fx, fy)
		case cross == 0 && dot > 0:
			o.add(fx, fy)
		case o.join == Round:
			o.arc(f.x, f.y, e, f, cross, dot)
		case dot > -0.5: // 1/cos(turn/2) < 2
			t := d * cross / (1 + dot)
			o.add(ex+e.ux*t, ey+e.uy*t)
		default:
			// squared: the line across the bisector at the distance; each moved edge is prolonged to it
			t := math.Abs(d) * squareReach(cross, dot)
			o.add(ex+e.ux*t, ey+e.uy*t)
			o.add(fx-f.ux*t, fy-f.uy*t)
		}
	}
	if len(o.buf)-start >= 3 {
		o.out = append(o.out, o.buf[start:len(o.buf):len(o.buf)])
	}
}

// squareReach is how far, in distances, a moved edge runs on to the square end of a corner: tan of a quarter of the turn.
func squareReach(cross, dot float64) float64 {
	return math.Tan(math.Atan2(math.Abs(cross), dot) / 4)
}

func (o *offsetter) arc(x, y float64, e, f *side2, cross, dot float64) {
	d := math.Abs(o.d)
	tol := math.Max(d/500, 0.002*PerMM)
	turn := math.Atan2(cross, dot) // sign of d
	if o.d < 0 && turn > 0 || o.d > 0 && turn < 0 {
		turn = -turn
	}
	step := 2 * math.Acos(math.Max(0, 1-tol/d))
	n := int(math.Ceil(math.Abs(turn) / step))
	for i := range n + 1 {
		s, c := math.Sincos(turn * float64(i) / float64(max(1, n)))
		ux, uy := e.ux*c-e.uy*s, e.ux*s+e.uy*c
		o.add(x+o.d*uy, y-o.d*ux)
	}
}

func (o *offsetter) add(x, y float64) {
	o.buf = append(o.buf, Point{int64(math.Round(x)), int64(math.Round(y))})
}
