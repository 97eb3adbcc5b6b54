package pose

import (
	"math"

	"firstoff/geom/cores"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// Extremes answers which vertex lies farthest along a direction: boxes over 16 vertices in file order, over 8 such
// boxes, and so on. Only vertices that a facet uses count.
type Extremes struct {
	pos    []float32
	used   []uint32 // vertices in file order
	levels [][]bounds
}

type bounds [6]float32 // low x y z, high x y z

const (
	boxVertices = 16
	boxBoxes    = 8
)

// NewExtremes builds the boxes.
func NewExtremes(m *mesh.Mesh) *Extremes {
	e := &Extremes{pos: m.Pos}
	used := make([]bool, m.Vertices())
	for _, v := range m.Tri {
		used[v] = true
	}
	e.used = make([]uint32, 0, len(used))
	for v, b := range used {
		if b {
			e.used = append(e.used, uint32(v))
		}
	}
	if len(e.used) == 0 {
		return e
	}
	inf := float32(math.Inf(1))
	none := bounds{inf, inf, inf, -inf, -inf, -inf}
	base := make([]bounds, cores.Pieces(len(e.used), boxVertices))
	cores.Each(len(base), 1<<11, func(_, from, to int) {
		for b := from; b < to; b++ {
			q := none
			for _, v := range e.used[b*boxVertices : min(len(e.used), (b+1)*boxVertices)] {
				p := e.pos[3*v:][:3:3]
				for i, x := range p {
					q[i], q[3+i] = min(q[i], x), max(q[3+i], x)
				}
			}
			base[b] = q
		}
	})
	e.levels = append(e.levels, base)
	for len(base) > boxBoxes {
		up := make([]bounds, cores.Pieces(len(base), boxBoxes))
		for b := range up {
			q := none
			for _, c := range base[b*boxBoxes : min(len(base), (b+1)*boxBoxes)] {
				for i := range 3 {
					q[i], q[3+i] = min(q[i], c[i]), max(q[3+i], c[3+i])
				}
			}
			up[b] = q
		}
		e.levels = append(e.levels, up)
		base = up
	}
	return e
}

// at is vertex v.
func (e *Extremes) at(v uint32) r3.Vec {
	p := e.pos[3*v:][:3:3]
	return r3.Vec{X: float64(p[0]), Y: float64(p[1]), Z: float64(p[2])}
}

// Farthest is the vertex with the greatest v·d, the first in file order among equals, and that product. Known vertices
// of the part may be given to start from. It must not be called without vertices.
func (e *Extremes) Farthest(d r3.Vec, known []uint32) (uint32, float64) {
	best, arg := math.Inf(-1), uint32(math.MaxUint32)
	take := func(v uint32) {
		p := e.pos[3*v:][:3:3]
		h := d.X*float64(p[0]) + d.Y*float64(p[1]) + d.Z*float64(p[2])
		if h > best || h == best && v < arg {
			best, arg = h, v
		}
	}
	for _, v := range known {
		take(v)
	}
	var pick [3]int // which corner of a box is farthest
	for i := range 3 {
		if d.Axis(i) > 0 {
			pick[i] = 3 + i
		} else {
			pick[i] = i
		}
	}
	// the most promising box first, so that the rest can be passed over
	var visit func(level, from, to int)
	visit = func(level, from, to int) {
		boxes := e.levels[level]
		to = min(to, len(boxes))
		var reach [boxBoxes]float64
		for b := from; b < to; b++ {
			q := &boxes[b]
			reach[b-from] = d.X*float64(q[pick[0]]) + d.Y*float64(q[pick[1]]) + d.Z*float64(q[pick[2]])
		}
		for range to - from {
			b := from
			for k := from + 1; k < to; k++ {
				if reach[k-from] > reach[b-from] {
					b = k
				}
			}
			if reach[b-from] < best {
				return
			}
			reach[b-from] = math.Inf(-1)
			if level > 0 {
				visit(level-1, b*boxBoxes, (b+1)*boxBoxes)
				continue
			}
			for _, v := range e.used[b*boxVertices : min(len(e.used), (b+1)*boxVertices)] {
				take(v)
			}
		}
	}
	visit(len(e.levels)-1, 0, boxBoxes)
	return arg, best
}
