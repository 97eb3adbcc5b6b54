package mesh

import (
	"cmp"
	"math"
	"slices"

	"firstoff/geom/exact"
	"firstoff/geom/r3"
)

// Role says what a shell is to the solid.
type Role uint8

const (
	Open       Role = iota // has boundary edges or is flat: encloses nothing by itself
	Outer                  // faces outwards, with no material around it
	InsideOut              // closed, but faces the wrong way for where it lies
	Cavity                 // faces inwards, with material around it
	Embedded               // faces outwards inside another shell's material: counted twice unless resolved by winding
	Unoriented             // closed, but its facets do not agree on a side; see Flipped
)

var roles = [...]string{"open", "outer", "inside out", "cavity", "embedded", "unoriented"}

// String is the role in words.
func (r Role) String() string { return roles[r] }

// Shell is a piece of surface that hangs together across edges.
type Shell struct {
	Facets    int
	First     uint32  // its lowest facet
	VolumeMM3 float64 // signed; of an open shell as Measure defines it
	AreaMM2   float64
	Box       r3.Box
	Role      Role
	Parent    int   // innermost closed shell around it, or -1
	Depth     int   // closed shells around it
	Crosses   []int // shells whose facets cut its own, ascending
	Touches   []int // shells that share a vertex with it, or lie against it, without cutting it
	Speck     bool
	Flipped   int // facets that must be turned
}

// pieces is the division of a mesh into shells.
type pieces struct {
	of   []uint32 // shell of each facet
	turn []bool   // facet faces the other way than its shell's first facet (before shells are turned as a whole)
	n    int
	odd  []bool // shell has an edge on which no choice of sides agrees (one-sided surface)
}

// shellsOf walks from facet to facet across mates. Shells are numbered in order of their first facet.
func (m *Mesh) shellsOf(t *Topology) pieces {
	nf := m.Facets()
	p := pieces{of: make([]uint32, nf), turn: make([]bool, nf)}
	for i := range p.of {
		p.of[i] = None
	}
	var todo []uint32
	for s := range uint32(nf) {
		if p.of[s] != None {
			continue
		}
		id := uint32(p.n)
		p.n++
		p.odd = append(p.odd, false)
		p.of[s] = id
		todo = append(todo[:0], s)
		for len(todo) > 0 {
			f := todo[len(todo)-1]
			todo = todo[:len(todo)-1]
			for h := 3 * f; h < 3*f+3; h++ {
				o := t.Mate[h]
				if o == None {
					continue
				}
				g := o / 3
				want := p.turn[f] != (m.Tri[o] == m.Tri[h])
				if p.of[g] == None {
					p.of[g] = id
					p.turn[g] = want
					todo = append(todo, g)
				} else if p.turn[g] != want {
					p.odd[id] = true
				}
			}
		}
	}
	return p
}

// lists gives the facets of each shell, ascending.
func (p *pieces) lists() [][]uint32 {
	count := make([]uint32, p.n+1)
	for _, s := range p.of {
		count[s+1]++
	}
	for i := range p.n {
		count[i+1] += count[i]
	}
	all := make([]uint32, len(p.of))
	out := make([][]uint32, p.n)
	at := slices.Clone(count)
	for f, s := range p.of {
		all[at[s]] = uint32(f)
		at[s]++
	}
	for i := range out {
		out[i] = all[count[i]:count[i+1]:count[i+1]]
	}
	return out
}

// oriented is m with every facet turned to agree with its shell's first facet; with the volume of each shell, and whether it encloses nothing.
func (p *pieces) oriented(m *Mesh, lists [][]uint32) (turned *Mesh, vol []float64, flat []bool) {
	out := &Mesh{Pos: m.Pos, Tri: slices.Clone(m.Tri)}
	for f, w := range p.turn {
		if w {
			out.Tri[3*f+1], out.Tri[3*f+2] = out.Tri[3*f+2], out.Tri[3*f+1]
		}
	}
	vol = make([]float64, p.n)
	flat = make([]bool, p.n)
	for s, list := range lists {
		q := out.measureOf(list)
		vol[s] = q.VolumeMM3
		flat[s] = q.flat()
	}
	return out, vol, flat
}

// measureOf measures the given facets alone.
func (m *Mesh) measureOf(list []uint32) Measures {
	if len(list) == m.Facets() {
		return m.Measure()
	}
	sub := &Mesh{Pos: m.Pos, Tri: make([]uint32, 0, 3*len(list))}
	for _, f := range list {
		sub.Tri = append(sub.Tri, m.Tri[3*f:3*f+3]...)
	}
	return sub.measure(sub.boxOfFacets())
}

// sheetRatio: a shell whose volume is below this share of area × diagonal encloses nothing.
const sheetRatio = 1e-7

// flat says whether a closed shell of these measures encloses nothing: no more than what the rounding of its corners may feign.
func (q *Measures) flat() bool {
	far := max(q.Box.Max.Norm(), q.Box.Min.Norm())
	return math.Abs(q.VolumeMM3) <= q.AreaMM2*(sheetRatio*q.Box.Size().Norm()+far/(1<<23))
}

// shells fills in the shells of the report, their nesting and the facets to be turned.
func (r *Report) shells(m *Mesh, t *Topology) {
	p := m.shellsOf(t)
	lists := p.lists()
	n := nestOf(m, t, &p, lists)
	whole := m.Box().Size().Norm()
	r.Shells = make([]Shell, p.n)
	for s := range r.Shells {
		q := m.measureOf(lists[s])
		sh := Shell{
			Facets: len(lists[s]), First: lists[s][0], VolumeMM3: q.VolumeMM3, AreaMM2: q.AreaMM2, Box: q.Box,
			Role: n.role[s], Parent: n.parent[s], Depth: n.depth[s],
			Speck: p.n > 1 && q.Box.Size().Norm() < whole*SpeckRatio,
		}
		for _, f := range lists[s] {
			if p.turn[f] != n.turn[s] {
				sh.Flipped++
			}
		}
		r.Flipped += sh.Flipped
		if sh.Speck {
			r.Specks++
		}
		r.Shells[s] = sh
	}
	if r.Flipped > 0 {
		for f, s := range p.of {
			if p.turn[f] != n.turn[s] {
				keep(&r.Places.Flipped, uint32(f))
			}
		}
	}
	// Shells that share a vertex touch.
	first := make([]uint32, m.Vertices())
	for f, s := range p.of {
		for _, v := range m.Tri[3*f : 3*f+3] {
			switch o := first[v]; {
			case o == 0:
				first[v] = s + 1
			case o-1 != s:
				r.touch(int(o-1), int(s))
			}
		}
	}
}

func (r *Report) touch(a, b int) {
	r.Shells[a].Touches = insert(r.Shells[a].Touches, b)
	r.Shells[b].Touches = insert(r.Shells[b].Touches, a)
}

func insert(list []int, x int) []int {
	i, ok := slices.BinarySearch(list, x)
	if ok {
		return list
	}
	return slices.Insert(list, i, x)
}

// nest is where each shell lies and which must be turned.
type nest struct {
	role   []Role
	parent []int
	depth  []int
	out    []bool // faces outwards once turned
	turn   []bool // after making its facets agree with its first one, the shell must be turned as a whole
}

// nestOf places each closed shell among the others by exact winding numbers and decides which way each should face.
//
// Shells whose facets already agree keep their side wherever that makes sense: inwards inside material is a cavity, outwards
// inside material is embedded. An outermost shell that faces inwards is turned, and all in it with it. A shell whose facets do not
// agree faces outwards at even depth and inwards at odd depth.
func nestOf(m *Mesh, t *Topology, p *pieces, lists [][]uint32) nest {
	n := nest{role: make([]Role, p.n), parent: make([]int, p.n), depth: make([]int, p.n), turn: make([]bool, p.n), out: make([]bool, p.n)}
	closed := make([]bool, p.n)
	mixed := make([]bool, p.n)
	for s := range closed {
		closed[s] = true
		n.parent[s] = -1
	}
	for h := range uint32(len(t.Mate)) {
		if o := t.Mate[h]; o == None && !m.degenerate(h/3) {
			closed[p.of[h/3]] = false
		} else if o != None && m.Tri[o] == m.Tri[h] {
			mixed[p.of[h/3]] = true
		}
	}
	agreed, vol, flat := p.oriented(m, lists)
	box := make([]r3.Box, p.n)
	for s, list := range lists {
		box[s] = r3.EmptyBox()
		for _, f := range list {
			a, b, c := m.Corners(int(f))
			box[s] = box[s].Add(a).Add(b).Add(c)
		}
		if len(list) < 4 || m.degenerate(list[0]) || flat[s] {
			closed[s] = false
		}
	}
	around := containers(agreed, p, lists, closed, box)
	// From the outside in: more containers means deeper.
	order := make([]int, p.n)
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(len(around[a]), len(around[b])) })
	inverted := make([]bool, p.n) // an outermost shell was turned, and so is everything in it
	for _, s := range order {
		n.depth[s] = len(around[s])
		best := math.Inf(1)
		for _, c := range around[s] {
			if v := math.Abs(vol[c]); v < best {
				best, n.parent[s] = v, c
			}
		}
		if !closed[s] {
			// Keep the side most of the area is on.
			var keepArea, turnArea float64
			for _, f := range lists[s] {
				if a := m.FacetArea(int(f)); p.turn[f] {
					turnArea += a
				} else {
					keepArea += a
				}
			}
			n.role[s], n.turn[s] = Open, turnArea > keepArea
			continue
		}
		inside := 0 // winding of the place where it lies, in the shells as they should face
		for _, c := range around[s] {
			if (vol[c] > 0) != n.turn[c] {
				inside++
			} else {
				inside--
			}
			if n.parent[s] == c {
				inverted[s] = inverted[c]
			}
		}
		faces := vol[s] > 0
		switch {
		case mixed[s]:
			n.role[s] = Unoriented
			want := n.depth[s]%2 == 0
			n.turn[s] = faces != want
		case n.depth[s] == 0:
			n.role[s] = Outer
			if !faces {
				n.role[s], n.turn[s], inverted[s] = InsideOut, true, true
			}
		default:
			if inverted[s] {
				faces = !faces
				n.turn[s] = true
			}
			switch {
			case faces && inside <= 0:
				n.role[s] = Outer
			case faces:
				n.role[s] = Embedded
			case inside > 0:
				n.role[s] = Cavity
			default: // inwards inside a cavity
				n.role[s] = InsideOut
				n.turn[s] = !n.turn[s]
			}
			if n.turn[s] {
				n.role[s] = InsideOut
			}
		}
	}
	for s := range n.out {
		n.out[s] = (vol[s] > 0) != n.turn[s]
	}
	return n
}

// containers gives for each shell the closed shells that wind around it.
func containers(m *Mesh, p *pieces, lists [][]uint32, closed []bool, box []r3.Box) [][]int {
	out := make([][]int, p.n)
	if p.n < 2 {
		return out
	}
	// Only shells whose box lies in another closed shell's box need asking.
	byLow := make([]int, 0, p.n)
	for s := range p.n {
		if closed[s] {
			byLow = append(byLow, s)
		}
	}
	slices.SortFunc(byLow, func(a, b int) int { return cmp.Compare(box[a].Min.X, box[b].Min.X) })
	ask := make([]bool, p.n)
	host := make([]bool, p.n)
	for s := range p.n {
		for _, c := range byLow {
			if box[c].Min.X > box[s].Min.X {
				break
			}
			if c != s && holds(box[c], box[s]) {
				ask[s], host[c] = true, true
			}
		}
	}
	var hosts []uint32
	for s, h := range host {
		if h {
			hosts = append(hosts, lists[s]...)
		}
	}
	if len(hosts) == 0 {
		return out
	}
	g := newColumns(m, hosts)
	wind := make([]int, p.n)
	tied := make([]bool, p.n)
	var met []uint32
	for s := range p.n {
		if !ask[s] {
			continue
		}
		// A point that lies on another shell says nothing about it: then the next one is asked about that shell. Corners and
		// centroids of the first facets are tried.
		var open []uint32
		for try := range min(4*len(lists[s]), 256) {
			met = met[:0]
			a, b, c := m.Corners(int(lists[s][try/4]))
			p3 := [4]r3.Vec{a, b, c, a.Add(b).Add(c).Mul(1.0 / 3)}
			g.above(m, p3[try%4], func(f uint32, w int, on bool) {
				if c := p.of[f]; int(c) != s {
					met = append(met, c)
					wind[c] += w
					tied[c] = tied[c] || on
				}
			})
			met = uniq(met)
			var still []uint32
			for _, c := range met {
				if try == 0 || slices.Contains(open, c) {
					if tied[c] {
						still = append(still, c)
					} else if wind[c] != 0 {
						out[s] = append(out[s], int(c))
					}
				}
				wind[c], tied[c] = 0, false
			}
			if open = still; len(open) == 0 {
				break
			}
		}
		slices.Sort(out[s])
	}
	return out
}

func holds(a, b r3.Box) bool {
	return a.Min.X <= b.Min.X && a.Min.Y <= b.Min.Y && a.Min.Z <= b.Min.Z && a.Max.X >= b.Max.X && a.Max.Y >= b.Max.Y && a.Max.Z >= b.Max.Z
}

// columns files facets by the cells of a grid over x and y, for rays straight up.
type columns struct {
	lo, inv [2]float64
	n       [2]int
	off     []uint32
	facets  []uint32
}

func newColumns(m *Mesh, list []uint32) *columns {
	b := r3.EmptyBox()
	for _, f := range list {
		p, q, r := m.Corners(int(f))
		b = b.Add(p).Add(q).Add(r)
	}
	size := b.Size()
	side := math.Sqrt(size.X * size.Y / float64(len(list)/2+1))
	g := &columns{lo: [2]float64{b.Min.X, b.Min.Y}}
	for x, s := range [2]float64{size.X, size.Y} {
		g.n[x] = 1
		if side > 0 {
			g.n[x] = int(min(max(s/side, 1), 4096))
		}
		if s > 0 {
			g.inv[x] = float64(g.n[x]) / s
		}
	}
	g.off = make([]uint32, g.n[0]*g.n[1]+1)
	each := func(visit func(cell int, f uint32)) {
		for _, f := range list {
			p, q, r := m.Corners(int(f))
			x0, x1 := g.cell(0, min(p.X, q.X, r.X)), g.cell(0, max(p.X, q.X, r.X))
			y0, y1 := g.cell(1, min(p.Y, q.Y, r.Y)), g.cell(1, max(p.Y, q.Y, r.Y))
			for y := y0; y <= y1; y++ {
				for x := x0; x <= x1; x++ {
					visit(y*g.n[0]+x, f)
				}
			}
		}
	}
	each(func(c int, _ uint32) { g.off[c+1]++ })
	for i := range len(g.off) - 1 {
		g.off[i+1] += g.off[i]
	}
	g.facets = make([]uint32, g.off[len(g.off)-1])
	at := slices.Clone(g.off)
	each(func(c int, f uint32) {
		g.facets[at[c]] = f
		at[c]++
	})
	return g
}

func (g *columns) cell(axis int, v float64) int {
	return min(max(int((v-g.lo[axis])*g.inv[axis]), 0), g.n[axis]-1)
}

// above calls hit for every facet straight above p: +1 where the ray leaves material, -1 where it enters. on says that
// p lies on the facet or beside it in its plane: then nothing is decided. Ties in x and y are broken as if p lay a little lower in x and higher in y, the same for all facets.
func (g *columns) above(m *Mesh, p r3.Vec, hit func(f uint32, w int, on bool)) {
	x, y := g.cell(0, p.X), g.cell(1, p.Y)
	c := y*g.n[0] + x
	for _, f := range g.facets[g.off[c]:g.off[c+1]] {
		a, b, d := m.Corners(int(f))
		if holds(r3.EmptyBox().Add(a).Add(b).Add(d), r3.Box{Min: p, Max: p}) && exact.Orient3D(a, b, d, p) == 0 {
			hit(f, 0, true)
			continue
		}
		w := cross2(a, b, p) + cross2(b, d, p) + cross2(d, a, p)
		if w != 0 && exact.Orient3D(a, b, d, p) == -w {
			hit(f, w, false)
		}
	}
}

// cross2 counts the edge from a to b if it runs past p on the right: +1 upwards, -1 downwards.
func cross2(a, b, p r3.Vec) int {
	switch {
	case a.Y <= p.Y && p.Y < b.Y:
		if exact.Orient2D(a.X, a.Y, b.X, b.Y, p.X, p.Y) >= 0 {
			return 1
		}
	case b.Y <= p.Y && p.Y < a.Y:
		if exact.Orient2D(a.X, a.Y, b.X, b.Y, p.X, p.Y) <= 0 {
			return -1
		}
	}
	return 0
}
