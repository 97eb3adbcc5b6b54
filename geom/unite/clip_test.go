package unite

import (
	"math"
	"math/rand/v2"
	"testing"

	"firstoff/fault"
	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

func TestClipVolumes(t *testing.T) {
	cube := box(10, 10, 10)
	for _, c := range []struct {
		name       string
		by, a      *mesh.Mesh
		in, out    float64
		wasWhole   bool
		nothingOut bool
	}{
		{"corner", cube, at(box(4, 4, 4), 8, 8, 8), 8, 56, false, false},
		{"flush", cube, at(box(4, 4, 4), 8, 0, 3), 32, 32, false, false},
		{"through", cube, at(box(30, 2, 2), -10, 4, 4), 40, 80, false, false},
		{"within, against a wall", cube, at(box(4, 4, 4), 0, 3, 3), 64, 0, false, true},
		{"without, against a wall", cube, at(box(4, 4, 4), 10, 3, 3), 0, 64, false, false},
		{"within", cube, at(box(4, 4, 4), 3, 3, 3), 64, 0, true, true},
		{"without", cube, at(box(4, 4, 4), 30, 3, 3), 0, 64, false, false},
		{"in a cavity", mesh.Merge(cube, inward(at(box(6, 6, 6), 2, 2, 2))), at(box(2, 2, 2), 1, 4, 4), 4, 4, false, false},
		{"the same", cube, cube, 1000, 0, false, true},
		{"across an overlap", mesh.Merge(cube, at(cube, 5, 0, 0)), at(box(30, 2, 2), -5, 4, 4), 60, 60, false, false},
	} {
		clip, err := NewClip(c.by, 100)
		if err != nil {
			t.Fatal(err)
		}
		for inside, want := range map[bool]float64{true: c.in, false: c.out} {
			m, err := clip.Keep(c.a, inside)
			if err != nil {
				t.Fatalf("%s: %v", c.name, err)
			}
			if got := m.Measure().VolumeMM3; math.Abs(got-want) > 1e-9*(1+want) {
				t.Errorf("%s, inside %v: %v mm³, want %v", c.name, inside, got, want)
			}
		}
		if m, _ := clip.Keep(c.a, true); (m == c.a) != c.wasWhole {
			t.Errorf("%s: whole %v", c.name, m == c.a)
		}
		if m, _ := clip.Keep(c.a, false); (m.Facets() == 0) != c.nothingOut {
			t.Errorf("%s: %d facets outside", c.name, m.Facets())
		}
	}
	if _, err := NewClip(cube.Pick([]uint32{0, 1, 2}), 1); fault.Of(err).Code != "clip_open" {
		t.Errorf("an open surface cuts: %v", err)
	}
}

// Solids cut by solids, on a grid and turned: what is kept inside and outside winds where both, or only the first, do; together they are the first.
func TestClipWinds(t *testing.T) {
	r := rand.New(rand.NewPCG(seed, 4))
	solids := []*mesh.Mesh{box(4, 20, 6), geomtest.Cylinder(3, 12, 16).Mesh, geomtest.Sphere(6, 12).Mesh, geomtest.Wedge(12, 6, 6).Mesh}
	bodies := []*mesh.Mesh{box(10, 10, 10), geomtest.Torus(8, 3, 16, 8).Mesh, geomtest.Sphere(7, 16).Mesh, geomtest.Tube(8, 6, 8, 12).Mesh}
	for i := range 60 {
		a, b := solids[r.IntN(4)], bodies[r.IntN(4)]
		v := r3.Vec{X: float64(r.IntN(9)), Y: float64(r.IntN(9)), Z: float64(r.IntN(9))}
		turn := r3.Identity
		if i%2 == 1 {
			turn = geomtest.Turn(r)
		}
		a = a.Transformed(turn, 1, v)
		clip, err := NewClip(b, 40)
		if err != nil {
			t.Fatal(err)
		}
		in, err := clip.Keep(a, true)
		if err != nil {
			t.Fatalf("seed %d, scene %d: %v", seed, i, err)
		}
		out, err := clip.Keep(a, false)
		if err != nil {
			t.Fatalf("seed %d, scene %d: %v", seed, i, err)
		}
		whole := a.Measure().VolumeMM3
		if got := in.Measure().VolumeMM3 + out.Measure().VolumeMM3; math.Abs(got-whole) > 1e-5*whole {
			t.Errorf("seed %d, scene %d: %g mm³ of %g", seed, i, got, whole)
		}
		box := a.Box()
		size := box.Size()
		for range 25 {
			p := box.Min.Add(r3.Vec{X: r.Float64() * size.X, Y: r.Float64() * size.Y, Z: r.Float64() * size.Z})
			wa, wb := math.Round(wound(a, p)), math.Round(wound(b, p))
			if x := wound(in, p); math.Abs(x-wa*wb) > 1e-2 && math.Abs(x-math.Round(x)) < 1e-3 {
				t.Fatalf("seed %d, scene %d: inside winds %g at %v, solids %g and %g", seed, i, x, p, wa, wb)
			}
			if x := wound(out, p); math.Abs(x-wa*(1-wb)) > 1e-2 && math.Abs(x-math.Round(x)) < 1e-3 {
				t.Fatalf("seed %d, scene %d: outside winds %g at %v, solids %g and %g", seed, i, x, p, wa, wb)
			}
		}
	}
}

// Two solids together, one without the other, both at once: each winds as it should, and the volumes add up.
func TestSumsOfSolids(t *testing.T) {
	r := rand.New(rand.NewPCG(seed, 5))
	pairs := scenes(r, 40)
	for i := 0; i+1 < len(pairs); i += 2 {
		a, b := pairs[i], pairs[i+1]
		if i%4 == 2 {
			b = at(box(3, 3, 3), 30, 0, 0) // beside a
		}
		sum := func(f func(a, b *mesh.Mesh) (*Union, error)) *mesh.Mesh {
			t.Helper()
			u, err := f(a, b)
			if err != nil {
				t.Fatalf("seed %d, scene %d: %v", seed, i, err)
			}
			if u.Mesh.Facets() > 0 && !u.Mesh.Topology().Solid() || len(u.Source) != u.Mesh.Facets() {
				t.Errorf("seed %d, scene %d: open, or %d sources of %d facets", seed, i, len(u.Source), u.Mesh.Facets())
			}
			whole := mesh.Merge(a, b)
			for f, s := range u.Source {
				p, q, w := u.Mesh.Corners(f)
				x, y, z := whole.Corners(int(s))
				if n, k := q.Sub(p).Cross(w.Sub(p)), y.Sub(x).Cross(z.Sub(x)); math.Abs(p.Sub(x).Dot(k)) > 1e-4*k.Norm() || n.Norm() > k.Norm()*1.001 {
					t.Fatalf("seed %d, scene %d: facet %d does not lie in facet %d", seed, i, f, s)
				}
			}
			return u.Mesh
		}
		both, less, common := sum(Both), sum(Less), sum(Common)
		va, vb, vu, vl, vc := volume(union(t, "a", a).Mesh), volume(union(t, "b", b).Mesh), volume(both), volume(less), volume(common)
		if tol := 1e-4 * (va + vb); math.Abs(va+vb-vu-vc) > tol || math.Abs(va-vl-vc) > tol {
			t.Errorf("seed %d, scene %d: %g and %g mm³ give %g together, %g without, %g common", seed, i, va, vb, vu, vl, vc)
		}
		space := both.Box()
		size := space.Size()
		for range 25 {
			p := space.Min.Add(r3.Vec{X: r.Float64() * size.X, Y: r.Float64() * size.Y, Z: r.Float64() * size.Z})
			ina, inb := math.Round(wound(a, p)) > 0, math.Round(wound(b, p)) > 0
			for k, want := range []bool{ina || inb, ina && !inb, ina && inb} {
				m := []*mesh.Mesh{both, less, common}[k]
				x := wound(m, p)
				if math.Abs(x-math.Round(x)) < 1e-3 && (math.Round(x) == 1) != want {
					t.Fatalf("seed %d, scene %d: sum %d winds %g at %v", seed, i, k, x, p)
				}
			}
		}
	}
}

func volume(m *mesh.Mesh) float64 { return m.Measure().VolumeMM3 }
