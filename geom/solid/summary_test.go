package solid

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"testing"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

func within(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.Abs(got-want) > rel*math.Max(1e-9, math.Abs(want)) {
		t.Errorf("%s: got %.9g, want %.9g (off by %.2g, allowed %.2g)", what, got, want, math.Abs(got-want)/math.Abs(want), rel)
	}
}

func summarised(t *testing.T, m *mesh.Mesh, h float64, o Options) *Summary {
	t.Helper()
	s, err := Summarise(m, r3.Identity, h, o)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// A table: top 40 x 20 x 2 on a stem 4 x 4 x 10. Supports fill the air under the top.
func TestTable(t *testing.T) {
	m := mesh.Merge(box(v(-20, -10, 10), v(20, 10, 12)), box(v(-2, -2, 0), v(2, 2, 10.5)))
	s := summarised(t, m, 0.25, Options{SelfSupportDeg: 45, SkinLayers: 2, InterfaceLayers: 3, Cell: 0.25})
	if len(s.Layers) != 48 {
		t.Fatalf("%d layers", len(s.Layers))
	}
	air := 800.0 - 16
	within(t, "volume", s.VolumeMM3, 1600+160, 1e-9)
	within(t, "support volume", s.SupportVolumeMM3, air*10, 1e-9)
	within(t, "contact", s.SupportContactMM2, air, 1e-9)
	within(t, "plate", s.SupportPlateMM2, air, 1e-9)
	within(t, "landing", s.SupportLandingMM2, 0, 1e-9)
	within(t, "base", s.BaseMM2, 16, 1e-9)
	for k, l := range s.Layers {
		top, bottom, iface := 0.0, 0.0, 0.0
		switch {
		case k >= 46:
			top = 800
		case k == 40 || k == 41:
			bottom = air
		case k < 2:
			bottom = 16
		}
		if k >= 37 && k < 40 {
			iface = air
		}
		if math.Abs(l.TopSkinMM2-top) > 1e-6 || math.Abs(l.BottomSkinMM2-bottom) > 1e-6 || math.Abs(l.SupportInterfaceMM2-iface) > 1e-6 {
			t.Errorf("layer %d: %+v", k, l)
		}
	}
	// The outline of a 40 x 20 frame around a 4 x 4 hole, as four directions see it: between 5 % less and 5 % more.
	within(t, "support outline", s.Layers[0].SupportPerimeterMM, 120+16, 0.06)
}

// A ball on the plate: what hangs over is the cap below 45°, a disc of r·sin 45° in plan; columns end on the plate.
func TestBallSupport(t *testing.T) {
	r := 12.0
	m := sphere(v(0, 0, r), r, 120)
	for _, h := range []float64{0.1, 0.254} {
		s := summarised(t, m, h, Options{SelfSupportDeg: 45, Cell: 0.15})
		// height under the ball at distance x from the axis: r - sqrt(r^2-x^2), over a disc of radius r/sqrt 2
		c := r / math.Sqrt2
		want := math.Pi*c*c*r - 2*math.Pi/3*(r*r*r-math.Pow(r*r-c*c, 1.5))
		within(t, fmt.Sprint("support at layer ", h), s.SupportVolumeMM3, want, 0.02)
		within(t, "overhang", s.OverhangMM2, 2*math.Pi*r*r*(1-math.Sqrt2/2), 0.02)
		within(t, "volume", s.VolumeMM3, 4./3*math.Pi*r*r*r, 1e-3)
	}
}

// A roof over a block: supports stand on the part, and an inside-out or overlapping shell changes nothing.
func TestSupportLandsOnPart(t *testing.T) {
	base, post, roof := box(v(0, 0, 0), v(20, 10, 4)), box(v(0, 0, 3), v(2, 10, 12)), box(v(0, 0, 10), v(20, 10, 12))
	m := mesh.Merge(base, post, roof)
	s := summarised(t, m, 0.2, Options{SelfSupportDeg: 45, SkinLayers: 1, Cell: 0.2})
	within(t, "volume", s.VolumeMM3, 800+2*10*6+400, 1e-9)
	within(t, "support", s.SupportVolumeMM3, 18*10*6, 1e-9)
	within(t, "landing", s.SupportLandingMM2, 180, 1e-9)
	within(t, "contact", s.SupportContactMM2, 180, 1e-9)
	within(t, "plate", s.SupportPlateMM2, 0, 1e-9)
	over := 0
	for _, l := range s.Layers {
		if l.Overlap {
			over++
		}
	}
	if over != 15 {
		t.Errorf("%d layers overlap, want those between 3 and 4 and between 10 and 12 mm: 15", over)
	}
}

// A cone on its tip has only steep facets, but its tip starts in the air.
func TestTipStartsInTheAir(t *testing.T) {
	stand := box(v(-8, -8, 0), v(8, 8, 1))
	cone := lathe(60, [2]float64{0, 5}, [2]float64{4, 15}, [2]float64{0, 15})
	s := summarised(t, mesh.Merge(stand, cone), 0.25, Options{SelfSupportDeg: 45, Cell: 0.2})
	if s.SupportVolumeMM3 <= 0 || s.SupportVolumeMM3 > 4*math.Pi*0.5*0.5+1 {
		t.Errorf("support under the tip: %g mm³", s.SupportVolumeMM3)
	}
	onPlate := summarised(t, cone.Transformed(r3.AxisAngle(v(1, 0, 0), math.Pi), 1, r3.Vec{}), 0.25, Options{SelfSupportDeg: 45, Cell: 0.2})
	if onPlate.SupportVolumeMM3 != 0 {
		t.Errorf("a cone on its base needs %g mm³ of support", onPlate.SupportVolumeMM3)
	}
}

// Steep walls need nothing, whatever the cell and the layer.
func TestNoFalseSupports(t *testing.T) {
	for _, slope := range []float64{46, 60, 89} {
		k := 10 / math.Tan(slope*math.Pi/180)
		m := lathe(48, [2]float64{0, 0}, [2]float64{5, 0}, [2]float64{5 + k, 10}, [2]float64{0, 10})
		for _, c := range []float64{0.1, 0.23, 0.5} {
			for _, h := range []float64{0.05, 0.254, 0.5} {
				s := summarised(t, m, h, Options{SelfSupportDeg: 45, Cell: c})
				if s.SupportVolumeMM3 != 0 {
					t.Errorf("slope %g, cell %g, layer %g: %g mm³ of support", slope, c, h, s.SupportVolumeMM3)
				}
			}
		}
	}
	// ... and just too flat walls need nearly all of the air under them.
	k := 10 / math.Tan(44*math.Pi/180)
	m := lathe(240, [2]float64{0, 0}, [2]float64{5, 0}, [2]float64{5 + k, 10}, [2]float64{0, 10})
	s := summarised(t, m, 0.2, Options{SelfSupportDeg: 45, Cell: 0.2})
	air := math.Pi*(5+k)*(5+k)*10 - math.Pi/3*10*(25+5*(5+k)+(5+k)*(5+k))
	within(t, "air under a flat cone", s.SupportVolumeMM3, air, 0.02)
}

func TestSameBitsOnAnyCores(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	m := torus(20, 5, 90)
	var want string
	for _, n := range []int{1, 2, 5} {
		runtime.GOMAXPROCS(n)
		s, err := Summarise(m, r3.AxisAngle(v(1, 1, 0), 0.7), 0.1, Options{SelfSupportDeg: 45, SkinLayers: 4, InterfaceLayers: 2})
		if err != nil {
			t.Fatal(err)
		}
		got := fmt.Sprintf("%+v", *s)
		if want == "" {
			want = got
		}
		if got != want {
			t.Fatalf("%d cores give other bits", n)
		}
	}
}

// Slabs change nothing.
func TestSlabs(t *testing.T) {
	m := torus(20, 5, 90)
	pose := r3.AxisAngle(v(1, 1, 0), 0.7)
	o := Options{SelfSupportDeg: 45, SkinLayers: 3, InterfaceLayers: 2, Cell: 0.2}
	a, _ := Summarise(m, pose, 0.03, o) // 900 layers: several slabs
	st, err := Rasterise(m, pose, 0.2, 0.03, 0)
	if err != nil {
		t.Fatal(err)
	}
	if len(a.Layers) <= 3*slabLayers {
		t.Fatal("too few layers to test slabs")
	}
	sup := Supports(st, m, pose, 45)
	scale := a.SupportVolumeMM3 / sup.Volume()
	if scale < 0.98 || scale > 1.02 {
		t.Errorf("support from slabs is %g of the whole", scale)
	}
	for k, l := range a.Layers {
		within(t, fmt.Sprint("support of layer ", k), l.SupportMM2, float64(count(sup.Plane(k)))*0.04*scale, 1e-9)
	}
}

func TestRigidMotion(t *testing.T) {
	const seed = 11
	t.Log("seed", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	m := mesh.Merge(torus(20, 5, 60), sphere(v(0, 0, 9), 8, 40))
	o := Options{SelfSupportDeg: 45, SkinLayers: 3, InterfaceLayers: 2, Cell: 0.25}
	for range 4 {
		q := r3.Quat{W: r.NormFloat64(), X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Unit()
		a, _ := Summarise(m, q, 0.25, o)
		b, err := Summarise(m.Transformed(q, 1, v(31, -7, 2)), r3.Identity, 0.25, o)
		if err != nil {
			t.Fatal(err)
		}
		within(t, "volume", b.VolumeMM3, a.VolumeMM3, 1e-4)
		within(t, "support", b.SupportVolumeMM3, a.SupportVolumeMM3, 1e-2)
		// turned about the vertical: other cells, same part
		c, _ := Summarise(m, r3.AxisAngle(v(0, 0, 1), 0.5).Times(q), 0.25, o)
		within(t, "volume, turned about z", c.VolumeMM3, a.VolumeMM3, 1e-3)
		within(t, "support, turned about z", c.SupportVolumeMM3, a.SupportVolumeMM3, 2e-2)
		// inches
		oi := o
		oi.Cell *= 25.4
		d, _ := Summarise(m.Transformed(r3.Identity, 25.4, r3.Vec{}), q, 0.25*25.4, oi)
		within(t, "support, other unit", d.SupportVolumeMM3/25.4/25.4/25.4, a.SupportVolumeMM3, 1e-2)
	}
}

func TestSummariseRefuses(t *testing.T) {
	m := box(v(0, 0, 0), v(1000, 1000, 10))
	for _, o := range []Options{{Cell: -1}, {Cell: math.NaN()}, {Cell: 1e-4}} {
		if _, err := Summarise(m, r3.Identity, 0.1, o); err == nil {
			t.Errorf("cell %g was accepted", o.Cell)
		}
	}
	if s, err := Summarise(&mesh.Mesh{}, r3.Identity, 0.1, Options{SelfSupportDeg: 45}); err != nil || len(s.Layers) != 0 {
		t.Errorf("the empty mesh: %v", err)
	}
}

// Whatever a reader may let through: triangles without any order, twins, needles, points, tiny and huge. An answer or a
// refusal, and finite numbers.
func TestSoups(t *testing.T) {
	const seed = 41
	t.Log("seed", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	refused := 0
	for n := range 20 {
		size := []float64{1e-6, 1, 20, 300, 1e12}[n%5]
		m := &mesh.Mesh{}
		for range 3 * (3 + n) {
			m.Pos = append(m.Pos, float32((r.Float64()-0.5)*size), float32((r.Float64()-0.5)*size), float32(float64(r.IntN(4))*size/4))
		}
		for range 4 * (n + 1) {
			for range 3 {
				m.Tri = append(m.Tri, uint32(r.IntN(m.Vertices())))
			}
		}
		s, err := Summarise(m, r3.AxisAngle(v(1, 1, 1), float64(n)), 0.5, Options{SelfSupportDeg: 45, SkinLayers: 2})
		if err != nil {
			refused++
			continue
		}
		for _, l := range s.Layers {
			if math.IsNaN(l.AreaMM2+l.PerimeterMM+l.TopSkinMM2+l.SupportMM2+l.SupportPerimeterMM) || l.AreaMM2 < 0 {
				t.Fatalf("soup %d: %+v", n, l)
			}
		}
	}
	if refused == 0 || refused > 12 {
		t.Errorf("%d soups refused", refused)
	}
}

func ExampleSummarise() {
	table := mesh.Merge(box(v(-20, -10, 10), v(20, 10, 12)), box(v(-2, -2, 0), v(2, 2, 10.5)))
	s, err := Summarise(table, r3.Identity, 0.25, Options{SelfSupportDeg: 45, SkinLayers: 4, Cell: 0.25})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%d layers, %.0f mm³, support %.0f mm³ touching %.0f mm²\n", len(s.Layers), s.VolumeMM3, s.SupportVolumeMM3, s.SupportContactMM2)
	// Output: 48 layers, 1760 mm³, support 7840 mm³ touching 784 mm²
}
