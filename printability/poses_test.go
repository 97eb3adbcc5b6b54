package printability

import (
	"math"
	"strings"
	"testing"

	"firstoff/demo"
	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/part"
)

// TestAllPoses: what a pose brings with it is told where no pose avoids it, with the least of it; a cup that only some poses make is a note how many.
func TestAllPoses(t *testing.T) {
	look := func(m *mesh.Mesh, process string) map[string]part.Finding {
		return ask(t, m, process, nil, func(q *Question) { q.Poses = Sides() })
	}
	ball := geomtest.Sphere(20, 64)
	f := look(ball.Mesh, "MEX")["overhang"]
	// a cap of 45° in every pose: 2πR²(1 − cos 45°)
	if want := 2 * math.Pi * 400 * (1 - math.Cos(math.Pi/4)); math.Abs(f.Value/want-1) > 0.1 || !strings.HasPrefix(f.Message, "Even in the best of 6 poses tried") || f.At == nil || len(f.Points) == 0 {
		t.Errorf("ball: %+v, want about %.0f mm²", f, want)
	}
	for _, m := range []*mesh.Mesh{geomtest.Box(30, 20, 10).Mesh, geomtest.Wedge(60, 40, 30).Mesh, geomtest.Cylinder(15, 12, 64).Mesh} {
		found := look(m, "MEX")
		for _, c := range []string{"overhang", "island", "tip_over"} {
			if x, ok := found[c]; ok {
				t.Errorf("avoidable: %s: %s", c, x.Message)
			}
		}
	}
	cup := look(vessel(0, 34), "VPP")["cup"] // a beaker: closes only the right way up
	if cup.Severity != Note || !strings.Contains(cup.Message, "of 6 poses tried: a cup") {
		t.Errorf("beaker: %+v", cup)
	}
	// the chosen pose is told as well, as a warning
	up := r3.Identity
	found := 0
	g := Look(vessel(0, 34))
	for _, x := range Run(Question{Facts: part.Facts{Bodies: 1}, Process: process("VPP"), Geometry: g, Pose: &up, Poses: Sides()}) {
		if x.Code == "cup" {
			found++
		}
	}
	if found != 2 {
		t.Errorf("%d cups, one for the pose and one for all are wanted", found)
	}
}

// TestStroke: a raised strip of 0.3 × 20 on a plate, 1 mm high: its stroke is 2A/P = 0.2956; a strip of 3 is fair.
func TestStroke(t *testing.T) {
	strip := func(w float64) *mesh.Mesh {
		return mesh.Merge(geomtest.Box(60, 40, 5).Mesh, geomtest.Box(w, 20, 1).Mesh.Transformed(r3.Identity, 1, r3.Vec{X: 20, Y: 10, Z: 5}))
	}
	f, ok := ask(t, strip(0.3), "MEX", nil, nil)["stroke"]
	if want := 2 * 0.3 * 20 / (2 * 20.3); !ok || math.Abs(f.Value-want) > 1e-3 || f.Severity != Warning || f.At == nil {
		t.Errorf("%+v, want a stroke of %.4f mm", f, want)
	}
	if f, ok := ask(t, strip(3), "MEX", nil, nil)["stroke"]; ok {
		t.Errorf("a fair strip: %s", f.Message)
	}
}

// TestPlaces: every rule that finds something somewhere says where: its place lies on or in the part and its facets are the part's.
func TestPlaces(t *testing.T) {
	cat := demo.Shop()
	placeless := map[string]bool{ // of the part as a whole, or of what is not on its surface
		"open_surface": true, "mended": true, "size": true, "bodies": true, "slender": true, "tolerance": true, "warp": true, "fit": true, "trapped": true, "tip_over": true, "roughness": true}
	for name, m := range map[string]*mesh.Mesh{"vessel": vessel(0, 2), "washer": washer(1.2, 4), "ball": geomtest.Sphere(20, 48).Mesh, "mark": mesh.Merge(geomtest.Box(40, 30, 5).Mesh, geomtest.Box(0.3, 6, 0.15).Mesh.Transformed(r3.Identity, 1, r3.Vec{X: 10, Y: 10, Z: 5}))} {
		meas := m.Measure()
		facts := part.Facts{Bodies: 1, Closed: true, VolumeMM3: meas.VolumeMM3, AreaMM2: meas.AreaMM2, Min: meas.Box.Min, Max: meas.Box.Max, OrientedMM: [3]float64{40, 40, 5},
			MinWallMM: 0.4, MinGapMM: 0.1, MedianWallMM: 3, Thin: &part.Place{At: m.Vertex(0), Facets: []uint32{0, 1}}, Narrow: &part.Place{At: m.Vertex(1), Facets: []uint32{2}}}
		for _, f := range Shop(facts, part.Requirement{ToleranceMM: 0.2}, Look(m), cat) {
			if placeless[f.Code] {
				continue
			}
			if f.At == nil {
				t.Errorf("%s: %s %s has no place", name, f.Process, f.Code)
				continue
			}
			box := meas.Box
			if d := f.At.Sub(box.Center()); math.Abs(d.X) > box.Size().X/2+1 || math.Abs(d.Y) > box.Size().Y/2+1 || math.Abs(d.Z) > box.Size().Z/2+1 {
				t.Errorf("%s: %s at %+v, outside the part", name, f.Code, *f.At)
			}
			for _, x := range f.Facets {
				if int(x) >= m.Facets() {
					t.Errorf("%s: %s: facet %d of %d", name, f.Code, x, m.Facets())
				}
			}
		}
	}
}
