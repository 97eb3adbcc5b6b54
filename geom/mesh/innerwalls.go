package mesh

import (
	"cmp"
	"math"
	"slices"

	"firstoff/geom/r3"
)

// dropInnerWalls drops single walls between bodies: patches of surface bounded by edges that more than two facets use, an odd one too
// many, where at every such edge the patch is the facet with material on both sides.
//
// Round such an edge, a facet that runs down the axis begins material and one that runs up ends it. Where two begin in a row, the
// second lies in material already; where two end in a row, the first does. That one is in the way of a surface.
func (k *mender) dropInnerWalls() (n int) {
	for range 8 { // walls that meet walls come free one after another
		gone := k.innerWalls()
		if gone == nil {
			return n
		}
		n += k.drop(gone)
	}
	return n
}

func (k *mender) innerWalls() []bool {
	m, t := k.m, k.m.Topology()
	if t.NonManifold == 0 {
		return nil
	}
	// Patches hang together across edges that two facets use.
	crowded := make(map[uint32]bool)
	for _, g := range t.crowded {
		for _, h := range g {
			crowded[h] = true
		}
	}
	flatTopology := *t
	flatTopology.Mate = slices.Clone(t.Mate)
	for h := range crowded {
		flatTopology.Mate[h] = None
	}
	p := m.shellsOf(&flatTopology)
	type count struct{ rim, inner, twice int }
	tally := make([]count, p.n)
	for h := range uint32(len(t.Mate)) {
		if flatTopology.Mate[h] == None && !crowded[h] && !m.degenerate(h/3) {
			tally[p.of[h/3]].twice++ // ends in the open: not a wall
		}
	}
	for _, g := range t.crowded {
		inner := m.innerAt(g)
		for i, h := range g {
			c := &tally[p.of[h/3]]
			c.rim++
			if h == inner {
				c.inner++
			}
			for _, o := range g[:i] {
				if p.of[o/3] == p.of[h/3] {
					c.twice++
				}
			}
		}
	}
	var gone []bool
	for f, s := range p.of {
		if c := tally[s]; c.rim > 0 && c.inner == c.rim && c.twice == 0 {
			if gone == nil {
				gone = make([]bool, len(p.of))
			}
			gone[f] = true
		}
	}
	return gone
}

// innerAt is the half-edge of the facet that lies in material at an edge with one facet too many, or None.
func (m *Mesh) innerAt(group []uint32) uint32 {
	if len(group)%2 == 0 {
		return None
	}
	a, b := m.Vertex(m.From(group[0])), m.Vertex(m.To(group[0]))
	leaves := m.around(group, a, b.Sub(a).Unit())
	n, up := len(leaves), 0
	for _, l := range leaves {
		if l.up {
			up++
		}
	}
	if d := 2*up - n; d != 1 && d != -1 {
		return None
	}
	more := 2*up > n // more ends than beginnings
	found := None
	for i, l := range leaves {
		o := leaves[(i+1)%n]
		if l.up != more || o.up != more {
			continue
		}
		if found != None { // not the only place: three of a kind, undecided
			return None
		}
		if more {
			found = l.half
		} else {
			found = o.half
		}
	}
	return found
}

// leaf is a facet seen along an edge.
type leaf struct {
	half  uint32
	angle float64
	up    bool // runs along the axis
}

// around orders the half-edges of an edge by angle about its axis. Coincident facets: what ends material comes before what begins it.
func (m *Mesh) around(group []uint32, a, axis r3.Vec) []leaf {
	var u, v r3.Vec
	leaves := make([]leaf, len(group))
	for i, h := range group {
		d := m.Vertex(m.Tri[prev(h)]).Sub(a)
		d = d.Sub(axis.Mul(d.Dot(axis)))
		if i == 0 {
			u = d.Unit()
			v = axis.Cross(u)
		}
		ang := math.Atan2(d.Dot(v), d.Dot(u))
		if ang < 0 {
			ang += 2 * math.Pi
		}
		leaves[i] = leaf{h, ang, m.From(h) == m.From(group[0])}
	}
	slices.SortStableFunc(leaves, func(p, q leaf) int {
		if c := cmp.Compare(p.angle, q.angle); c != 0 {
			return c
		}
		if p.up != q.up {
			if p.up {
				return -1
			}
			return 1
		}
		return cmp.Compare(p.half, q.half)
	})
	return leaves
}
