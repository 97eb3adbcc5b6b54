package section

import (
	"math"
	"sync"

	"firstoff/geom/cores"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// Layer is what one layer's contours come to.
type Layer struct {
	Z                      float64 // plane, mm above the mesh's origin (not above the plate)
	Area                   float64 // signed sum of the raw contours, mm²
	Perimeter              float64 // of all contours, mm
	MinX, MinY, MaxX, MaxY float64 // box of the contours, mm; all zero when there are none
	Loops                  int     // contours
	Outer                  int     // of which counter-clockwise: islands, where nothing overlaps
	Open                   int     // of which had a gap of the surface bridged
	Points                 int     // contour vertices
	Turns                  [3]int  // vertices where the way turns by 10-30, 30-60 and over 60 degrees
}

// Corners is the number of contour vertices at which a head on the contour must slow down: turns of 30° and more.
func (l *Layer) Corners() int { return l.Turns[1] + l.Turns[2] }

// shortest is the length under which contour pieces are taken together when turns are counted: facet noise, not corners.
const shortest = 0.02 // mm

// turn limits as cosines: 10°, 30°, 60°.
var turnCos = [3]float64{math.Cos(10 * math.Pi / 180), math.Cos(30 * math.Pi / 180), 0.5}

// Measure sums up the contours of a layer.
func (c *Contours) Measure() Layer {
	l := Layer{Z: c.Z, Loops: c.Len(), Open: c.Open, Points: len(c.Points)}
	if len(c.Points) == 0 {
		return l
	}
	lox, loy, hix, hiy := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	from := int32(0)
	for _, end := range c.End {
		p := c.Points[from:end]
		from = end
		if len(p) == 0 {
			continue
		}
		o := p[0]
		last := p[len(p)-1]
		// twice the area about the first point; the way's last direction that counts, and where it ended
		var twice, length float64
		anchor := last
		var dx, dy, dl float64
		lx, ly := last.X-o.X, last.Y-o.Y
		var firstX, firstY, firstL float64
		for _, q := range p {
			lox, loy, hix, hiy = min(lox, q.X), min(loy, q.Y), max(hix, q.X), max(hiy, q.Y)
			x, y := q.X-o.X, q.Y-o.Y
			twice += lx*y - x*ly
			ex, ey := x-lx, y-ly
			el := math.Sqrt(ex*ex + ey*ey)
			length += el
			if anchor != last {
				ex, ey = q.X-anchor.X, q.Y-anchor.Y
				el = math.Sqrt(ex*ex + ey*ey)
			}
			lx, ly, last = x, y, q
			if el < shortest {
				continue
			}
			if dl == 0 {
				firstX, firstY, firstL = ex, ey, el
			} else if dot := dx*ex + dy*ey; dot < turnCos[0]*dl*el {
				l.turn(dot, dl*el)
			}
			dx, dy, dl, anchor = ex, ey, el, q
		}
		if dl > 0 {
			if dot := dx*firstX + dy*firstY; dot < turnCos[0]*dl*firstL {
				l.turn(dot, dl*firstL)
			}
		}
		l.Area += twice / 2
		l.Perimeter += length
		if twice > 0 {
			l.Outer++
		}
	}
	l.MinX, l.MinY, l.MaxX, l.MaxY = lox, loy, hix, hiy
	return l
}

func (l *Layer) turn(dot, norm float64) {
	switch {
	case dot >= turnCos[1]*norm:
		l.Turns[0]++
	case dot >= turnCos[2]*norm:
		l.Turns[1]++
	default:
		l.Turns[2]++
	}
}

// Stack is a part cut into layers. Contours are not kept; Contours(i) cuts layer i again, to the same bits.
type Stack struct {
	Height float64 // layer height, mm
	Box    r3.Box  // of the posed part, mm
	Layers []Layer
	Err    error // why there are no layers: see New
	slicer *Slicer
}

// Slice cuts a posed mesh at z = zmin + (i+½)·h, with h in mm. On a request that New refuses, the stack is empty and
// says why in Err.
func Slice(m *mesh.Mesh, pose r3.Quat, h float64) *Stack {
	s, err := New(m, pose, h)
	if err != nil {
		return &Stack{Height: h, Err: err}
	}
	st := &Stack{Height: h, Box: s.Box, Layers: make([]Layer, s.Layers()), slicer: s}
	s.Each(func(i int, c *Contours) { st.Layers[i] = c.Measure() })
	return st
}

// layerGrain is how many neighbouring layers one goroutine cuts in a row.
const layerGrain = 16

var works = sync.Pool{New: func() any { return new(Work) }}

// Each cuts every layer and calls f for it, on all cores: in rising order within runs of neighbouring layers, in any
// order and at the same time otherwise. The contours hold until f returns.
func (s *Slicer) Each(f func(i int, c *Contours)) { s.EachOf(0, s.Layers(), f) }

// EachOf is Each for layers from..to-1.
func (s *Slicer) EachOf(from, to int, f func(i int, c *Contours)) {
	cores.Each(to-from, layerGrain, func(_, a, b int) {
		w := works.Get().(*Work)
		for i := from + a; i < from+b; i++ {
			f(i, s.Layer(i, w))
		}
		w.of = nil
		works.Put(w)
	})
}

// Contours cuts layer i again and gives its polygons.
func (st *Stack) Contours(i int) *Contours {
	var w Work
	return st.slicer.Layer(i, &w)
}

// Slicer is the index the stack was cut from.
func (st *Stack) Slicer() *Slicer { return st.slicer }

// Volume is the sum of area times layer height, mm³.
func (st *Stack) Volume() float64 {
	var v float64
	for i := range st.Layers {
		v += st.Layers[i].Area
	}
	return v * st.Height
}
