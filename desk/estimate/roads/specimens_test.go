package roads

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"firstoff/checks"
	"firstoff/demo"
	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/intake"
	"firstoff/part/survey"
)

// specimen is a part to compare on.
type specimen struct {
	name string
	mesh *mesh.Mesh
}

// sized scales a mesh so that its longest side is about mm.
func sized(m *mesh.Mesh, mm float64) *mesh.Mesh {
	s := m.Box().Size()
	return m.Transformed(r3.Identity, mm/math.Max(s.X, math.Max(s.Y, s.Z)), r3.Vec{})
}

// few is the small default set of known solids.
func few() []specimen {
	return []specimen{
		{"box", geomtest.Box(60, 40, 25).Mesh},
		{"wedge", geomtest.Wedge(60, 40, 30).Mesh},
		{"cylinder", geomtest.Cylinder(20, 30, 96).Mesh},
		{"tube", geomtest.Tube(25, 20, 30, 96).Mesh},
		{"torus", geomtest.Torus(25, 9, 64, 32).Mesh},
		{"ball", geomtest.Sphere(22, 48).Mesh},
	}
}

// ours are the made-up shop's parts and turned or hollow solids of our own.
func ours() []specimen {
	return append(few(),
		specimen{"demo bracket", demo.Bracket()},
		specimen{"demo housing", demo.Housing()},
		specimen{"demo knob", demo.Knob()},
		specimen{"demo tray", sized(demo.Tray(), 120)},
		specimen{"cone", geomtest.Cone(25, 40, 96).Mesh},
		specimen{"hollow", geomtest.Hollow(geomtest.Box(50, 40, 30), geomtest.Box(36, 26, 18), r3.Vec{X: 7, Y: 7, Z: 6}).Mesh},
		specimen{"pulley", geomtest.Revolve("pulley", 96, true, [2]float64{6, 0}, [2]float64{28, 0}, [2]float64{28, 3}, [2]float64{22, 6}, [2]float64{22, 10}, [2]float64{28, 13}, [2]float64{28, 16}, [2]float64{6, 16}).Mesh},
		specimen{"bottle", geomtest.Revolve("bottle", 96, false, [2]float64{0, 0}, [2]float64{18, 0}, [2]float64{18, 40}, [2]float64{8, 55}, [2]float64{8, 62}, [2]float64{0, 62}).Mesh},
		specimen{"flange", geomtest.Revolve("flange", 96, true, [2]float64{12, 0}, [2]float64{30, 0}, [2]float64{30, 5}, [2]float64{18, 5}, [2]float64{18, 25}, [2]float64{12, 25}).Mesh},
		specimen{"plate", geomtest.Box(110, 70, 5).Mesh},
		specimen{"helical rib", geomtest.HelicalRib(12, 22, 4, 12, 3, 96, 4)},
		specimen{"gyroid", geomtest.Gyroid(40, 20, 3, 30000).Mesh})
}

// leftOut is a file of the collection that is not compared on, with the reason.
type leftOut struct{ name, reason string }

// outside are the closed meshes of the outside collection (checks/mesh/open; origins and licences in its MANIFEST.csv), scaled to the size of a
// usual part, and those that cannot be compared on.
func outside(t *testing.T) (out []specimen, left []leftOut) {
	dir := checks.Path(t, "mesh/open")
	files, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	shapes := map[string]string{}
	for i, f := range files {
		no := func(format string, args ...any) { left = append(left, leftOut{f.Name(), fmt.Sprintf(format, args...)}) }
		data, err := os.ReadFile(filepath.Join(dir, f.Name()))
		if err != nil || f.Name() == "SHA256SUMS" || strings.HasSuffix(f.Name(), ".csv") {
			continue // lists of the collection, no models
		}
		file, err := intake.Read(context.Background(), f.Name(), data, intake.Options{})
		if err != nil {
			no("refused at the door: %v", err)
			continue
		}
		sv, err := survey.Of(context.Background(), file, survey.Options{})
		if err != nil || sv.Whole == nil || sv.Whole.Facets() == 0 {
			no("no body in it")
			continue
		}
		m := sv.Whole
		switch {
		case m.Facets() > 300000:
			no("%d facets: more than 300 000", m.Facets())
			continue
		case !m.Topology().Closed():
			no("still open after mending: no inside to lay roads in")
			continue
		case m.Measure().VolumeMM3 <= 0:
			no("encloses no volume")
			continue
		}
		m = sized(m, 45+float64(i%5)*12)
		// walls of less than two or three roads on the mean are refused before they are estimated: such parts are compared larger
		thick := func(m *mesh.Mesh) float64 { s := m.Measure(); return 2 * s.VolumeMM3 / s.AreaMM2 }
		if th := thick(m); th < 1.5 {
			s := m.Box().Size()
			if long := math.Max(s.X, math.Max(s.Y, s.Z)) * 1.5 / th; long <= 180 {
				m = sized(m, long)
			} else {
				no("walls of %.2f mm on the mean at 180 mm length: too thin for roads", th*180/math.Max(s.X, math.Max(s.Y, s.Z)))
				continue
			}
		}
		meas := m.Measure()
		size := meas.Box.Size()
		like := fmt.Sprintf("%d %.2f %.2f %.3f", m.Facets(), size.Y/size.X, size.Z/size.X, meas.VolumeMM3/(size.X*size.Y*size.Z))
		if was := shapes[like]; was != "" {
			no("the same shape as %s", was)
			continue
		}
		shapes[like] = f.Name()
		out = append(out, specimen{f.Name(), m})
	}
	return out, left
}
