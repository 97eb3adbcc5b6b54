package engrave_test

import (
	"bytes"
	"image"
	"image/png"
	"math"
	"os"
	"testing"

	"firstoff/geom/engrave"
	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

func inked(m *image.NRGBA) (n int, box image.Rectangle) {
	box = image.Rectangle{Min: m.Rect.Max}
	for y := range m.Rect.Dy() {
		for x := range m.Rect.Dx() {
			if m.NRGBAAt(x, y).A > 100 {
				n++
				box.Min.X, box.Min.Y = min(box.Min.X, x), min(box.Min.Y, y)
				box.Max.X, box.Max.Y = max(box.Max.X, x+1), max(box.Max.Y, y+1)
			}
		}
	}
	return n, box
}

// A ball's outline is a circle: seen from anywhere the ink is as wide as high.
func TestBallIsRound(t *testing.T) {
	for _, from := range []r3.Vec{{}, {X: 1}, {Z: 1}, {X: -1, Y: 2, Z: -0.5}} {
		n, box := inked(engrave.Draw([]*mesh.Mesh{geomtest.Sphere(10, 64).Mesh}, engrave.Options{From: from}))
		if n == 0 || math.Abs(float64(box.Dx()-box.Dy())) > 2 {
			t.Errorf("from %v: %d pixels in %v", from, n, box)
		}
	}
}

// Seen from the front, a box of 20 × 10 × 10 shows a rectangle twice as wide as high.
func TestBoxFromTheFront(t *testing.T) {
	_, box := inked(engrave.Draw([]*mesh.Mesh{geomtest.Box(20, 10, 10).Mesh}, engrave.Options{From: r3.Vec{Y: -1}}))
	if r := float64(box.Dx()) / float64(box.Dy()); math.Abs(r-2) > 0.03 {
		t.Errorf("width to height %.3f, want 2", r)
	}
}

func TestSamePicture(t *testing.T) {
	m := []*mesh.Mesh{geomtest.Torus(20, 6, 64, 32).Mesh}
	a, b := engrave.Draw(m, engrave.Options{}), engrave.Draw(m, engrave.Options{})
	if !bytes.Equal(a.Pix, b.Pix) {
		t.Error("two pictures of one part differ")
	}
	if p := os.Getenv("FIRSTOFF_PICTURES"); p != "" {
		f, err := os.Create(p + "/torus.png")
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if err := png.Encode(f, a); err != nil {
			t.Fatal(err)
		}
	}
}

func TestNothing(t *testing.T) {
	if n, _ := inked(engrave.Draw(nil, engrave.Options{Width: 10, Height: 10})); n != 0 {
		t.Error("ink without a part")
	}
	flat := &mesh.Mesh{Pos: []float32{0, 0, 0, 1, 0, 0, 2, 0, 0}, Tri: []uint32{0, 1, 2}}
	engrave.Draw([]*mesh.Mesh{flat}, engrave.Options{})
}

func BenchmarkDraw(b *testing.B) {
	m := []*mesh.Mesh{geomtest.Sphere(10, 700).Mesh} // about half a million facets
	for b.Loop() {
		engrave.Draw(m, engrave.Options{})
	}
}
