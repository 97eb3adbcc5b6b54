package unite

import (
	"math"
	"slices"

	"firstoff/fault"
	"firstoff/geom/mesh"
)

// Clip is a solid that others are cut by.
type Clip struct {
	by   *work
	rays [3]*columns
	left int // work that may still be done, in steps of some 10 ns
}

// clipWork is what all solids cut by one may take: some ten seconds.
const clipWork = 1_000_000_000

// NewClip prepares the closed shells of m, mended and united, to cut solids that reach no farther than far mm along any axis. It refuses
// (clip_open) a surface that encloses nothing.
func NewClip(m *mesh.Mesh, far float64) (*Clip, error) {
	m, _ = mesh.Mend(m)
	u, err := Shells(m)
	if err != nil {
		return nil, err
	}
	c := &Clip{by: newWork(u.Mesh, far), left: clipWork}
	if c.by.closed == 0 || slices.Contains(c.by.home, mesh.None) {
		return nil, fault.New(fault.Unsupported, "clip_open", "", "the surface to cut by is not closed")
	}
	for axis := range c.rays {
		c.rays[axis] = newColumns(c.by, axis)
	}
	return c, nil
}

// Keep is what of the solid a lies inside the other, or outside. a must be one closed shell that faces outwards and does not cut itself, and
// small beside the other: every facet of it is held against every facet of the other within its box. When that comes to too much over all calls
// it refuses (too_many_overlaps). An empty mesh means that nothing is left;
// a itself is given back where all of it is.
func (c *Clip) Keep(a *mesh.Mesh, inside bool) (*mesh.Mesh, error) {
	w := &work{cell: c.by.cell, cutter: newCutter(a.Vertices())}
	w.take(a)
	n := int32(len(w.tri))
	near := c.near(w)
	if len(near) == 0 {
		if in := n > 0 && c.rays[2].above(c.by, w.pts[0]) > 0; in == inside {
			return a, nil
		}
		return &mesh.Mesh{}, nil
	}
	if c.left -= len(near) * int(n); c.left < 0 {
		return nil, fault.New(fault.TooLarge, "too_many_overlaps", "", "too many solids are cut by another")
	}
	// Cut by the other turned inside out, what is outside winds once; inside both wind, twice in all.
	way := 1
	w.level = 2
	if !inside {
		w.level, way = 1, -1
	}
	for _, f := range near {
		var t [3]int32
		for k, v := range c.by.tri[f] {
			t[k] = w.id(c.by.pts[v])
		}
		if !inside {
			t[1], t[2] = t[2], t[1]
		}
		w.tri = append(w.tri, t)
	}
	w.shell = make([]uint32, len(w.tri))
	w.group = newForest(len(w.tri))
	w.met = make([]bool, len(w.tri))
	for f := range w.shell {
		if f >= int(n) {
			w.shell[f] = uint32(n)
		}
		if _, s := w.shadow(int32(f)); s == 0 {
			w.shell[f] = mesh.None
		}
	}
	w.met[0], w.met[n] = true, true
	var pairs [][2]uint32
	for g := n; g < int32(len(w.tri)); g++ {
		box := w.boxOf(g)
		for f := range n {
			if box.meets(w.boxOf(f)) {
				pairs = append(pairs, [2]uint32{uint32(f), uint32(g)})
			}
		}
	}
	if c.left -= 2000 * len(pairs); c.left < 0 {
		return nil, fault.New(fault.TooLarge, "too_many_overlaps", "", "too many solids are cut by another")
	}
	cells, err := w.arrange(pairs)
	if err != nil {
		return nil, err
	}
	patch, err := w.patches(cells, false)
	if err != nil {
		return nil, err
	}
	w.sound(cells, patch, func(list []*cell) []int {
		out := make([]int, len(list))
		for i, x := range list {
			axis, s := shadow(&w.pts[x.v[0]], &w.pts[x.v[1]], &w.pts[x.v[2]])
			p := w.centre(x.v)
			k := way * c.rays[axis].above(c.by, p)
			for f := range n {
				if w.shell[f] != mesh.None {
					k += over(&w.cutter, f, &p, (axis+1)%3, (axis+2)%3)
				}
			}
			if s < 0 {
				k -= x.net
			}
			out[i] = k
		}
		return out
	})
	out := &Union{Mesh: &mesh.Mesh{}}
	v := weaver{m: out.Mesh, place: make(map[[3]float32]uint32)}
	var all []int
	for i := range cells {
		x := &cells[i]
		if w.kept(i, x) && v.add(w, x) {
			out.Source = append(out.Source, x.src)
			all = append(all, out.Mesh.Facets()-1)
		}
	}
	out.cancel(all)
	if out.Mesh.Facets() > 0 && !out.Mesh.Topology().Solid() {
		return nil, fault.New(fault.Unsupported, "overlaps_unresolved", "", "a solid could not be cut by another")
	}
	return out.Mesh, nil
}

// near are the facets of the other whose boxes meet that of the points of w.
func (c *Clip) near(w *work) (list []int32) {
	box := cellBox{lo: [3]float64{math.Inf(1), math.Inf(1), math.Inf(1)}, hi: [3]float64{math.Inf(-1), math.Inf(-1), math.Inf(-1)}}
	for _, p := range w.pts {
		for x := range 3 {
			box.lo[x], box.hi[x] = min(box.lo[x], p.f[x]), max(box.hi[x], p.f[x])
		}
	}
	g := c.rays[2]
	for y := g.at(1, box.lo[1]); y <= g.at(1, box.hi[1]); y++ {
		for x := g.at(0, box.lo[0]); x <= g.at(0, box.hi[0]); x++ {
			k := y*g.n[0] + x
			for _, f := range g.facets[g.off[k]:g.off[k+1]] {
				if box.meets(c.by.boxOf(f)) {
					list = append(list, f)
				}
			}
		}
	}
	slices.Sort(list)
	return slices.Compact(list)
}

type cellBox struct{ lo, hi [3]float64 }

func (a cellBox) meets(b cellBox) bool {
	return a.lo[0] <= b.hi[0] && b.lo[0] <= a.hi[0] && a.lo[1] <= b.hi[1] && b.lo[1] <= a.hi[1] && a.lo[2] <= b.hi[2] && b.lo[2] <= a.hi[2]
}

func (c *cutter) boxOf(f int32) (b cellBox) {
	p, q, r := c.corners(f)
	for x := range 3 {
		b.lo[x], b.hi[x] = min(p.f[x], q.f[x], r.f[x]), max(p.f[x], q.f[x], r.f[x])
	}
	return b
}
