package bvh

import (
	"math"
	"runtime"
	"sync"

	"firstoff/geom/cores"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// Tree is a box tree over the facets of a mesh. It copies what it needs; safe for use by several goroutines.
type Tree struct {
	nodes  []node
	tri    []tri    // in leaf order
	id     []uint32 // facet of each tri
	leaf   []int32  // node above each tri
	own    [][6]float32
	once   sync.Once // guards the cylinders, see discs
	disc   []disc
	discOf []uint32 // number of the cylinder of the leaf that begins at a tri
	capOf  []uint32 // number of the cylinder of a node, or 0
	far    float32  // squared size of a node of some 16 facets: from farther off the cylinders of nodes are worth asking
	box    r3.Box   // of everything, padded
	pad    float32
	size   float64
}

// node holds the boxes of its two children. A child is a node (>= 0) or a leaf: ^(first tri << 3 | tris - 1).
type node struct {
	x, y, z [4]float32 // low and high of the first child, low and high of the second
	child   [2]int32
	parent  int32 // -1 at the root
	_       int32
}

// tri is the corners of a facet, by axis.
type tri struct{ x, y, z [3]float32 }

const (
	maxLeaf  = 4
	maxDepth = 96
	binCount = 16
	grain    = 1 << 15 // facets in a subtree built by one goroutine
)

// Facets is how many facets the tree holds.
func (t *Tree) Facets() int { return len(t.tri) }

// Box is the box of the surface, a little padded.
func (t *Tree) Box() r3.Box { return t.box }

// prim is a facet's box on a grid of 2^16 cells a side, which is only used to choose splits.
type prim struct {
	lo, hi [3]uint16
	id     uint32
}

type builder struct {
	m     *mesh.Mesh
	prims []prim
	tri   []tri
	pad   float32
	slots chan struct{}
}

// part is a finished subtree: either one piece of nodes with local numbers, or two parts under a node.
type part struct {
	nodes  []node
	root   int32
	box    [6]float32
	halves [2]*part
	first  int32 // number of its topmost node after assembly
}

// Build makes the tree, on as many cores as the program may use.
func Build(m *mesh.Mesh) *Tree {
	n := m.Facets()
	t := &Tree{}
	if n == 0 {
		t.box = r3.EmptyBox()
		return t
	}
	box := m.Box()
	size := box.Size()
	far := 0.0
	for x := range 3 {
		far = max(far, math.Abs(box.Min.Axis(x)), math.Abs(box.Max.Axis(x)))
	}
	t.size = far
	t.pad = float32(math.Ldexp(far, -20))
	b := &builder{m: m, prims: make([]prim, n), tri: make([]tri, n), pad: t.pad, slots: make(chan struct{}, runtime.GOMAXPROCS(0)-1)}
	scale := 65535 / max(size.X, size.Y, size.Z, math.SmallestNonzeroFloat32)
	cores.Each(n, 1<<14, func(_, from, to int) { b.grid(from, to, box.Min, scale) })
	root := b.build(0, n, 0)
	t.assemble(root)
	t.tri = b.tri
	t.id = make([]uint32, n)
	t.leaf = make([]int32, n)
	for i := range b.prims {
		t.id[i] = b.prims[i].id
	}
	for i := range t.nodes {
		for _, c := range t.nodes[i].child {
			if c < 0 {
				first, count := leafOf(c)
				for k := first; k < first+count; k++ {
					t.leaf[k] = int32(i)
				}
			}
		}
	}
	t.keep()
	p := float64(t.pad)
	t.box = r3.Box{Min: box.Min.Sub(r3.Vec{X: p, Y: p, Z: p}), Max: box.Max.Add(r3.Vec{X: p, Y: p, Z: p})}
	return t
}

// keep finds for every node a box, as large as whole space at the root, into which only its own facets reach. A search that goes upwards may
// end where what it looks for cannot leave that box.
func (t *Tree) keep() {
	t.own = make([][6]float32, len(t.nodes))
	t.own[0] = [6]float32{-inf, -inf, -inf, inf, inf, inf}
	for i := range t.nodes { // parents come before their children
		n := &t.nodes[i]
		for c := range 2 {
			if n.child[c] < 0 {
				continue
			}
			o, s := 2*(1-c), 2*c
			k := t.own[i]
			// Leave out the other child by the side that costs least.
			gap := [6]float32{n.x[s] - n.x[o+1], n.y[s] - n.y[o+1], n.z[s] - n.z[o+1], n.x[o] - n.x[s+1], n.y[o] - n.y[s+1], n.z[o] - n.z[s+1]}
			best := 0
			for x := range 6 {
				if gap[x] > gap[best] {
					best = x
				}
			}
			switch best {
			case 0:
				k[0] = max(k[0], n.x[o+1])
			case 1:
				k[1] = max(k[1], n.y[o+1])
			case 2:
				k[2] = max(k[2], n.z[o+1])
			case 3:
				k[3] = min(k[3], n.x[o])
			case 4:
				k[4] = min(k[4], n.y[o])
			case 5:
				k[5] = min(k[5], n.z[o])
			}
			t.own[n.child[c]] = k
		}
	}
}

func leafRef(first, n int) int32 { return ^int32(first<<3 | n - 1) }

func leafOf(c int32) (first, n int) {
	c = ^c
	return int(c >> 3), int(c&7) + 1
}

func (b *builder) grid(from, to int, o r3.Vec, scale float64) {
	pos, tri := b.m.Pos, b.m.Tri
	ox, oy, oz, s := float32(o.X), float32(o.Y), float32(o.Z), float32(scale)
	for f := from; f < to; f++ {
		i, j, k := 3*uint(tri[3*f]), 3*uint(tri[3*f+1]), 3*uint(tri[3*f+2])
		p, q, r := pos[i:i+3:i+3], pos[j:j+3:j+3], pos[k:k+3:k+3]
		// On the grid first: whole numbers compare without branches.
		x0, x1, x2 := cellOf(p[0]-ox, s), cellOf(q[0]-ox, s), cellOf(r[0]-ox, s)
		y0, y1, y2 := cellOf(p[1]-oy, s), cellOf(q[1]-oy, s), cellOf(r[1]-oy, s)
		z0, z1, z2 := cellOf(p[2]-oz, s), cellOf(q[2]-oz, s), cellOf(r[2]-oz, s)
		b.prims[f] = prim{
			lo: [3]uint16{uint16(min(x0, x1, x2)), uint16(min(y0, y1, y2)), uint16(min(z0, z1, z2))},
			hi: [3]uint16{uint16(max(x0, x1, x2)), uint16(max(y0, y1, y2)), uint16(max(z0, z1, z2))},
			id: uint32(f),
		}
	}
}

func cellOf(d, s float32) int32 { return min(max(int32(d*s), 0), 65535) }

// build makes the subtree of prims[from:to]. Pieces of at most grain facets are built in one go; which pieces there are does not depend on
// the number of cores.
func (b *builder) build(from, to, depth int) *part {
	if to-from <= grain {
		l := local{builder: b, nodes: make([]node, 0, (to-from)/2+1)}
		p := &part{}
		p.root = l.sub(from, to, depth, &p.box)
		p.nodes = l.nodes
		return p
	}
	mid := b.split(from, to, depth)
	p := &part{}
	select {
	case b.slots <- struct{}{}:
		var wg sync.WaitGroup
		wg.Go(func() {
			p.halves[1] = b.build(mid, to, depth+1)
			<-b.slots
		})
		p.halves[0] = b.build(from, mid, depth+1)
		wg.Wait()
	default:
		p.halves[0] = b.build(from, mid, depth+1)
		p.halves[1] = b.build(mid, to, depth+1)
	}
	l, r := &p.halves[0].box, &p.halves[1].box
	for x := range 3 {
		p.box[x], p.box[3+x] = min(l[x], r[x]), max(l[3+x], r[3+x])
	}
	return p
}

// assemble lays the parts out depth first.
func (t *Tree) assemble(root *part) {
	n := 0
	var count func(p *part)
	count = func(p *part) {
		p.first = int32(n)
		if p.halves[0] == nil {
			n += len(p.nodes)
			return
		}
		n++
		count(p.halves[0])
		count(p.halves[1])
	}
	count(root)
	if root.halves[0] == nil && root.root < 0 { // a single leaf: give it a node
		t.nodes = []node{{parent: -1}}
		t.nodes[0].set(0, &root.box, root.root)
		t.nodes[0].set(1, &[6]float32{inf, inf, inf, -inf, -inf, -inf}, leafRef(0, 1))
		return
	}
	t.nodes = make([]node, n)
	var place func(p *part, parent int32) int32
	place = func(p *part, parent int32) int32 {
		if p.halves[0] == nil {
			if p.root < 0 {
				return p.root
			}
			dst := t.nodes[p.first : int(p.first)+len(p.nodes)]
			copy(dst, p.nodes)
			for i := range dst {
				d := &dst[i]
				for c := range d.child {
					if d.child[c] >= 0 {
						d.child[c] += p.first
					}
				}
				if d.parent >= 0 {
					d.parent += p.first
				} else {
					d.parent = parent
				}
			}
			return p.root + p.first
		}
		d := &t.nodes[p.first]
		d.parent = parent
		for c, h := range p.halves {
			d.set(c, &h.box, place(h, p.first))
		}
		return p.first
	}
	place(root, -1)
}

var inf = float32(math.Inf(1))

func (d *node) set(c int, box *[6]float32, ref int32) {
	d.x[2*c], d.x[2*c+1] = box[0], box[3]
	d.y[2*c], d.y[2*c+1] = box[1], box[4]
	d.z[2*c], d.z[2*c+1] = box[2], box[5]
	d.child[c] = ref
}

// local builds one piece.
type local struct {
	*builder
	nodes []node
}

// sub makes the subtree of prims[from:to], gives its reference and its box.
func (l *local) sub(from, to, depth int, box *[6]float32) int32 {
	n := to - from
	if n <= maxLeaf {
		l.leaf(from, to, box)
		return leafRef(from, n)
	}
	at := len(l.nodes)
	l.nodes = append(l.nodes, node{parent: -1})
	mid := l.split(from, to, depth)
	var a, c [6]float32
	ra := l.sub(from, mid, depth+1, &a)
	rb := l.sub(mid, to, depth+1, &c)
	d := &l.nodes[at]
	d.set(0, &a, ra)
	d.set(1, &c, rb)
	if ra >= 0 {
		l.nodes[ra].parent = int32(at)
	}
	if rb >= 0 {
		l.nodes[rb].parent = int32(at)
	}
	for x := range 3 {
		box[x], box[3+x] = less(a[x], c[x]), more(a[3+x], c[3+x])
	}
	return int32(at)
}

func less(a, b float32) float32 {
	if b < a {
		return b
	}
	return a
}

func more(a, b float32) float32 {
	if b > a {
		return b
	}
	return a
}

// leaf copies the corners in leaf order and measures their box.
func (l *local) leaf(from, to int, box *[6]float32) {
	x0, y0, z0, x1, y1, z1 := inf, inf, inf, -inf, -inf, -inf
	for i := from; i < to; i++ {
		f := int(l.prims[i].id)
		d := &l.tri[i]
		for c := range 3 {
			v := 3 * uint(l.m.Tri[3*f+c])
			p := l.m.Pos[v : v+3 : v+3]
			d.x[c], d.y[c], d.z[c] = p[0], p[1], p[2]
			x0, x1 = less(x0, p[0]), more(x1, p[0])
			y0, y1 = less(y0, p[1]), more(y1, p[1])
			z0, z1 = less(z0, p[2]), more(z1, p[2])
		}
	}
	e := l.pad
	*box = [6]float32{x0 - e, y0 - e, z0 - e, x1 + e, y1 + e, z1 + e}
}

type bin struct {
	lo, hi [3]int32
	n      int32
}

func (a *bin) clear() {
	*a = bin{lo: [3]int32{1 << 20, 1 << 20, 1 << 20}, hi: [3]int32{-1, -1, -1}}
}

func (a *bin) join(b *bin) {
	for x := range 3 {
		a.lo[x], a.hi[x] = min(a.lo[x], b.lo[x]), max(a.hi[x], b.hi[x])
	}
	a.n += b.n
}

func (a *bin) grow(p *prim) {
	a.lo[0], a.hi[0] = min(a.lo[0], int32(p.lo[0])), max(a.hi[0], int32(p.hi[0]))
	a.lo[1], a.hi[1] = min(a.lo[1], int32(p.lo[1])), max(a.hi[1], int32(p.hi[1]))
	a.lo[2], a.hi[2] = min(a.lo[2], int32(p.lo[2])), max(a.hi[2], int32(p.hi[2]))
	a.n++
}

// area is half the surface of the box, cells counted whole.
func (a *bin) area() float32 {
	x, y, z := float32(a.hi[0]-a.lo[0]+1), float32(a.hi[1]-a.lo[1]+1), float32(a.hi[2]-a.lo[2]+1)
	return x*y + y*z + z*x
}

// split orders prims[from:to] so that the two halves are cheap to search, and says where the second begins.
func (b *builder) split(from, to, depth int) int {
	p := b.prims[from:to]
	n := len(p)
	if depth > 60 { // never met by other than contrived input: bound the depth
		return from + n/2
	}
	if n <= 8 {
		return from + sweep(p)
	}
	// Range of twice the centres.
	lo, hi := [3]int32{1 << 20, 1 << 20, 1 << 20}, [3]int32{-1, -1, -1}
	for i := range p {
		q := &p[i]
		c := [3]int32{int32(q.lo[0]) + int32(q.hi[0]), int32(q.lo[1]) + int32(q.hi[1]), int32(q.lo[2]) + int32(q.hi[2])}
		lo[0], hi[0] = min(lo[0], c[0]), max(hi[0], c[0])
		lo[1], hi[1] = min(lo[1], c[1]), max(hi[1], c[1])
		lo[2], hi[2] = min(lo[2], c[2]), max(hi[2], c[2])
	}
	ax := 0
	for x := 1; x < 3; x++ {
		if hi[x]-lo[x] > hi[ax]-lo[ax] {
			ax = x
		}
	}
	w := hi[ax] - lo[ax]
	if w == 0 {
		return from + n/2
	}
	// bin = (c - lo)·k >> 20
	k := uint32(binCount<<20-1) / uint32(w+1)
	base := lo[ax]
	var bins [binCount]bin
	for i := range bins {
		bins[i].clear()
	}
	for i := range p {
		q := &p[i]
		bins[uint32(int32(q.lo[ax])+int32(q.hi[ax])-base)*k>>20&(binCount-1)].grow(q)
	}
	var right [binCount]float32
	var acc bin
	acc.clear()
	for i := binCount - 1; i > 0; i-- {
		acc.join(&bins[i])
		right[i] = acc.area() * float32(acc.n)
	}
	acc.clear()
	best, at := float32(math.MaxFloat32), 0
	for i := range binCount - 1 {
		acc.join(&bins[i])
		if acc.n == 0 || int(acc.n) == n {
			continue
		}
		if c := acc.area()*float32(acc.n) + right[i+1]; c < best {
			best, at = c, i
		}
	}
	i, j := 0, n-1
	cut := uint32(at)
	for i <= j {
		q := &p[i]
		if uint32(int32(q.lo[ax])+int32(q.hi[ax])-base)*k>>20 <= cut {
			i++
		} else {
			p[i], p[j] = p[j], p[i]
			j--
		}
	}
	if i == 0 || i == n {
		return from + n/2
	}
	return from + i
}

// sweep orders a few facets along their longest axis and tries every place.
func sweep(p []prim) int {
	n := len(p)
	lo, hi := [3]int32{1 << 20, 1 << 20, 1 << 20}, [3]int32{-1, -1, -1}
	var key [8][3]int32
	for i := range p {
		q := &p[i]
		for x := range 3 {
			c := int32(q.lo[x]) + int32(q.hi[x])
			key[i&7][x] = c
			lo[x], hi[x] = min(lo[x], c), max(hi[x], c)
		}
	}
	ax := 0
	for x := 1; x < 3; x++ {
		if hi[x]-lo[x] > hi[ax]-lo[ax] {
			ax = x
		}
	}
	var k [8]int32
	for i := range n {
		k[i&7] = key[i&7][ax]
	}
	for i := 1; i < n; i++ {
		for j := i; j > 0 && k[(j-1)&7] > k[j&7]; j-- {
			k[(j-1)&7], k[j&7] = k[j&7], k[(j-1)&7]
			p[j-1], p[j] = p[j], p[j-1]
		}
	}
	var right [8]float32
	var acc bin
	acc.clear()
	for i := n - 1; i > 0; i-- {
		acc.grow(&p[i])
		right[i&7] = acc.area() * float32(acc.n)
	}
	acc.clear()
	best, at := float32(math.MaxFloat32), n/2
	for i := 1; i < n; i++ {
		acc.grow(&p[i-1])
		if c := acc.area()*float32(acc.n) + right[i&7]; c < best {
			best, at = c, i
		}
	}
	return at
}
