package register

import (
	"math"
	"math/rand/v2"
	"testing"

	"firstoff/geom/bvh"
	"firstoff/geom/geomtest"
	"firstoff/geom/r3"
)

// The signed distance of a block is known everywhere; most points near it have an edge or a corner nearest.
func TestSignedDeviations(t *testing.T) {
	m := geomtest.Box(10, 6, 4).Mesh
	tree := bvh.Build(m)
	r := rand.New(rand.NewPCG(seed, 20))
	pts := make([]r3.Vec, 5000)
	for i := range pts {
		pts[i] = r3.Vec{X: 14*r.Float64() - 2, Y: 10*r.Float64() - 2, Z: 8*r.Float64() - 2}
	}
	got, s, err := Deviations(pts, Stay, tree, m, 0, 0)
	if err != nil {
		t.Fatal(err)
	}
	out := 0
	for i, p := range pts {
		q := [3]float64{math.Abs(p.X-5) - 5, math.Abs(p.Y-3) - 3, math.Abs(p.Z-2) - 2}
		d := math.Sqrt(sq(math.Max(q[0], 0))+sq(math.Max(q[1], 0))+sq(math.Max(q[2], 0))) + math.Min(0, math.Max(q[0], math.Max(q[1], q[2])))
		if d > 0 {
			out++
		}
		if math.Abs(got.Signed[i]-d) > 1e-6 {
			t.Fatalf("seed %d: at %v %.9g, want %.9g", seed, p, got.Signed[i], d)
		}
	}
	if out < 1000 || s.Count != 5000 {
		t.Fatalf("%d points outside of %d", out, s.Count)
	}
	// A hollow body: inside the void is outside the material.
	h := geomtest.Hollow(geomtest.Box(10, 10, 10), geomtest.Box(4, 4, 4), r3.Vec{X: 3, Y: 3, Z: 3}).Mesh
	v, _, err := Deviations([]r3.Vec{{X: 5, Y: 5, Z: 6}, {X: 5, Y: 5, Z: 8}, {X: 8, Y: 8, Z: 8}}, Stay, bvh.Build(h), h, 0, 0)
	if err != nil || math.Abs(v.Signed[0]-1) > 1e-6 || math.Abs(v.Signed[1]+1) > 1e-6 || math.Abs(v.Signed[2]+math.Sqrt(3)) > 1e-6 {
		t.Errorf("%v %v", v.Signed, err)
	}
}

func sq(v float64) float64 { return v * v }

// A plate measured 0.1 too thick on top: closed figures for every line of the report.
func TestStatistics(t *testing.T) {
	m := geomtest.Box(10, 10, 2).Mesh
	tree := bvh.Build(m)
	var pts []r3.Vec
	for i := range 100 {
		x, y := 1+float64(i%10)*0.8, 1+float64(i/10)*0.8
		pts = append(pts, r3.Vec{X: x, Y: y, Z: 2 + 0.1}, r3.Vec{X: x, Y: y, Z: 0.02})
	}
	pts = append(pts, r3.Vec{X: 5, Y: 5, Z: 30})
	d, s, err := Deviations(pts, Stay, tree, m, 1, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"mean", s.Mean, 0.04}, {"rms", s.RMS, math.Sqrt((0.01 + 0.0004) / 2)}, {"sd", s.SD, 0.06 * math.Sqrt(200.0/199)},
		{"max", s.Max, 0.1}, {"min", s.Min, -0.02}, {"median", s.Median, 0.04}, {"p95", s.P95, 0.1}, {"absmax", s.AbsMax, 0.1},
		{"inside", s.Inside, 0.5}, {"profile", s.Profile(), 0.2}, {"p2.5", s.P2, -0.02}, {"p97.5", s.P97, 0.1},
	} {
		if math.Abs(c.got-c.want) > 1e-6 {
			t.Errorf("%s %.9g, want %.9g", c.what, c.got, c.want)
		}
	}
	if s.Count != 200 || s.Beyond != 1 || !math.IsNaN(d.Signed[200]) || s.Passes(0.5) {
		t.Errorf("a stray beyond reach: %+v", s)
	}
	s.Beyond = 0
	if !s.Passes(0.21) || s.Passes(0.19) {
		t.Error("profile verdict")
	}
	zone := make([]int, m.Facets())
	for f := range zone {
		zone[f] = -1
		if n := m.FacetNormal(f); n.Z > 0.5 {
			zone[f] = 0
		} else if n.Z < -0.5 {
			zone[f] = 1
		}
	}
	z := d.Zones(zone, 2, 0.1)
	if z[0].Count != 100 || math.Abs(z[0].Mean-0.1) > 1e-6 || z[1].Count != 100 || math.Abs(z[1].Mean+0.02) > 1e-6 || z[1].Inside != 1 || z[0].Beyond != 1 {
		t.Errorf("zones %+v", z)
	}
}
