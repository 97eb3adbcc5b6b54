package pose

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"testing"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

func within(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.Abs(got-want) > rel*math.Max(1e-9, math.Abs(want)) {
		t.Errorf("%s: got %.9g, want %.9g (off by %.2g, allowed %.2g)", what, got, want, math.Abs(got-want)/math.Abs(want), rel)
	}
}

// bumpy is a torus with noise, so that normals point everywhere.
func bumpy(seed uint64) *mesh.Mesh {
	m := torus(20, 8, 50).Clone()
	r := rand.New(rand.NewPCG(seed, 0))
	for i := range m.Pos {
		m.Pos[i] += float32(r.NormFloat64() * 0.2)
	}
	return m
}

func TestTreeEqualsBruteForce(t *testing.T) {
	const seed = 3
	t.Log("seed", seed)
	for _, m := range []*mesh.Mesh{bumpy(seed), box(v(100, 200, 300), v(101, 203, 305)), sphere(v(0, 0, 0), 10, 40)} {
		p := Prepare(m)
		for _, deg := range []float64{30, 45, 90} {
			ups := Directions(60)
			loads := p.Loads(ups, deg)
			for i, u := range ups {
				limit := -math.Cos(deg * math.Pi / 180)
				if deg == 90 {
					limit = 0
				}
				low := math.Inf(1)
				for k := range m.Vertices() {
					low = min(low, m.Vertex(uint32(k)).Dot(u))
				}
				var area, sup float64
				near := 0.0 // area of facets right on the cone's rim, which float32 normals may put on either side
				for f := range m.Facets() {
					a, b, c := m.Corners(f)
					n := b.Sub(a).Cross(c.Sub(a))
					x := n.Unit().Dot(u)
					if math.Abs(x-limit) < 1e-6 {
						near += n.Norm() / 2
					}
					if x < limit {
						area += n.Norm() / 2
						sup -= n.Dot(u) / 2 * (a.Add(b).Add(c).Dot(u)/3 - low)
					}
				}
				if math.Abs(loads[i].OverhangMM2-area) > near+1e-6*area || math.Abs(loads[i].SupportMM3-sup) > near*100+1e-5*math.Max(1, sup) {
					t.Errorf("%d facets, %g°, direction %d: %+v, want %g and %g", m.Facets(), deg, i, loads[i], area, sup)
				}
				within(t, "lowest", loads[i].LowestMM, low, 1e-12)
			}
		}
	}
}

// A box stands on each of its six sides, an L-shaped bracket on those whose hull face lies under its centroid, a
// tetrahedron on four.
func TestRestingPoses(t *testing.T) {
	count := func(m *mesh.Mesh) (n int) {
		p := Prepare(m)
		for _, q := range p.Survey(p.resting(Directions(sampled)), DefaultWishes()) {
			if q.TipDeg > 0.5 {
				n++
			}
		}
		return n
	}
	if n := count(box(v(3, 4, 5), v(13, 11, 10))); n != 6 {
		t.Errorf("a box rests in %d poses", n)
	}
	tetra := &mesh.Mesh{Pos: []float32{1, 1, 1, 1, -1, -1, -1, 1, -1, -1, -1, 1}, Tri: []uint32{0, 1, 2, 0, 3, 1, 0, 2, 3, 1, 3, 2}}
	if n := count(tetra); n != 4 {
		t.Errorf("a tetrahedron rests in %d poses", n)
	}
	// A slender leaning prism whose end face cannot carry it.
	lean := box(v(0, 0, 0), v(2, 2, 20))
	for i := 2; i < len(lean.Pos); i += 3 {
		lean.Pos[i-2] += lean.Pos[i] * 0.5
	}
	p := Prepare(lean)
	for _, u := range p.resting(Directions(sampled)) {
		if math.Abs(u.Z) > 0.99 {
			t.Error("a leaning prism stands on its end")
		}
	}
}

func TestPoseOfABox(t *testing.T) {
	m := box(v(0, 0, 0), v(40, 20, 10))
	w := DefaultWishes()
	got := Search(m, w, 3)
	best := got[0]
	within(t, "height", best.HeightMM, 10, 1e-9)
	within(t, "width", best.WidthMM, 40, 1e-9)
	within(t, "depth", best.DepthMM, 20, 1e-9)
	within(t, "base", best.BaseMM2, 800, 1e-6)
	within(t, "tip", best.TipDeg, math.Atan2(10, 5)*180/math.Pi, 1e-9)
	if !best.Resting || best.SupportMM3 > 1e-9 || best.ContactMM2 > 1e-9 {
		t.Errorf("%+v", best)
	}
	// The turn does what it says.
	for _, q := range got {
		b := m.Transformed(q.Turn, 1, r3.Vec{}).Box().Size()
		within(t, "height as turned", b.Z, q.HeightMM, 1e-5)
		within(t, "width as turned", b.X, q.WidthMM, 1e-5)
		within(t, "depth as turned", b.Y, q.DepthMM, 1e-5)
	}
	// A stick of 40 lies only across the corner of a 35 x 35 plate.
	stick := box(v(0, 0, 0), v(45, 2, 2))
	w.WidthMM, w.DepthMM, w.HeightMM = 35, 35, 10
	q := Search(stick, w, 1)[0]
	if !q.Fits || q.HeightMM > 10 || q.WidthMM > 35 || q.DepthMM > 35 {
		t.Errorf("%+v", q)
	}
	w.WidthMM, w.DepthMM = 20, 20
	if q := Search(stick, w, 1)[0]; q.Fits {
		t.Errorf("a stick of 45 mm fits nowhere into 20 x 20 x 10: %+v", q)
	}
}

// A table: straight down its top needs the air beside the stem; a shelf below catches the supports.
func TestLanding(t *testing.T) {
	table := mesh.Merge(box(v(-20, -10, 10), v(20, 10, 12)), box(v(-2, -2, 0), v(2, 2, 10.5)))
	l := LandingOf(table, r3.Identity, 45, 0.1)
	within(t, "table", l.SupportMM3, 784*10, 0.03) // the facet of the top also covers the stem: scaled by 800 + 16
	shelf := mesh.Merge(table, box(v(-20, -10, 0), v(20, 10, 4)))
	l = LandingOf(shelf, r3.Identity, 45, 0.1)
	within(t, "with a shelf", l.SupportMM3, 784*6, 0.05)
	within(t, "on the part", l.PartMM2, 784, 0.05)
	if l.PlateMM2 != 0 {
		t.Errorf("%g mm² of columns reach the plate through the shelf", l.PlateMM2)
	}
	// where nothing is in the way it is the exact volume to the plate
	p := Prepare(sphere(v(0, 0, 0), 10, 60))
	for _, u := range Directions(5) {
		exact := p.Loads([]r3.Vec{u}, 45)[0].SupportMM3
		within(t, "ball", LandingOf(p.mesh, r3.Between(u, v(0, 0, 1)), 45, 0.1).SupportMM3, exact, 5e-3)
	}
}

func TestSameBitsOnAnyCores(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	m := bumpy(5)
	var want string
	for _, n := range []int{1, 2, 6} {
		runtime.GOMAXPROCS(n)
		got := fmt.Sprint(Search(m, DefaultWishes(), 8))
		if want == "" {
			want = got
		}
		if got != want {
			t.Fatalf("%d cores give other poses", n)
		}
	}
}

// The best pose of a turned part is as good, and the unit does not matter.
func TestRigidMotion(t *testing.T) {
	const seed = 9
	t.Log("seed", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	m := mesh.Merge(box(v(0, 0, 0), v(30, 20, 4)), box(v(0, 0, 4), v(4, 20, 25)))
	best := Search(m, DefaultWishes(), 1)[0]
	for range 5 {
		q := r3.Quat{W: r.NormFloat64(), X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Unit()
		b := Search(m.Transformed(q, 1, v(10, 20, 30)), DefaultWishes(), 1)[0]
		within(t, "height", b.HeightMM, best.HeightMM, 1e-4)
		if b.SupportMM3 > best.SupportMM3+1 {
			t.Errorf("support %g against %g", b.SupportMM3, best.SupportMM3)
		}
		c := Search(m.Transformed(q, 25.4, r3.Vec{}), DefaultWishes(), 1)[0]
		within(t, "height in other units", c.HeightMM/25.4, best.HeightMM, 1e-4)
	}
}

func TestOddMeshes(t *testing.T) {
	flatSheet := &mesh.Mesh{Pos: []float32{0, 0, 0, 10, 0, 0, 0, 10, 0}, Tri: []uint32{0, 1, 2}}
	for name, m := range map[string]*mesh.Mesh{"empty": {}, "a triangle": flatSheet, "a point": {Pos: []float32{1, 1, 1}, Tri: []uint32{0, 0, 0}}} {
		for _, q := range Search(m, DefaultWishes(), 3) {
			if math.IsNaN(q.Score) || math.IsNaN(q.HeightMM) || math.IsNaN(q.WidthMM) {
				t.Errorf("%s: %+v", name, q)
			}
		}
	}
}

// Whatever a reader may let through: triangles without any order, twins, needles, points, tiny and huge.
func TestSoups(t *testing.T) {
	const seed = 40
	t.Log("seed", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	for n := range 20 {
		m := soup(r, n)
		w := DefaultWishes()
		w.RestingOnly = n%5 == 4
		for _, q := range Search(m, w, 2) {
			if math.IsNaN(q.Score) || math.IsNaN(q.SupportMM3) || q.HeightMM < 0 || q.WidthMM < 0 {
				t.Errorf("soup %d: %+v", n, q)
			}
		}
	}
}

func soup(r *rand.Rand, n int) *mesh.Mesh {
	size := []float64{1e-6, 1, 20, 300, 1e12}[n%5]
	m := &mesh.Mesh{}
	for range 3 * (3 + n) {
		m.Pos = append(m.Pos, float32((r.Float64()-0.5)*size), float32((r.Float64()-0.5)*size), float32(float64(r.IntN(4))*size/4))
	}
	for range 4 * (n + 1) {
		for range 3 {
			m.Tri = append(m.Tri, uint32(r.IntN(m.Vertices())))
		}
	}
	return m
}

func ExampleSearch() {
	bracket := mesh.Merge(box(v(0, 0, 0), v(30, 20, 4)), box(v(0, 0, 4), v(4, 20, 25)))
	best := Search(bracket, DefaultWishes(), 1)[0]
	fmt.Printf("%.0f x %.0f mm on the plate, %.0f mm high, %.0f mm³ of support\n", best.WidthMM, best.DepthMM, best.HeightMM, best.SupportMM3)
	// Output: 30 x 25 mm on the plate, 20 mm high, 0 mm³ of support
}

func BenchmarkLoads(b *testing.B) {
	m := bumpy(1)
	ups := Directions(1000)
	b.Run("tree", func(b *testing.B) {
		for b.Loop() {
			Prepare(m).Loads(ups, 45)
		}
	})
	b.Run("facet by facet", func(b *testing.B) {
		limit := -math.Sqrt2 / 2
		for b.Loop() {
			var sum float64
			for _, u := range ups {
				for f := range m.Facets() {
					if n := m.FacetNormal(f); n.Dot(u) < limit {
						sum += m.FacetArea(f)
					}
				}
			}
		}
	})
}

func BenchmarkLanding(b *testing.B) {
	m := bumpy(1)
	for b.Loop() {
		LandingOf(m, r3.Identity, 45, 0.25)
	}
}

func BenchmarkSearch(b *testing.B) {
	p := Prepare(bumpy(1))
	for b.Loop() {
		p.Search(DefaultWishes(), 5)
	}
}
