package faces

import (
	"math"
	"slices"

	"firstoff/geom/r3"
)

// sew joins the faces of a surface that stayed open although they meet: loose surfaces, as IGES files hold,
// are meshed each by itself, so that along a common edge the nodes of one face lie between those of the
// other, and nobody has turned the faces to one side.
//
//   - Border vertices within near of each other become one.
//   - A border vertex of one face within far of a border edge of another is put into that edge. Both faces
//     have the edge's curve in common, so the vertex lies on both; far is the chord plus what exporters leave
//     between faces.
//   - Faces are turned until neighbours agree, each connected group so that its volume is positive.
//
// It is all or nothing: unless every edge finds its partner the surface stays as it was. It returns which
// faces were turned over.
func (s *Surface) sew(near, far float64) (turned map[int32]bool, ok bool) {
	tri, source := slices.Clone(s.Tri), slices.Clone(s.Source)
	s2 := &Surface{Pos: s.Pos, Tri: tri, Source: source, Box: s.Box}
	s2.joinBorder(near)
	s2.fillBorder(near, far)
	e := newEdges(s2.Tri)
	for i := range e.slots {
		if n := e.slots[i].n; n != 0 && n != 2 {
			return nil, false
		}
	}
	turned, ok = s2.agree(e)
	if !ok {
		return nil, false
	}
	for f, face := range s2.Source {
		if turned[face] {
			t := s2.Tri[3*f : 3*f+3]
			t[1], t[2] = t[2], t[1]
		}
	}
	s.Tri, s.Source = s2.Tri, s2.Source
	return turned, true
}

// border lists the vertices on edges that only one facet has.
func border(e *edges) []uint32 {
	var list []uint32
	for i := range e.slots {
		if e.slots[i].n == 1 {
			list = append(list, e.slots[i].lo, e.slots[i].hi)
		}
	}
	slices.Sort(list)
	return slices.Compact(list)
}

// joinBorder makes border vertices within near of each other one; facets that vanish are dropped.
func (s *Surface) joinBorder(near float64) {
	list := border(newEdges(s.Tri))
	pos := make([]float64, 0, 3*len(list))
	for _, v := range list {
		pos = append(pos, s.Pos[3*v:3*v+3]...)
	}
	index, _ := weld(pos, s.Box, near)
	first := map[uint32]uint32{} // group -> vertex
	to := make(map[uint32]uint32, len(list))
	for i, v := range list {
		if _, seen := first[index[i]]; !seen {
			first[index[i]] = v
		}
		to[v] = first[index[i]]
	}
	n := 0
	for f := range s.Source {
		t := [3]uint32{}
		for k := range t {
			t[k] = s.Tri[3*f+k]
			if w, moved := to[t[k]]; moved {
				t[k] = w
			}
		}
		if t[0] != t[1] && t[1] != t[2] && t[2] != t[0] {
			copy(s.Tri[3*n:], t[:])
			s.Source[n] = s.Source[f]
			n++
		}
	}
	s.Tri, s.Source = s.Tri[:3*n], s.Source[:n]
}

// insertion is a vertex to be put into an edge of a facet, at share t of its length.
type insertion struct {
	v uint32
	t float64
}

// fillBorder puts border vertices into the border edges of other faces that they lie on.
func (s *Surface) fillBorder(near, far float64) {
	e := newEdges(s.Tri)
	list := border(e)
	faces := map[uint32]map[int32]bool{} // the faces at each border vertex
	for _, v := range list {
		faces[v] = map[int32]bool{}
	}
	for f, face := range s.Source {
		for _, v := range s.Tri[3*f : 3*f+3] {
			if m, on := faces[v]; on {
				m[face] = true
			}
		}
	}
	g := newGrid(s, list, e, far)
	// By facet and side.
	into := map[[2]int32][]insertion{}
	for f := range int32(len(s.Source)) {
		for k := range int32(3) {
			a, b := s.Tri[3*f+k], s.Tri[3*f+(k+1)%3]
			if e.slot(min(a, b), max(a, b)).n != 1 {
				continue
			}
			pa, pb := at(s.Pos, a), at(s.Pos, b)
			d := pb.Sub(pa)
			l2 := d.Norm2()
			for _, v := range g.along(pa, pb) {
				if v == a || v == b || faces[v][s.Source[f]] {
					continue
				}
				p := at(s.Pos, v)
				t := p.Sub(pa).Dot(d) / l2
				if t > 0 && t < 1 && p.Dist(pa.Add(d.Mul(t))) <= far && p.Dist(pa) > near && p.Dist(pb) > near {
					into[[2]int32{f, k}] = append(into[[2]int32{f, k}], insertion{v, t})
				}
			}
		}
	}
	for f := range int32(len(s.Source)) {
		parts := [][3]uint32{{s.Tri[3*f], s.Tri[3*f+1], s.Tri[3*f+2]}}
		corners := parts[0]
		for k := range int32(3) {
			if ins := into[[2]int32{f, k}]; len(ins) > 0 {
				slices.SortFunc(ins, func(x, y insertion) int {
					if x.t != y.t {
						if x.t < y.t {
							return -1
						}
						return 1
					}
					return int(x.v) - int(y.v)
				})
				parts = split(parts, corners[k], corners[(k+1)%3], ins)
			}
		}
		copy(s.Tri[3*f:], parts[0][:])
		for _, p := range parts[1:] {
			s.Tri = append(s.Tri, p[0], p[1], p[2])
			s.Source = append(s.Source, s.Source[f])
		}
	}
}

// split fans the part with the edge from a to b out over the vertices put into it.
func split(parts [][3]uint32, a, b uint32, ins []insertion) [][3]uint32 {
	for i, p := range parts {
		for k := range 3 {
			if p[k] != a || p[(k+1)%3] != b {
				continue
			}
			apex := p[(k+2)%3]
			from := a
			for j, x := range ins {
				if j > 0 && x.v == ins[j-1].v {
					continue
				}
				if from == a {
					parts[i] = [3]uint32{from, x.v, apex}
				} else {
					parts = append(parts, [3]uint32{from, x.v, apex})
				}
				from = x.v
			}
			return append(parts, [3]uint32{from, b, apex})
		}
	}
	return parts
}

// grid finds border vertices near a line.
type grid struct {
	s    *Surface
	cell float64
	at   map[[3]int32][]uint32
	far  float64
	seen map[uint32]int
	turn int
}

func newGrid(s *Surface, list []uint32, e *edges, far float64) *grid {
	var sum float64
	n := 0
	for i := range e.slots {
		if x := &e.slots[i]; x.n == 1 {
			sum += at(s.Pos, x.lo).Dist(at(s.Pos, x.hi))
			n++
		}
	}
	size := s.Box.Size()
	g := &grid{s: s, at: map[[3]int32][]uint32{}, far: far, seen: map[uint32]int{}}
	g.cell = math.Max(math.Max(sum/float64(max(n, 1)), 4*far), math.Max(size.X, math.Max(size.Y, size.Z))/5000)
	for _, v := range list {
		c := g.of(at(s.Pos, v))
		g.at[c] = append(g.at[c], v)
	}
	return g
}

func (g *grid) of(p r3.Vec) [3]int32 {
	d := p.Sub(g.s.Box.Min).Mul(1 / g.cell)
	return [3]int32{int32(math.Floor(d.X)), int32(math.Floor(d.Y)), int32(math.Floor(d.Z))}
}

// along lists the vertices in the cells within far of the line from a to b, each once.
func (g *grid) along(a, b r3.Vec) []uint32 {
	g.turn++
	var list []uint32
	steps := int(a.Dist(b)/g.cell*2) + 1
	reach := r3.Vec{X: g.far, Y: g.far, Z: g.far}
	for i := range steps {
		p, q := a.Add(b.Sub(a).Mul(float64(i)/float64(steps))), a.Add(b.Sub(a).Mul(float64(i+1)/float64(steps)))
		box := r3.EmptyBox().Add(p).Add(q)
		lo, hi := g.of(box.Min.Sub(reach)), g.of(box.Max.Add(reach))
		for x := lo[0]; x <= hi[0]; x++ {
			for y := lo[1]; y <= hi[1]; y++ {
				for z := lo[2]; z <= hi[2]; z++ {
					for _, v := range g.at[[3]int32{x, y, z}] {
						if g.seen[v] != g.turn {
							g.seen[v] = g.turn
							list = append(list, v)
						}
					}
				}
			}
		}
	}
	return list
}

// agree finds which faces to turn over so that neighbours run their common edges in opposite directions and
// each connected group has a positive volume; false when there is no such choice.
func (s *Surface) agree(e *edges) (map[int32]bool, bool) {
	type neighbour struct {
		face int32
		same bool // the edge is run the same way: one of the two must turn
	}
	next := map[int32][]neighbour{}
	for i := range e.slots {
		x := &e.slots[i]
		if x.n != 2 {
			continue
		}
		a, b := s.Source[x.facet[0]], s.Source[x.facet[1]]
		if same := x.net != 0; a != b {
			next[a] = append(next[a], neighbour{b, same})
			next[b] = append(next[b], neighbour{a, same})
		} else if same {
			return nil, false
		}
	}
	o := s.Box.Center()
	volume := map[int32]float64{}
	var order []int32
	for f, face := range s.Source {
		p, q, r := s.corners(int32(f))
		if _, seen := volume[face]; !seen {
			order = append(order, face)
		}
		volume[face] += p.Sub(o).Dot(q.Sub(o).Cross(r.Sub(o))) / 6
	}
	turned := map[int32]bool{}
	done := map[int32]bool{}
	for _, start := range order {
		if done[start] {
			continue
		}
		done[start] = true
		group := []int32{start}
		for i := 0; i < len(group); i++ {
			for _, n := range next[group[i]] {
				want := turned[group[i]] != n.same
				if !done[n.face] {
					done[n.face], turned[n.face] = true, want
					group = append(group, n.face)
				} else if turned[n.face] != want {
					return nil, false
				}
			}
		}
		var v float64
		for _, f := range group {
			if turned[f] {
				v -= volume[f]
			} else {
				v += volume[f]
			}
		}
		if v < 0 {
			for _, f := range group {
				turned[f] = !turned[f]
			}
		}
	}
	return turned, true
}
