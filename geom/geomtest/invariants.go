package geomtest

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// All is a set of unlike solids: convex, round, with handles, with cavities, thin, wound.
func All() []Solid {
	return []Solid{
		Box(10, 20, 30), Box(0.5, 80, 3), Wedge(12, 5, 7),
		Cylinder(5, 12, 48), Cone(6, 9, 40), Sphere(7, 48), Torus(20, 4, 60, 24), Tube(8, 6.5, 15, 64),
		Hollow(Box(20, 20, 20), Sphere(6, 32), r3.Vec{X: 10, Y: 10, Z: 10}),
		Hollow(Sphere(15, 48), Torus(6, 2, 32, 16), r3.Vec{Z: 1}),
		Rib(12, 2, 3, 6, 2.5, 40), Gyroid(20, 10, 1.5, 6000),
	}
}

// Near fails unless got is within rel of want.
func Near(t testing.TB, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s: %.12g, want %.12g within %g", what, got, want, rel)
	}
}

// Turn is a rotation drawn evenly from all rotations.
func Turn(r *rand.Rand) r3.Quat {
	return r3.Quat{W: r.NormFloat64(), X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Unit()
}

// Shuffled is m with its facets and vertices in another order, and each facet begun at another corner.
func Shuffled(m *mesh.Mesh, r *rand.Rand) *mesh.Mesh {
	nv, nf := m.Vertices(), m.Facets()
	vp, fp := r.Perm(nv), r.Perm(nf)
	out := &mesh.Mesh{Pos: make([]float32, len(m.Pos)), Tri: make([]uint32, len(m.Tri))}
	for i, j := range vp {
		copy(out.Pos[3*j:3*j+3], m.Pos[3*i:3*i+3])
	}
	for i, j := range fp {
		k := r.IntN(3)
		for c := range 3 {
			out.Tri[3*j+c] = uint32(vp[m.Tri[3*i+(c+k)%3]])
		}
	}
	return out
}

// Invariants checks what must hold for every surface whose facets face outwards: measures turn, move and scale with it, the
// order of facets and vertices does not matter, welding its soup gives it back, defects do not depend on where it lies, and its bodies
// add up to it. The seed is printed when something fails.
func Invariants(t *testing.T, m *mesh.Mesh) {
	t.Helper()
	const seed = 20240229
	r := rand.New(rand.NewPCG(seed, uint64(m.Facets())))
	failed := t.Failed()
	q := m.Measure()
	size := q.Box.Size().Norm()
	tiny := 1e-6 * q.AreaMM2 * size // what float32 positions can do to a volume
	near := func(what string, got, want, abs float64) {
		t.Helper()
		if !(math.Abs(got-want) <= abs) {
			t.Errorf("%s: %.12g, want %.12g within %g", what, got, want, abs)
		}
	}
	rep := mesh.CheckTopology(m)
	if rep.Closed {
		near("area vector of a closed surface", q.AreaVectorMM2.Norm(), 0, 1e-12*q.AreaMM2)
		if rep.Euler()%2 != 0 {
			t.Errorf("Euler number %d of a closed surface is odd", rep.Euler())
		}
	}
	turn, shift := Turn(r), r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Mul(size)
	scale := []float64{25.4, 10, 0.001, 1 / 25.4}[r.IntN(4)] // changes of unit
	moved := m.Transformed(turn, scale, shift.Mul(scale))
	w := moved.Measure()
	near("volume turned, moved, scaled", w.VolumeMM3/scale/scale/scale, q.VolumeMM3, 4*tiny)
	near("area turned, moved, scaled", w.AreaMM2/scale/scale, q.AreaMM2, 4e-6*q.AreaMM2)
	near("centroid turned, moved, scaled", w.CentroidMM.Mul(1/scale).Dist(turn.Rotate(q.CentroidMM).Add(shift)), 0, 4*tiny*size/(math.Abs(q.VolumeMM3)+tiny))
	trace := func(m mesh.Measures) float64 { return m.InertiaMM5[0] + m.InertiaMM5[1] + m.InertiaMM5[2] }
	near("trace of inertia", trace(w)/math.Pow(scale, 5), trace(q), 8*tiny*size*size)
	mirror := m.Transformed(turn, -1, shift).Measure()
	near("volume mirrored", mirror.VolumeMM3, q.VolumeMM3, 4*tiny)

	other := Shuffled(m, r)
	s := other.Measure()
	near("volume in another order", s.VolumeMM3, q.VolumeMM3, 1e-12*q.AreaMM2*size)
	near("area in another order", s.AreaMM2, q.AreaMM2, 1e-12*q.AreaMM2)
	so := mesh.CheckTopology(other)
	count := func(r *mesh.Report) []int {
		return []int{r.Facets, r.Vertices, r.Edges, r.BoundaryEdges, r.NonManifoldEdges, r.MisorientedEdges, r.NonManifoldVertices, r.Degenerate, r.Duplicates, r.Flipped, r.Components, len(r.Loops), len(r.Shells)}
	}
	if a, b := count(rep), count(so); !slices.Equal(a, b) {
		t.Errorf("defects in another order: %v, want %v", b, a)
	}
	if a, b := count(rep), count(mesh.CheckTopology(moved)); !slices.Equal(a, b) {
		t.Errorf("defects turned, moved, scaled: %v, want %v", b, a)
	}
	if soup := m.Soup(); !slices.Equal(mesh.FromSoup(soup).Soup(), soup) {
		t.Error("welding changed a facet")
	}
	var sum float64
	facets := 0
	for _, b := range mesh.SplitBodies(m) {
		sum += b.Measure().VolumeMM3
		facets += b.Facets()
	}
	if facets != m.Facets() {
		t.Errorf("bodies hold %d facets of %d", facets, m.Facets())
	}
	if rep.Closed {
		near("volume of the bodies together", sum, q.VolumeMM3, 1e-12*q.AreaMM2*size)
	}
	if t.Failed() && !failed {
		t.Logf("seed %d", seed)
	}
}
