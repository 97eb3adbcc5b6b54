package printability

import (
	"math"
	"slices"

	"firstoff/geom/mesh"
	"firstoff/part"
)

// relief: raised or sunk text and marks lower than two layers vanish in the stair steps (handbook 2.4).
func relief(q *Question) []part.Finding {
	if q.Geometry == nil || q.LayerMM <= 0 {
		return nil
	}
	limit := 2 * q.LayerMM
	var worst *step
	n := 0
	g := q.Geometry
	steps := g.steps()
	for i := range steps {
		s := &steps[i]
		if s.height < limit-1e-4 {
			if n++; worst == nil || s.area > worst.area {
				worst = s
			}
		}
	}
	if worst == nil {
		return nil
	}
	f := finding(Warning, "handbook 2.4: raised text of at least two layers", worst.height, limit, "mm", "Raised or sunk detail of %.2f mm (%.0f mm²) is lower than two layers of %.3g mm and may vanish.", worst.height, worst.area, q.LayerMM)
	return one(g.spot(f, worst.facets))
}

// step is a small flat standing a little above or below a large one that looks the same way.
type step struct {
	height, area float64
	stroke       float64 // width, mm
	facets       []uint32
}

// tallestRelief is how high a step may be to count as relief, mm.
const tallestRelief = 1.2

// mostPlanes is how many planes of one direction are looked at: more make a curved face.
const mostPlanes = 48

// reliefOf finds the steps: facets by direction and by distance from the origin, the large planes first.
func reliefOf(g *Geometry) []step {
	m := g.Mesh
	type key [3]int32
	type plane struct {
		d, area float64
		facets  []uint32
	}
	dirs := map[key][]plane{}
	var order []key
	for f := 0; f < m.Facets(); f++ {
		a, b, c := m.Corners(f)
		n := b.Sub(a).Cross(c.Sub(a))
		l := n.Norm()
		if l < 1e-9 {
			continue
		}
		n = n.Mul(1 / l)
		k := key{int32(math.Round(n.X * 200)), int32(math.Round(n.Y * 200)), int32(math.Round(n.Z * 200))}
		d := a.Dot(n)
		ps, ok := dirs[k]
		if !ok {
			order = append(order, k)
		}
		at := slices.IndexFunc(ps, func(p plane) bool { return math.Abs(p.d-d) < 0.005 })
		if at < 0 {
			if len(ps) > mostPlanes { // a curved face, not planes
				continue
			}
			ps = append(ps, plane{d: d})
			at = len(ps) - 1
		}
		ps[at].area += l / 2
		ps[at].facets = append(ps[at].facets, uint32(f))
		dirs[k] = ps
	}
	var out []step
	for _, k := range order {
		ps := dirs[k]
		if len(ps) < 2 || len(ps) > mostPlanes {
			continue
		}
		big := slices.MaxFunc(ps, func(a, b plane) int {
			switch {
			case a.area < b.area:
				return -1
			case a.area > b.area:
				return 1
			}
			return 0
		})
		if big.area < 50 {
			continue
		}
		for _, p := range ps {
			h := math.Abs(p.d - big.d)
			if h > 0.03 && h < tallestRelief && p.area >= 0.5 && p.area < big.area/3 {
				if outline, ok := g.walled(p.facets); ok {
					out = append(out, step{h, p.area, 2 * p.area / outline, p.facets})
				}
			}
		}
	}
	return out
}

// walled says whether a patch stands off its surroundings by steep sides, as text and marks do and the last facets of a soft curve do not: at least
// three quarters of its outline turn by 40° or more. The outline's length comes along.
func (g *Geometry) walled(facets []uint32) (outlineMM float64, ok bool) {
	t, m := g.topology(), g.Mesh
	in := make(map[uint32]bool, len(facets))
	for _, f := range facets {
		in[f] = true
	}
	limit := math.Cos(40 * math.Pi / 180)
	var steep, all float64
	for _, f := range facets {
		n := m.FacetNormal(int(f))
		for h := 3 * f; h < 3*f+3; h++ {
			mate := t.Mate[h]
			if mate == mesh.None || in[mate/3] {
				continue
			}
			l := m.Vertex(m.From(h)).Dist(m.Vertex(m.To(h)))
			all += l
			if n.Dot(m.FacetNormal(int(mate/3))) <= limit {
				steep += l
			}
		}
	}
	return all, all > 0 && steep >= 0.75*all
}
