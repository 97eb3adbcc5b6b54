package geomtest

import (
	"math"
	"runtime"
	"testing"

	"firstoff/geom/mesh"
)

func TestSolidsAreWhatTheySay(t *testing.T) {
	for _, s := range All() {
		t.Run(s.Name, func(t *testing.T) {
			r, q := mesh.CheckTopology(s.Mesh), s.Mesh.Measure()
			if !r.Closed || r.Flipped != 0 || r.NonManifoldVertices != 0 || r.Degenerate != 0 {
				t.Fatalf("closed %v, flipped %d, split vertices %d, degenerate %d", r.Closed, r.Flipped, r.NonManifoldVertices, r.Degenerate)
			}
			if s.Shells > 0 && (len(r.Shells) != s.Shells || r.Euler() != 2*s.Shells-2*s.Genus) {
				t.Errorf("%d shells, Euler number %d", len(r.Shells), r.Euler())
			}
			if !math.IsNaN(s.VolumeMM3) {
				Near(t, "volume", q.VolumeMM3, s.VolumeMM3, 1e-6)
				Near(t, "area", q.AreaMM2, s.AreaMM2, 1e-6)
			}
			if !math.IsNaN(s.RoundMM3) {
				Near(t, "volume of the round body", q.VolumeMM3, s.RoundMM3, 0.02)
			}
			Invariants(t, s.Mesh)
		})
	}
}

// Facets of a round body come closer at least by the square of their number.
func TestRoundBodiesConverge(t *testing.T) {
	for name, at := range map[string]func(n int) Solid{
		"sphere": func(n int) Solid { return Sphere(7, n) },
		"torus":  func(n int) Solid { return Torus(20, 4, n, n) },
		"rib":    func(n int) Solid { return Rib(12, 2, 3, 6, 2.5, n) },
	} {
		err := func(n int) float64 { s := at(n); return math.Abs(s.Mesh.Measure().VolumeMM3/s.RoundMM3 - 1) }
		if a, b := err(48), err(96); a/b < 3.7 {
			t.Errorf("%s: error %g at 48, %g at 96", name, a, b)
		}
	}
}

func TestGyroidSize(t *testing.T) {
	for _, n := range []int{20000, 60000} {
		if f := Gyroid(40, 20, 2, n).Mesh.Facets(); f < n/2 || f > 2*n {
			t.Errorf("asked for %d facets, got %d", n, f)
		}
	}
}

// The sums have the same bits on one core and on several.
func TestSameBitsOnAnyCores(t *testing.T) {
	m := Gyroid(40, 10, 1.5, 120000).Mesh
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	one := m.Measure()
	for _, n := range []int{2, 3, 7} {
		runtime.GOMAXPROCS(n)
		if q := m.Measure(); q != one {
			t.Fatalf("%d cores: %v, one core: %v", n, q, one)
		}
	}
}
