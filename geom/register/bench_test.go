package register

import (
	"math/rand/v2"
	"testing"

	"firstoff/geom/bvh"
	"firstoff/geom/geomtest"
	"firstoff/geom/r3"
)

// BenchmarkMillion is a scan of a million points against a nominal of a hundred thousand facets, from anywhere: tree,
// alignment and deviations.
func BenchmarkMillion(b *testing.B) {
	r := rand.New(rand.NewPCG(seed, 40))
	m := geomtest.Contour("lumps", 87, 1.2, func(i, j, l int) float64 {
		x, y, z := float64(i)/87-0.5, float64(j)/87-0.5, float64(l)/87-0.5
		f := -1.0
		for _, c := range [][4]float64{{0, 0, 0, 0.3}, {0.2, 0.05, 0.1, 0.2}, {-0.15, 0.2, -0.1, 0.17}, {0.05, -0.22, 0.2, 0.14}, {-0.1, -0.1, -0.3, 0.13}} {
			f = max(f, c[3]*c[3]-(x-c[0])*(x-c[0])-(y-c[1])*(y-c[1])-(z-c[2])*(z-c[2]))
		}
		return f
	}).Mesh
	pts := scanned(m, 1_000_000, r, nil)
	noisy := make([]r3.Vec, len(pts))
	for i, p := range pts {
		noisy[i] = p.Add(r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Mul(0.02))
	}
	moved := away(r, 100)
	there := movedBy(moved, noisy)
	b.ResetTimer()
	for range b.N {
		tree := bvh.Build(m)
		g, fit, err := Align(there, tree, m, Options{})
		if err != nil {
			b.Fatal(err)
		}
		_, s, err := Deviations(there, g, tree, m, 0, 0.1)
		if err != nil {
			b.Fatal(err)
		}
		if w := worst(g, moved, pts[:1000]); w > 0.1 {
			b.Fatalf("off by %g: %+v %+v", w, fit, s)
		}
	}
	b.ReportMetric(float64(m.Facets()), "facets")
}
