package solid

import (
	"context"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"firstoff/checks"
	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/geom/section"
	"firstoff/intake/content"
	"firstoff/intake/off"
	"firstoff/intake/stl"
)

// outside reads a file of the outside collection, all bodies in one mesh.
func outside(t *testing.T, path string) *mesh.Mesh {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var c *content.Content
	if strings.EqualFold(filepath.Ext(path), ".off") {
		c, err = off.Read(context.Background(), b, content.Limits{})
	} else {
		c, err = stl.Read(context.Background(), b, content.Limits{})
	}
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	var all []*mesh.Mesh
	for _, body := range c.Bodies {
		all = append(all, body.Mesh)
	}
	return mesh.Merge(all...)
}

// Two balls that overlap. The union's volume 2477.66002819 is asserted by trimesh, tests/data/boolean.json (two boolean
// engines agree on it); see the manifest of the collection.
func TestUnionAssertedByOthers(t *testing.T) {
	dir := checks.Path(t, "mesh/open")
	m := mesh.Merge(outside(t, filepath.Join(dir, "ballA.off")), outside(t, filepath.Join(dir, "ballB.off")))
	s, err := Rasterise(m, r3.Identity, 0.1, 0.1, 0)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "bits", s.Volume(), 2477.66002819, 3e-3)
	sum, err := Summarise(m, r3.Identity, 0.1, Options{})
	if err != nil {
		t.Fatal(err)
	}
	within(t, "layers", sum.VolumeMM3, 2477.66002819, 3e-4)
}

// Closed meshes of the outside collection: layers and bits against the volumes measured there (Python, double precision).
// Two sums are compared: the signed one of the raw contours, which is what the column holds, for all; the winding one
// where both agree, that is where no shell overlaps another or is inside out.
func TestVolumesMeasuredByOthers(t *testing.T) {
	dir := checks.Path(t, "mesh/open")
	f, err := os.Open(filepath.Join(dir, "MANIFEST.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	col := map[string]int{}
	for i, n := range rows[0] {
		col[n] = i
	}
	tried, plain := 0, 0
	for _, row := range rows[1:] {
		name := row[col["file"]]
		want, err := strconv.ParseFloat(row[col["measured_signed_volume"]], 64)
		ext := strings.ToLower(filepath.Ext(name))
		if err != nil || row[col["measured_watertight"]] != "True" || ext != ".stl" && ext != ".off" || want == 0 {
			continue
		}
		m := outside(t, filepath.Join(dir, name))
		z := m.Box().Size().Z
		st := section.Slice(m, r3.Identity, z/3000)
		within(t, name+", signed", st.Volume(), want, 2e-3)
		s, err := Summarise(m, r3.Identity, z/200, Options{Cell: math.Max(m.Box().Size().X, m.Box().Size().Y) / 400})
		if err != nil {
			t.Fatal(err)
		}
		tried++
		overlap := want < 0
		for _, l := range s.Layers {
			overlap = overlap || l.Overlap
		}
		if !overlap {
			plain++
			within(t, name+", winding", s.VolumeMM3, want, 1e-2)
		}
	}
	t.Logf("%d closed meshes, %d without overlaps", tried, plain)
	if tried < 20 || plain < 10 {
		t.Errorf("only %d meshes tried, %d without overlaps", tried, plain)
	}
}

// The kernel's own solids, posed at random: layers, bits, and skins that never exceed the layer.
func TestKnownSolids(t *testing.T) {
	for _, g := range geomtest.All() {
		if math.IsNaN(g.VolumeMM3) {
			continue
		}
		pose := r3.AxisAngle(v(3, 1, 2), 0.9)
		size := g.Mesh.Transformed(pose, 1, r3.Vec{}).Box().Size()
		s, err := Summarise(g.Mesh, pose, size.Z/300, Options{SelfSupportDeg: 45, SkinLayers: 3, Cell: math.Max(size.X, size.Y) / 500})
		if err != nil {
			t.Fatal(err)
		}
		within(t, g.Name, s.VolumeMM3, g.VolumeMM3, 2e-3)
		b, err := Rasterise(g.Mesh, pose, math.Max(size.X, size.Y)/400, size.Z/300, 0)
		if err != nil {
			t.Fatal(err)
		}
		within(t, g.Name+" in bits", b.Volume(), g.VolumeMM3, 3e-3)
		for k, l := range s.Layers {
			if l.TopSkinMM2+l.BottomSkinMM2 > l.AreaMM2*(1+1e-9) || l.SupportInterfaceMM2 > l.SupportMM2*(1+1e-9) {
				t.Fatalf("%s, layer %d: %+v", g.Name, k, l)
			}
		}
	}
}

// A part as large as the largest envelopes (914 x 610 x 914 mm) at 0.25 mm: 4 GB of bits if held whole. The heap in use
// while it is summarised stays far below a gigabyte. The quick run takes layers four times as high, the slow one all.
func TestMetreSizedPartStreams(t *testing.T) {
	layer := 1.0
	if os.Getenv("FIRSTOFF_SLOW") != "" {
		layer = 0.25
	}
	m := mesh.Merge(box(v(0, 0, 0), v(914, 610, 20)), box(v(0, 0, 19), v(20, 610, 914)), box(v(0, 0, 800), v(300, 610, 820)), sphere(v(600, 300, 300), 250, 100))
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	s, err := Summarise(m, r3.Identity, layer, Options{SelfSupportDeg: 45, SkinLayers: 4, InterfaceLayers: 3, Cell: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	runtime.ReadMemStats(&after)
	// everything ever allocated by the call, whether or not it was freed again
	if mb := float64(after.TotalAlloc-before.TotalAlloc) / 1e6; mb > 700 {
		t.Errorf("%.0f MB were allocated", mb)
	} else {
		t.Logf("%d layers, %.0f MB allocated", len(s.Layers), mb)
	}
	// the ball starts in the air: its columns stand on the base plate below
	r, low := 250.0, 50.0-20
	c := r / math.Sqrt2
	under := math.Pi*c*c*(r+low) - 2*math.Pi/3*(r*r*r-math.Pow(r*r-c*c, 1.5))
	shelf := 280.0 * 610 * 780 // and the shelf's on the base too, but for the ball's shadow (none: it stands clear to x = 350)
	within(t, "support", s.SupportVolumeMM3, under+shelf, 5e-3)
	within(t, "volume", s.VolumeMM3, 914*610*20+20*610*(914-20)+280*610*20+4./3*math.Pi*r*r*r, 5e-3)
}
