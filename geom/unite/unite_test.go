package unite

import (
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"firstoff/fault"
	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

const seed = 20240229

func at(m *mesh.Mesh, x, y, z float64) *mesh.Mesh {
	return m.Transformed(r3.Identity, 1, r3.Vec{X: x, Y: y, Z: z})
}

func box(x, y, z float64) *mesh.Mesh { return geomtest.Box(x, y, z).Mesh }

func inward(m *mesh.Mesh) *mesh.Mesh {
	m = m.Clone()
	for f := range m.Facets() {
		m.Tri[3*f+1], m.Tri[3*f+2] = m.Tri[3*f+2], m.Tri[3*f+1]
	}
	return m
}

// union runs Shells and checks what every answer must be.
func union(t *testing.T, name string, m *mesh.Mesh) *Union {
	t.Helper()
	u, err := Shells(m)
	if err != nil {
		t.Fatalf("%s: %v: %v", name, err, fault.Of(err).Err)
	}
	if top := u.Mesh.Topology(); !top.Solid() {
		t.Errorf("%s: open: %d boundary, %d misoriented edges", name, top.Boundary, top.Misoriented)
	}
	if u.Changed && len(u.Source) != u.Mesh.Facets() {
		t.Errorf("%s: %d sources of %d facets", name, len(u.Source), u.Mesh.Facets())
	}
	return u
}

// Volumes worked out by hand.
func TestUnionVolumes(t *testing.T) {
	cube := box(10, 10, 10)
	for _, c := range []struct {
		name    string
		m       *mesh.Mesh
		volume  float64
		area    float64
		changed bool
		shells  int
	}{
		{"corner in corner", mesh.Merge(cube, at(cube, 5, 5, 5)), 2000 - 125, 2*600 - 150, true, 1},
		{"flush on four sides", mesh.Merge(cube, at(cube, 5, 0, 0)), 1500, 2*100 + 4*150, true, 1},
		{"flush on two sides", mesh.Merge(cube, at(cube, 5, 5, 0)), 1750, 2*175 + 60*10, true, 1},
		{"twice the same", mesh.Merge(cube, cube), 1000, 600, true, 1},
		{"one in the other", mesh.Merge(cube, at(box(2, 2, 2), 4, 4, 4)), 1000, 600, true, 1},
		{"one in the other against a wall", mesh.Merge(cube, at(box(2, 2, 2), 0, 4, 4)), 1000, 600, true, 1},
		{"wall to wall", mesh.Merge(cube, at(cube, 10, 0, 0)), 2000, 1200, false, 2},
		{"wall to part of a wall", mesh.Merge(cube, at(cube, 10, 3, 4)), 2000, 1200, false, 2},
		{"edge to edge", mesh.Merge(cube, at(cube, 10, 10, 0)), 2000, 1200, false, 2},
		{"apart", mesh.Merge(cube, at(cube, 20, 0, 0)), 2000, 1200, false, 2},
		{"bar through", mesh.Merge(cube, at(box(30, 2, 2), -10, 4, 4)), 1000 + 80, 600 + 20*8, true, 1},
		{"bar along an edge", mesh.Merge(cube, at(box(30, 2, 2), -10, -1, -1)), 1000 + 120 - 10, 600 - 22 + 248 - 20, true, 1},
		{"cross of three bars", mesh.Merge(at(box(30, 2, 2), -15, -1, -1), at(box(2, 30, 2), -1, -15, -1), at(box(2, 2, 30), -1, -1, -15)), 3*120 - 16, 6*14*8 + 6*4, true, 1},
		{"cavity bridged", mesh.Merge(cube, inward(at(box(6, 6, 6), 2, 2, 2)), at(box(8, 2, 2), 1, 4, 4)), 1000 - 216 + 24, 600 + 216 - 8 + 48, true, 2},
		{"cavity with a loose body", mesh.Merge(cube, inward(at(box(6, 6, 6), 2, 2, 2)), at(box(2, 2, 2), 4, 4, 4)), 1000 - 216 + 8, 600 + 216 + 24, false, 3},
		{"one pair overlaps, two touch", mesh.Merge(cube, at(cube, 5, 5, 5), at(cube, 100, 0, 0), at(cube, 110, 0, 0)), 4000 - 125, 2*600 - 150 + 1200, true, 3},
		{"three in a row", mesh.Merge(cube, at(cube, 5, 0, 0), at(cube, 10, 0, 0)), 2000, 2*100 + 4*200, true, 1},
	} {
		u := union(t, c.name, c.m)
		q := u.Mesh.Measure()
		geomtest.Near(t, c.name+": volume", q.VolumeMM3, c.volume, 1e-9)
		geomtest.Near(t, c.name+": area", q.AreaMM2, c.area, 1e-9)
		if r := mesh.CheckTopology(u.Mesh); u.Changed != c.changed || len(r.Shells) != c.shells {
			t.Errorf("%s: changed %v, %d shells", c.name, u.Changed, len(r.Shells))
		}
		if !c.changed && u.Mesh != c.m {
			t.Errorf("%s: another mesh", c.name)
		}
	}
}

// wound is how often a mesh winds around p, by the sum of solid angles (Van Oosterom and Strackee 1983).
func wound(m *mesh.Mesh, p r3.Vec) float64 {
	s := 0.0
	for f := range m.Facets() {
		a, b, c := m.Corners(f)
		a, b, c = a.Sub(p), b.Sub(p), c.Sub(p)
		x, y, z := a.Norm(), b.Norm(), c.Norm()
		s += math.Atan2(a.Dot(b.Cross(c)), x*y*z+a.Dot(b)*z+b.Dot(c)*x+c.Dot(a)*y) * 2
	}
	return s / (4 * math.Pi)
}

// scenes are unlike solids thrown onto each other, on a coarse grid or turned freely.
func scenes(r *rand.Rand, n int) (out []*mesh.Mesh) {
	solids := []*mesh.Mesh{box(10, 10, 10), box(4, 20, 6), geomtest.Cylinder(5, 12, 16).Mesh, geomtest.Sphere(7, 16).Mesh,
		geomtest.Torus(8, 3, 16, 8).Mesh, geomtest.Wedge(12, 6, 6).Mesh, geomtest.Tube(8, 6, 8, 12).Mesh}
	for i := range n {
		var parts []*mesh.Mesh
		for range 2 + r.IntN(3) {
			s := solids[r.IntN(len(solids))]
			v := r3.Vec{X: float64(r.IntN(9)), Y: float64(r.IntN(9)), Z: float64(r.IntN(9))}
			turn := r3.Identity
			if i%2 == 1 {
				turn, v = geomtest.Turn(r), v.Add(r3.Vec{X: r.Float64(), Y: r.Float64(), Z: r.Float64()})
			}
			parts = append(parts, s.Transformed(turn, 1, v))
		}
		out = append(out, mesh.Merge(parts...))
	}
	return out
}

// crumpled are balls whose vertices were thrown about on a grid: they cut, cover and touch themselves, and wind backwards in places.
func crumpled(r *rand.Rand, n int) (out []*mesh.Mesh) {
	for i := range n {
		m := geomtest.Sphere(7, 8).Mesh.Clone()
		grid := []float64{1, 2, 1e-3}[i%3]
		for k, x := range m.Pos {
			m.Pos[k] = float32(math.Round((float64(x)+3*r.NormFloat64())/grid) * grid)
		}
		out = append(out, m)
	}
	return out
}

// Solids thrown together, in general and in awkward positions: the union is closed, winds once around what any of them wound around and
// not at all around the rest (nor around what was wound backwards), and uniting it again changes nothing but what rounding brought.
func TestWindingKept(t *testing.T) {
	r := rand.New(rand.NewPCG(seed, 1))
	for i, m := range append(scenes(r, 40), crumpled(r, 12)...) {
		u := union(t, "scene", m)
		b := m.Box()
		size := b.Size()
		for range 40 {
			p := b.Min.Add(r3.Vec{X: r.Float64() * size.X, Y: r.Float64() * size.Y, Z: r.Float64() * size.Z})
			was, is := wound(m, p), wound(u.Mesh, p)
			if math.Abs(was-math.Round(was)) > 1e-3 || math.Abs(is-math.Round(is)) > 1e-3 {
				continue // too near the surface for a sum of angles
			}
			if want := max(0, min(1, math.Round(was))); math.Round(is) != want {
				t.Fatalf("seed %d, scene %d: winding %g at %v, was %g", seed, i, is, p, was)
			}
		}
		again := union(t, "again", u.Mesh)
		geomtest.Near(t, "volume united again", again.Mesh.Measure().VolumeMM3, u.Mesh.Measure().VolumeMM3, 1e-6)
		if t.Failed() {
			t.Fatalf("seed %d, scene %d", seed, i)
		}
	}
}

// Turned, moved, scaled, mirrored and in another order the union is the same within the rounding of float32 positions.
func TestUnionTurned(t *testing.T) {
	r := rand.New(rand.NewPCG(seed, 2))
	for i, m := range scenes(r, 10) {
		want := union(t, "scene", m).Mesh.Measure()
		size := want.Box.Size().Norm()
		turn, shift := geomtest.Turn(r), r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Mul(size)
		for _, scale := range []float64{1, 25.4, 0.001, -1} {
			moved := m.Transformed(turn, scale, shift.Mul(scale))
			got := union(t, "moved", geomtest.Shuffled(moved, r)).Mesh.Measure()
			s := math.Abs(scale)
			if d := math.Abs(got.VolumeMM3/s/s/s - want.VolumeMM3); d > 4e-6*want.AreaMM2*size {
				t.Errorf("seed %d, scene %d, scale %g: volume off by %g of %g", seed, i, scale, d, want.VolumeMM3)
			}
		}
	}
}

// Facets whatever: no panic, and the input stays as it was.
func TestAnyFacets(t *testing.T) {
	r := rand.New(rand.NewPCG(seed, 3))
	for range 60 {
		m := &mesh.Mesh{}
		for range 3 * 12 {
			m.Pos = append(m.Pos, float32(r.IntN(4)))
		}
		for range 3 * (1 + r.IntN(40)) {
			m.Tri = append(m.Tri, uint32(r.IntN(12)))
		}
		for range 2 {
			was := m.Clone()
			u, err := Shells(m)
			if !slices.Equal(was.Tri, m.Tri) || !slices.Equal(was.Pos, m.Pos) {
				t.Fatal("the input was changed")
			}
			if err == nil && u.Changed && u.Mesh.Facets() > 0 && !u.Mesh.Topology().Solid() && m.Topology().Closed() {
				t.Error("a closed surface came out open")
			}
			m, _ = mesh.Mend(m)
		}
	}
}

func TestRefusals(t *testing.T) {
	// Two stacks of plates, one standing across the other: each facet of one meets hundreds of the other.
	var plates []*mesh.Mesh
	for i := range 170 {
		plates = append(plates, at(box(0.5, 400, 400), float64(i), 0, 0), at(box(400, 0.5, 400), 0, float64(i), 0.25))
	}
	m := mesh.Merge(plates...)
	if _, err := Shells(m); fault.Of(err).Code != "too_many_overlaps" {
		t.Fatalf("%v", err)
	}
	n, log := Resolve(m, mesh.Log{})
	if n != m || len(log.Steps) != 1 || log.Steps[0].Code != StepLeft || log.Steps[0].VolumeBefore != log.Steps[0].VolumeAfter ||
		log.Steps[0].Message != "Shells run into each other and were left as they are, because more than 200000 pairs of facets meet." {
		t.Errorf("%+v", log.Steps)
	}
}

func TestResolveGoesOnWithTheLog(t *testing.T) {
	cube := box(10, 10, 10)
	m, log := mesh.Mend(mesh.Merge(inward(cube), at(cube, 5, 5, 5)))
	n, after := Resolve(m, log)
	if len(after.Steps) != 2 || after.Steps[1].Code != StepUnited || math.Abs(after.Steps[1].VolumeBefore-2000) > 1e-9 || math.Abs(after.Steps[1].VolumeAfter-1875) > 1e-9 || len(after.Source) != n.Facets() {
		t.Errorf("%+v", after)
	}
	for f, src := range after.Source { // each facet lies in the plane of the one it came from
		a, b, c := n.Corners(f)
		p, q, r := m.Corners(int(src))
		if n, w := b.Sub(a).Cross(c.Sub(a)), q.Sub(p).Cross(r.Sub(p)); n.Cross(w).Norm() > 1e-9*n.Norm()*w.Norm() || math.Abs(a.Sub(p).Dot(w)) > 1e-5*w.Norm() {
			t.Fatalf("facet %d does not lie in facet %d", f, src)
		}
	}
}

func TestCleanIsNotTouched(t *testing.T) {
	for _, s := range geomtest.All() {
		m, _ := mesh.Mend(s.Mesh)
		if u, err := Shells(m); err != nil || u.Changed || u.Mesh != m {
			t.Errorf("%s: changed %v, %v", s.Name, u != nil && u.Changed, err)
		}
	}
}

// Two balls of radius 10, 10 apart: the union of the inscribed polyhedra is within what both lack of the closed form.
func TestUnionOfBalls(t *testing.T) {
	ball := geomtest.Sphere(10, 96)
	m := mesh.Merge(ball.Mesh, at(ball.Mesh, 10, 0, 0))
	u := union(t, "balls", m)
	r, d := 10.0, 10.0
	full := 4.0 / 3 * math.Pi * r * r * r
	lens := math.Pi * (4*r + d) * (2*r - d) * (2*r - d) / 12
	lack := 1 - ball.Mesh.Measure().VolumeMM3/full
	geomtest.Near(t, "union of balls", u.Mesh.Measure().VolumeMM3, (2*full-lens)*(1-lack), 3e-4)
}

func BenchmarkShells(b *testing.B) {
	ball := geomtest.Sphere(10, 400)
	m := mesh.Merge(ball.Mesh, at(ball.Mesh, 10, 0.3, 0.2))
	for b.Loop() {
		if _, err := Shells(m); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(m.Facets())*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mfacets/s")
}

func TestUnionOnAnyCores(t *testing.T) {
	r := rand.New(rand.NewPCG(seed, 6))
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	for _, m := range append(scenes(r, 4), mesh.Merge(geomtest.Sphere(10, 120).Mesh, at(geomtest.Sphere(10, 120).Mesh, 9, 1, 0))) {
		runtime.GOMAXPROCS(1)
		one := union(t, "one core", m)
		runtime.GOMAXPROCS(4)
		if many := union(t, "four cores", m); !slices.Equal(one.Mesh.Pos, many.Mesh.Pos) || !slices.Equal(one.Mesh.Tri, many.Mesh.Tri) || !slices.Equal(one.Source, many.Source) {
			t.Fatalf("seed %d: four cores give another surface", seed)
		}
	}
}
