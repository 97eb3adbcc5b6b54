package bvh

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

const seed = 99

func pointIn(r *rand.Rand, b r3.Box, grow float64) r3.Vec {
	s, c := b.Size().Mul(grow), b.Center()
	return r3.Vec{X: c.X + s.X*(r.Float64()-0.5), Y: c.Y + s.Y*(r.Float64()-0.5), Z: c.Z + s.Z*(r.Float64()-0.5)}
}

func direction(r *rand.Rand) r3.Vec {
	return r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}
}

// rayAll is Ray by trying every facet with the plainest of tests (signed volumes).
func rayAll(m *mesh.Mesh, o, d r3.Vec, most float64) (best float64, near bool) {
	best = math.Inf(1)
	for f := range m.Facets() {
		a, b, c := m.Corners(f)
		a, b, c = a.Sub(o), b.Sub(o), c.Sub(o)
		n := b.Sub(a).Cross(c.Sub(a))
		u, v, w := d.Dot(b.Cross(c)), d.Dot(c.Cross(a)), d.Dot(a.Cross(b))
		size := d.Norm() * (a.Norm() + b.Norm()) * (b.Norm() + c.Norm()) * 1e-9
		if min(math.Abs(u), math.Abs(v), math.Abs(w)) < size {
			near = true // too close to an edge for this test
		}
		if (u < 0 || v < 0 || w < 0) && (u > 0 || v > 0 || w > 0) || n.Dot(d) == 0 {
			continue
		}
		if t := n.Dot(a) / n.Dot(d); t >= 0 && t <= most {
			best = min(best, t)
		}
	}
	return best, near
}

func nearAll(m *mesh.Mesh, p r3.Vec) float64 {
	best := math.Inf(1)
	var f tri
	for i := range m.Facets() {
		for c := range 3 {
			v := m.Tri[3*i+c]
			f.x[c], f.y[c], f.z[c] = m.Pos[3*v], m.Pos[3*v+1], m.Pos[3*v+2]
		}
		d, _ := f.nearest(p, math.Inf(1))
		best = min(best, d)
	}
	return math.Sqrt(best)
}

func TestAgainstAllFacets(t *testing.T) {
	r := rand.New(rand.NewPCG(seed, 1))
	for _, s := range geomtest.All() {
		far := s.Mesh.Transformed(r3.Identity, 1, r3.Vec{X: 1e4, Y: -3e4})
		for _, m := range []*mesh.Mesh{s.Mesh, far} {
			tr, box := Build(m), m.Box()
			size := box.Size().Norm()
			pts := make([]r3.Vec, 0, 60)
			for i := range 60 {
				grow := []float64{1, 1.2, 30, 4000}[i%4]
				o, d := pointIn(r, box, grow), direction(r)
				if grow > 2 {
					d = pointIn(r, box, 1).Sub(o)
				}
				pts = append(pts, o)
				want, edge := rayAll(m, o, d, math.Inf(1))
				h, ok := tr.Ray(o, d, math.Inf(1))
				if !edge && (ok != !math.IsInf(want, 1) || ok && math.Abs(h.Dist-want)*d.Norm() > 1e-7*(size+o.Dist(box.Center()))) {
					t.Fatalf("seed %d, %s: ray %v %v: %v %v, want %v", seed, s.Name, o, d, h, ok, want)
				}
				if ok && !edge {
					if _, short := tr.Ray(o, d, h.Dist*0.999); short {
						t.Fatalf("%s: met something before the nearest", s.Name)
					}
				}
				n, ok := tr.Nearest(o, math.Inf(1))
				if want := nearAll(m, o); !ok || math.Abs(n.Dist-want) > 1e-9*(size+want) || math.Abs(n.Point.Dist(o)-want) > 1e-9*(size+want) {
					t.Fatalf("seed %d, %s: nearest of %v: %v, want %v", seed, s.Name, o, n, want)
				}
				if _, ok := tr.Nearest(o, n.Dist*0.999999); ok {
					t.Fatalf("%s: found something beyond the limit", s.Name)
				}
			}
			out := make([]Near, len(pts))
			tr.NearestAll(pts, out)
			for i, p := range pts {
				if n, _ := tr.Nearest(p, math.Inf(1)); n.Dist != out[i].Dist {
					t.Fatalf("%s: one by one %v, together %v", s.Name, n, out[i])
				}
			}
		}
	}
}

func TestOwnRaysAgree(t *testing.T) {
	for _, s := range geomtest.All() {
		m := s.Mesh
		tr := Build(m)
		out := make([]float32, m.Facets())
		for _, side := range []Side{Inward, Outward} {
			tr.OwnRays(side, 1e-4, 50, out)
			for f := range m.Facets() {
				a, b, c := m.Corners(f)
				d := m.FacetNormal(f).Mul(float64(side))
				o := a.Add(b).Add(c).Mul(1.0 / 3).Add(d.Mul(1e-4))
				h, ok := tr.Ray(o, d, 50-1e-4)
				want := math.Inf(1)
				if ok {
					want = h.Dist + 1e-4
				}
				if got := float64(out[f]); ok == math.IsInf(got, 1) || ok && math.Abs(got-want) > 1e-5*want {
					t.Fatalf("%s: facet %d: %v, want %v", s.Name, f, got, want)
				}
			}
		}
	}
}

// From inside a closed surface no ray gets out, least of all one aimed at an edge or a vertex.
func TestWatertight(t *testing.T) {
	r := rand.New(rand.NewPCG(seed, 2))
	shapes := []*mesh.Mesh{geomtest.Box(10, 10, 10).Mesh, geomtest.Sphere(7, 48).Mesh, geomtest.Cylinder(5, 12, 400).Mesh, geomtest.Cone(5, 9, 64).Mesh}
	for i, m := range shapes {
		m = m.Transformed(geomtest.Turn(r), 1, r3.Vec{X: 100 * float64(i)})
		if i%2 == 0 {
			m = shapes[i]
		}
		tr := Build(m)
		in := m.Measure().CentroidMM
		aim := func(p r3.Vec) {
			o := in.Add(direction(r).Mul(0.05))
			if r.IntN(3) == 0 {
				o = in
			}
			if _, ok := tr.Ray(o, p.Sub(o), math.Inf(1)); !ok {
				t.Fatalf("seed %d: the ray from %v through %v got out", seed, o, p)
			}
		}
		for v := range uint32(m.Vertices()) {
			aim(m.Vertex(v))
		}
		for f := range m.Facets() {
			a, b, c := m.Corners(f)
			aim(a.Add(b).Mul(0.5))
			aim(b.Add(c.Sub(b).Mul(0.25)))
			aim(c.Add(a.Sub(c).Mul(r.Float64())))
		}
	}
}

func TestInsideAndCrossings(t *testing.T) {
	r := rand.New(rand.NewPCG(seed, 3))
	s := geomtest.Hollow(geomtest.Sphere(10, 64), geomtest.Sphere(5, 48), r3.Vec{X: 2})
	tr := Build(s.Mesh)
	for range 500 {
		p := pointIn(r, s.Mesh.Box(), 1.2)
		out, in := p.Norm(), p.Dist(r3.Vec{X: 2})
		if math.Abs(out-10) < 0.1 || math.Abs(in-5) < 0.1 {
			continue
		}
		if got, want := tr.Inside(p), out < 10 && in > 5; got != want {
			t.Fatalf("seed %d: %v inside %v, want %v", seed, p, got, want)
		}
		w := 0
		tr.Crossings(p, direction(r), math.Inf(1), func(h Hit) bool {
			if h.Front {
				w--
			} else {
				w++
			}
			return true
		})
		if want := map[bool]int{true: 1}[out < 10 && in > 5]; w != want {
			t.Fatalf("seed %d: winding of %v is %d, want %d", seed, p, w, want)
		}
	}
}

func TestOverlap(t *testing.T) {
	r := rand.New(rand.NewPCG(seed, 4))
	m := geomtest.Torus(20, 4, 60, 24).Mesh
	tr := Build(m)
	total := 0
	for range 80 {
		c := pointIn(r, m.Box(), 1.1)
		h := r3.Vec{X: 4 * r.Float64(), Y: 4 * r.Float64(), Z: 4 * r.Float64()}
		box := r3.Box{Min: c.Sub(h), Max: c.Add(h)}
		got := map[uint32]bool{}
		tr.Overlap(box, func(f uint32) bool { got[f] = true; return true })
		total += len(got)
		for f := range uint32(m.Facets()) {
			// Sampling the facet finds a point within, or clearly none.
			a, b, d := m.Corners(int(f))
			hit := false
			for i := range 33 {
				for j := range 33 - i {
					p := a.Add(b.Sub(a).Mul(float64(i) / 32)).Add(d.Sub(a).Mul(float64(j) / 32))
					hit = hit || p.X >= box.Min.X && p.X <= box.Max.X && p.Y >= box.Min.Y && p.Y <= box.Max.Y && p.Z >= box.Min.Z && p.Z <= box.Max.Z
				}
			}
			if hit && !got[f] {
				t.Fatalf("seed %d: facet %d meets %v", seed, f, box)
			}
			if got[f] && !hit {
				grown := r3.Box{Min: box.Min.Sub(r3.Vec{X: 0.2, Y: 0.2, Z: 0.2}), Max: box.Max.Add(r3.Vec{X: 0.2, Y: 0.2, Z: 0.2})}
				if !Build(m.Pick([]uint32{f})).tri[0].meets(grown) {
					t.Fatalf("seed %d: facet %d does not meet %v", seed, f, box)
				}
			}
		}
	}
	if total < 400 {
		t.Fatalf("only %d facets met", total)
	}
}

func TestSmallAndBad(t *testing.T) {
	empty := Build(&mesh.Mesh{})
	if _, ok := empty.Ray(r3.Vec{}, r3.Vec{X: 1}, 1); ok {
		t.Error("nothing was met")
	}
	if _, ok := empty.Nearest(r3.Vec{}, 1); ok {
		t.Error("nothing is near")
	}
	one := Build(&mesh.Mesh{Pos: []float32{0, 0, 0, 1, 0, 0, 0, 1, 0}, Tri: []uint32{0, 1, 2}})
	if h, ok := one.Ray(r3.Vec{X: 0.2, Y: 0.2, Z: 3}, r3.Vec{Z: -2}, 9); !ok || h.Dist != 1.5 || !h.Front {
		t.Errorf("%v %v", h, ok)
	}
	if n, ok := one.Nearest(r3.Vec{X: -3, Y: -4, Z: 0}, 9); !ok || n.Dist != 5 {
		t.Errorf("%v %v", n, ok)
	}
	for _, d := range []r3.Vec{{}, {X: math.NaN()}, {X: math.Inf(1)}} {
		if _, ok := one.Ray(r3.Vec{}, d, 1); ok {
			t.Errorf("direction %v met something", d)
		}
	}
	// All facets in one place: no split helps, the tree must still end.
	m := &mesh.Mesh{Pos: []float32{0, 0, 0, 1, 0, 0, 0, 1, 0}}
	for range 5000 {
		m.Tri = append(m.Tri, 0, 1, 2)
	}
	if h, ok := Build(m).Ray(r3.Vec{X: 0.2, Y: 0.2, Z: 1}, r3.Vec{Z: -1}, 9); !ok || h.Facet != 0 {
		t.Errorf("%v %v", h, ok)
	}
}

func TestSameBitsOnAnyCores(t *testing.T) {
	m := geomtest.Gyroid(40, 10, 1.5, 120000).Mesh
	r := rand.New(rand.NewPCG(seed, 5))
	pts, box := make([]r3.Vec, 20000), m.Box()
	for i := range pts {
		pts[i] = pointIn(r, box, 1.1)
	}
	old := runtime.GOMAXPROCS(1)
	defer runtime.GOMAXPROCS(old)
	run := func(procs int) (*Tree, []Near, []float32) {
		runtime.GOMAXPROCS(procs)
		tr := Build(m)
		n, w := make([]Near, len(pts)), make([]float32, m.Facets())
		tr.NearestAll(pts, n)
		tr.OwnRays(Inward, 1e-4, math.Inf(1), w)
		return tr, n, w
	}
	t1, n1, w1 := run(1)
	for _, p := range []int{2, 3} {
		t2, n2, w2 := run(p)
		if !slices.Equal(t1.nodes, t2.nodes) || !slices.Equal(t1.id, t2.id) || !slices.Equal(n1, n2) || !slices.Equal(w1, w2) {
			t.Fatalf("%d cores give other bits", p)
		}
	}
}

func BenchmarkBuild(b *testing.B) {
	for _, n := range []int{10_000, 100_000, 500_000} {
		m := geomtest.Gyroid(40, 20, 2, n).Mesh
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				Build(m)
			}
			b.ReportMetric(float64(m.Facets())*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mfacets/s")
		})
	}
}

func BenchmarkOwnRays(b *testing.B) {
	for _, n := range []int{10_000, 100_000, 500_000} {
		m := geomtest.Gyroid(40, 20, 2, n).Mesh
		t := Build(m)
		out := make([]float32, m.Facets())
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				t.OwnRays(Inward, 1e-4, math.Inf(1), out)
			}
			b.ReportMetric(float64(m.Facets())*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mrays/s")
		})
	}
}

func BenchmarkNearestAll(b *testing.B) {
	m := geomtest.Gyroid(40, 20, 2, 100_000).Mesh
	t := Build(m)
	r := rand.New(rand.NewPCG(seed, 6))
	pts, box := make([]r3.Vec, 100_000), m.Box()
	for i := range pts {
		pts[i] = pointIn(r, box, 1)
	}
	out := make([]Near, len(pts))
	for b.Loop() {
		t.NearestAll(pts, out)
	}
	b.ReportMetric(float64(len(pts))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mpoints/s")
}

// Trying every facet, for comparison with the tree.
func BenchmarkNearestOfAllFacets(b *testing.B) {
	m := geomtest.Gyroid(40, 20, 2, 10_000).Mesh
	for b.Loop() {
		nearAll(m, r3.Vec{X: 1, Y: 2, Z: 3})
	}
}
