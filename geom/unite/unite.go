package unite

import (
	"cmp"
	"fmt"
	"math"
	"math/big"
	"slices"

	"firstoff/fault"
	"firstoff/geom/mesh"
)

// Codes of the steps Resolve adds to the log of a mending.
const (
	StepUnited = "overlaps_united"
	StepLeft   = "overlaps_left"
)

// MaxPairs bounds the pairs of facets that may meet: some ten seconds' work.
const MaxPairs = 200_000

// Union is what Shells made.
type Union struct {
	Mesh    *mesh.Mesh
	Source  []int32 // facet of the input each facet is or lies in
	Cut     int     // facets of the input that were cut or dropped
	Changed bool    // false: nothing overlaps, Mesh is the input
}

// Shells makes the closed shells of m that run into each other, lie inside each other's material or turn inside out one: the boundary of winding
// number at least one. Shells that only touch, and those that are open, stay as they are. m is not changed; its closed shells must face
// outwards (mesh.Mend). O(n log n) in facets and O(k²) in what meets one facet.
//
// It refuses (too_many_overlaps) where more than MaxPairs pairs of facets meet, and (overlaps_unresolved) where the pieces do not close.
func Shells(m *mesh.Mesh) (*Union, error) { return bound(m, 1) }

// Both is what two solids hold together, Less what the first holds without the second, Common what both hold. Solids are made of closed shells
// that face outwards (mesh.Mend); each is united first. Source counts the facets of b after those of a. Otherwise as Shells.
func Both(a, b *mesh.Mesh) (*Union, error) { return combine(a, b, 1, false) }

// Less is a without b.
func Less(a, b *mesh.Mesh) (*Union, error) { return combine(a, b, 1, true) }

// Common is what both a and b hold.
func Common(a, b *mesh.Mesh) (*Union, error) { return combine(a, b, 2, false) }

func combine(a, b *mesh.Mesh, level int, turn bool) (*Union, error) {
	x, err := Shells(a)
	if err != nil {
		return nil, err
	}
	y, err := Shells(b)
	if err != nil {
		return nil, err
	}
	m := mesh.Merge(x.Mesh, y.Mesh)
	if turn {
		for t := m.Tri[3*x.Mesh.Facets():]; len(t) >= 3; t = t[3:] {
			t[1], t[2] = t[2], t[1]
		}
	}
	u, err := bound(m, level)
	if err != nil {
		return nil, err
	}
	// From facets of the merged solids back to those of a and b.
	src := make([]int32, u.Mesh.Facets())
	for f := range src {
		k := f
		if u.Changed {
			k = int(u.Source[f])
		}
		of, base := x, 0
		if n := x.Mesh.Facets(); k >= n {
			of, base, k = y, a.Facets(), k-n
		}
		if of.Changed {
			k = int(of.Source[k])
		}
		src[f] = int32(base + k)
	}
	return &Union{Mesh: u.Mesh, Source: src, Cut: u.Cut, Changed: true}, nil
}

// bound is the boundary of where the closed shells of m wind at least level times.
func bound(m *mesh.Mesh, level int) (*Union, error) {
	none := &Union{Mesh: m}
	if m.Facets() == 0 {
		return none, nil
	}
	w := newWork(m, 0)
	w.level = level
	if w.closed == 0 {
		return none, nil
	}
	pairs, more := w.pairs()
	if more {
		return nil, fault.New(fault.TooLarge, "too_many_overlaps", "", "more than %d pairs of facets meet", MaxPairs)
	}
	cells, err := w.arrange(pairs)
	if err == nil {
		err = w.classify(cells)
	}
	if err != nil {
		return nil, fault.Because(err, fault.Unsupported, "overlaps_unresolved", "", "they meet in a way that could not be resolved")
	}
	if !slices.Contains(w.dirty, true) {
		return none, nil
	}
	return w.build(cells), nil
}

// Resolve is Shells as a step of mending: log goes on with what was done, or why it was not.
func Resolve(m *mesh.Mesh, log mesh.Log) (*mesh.Mesh, mesh.Log) {
	before := m.Measure().VolumeMM3
	u, err := Shells(m)
	if err != nil {
		log.Steps = append(log.Steps, mesh.Step{Code: StepLeft, Count: 1,
			Message: fmt.Sprintf("Shells run into each other and were left as they are, because %s.", fault.Of(err).Message), VolumeBefore: before, VolumeAfter: before})
		return m, log
	}
	if !u.Changed {
		return m, log
	}
	after := u.Mesh.Measure().VolumeMM3
	log.Steps = append(log.Steps, mesh.Step{Code: StepUnited, Count: u.Cut, VolumeBefore: before, VolumeAfter: after,
		Message: fmt.Sprintf("Shells ran into each other and were made one solid: %d facets were cut or dropped, the volume went from %.6g to %.6g mm³.", u.Cut, before, after)})
	if len(log.Source) == m.Facets() {
		for i, f := range u.Source {
			u.Source[i] = log.Source[f]
		}
	}
	log.Source = u.Source
	return u.Mesh, log
}

type work struct {
	cutter
	m      *mesh.Mesh
	cell   float64  // mm
	home   []uint32 // of each facet: the root of its shell, or mesh.None if that is open
	shell  []uint32 // the same, but mesh.None for facets without area, too
	closed int      // facets with area of closed shells
	group  forest   // of each shell: those it meets
	met    []bool   // of each shell: some facet meets another
	dirty  []bool   // of each group's root
	level  int      // the winding number that makes material
	front  []int32  // of each cell: the winding number before it
}

// newWork sets the cells for coordinates up to those of m, or far mm if that is more.
func newWork(m *mesh.Mesh, far float64) *work {
	w := &work{m: m, cutter: newCutter(m.Vertices())}
	largest := far
	for _, x := range m.Pos {
		largest = max(largest, math.Abs(float64(x)))
	}
	_, e := math.Frexp(largest)
	w.cell = math.Ldexp(1, e-43)
	nf := m.Facets()
	w.take(m)
	// Shells across mates; one that has an edge without a mate, or with one that runs the same way, is open.
	t := m.Topology()
	par := newForest(nf)
	open := make([]bool, nf)
	for h, o := range t.Mate {
		if o != mesh.None {
			par.join(uint32(h/3), o/3)
		}
	}
	for h, o := range t.Mate {
		f := uint32(h / 3)
		a, b := m.Tri[h], m.To(uint32(h))
		if o == mesh.None && a != b && m.Tri[3*f] != m.Tri[3*f+1] && m.Tri[3*f+1] != m.Tri[3*f+2] && m.Tri[3*f+2] != m.Tri[3*f] || o != mesh.None && m.Tri[o] == a {
			open[par.root(f)] = true
		}
	}
	w.home, w.shell = make([]uint32, nf), make([]uint32, nf)
	for f := range w.shell {
		w.home[f], w.shell[f] = mesh.None, mesh.None
		if r := par.root(uint32(f)); !open[r] {
			w.home[f] = r
			if _, s := w.shadow(int32(f)); s != 0 {
				w.shell[f] = r
				w.closed++
			}
		}
	}
	w.group = newForest(nf)
	w.met, w.dirty = make([]bool, nf), make([]bool, nf)
	return w
}

// take appends the facets of a mesh.
func (w *work) take(m *mesh.Mesh) {
	to := make([]int32, m.Vertices())
	for v := range to {
		var p point
		for x := range 3 {
			p.f[x] = math.RoundToEven(float64(m.Pos[3*v+x])/w.cell) + 0
		}
		to[v] = w.id(p)
	}
	for t := m.Tri; len(t) >= 3; t = t[3:] {
		w.tri = append(w.tri, [3]int32{to[t[0]], to[t[1]], to[t[2]]})
	}
}

// pairs are the facets that meet beyond what they share, those on the same three corners included.
func (w *work) pairs() (list [][2]uint32, more bool) {
	in := &mesh.Mesh{Pos: make([]float32, 0, 3*len(w.pts)), Tri: make([]uint32, 0, 3*len(w.tri))} // in cells, each place one vertex
	for _, p := range w.pts {
		in.Pos = append(in.Pos, float32(p.f[0]), float32(p.f[1]), float32(p.f[2]))
	}
	for _, t := range w.tri {
		in.Tri = append(in.Tri, uint32(t[0]), uint32(t[1]), uint32(t[2]))
	}
	c := in.Crossings(MaxPairs)
	if c.More {
		return nil, true
	}
	list = c.Pairs
	// Two facets on the same corners share three edges: those are crowded, or lead to one neighbour.
	t := in.Topology()
	twins := t.NonManifold > 0
	for f := 0; f < len(w.tri) && !twins; f++ {
		o := t.Mate[3*f]
		twins = o != mesh.None && t.Mate[3*f+1] != mesh.None && o/3 == t.Mate[3*f+1]/3
	}
	if twins {
		first := make(map[[3]int32]uint32, len(w.tri))
		for f, v := range w.tri {
			if w.shell[f] == mesh.None {
				continue
			}
			slices.Sort(v[:])
			if o, ok := first[v]; ok {
				list = append(list, [2]uint32{o, uint32(f)})
			} else {
				first[v] = uint32(f)
			}
		}
	}
	return list, false
}

// arrange cuts the facets that meet and gives all cells of the closed shells.
func (w *work) arrange(pairs [][2]uint32) ([]cell, error) {
	plane := newForest(len(w.tri)) // facets in one plane that overlap
	type met struct{ f, a, b, by int32 }
	var lines []met
	var meets []uint32
	for _, p := range pairs {
		if w.shell[p[0]] == mesh.None || w.shell[p[1]] == mesh.None {
			continue
		}
		w.group.join(w.shell[p[0]], w.shell[p[1]])
		w.met[w.shell[p[0]]], w.met[w.shell[p[1]]] = true, true
		f, g := int32(p[0]), int32(p[1])
		ends, coplanar := w.meet(f, g)
		switch {
		case coplanar:
			plane.join(p[0], p[1])
		case len(ends) == 0:
			continue
		default:
			a, b := ends[0], ends[len(ends)-1]
			lines = append(lines, met{f, min(a, b), max(a, b), g}, met{g, min(a, b), max(a, b), f})
		}
		meets = append(meets, p[0], p[1])
	}
	slices.Sort(meets)
	meets = slices.Compact(meets)
	cut := make([]bool, len(w.tri))
	plans := make(map[uint32]*plan, len(meets))
	var order []*plan
	for _, f := range meets {
		cut[f] = true
		r := plane.root(f)
		p := plans[r]
		if p == nil {
			p = &plan{}
			plans[r] = p
			order = append(order, p)
		}
		p.facets = append(p.facets, int32(f))
	}
	for _, l := range lines {
		p := plans[plane.root(uint32(l.f))]
		p.lines = append(p.lines, stretch{l.a, l.b, l.by})
	}
	var cells []cell
	for f, v := range w.tri {
		if !cut[f] && w.shell[f] != mesh.None {
			cells = append(cells, cell{v, 1, int32(f)})
		}
	}
	for _, p := range order {
		c, err := w.divide(p)
		if err != nil {
			return nil, err
		}
		cells = append(cells, c...)
	}
	return cells, nil
}

// patches joins the cells across edges that no other cell shares: the winding number before them is the same. It fails where the cut surface
// is torn, if asked to look.
func (w *work) patches(cells []cell, look bool) (forest, error) {
	type half struct {
		to   int32
		cell int32
		up   bool
	}
	patch := newForest(len(cells))
	whole := make(map[uint32]int32) // a cell of each shell that nothing meets
	each := func(visit func(from int32, h half)) {
		for i, c := range cells {
			if c.net == 0 || !w.met[w.shell[c.src]] {
				continue
			}
			for k := range 3 {
				a, b := c.v[k], c.v[(k+1)%3]
				visit(min(a, b), half{max(a, b), int32(i), a < b})
			}
		}
	}
	for i, c := range cells {
		if s := w.shell[c.src]; c.net != 0 && !w.met[s] {
			if first, ok := whole[s]; ok {
				patch.join(uint32(first), uint32(i))
			} else {
				whole[s] = int32(i)
			}
		}
	}
	// Edges filed by their lower end.
	off := make([]int32, len(w.pts)+1)
	each(func(from int32, _ half) { off[from+1]++ })
	for i := range len(w.pts) {
		off[i+1] += off[i]
	}
	halves := make([]half, off[len(w.pts)])
	at := slices.Clone(off)
	each(func(from int32, h half) {
		halves[at[from]] = h
		at[from]++
	})
	for v := range len(w.pts) {
		star := halves[off[v]:off[v+1]]
		slices.SortFunc(star, func(a, b half) int { return cmp.Or(cmp.Compare(a.to, b.to), cmp.Compare(a.cell, b.cell)) })
		for i := 0; i < len(star); {
			j, sum := i, 0
			for ; j < len(star) && star[j].to == star[i].to; j++ {
				if n := cells[star[j].cell].net; star[j].up {
					sum += n
				} else {
					sum -= n
				}
			}
			if sum != 0 && look {
				return nil, fmt.Errorf("an edge of the cut surface does not close")
			}
			if j == i+2 && sum == 0 {
				patch.join(uint32(star[i].cell), uint32(star[i+1].cell))
			}
			i = j
		}
	}
	return patch, nil
}

// sound gives the largest cell of each patch the word: before says how often the shells wind around the places before cells.
func (w *work) sound(cells []cell, patch forest, before func(list []*cell) []int) {
	speaker := make([]int32, len(cells))
	area := make([]float64, len(cells))
	for i, c := range cells {
		if a, r := w.area(c.v), patch.root(uint32(i)); a > area[r] {
			area[r], speaker[r] = a, int32(i)
		}
	}
	var roots []int
	var list []*cell
	for i, c := range cells {
		if c.net > 0 && patch.root(uint32(i)) == uint32(i) {
			roots, list = append(roots, i), append(list, &cells[speaker[i]])
		}
	}
	w.front = make([]int32, len(cells))
	for k, n := range before(list) {
		w.front[roots[k]] = int32(n)
	}
	for i, c := range cells {
		if c.net > 0 {
			w.front[i] = w.front[patch.root(uint32(i))]
		}
	}
}

// classify finds for each cell how often the shells wind around the place before it, and which groups of shells hold a cell that is not
// simply between outside and inside.
func (w *work) classify(cells []cell) error {
	patch, err := w.patches(cells, true)
	if err != nil {
		return err
	}
	w.sound(cells, patch, w.before)
	for i, c := range cells {
		if c.net > 0 {
			if int(w.front[i]) != w.level-1 || c.net != 1 {
				w.dirty[w.group.root(w.shell[c.src])] = true
			}
		}
	}
	return nil
}

// before is the winding number of the closed shells before each cell: a ray from its centre counts the facets it leaves through. All rays
// along one axis are answered in one walk over the facets.
func (w *work) before(list []*cell) []int {
	type ray struct {
		p point
		k int
	}
	var rays [3][]ray
	out := make([]int, len(list))
	for k, c := range list {
		axis, s := shadow(&w.pts[c.v[0]], &w.pts[c.v[1]], &w.pts[c.v[2]])
		rays[axis] = append(rays[axis], ray{w.centre(c.v), k})
		if s < 0 { // the ray runs off behind the cell
			out[k] = -c.net
		}
	}
	for axis, l := range rays {
		if len(l) == 0 {
			continue
		}
		u, v := (axis+1)%3, (axis+2)%3
		slices.SortStableFunc(l, func(a, b ray) int { return cmp.Compare(a.p.f[u], b.p.f[u]) })
		key := make([]float64, len(l))
		for i := range l {
			key[i] = l[i].p.f[u]
		}
		for f, s := range w.shell {
			if s == mesh.None {
				continue
			}
			a, b, d := w.corners(int32(f))
			i, _ := slices.BinarySearch(key, min(a.f[u], b.f[u], d.f[u]))
			for hi := max(a.f[u], b.f[u], d.f[u]); i < len(l) && key[i] <= hi; i++ {
				if y := l[i].p.f[v]; y >= min(a.f[v], b.f[v], d.f[v]) && y <= max(a.f[v], b.f[v], d.f[v]) {
					out[l[i].k] += over(&w.cutter, int32(f), &l[i].p, u, v)
				}
			}
		}
	}
	return out
}

// centre is the centroid of a triangle, exactly.
func (w *work) centre(t [3]int32) point {
	a, aw := w.pts[t[0]].parts()
	b, bw := w.pts[t[1]].parts()
	c, cw := w.pts[t[2]].parts()
	ab, bc, ca := mul(aw, bw), mul(bw, cw), mul(cw, aw)
	var q [3]*big.Int
	for i := range q {
		q[i] = add(mul(a[i], bc), add(mul(b[i], ca), mul(c[i], ab)))
	}
	return quotientPoint(q, mul(whole(3), mul(ab, cw)))
}

// kept says whether cell i bounds what winds often enough.
func (w *work) kept(i int, c *cell) bool {
	return c.net > 0 && int(w.front[i]) < w.level && int(w.front[i])+c.net >= w.level
}

// build gathers what stays: shells of groups without overlaps as they are, of the others the cells with nothing before and something behind.
func (w *work) build(cells []cell) *Union {
	m := w.m
	nf := m.Facets()
	off := make([]int32, nf+1) // kept cells by source
	keep := func(i int) bool { return w.kept(i, &cells[i]) }
	for i := range cells {
		if keep(i) {
			off[cells[i].src+1]++
		}
	}
	for f := range nf {
		off[f+1] += off[f]
	}
	list := make([]int32, off[nf])
	at := slices.Clone(off)
	for i := range cells {
		if keep(i) {
			f := cells[i].src
			list[at[f]] = int32(i)
			at[f]++
		}
	}
	out := &Union{Mesh: &mesh.Mesh{}, Changed: true}
	o := out.Mesh
	old := make([]uint32, m.Vertices()) // new number + 1
	v := weaver{m: o, place: make(map[[3]float32]uint32)}
	var fresh []int // facets that may be twins once rounded
	for f := range nf {
		if r := w.home[f]; r == mesh.None || !w.dirty[w.group.root(r)] {
			for _, v := range m.Tri[3*f : 3*f+3] {
				if old[v] == 0 {
					o.Pos = append(o.Pos, m.Pos[3*v:3*v+3]...)
					old[v] = uint32(o.Vertices())
				}
				o.Tri = append(o.Tri, old[v]-1)
			}
			out.Source = append(out.Source, int32(f))
			continue
		}
		whole := false
		for _, i := range list[off[f]:off[f+1]] {
			c := &cells[i]
			whole = c.v == w.tri[f]
			if !v.add(w, c) {
				continue
			}
			if !whole {
				fresh = append(fresh, o.Facets()-1)
			}
			out.Source = append(out.Source, int32(f))
		}
		if !whole {
			out.Cut++
		}
	}
	out.cancel(fresh)
	return out
}

// weaver makes a mesh of cells, corners that round to one place welded.
type weaver struct {
	m     *mesh.Mesh
	place map[[3]float32]uint32
}

// add appends a cell, unless rounding leaves nothing of it.
func (v *weaver) add(w *work, c *cell) bool {
	var t [3]uint32
	for k, id := range c.v {
		f := &w.pts[id].f
		p := [3]float32{float32(f[0]*w.cell) + 0, float32(f[1]*w.cell) + 0, float32(f[2]*w.cell) + 0}
		n, ok := v.place[p]
		if !ok {
			n = uint32(v.m.Vertices())
			v.m.Pos = append(v.m.Pos, p[:]...)
			v.place[p] = n
		}
		t[k] = n
	}
	if t[0] == t[1] || t[1] == t[2] || t[2] == t[0] {
		return false
	}
	v.m.Tri = append(v.m.Tri, t[:]...)
	return true
}

// cancel drops pairs of facets that rounding has laid onto each other face to face.
func (u *Union) cancel(list []int) {
	type slim struct {
		v    [3]uint32
		f    int
		even bool
	}
	var s []slim
	for _, f := range list {
		v := [3]uint32(u.Mesh.Tri[3*f : 3*f+3])
		x := slim{f: f, v: v}
		slices.Sort(x.v[:])
		i := slices.Index(v[:], x.v[0])
		x.even = v[(i+1)%3] == x.v[1]
		s = append(s, x)
	}
	slices.SortFunc(s, func(a, b slim) int { return cmp.Or(slices.Compare(a.v[:], b.v[:]), cmp.Compare(a.f, b.f)) })
	gone := make(map[int]bool)
	for i := 0; i < len(s); {
		var side [2][]int
		j := i
		for ; j < len(s) && s[j].v == s[i].v; j++ {
			k := 0
			if s[j].even {
				k = 1
			}
			side[k] = append(side[k], s[j].f)
		}
		for k := range min(len(side[0]), len(side[1])) {
			gone[side[0][k]], gone[side[1][k]] = true, true
		}
		i = j
	}
	if len(gone) == 0 {
		return
	}
	var stay []uint32
	var src []int32
	for f := range u.Mesh.Facets() {
		if !gone[f] {
			stay, src = append(stay, uint32(f)), append(src, u.Source[f])
		}
	}
	u.Mesh, u.Source = u.Mesh.Pick(stay), src
}
