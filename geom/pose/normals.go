package pose

import (
	"math"

	"firstoff/geom/cores"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// Normals is a mesh's facets in a tree over the sphere of their normals: the left half of the facets below the left
// child and so on, facets in the order of a space-filling curve over the octahedral map of the sphere.
type Normals struct {
	origin r3.Vec // middle of the part; heights are taken from it
	facets []facet
	nodes  []node
	sums   []sums // per node
	area   float64
}

type facet struct {
	n    [3]float32 // unit normal
	area float32
	c    [3]float32 // centroid about the origin
	of   uint32     // facet of the mesh
}

// node is a run of facets and the cone of their normals. The left child follows its parent.
type node struct {
	axis     [3]float32
	cos, sin float32 // of the cone's half angle
	right    int32   // right child, 0: none
	from, to int32
}

// sums over the facets of a node: area, area·normal, area·normal·centroidᵀ.
type sums struct {
	a float64
	g [3]float64
	m [9]float64
}

func (s *sums) plus(t *sums) {
	s.a += t.a
	for i, x := range t.g {
		s.g[i] += x
	}
	for i, x := range t.m {
		s.m[i] += x
	}
}

func (s *sums) add(f *facet) {
	a := float64(f.area)
	s.a += a
	for i := range 3 {
		an := a * float64(f.n[i])
		s.g[i] += an
		for j := range 3 {
			s.m[3*i+j] += an * float64(f.c[j])
		}
	}
}

// octahedral maps a direction to a place on the unfolded octahedron, 16 bits a side, interleaved.
func octahedral(x, y, z float64) uint32 {
	s := math.Abs(x) + math.Abs(y) + math.Abs(z)
	if s == 0 {
		return 0
	}
	x, y = x/s, y/s
	if z < 0 {
		x, y = math.Copysign(1-math.Abs(y), x), math.Copysign(1-math.Abs(x), y)
	}
	return spread(uint32((x+1)*32767.5)) | spread(uint32((y+1)*32767.5))<<1
}

func spread(x uint32) uint32 {
	x = (x | x<<8) & 0x00ff00ff
	x = (x | x<<4) & 0x0f0f0f0f
	x = (x | x<<2) & 0x33333333
	return (x | x<<1) & 0x55555555
}

const (
	normalGrain = 1 << 15
	leafFacets  = 8
)

// NewNormals builds the tree. Facets without area are left out.
func NewNormals(m *mesh.Mesh) *Normals {
	t := &Normals{origin: m.Box().Center()}
	nf := m.Facets()
	if nf == 0 || m.Box().Empty() {
		return t
	}
	all := make([]facet, nf)
	key := make([]uint64, nf)
	o := t.origin
	cores.Each(nf, normalGrain, func(_, from, to int) {
		for f := from; f < to; f++ {
			a, b, c := m.Corners(f)
			n := b.Sub(a).Cross(c.Sub(a))
			l := n.Norm()
			g := facet{area: float32(l / 2), of: uint32(f)}
			if l > 0 {
				n = n.Mul(1 / l)
			}
			g.n = [3]float32{float32(n.X), float32(n.Y), float32(n.Z)}
			g.c = [3]float32{float32((a.X+b.X+c.X)/3 - o.X), float32((a.Y+b.Y+c.Y)/3 - o.Y), float32((a.Z+b.Z+c.Z)/3 - o.Z)}
			all[f] = g
			key[f] = uint64(octahedral(n.X, n.Y, n.Z))<<32 | uint64(f)
		}
	})
	sortHigh(key)
	t.facets = make([]facet, 0, nf)
	for _, k := range key {
		if g := &all[uint32(k)]; g.area > 0 {
			t.facets = append(t.facets, *g)
		}
	}
	if n := len(t.facets); n > 0 {
		t.nodes = make([]node, 0, n/2)
		t.sums = make([]sums, 0, n/2)
		t.build(0, int32(n))
		t.area = t.sums[0].a
	}
	return t
}

// sortHigh sorts by the upper 32 bits, keeping the order of equals.
func sortHigh(key []uint64) {
	tmp := make([]uint64, len(key))
	for shift := 32; shift < 64; shift += 11 {
		var count [2049]int
		for _, k := range key {
			count[k>>shift&2047+1]++
		}
		for i := 1; i < len(count); i++ {
			count[i] += count[i-1]
		}
		for _, k := range key {
			b := k >> shift & 2047
			tmp[count[b]] = k
			count[b]++
		}
		key, tmp = tmp, key
	}
	copy(tmp, key) // three passes: the result lies in the scratch
}

func (t *Normals) build(from, to int32) int32 {
	id := int32(len(t.nodes))
	t.nodes, t.sums = append(t.nodes, node{}), append(t.sums, sums{})
	q := node{from: from, to: to}
	var w sums
	var s [3]float64
	f := t.facets[from:to]
	if len(f) > leafFacets && f[0].n != f[len(f)-1].n {
		mid := (from + to) / 2
		left := t.build(from, mid)
		right := t.build(mid, to)
		q.right = right
		for _, k := range [2]int32{left, right} {
			w.plus(&t.sums[k])
			for i, x := range t.nodes[k].axis {
				s[i] += float64(x)
			}
		}
	} else {
		for i := range f {
			w.add(&f[i])
			for k, x := range f[i].n {
				s[k] += float64(x)
			}
		}
	}
	l := math.Sqrt(s[0]*s[0] + s[1]*s[1] + s[2]*s[2])
	if l < 1e-6 {
		s, l = [3]float64{0, 0, 1}, 1
	}
	x, y, z := float32(s[0]/l), float32(s[1]/l), float32(s[2]/l)
	q.axis = [3]float32{x, y, z}
	// The cone is measured on the facets themselves: nesting the children's cones would widen it level by level.
	low := float32(1)
	for i := range f {
		low = min(low, f[i].n[0]*x+f[i].n[1]*y+f[i].n[2]*z)
	}
	// cosines near 1 are only that good in float32: 4e-4 rad covers their rounding
	angle := math.Min(math.Pi, math.Acos(math.Max(-1, math.Min(1, float64(low))))+4e-4)
	sin, cos := math.Sincos(angle)
	q.sin, q.cos = float32(sin), float32(cos)
	t.nodes[id], t.sums[id] = q, w
	return id
}

// Area is the area of the mesh, mm².
func (t *Normals) Area() float64 { return t.area }

// Cone sums up the facets whose normal n has n·u < limit. With u up and limit = -cos(self-support angle) these are the
// overhanging ones.
func (t *Normals) cone(u r3.Vec, limit float64, stack []int32) (sums, []int32) {
	var w sums
	if len(t.nodes) == 0 {
		return w, stack
	}
	// a little room for the float32 of axes and normals
	const room = 2e-6
	stack = append(stack[:0], 0)
	ux, uy, uz := u.X, u.Y, u.Z
	for len(stack) > 0 {
		id := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		q := &t.nodes[id]
		c := ux*float64(q.axis[0]) + uy*float64(q.axis[1]) + uz*float64(q.axis[2])
		s := math.Sqrt(max(0, 1-c*c))
		qc, qs := float64(q.cos), float64(q.sin)
		// largest and smallest cosine to u inside the node's cone
		least := c*qc - s*qs
		if c < -qc {
			least = -1
		}
		if least >= limit+room {
			continue
		}
		most := c*qc + s*qs
		if c > qc {
			most = 1
		}
		switch {
		case most < limit-room:
			w.plus(&t.sums[id])
		case q.right != 0:
			stack = append(stack, q.right, id+1)
		default:
			for i := q.from; i < q.to; i++ {
				f := &t.facets[i]
				if ux*float64(f.n[0])+uy*float64(f.n[1])+uz*float64(f.n[2]) < limit {
					w.add(f)
				}
			}
		}
	}
	return w, stack
}

// facing calls f for every facet whose normal n has n·u < limit.
func (t *Normals) facing(u r3.Vec, limit float64, f func(of uint32, area float64)) {
	if len(t.nodes) == 0 {
		return
	}
	stack := []int32{0}
	for len(stack) > 0 {
		id := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		q := &t.nodes[id]
		c := u.X*float64(q.axis[0]) + u.Y*float64(q.axis[1]) + u.Z*float64(q.axis[2])
		s := math.Sqrt(max(0, 1-c*c))
		if c >= -float64(q.cos) && c*float64(q.cos)-s*float64(q.sin) >= limit+2e-6 {
			continue
		}
		if q.right != 0 {
			stack = append(stack, q.right, id+1)
			continue
		}
		for i := q.from; i < q.to; i++ {
			g := &t.facets[i]
			if u.X*float64(g.n[0])+u.Y*float64(g.n[1])+u.Z*float64(g.n[2]) < limit {
				f(g.of, float64(g.area))
			}
		}
	}
}

// support turns the sums of the overhanging facets into area, plan area and column volume down to height lowest
// (along u, about the origin).
func (w *sums) support(u r3.Vec, lowest float64) (area, plan, volume float64) {
	x := [3]float64{u.X, u.Y, u.Z}
	var high float64
	for i := range 3 {
		plan -= x[i] * w.g[i]
		for j := range 3 {
			high -= x[i] * w.m[3*i+j] * x[j]
		}
	}
	return w.a, plan, high - plan*lowest
}
