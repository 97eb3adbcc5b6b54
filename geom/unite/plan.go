package unite

import (
	"cmp"
	"slices"
)

// stretch is a straight piece that must become edges: of a facet's border, or where another facet meets. A stretch from a point to itself
// is a point to keep.
type stretch struct {
	a, b int32
	by   int32 // facet whose plane it lies in, or -1: the border
}

// plan is what lies in one plane: facets that overlap in it, and what meets them.
type plan struct {
	facets []int32
	lines  []stretch
}

// cell is a triangle of the cut surface, facing so that net is not negative.
type cell struct {
	v   [3]int32
	net int   // facets facing this way less facets facing the other way
	src int32 // the first facet facing this way
}

// divide cuts the facets of a plan along all its stretches.
func (c *cutter) divide(p *plan) ([]cell, error) {
	axis, _ := c.shadow(p.facets[0])
	u, v := (axis+1)%3, (axis+2)%3
	for _, f := range p.facets {
		t := c.tri[f]
		for i := range 3 {
			p.lines = append(p.lines, stretch{min(t[i], t[(i+1)%3]), max(t[i], t[(i+1)%3]), -1})
		}
	}
	slices.SortFunc(p.lines, func(s, t stretch) int {
		return cmp.Or(cmp.Compare(s.a, t.a), cmp.Compare(s.b, t.b), cmp.Compare(s.by, t.by))
	})
	p.lines = slices.CompactFunc(p.lines, func(s, t stretch) bool { return s.a == t.a && s.b == t.b })
	edges := c.split(p, axis)

	used := make([]int32, 0, 2*len(edges))
	for _, e := range edges {
		used = append(used, e[0], e[1])
	}
	slices.Sort(used)
	used = slices.Compact(used)
	t := newTess(c, used, u, v)
	for i := range used {
		if err := t.insert(int32(i)); err != nil {
			return nil, err
		}
	}
	local := func(id int32) int32 {
		i, _ := slices.BinarySearch(used, id)
		return int32(i)
	}
	for _, e := range edges {
		if e[0] == e[1] {
			continue
		}
		if err := t.constrain(local(e[0]), local(e[1])); err != nil {
			return nil, err
		}
	}
	t.improve()
	return c.cells(p, t, used, axis), nil
}

// split cuts the stretches where they cross, touch or overlap. Edges run from the lower to the higher number, each once.
func (c *cutter) split(p *plan, axis int) [][2]int32 {
	u, v := (axis+1)%3, (axis+2)%3
	type span struct {
		stretch
		lo, hi [2]float64
		on     []int32
	}
	spans := make([]span, len(p.lines))
	for i, l := range p.lines {
		a, b := &c.pts[l.a], &c.pts[l.b]
		spans[i] = span{stretch: l,
			lo: [2]float64{min(a.f[u], b.f[u]), min(a.f[v], b.f[v])}, hi: [2]float64{max(a.f[u], b.f[u]), max(a.f[v], b.f[v])}}
	}
	slices.SortStableFunc(spans, func(s, t span) int { return cmp.Compare(s.lo[0], t.lo[0]) })
	lineOf := func(s *stretch) *flat {
		if s.by >= 0 {
			return c.planeOf(s.by)
		}
		return c.wall(s.a, s.b, axis)
	}
	// within says whether q, on the line of s, lies between its ends.
	within := func(s *span, q int32) bool {
		if q == s.a || q == s.b {
			return false
		}
		x := u
		if compare(&c.pts[s.a], &c.pts[s.b], u) == 0 {
			x = v
		}
		return compare(&c.pts[s.a], &c.pts[q], x)*compare(&c.pts[q], &c.pts[s.b], x) > 0
	}
	for i := range spans {
		s := &spans[i]
		for j := i + 1; j < len(spans) && spans[j].lo[0] <= s.hi[0]; j++ {
			t := &spans[j]
			if t.lo[1] > s.hi[1] || t.hi[1] < s.lo[1] {
				continue
			}
			at := func(s *span, q int32) int { return turn(&c.pts[s.a], &c.pts[s.b], &c.pts[q], u, v) }
			ta, tb := at(s, t.a), at(s, t.b)
			if ta == 0 && within(s, t.a) {
				s.on = append(s.on, t.a)
			}
			if tb == 0 && within(s, t.b) {
				s.on = append(s.on, t.b)
			}
			if ta*tb > 0 {
				continue
			}
			sa, sb := at(t, s.a), at(t, s.b)
			if sa == 0 && within(t, s.a) {
				t.on = append(t.on, s.a)
			}
			if sb == 0 && within(t, s.b) {
				t.on = append(t.on, s.b)
			}
			if ta*tb < 0 && sa*sb < 0 {
				x := c.id(corner(c.planeOf(p.facets[0]), lineOf(&s.stretch), lineOf(&t.stretch)))
				s.on, t.on = append(s.on, x), append(t.on, x)
			}
		}
	}
	var edges [][2]int32
	for i := range spans {
		s := &spans[i]
		x := u
		if compare(&c.pts[s.a], &c.pts[s.b], u) == 0 {
			x = v
		}
		way := compare(&c.pts[s.a], &c.pts[s.b], x)
		slices.SortFunc(s.on, func(p, q int32) int {
			if p == q {
				return 0
			}
			return -way * compare(&c.pts[p], &c.pts[q], x)
		})
		from := s.a
		for _, q := range append(slices.Compact(s.on), s.b) {
			edges = append(edges, [2]int32{min(from, q), max(from, q)})
			from = q
		}
	}
	slices.SortFunc(edges, func(a, b [2]int32) int { return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1])) })
	return slices.Compact(edges)
}

// cells are the triangles that facets of the plan cover.
func (c *cutter) cells(p *plan, t *tess, used []int32, axis int) []cell {
	net := make([]int, len(t.tri))
	up, down := make([]int32, len(t.tri)), make([]int32, len(t.tri))
	in := make([]bool, len(used)+3)
	for _, f := range p.facets {
		a, b, d := c.corners(f)
		s := turn(a, b, d, (axis+1)%3, (axis+2)%3)
		for i, id := range used {
			in[i] = len(p.facets) == 1 || c.covers(f, axis, s, &c.pts[id]) // what meets a single facet lies in it
		}
		for k, q := range t.tri {
			if !in[q[0]] || !in[q[1]] || !in[q[2]] {
				continue
			}
			net[k] += s
			if first := &up[k]; s > 0 && *first == 0 {
				*first = f + 1
			}
			if first := &down[k]; s < 0 && *first == 0 {
				*first = f + 1
			}
		}
	}
	var out []cell
	for k, q := range t.tri {
		if up[k] == 0 && down[k] == 0 {
			continue
		}
		x := cell{v: [3]int32{used[q[0]], used[q[1]], used[q[2]]}, net: net[k], src: up[k] - 1}
		if net[k] < 0 || up[k] == 0 {
			x.net, x.src = -net[k], down[k]-1
			x.v[1], x.v[2] = x.v[2], x.v[1]
		}
		out = append(out, x)
	}
	return out
}
