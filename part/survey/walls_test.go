package survey_test

import (
	"context"
	"math"
	"testing"

	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/part/survey"
)

// A tube of walls 3 mm; a plate of 2 mm; two plates 1.5 mm apart; a hollow ball: constructions with known answers.
func TestWallsAndHollows(t *testing.T) {
	one := func(m geomtest.Solid) *survey.Survey {
		t.Helper()
		s, err := survey.Of(context.Background(), file(m.Mesh), survey.Options{Walls: true})
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	if f := one(geomtest.Tube(20, 17, 60, 256)).Facts; math.Abs(f.MedianWallMM-3) > 0.05 {
		t.Errorf("tube of 3 mm walls: median %.3f mm", f.MedianWallMM)
	}
	if f := one(geomtest.Box(60, 40, 2)).Facts; math.Abs(f.MedianWallMM-2) > 0.02 {
		t.Errorf("plate of 2 mm: median %.3f mm", f.MedianWallMM)
	}
	ball, in := geomtest.Sphere(20, 64), geomtest.Sphere(15, 64)
	f := one(geomtest.Hollow(ball, in, r3.Vec{})).Facts
	if want := in.Mesh.Measure().VolumeMM3; math.Abs(f.TrappedMM3-want) > 1e-6*want {
		t.Errorf("hollow of %.2f mm³ found as %.2f", want, f.TrappedMM3)
	}
}

// Shells that run into each other: the wall of their union counts, not the depth of the overlap of 0.5 mm. In the middle of a facet of a
// 5 mm wide side, a third of the way up, the largest sphere is 10/3 mm: so it is for the same plate drawn alone.
func TestWallsOfAUnion(t *testing.T) {
	a := geomtest.Box(60, 40, 5).Mesh
	b := geomtest.Box(5, 40, 30).Mesh.Transformed(r3.Identity, 1, r3.Vec{X: 20, Z: 4.5}) // stands in the plate, 0.5 mm deep
	s, err := survey.Of(context.Background(), file(mesh.Merge(a, b)), survey.Options{Walls: true})
	if err != nil {
		t.Fatal(err)
	}
	if f := s.Facts; math.Abs(f.MedianWallMM-5) > 0.05 || f.MinWallMM < 10.0/3-0.01 || f.TrappedMM3 > 1 {
		t.Errorf("walls of 5 mm found as %.3f (median %.3f), %.1f mm³ trapped", f.MinWallMM, f.MedianWallMM, f.TrappedMM3)
	}
}
