package printability

import (
	"math"
	"slices"
	"testing"

	"firstoff/demo"
	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/part"
)

// prism is an upright prism over a polygon that its first point sees whole, mm.
func prism(h float64, p ...[2]float64) *mesh.Mesh {
	var s []float32
	tri := func(v ...[3]float64) {
		for _, c := range v {
			s = append(s, float32(c[0]), float32(c[1]), float32(c[2]))
		}
	}
	n := len(p)
	at := func(i int, z float64) [3]float64 { return [3]float64{p[i%n][0], p[i%n][1], z} }
	for i := 1; i+1 < n; i++ {
		tri(at(0, h), at(i, h), at(i+1, h))
		tri(at(0, 0), at(i+1, 0), at(i, 0))
	}
	for i := 0; i < n; i++ {
		tri(at(i, 0), at(i+1, 0), at(i+1, h))
		tri(at(i, 0), at(i+1, h), at(i, h))
	}
	return mesh.FromSoup(s)
}

func disc(r, h float64, n int) *mesh.Mesh {
	var p [][2]float64
	for i := 0; i < n; i++ {
		a := 2 * math.Pi * float64(i) / float64(n)
		p = append(p, [2]float64{r * math.Cos(a), r * math.Sin(a)})
	}
	return prism(h, p...)
}

func sound() part.Facts {
	return part.Facts{Bodies: 1, Triangles: 12, Closed: true, VolumeMM3: 48000, AreaMM2: 8800, Max: r3.Vec{X: 60, Y: 40, Z: 20},
		OrientedMM: [3]float64{60, 40, 20}, MinWallMM: 4, MedianWallMM: 18}
}

// TestRules: each rule finds what is made to be found, and nothing on the sound block beside it.
func TestRules(t *testing.T) {
	cat := demo.Shop()
	for _, f := range Shop(sound(), part.Requirement{}, Look(prism(20, [2]float64{0, 0}, [2]float64{60, 0}, [2]float64{60, 40}, [2]float64{0, 40})), cat) {
		t.Errorf("on a sound block: %s %s: %s", f.Process, f.Code, f.Message)
	}
	for _, c := range []struct {
		code, severity, process string
		value                   float64
		facts                   func(f *part.Facts)
		req                     part.Requirement
		mesh                    *mesh.Mesh
	}{
		{code: "open_surface", severity: Warning, facts: func(f *part.Facts) { f.Closed = false }},
		{code: "mended", severity: Note, value: 1, facts: func(f *part.Facts) { f.Mended = []string{"3 cracks joined"} }},
		{code: "size", severity: Warning, value: 1.5, facts: func(f *part.Facts) { f.Max = r3.Vec{X: 1.5, Y: 1, Z: 1} }},
		{code: "bodies", severity: Note, value: 4, facts: func(f *part.Facts) { f.Bodies = 4 }},
		{code: "slender", severity: Warning, value: 20, facts: func(f *part.Facts) { f.OrientedMM = [3]float64{200, 10, 10} }},
		{code: "wall", severity: Warning, process: "MEX", value: 0.9, facts: func(f *part.Facts) { f.MinWallMM = 0.9 }},
		{code: "wall", severity: Stop, process: "MEX", value: 0.55, facts: func(f *part.Facts) { f.MinWallMM = 0.55 }},
		{code: "wall", severity: Note, process: "MJT", value: 0.9, facts: func(f *part.Facts) { f.MinWallMM = 0.9 }},
		{code: "gap", severity: Warning, process: "PBF-LB/P", value: 0.2, facts: func(f *part.Facts) { f.MinGapMM = 0.2 }},
		{code: "trapped", severity: Warning, process: "PBF-LB/P", value: 5, facts: func(f *part.Facts) { f.TrappedMM3 = 5000 }},
		{code: "trapped", severity: Stop, process: "CNC", value: 5, facts: func(f *part.Facts) { f.TrappedMM3 = 5000 }},
		{code: "tolerance", severity: Stop, process: "PBF-LB/P", value: 0.1, req: part.Requirement{ToleranceMM: 0.1}},
		{code: "tolerance", severity: Warning, process: "MEX", value: 0.1, req: part.Requirement{ToleranceMM: 0.1}},
		{code: "warp", severity: Warning, process: "PBF-LB/M", value: 240, facts: func(f *part.Facts) { f.OrientedMM = [3]float64{240, 150, 3} }},
		{code: "fit", severity: Stop, process: "MJT", value: 600, facts: func(f *part.Facts) { f.OrientedMM = [3]float64{600, 60, 40} }},
		// an 18-gon of radius 30: e = r(1 − cos(π/n))
		{code: "sagitta", severity: Warning, value: 30 * (1 - math.Cos(math.Pi/18)), req: part.Requirement{ToleranceMM: 0.2}, mesh: disc(30, 10, 18)},
		{code: "knife_edge", severity: Warning, value: 20, mesh: prism(20, [2]float64{0, 0}, [2]float64{50, 0}, [2]float64{50, 8})},
	} {
		f := sound()
		if c.facts != nil {
			c.facts(&f)
		}
		var g *Geometry
		if c.mesh != nil {
			g = Look(c.mesh)
		}
		all := Shop(f, c.req, g, cat)
		i := slices.IndexFunc(all, func(x part.Finding) bool { return x.Code == c.code && x.Process == c.process })
		if i < 0 {
			t.Errorf("%s %s not found among %d", c.code, c.process, len(all))
			continue
		}
		if x := all[i]; x.Severity != c.severity || math.Abs(x.Value-c.value) > 0.01*c.value || x.Message == "" || x.Source == "" {
			t.Errorf("%s %s: %s, value %.4g (want %s %.4g): %s [%s]", c.code, c.process, x.Severity, x.Value, c.severity, c.value, x.Message, x.Source)
		}
	}
}

// TestSagittaOfPolygons: the rule's chord form equals e = r(1 − cos(π/n)).
func TestSagittaOfPolygons(t *testing.T) {
	for n := 6; n < 400; n += 7 {
		r := 12.5
		want := r * (1 - math.Cos(math.Pi/float64(n)))
		got := Sagitta(2*r*math.Sin(math.Pi/float64(n)), 2*math.Pi/float64(n))
		if math.Abs(got-want) > 1e-12 {
			t.Fatalf("n = %d: %.12g, want %.12g", n, got, want)
		}
	}
}

// BenchmarkShop is all findings of parts of 100 000 facets for every process of the shop: a plain one and one full of pores.
func BenchmarkShop(b *testing.B) {
	cat := demo.Shop()
	for _, s := range []geomtest.Solid{geomtest.Torus(25, 9, 320, 160), geomtest.Gyroid(60, 30, 3, 100000)} {
		meas := s.Mesh.Measure()
		f := part.Facts{Bodies: 1, Triangles: s.Mesh.Facets(), Closed: true, VolumeMM3: meas.VolumeMM3, AreaMM2: meas.AreaMM2, Min: meas.Box.Min, Max: meas.Box.Max, OrientedMM: [3]float64{60, 60, 60}, MinWallMM: 2.5, MedianWallMM: 3}
		b.Run(s.Name, func(b *testing.B) {
			for b.Loop() {
				Shop(f, part.Requirement{}, Look(s.Mesh), cat)
			}
		})
	}
}
