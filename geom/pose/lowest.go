package pose

import (
	"math"

	"firstoff/geom/cores"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// Extremes answers which vertex lies farthest along a direction: boxes over 16 vertices that lie near one another (in
// the order of a space-filling curve), over 8 such boxes, and so on. Only vertices that a facet uses count.
type Extremes struct {
	pos    []float32 // as in the mesh
	used   []uint32  // vertices along the curve
	along  []float32 // their positions
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
	box := m.Box()
	if box.Empty() {
		return e
	}
	size := box.Size()
	scale := 1023 / math.Max(size.X, math.Max(size.Y, math.Max(size.Z, 1e-300)))
	key := make([]uint64, 0, len(used))
	for v, b := range used {
		if b {
			p := e.at(uint32(v)).Sub(box.Min).Mul(scale)
			key = append(key, uint64(spread3(uint32(p.X))|spread3(uint32(p.Y))<<1|spread3(uint32(p.Z))<<2)<<32|uint64(v))
		}
	}
	sortHigh(key)
	e.used = make([]uint32, len(key))
	e.along = make([]float32, 3*len(key))
	for i, k := range key {
		v := uint32(k)
		e.used[i] = v
		copy(e.along[3*i:3*i+3], e.pos[3*v:3*v+3])
	}
	inf := float32(math.Inf(1))
	none := bounds{inf, inf, inf, -inf, -inf, -inf}
	base := make([]bounds, cores.Pieces(len(e.used), boxVertices))
	cores.Each(len(base), 1<<11, func(_, from, to int) {
		for b := from; b < to; b++ {
			q := none
			for p := e.along[3*b*boxVertices : min(len(e.along), 3*(b+1)*boxVertices)]; len(p) >= 3; p = p[3:] {
				for i, x := range p[:3] {
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
	for _, v := range known {
		p := e.pos[3*v:][:3:3]
		if h := d.X*float64(p[0]) + d.Y*float64(p[1]) + d.Z*float64(p[2]); h > best || h == best && v < arg {
			best, arg = h, v
		}
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
			i := b * boxVertices
			for p := e.along[3*i : min(len(e.along), 3*(i+boxVertices))]; len(p) >= 3; p = p[3:] {
				h := d.X*float64(p[0]) + d.Y*float64(p[1]) + d.Z*float64(p[2])
				if h > best || h == best && e.used[i] < arg {
					best, arg = h, e.used[i]
				}
				i++
			}
		}
	}
	visit(len(e.levels)-1, 0, boxBoxes)
	return arg, best
}

// spread3 puts two zero bits between the ten bits of x.
func spread3(x uint32) uint32 {
	x = (x | x<<16) & 0x030000ff
	x = (x | x<<8) & 0x0300f00f
	x = (x | x<<4) & 0x030c30c3
	return (x | x<<2) & 0x09249249
}
