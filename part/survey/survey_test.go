package survey_test

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"

	"firstoff/checks"
	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/intake"
	"firstoff/intake/content"
	"firstoff/part/survey"
)

func file(bodies ...*mesh.Mesh) *intake.File {
	f := &intake.File{Name: "test", Format: "stl"}
	for _, m := range bodies {
		f.Bodies = append(f.Bodies, content.Body{Name: "body", Mesh: m})
	}
	return f
}

// Two balls of radius 10 whose centres lie 10 apart: union = 2·(4/3)πr³ − lens, lens = π(4r+d)(2r−d)²/12.
func TestOverlappingShellsCountOnce(t *testing.T) {
	ball := geomtest.Sphere(10, 160)
	both := mesh.Merge(ball.Mesh, ball.Mesh.Transformed(r3.Identity, 1, r3.Vec{X: 10}))
	s, err := survey.Of(context.Background(), file(both), survey.Options{})
	if err != nil {
		t.Fatal(err)
	}
	r, d := 10.0, 10.0
	want := 2*4.0/3*math.Pi*r*r*r - math.Pi*(4*r+d)*(2*r-d)*(2*r-d)/12
	want *= ball.Mesh.Measure().VolumeMM3 / (4.0 / 3 * math.Pi * r * r * r) // what the chords of the mesh take off
	if got := s.Facts.VolumeMM3; math.Abs(got-want) > 2e-4*want {
		t.Errorf("union of two balls %.1f mm³, want %.1f within 0.02 %%", got, want)
	}
	if b := s.Bodies[0]; len(s.Facts.Mended) != 1 || b.Overlap || len(mesh.CheckTopology(b.Mended).Shells) != 1 {
		t.Errorf("said %q; overlap %v", s.Facts.Mended, b.Overlap)
	}
	if both.Facets() != 2*ball.Mesh.Facets() {
		t.Error("the client's mesh was changed")
	}
}

func TestSoundPartIsNotTouched(t *testing.T) {
	box := geomtest.Box(30, 20, 10)
	s, err := survey.Of(context.Background(), file(box.Mesh), survey.Options{Crossings: true})
	if err != nil {
		t.Fatal(err)
	}
	if s.Bodies[0].Mended != box.Mesh || len(s.Facts.Mended) != 0 {
		t.Error("a sound box was mended")
	}
	sh := s.Sheet(nil)
	if math.Abs(sh.Total.VolumeMM3-6000) > 1e-6 || sh.Bodies[0].Shells != 1 || !sh.Total.Closed || sh.Findings == nil || sh.Holes == nil {
		t.Errorf("sheet: %+v", sh)
	}
	if s.Facts.OrientedMM != [3]float64{30, 20, 10} {
		t.Errorf("box %v", s.Facts.OrientedMM)
	}
}

// A file on disk through the whole door, against what its collection asserts (checks/mesh/open/MANIFEST.csv).
func TestOutsideFile(t *testing.T) {
	dir := checks.Path(t, "mesh/open")
	data, err := os.ReadFile(filepath.Join(dir, "20mm-xyz-cube.stl"))
	if err != nil {
		t.Fatal(err)
	}
	f, err := intake.Read(context.Background(), "20mm-xyz-cube.stl", data, intake.Options{})
	if err != nil {
		t.Fatal(err)
	}
	s, err := survey.Of(context.Background(), f, survey.Options{})
	if err != nil {
		t.Fatal(err)
	}
	size := s.Facts.Max.Sub(s.Facts.Min)
	for i := range 3 {
		if math.Abs(size.Axis(i)-20) > 1 {
			t.Errorf("extent %v, want about 20 mm each way", size)
		}
	}
}
