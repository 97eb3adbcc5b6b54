package stl

import (
	"firstoff/geom/mesh"
	"firstoff/intake/content"
)

// bodies makes one body of each solid; patches of one surface (meshers write one solid a patch) are joined, see
// content.Split.
func bodies(c *content.Content, p *piece, lim content.Limits) error {
	solids := p.solids
	if len(solids) == 0 || solids[0].first > 0 {
		solids = append([]solid{{"", 0}}, solids...)
	}
	m := mesh.FromSoup(p.corners)
	p.corners = nil
	of := make([]int32, m.Facets())
	names := make([]string, len(solids))
	for i, s := range solids {
		end := len(of)
		if i+1 < len(solids) {
			end = solids[i+1].first
		}
		names[i] = s.name
		for f := s.first; f < end; f++ {
			of[f] = int32(i)
		}
	}
	var joined int
	c.Bodies, _, joined = content.Split(m, of, names)
	if len(c.Bodies) > lim.Bodies {
		return content.TooManyBodies(lim.Bodies)
	}
	if joined > 0 {
		c.Warn("patches_joined", "", "Solids that are patches of one surface were joined into one body.")
	}
	return nil
}
