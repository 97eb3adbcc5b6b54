package stl

import (
	"firstoff/geom/mesh"
	"firstoff/intake/content"
)

// bodies makes one body of each solid. Solids that are not closed by themselves but continue across an edge into
// another are patches of one surface (meshers write one solid a patch) and become one body, named after the
// first.
func bodies(c *content.Content, p *piece, lim content.Limits) error {
	solids := p.solids
	if len(solids) == 0 || solids[0].first > 0 {
		solids = append([]solid{{"", 0}}, solids...)
	}
	kept := solids[:0]
	for i, s := range solids {
		if i+1 < len(solids) && solids[i+1].first == s.first || s.first == p.facets() {
			continue // without facets
		}
		kept = append(kept, s)
	}
	if len(kept) == 1 {
		c.Bodies = []content.Body{{Name: kept[0].name, Mesh: mesh.FromSoup(p.corners)}}
		return nil
	}
	end := func(i int) int {
		if i+1 < len(kept) {
			return kept[i+1].first
		}
		return p.facets()
	}
	meshes := make([]*mesh.Mesh, len(kept))
	open := make([]bool, len(kept))
	anyOpen := false
	for i, s := range kept {
		meshes[i] = mesh.FromSoup(p.corners[9*s.first : 9*end(i)])
		open[i] = meshes[i].Topology().Boundary > 0
		anyOpen = anyOpen || open[i]
	}
	group := make([]int, len(kept))
	for i := range group {
		group[i] = i
	}
	root := func(i int) int {
		for group[i] != i {
			group[i] = group[group[i]]
			i = group[i]
		}
		return i
	}
	if anyOpen {
		of := make([]int32, p.facets())
		for i, s := range kept {
			for f := s.first; f < end(i); f++ {
				of[f] = int32(i)
			}
		}
		for h, mate := range mesh.FromSoup(p.corners).Topology().Mate {
			if mate == mesh.None {
				continue
			}
			a, b := int(of[h/3]), int(of[mate/3])
			if a != b && open[a] && open[b] {
				if a, b = root(a), root(b); a != b {
					group[max(a, b)] = min(a, b)
				}
			}
		}
	}
	joined := 0
	corners := make(map[int][]float32)
	for i, s := range kept {
		r := root(i)
		if r != i {
			joined++
			if corners[r] == nil {
				corners[r] = append(corners[r], p.corners[9*kept[r].first:9*end(r)]...)
			}
			corners[r] = append(corners[r], p.corners[9*s.first:9*end(i)]...)
		}
	}
	for i, s := range kept {
		if root(i) != i {
			continue
		}
		m := meshes[i]
		if soup, ok := corners[i]; ok {
			m = mesh.FromSoup(soup)
		}
		c.Bodies = append(c.Bodies, content.Body{Name: s.name, Mesh: m})
	}
	if len(c.Bodies) > lim.Bodies {
		return content.TooManyBodies(lim.Bodies)
	}
	if joined > 0 {
		c.Warn("stl_patches", "", "Solids that are patches of one surface were joined into one body.")
	}
	return nil
}
