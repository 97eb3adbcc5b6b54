package mesh

import (
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"firstoff/checks"
	"firstoff/geom/exact"
	"firstoff/geom/r3"
)

// convex fails unless h is a closed convex surface around all points, exactly.
func convex(t *testing.T, name string, h, pts *Mesh) {
	t.Helper()
	if r := CheckTopology(h); !r.Closed || r.Euler() != 2 {
		t.Fatalf("%s: closed %v, Euler number %d", name, r.Closed, r.Euler())
	}
	for f := range h.Facets() {
		a, b, c := h.Corners(f)
		for v := range uint32(pts.Vertices()) {
			if exact.Orient3D(a, b, c, pts.Vertex(v)) > 0 {
				t.Fatalf("%s: vertex %d lies outside facet %d", name, v, f)
			}
		}
	}
}

func TestHull(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	cloud := func(n int, at func() float32) *Mesh {
		m := &Mesh{}
		for range 3 * n {
			m.Pos = append(m.Pos, at())
		}
		return m
	}
	for name, m := range map[string]*Mesh{
		"cube":                cube(),
		"grid, all ties":      cloud(600, func() float32 { return float32(r.IntN(4)) * 0.1 }),
		"random":              cloud(800, r.Float32),
		"far away":            cloud(400, func() float32 { return 1e6 + r.Float32() }),
		"nearly flat":         cloud(300, func() float32 { return 1 + float32(r.IntN(3))*1e-7 }),
		"cube with every bit": cloud(500, func() float32 { return math.Nextafter32(float32(r.IntN(2)), float32(r.IntN(3))) }),
	} {
		convex(t, name, ConvexHull(m), m)
	}
	if h := ConvexHull(Merge(cube(), moved(cube(), 0.2, 0.2, 0.2).Transformed(r3.Identity, 0.5, zero))); h.Facets() != 12 || h.Measure().VolumeMM3 != 1 {
		t.Fatalf("hull of a cube has %d facets, volume %v", h.Facets(), h.Measure().VolumeMM3)
	}
}

func TestHullOfLess(t *testing.T) {
	flat := &Mesh{Pos: []float32{0, 0, 1, 2, 0, 1, 2, 2, 1, 0, 2, 1, 1, 1, 1, 1, 0, 1}}
	if h := ConvexHull(flat); h.Vertices() != 4 || h.Facets() != 4 || h.Measure().AreaMM2 != 8 || h.Measure().VolumeMM3 != 0 {
		t.Errorf("square: %d vertices, %d facets", h.Vertices(), h.Facets())
	}
	if h := ConvexHull(&Mesh{Pos: []float32{1, 1, 1, 3, 3, 3, 2, 2, 2}}); h.Vertices() != 2 || h.Facets() != 0 {
		t.Error("line")
	}
	if h := ConvexHull(&Mesh{Pos: []float32{1, 1, 1, 1, 1, 1}}); h.Vertices() != 1 {
		t.Error("point")
	}
	if h := ConvexHull(&Mesh{}); h.Vertices() != 0 {
		t.Error("nothing")
	}
}

func TestHullOfOutsideMeshes(t *testing.T) {
	for _, f := range []string{"cgal_anchor_dense.off", "fandisk.obj", "situ_nonmanifold_cells.stl", "soup.stl", "igl_sliver_tet.ply", "20mm-xyz-cube.stl"} {
		m, err := readFile(filepath.Join(checks.Path(t, "mesh/open"), f))
		if err != nil {
			t.Fatal(err)
		}
		convex(t, f, ConvexHull(m), m)
	}
}

func BenchmarkConvexHull(b *testing.B) {
	for _, n := range []int{1_000, 100_000, 1_000_000} {
		r := rand.New(rand.NewPCG(5, 5))
		m := &Mesh{}
		for range n {
			p := r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}
			m.Pos = append(m.Pos, float32(p.X), float32(p.Y), float32(p.Z))
		}
		b.Run(size(n), func(b *testing.B) {
			for b.Loop() {
				ConvexHull(m)
			}
		})
	}
}

func size(n int) string {
	switch {
	case n >= 1_000_000:
		return string(rune('0'+n/1_000_000)) + "m"
	case n >= 1000:
		return map[int]string{1000: "1k", 10_000: "10k", 100_000: "100k"}[n]
	}
	return "small"
}
