package printability

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"firstoff/demo"
	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/part"
	"firstoff/shop"
)

// vessel is a hollow body of revolution of outer radius 20, height 40 and wall 3 with round openings of the given diameters at bottom and top;
// 0 = closed there.
func vessel(bottom, top float64) *mesh.Mesh {
	const R, H, w = 20.0, 40.0, 3.0
	b, t := bottom/2, top/2
	switch {
	case b == 0 && t == 0:
		return geomtest.Hollow(geomtest.Cylinder(R, H, 72), geomtest.Cylinder(R-w, H-2*w, 72), r3.Vec{Z: w}).Mesh
	case b == 0:
		return geomtest.Revolve("cup", 72, false, [2]float64{0, 0}, [2]float64{R, 0}, [2]float64{R, H}, [2]float64{t, H}, [2]float64{t, H - w}, [2]float64{R - w, H - w}, [2]float64{R - w, w}, [2]float64{0, w}).Mesh
	case t == 0:
		m := vessel(0, bottom)
		return m.Transformed(r3.AxisAngle(r3.Vec{X: 1}, math.Pi), 1, r3.Vec{Z: H})
	}
	return geomtest.Revolve("through", 72, true, [2]float64{b, 0}, [2]float64{R, 0}, [2]float64{R, H}, [2]float64{t, H}, [2]float64{t, H - w}, [2]float64{R - w, H - w}, [2]float64{R - w, w}, [2]float64{b, w}).Mesh
}

func process(code string) *shop.Process { return demo.Shop().Process(code) }

// TestDrains: on twenty-one vessels with known openings the escape rule says "no way out" exactly where no opening reaches the process's size,
// "one way out" where one does, nothing where two do. The trapped volume of the sealed ones is within 0.5 % of the formula.
func TestDrains(t *testing.T) {
	cases := 0
	for _, c := range []struct {
		code        string
		bottom, top float64
		want        string // "", "one", "none"
	}{
		{"PBF-LB/P", 0, 0, "none"}, {"PBF-LB/P", 0, 2, "none"}, {"PBF-LB/P", 2, 2, "none"}, {"PBF-LB/P", 3, 0, "none"}, {"PBF-LB/P", 0, 5.5, "one"}, {"PBF-LB/P", 6, 0, "one"},
		{"PBF-LB/P", 6, 6, ""}, {"PBF-LB/P", 8, 8, ""}, {"PBF-LB/P", 12, 12, ""},
		{"VPP", 0, 0, "none"}, {"VPP", 1.5, 1.5, "none"}, {"VPP", 0, 2.2, "none"}, {"VPP", 5, 0, "one"}, {"VPP", 5, 5.5, ""}, {"VPP", 10, 10, ""},
		{"PBF-LB/M", 0, 0, "none"}, {"PBF-LB/M", 1.5, 0, "none"}, {"PBF-LB/M", 0, 1.8, "none"}, {"PBF-LB/M", 4.5, 0, "one"}, {"PBF-LB/M", 4.5, 5, ""}, {"PBF-LB/M", 9, 9, ""},
	} {
		cases++
		m := vessel(c.bottom, c.top)
		if !m.Topology().Closed() {
			t.Fatalf("vessel %g %g is not closed", c.bottom, c.top)
		}
		q := Question{Facts: part.Facts{Bodies: 1, Closed: true}, Process: process(c.code), Geometry: Look(m)}
		got, value := "", 0.0
		for _, f := range escape(&q) {
			got, value = "one", f.Value
			if f.Severity == Warning {
				got = "none"
			}
		}
		if got != c.want {
			t.Errorf("%s, openings %g and %g: %q, want %q", c.code, c.bottom, c.top, got, c.want)
		}
		if c.bottom == 0 && c.top == 0 {
			want := math.Pi * 17 * 17 * 34 / 1000
			t.Logf("%s: %.4f cm³ trapped, the formula gives %.4f (%+.3f %%)", c.code, value, want, 100*(value/want-1))
			if math.Abs(value/want-1) > 0.005 {
				t.Errorf("%s: %.3f cm³ trapped, the formula gives %.3f", c.code, value, want)
			}
		}
	}
	if cases < 20 {
		t.Error("twenty cases are wanted")
	}
}

// plateWithHoles is a plate of 60 × 40 × t with round holes through it, as a revolved ring per hole would not do: a ring is enough, a hole in a disc.
func washer(hole, t float64) *mesh.Mesh { return geomtest.Tube(15, hole/2, t, 96).Mesh }

// TestCylinders: diameters, lengths and kinds of holes and pins of known bodies, in any turn.
func TestCylinders(t *testing.T) {
	r := r3.AxisAngle(r3.Vec{X: 1, Y: 2, Z: 0.3}, 0.8)
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		want []Cylinder
	}{
		{"washer", washer(6, 4), []Cylinder{{DiameterMM: 30, LengthMM: 4}, {DiameterMM: 6, LengthMM: 4, Hole: true}}},
		{"pin", geomtest.Cylinder(1.5, 40, 48).Mesh, []Cylinder{{DiameterMM: 3, LengthMM: 40}}},
		{"box", geomtest.Box(20, 30, 40).Mesh, nil},
		{"ball", geomtest.Sphere(10, 48).Mesh, nil},
		{"cone", geomtest.Cone(10, 30, 64).Mesh, nil},
		{"coarse hole", geomtest.Tube(10, 2, 8, 16).Mesh, []Cylinder{{DiameterMM: 20, LengthMM: 8}, {DiameterMM: 4, LengthMM: 8, Hole: true}}},
	} {
		for _, q := range []r3.Quat{r3.Identity, r} {
			m := c.m.Transformed(q, 1, r3.Vec{X: 3, Y: -7, Z: 11})
			got := Cylinders(m, m.Topology())
			if len(got) != len(c.want) {
				t.Errorf("%s: %d cylinders, want %d", c.name, len(got), len(c.want))
				continue
			}
			for i, w := range c.want {
				g := got[i]
				if math.Abs(g.DiameterMM-w.DiameterMM) > 0.01*w.DiameterMM || math.Abs(g.LengthMM-w.LengthMM) > 0.01 || g.Hole != w.Hole {
					t.Errorf("%s: Ø%.3f × %.3f hole %v, want Ø%g × %g hole %v", c.name, g.DiameterMM, g.LengthMM, g.Hole, w.DiameterMM, w.LengthMM, w.Hole)
				}
				if up := q.Rotate(r3.Vec{Z: 1}); math.Abs(math.Abs(g.Axis.Dot(up))-1) > 1e-4 {
					t.Errorf("%s: axis %v, want ±%v", c.name, g.Axis, up)
				}
			}
		}
	}
}

func ask(t *testing.T, m *mesh.Mesh, process string, pose *r3.Quat, change func(q *Question)) map[string]part.Finding {
	t.Helper()
	q := Question{Facts: part.Facts{Bodies: m.Bodies(), Closed: true, Triangles: m.Facets()}, Process: demo.Shop().Process(process), Geometry: Look(m), Pose: pose}
	meas := m.Measure()
	q.Facts.VolumeMM3, q.Facts.AreaMM2, q.Facts.Min, q.Facts.Max = meas.VolumeMM3, meas.AreaMM2, meas.Box.Min, meas.Box.Max
	if change != nil {
		change(&q)
	}
	out := map[string]part.Finding{}
	for _, f := range Run(q) {
		out[f.Code] = f
	}
	return out
}

// TestShapes: the rules that need the shape, each on a body built for it and on one without.
func TestShapes(t *testing.T) {
	up := r3.Identity
	side := r3.AxisAngle(r3.Vec{X: 1}, math.Pi/2)
	over := r3.AxisAngle(r3.Vec{X: 1}, math.Pi)
	value := func(f part.Finding, want, tol float64) error {
		if f.Code == "" {
			return fmt.Errorf("not found")
		}
		if math.Abs(f.Value-want) > tol {
			return fmt.Errorf("%s: value %.4g, want %.4g", f.Code, f.Value, want)
		}
		return nil
	}
	check := func(name string, err error) {
		t.Helper()
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	absent := func(name string, found map[string]part.Finding, codes ...string) {
		t.Helper()
		for _, c := range codes {
			if f, ok := found[c]; ok {
				t.Errorf("%s: %s: %s", name, c, f.Message)
			}
		}
	}
	// holes and pins
	check("small hole", value(ask(t, washer(1.2, 4), "MEX", nil, nil)["hole"], 1.2, 0.01))
	absent("fair hole", ask(t, washer(3, 4), "MEX", nil, nil), "hole", "pin")
	check("deep hole", value(ask(t, washer(2, 40), "PBF-LB/P", nil, nil)["hole"], 20, 0.1))
	check("thin pin", value(ask(t, geomtest.Cylinder(0.3, 10, 24).Mesh, "MEX", nil, nil)["pin"], 0.6, 0.01))
	check("long pin", value(ask(t, geomtest.Cylinder(1.5, 40, 48).Mesh, "MJT", nil, nil)["pin"], 40.0/3, 0.05))

	// overhang: the underside of a mushroom, π(R² − r²)
	mushroom := geomtest.Revolve("mushroom", 96, false, [2]float64{0, 0}, [2]float64{5, 0}, [2]float64{5, 20}, [2]float64{20, 20}, [2]float64{20, 26}, [2]float64{0, 26}).Mesh
	check("mushroom", value(ask(t, mushroom, "MEX", &up, nil)["overhang"], math.Pi*(400-25), 3))
	absent("mushroom head down", ask(t, mushroom, "MEX", &over, nil), "overhang", "island")
	// a gallows: the tooth under its beam begins in the air
	at := func(b geomtest.Solid, x, y, z float64) *mesh.Mesh {
		return b.Mesh.Transformed(r3.Identity, 1, r3.Vec{X: x, Y: y, Z: z})
	}
	gallows := mesh.Merge(at(geomtest.Box(5, 5, 30), 0, 0, 0), at(geomtest.Box(30, 5, 5), 0, 0, 25), at(geomtest.Box(5, 5, 16), 25, 0, 10))
	check("gallows", value(ask(t, gallows, "MEX", &up, nil)["island"], 1, 0))
	absent("gallows lying", ask(t, gallows, "MEX", &side, nil), "island")
	// tip-over: a tall rod, atan(r/(h/2))
	rod := geomtest.Cylinder(2, 60, 64).Mesh
	check("rod", value(ask(t, rod, "MEX", &up, nil)["tip_over"], math.Atan2(2*math.Cos(math.Pi/64), 30)*180/math.Pi, 0.05))
	absent("rod lying", ask(t, geomtest.Box(60, 20, 20).Mesh, "MEX", &up, nil), "tip_over")
	// cup: a beaker upside down on its rim is closed by the layer of its own bottom only; the right way up it is open above, and its inside shut layer by layer
	cup := vessel(0, 34)
	f := ask(t, cup, "VPP", &up, nil)["cup"]
	check("beaker", value(f, math.Pi*17*17, 40))
	absent("beaker on its rim, vented below", ask(t, cup, "VPP", &over, nil), "cup")
	// relief: a plate with a raised mark of 0.15 mm
	mark := mesh.Merge(geomtest.Box(40, 30, 5).Mesh, geomtest.Box(6, 6, 0.15).Mesh.Transformed(r3.Identity, 1, r3.Vec{X: 10, Y: 10, Z: 5}))
	check("low mark", value(ask(t, mark, "MEX", nil, func(q *Question) { q.LayerMM = 0.254 })["relief"], 0.15, 0.001))
	absent("low mark in fine layers", ask(t, mark, "MJT", nil, func(q *Question) { q.LayerMM = 0.028 }), "relief")
	// lump: a ball of 30 on a plate of 2
	club := mesh.Merge(geomtest.Sphere(15, 48).Mesh, geomtest.Box(200, 200, 2).Mesh.Transformed(r3.Identity, 1, r3.Vec{X: -100, Y: -100, Z: -1}))
	check("lump", value(ask(t, club, "CAST", nil, func(q *Question) { q.Facts.MedianWallMM = 2 })["lump"], 30, 2.5))
	absent("lump, jetted", ask(t, club, "MJT", nil, func(q *Question) { q.Facts.MedianWallMM = 2 }), "lump")
	absent("block", ask(t, geomtest.Box(40, 40, 40).Mesh, "CAST", nil, func(q *Question) { q.Facts.MedianWallMM = 9 }), "lump")
	// two bodies 0.2 apart
	two := mesh.Merge(geomtest.Box(10, 10, 10).Mesh, geomtest.Box(10, 10, 10).Mesh.Transformed(r3.Identity, 1, r3.Vec{X: 10.2}))
	check("near bodies", value(ask(t, two, "MEX", nil, nil)["touch"], 0.2, 1e-4))
	// roughness: a wedge's slope in coarse layers; the formula of the stair
	wedge := geomtest.Wedge(60, 40, 30).Mesh
	g := Look(wedge)
	mean, worst, _ := g.Roughness(r3.Identity, 0.5, 0)
	if want := 0.5 * 2 / math.Sqrt(5) / 4 * 1000; math.Abs(worst-want) > 0.5 || mean <= 0 || mean > worst {
		t.Errorf("wedge: worst Ra %.1f µm, want %.1f; mean %.1f", worst, want, mean)
	}
}

// TestSplits: least cuts on bodies where they are known.
func TestSplits(t *testing.T) {
	room := Space{Name: "bench", Envelope: shop.Envelope{X: 100, Y: 100, Z: 100}}
	// a dumb-bell: two discs of 40 and a bar between; the one cut goes through the bar
	bell := geomtest.Revolve("bell", 96, false, [2]float64{0, 0}, [2]float64{40, 0}, [2]float64{40, 60}, [2]float64{10, 60}, [2]float64{10, 120}, [2]float64{40, 120}, [2]float64{40, 180}, [2]float64{0, 180}).Mesh
	sp, ok := Look(bell).Splits([]Space{room})
	if want := math.Pi * 100; !ok || sp.Pieces != 2 || len(sp.Cuts) != 1 || math.Abs(sp.JointMM2/want-1) > 0.01 || math.Abs(sp.Cuts[0].AtMM-90) > 12 || math.Abs(math.Abs(sp.Cuts[0].Normal.Z)-1) > 1e-9 {
		t.Errorf("dumb-bell: %+v", sp)
	}
	// a block of 150 × 90 × 90 turned askew: two pieces, 8100 mm²
	q := r3.AxisAngle(r3.Vec{X: 1, Y: 1, Z: 0.2}, 0.6)
	sp, ok = Look(geomtest.Box(150, 90, 90).Mesh.Transformed(q, 1, r3.Vec{})).Splits([]Space{room})
	if !ok || sp.Pieces != 2 || math.Abs(sp.JointMM2/8100-1) > 0.01 {
		t.Errorf("block: %+v", sp)
	}
	// four pieces of a plate of 180 × 180
	sp, ok = Look(geomtest.Box(180, 180, 20).Mesh).Splits([]Space{room})
	if !ok || sp.Pieces != 4 || len(sp.Cuts) != 2 || math.Abs(sp.JointMM2-7200) > 72 || sp.HandsS <= 0 {
		t.Errorf("plate: %+v", sp)
	}
}

// TestSameFindings: the findings are the same a second time and in the same order.
func TestSameFindings(t *testing.T) {
	cat := demo.Shop()
	m := vessel(0, 2)
	meas := m.Measure()
	f := part.Facts{Bodies: 1, Triangles: m.Facets(), Closed: true, VolumeMM3: meas.VolumeMM3, AreaMM2: meas.AreaMM2, Min: meas.Box.Min, Max: meas.Box.Max, OrientedMM: [3]float64{40, 40, 40}, MinWallMM: 0.9, MedianWallMM: 3}
	text := func() (s string) {
		for _, x := range Shop(f, part.Requirement{ToleranceMM: 0.2}, Look(m), cat) {
			s += fmt.Sprintln(x.Process, x.Code, x.Severity, x.Message)
		}
		return s
	}
	first := text()
	if first == "" {
		t.Fatal("nothing found")
	}
	for range 3 {
		if again := text(); again != first {
			t.Fatalf("first\n%s\nthen\n%s", first, again)
		}
	}
}

var _ = slices.Index[[]int]
