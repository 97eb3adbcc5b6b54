package thickness

import (
	"math"
	"testing"

	"firstoff/geom/bvh"
	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// helicalRib is a rib of rectangular section (radial r0 to r1, t high along the axis) that winds around the z axis: pitch p, so many turns. Its flanks
// are t·cos α apart, its neighbours (p − t)·cos α, tan α = p/(2πr), up to the twist of the flanks (under 0.1 % here).
func helicalRib(r0, r1, t, p float64, turns, perTurn, across int) *mesh.Mesh {
	var s []float32
	n := turns * perTurn
	at := func(i, j int, up float64) r3.Vec {
		a := 2 * math.Pi * float64(i) / float64(perTurn)
		r := r0 + (r1-r0)*float64(j)/float64(across)
		return r3.Vec{X: r * math.Cos(a), Y: r * math.Sin(a), Z: p*float64(i)/float64(perTurn) + up}
	}
	tri := func(v ...r3.Vec) {
		for _, c := range v {
			s = append(s, float32(c.X), float32(c.Y), float32(c.Z))
		}
	}
	quad := func(a, b, c, d r3.Vec) { tri(a, b, c); tri(a, c, d) }
	for i := range n {
		for j := range across {
			quad(at(i, j, t), at(i, j+1, t), at(i+1, j+1, t), at(i+1, j, t))
			quad(at(i, j, 0), at(i+1, j, 0), at(i+1, j+1, 0), at(i, j+1, 0))
		}
		quad(at(i, across, 0), at(i+1, across, 0), at(i+1, across, t), at(i, across, t))
		quad(at(i, 0, 0), at(i, 0, t), at(i+1, 0, t), at(i+1, 0, 0))
	}
	for j := range across { // the two ends
		quad(at(0, j, 0), at(0, j+1, 0), at(0, j+1, t), at(0, j, t))
		quad(at(n, j, 0), at(n, j, t), at(n, j+1, t), at(n, j+1, 0))
	}
	return mesh.FromSoup(s)
}

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
	rib := helicalRib(16, 24, 1.2, 8, 3, 120, 5)
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
