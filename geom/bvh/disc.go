package bvh

import (
	"math"

	"firstoff/geom/cores"
	"firstoff/geom/r3"
)

// disc is a flat cylinder around the facets of a leaf: for a point some way off the surface it tells its distance far better than
// their box does. Rounded outwards by more than float32 loses.
type disc struct {
	c, n [3]float32 // middle, unit normal
	h, r float32    // half the height, radius
}

// discs makes the cylinders of all leaves, when the first point is looked for.
func (t *Tree) discs() {
	t.once.Do(func() {
		t.discOf = make([]uint32, len(t.tri))
		n := uint32(0)
		for i := range t.nodes {
			for _, c := range t.nodes[i].child {
				if c < 0 {
					first, _ := leafOf(c)
					t.discOf[first] = n
					n++
				}
			}
		}
		t.caps(&n)
		t.disc = make([]disc, n)
		cores.Each(len(t.nodes), 1<<13, func(_, from, to int) {
			for i := from; i < to; i++ {
				for _, c := range t.nodes[i].child {
					if c < 0 {
						first, count := leafOf(c)
						t.disc[t.discOf[first]].around(t.tri[first:first+count], float64(t.pad))
					}
				}
				if k := t.capOf[i]; k > 0 {
					first, count := t.under(int32(i))
					t.disc[k].around(t.tri[first:first+count], float64(t.pad))
				}
			}
		})
	})
}

// Nodes of these many facets, or the next fewer, have a cylinder of their own: from far off, seen by their boxes, too many of them might be nearest.
var capSizes = [...]int{16, 128}

// caps numbers the cylinders of nodes, after those of the leaves, and takes the size of a small node from the average.
func (t *Tree) caps(n *uint32) {
	count := make([]int32, len(t.nodes))
	for i := len(t.nodes) - 1; i >= 0; i-- { // children come after their parents
		for _, c := range t.nodes[i].child {
			if c < 0 {
				_, k := leafOf(c)
				count[i] += int32(k)
			} else {
				count[i] += count[c]
			}
		}
	}
	t.capOf = make([]uint32, len(t.nodes))
	var sum float64
	small := 0
	for i := range t.nodes {
		up := int32(math.MaxInt32)
		if p := t.nodes[i].parent; p >= 0 {
			up = count[p]
		}
		for _, size := range capSizes {
			if int(count[i]) <= size && int(up) > size {
				t.capOf[i] = *n
				*n++
				if size == capSizes[0] {
					x := &t.nodes[i]
					a := max(x.x[1], x.x[3]) - min(x.x[0], x.x[2])
					b := max(x.y[1], x.y[3]) - min(x.y[0], x.y[2])
					c := max(x.z[1], x.z[3]) - min(x.z[0], x.z[2])
					sum += float64(a*a + b*b + c*c)
					small++
				}
				break
			}
		}
	}
	t.far = float32(sum / float64(max(small, 1)))
}

// under is the range of facets below a node.
func (t *Tree) under(i int32) (first, count int) {
	a, b := i, i
	for a >= 0 {
		a = t.nodes[a].child[0]
	}
	for b >= 0 {
		b = t.nodes[b].child[1]
	}
	first, _ = leafOf(a)
	last, k := leafOf(b)
	return first, last + k - first
}

func (d *disc) around(f []tri, pad float64) {
	var n r3.Vec
	box := r3.EmptyBox()
	for i := range f {
		a, b, c := f[i].corner(0), f[i].corner(1), f[i].corner(2)
		n = n.Add(b.Sub(a).Cross(c.Sub(a)))
		box = box.Add(a).Add(b).Add(c)
	}
	if n = n.Unit(); n == (r3.Vec{}) {
		n = r3.Vec{Z: 1}
	}
	// What is stored is what the height and radius are measured about.
	m := box.Center()
	d.c = [3]float32{float32(m.X), float32(m.Y), float32(m.Z)}
	d.n = [3]float32{float32(n.X), float32(n.Y), float32(n.Z)}
	m = r3.Vec{X: float64(d.c[0]), Y: float64(d.c[1]), Z: float64(d.c[2])}
	n = r3.Vec{X: float64(d.n[0]), Y: float64(d.n[1]), Z: float64(d.n[2])}
	var h, r float64
	for i := range f {
		for c := range 3 {
			v := f[i].corner(c).Sub(m)
			a := v.Dot(n)
			h = max(h, math.Abs(a))
			r = max(r, v.Norm2()-a*a)
		}
	}
	r = math.Sqrt(max(r, 0))
	grow := 1e-5*(h+r) + pad
	d.h, d.r = float32(h+grow), float32(r+grow)
}

func (f *tri) corner(i int) r3.Vec {
	return r3.Vec{X: float64(f.x[i]), Y: float64(f.y[i]), Z: float64(f.z[i])}
}

// beyond says whether all of the cylinder is farther from the point than the best so far.
func (d *disc) beyond(q *query) bool {
	x, y, z := q.p.X-float64(d.c[0]), q.p.Y-float64(d.c[1]), q.p.Z-float64(d.c[2])
	a := math.Abs(x*float64(d.n[0]) + y*float64(d.n[1]) + z*float64(d.n[2]))
	b := math.Sqrt(max(x*x+y*y+z*z-a*a, 0))
	a, b = max(a-float64(d.h), 0), max(b-float64(d.r), 0)
	return (a*a+b*b)*(1-4e-6) > q.best
}
