package roads

import (
	"math"
	"testing"

	"firstoff/checks"
	"firstoff/desk/estimate"
	"firstoff/geom/geomtest"
	"firstoff/geom/r3"
	"firstoff/shop"
)

// plain is a machine whose times have closed forms: no travel, no starts.
func plain(t, w float64) estimate.Extrusion {
	return estimate.NewExtrusion(&shop.MEX{RoadPerLayer: w / t, Contours: 1, SpeedMMS: 60, AccelMMS2: 600, RasterDeg: []float64{0}}, t, 100)
}

// TestClosedForms: block (worked example B05), cylinder wall and cone against formulas, under 0.5 %.
func TestClosedForms(t *testing.T) {
	near := func(what string, got, want float64) {
		t.Helper()
		d := got/want - 1
		t.Logf("%-20s %12.6g  formula %12.6g  %+.4f %%", what, got, want, d*100)
		if math.Abs(d) > 0.005 {
			t.Errorf("%s: %.6g, the formula gives %.6g (%+.3f %%)", what, got, want, d*100)
		}
	}
	r := checks.WorkedRow(t, "B05")
	e := plain(0.254, 0.508)
	e.M.LayerS = 10
	n := checks.Numbers(r.Outputs) // layers, contour, raster, lines, at speed, with accel, layer changes, total
	b := geomtest.Box(101.6, 50.8, 25.4)
	got, err := Simulate(b.Mesh, r3.Identity, e, 0)
	if err != nil {
		t.Fatal(err)
	}
	near("B05 contour", got.ContourMM, 100*n[1])
	near("B05 raster", got.SkinMM, 100*n[2])
	near("B05 hours", (got.PartS()+float64(got.Layers)*10)/3600, n[7])
	near("B05 volume", got.ModelMM3, 101.6*50.8*25.4)

	// a tube of wall 2w with two outline roads: each circle smooth (no corner slows), from rest to rest
	w := 0.5
	e = plain(0.25, w)
	e.M.Contours, e.M.JunctionMM = 2, 0.05
	tube := geomtest.Tube(20, 20-4*w, 10, 720)
	got, err = Simulate(tube.Mesh, r3.Identity, e, 0)
	if err != nil {
		t.Fatal(err)
	}
	var mm, sec float64
	for _, rad := range []float64{20 - w/2, 20 - 3*w/2, 20 - 7*w/2, 20 - 5*w/2} {
		l := 2 * math.Pi * rad
		mm += 40 * l
		sec += 40 * (l/60 + 60.0/600)
	}
	near("wall length", got.ContourMM, mm)
	near("wall time", got.ContourS, sec)
	near("wall volume", got.ModelMM3, math.Pi*(400-math.Pow(20-4*w, 2))*10)

	// a cone: contour Σ 2π(r − w/2), inner discs filled by lines
	e = plain(0.25, 0.5)
	e.M.JunctionMM = 0.05
	cone := geomtest.Cone(25, 30, 720)
	got, err = Simulate(cone.Mesh, r3.Identity, e, 0)
	if err != nil {
		t.Fatal(err)
	}
	mm, sec = 0, 0
	var fill, fillS float64
	for i := 0; i < 120; i++ {
		rad := 25 * (1 - (float64(i)+0.5)/120)
		if rad <= 0.25 {
			continue
		}
		l := 2 * math.Pi * (rad - 0.25)
		mm += l
		sec += l/60 + 60.0/600
		if l < 6 {
			sec += 2*math.Sqrt(l/600) - l/60 - 0.1
		}
		in := rad - 0.5
		if in <= 0 {
			continue
		}
		k := int(math.Round(2 * in / 0.5))
		for j := 0; j < max(1, k); j++ {
			y := -in + (2*in-float64(max(1, k))*0.5)/2 + (float64(j)+0.5)*0.5
			if in*in > y*y {
				c := 2 * math.Sqrt(in*in-y*y)
				fill += c
				fillS += estimate.RestS(c, 60, 600)
			}
		}
	}
	near("cone contour length", got.ContourMM, mm)
	near("cone contour time", got.ContourS, sec)
	near("cone fill length", got.SkinMM, fill)
	near("cone fill time", got.SkinS, fillS)
	near("cone volume", got.ModelMM3, math.Pi*625*30/3)
}

// TestInset: insets of shapes with known answers, and none left open.
func TestInset(t *testing.T) {
	sq := []pt{{0, 0}, {10, 0}, {10, 10}, {0, 10}}
	hole := []pt{{3, 3}, {3, 7}, {7, 7}, {7, 3}}
	ell := []pt{{0, 0}, {10, 0}, {10, 4}, {4, 4}, {4, 10}, {0, 10}}
	bar := []pt{{0, 0}, {30, 0}, {30, 1}, {0, 1}}
	dumb := []pt{{0, 0}, {10, 0}, {10, 4.5}, {20, 4.5}, {20, 0}, {30, 0}, {30, 10}, {20, 10}, {20, 5.5}, {10, 5.5}, {10, 10}, {0, 10}}
	for _, c := range []struct {
		name  string
		in    [][]pt
		d     float64
		loops int
		area  float64
		len   float64
	}{
		{"square", [][]pt{sq}, 1, 1, 64, 32},
		{"square to nothing", [][]pt{sq}, 5.01, 0, 0, 0},
		{"square with hole", [][]pt{sq, hole}, 1, 2, 64 - (16 + 16 + math.Pi), 32 + 16 + 2*math.Pi},
		{"square with hole, closing", [][]pt{sq, hole}, 1.6, 0, 0, 0},
		{"ell", [][]pt{ell}, 1, 1, 8*8 - 6*6 + (1 - math.Pi/4), 32 - 2 + math.Pi/2},
		{"bar", [][]pt{bar}, 0.3, 1, 29.4 * 0.4, 59.6},
		{"bar too thin", [][]pt{bar}, 0.6, 0, 0, 0},
		{"dumb-bell falls in two", [][]pt{dumb}, 1, 2, 0, 0},
	} {
		loops, opens := inset(c.in, c.d)
		var a, l float64
		for _, x := range loops {
			a += area(x)
			l += length(x)
		}
		if opens > 0 || len(loops) != c.loops || c.area > 0 && (math.Abs(a-c.area) > 0.01*c.area || math.Abs(l-c.len) > 0.01*c.len) {
			t.Errorf("%s: %d loops (%d open), area %.4f, length %.4f; want %d, %.4f, %.4f", c.name, len(loops), opens, a, l, c.loops, c.area, c.len)
		}
	}
}
