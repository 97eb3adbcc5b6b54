package thickness

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"

	"firstoff/checks"
	"firstoff/geom/bvh"
	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

func TestKnown(t *testing.T) {
	inf := math.Inf(1)
	// A block: the ray is the way to the other side; the sphere also minds the sides next to it.
	box := geomtest.Box(10, 20, 3).Mesh
	tr := bvh.Build(box)
	ray, ball := WallRays(tr, inf), WallSpheres(tr, box, inf)
	for f := range box.Facets() {
		a, b, c := box.Corners(f)
		p, n := a.Add(b).Add(c).Mul(1.0/3), box.FacetNormal(f)
		size := [3]float64{10, 20, 3}
		wantRay, wantBall := inf, inf
		for x := range 3 {
			if math.Abs(n.Axis(x)) > 0.5 {
				wantRay = size[x]
				wantBall = min(wantBall, size[x])
			} else {
				wantBall = min(wantBall, 2*p.Axis(x), 2*(size[x]-p.Axis(x)))
			}
		}
		geomtest.Near(t, fmt.Sprint("ray of facet ", f), float64(ray[f]), wantRay, 1e-5)
		geomtest.Near(t, fmt.Sprint("sphere of facet ", f), float64(ball[f]), wantBall, 1e-4)
	}
	for _, v := range GapRays(tr, inf) {
		if !math.IsInf(float64(v), 1) {
			t.Error("a block has no gaps")
		}
	}
	for _, v := range GapSpheres(tr, box, inf) {
		if !math.IsInf(float64(v), 1) {
			t.Error("a block has no gaps")
		}
	}

	// A tube: its wall is the difference of the radii (of the flats), its bore a gap as wide as the bore.
	const sides = 64
	flat := math.Cos(math.Pi / sides)
	tube := geomtest.Tube(8, 6.5, 15, sides).Mesh
	tr = bvh.Build(tube)
	ray, ball = WallRays(tr, inf), WallSpheres(tr, tube, inf)
	gap, room := GapRays(tr, inf), GapSpheres(tr, tube, inf)
	walls := 0
	for f := range tube.Facets() {
		n := tube.FacetNormal(f)
		if math.Abs(n.Z) > 0.5 {
			geomtest.Near(t, "tube, length", float64(ray[f]), 15, 1e-5)
			continue
		}
		walls++
		geomtest.Near(t, "tube, wall by ray", float64(ray[f]), 1.5*flat, 1e-4)
		geomtest.Near(t, "tube, wall by sphere", float64(ball[f]), 1.5*flat, 2e-3)
		a, _, _ := tube.Corners(f)
		if math.Hypot(a.X, a.Y) < 7 {
			geomtest.Near(t, "tube, bore by ray", float64(gap[f]), 13*flat, 1e-4)
			geomtest.Near(t, "tube, bore by sphere", float64(room[f]), 13*flat, 5e-3)
		}
	}
	if walls != 4*sides {
		t.Fatalf("%d wall facets", walls)
	}

	// A shell between two spheres that are not concentric: 10-6-2 = 2 on one side, 10-6+2 = 6 on the other.
	shell := geomtest.Hollow(geomtest.Sphere(10, 128), geomtest.Sphere(6, 128), r3.Vec{X: 2}).Mesh
	tr = bvh.Build(shell)
	s := NewSpread(shell, WallSpheres(tr, shell, inf))
	geomtest.Near(t, "thinnest", s.Quantile(0), 2, 0.02)
	geomtest.Near(t, "thickest", s.Quantile(1), 6, 0.02)

	// Two plates 0.4 apart.
	plates := mesh.Merge(geomtest.Box(10, 10, 1).Mesh, geomtest.Box(10, 10, 1).Mesh.Transformed(r3.Identity, 1, r3.Vec{Z: 1.4}))
	tr = bvh.Build(plates)
	s = NewSpread(plates, GapSpheres(tr, plates, 5))
	area, facets := s.Below(0.5)
	geomtest.Near(t, "area of the gap", area, 200, 1e-6)
	if len(facets) != 4 {
		t.Errorf("%d facets face the gap", len(facets))
	}
	geomtest.Near(t, "gap", s.Quantile(0), 0.4, 1e-4)
}

// A wedge is as thick as the sphere that fits: at distance u from its edge, along one side, 2u·tan(half the angle).
func TestWedgeAgainstTrigonometry(t *testing.T) {
	w := geomtest.Wedge(30, 400, 10).Mesh
	tr := bvh.Build(w)
	ball := WallSpheres(tr, w, math.Inf(1))
	half := math.Atan2(10, 30) / 2
	seen := 0
	for f := range w.Facets() {
		a, b, c := w.Corners(f)
		p := a.Add(b).Add(c).Mul(1.0 / 3)
		if n := w.FacetNormal(f); n.Z < -0.9 { // underside
			seen++
			u := p.X
			want := min(2*u*math.Tan(half), 2*(30-u)) // or the sphere that also touches the upright side
			geomtest.Near(t, "wedge", float64(ball[f]), want, 1e-3)
		}
	}
	if seen != 2 {
		t.Fatal(seen)
	}
}

// Median wall of the tray: its smallest extent, 3.175, by ray and by sphere (asserted by trimesh tests/test_thickness.py test_known).
func TestTrayAgainstOutside(t *testing.T) {
	b, err := os.ReadFile(filepath.Join(checks.Path(t, "mesh/open"), "1002_tray_bottom.STL"))
	if err != nil {
		t.Fatal(err)
	}
	var s []float32
	words := strings.Fields(string(b)) // an ASCII file
	for i, w := range words {
		if w == "vertex" {
			for _, n := range words[i+1 : i+4] {
				v, err := strconv.ParseFloat(n, 32)
				if err != nil {
					t.Fatal(err)
				}
				s = append(s, float32(v))
			}
		}
	}
	m := mesh.FromSoup(s)
	tr := bvh.Build(m)
	for name, values := range map[string][]float32{"ray": WallRays(tr, math.Inf(1)), "sphere": WallSpheres(tr, m, math.Inf(1))} {
		geomtest.Near(t, "median by "+name, NewSpread(m, values).Quantile(0.5), 3.175, 1e-4)
	}
}

// Turning, moving and a change of unit change nothing beyond the rounding of positions; the sphere never exceeds the ray.
func TestTurned(t *testing.T) {
	const seed = 5
	r := rand.New(rand.NewPCG(seed, 1))
	for i, s := range geomtest.All() {
		m := s.Mesh
		unit := []float64{1, 25.4, 10}[i%3]
		w := m.Transformed(geomtest.Turn(r), unit, r3.Vec{X: 40, Y: -20, Z: 10}.Mul(unit))
		a, b := bvh.Build(m), bvh.Build(w)
		for k, f := range []func(*bvh.Tree, *mesh.Mesh, float64) []float32{WallSpheres, GapSpheres} {
			x, y := f(a, m, 30), f(b, w, 30*unit)
			rays := [](func(*bvh.Tree, float64) []float32){WallRays, GapRays}[k](a, 30)
			bad := 0
			for i := range x {
				y[i] /= float32(unit)
				if x[i] > rays[i]*1.03+1e-3 {
					t.Fatalf("%s: sphere %v exceeds ray %v", s.Name, x[i], rays[i])
				}
				if p, q := float64(x[i]), float64(y[i]); math.Abs(p-q) > 1e-2*min(p, q)+1e-3 && !(math.IsInf(p, 1) && q > 29.9 || math.IsInf(q, 1) && p > 29.9) {
					bad++ // a ray that grazes an edge may pass it on the other side
				}
			}
			if bad > len(x)/100 {
				t.Errorf("seed %d, %s: %d of %d facets differ", seed, s.Name, bad, len(x))
			}
		}
	}
}

func TestSameBitsOnAnyCores(t *testing.T) {
	m := geomtest.Gyroid(40, 10, 1.5, 60000).Mesh
	tr := bvh.Build(m)
	old := runtime.GOMAXPROCS(1)
	defer runtime.GOMAXPROCS(old)
	one := WallSpheres(tr, m, 20)
	runtime.GOMAXPROCS(3)
	if !slices.Equal(one, WallSpheres(tr, m, 20)) {
		t.Fatal("three cores give other bits")
	}
}

func BenchmarkWallSpheres(b *testing.B) {
	for _, n := range []int{10_000, 100_000} {
		m := geomtest.Gyroid(40, 20, 2, n).Mesh
		tr := bvh.Build(m)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				WallSpheres(tr, m, 20)
			}
			b.ReportMetric(float64(m.Facets())*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mfacets/s")
		})
	}
}
