package mesh

// BodiesOf divides the facets into bodies: an outermost or embedded closed shell together with its cavities; what lies loose in
// a cavity is a body of its own. Open shells that share a vertex make one body. Bodies are in order of their first facet, facets ascending.
func BodiesOf(m *Mesh) [][]uint32 {
	t := m.Topology()
	p := m.shellsOf(t)
	lists := p.lists()
	n := nestOf(m, t, &p, lists)
	_, comp := m.Components()
	body := make([]int, p.n)     // of each shell
	open := make(map[uint32]int) // body of the open shells of a component
	count := 0
	fresh := func() int { count++; return count - 1 }
	owner := make([]int, p.n) // -1: not yet known
	for s := range owner {
		owner[s] = -1
	}
	var settle func(s int) int
	settle = func(s int) int {
		if owner[s] < 0 {
			owner[s] = s
			if n.parent[s] >= 0 && !n.out[s] && n.role[s] != Open {
				owner[s] = settle(n.parent[s])
			}
		}
		return owner[s]
	}
	for s := range p.n {
		switch o := settle(s); {
		case n.role[s] == Open:
			c := comp[lists[s][0]]
			b, ok := open[c]
			if !ok {
				b = fresh()
				open[c] = b
			}
			body[s] = b
		case o == s:
			body[s] = fresh()
		}
	}
	for s := range p.n {
		if n.role[s] != Open && owner[s] != s {
			body[s] = body[owner[s]]
		}
	}
	out := make([][]uint32, count)
	for f, s := range p.of {
		b := body[s]
		out[b] = append(out[b], uint32(f))
	}
	// Numbered by first facet.
	seen := make([]bool, count)
	sorted := out[:0:0]
	for _, s := range p.of {
		if b := body[s]; !seen[b] {
			seen[b] = true
			sorted = append(sorted, out[b])
		}
	}
	return sorted
}

// SplitBodies is BodiesOf as meshes of their own.
func SplitBodies(m *Mesh) []*Mesh {
	var out []*Mesh
	k := newPicker(m)
	for _, list := range BodiesOf(m) {
		out = append(out, k.pick(list))
	}
	return out
}

// Pick is the mesh of the given facets, in the order given, with only the vertices they use, in order of first use.
func (m *Mesh) Pick(facets []uint32) *Mesh { return newPicker(m).pick(facets) }

type picker struct {
	m  *Mesh
	to []uint32 // new number + 1
}

func newPicker(m *Mesh) *picker { return &picker{m, make([]uint32, m.Vertices())} }

func (k *picker) pick(facets []uint32) *Mesh {
	out := &Mesh{Tri: make([]uint32, 0, 3*len(facets))}
	var used []uint32
	for _, f := range facets {
		for _, v := range k.m.Tri[3*f : 3*f+3] {
			if k.to[v] == 0 {
				used = append(used, v)
				k.to[v] = uint32(len(used))
			}
			out.Tri = append(out.Tri, k.to[v]-1)
		}
	}
	out.Pos = make([]float32, 0, 3*len(used))
	for _, v := range used {
		out.Pos = append(out.Pos, k.m.Pos[3*v:3*v+3]...)
		k.to[v] = 0
	}
	return out
}
