// Package thickness measures walls and gaps at every facet of a surface, by two customary meanings.
//
//   - Ray: the way from the middle of the facet straight in (wall) or out (gap) to the next surface. Sensitive to slanting
//     opposite sides: through a corner it can be far longer than the wall is thick.
//   - Sphere: the diameter of the largest sphere that touches the facet in its middle and stays within the material (wall)
//     or the air (gap). Goes to nothing towards a sharp edge, where material does end. Facets that stand for a rounded surface
//     (edges flatter than Crease) are taken as round: the sphere touches along their mean normal, and its smooth neighbours do not bound it.
//
// Lengths in mm, one float32 a facet, in facet order. +Inf: nothing met within the limit asked for. NaN: the facet has no area.
// Rays are exact to float32; spheres may come out up to 0.1 % too large (slack), and by the chords of rounded surfaces.
// Facets must face outwards; what an open or crossing surface means by its inside is not judged here.
//
// Promises: known answers on blocks, tubes, shells and plates (TestKnown); the same under a turn or a move within 1e-4 of the size
// (TestTurned); the same bits on any number of cores (inherited from bvh, TestSameBitsOnAnyCores).
//
// Source: shrinking ball, Ma, Bae, Choi, "3D medial axis point approximation using nearest neighbors and the normal field", Visual Computer 28, 2012.
package thickness

import (
	"cmp"
	"math"
	"slices"

	"firstoff/geom/bvh"
	"firstoff/geom/cores"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// Skin is how far off its facet a ray begins, in mm: below any feature a process resolves, above the rounding of coordinates up to a metre.
const Skin = 1e-4

// WallRays is the way straight in from every facet, up to limit mm.
func WallRays(t *bvh.Tree, limit float64) []float32 { return rays(t, bvh.Inward, limit) }

// GapRays is the way straight out from every facet, up to limit mm.
func GapRays(t *bvh.Tree, limit float64) []float32 { return rays(t, bvh.Outward, limit) }

func rays(t *bvh.Tree, side bvh.Side, limit float64) []float32 {
	out := make([]float32, t.Facets())
	t.OwnRays(side, skin(t), limit, out)
	return out
}

// skin is Skin, or more for parts so large that float32 cannot hold it.
func skin(t *bvh.Tree) float64 {
	b := t.Box()
	far := max(b.Max.Norm(), b.Min.Norm())
	if !(far < math.Inf(1)) {
		return Skin
	}
	return max(min(Skin, b.Size().Norm()*1e-6), far*2e-7)
}

// Crease is the angle between neighbouring facets up to which they count as one rounded surface: a circle of eight flats is round.
const Crease = 46 * math.Pi / 180

// WallSpheres is the diameter of the largest sphere inside at every facet of m, whose tree t is, up to limit mm.
func WallSpheres(t *bvh.Tree, m *mesh.Mesh, limit float64) []float32 {
	return spheres(t, m, bvh.Inward, limit)
}

// GapSpheres is the diameter of the largest sphere outside at every facet of m, whose tree t is, up to limit mm.
func GapSpheres(t *bvh.Tree, m *mesh.Mesh, limit float64) []float32 {
	return spheres(t, m, bvh.Outward, limit)
}

func spheres(t *bvh.Tree, m *mesh.Mesh, side bvh.Side, limit float64) []float32 {
	// The ray nearly bounds the sphere from above, so each ball starts about at its final size.
	out := rays(t, side, limit)
	order := t.Order()
	place := make([]uint32, len(order))
	for i, f := range order {
		place[f] = uint32(i)
	}
	near := 4 * skin(t)
	normals := m.CornerNormals(Crease)
	cores.Each(len(order), 1<<12, func(_, from, to int) {
		for i := from; i < to; i++ {
			f := order[i]
			d := float64(out[f])
			if math.IsNaN(d) {
				continue
			}
			d = min(d, limit)
			if math.IsInf(d, 1) {
				d = 2 * t.Box().Size().Norm()
			}
			k := normals[9*f : 9*f+9]
			n := r3.Vec{X: float64(k[0] + k[3] + k[6]), Y: float64(k[1] + k[4] + k[7]), Z: float64(k[2] + k[5] + k[8])}.Unit()
			if r, cut := ball(t, i, place, n.Mul(float64(side)), d/2, near); cut || !math.IsInf(float64(out[f]), 1) {
				out[f] = float32(2 * r)
			}
		}
	})
	return out
}

// slack is the share of its radius by which a ball may be cut before it is made smaller.
const slack = 1e-3

// ball shrinks a ball of radius r that touches the facet at place i of the order in its middle, its centre along n, until no surface cuts it
// but what lies within Crease of the point of contact. cut says whether any did.
func ball(t *bvh.Tree, i int, place []uint32, n r3.Vec, r, near float64) (radius float64, cut bool) {
	p, _, _ := t.Middle(i)
	at := -1 // where it was cut last: the next cut is likely there
	cone := bvh.Cone{Axis: n.Mul(-1), Cos: math.Cos(Crease)}
	for range 40 {
		q, ok := t.NearestOutside(at, p.Add(n.Mul(r)), r*(1-slack), cone)
		if !ok {
			return r, cut
		}
		at = int(place[q.Facet])
		v := q.Point.Sub(p)
		h := v.Dot(n)
		if h <= 0 || v.Norm() < near {
			return r, cut
		}
		s := v.Norm2() / (2 * h)
		if s >= r*(1-1e-6) {
			return r, cut
		}
		r, cut = s, true
	}
	return r, cut
}

// Spread is how a map of values lies over the surface, weighted by facet area. Facets without a value (NaN) are left out; +Inf counts as large.
type Spread struct {
	sorted []weighted
	total  float64
}

type weighted struct {
	value float32
	upto  float64 // area of all facets up to and with this one
	facet uint32
}

// NewSpread sorts the values of a map by facet area.
func NewSpread(m *mesh.Mesh, values []float32) *Spread {
	s := &Spread{sorted: make([]weighted, 0, len(values))}
	for f, v := range values {
		if v == v {
			s.sorted = append(s.sorted, weighted{v, m.FacetArea(f), uint32(f)})
		}
	}
	slices.SortFunc(s.sorted, func(a, b weighted) int {
		if c := cmp.Compare(a.value, b.value); c != 0 {
			return c
		}
		return cmp.Compare(a.facet, b.facet)
	})
	for i := range s.sorted {
		s.total += s.sorted[i].upto
		s.sorted[i].upto = s.total
	}
	return s
}

// Quantile is the value that a share q of the area does not exceed; NaN without values.
func (s *Spread) Quantile(q float64) float64 {
	if len(s.sorted) == 0 {
		return math.NaN()
	}
	i, _ := slices.BinarySearchFunc(s.sorted, q*s.total, func(w weighted, a float64) int { return cmp.Compare(w.upto, a) })
	return float64(s.sorted[min(i, len(s.sorted)-1)].value)
}

// Below is the area whose value is below limit, in mm², and the facets it consists of, thinnest first.
func (s *Spread) Below(limit float64) (areaMM2 float64, facets []uint32) {
	for _, w := range s.sorted {
		if float64(w.value) >= limit {
			break
		}
		areaMM2 = w.upto
		facets = append(facets, w.facet)
	}
	return areaMM2, facets
}
