package mesh_test

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"path/filepath"
	"runtime"
	"slices"
	"testing"

	"firstoff/checks"
	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// damaged are solids with known defects: each says what must be found.
func damaged(r *rand.Rand) map[string]*mesh.Mesh {
	drop := func(m *mesh.Mesh, share int) *mesh.Mesh { // loses every share-th facet
		var l []uint32
		for f := range m.Facets() {
			if f%share != 0 {
				l = append(l, uint32(f))
			}
		}
		return m.Pick(l)
	}
	flip := func(m *mesh.Mesh, share int) *mesh.Mesh {
		m = m.Clone()
		for f := 0; f < m.Facets(); f += share {
			m.Tri[3*f], m.Tri[3*f+1] = m.Tri[3*f+1], m.Tri[3*f]
		}
		return m
	}
	twice := func(m *mesh.Mesh) *mesh.Mesh {
		m = m.Clone()
		m.Tri = append(m.Tri, m.Tri[:30]...)
		return m
	}
	ball, ring := geomtest.Sphere(7, 32).Mesh, geomtest.Torus(20, 4, 30, 12).Mesh
	return map[string]*mesh.Mesh{
		"ball with holes":       drop(ball, 40),
		"ring with holes":       drop(ring, 25),
		"ball partly turned":    flip(ball, 7),
		"ring inside out":       flip(ring, 1),
		"ball with doubles":     twice(ball),
		"hollow, cavity turned": flip(mesh.Merge(ball, ball.Transformed(r3.Identity, 0.5, r3.Vec{})), 1),
		"gyroid with holes":     drop(geomtest.Gyroid(20, 10, 1.5, 6000).Mesh, 100),
		"box and a loose sheet": mesh.Merge(geomtest.Box(10, 20, 30).Mesh, geomtest.Box(5, 5, 5).Mesh.Pick([]uint32{0, 1}).Transformed(geomtest.Turn(r), 1, r3.Vec{X: 50})),
	}
}

// outcome is what Check and Mend say of a surface: counts, and volume and area for comparison.
func outcome(m *mesh.Mesh) (counts string, volume, area float64) {
	c := mesh.CheckTopology(m)
	n, log := mesh.Mend(m)
	counts = fmt.Sprint(c.BoundaryEdges, c.NonManifoldEdges, c.MisorientedEdges, c.NonManifoldVertices, c.Degenerate, c.Duplicates, c.Flipped, c.Components, len(c.Loops), len(c.Shells), c.Specks)
	for _, s := range log.Steps {
		counts += fmt.Sprint(" ", s.Code, " ", s.Count)
	}
	after := mesh.CheckTopology(n)
	counts += fmt.Sprint(" ", n.Facets(), after.Closed, after.Solid, len(after.Shells))
	q := n.Measure()
	return counts, q.VolumeMM3, q.AreaMM2
}

// Defects and what mending does about them do not depend on where the part lies or in which unit it is drawn; volume and area after mending are
// the same within the rounding of float32 positions.
func TestMendTurned(t *testing.T) {
	const seed = 20240229
	r := rand.New(rand.NewPCG(seed, 7))
	all := damaged(r)
	dir := checks.Path(t, "mesh/open")
	for _, f := range []string{"featuretype.STL", "situ_flipped_faces.stl", "cgal_blobby-shuffled.off", "situ_open_mesh_3.stl", "as_sphereWithHole.stl", "situ_nonmanifold_cells.stl", "shared.STL"} {
		m, err := mesh.ReadTestFile(filepath.Join(dir, f))
		if err != nil {
			t.Fatal(err)
		}
		all[f] = m
	}
	for _, name := range slices.Sorted(maps.Keys(all)) {
		m := all[name]
		counts, volume, area := outcome(m)
		size := m.Box().Size().Norm()
		for _, scale := range []float64{1, 25.4, 0.001} {
			turn, shift := geomtest.Turn(r), r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Mul(size)
			c, v, a := outcome(m.Transformed(turn, scale, shift.Mul(scale)))
			if c != counts {
				t.Errorf("seed %d, %s, scale %g:\n%s, want\n%s", seed, name, scale, c, counts)
			}
			if d := math.Abs(v/scale/scale/scale - volume); d > 4e-6*area*size {
				t.Errorf("seed %d, %s, scale %g: volume %g off", seed, name, scale, d)
			}
			if d := math.Abs(a/scale/scale - area); d > 1e-5*area {
				t.Errorf("seed %d, %s, scale %g: area %g off", seed, name, scale, d)
			}
		}
		double := m.Transformed(r3.Identity, 2, r3.Vec{}) // exact in binary: nothing at all may change
		if c, v, a := outcome(double); c != counts || v != 8*volume || a != 4*area {
			t.Errorf("%s at twice the size: %s, %v, %v; want %s, %v, %v", name, c, v, a, counts, 8*volume, 4*area)
		}
	}
}

// Facets that cut each other are the same pairs after turning, moving and a change of unit; pairs that only touch may go either way.
func TestCrossingsTurned(t *testing.T) {
	const seed = 20240229
	r := rand.New(rand.NewPCG(seed, 8))
	ball, ring := geomtest.Sphere(7, 32).Mesh, geomtest.Torus(8, 3, 30, 12).Mesh
	for i := range 4 {
		m := mesh.Merge(ball, ring.Transformed(geomtest.Turn(r), 1, r3.Vec{X: float64(i), Y: 0.3, Z: 0.1}))
		cut := func(m *mesh.Mesh) (l [][2]uint32) {
			c := m.Crossings(1 << 20)
			for k, p := range c.Pairs {
				if !c.Touch[k] {
					l = append(l, p)
				}
			}
			return l
		}
		want := cut(m)
		got := cut(m.Transformed(geomtest.Turn(r), 25.4, r3.Vec{X: 100, Y: -50, Z: 7}))
		if len(want) == 0 || !slices.Equal(got, want) {
			t.Errorf("seed %d: %d pairs turned, %d before", seed, len(got), len(want))
		}
	}
}

// Hull and smallest box turn and scale with the part.
func TestHullTurned(t *testing.T) {
	const seed = 20240229
	r := rand.New(rand.NewPCG(seed, 9))
	for _, s := range geomtest.All() {
		h := mesh.ConvexHull(s.Mesh).Measure()
		for _, scale := range []float64{1, 25.4, 0.001} {
			w := mesh.ConvexHull(s.Mesh.Transformed(geomtest.Turn(r), scale, r3.Vec{X: 9, Y: 1, Z: 4}.Mul(scale))).Measure()
			geomtest.Near(t, fmt.Sprint("seed ", seed, ", ", s.Name, ": volume of the hull"), w.VolumeMM3/scale/scale/scale, h.VolumeMM3, 1e-5)
		}
	}
}

// Checking, mending and crossings give the same bits on one core and on several.
func TestMendOnAnyCores(t *testing.T) {
	r := rand.New(rand.NewPCG(20240229, 10))
	all := damaged(r)
	all["big"] = mesh.Merge(geomtest.Gyroid(40, 10, 1.5, 60000).Mesh, geomtest.Sphere(15, 200).Mesh)
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	for name, m := range all {
		runtime.GOMAXPROCS(1)
		one, log := mesh.Mend(m)
		rep := fmt.Sprintf("%+v", *mesh.Check(m))
		for _, n := range []int{2, 5} {
			runtime.GOMAXPROCS(n)
			many, again := mesh.Mend(m)
			if !slices.Equal(one.Pos, many.Pos) || !slices.Equal(one.Tri, many.Tri) || fmt.Sprint(log) != fmt.Sprint(again) {
				t.Errorf("%s: %d cores mend otherwise", name, n)
			}
			if fmt.Sprintf("%+v", *mesh.Check(m)) != rep {
				t.Errorf("%s: %d cores find other defects", name, n)
			}
		}
	}
}
