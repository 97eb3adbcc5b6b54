package plane

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

func rect(x0, y0, x1, y1 float64) Path { return Path{MM(x0, y0), MM(x1, y0), MM(x1, y1), MM(x0, y1)} }

func ngon(x, y, r float64, n int) Path {
	p := make(Path, n)
	for i := range p {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		p[i] = MM(x+r*c, y+r*s)
	}
	return p
}

func reversed(p Path) Path {
	q := slices.Clone(p)
	slices.Reverse(q)
	return q
}

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.Abs(got-want) > rel*math.Max(1e-9, math.Abs(want)) {
		t.Errorf("%s: got %.12g, want %.12g (off by %.2g, allowed %.2g)", what, got, want, math.Abs(got-want)/math.Abs(want), rel)
	}
}

// clean checks what every result promises: paths of three points or more, no two edges meeting but at vertices, region
// to the left with winding 1 there and 0 on the other side.
func clean(t *testing.T, r Region) {
	t.Helper()
	var w work
	w.load(r, nil)
	n := len(w.edges)
	w.meet(false)
	if len(w.cuts) > 0 {
		t.Fatalf("edges meet between vertices: %d places, first %+v", len(w.cuts), w.cuts[0])
	}
	if n != r.Points() {
		t.Fatalf("%d points and %d edges", r.Points(), n)
	}
	for _, p := range r {
		if len(p) < 3 {
			t.Fatalf("a path of %d points", len(p))
		}
	}
	u := Union(r, NonZero)
	near(t, "area once more", u.Area(), r.Area(), 1e-12)
	// winding 0 or 1 everywhere: Positive, NonZero and EvenOdd agree
	near(t, "by even-odd", Union(r, EvenOdd).Area(), r.Area(), 1e-12)
	near(t, "by positive", Union(r, Positive).Area(), r.Area(), 1e-12)
}

// scribble is a random closed path with many crossings.
func scribble(r *rand.Rand, n int, size float64, snap int64) Path {
	p := make(Path, n)
	for i := range p {
		p[i] = MM(r.Float64()*size, r.Float64()*size)
		if snap > 0 {
			p[i].X, p[i].Y = p[i].X/snap*snap, p[i].Y/snap*snap
		}
	}
	return p
}

// The raster judges: winding numbers at many places by the definition, before and after.
func TestAgainstRaster(t *testing.T) {
	const seed = 21
	t.Log("seed", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	for n := range 120 {
		snap := []int64{0, PerMM, 1, PerMM / 8}[n%4] // coarse grids make edges overlap and vertices fall on edges
		size := []float64{10, 10, 20.0 / PerMM, 10}[n%4]
		var a, b Region
		for range 1 + n%3 {
			a = append(a, scribble(r, 3+r.IntN(12), size, snap))
			b = append(b, scribble(r, 3+r.IntN(12), size, snap))
		}
		for _, rule := range []Rule{NonZero, Positive, EvenOdd} {
			results := map[string]Region{
				"union": Union(a, rule), "both": Both(a, b, rule), "intersection": Intersection(a, b, rule),
				"difference": Difference(a, b, rule), "either": Either(a, b, rule),
			}
			for name, got := range results {
				clean(t, got)
				for range 60 {
					at := MM(r.Float64()*size, r.Float64()*size)
					wa, onA := a.Winding(at)
					wb, onB := b.Winding(at)
					if onA || onB || nearBorder(a, at) || nearBorder(b, at) {
						continue
					}
					x, y := rule.holds(int32(wa)), rule.holds(int32(wb))
					want := map[string]bool{"union": x, "both": x || y, "intersection": x && y, "difference": x && !y, "either": x != y}[name]
					if in, on := got.Winding(at); (in == 1) != want && !on || in != 0 && in != 1 {
						t.Fatalf("case %d, %s by rule %d at %v: winding %d, want inside %v", n, name, rule, at, in, want)
					}
				}
			}
			if snap == 1 {
				continue // twenty steps wide: rounding moves areas
			}
			near(t, "areas add up", results["union"].Area()+Union(b, rule).Area(), results["both"].Area()+results["intersection"].Area(), 1e-4)
			near(t, "areas differ", results["either"].Area(), results["both"].Area()-results["intersection"].Area(), 1e-4)
		}
	}
}

// nearBorder says whether a place lies within two steps of an edge: rounding may put it on either side.
func nearBorder(r Region, at Point) bool {
	for _, p := range r {
		for i, b := range p {
			if toSegment(at, p[(i+len(p)-1)%len(p)], b) < 2 {
				return true
			}
		}
	}
	return false
}

func toSegment(p, a, b Point) float64 {
	dx, dy := float64(b.X-a.X), float64(b.Y-a.Y)
	px, py := float64(p.X-a.X), float64(p.Y-a.Y)
	t := 0.0
	if l := dx*dx + dy*dy; l > 0 {
		t = math.Max(0, math.Min(1, (px*dx+py*dy)/l))
	}
	return math.Hypot(px-t*dx, py-t*dy)
}

// Five hundred overlapping rectangles on whole millimetres: the covered area counted square by square.
func TestManyRectangles(t *testing.T) {
	const seed = 1
	t.Log("seed", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	var in Region
	var covered [120][120]bool
	for range 500 {
		x, y, w, h := r.IntN(100), r.IntN(100), 1+r.IntN(15), 1+r.IntN(15)
		in = append(in, rect(float64(x), float64(y), float64(x+w), float64(y+h)))
		for i := x; i < x+w; i++ {
			for j := y; j < y+h; j++ {
				covered[i][j] = true
			}
		}
	}
	want := 0
	for _, col := range covered {
		for _, c := range col {
			if c {
				want++
			}
		}
	}
	u := Union(in, NonZero)
	clean(t, u)
	if u.Area() != float64(want) {
		t.Errorf("area %.9f, want %d", u.Area(), want)
	}
}

func TestClosedForms(t *testing.T) {
	sq := Region{rect(0, 0, 10, 10)}
	hole := Region{rect(0, 0, 10, 10), reversed(rect(3, 3, 7, 7))}
	near(t, "inward", Offset(sq, -1, Mitre).Area(), 64, 1e-9)
	near(t, "outward", Offset(sq, 1, Mitre).Area(), 144, 1e-9)
	near(t, "outward, round", Offset(sq, 1, Round).Area(), 140+math.Pi, 2e-4)
	near(t, "gone", Offset(sq, -5.1, Mitre).Area(), 0, 1e-9)
	near(t, "ring inward", Offset(hole, -1, Mitre).Area(), 64-36, 1e-9)
	near(t, "ring inward, round", Offset(hole, -1, Round).Area(), 64-(32+math.Pi), 5e-4)
	near(t, "ring gone", Offset(hole, -1.6, Mitre).Area(), 0, 1e-9)
	near(t, "hole gone", Offset(hole, 2.1, Mitre).Area(), 14.2*14.2, 1e-5)
	// a sharp tip: two long sides meet at 20 degrees; beyond the limit the corner is squared at the distance
	tip := Region{{MM(0, 0), MM(100, -100*math.Tan(10*math.Pi/180)), MM(100, 100*math.Tan(10*math.Pi/180))}}
	low, _, _ := Offset(tip, 1, Mitre).Box()
	near(t, "squared tip", low.XMM(), -1, 1e-6)
	// an L loses a corner in, gains one out
	l := Region{{MM(0, 0), MM(10, 0), MM(10, 4), MM(4, 4), MM(4, 10), MM(0, 10)}}
	near(t, "L inward", Offset(l, -1, Mitre).Area(), 8*2+2*6, 1e-9)
	near(t, "L inward, round", Offset(l, -1, Round).Area(), 8*2+2*6+(1-math.Pi/4), 1e-4)
	// bow-tie: by winding both halves, one of them inside out
	bow := Region{{MM(0, 0), MM(10, 10), MM(10, 0), MM(0, 10)}}
	near(t, "bow-tie", Union(bow, NonZero).Area(), 50, 1e-9)
	near(t, "bow-tie, positive", Union(bow, Positive).Area(), 25, 1e-9)
	if n := len(Union(bow, NonZero)); n != 2 {
		t.Errorf("a bow-tie has %d paths", n)
	}
	// lens of two discs
	a, b := ngon(0, 0, 10, 2000), ngon(9, 0, 10, 2000)
	lens := 2*100*math.Acos(0.45) - 4.5*math.Sqrt(400-81)
	near(t, "lens", Intersection(Region{a}, Region{b}, NonZero).Area(), lens, 1e-5)
}

// Offsets against a raster: a place belongs to the region moved by d when its distance to the border says so. Round
// corners make that exact; mitred ones cover between the round region and one twice as far at corners.
func TestOffsetAgainstRaster(t *testing.T) {
	const seed = 33
	t.Log("seed", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	for n := range 60 {
		var in Region
		for range 1 + n%3 {
			if n%2 == 0 {
				in = append(in, scribble(r, 5+r.IntN(20), 20, 0))
			} else {
				in = append(in, wobbly(r, 10, 10, 4+5*r.Float64(), 150))
			}
		}
		in = Union(in, NonZero)
		clean(t, in)
		for _, d := range []float64{-1.5, -0.4, -0.05, 0.05, 0.7, 2} {
			round, mitre := Offset(in, d, Round), Offset(in, d, Mitre)
			clean(t, round)
			clean(t, mitre)
			for range 150 {
				at := MM(r.Float64()*26-3, r.Float64()*26-3)
				dist := math.Inf(1) // signed, positive outside
				for _, p := range in {
					for i, b := range p {
						dist = min(dist, toSegment(at, p[(i+len(p)-1)%len(p)], b)/PerMM)
					}
				}
				w, _ := in.Winding(at)
				if w > 0 {
					dist = -dist
				}
				slack := math.Max(math.Abs(d)/400, 0.004)
				if math.Abs(dist-d) > slack {
					if got, _ := round.Winding(at); (got == 1) != (dist < d) {
						t.Fatalf("case %d, round by %g at %v: winding %d, distance %g", n, d, at, got, dist)
					}
				}
				got, _ := mitre.Winding(at)
				if d > 0 && (dist < d-slack && got != 1 || dist > 2*d+slack && got != 0) ||
					d < 0 && (dist > d+slack && got != 0 || dist < 2*d-slack && got != 1) {
					t.Fatalf("case %d, mitred by %g at %v: winding %d, distance %g", n, d, at, got, dist)
				}
			}
		}
	}
}

// wobbly is a closed path around a centre with noise, as contours of scans are.
func wobbly(r *rand.Rand, x, y, rad float64, n int) Path {
	p := make(Path, n)
	for i := range p {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		q := rad * (1 + 0.1*math.Sin(7*float64(i)/float64(n)*2*math.Pi) + 0.01*r.NormFloat64())
		p[i] = MM(x+q*c, y+q*s)
	}
	return p
}

// Cutting corners at once gives the same region as leaving all loops to the sweep.
func TestCutCornersChangeNothing(t *testing.T) {
	const seed = 5
	t.Log("seed", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	for range 60 {
		in := Union(Region{wobbly(r, 0, 0, 8, 120), scribble(r, 12, 10, 0)}, NonZero)
		for _, d := range []float64{-1, -0.3, 0.3, 1} {
			var o offsetter
			o.d = d * PerMM
			o.uncut = true
			for _, p := range in {
				o.path(p)
			}
			near(t, fmt.Sprint("moved by ", d), Offset(in, d, Mitre).Area(), Union(o.out, Positive).Area(), 1e-6)
		}
	}
}

func TestOrderDoesNotMatter(t *testing.T) {
	const seed = 17
	r := rand.New(rand.NewPCG(seed, 0))
	var in Region
	for range 30 {
		in = append(in, ngon(r.Float64()*20, r.Float64()*20, 1+3*r.Float64(), 3+r.IntN(30)))
	}
	a := Union(in, NonZero)
	r.Shuffle(len(in), func(i, j int) { in[i], in[j] = in[j], in[i] })
	for i, p := range in {
		k := r.IntN(len(p))
		in[i] = append(slices.Clone(p[k:]), p[:k]...)
	}
	b := Union(in, NonZero)
	near(t, "area", b.Area(), a.Area(), 1e-12)
	near(t, "length", b.Length(), a.Length(), 1e-9)
	if len(a) != len(b) {
		t.Errorf("%d and %d paths", len(a), len(b))
	}
}

// Moved and turned, larger than the 2^30 steps of one piece of work, or a thousandth of a millimetre: same region.
func TestRigidMotion(t *testing.T) {
	const seed = 13
	r := rand.New(rand.NewPCG(seed, 0))
	in := Region{scribble(r, 40, 20, 0), wobbly(r, 10, 10, 8, 100)}
	want := Union(in, NonZero).Area()
	for range 5 {
		near(t, "moved", Union(in.Moved(MM(1e4*r.Float64(), -1e4)), NonZero).Area(), want, 1e-12)
		near(t, "turned", Union(in.Turned(360*r.Float64()), NonZero).Area(), want, 1e-6)
	}
	near(t, "a quarter turned", Union(in.Turned(90), NonZero).Area(), want, 1e-9)
	big := make(Region, len(in))
	for i, p := range in {
		for _, q := range p {
			big[i] = append(big[i], Point{q.X * 4096, q.Y * 4096})
		}
	}
	near(t, "enlarged", Union(big, NonZero).Area()/4096/4096, want, 1e-6)
}

func TestLeastRectangleAndSimplify(t *testing.T) {
	r := Region{rect(0, 0, 30, 10)}.Turned(33)
	q := LeastRectangle(r)
	near(t, "long side", q.LongMM, 30, 1e-5)
	near(t, "short side", q.ShortMM, 10, 1e-5)
	near(t, "angle", q.AngleDeg, 33, 1e-4)
	circle := Region{ngon(0, 0, 10, 5000)}
	s := Simplify(circle, 0.01)
	if n := s.Points(); n > 160 || n < 20 {
		t.Errorf("a circle within 0.01 mm has %d points", n)
	}
	near(t, "simplified", s.Area(), circle.Area(), 2e-3)
	for _, p := range circle[0] {
		best := math.Inf(1)
		for i, b := range s[0] {
			best = min(best, toSegment(p, s[0][(i+len(s[0])-1)%len(s[0])], b)/PerMM)
		}
		if best > 0.0101 {
			t.Fatalf("a point lies %g mm off", best)
		}
	}
	if hull := ConvexHull(Region{{MM(0, 0), MM(4, 0), MM(1, 1), MM(0, 4)}}); len(hull) != 3 {
		t.Errorf("hull %v", hull)
	}
}

func TestUnionGivesUp(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 0))
	in := Region{scribble(r, 200, 10, 0)}
	if _, ok := UnionWithin(in, NonZero, 100); ok {
		t.Error("two hundred random edges cross no more than a hundred times")
	}
	if u, ok := UnionWithin(in, NonZero, 1<<20); !ok || u.Area() != Union(in, NonZero).Area() {
		t.Error("with room the bound changes the answer")
	}
}

func TestContains(t *testing.T) {
	r := Region{rect(0, 0, 10, 10), reversed(rect(3, 3, 7, 7))}
	for at, want := range map[Point]bool{
		MM(1, 1): true, MM(5, 5): false, MM(3, 5): true, MM(10, 10): true, MM(0, 5): true, MM(11, 5): false, MM(10, 11): false, MM(-1, 3): false, MM(-1, 10): false,
	} {
		if got := r.Contains(at); got != want {
			t.Errorf("%g %g: %v", at.XMM(), at.YMM(), got)
		}
	}
}

func FuzzUnion(f *testing.F) {
	f.Add([]byte{0, 0, 9, 0, 9, 9, 0, 9, 255, 3, 3, 12, 3, 3, 12})
	f.Add([]byte{1, 1, 5, 5, 1, 5, 5, 1})
	f.Fuzz(func(t *testing.T, b []byte) {
		var r Region
		var p Path
		for len(b) >= 2 {
			if b[0] == 255 {
				r, p, b = append(r, p), nil, b[1:]
				continue
			}
			p = append(p, Point{int64(b[0]), int64(b[1])})
			b = b[2:]
		}
		r = append(r, p)
		if r.Points() > 400 {
			return
		}
		u := Union(r, NonZero)
		clean(t, u)
		clean(t, Offset(u, 3.0/PerMM, Mitre))
		clean(t, Offset(u, -2.0/PerMM, Round))
	})
}

func ExampleDifference() {
	plate := Region{rect(0, 0, 60, 40)}
	bore := Region{ngon(30, 20, 10, 360)}
	r := Difference(plate, bore, NonZero)
	fmt.Printf("%d paths, %.1f mm²\n", len(r), r.Area())
	// Output: 2 paths, 2085.9 mm²
}

func BenchmarkUnion(b *testing.B) {
	for _, n := range []int{100, 1000, 10000} {
		r := rand.New(rand.NewPCG(1, 0))
		in := Region{wobbly(r, 0, 0, 40, n), reversed(wobbly(r, 0, 0, 20, n/2))}
		b.Run(fmt.Sprintf("points=%d", in.Points()), func(b *testing.B) {
			for b.Loop() {
				Union(in, NonZero)
			}
		})
		u := Union(in, NonZero)
		b.Run(fmt.Sprintf("inward, points=%d", u.Points()), func(b *testing.B) {
			for b.Loop() {
				Offset(u, -1, Mitre)
			}
		})
	}
}
