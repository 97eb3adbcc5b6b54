package mesh

import (
	"math/big"
	"math/rand/v2"
	"path/filepath"
	"runtime"
	"slices"
	"testing"

	"firstoff/checks"
	"firstoff/geom/r3"
)

// everyPair decides all pairs one by one, without boxes and without flat fans.
func everyPair(m *Mesh) [][2]uint32 {
	w := joinWork{joiner: &joiner{m: m, flat: make([]bool, m.Vertices()), limit: 1 << 30}}
	for f := range uint32(m.Facets()) {
		for g := f + 1; g < uint32(m.Facets()); g++ {
			if !w.skip(f) && !w.skip(g) {
				w.facets(f, g)
			}
		}
	}
	var out [][2]uint32
	for _, f := range w.found {
		out = append(out, f.pair)
	}
	return out
}

func TestCrossingsAgainstEveryPair(t *testing.T) {
	const seed = 3
	r := rand.New(rand.NewPCG(seed, 1))
	meshes := map[string]*Mesh{
		"two cubes through each other": Merge(cube(), moved(cube(), 0.5, 0.25, 0.125)),
		"two cubes with a common face": Merge(cube(), moved(cube(), 1, 0, 0)),
		"cube and a turned one":        Merge(cube(), cube().Transformed(randomTurn(r), 1.1, r3.Vec{X: 0.2})),
		"tubes":                        Merge(pipe(50), pipe(40).Transformed(randomTurn(r), 0.7, r3.Vec{Z: 1})),
	}
	wild := &Mesh{} // many large and small facets, shared vertices, on a coarse grid so that ties are common
	for range 150 {
		for range 3 {
			wild.Pos = append(wild.Pos, float32(r.IntN(6)))
		}
	}
	for range 900 {
		wild.Tri = append(wild.Tri, uint32(r.IntN(150)))
	}
	meshes["wild"] = FromSoup(wild.Soup())
	for name, m := range meshes {
		want := everyPair(m)
		c := m.Crossings(1 << 20)
		if !slices.Equal(c.Pairs, want) {
			t.Errorf("seed %d, %s: %d pairs, one by one %d", seed, name, len(c.Pairs), len(want))
		}
		if len(want) == 0 {
			t.Errorf("%s: nothing crosses", name)
		}
	}
	for name, m := range map[string]*Mesh{"cube": cube(), "pipe": pipe(33)} {
		if c := m.Crossings(10); len(c.Pairs) > 0 {
			t.Errorf("%s crosses itself: %v", name, c.Pairs)
		}
	}
}

func TestCrossingsOfOutsideMeshes(t *testing.T) {
	for _, f := range []string{"cgal_tetra_intersected_by_triangle.off", "common_suzanne.obj", "igl_two-boxes-bad-self-union.ply",
		"not_convex.obj", "as_Wuson.stl", "shared.STL", "cgal_joint.off", "fandisk.obj", "soup.stl", "cgal_knot2.off", "two_objects.obj", "igl_degenerated.obj"} {
		m, err := readFile(filepath.Join(checks.Path(t, "mesh/open"), f))
		if err != nil {
			t.Fatal(err)
		}
		if m.Facets() > 2500 {
			m = m.Pick(all(2500))
		}
		if c, want := m.Crossings(1<<24), everyPair(m); !slices.Equal(c.Pairs, want) {
			t.Errorf("%s: %d pairs, one by one %d", f, len(c.Pairs), len(want))
		}
	}
}

// The triangle cuts three sides of the tetrahedron (asserted by the file's name; its fourth side is not met).
func TestCrossingShells(t *testing.T) {
	m := Merge(cube(), moved(cube(), 0.5, 0.25, 0.125), moved(cube(), 5, 0, 0), moved(cube(), 6, 0, 0))
	r := Check(m)
	for s, want := range [][2][]int{{{1}, nil}, {{0}, nil}, {nil, {3}}, {nil, {2}}} {
		if !slices.Equal(r.Shells[s].Crosses, want[0]) || !slices.Equal(r.Shells[s].Touches, want[1]) {
			t.Errorf("shell %d crosses %v, touches %v", s, r.Shells[s].Crosses, r.Shells[s].Touches)
		}
	}
	if c := m.Crossings(3); len(c.Pairs) != 3 || !c.More {
		t.Errorf("limit: %d pairs, more %v", len(c.Pairs), c.More)
	}
}

func TestCrossingsOnAnyCores(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	m := Merge(pipe(900), pipe(700).Transformed(randomTurn(r), 0.9, zero))
	old := runtime.GOMAXPROCS(1)
	defer runtime.GOMAXPROCS(old)
	one := m.Crossings(1 << 20)
	runtime.GOMAXPROCS(3)
	if two := m.Crossings(1 << 20); !slices.Equal(one.Pairs, two.Pairs) || !slices.Equal(one.Touch, two.Touch) {
		t.Fatal("three cores find other pairs")
	}
}

type ratVec [3]*big.Rat

func rv(v r3.Vec) ratVec {
	return ratVec{new(big.Rat).SetFloat64(v.X), new(big.Rat).SetFloat64(v.Y), new(big.Rat).SetFloat64(v.Z)}
}
func (a ratVec) sub(b ratVec) (c ratVec) {
	for i := range c {
		c[i] = new(big.Rat).Sub(a[i], b[i])
	}
	return
}
func (a ratVec) dot(b ratVec) *big.Rat {
	s := new(big.Rat)
	for i := range a {
		s.Add(s, new(big.Rat).Mul(a[i], b[i]))
	}
	return s
}
func (a ratVec) cross(b ratVec) (c ratVec) {
	for i := range c {
		j, k := (i+1)%3, (i+2)%3
		c[i] = new(big.Rat).Sub(new(big.Rat).Mul(a[j], b[k]), new(big.Rat).Mul(a[k], b[j]))
	}
	return
}

// meetSlow decides by solving in rational numbers: two convex sets meet unless some direction separates them, and for two triangles one of the
// two normals, the nine products of edges, or the in-plane normals of the edges does so.
func meetSlow(t, u [3]r3.Vec) bool {
	var a, b [3]ratVec
	for i := range 3 {
		a[i], b[i] = rv(t[i]), rv(u[i])
	}
	var axes []ratVec
	na, nb := a[1].sub(a[0]).cross(a[2].sub(a[0])), b[1].sub(b[0]).cross(b[2].sub(b[0]))
	axes = append(axes, na, nb)
	for i := range 3 {
		ea := a[(i+1)%3].sub(a[i])
		eb := b[(i+1)%3].sub(b[i])
		axes = append(axes, na.cross(ea), nb.cross(eb))
		for j := range 3 {
			axes = append(axes, ea.cross(b[(j+1)%3].sub(b[j])))
		}
	}
	span := func(p [3]ratVec, d ratVec) (lo, hi *big.Rat) {
		lo, hi = p[0].dot(d), p[0].dot(d)
		for _, v := range p[1:] {
			if s := v.dot(d); s.Cmp(lo) < 0 {
				lo = s
			} else if s.Cmp(hi) > 0 {
				hi = s
			}
		}
		return
	}
	for _, d := range axes {
		al, ah := span(a, d)
		bl, bh := span(b, d)
		if ah.Cmp(bl) < 0 || bh.Cmp(al) < 0 {
			return false
		}
	}
	return true
}

func TestMeetAgainstRationals(t *testing.T) {
	const seed = 8
	r := rand.New(rand.NewPCG(seed, 2))
	yes, no := 0, 0
	for k := range 2500 {
		var p [2][3]r3.Vec
		for i := range p {
			for {
				for j := range p[i] {
					v := r3.Vec{X: float64(r.IntN(4)), Y: float64(r.IntN(4)), Z: float64(r.IntN(1 + k%4))}
					if k%3 == 0 {
						v = v.Add(r3.Vec{X: float64(float32(r.Float64())), Y: float64(float32(r.Float64())), Z: float64(float32(r.Float64()))})
					}
					p[i][j] = v
				}
				if !collinear(p[i][0], p[i][1], p[i][2]) {
					break
				}
			}
		}
		var touch bool
		got := meet(p[0][0], p[0][1], p[0][2], p[1][0], p[1][1], p[1][2], &touch)
		if want := meetSlow(p[0], p[1]); got != want {
			t.Fatalf("seed %d: %v meets %v, want %v", seed, p, got, want)
		}
		if got {
			yes++
		} else {
			no++
		}
	}
	if yes < 200 || no < 200 {
		t.Fatalf("%d meet, %d do not", yes, no)
	}
}

func BenchmarkCrossings(b *testing.B) {
	for _, n := range []int{400, 40_000} {
		m := pipe(n)
		b.Run(size(n), func(b *testing.B) {
			for b.Loop() {
				m.Crossings(1 << 20)
			}
			b.ReportMetric(float64(m.Facets())*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mfacets/s")
		})
	}
	m := pipe(400)
	b.Run("every pair", func(b *testing.B) {
		for b.Loop() {
			everyPair(m)
		}
	})
}
