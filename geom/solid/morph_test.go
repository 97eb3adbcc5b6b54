package solid

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/geom/section"
)

// noise is a random solid, dense or thin.
func noise(r *rand.Rand, nx, ny, nz int, density float64) *Solid {
	s := Empty(Grid{NX: nx, NY: ny, NZ: nz, Cell: 0.5, Layer: 0.3, Stride: (nx + 63) / 64})
	for k := range nz {
		for j := range ny {
			for i := range nx {
				if r.Float64() < density {
					s.Set(i, j, k)
				}
			}
		}
	}
	return s
}

func same(t *testing.T, what string, got, want *Solid) {
	t.Helper()
	for k := range want.NZ {
		for j := range want.NY {
			for i := range want.NX {
				if got.Has(i, j, k) != want.Has(i, j, k) {
					t.Fatalf("%s: cell %d %d %d is %v", what, i, j, k, got.Has(i, j, k))
				}
			}
		}
	}
	for row := range got.NZ * got.NY {
		if w := got.Bits[(row+1)*got.Stride-1]; w&^got.lastMask() != 0 {
			t.Fatalf("%s: row %d has bits beyond its cells", what, row)
		}
	}
}

// Dilation, erosion and distances against the definition, cell by cell.
func TestMorphologyByDefinition(t *testing.T) {
	const seed = 5
	t.Log("seed", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	for _, size := range [][3]int{{70, 9, 8}, {5, 12, 6}, {64, 7, 5}, {130, 5, 4}} {
		for _, density := range []float64{0.01, 0.97} {
			s := noise(r, size[0], size[1], size[2], density)
			for _, edge := range []bool{true, false} {
				f := Distances(s, edge)
				for k := range s.NZ {
					for j := range s.NY {
						for i := range s.NX {
							want := nearestEmpty(s, i, j, k, edge)
							if got := f.At(i, j, k); math.Abs(got-want) > 1e-5 && !(math.IsInf(got, 1) && math.IsInf(want, 1)) {
								t.Fatalf("distance at %d %d %d, edge %v: %g, want %g", i, j, k, edge, got, want)
							}
						}
					}
				}
			}
			for _, rad := range []float64{0.2, 0.35, 0.5, 1.01, 1.6} {
				grown, shrunk := Empty(s.Grid), Empty(s.Grid)
				not := s.Not()
				for k := range s.NZ {
					for j := range s.NY {
						for i := range s.NX {
							if nearestEmpty(not, i, j, k, false) <= rad*(1+1e-9) {
								grown.Set(i, j, k)
							}
							if nearestEmpty(s, i, j, k, true) > rad*(1+1e-9) {
								shrunk.Set(i, j, k)
							}
						}
					}
				}
				same(t, fmt.Sprint("dilate ", rad), s.Dilate(rad), grown)
				same(t, fmt.Sprint("erode ", rad), s.Erode(rad), shrunk)
				// the two ways agree
				same(t, "by distance", Distances(s.Not(), false).AtMost(rad), grown)
				same(t, "by distance", Distances(s, true).Over(rad), shrunk)
			}
		}
	}
}

func nearestEmpty(s *Solid, i, j, k int, edge bool) float64 {
	if !s.Has(i, j, k) {
		return 0
	}
	best := math.Inf(1)
	reach := 0
	if edge {
		reach = 1
	}
	for z := -reach; z < s.NZ+reach; z++ {
		for y := -reach; y < s.NY+reach; y++ {
			for x := -reach; x < s.NX+reach; x++ {
				if !s.Has(x, y, z) {
					dx, dy, dz := float64(x-i)*s.Cell, float64(y-j)*s.Cell, float64(z-k)*s.Layer
					best = min(best, dx*dx+dy*dy+dz*dz)
				}
			}
		}
	}
	return math.Sqrt(best)
}

func TestFloodByDefinition(t *testing.T) {
	const seed = 6
	t.Log("seed", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	for n := range 30 {
		s := noise(r, 60+n*5, 11, 7, 0.3+0.02*float64(n))
		seeds := noise(r, s.NX, s.NY, s.NZ, 0.002)
		want := Empty(s.Grid)
		var stack [][3]int
		push := func(i, j, k int) {
			if s.Has(i, j, k) && !want.Has(i, j, k) {
				want.Set(i, j, k)
				stack = append(stack, [3]int{i, j, k})
			}
		}
		seeds.each(push)
		for len(stack) > 0 {
			c := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			for _, d := range [6][3]int{{1, 0, 0}, {-1, 0, 0}, {0, 1, 0}, {0, -1, 0}, {0, 0, 1}, {0, 0, -1}} {
				push(c[0]+d[0], c[1]+d[1], c[2]+d[2])
			}
		}
		same(t, "flood", s.Flooded(seeds), want)
		total := 0
		for _, p := range s.Pieces(1 << 20) {
			total += p.Count()
		}
		if total != s.Count() {
			t.Fatalf("the pieces have %d cells of %d", total, s.Count())
		}
	}
}

func TestPaddingOutlineCollision(t *testing.T) {
	const seed = 8
	t.Log("seed", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	for n := range 20 {
		s := noise(r, 40+9*n, 14, 3, 0.5)
		m := n * 7 % 70
		same(t, "there and back", s.Padded(m, 2).Cropped(m, 2, s.Grid), s)
		p := s.Padded(m, 2)
		for range 200 {
			i, j, k := r.IntN(s.NX), r.IntN(s.NY), r.IntN(s.NZ)
			if s.Has(i, j, k) != p.Has(i+m, j+m, k+2) {
				t.Fatal("padding moved a cell")
			}
		}
		within(t, "as a region", s.Region(1).Area(), float64(count(s.Plane(1)))*s.Cell*s.Cell, 1e-6)
		// the outlines of a layer enclose its cells
		var area float64
		for _, loop := range s.Outline(1) {
			area += section.Area(loop)
		}
		within(t, "outlined area", area, float64(count(s.Plane(1)))*s.Cell*s.Cell, 1e-9)

		thin := noise(r, 50, 9, 4, 0.003)
		for range 60 {
			di, dj, dk := r.IntN(200)-100, r.IntN(20)-10, r.IntN(8)-4
			want := false
			thin.each(func(i, j, k int) { want = want || s.Has(i+di, j+dj, k+dk) })
			if Collides(s, thin, di, dj, dk) != want {
				t.Fatalf("collision at %d %d %d is not %v", di, dj, dk, want)
			}
		}
	}
}

func TestPerimeterFormula(t *testing.T) {
	// a disc: counting crossings in four directions is right on average over directions
	s, _ := Rasterise(lathe(200, [2]float64{0, 0}, [2]float64{10, 0}, [2]float64{10, 1}, [2]float64{0, 1}), r3.Identity, 0.1, 0.5, 0)
	x, y, d := outline(s.Plane(0), &s.Grid, 0, s.NY)
	within(t, "disc", outlineLength(x, y, d, s.Cell), 2*math.Pi*10, 0.01)
	// and counts what it says
	const seed = 4
	r := rand.New(rand.NewPCG(seed, 0))
	for _, nx := range []int{63, 64, 65, 128} {
		s := noise(r, nx, 10, 1, 0.4)
		x, y, d := outline(s.Plane(0), &s.Grid, 0, s.NY)
		wx, wy, wd := 0, 0, 0
		for j := -1; j <= s.NY; j++ {
			for i := -1; i <= s.NX; i++ {
				n := func(a, b bool) int {
					if a != b {
						return 1
					}
					return 0
				}
				wx += n(s.Has(i, j, 0), s.Has(i+1, j, 0))
				wy += n(s.Has(i, j, 0), s.Has(i, j+1, 0))
				wd += n(s.Has(i, j, 0), s.Has(i+1, j+1, 0)) + n(s.Has(i+1, j, 0), s.Has(i, j+1, 0))
			}
		}
		if x != wx || y != wy || d != wd {
			t.Errorf("%d wide: %d %d %d, want %d %d %d", nx, x, y, d, wx, wy, wd)
		}
	}
}

func TestSkins(t *testing.T) {
	const seed = 2
	r := rand.New(rand.NewPCG(seed, 0))
	s := noise(r, 70, 6, 9, 0.8)
	top, bottom := Skins(s, 2)
	for k := range s.NZ {
		for j := range s.NY {
			for i := range s.NX {
				up := s.Has(i, j, k) && !(s.Has(i, j, k+1) && s.Has(i, j, k+2))
				down := s.Has(i, j, k) && !(s.Has(i, j, k-1) && s.Has(i, j, k-2))
				if top.Has(i, j, k) != up || bottom.Has(i, j, k) != down {
					t.Fatalf("cell %d %d %d", i, j, k)
				}
			}
		}
	}
}

// What near() says against the definition, over word borders.
func TestNear(t *testing.T) {
	const seed = 12
	r := rand.New(rand.NewPCG(seed, 0))
	for range 200 {
		s := noise(r, 192, 1, 1, 0.02)
		reach := 1 + r.IntN(31)
		for i := range 192 {
			want := false
			for d := -reach; d <= reach; d++ {
				want = want || s.Has(i+d, 0, 0)
			}
			if got := near(s.Bits, i>>6, reach)>>(i&63)&1 != 0; got != want {
				t.Fatalf("reach %d, cell %d: %v", reach, i, got)
			}
		}
	}
}

// Union volumes of overlapping shells: the lens of two balls is counted once.
func TestOverlappingBalls(t *testing.T) {
	r, d := 10.0, 9.0
	m := mesh.Merge(sphere(v(0, 0, 0), r, 100), sphere(v(d, 1e-3, 2e-3), r, 100))
	lens := math.Pi * (4*r + d) * (2*r - d) * (2*r - d) / 12
	want := 2*4./3*math.Pi*r*r*r - lens
	s, err := Rasterise(m, r3.Identity, 0.2, 0.2, 0)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "bits", s.Volume(), want, 3e-3)
	sum := summarised(t, m, 0.2, Options{Cell: 0.2})
	within(t, "summary", sum.VolumeMM3, want, 1e-3)
	// the outline of a layer through the middle: two arcs
	mid := sum.Layers[len(sum.Layers)/2]
	half := math.Acos(d / 2 / r)
	within(t, "outline", mid.PerimeterMM, 2*r*(2*math.Pi-2*half), 1e-3)
	if mid.Loops != 1 || !mid.Overlap {
		t.Errorf("%+v", mid)
	}
}

func TestRasterClosedForms(t *testing.T) {
	for name, c := range map[string]struct {
		m    *mesh.Mesh
		want float64
		rel  float64
	}{
		"box":    {box(v(0, 0, 0), v(20, 15, 10)), 3000, 1e-9},
		"torus":  {torus(20, 5, 200), 2 * math.Pi * math.Pi * 20 * 25, 2e-3},
		"ball":   {sphere(v(1, 2, 3), 10, 100), 4. / 3 * math.Pi * 1000, 1e-3},
		"drum":   {lathe(400, [2]float64{0, 0}, [2]float64{10, 0}, [2]float64{10, 20}, [2]float64{0, 20}), math.Pi * 2000, 1e-3},
		"cavity": {mesh.Merge(box(v(0, 0, 0), v(20, 20, 20)), flipped(box(v(5, 5, 5), v(15, 15, 15)))), 7000, 1e-9},
		"nested": {mesh.Merge(box(v(0, 0, 0), v(20, 20, 20)), flipped(box(v(5, 5, 5), v(15, 15, 15))), box(v(8, 8, 8), v(12, 12, 12))), 7064, 1e-9},
		"within": {mesh.Merge(box(v(0, 0, 0), v(20, 20, 20)), box(v(5, 5, 5), v(15, 15, 15))), 8000, 1e-9}, // inside, not a cavity
	} {
		s, err := Rasterise(c.m, r3.Identity, 0.25, 0.25, 0)
		if err != nil {
			t.Fatal(err)
		}
		within(t, name, s.Volume(), c.want, c.rel)
	}
}

// Cavities, tubes and bottles: what is trapped, and by which gate.
func TestChambers(t *testing.T) {
	block := box(v(0, 0, 0), v(30, 30, 30))
	hollow := flipped(box(v(5, 5, 5), v(25, 25, 25)))
	raster := func(m *mesh.Mesh) *Solid {
		s, err := Rasterise(m, r3.Identity, 0.25, 0.25, 0)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	c := Chambers(raster(mesh.Merge(block, hollow)), 4)
	if len(c) != 1 || !c[0].Sealed || c[0].GateMM != 0 {
		t.Fatalf("a sealed cavity: %+v", c)
	}
	within(t, "volume", c[0].VolumeMM3, 8000, 1e-9)
	within(t, "widest", c[0].WidestMM, 20, 0.02)
	within(t, "trapped", raster(mesh.Merge(block, hollow)).Trapped().Volume(), 8000, 1e-9)
	if got := Chambers(raster(mesh.Merge(block, hollow)), 0); len(got) != 1 || !got[0].Sealed {
		t.Errorf("without a gate: %+v", got)
	}

	// A drain of 3 mm: the solid minus a cylinder through the top wall.
	s := raster(mesh.Merge(block, hollow))
	drill := func(s *Solid, x, y, d float64, from, to int) {
		for k := from; k < to; k++ {
			for j := range s.NY {
				for i := range s.NX {
					p := s.Center(i, j, k)
					if math.Hypot(p.X-x, p.Y-y) < d/2 {
						s.Bits[(k*s.NY+j)*s.Stride+i>>6] &^= 1 << (i & 63)
					}
				}
			}
		}
	}
	drill(s, 15, 15, 3, 90, 120)
	if got := Chambers(s, 2.5); len(got) != 0 {
		t.Errorf("a 3 mm drain lets a 2.5 mm ball out: %+v", got)
	}
	got := Chambers(s, 4)
	if len(got) != 1 || got[0].Sealed || len(got[0].Openings) != 1 {
		t.Fatalf("a 3 mm drain stops a 4 mm ball: %+v", got)
	}
	if math.Abs(got[0].GateMM-3) > 1.5*0.25 { // a cell and a half
		t.Errorf("the gate is %g mm", got[0].GateMM)
	}
	within(t, "volume behind the gate", got[0].VolumeMM3, 8000+math.Pi*2.25*5, 0.01)
	drill(s, 8, 8, 3, 90, 120)
	drill(s, 20, 20, 1.5, 0, 30)
	if got := Chambers(s, 4); len(got) != 1 || len(got[0].Openings) != 3 {
		t.Errorf("three drains: %+v", got)
	}
	// A plain pocket and a crease hold nothing back.
	pocket := raster(mesh.Merge(block, flipped(box(v(5, 5, 10), v(25, 25, 30.0001)))))
	if got := Chambers(pocket, 4); len(got) != 0 {
		t.Errorf("an open pocket: %+v", got)
	}
}

func TestStreamEqualsWhole(t *testing.T) {
	m := mesh.Merge(torus(20, 5, 60), sphere(v(0, 0, 9), 8, 40))
	pose := r3.AxisAngle(v(1, 2, 0), 0.4)
	s, _ := Rasterise(m, pose, 0.3, 0.2, 2)
	st, _ := Stream(m, pose, 0.3, 0.2, 2)
	for from := 0; from < st.NZ; from += 17 {
		to := min(st.NZ, from+17)
		bits := make([]uint64, (to-from)*st.PlaneWords())
		st.Fill(from, to, bits)
		for i, x := range bits {
			if x != s.Bits[from*st.PlaneWords()+i] {
				t.Fatal("a streamed plane differs")
			}
		}
	}
}

func BenchmarkMorphology(b *testing.B) {
	s, _ := Rasterise(torus(20, 8, 100), r3.Identity, 0.2, 0.2, 4)
	for _, r := range []float64{0.4, 1, 2} {
		b.Run(fmt.Sprint("open ", r), func(b *testing.B) {
			for b.Loop() {
				s.Open(r)
			}
		})
	}
	b.Run("distances", func(b *testing.B) {
		for b.Loop() {
			Distances(s, true)
		}
	})
	b.Run("outside", func(b *testing.B) {
		for b.Loop() {
			s.Outside()
		}
	})
	b.Run("chambers", func(b *testing.B) {
		for b.Loop() {
			Chambers(s, 3)
		}
	})
}

func BenchmarkSummarise(b *testing.B) {
	for _, n := range []int{50, 160, 500} {
		m := torus(50, 20, n)
		b.Run(fmt.Sprintf("facets=%d", m.Facets()), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Summarise(m, r3.Identity, 0.254, Options{SelfSupportDeg: 45, SkinLayers: 4}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
