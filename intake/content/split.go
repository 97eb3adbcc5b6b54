package content

import "firstoff/geom/mesh"

// Split makes bodies of a mesh whose facets carry labels (solids, objects, groups). of has one label a facet, name one a
// label. Labels that are not closed by themselves but continue across an edge into another such label are patches of one surface
// and become one body, named after the first. Labels without facets give nothing. facets are the numbers of each body's
// facets in m, ascending within a label; joined counts the labels that were joined to another.
func Split(m *mesh.Mesh, of []int32, name []string) (bodies []Body, facets [][]uint32, joined int) {
	counts := make([]int, len(name))
	for _, l := range of {
		counts[l]++
	}
	used := 0
	for _, n := range counts {
		if n > 0 {
			used++
		}
	}
	if used == 1 {
		all := make([]uint32, m.Facets())
		for i := range all {
			all[i] = uint32(i)
		}
		return []Body{{Name: name[of[0]], Mesh: m}}, [][]uint32{all}, 0
	}
	lists := make([][]uint32, len(name))
	for l, n := range counts {
		lists[l] = make([]uint32, 0, n)
	}
	for f, l := range of {
		lists[l] = append(lists[l], uint32(f))
	}
	p := newPicker(m)
	meshes := make([]*mesh.Mesh, len(name))
	open := make([]bool, len(name))
	opens := 0
	for l, list := range lists {
		if len(list) == 0 {
			continue
		}
		meshes[l] = p.pick(list)
		if open[l] = meshes[l].Topology().Boundary > 0; open[l] {
			opens++
		}
	}
	group := make([]int32, len(name))
	for i := range group {
		group[i] = int32(i)
	}
	root := func(i int32) int32 {
		for group[i] != i {
			group[i] = group[group[i]]
			i = group[i]
		}
		return i
	}
	if opens > 1 {
		for h, mate := range m.Topology().Mate {
			if mate == mesh.None {
				continue
			}
			if a, b := of[h/3], of[mate/3]; a != b && open[a] && open[b] {
				if a, b = root(a), root(b); a != b {
					group[max(a, b)] = min(a, b)
				}
			}
		}
	}
	for l, list := range lists {
		if r := root(int32(l)); r != int32(l) && len(list) > 0 {
			lists[r] = append(lists[r], list...)
			meshes[r] = nil // to be picked anew
			lists[l] = nil
			joined++
		}
	}
	for l, list := range lists {
		if len(list) == 0 {
			continue
		}
		if meshes[l] == nil {
			meshes[l] = p.pick(list)
		}
		bodies = append(bodies, Body{Name: name[l], Mesh: meshes[l]})
		facets = append(facets, list)
	}
	return bodies, facets, joined
}

// picker takes facets out of a mesh; stamp says in which pick a vertex was last used.
type picker struct {
	m         *mesh.Mesh
	to, stamp []uint32
	now       uint32
}

func newPicker(m *mesh.Mesh) *picker {
	return &picker{m: m, to: make([]uint32, m.Vertices()), stamp: make([]uint32, m.Vertices())}
}

func (p *picker) pick(facets []uint32) *mesh.Mesh {
	p.now++
	out := &mesh.Mesh{Pos: make([]float32, 0, 3*(len(facets)/2+3)), Tri: make([]uint32, 0, 3*len(facets))}
	for _, f := range facets {
		for _, v := range p.m.Tri[3*f : 3*f+3] {
			if p.stamp[v] != p.now {
				p.stamp[v] = p.now
				p.to[v] = uint32(out.Vertices())
				out.Pos = append(out.Pos, p.m.Pos[3*v:3*v+3]...)
			}
			out.Tri = append(out.Tri, p.to[v])
		}
	}
	return out
}

// Pick is the colours of some facets; nil stays nil.
func Pick(colours []RGBA, facets []uint32) []RGBA {
	if colours == nil {
		return nil
	}
	out := make([]RGBA, len(facets))
	for i, f := range facets {
		out[i] = colours[f]
	}
	return out
}
