package register

import (
	"math"
	"slices"

	"firstoff/fault"
	"firstoff/geom/bvh"
	"firstoff/geom/cores"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// Map is how far every point stands off the surface.
type Map struct {
	Signed []float64 // along the outward normal: positive outside the material; NaN for a point farther than the reach
	Facet  []uint32  // the facet it stands on
}

// Stats sums deviations up. Lengths in the points' unit; percentiles by linear interpolation.
type Stats struct {
	Count  int     `json:"count"`
	Beyond int     `json:"beyond"` // points farther than the reach, counted nowhere else
	Mean   float64 `json:"mean"`
	SD     float64 `json:"sd"`
	RMS    float64 `json:"rms"`
	Min    float64 `json:"min"`
	P2     float64 `json:"p2_5"`
	Median float64 `json:"median"`
	P97    float64 `json:"p97_5"`
	Max    float64 `json:"max"`
	P95    float64 `json:"absP95"` // of the size of the deviation
	P98    float64 `json:"absP98"`
	AbsMax float64 `json:"absMax"`
	Inside float64 `json:"inside"` // share within ±t/2 of the profile tolerance given; 0 without one
}

// Profile is the profile value the points show: the width of the band, equal on both sides, that holds them all
// (ASME Y14.5.1 actual value, from memory).
func (s Stats) Profile() float64 { return 2 * s.AbsMax }

// Passes says whether a profile of a surface of width t, equal on both sides, holds all points.
func (s Stats) Passes(t float64) bool { return s.Count > 0 && s.Beyond == 0 && s.Profile() <= t }

// Deviations measures every point, moved by g, against the surface tree was built from. Points farther than reach are
// taken for something else (a fixture, a stray) and counted apart; 0 means no limit. t is the width of the profile
// tolerance for Inside, 0 for none.
func Deviations(points []r3.Vec, g Rigid, tree *bvh.Tree, m *mesh.Mesh, reach, t float64) (Map, Stats, error) {
	if tree == nil || m == nil || tree.Facets() == 0 || m.Facets() != tree.Facets() {
		return Map{}, Stats{}, fault.New(fault.Invalid, "register_no_surface", "", "there is no surface to measure against; open the part again")
	}
	if len(points) == 0 {
		return Map{}, Stats{}, fault.New(fault.Invalid, "register_few_points", "", "there are no points to measure; scan again")
	}
	if reach <= 0 {
		reach = math.Inf(1)
	}
	sides := newSides(m)
	out := Map{make([]float64, len(points)), make([]uint32, len(points))}
	const batch = 1 << 18 // keeps the working set small for large scans
	at, near := make([]r3.Vec, min(batch, len(points))), make([]bvh.Near, min(batch, len(points)))
	for from := 0; from < len(points); from += batch {
		to := min(len(points), from+batch)
		at, near := at[:to-from], near[:to-from]
		g.ApplyAll(points[from:to], at)
		tree.NearestAll(at, near)
		cores.Each(to-from, 4096, func(_, lo, hi int) {
			for i := lo; i < hi; i++ {
				out.Facet[from+i] = near[i].Facet
				if d := near[i].Dist; d <= reach {
					out.Signed[from+i] = math.Copysign(d, sides.of(at[i], near[i]))
				} else {
					out.Signed[from+i] = math.NaN()
				}
			}
		})
	}
	return out, Summed(out.Signed, t), nil
}

// Zones sums the deviations up by zone of the facet they stand on (zone[facet] in 0..n-1; others are left out).
func (d Map) Zones(zone []int, n int, t float64) []Stats {
	parts := make([][]float64, max(0, n))
	for i, f := range d.Facet {
		if int(f) < len(zone) {
			if z := zone[f]; z >= 0 && z < n {
				parts[z] = append(parts[z], d.Signed[i])
			}
		}
	}
	out := make([]Stats, len(parts))
	for i, p := range parts {
		out[i] = Summed(p, t)
	}
	return out
}

// Summed sums deviations up; NaN counts as beyond. t as Deviations.
func Summed(signed []float64, t float64) Stats {
	var s Stats
	v := make([]float64, 0, len(signed))
	for _, d := range signed {
		if math.IsNaN(d) {
			s.Beyond++
		} else {
			v = append(v, d)
		}
	}
	s.Count = len(v)
	if s.Count == 0 {
		return s
	}
	n := float64(s.Count)
	sq, in := 0.0, 0
	for _, d := range v {
		s.Mean += d
		sq += d * d
		if t > 0 && math.Abs(d) <= t/2 {
			in++
		}
	}
	s.Mean /= n
	s.RMS = math.Sqrt(sq / n)
	vs := 0.0
	for _, d := range v {
		vs += (d - s.Mean) * (d - s.Mean)
	}
	if s.Count > 1 {
		s.SD = math.Sqrt(vs / (n - 1))
	}
	s.Inside = float64(in) / n
	slices.Sort(v)
	s.Min, s.P2, s.Median, s.P97, s.Max = v[0], quantile(v, 0.025), quantile(v, 0.5), quantile(v, 0.975), v[len(v)-1]
	for i := range v {
		v[i] = math.Abs(v[i])
	}
	slices.Sort(v)
	s.P95, s.P98, s.AbsMax = quantile(v, 0.95), quantile(v, 0.98), v[len(v)-1]
	return s
}

// quantile of sorted values, interpolated.
func quantile(v []float64, q float64) float64 {
	at := q * float64(len(v)-1)
	i := int(at)
	if i+1 >= len(v) {
		return v[len(v)-1]
	}
	return v[i] + (at-float64(i))*(v[i+1]-v[i])
}

// sides tells on which side of the surface a point lies, also where an edge or a corner is nearest.
type sides struct {
	m      *mesh.Mesh
	mate   []uint32
	vertex []r3.Vec // angle-weighted normals
}

func newSides(m *mesh.Mesh) *sides {
	s := &sides{m: m, mate: m.Topology().Mate, vertex: make([]r3.Vec, len(m.Pos)/3)}
	for f := range m.Facets() {
		n := m.FacetNormal(f)
		var c [3]r3.Vec
		c[0], c[1], c[2] = m.Corners(f)
		for j := range 3 {
			a, b := c[(j+1)%3].Sub(c[j]).Unit(), c[(j+2)%3].Sub(c[j]).Unit()
			w := math.Acos(math.Max(-1, math.Min(1, a.Dot(b))))
			v := m.Tri[3*f+j]
			s.vertex[v] = s.vertex[v].Add(n.Mul(w))
		}
	}
	return s
}

// of is positive outside.
func (s *sides) of(p r3.Vec, near bvh.Near) float64 {
	f := int(near.Facet)
	n := s.m.FacetNormal(f)
	off := p.Sub(near.Point)
	// Barycentric places of the nearest point: a zero says edge, two say corner.
	a, b, c := s.m.Corners(f)
	e1, e2, d := b.Sub(a), c.Sub(a), near.Point.Sub(a)
	d11, d12, d22, d1, d2 := e1.Dot(e1), e1.Dot(e2), e2.Dot(e2), d.Dot(e1), d.Dot(e2)
	det := d11*d22 - d12*d12
	if det <= 0 {
		return off.Dot(n)
	}
	v, w := (d22*d1-d12*d2)/det, (d11*d2-d12*d1)/det
	bary := [3]float64{1 - v - w, v, w}
	const tiny = 1e-7
	zero, last := 0, 0
	for i, x := range bary {
		if x < tiny {
			zero++
			last = i
		}
	}
	switch zero {
	case 1:
		// The edge opposite corner last runs from corner last+1.
		h := 3*f + (last+1)%3
		if mate := s.mate[h]; mate != mesh.None {
			n = n.Add(s.m.FacetNormal(int(mate / 3)))
		}
	case 2:
		for i, x := range bary {
			if x >= tiny {
				n = s.vertex[s.m.Tri[3*f+i]]
			}
		}
	}
	return off.Dot(n)
}
