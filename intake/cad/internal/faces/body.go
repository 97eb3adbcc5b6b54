package faces

import (
	"math"

	"firstoff/geom/r3"
)

// Body is one body as meshed: nodes are not shared between faces.
type Body struct {
	Pos    []float64 // 3 a node
	Normal []float64 // 3 a node, or none
	Tri    []uint32  // 3 a triangle
	Faces  []Face
}

// Face is one exact face: triangles First to Last, both included.
type Face struct{ First, Last int }

// Surface is a body welded.
type Surface struct {
	Pos    []float64 // 3 a vertex
	Tri    []uint32  // 3 a facet
	Source []int32   // the face each facet came from
	// Ragged counts edges whose facets do not pair up; 0 means closed.
	Ragged int
	// Sewn says that the faces were loose and were joined at up to the distance given to Join.
	Sewn         bool
	Volume, Area float64
	Centroid     r3.Vec // of the solid; of the box when there is no volume
	Box          r3.Box
	Cylinders    []Cylinder
	Holes        []Hole

	turned map[int32]bool // faces turned over when sewn
}

func at(pos []float64, i uint32) r3.Vec {
	p := pos[3*i : 3*i+3 : 3*i+3]
	return r3.Vec{X: p[0], Y: p[1], Z: p[2]}
}

// tolerances for a body whose box has the diagonal d.
type tolerances struct {
	weld float64 // nodes closer are one
	fit  float64 // a node may lie this far off a cylinder
}

func tolerancesFor(d float64) tolerances {
	return tolerances{weld: math.Min(1e-6, 1e-8*d), fit: math.Min(5e-3, 5e-5*d)}
}

// Join welds a body and finds its cylinders and holes. Where it does not close, faces up to a few chords apart
// (the largest distance between facets and surface it was meshed with) are sewn, if that closes it; 0 sews
// nothing.
func Join(b *Body, chord float64) *Surface {
	s := &Surface{Box: r3.EmptyBox()}
	for i := range uint32(len(b.Pos) / 3) {
		s.Box = s.Box.Add(at(b.Pos, i))
	}
	tol := tolerancesFor(s.Box.Size().Norm())
	index, pos := weld(b.Pos, s.Box, tol.weld)
	s.Pos = pos
	face := faceOf(b)
	for t := range len(b.Tri) / 3 {
		i, j, k := index[b.Tri[3*t]], index[b.Tri[3*t+1]], index[b.Tri[3*t+2]]
		if i != j && j != k && k != i {
			s.Tri = append(s.Tri, i, j, k)
			s.Source = append(s.Source, face[t])
		}
	}
	edges := newEdges(s.Tri)
	s.Ragged = edges.ragged()
	if d := s.Box.Size().Norm(); s.Ragged > 0 && chord > 0 && d > 0 && d < math.MaxFloat32 {
		for _, reach := range []float64{chord, 3 * chord} { // exporters leave gaps of about their own resolution
			if s.turned, s.Sewn = s.sew(max(tol.fit, chord/20), 1.2*reach+tol.fit); s.Sewn {
				edges = newEdges(s.Tri)
				s.Ragged = edges.ragged()
				break
			}
		}
	}
	s.measure()
	for i, f := range b.Faces {
		if c, ok := fitFace(b, f, tol.fit); ok {
			c.Face = i
			c.Concave = (c.inward != s.turned[int32(i)]) == (s.Volume >= 0)
			s.Cylinders = append(s.Cylinders, c)
		}
	}
	s.Holes = s.findHoles(edges, tol.fit)
	return s
}

// faceOf tells the face of each triangle; -1 for one that no face claims.
func faceOf(b *Body) []int32 {
	of := make([]int32, len(b.Tri)/3)
	for i := range of {
		of[i] = -1
	}
	for i, f := range b.Faces {
		for t := max(f.First, 0); t <= f.Last && t < len(of); t++ {
			of[t] = int32(i)
		}
	}
	return of
}

// measure sums volume, area and centroid over the facets, about the box's middle (divergence theorem; the
// tetrahedron's centroid is the mean of its corners).
func (s *Surface) measure() {
	o := s.Box.Center()
	if s.Box.Empty() {
		return
	}
	var v, a float64
	var m r3.Vec
	for t := 0; t+2 < len(s.Tri); t += 3 {
		p, q, r := at(s.Pos, s.Tri[t]).Sub(o), at(s.Pos, s.Tri[t+1]).Sub(o), at(s.Pos, s.Tri[t+2]).Sub(o)
		dv := p.Dot(q.Cross(r)) / 6
		v += dv
		m = m.Add(p.Add(q).Add(r).Mul(dv / 4))
		a += q.Sub(p).Cross(r.Sub(p)).Norm() / 2
	}
	s.Volume, s.Area, s.Centroid = v, a, o
	if v != 0 {
		s.Centroid = o.Add(m.Mul(1 / v))
	}
}

// Gap estimates by how much of its volume the facets of the body that s was joined from miss the smooth
// surface, as a share, without sign; 0 when there are no normals.
//
// Over a triangle whose corners lie on a surface with normals n, the surface stands off by
// (1/24)·Σ (nⱼ−nᵢ)·(pⱼ−pᵢ) over its edges on the mean, to second order: along an edge of length L and normal
// curvature κ the product is κL², and ½κL²·λᵢλⱼ has the mean κL²/24 over the triangle.
func (s *Surface) Gap(b *Body) float64 {
	if len(b.Normal) != len(b.Pos) || s.Volume == 0 {
		return 0
	}
	var sum float64
	for i, f := range b.Faces {
		var face float64
		for t := 3 * max(f.First, 0); t < min(3*f.Last+3, len(b.Tri)/3*3); t += 3 {
			c := b.Tri[t : t+3 : t+3]
			p := [3]r3.Vec{at(b.Pos, c[0]), at(b.Pos, c[1]), at(b.Pos, c[2])}
			n := [3]r3.Vec{at(b.Normal, c[0]), at(b.Normal, c[1]), at(b.Normal, c[2])}
			area := p[1].Sub(p[0]).Cross(p[2].Sub(p[0])).Norm() / 2
			var e float64
			for k := range 3 {
				j := (k + 1) % 3
				e += n[j].Sub(n[k]).Dot(p[j].Sub(p[k]))
			}
			face += area * e / 24
		}
		if s.turned[int32(i)] {
			face = -face
		}
		sum += face
	}
	return math.Abs(sum / s.Volume)
}
