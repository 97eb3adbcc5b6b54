package thickness

import (
	"math"
	"testing"

	"firstoff/geom/bvh"
	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// TestConstructions measures walls and gaps of bodies with known answers, in a turn that suits no axis: by ray and by sphere, at every facet for
// which the construction tells the answer. Bar: 1 %. Chords of round bodies are taken into the answer.
func TestConstructions(t *testing.T) {
	turn := r3.AxisAngle(r3.Vec{X: 1, Y: 2, Z: 0.5}, 0.9)
	const sides = 128
	flat := math.Cos(math.Pi / sides)
	mid := func(m *mesh.Mesh, f int) r3.Vec {
		a, b, c := m.Corners(f)
		return a.Add(b).Add(c).Mul(1.0 / 3)
	}
	type answer func(m *mesh.Mesh, f int) (wall, gap float64) // of the unturned body; 0: not told
	rib := geomtest.HelicalRib(16, 24, 1.2, 8, 3, 120, 5)
	if top := rib.Topology(); !top.Closed() {
		t.Fatal("the rib is not closed")
	}
	plates := mesh.Merge(geomtest.Box(40, 40, 0.8).Mesh, geomtest.Box(40, 40, 2.5).Mesh.Transformed(r3.Identity, 1, r3.Vec{Z: 1.3}))
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		want answer
	}{
		{"plates of 0.8 and 2.5, 0.5 apart", plates, func(m *mesh.Mesh, f int) (float64, float64) {
			n, p := m.FacetNormal(f), mid(m, f)
			switch {
			case math.Abs(n.Z) < 0.9:
				return 0, 0
			case p.Z < 1:
				return 0.8, map[bool]float64{true: 0.5}[n.Z > 0]
			}
			return 2.5, map[bool]float64{true: 0.5}[n.Z < 0]
		}},
		{"tube of 1.5", geomtest.Tube(8, 6.5, 15, sides).Mesh, func(m *mesh.Mesh, f int) (float64, float64) {
			n, p := m.FacetNormal(f), mid(m, f)
			if math.Abs(n.Z) > 0.5 || p.Z < 3 || p.Z > 12 {
				return 0, 0
			}
			if math.Hypot(p.X, p.Y) < 7 {
				return 1.5 * flat, 13 * flat
			}
			return 1.5 * flat, 0
		}},
		{"shell between spheres, 2 to 6", geomtest.Hollow(geomtest.Sphere(10, 72), geomtest.Sphere(6, 72), r3.Vec{X: 2}).Mesh, func(m *mesh.Mesh, f int) (float64, float64) {
			p := mid(m, f)
			if math.Abs(p.Norm()-10) > 0.05 || math.Hypot(p.Y, p.Z) > 0.8 { // where it is thinnest and thickest
				return 0, 0
			}
			return map[bool]float64{true: 2, false: 6}[p.X > 0], 0
		}},
		{"helical rib of 1.2, pitch 8", rib, func(m *mesh.Mesh, f int) (float64, float64) {
			n, p := m.FacetNormal(f), mid(m, f)
			r := math.Hypot(p.X, p.Y)
			if math.Abs(n.Z) < 0.7 || r < 18.5 || r > 21.5 || p.Z < 9.5 || p.Z > 15.5 {
				return 0, 0
			}
			ca := math.Cos(math.Atan(8 / (2 * math.Pi * r)))
			gap := 0.0
			if r > 19.6 && r < 20.4 { // a ball of 6.8 between the turns reaches past the rib's edges elsewhere
				gap = (8 - 1.2) * ca
			}
			return 1.2 * ca, gap
		}},
	} {
		m := c.m.Transformed(turn, 1, r3.Vec{X: 7, Y: -3, Z: 11})
		tr := bvh.Build(m)
		inf := 30.0
		wr, ws, gr, gs := WallRays(tr, inf), WallSpheres(tr, m, inf), GapRays(tr, inf), GapSpheres(tr, m, inf)
		worst := [4]float64{}
		n := [4]int{}
		for f := range c.m.Facets() {
			wall, gap := c.want(c.m, f)
			for k, x := range [4]struct{ got, want float64 }{{float64(wr[f]), wall}, {float64(ws[f]), wall}, {float64(gr[f]), gap}, {float64(gs[f]), gap}} {
				if x.want > 0 {
					n[k]++
					if d := math.Abs(x.got/x.want - 1); d > worst[k] {
						worst[k] = d
					}
				}
			}
		}
		t.Logf("%-34s wall by ray %.3f %% (%d), by sphere %.3f %% (%d); gap by ray %.3f %% (%d), by sphere %.3f %% (%d)", c.name, 100*worst[0], n[0], 100*worst[1], n[1], 100*worst[2], n[2], 100*worst[3], n[3])
		for k, d := range worst {
			if d > 0.01 || k < 2 && n[k] == 0 {
				t.Errorf("%s: measure %d is %.3f %% off over %d facets", c.name, k, 100*d, n[k])
			}
		}
	}
}
