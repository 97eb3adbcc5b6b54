package section

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"testing"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.Abs(got-want) > rel*math.Max(1e-12, math.Abs(want)) {
		t.Errorf("%s: got %.12g, want %.12g (off by %.2g, allowed %.2g)", what, got, want, math.Abs(got/want-1), rel)
	}
}

func TestClosedForms(t *testing.T) {
	b := Slice(box(v(1, 2, 3), v(11, 7, 5)), r3.Identity, 0.25)
	if len(b.Layers) != 8 {
		t.Fatalf("a 2 mm box in 0.25 mm layers has %d layers", len(b.Layers))
	}
	for i, l := range b.Layers {
		near(t, "box area", l.Area, 50, 1e-12)
		near(t, "box perimeter", l.Perimeter, 30, 1e-12)
		near(t, "plane", l.Z, 3+(float64(i)+.5)*.25, 1e-12)
		if l.Loops != 1 || l.Outer != 1 || l.Open != 0 || l.Corners() != 4 || l.Turns[0] != 0 || l.MinX != 1 || l.MaxY != 7 {
			t.Errorf("layer %d: %+v", i, l)
		}
	}
	// A tube: an n-gon prism ring has area n/2 sin(2 pi/n) (R^2 - r^2).
	n := 90
	tube := Slice(lathe(n, [2]float64{5, 0}, [2]float64{8, 0}, [2]float64{8, 20}, [2]float64{5, 20}), r3.Identity, 0.3)
	k := float64(n) / 2 * math.Sin(2*math.Pi/float64(n))
	for _, l := range tube.Layers {
		near(t, "tube area", l.Area, k*(64-25), 1e-6)
		near(t, "tube perimeter", l.Perimeter, 2*float64(n)*math.Sin(math.Pi/float64(n))*13, 1e-6)
		if l.Loops != 2 || l.Outer != 1 || l.Corners() != 0 {
			t.Errorf("%+v", l)
		}
	}
	// A torus: 2 pi^2 R r^2; the layer at height z is a ring of area 4 pi R sqrt(r^2 - z^2).
	st := Slice(torus(20, 5, 200), r3.Identity, 0.1)
	near(t, "torus volume", st.Volume(), 2*math.Pi*math.Pi*20*25, 5e-4)
	for _, l := range st.Layers[20:80] {
		near(t, "torus ring", l.Area, 4*math.Pi*20*math.Sqrt(25-l.Z*l.Z), 1e-3)
	}
}

// A vertex, an edge and a face on a plane count as above it: nothing is lost or doubled.
func TestPlaneThroughVertices(t *testing.T) {
	// Height 3 in layers of 2: planes at 1; the waist vertices of this double cone lie exactly there.
	m := lathe(16, [2]float64{0, 0}, [2]float64{4, 1}, [2]float64{0, 3})
	st := Slice(m, r3.Identity, 2)
	if len(st.Layers) != 1 || st.Layers[0].Open != 0 || st.Layers[0].Loops != 1 {
		t.Fatalf("%+v", st.Layers)
	}
	near(t, "waist", st.Layers[0].Area, 8*math.Sin(math.Pi/8)*16, 1e-6)
	// Steps whose treads lie on planes: heights 1, 2, 3 in layers of 2.
	steps := mesh.FromSoup(append(append(box(v(0, 0, 0), v(3, 1, 1)).Soup(), box(v(0, 0, 1), v(2, 1, 2)).Soup()...), box(v(0, 0, 2), v(1, 1, 3)).Soup()...))
	st = Slice(steps, r3.Identity, 2)
	if len(st.Layers) != 1 {
		t.Fatalf("%d layers", len(st.Layers))
	}
	near(t, "tread", st.Layers[0].Area, 3, 1e-12) // what ends on the plane is cut, what starts on it is not
}

func TestSignedSumsAndNesting(t *testing.T) {
	outer, hole, island := box(v(0, 0, 0), v(10, 10, 10)), flipped(box(v(2, 2, 2), v(8, 8, 8))), box(v(4, 4, 4), v(6, 6, 6))
	st := Slice(mesh.Merge(outer, hole, island), r3.Identity, 0.5)
	near(t, "volume", st.Volume(), 1000-216+8, 1e-12)
	c := st.Contours(10)
	if c.Len() != 3 {
		t.Fatalf("%d contours", c.Len())
	}
	nest := fmt.Sprint(c.Nest())
	if nest != "[-1 0 1]" {
		t.Errorf("nesting %s", nest)
	}
	if a := Area(c.Contour(1)); a != -36 {
		t.Errorf("hole area %g", a)
	}
}

func TestOpenSurfaceIsBridged(t *testing.T) {
	// A box without two facets of one side: each layer has one gap.
	m := box(v(0, 0, 0), v(10, 10, 10))
	m.Tri = m.Tri[:len(m.Tri)-6]
	st := Slice(m, r3.Identity, 0.5)
	for _, l := range st.Layers {
		near(t, "area", l.Area, 100, 1e-12)
		if l.Open != 1 || l.Loops != 1 {
			t.Fatalf("%+v", l)
		}
	}
	// Two opposite sides gone: two chains, joined across the gaps, not each on itself.
	m = box(v(0, 0, 0), v(10, 2, 10))
	m.Tri = m.Tri[:24]
	st = Slice(m, r3.Identity, 0.5)
	for _, l := range st.Layers {
		near(t, "joined area", math.Abs(l.Area), 20, 1e-12)
	}
}

func TestRefusals(t *testing.T) {
	m := box(v(0, 0, 0), v(1, 1, 1))
	for _, h := range []float64{0, -1, math.NaN(), math.Inf(1), 1e-9} {
		if st := Slice(m, r3.Identity, h); st.Err == nil || len(st.Layers) != 0 {
			t.Errorf("h = %g: %v", h, st.Err)
		}
	}
	m.Pos[4] = float32(math.NaN())
	if Slice(m, r3.Identity, 0.1).Err == nil {
		t.Error("a coordinate that is no number was accepted")
	}
	if st := Slice(&mesh.Mesh{}, r3.Identity, 0.1); st.Err != nil || len(st.Layers) != 0 {
		t.Errorf("the empty mesh: %v", st.Err)
	}
}

func randomPose(r *rand.Rand) r3.Quat {
	return r3.Quat{W: r.NormFloat64(), X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Unit()
}

// Turning the part, then posing it, is posing it turned; scaling the part and the layers scales the answer.
func TestRigidMotion(t *testing.T) {
	const seed = 7
	t.Log("seed", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	m := torus(20, 5, 40)
	for range 10 {
		q, p := randomPose(r), randomPose(r)
		a := Slice(m, p.Times(q), 0.4)
		b := Slice(m.Transformed(q, 1, v(r.Float64()*50, r.Float64()*50, r.Float64()*50)), p, 0.4)
		near(t, "volume", b.Volume(), a.Volume(), 1e-5)
		c := Slice(m.Transformed(q, 25.4, r3.Vec{}), p, 0.4*25.4)
		near(t, "volume in other units", c.Volume()/25.4/25.4/25.4, a.Volume(), 1e-5)
		if math.Abs(float64(len(a.Layers)-len(b.Layers))) > 1 {
			t.Errorf("%d and %d layers", len(a.Layers), len(b.Layers))
		}
	}
}

func TestSameBitsOnAnyCores(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	m := torus(20, 5, 300)
	pose := r3.AxisAngle(v(1, 2, 3), 1)
	var want string
	for _, n := range []int{1, 2, 7} {
		runtime.GOMAXPROCS(n)
		st := Slice(m, pose, 0.05)
		got := fmt.Sprint(st.Layers, st.Contours(77).Points[:10])
		if want == "" {
			want = got
		}
		if got != want {
			t.Fatalf("%d cores give other bits than one", n)
		}
	}
}

// Chains carried from layer to layer are the ones a fresh cut finds, up to where each contour starts.
func TestMovedChainsAreTheChains(t *testing.T) {
	s, err := New(torus(20, 5, 60), r3.AxisAngle(v(1, 0, 0), 0.3), 0.02)
	if err != nil {
		t.Fatal(err)
	}
	var w Work
	moved := 0
	for i := range s.Layers() {
		if !s.fresh[i] {
			moved++
		}
		a := s.Layer(i, &w).Measure()
		var fresh Work
		b := s.Layer(i, &fresh).Measure()
		near(t, "area", a.Area, b.Area, 1e-12)
		near(t, "perimeter", a.Perimeter, b.Perimeter, 1e-12)
		if a.Loops != b.Loops || a.Points != b.Points || a.Turns != b.Turns {
			t.Fatalf("layer %d: %+v and %+v", i, a, b)
		}
	}
	if moved == 0 {
		t.Fatal("nothing was carried over: the test tests nothing")
	}
}

// Lists shared by several layers (very long facets) give the same contours.
func TestSharedLists(t *testing.T) {
	s, _ := New(torus(20, 5, 50), r3.Identity, 0.1)
	u := *s
	u.share = 8
	lists := (len(u.z) + 7) / 8
	c := u.count(0, len(u.tri)/3, lists)
	u.off = make([]int64, lists+1)
	for i, n := range c {
		u.off[i+1] = u.off[i] + int64(n)
	}
	u.list = make([]uint32, u.off[lists])
	u.fill(0, len(u.tri)/3, append([]int64(nil), u.off[:lists]...))
	for i := range s.Layers() {
		var v, w Work
		a, b := s.Layer(i, &v).Measure(), u.Layer(i, &w).Measure()
		if a != b {
			t.Fatalf("layer %d: %+v and %+v", i, a, b)
		}
	}
}

func ExampleSlice() {
	st := Slice(box(v(0, 0, 0), v(40, 20, 10)), r3.Identity, 0.25)
	l := st.Layers[0]
	fmt.Printf("%d layers of %.0f mm², %.0f mm around\n", len(st.Layers), l.Area, l.Perimeter)
	// Output: 40 layers of 800 mm², 120 mm around
}

func BenchmarkSlice(b *testing.B) {
	for _, n := range []int{50, 160, 500} {
		m := torus(50, 20, n)
		b.Run(fmt.Sprintf("facets=%d", m.Facets()), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				Slice(m, r3.Identity, 0.25)
			}
		})
	}
}
