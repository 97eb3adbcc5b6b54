package content

import (
	"math"
	"testing"

	"firstoff/geom/mesh"
)

func TestWelded(t *testing.T) {
	negZero := float32(math.Copysign(0, -1))
	m := Welded(&mesh.Mesh{
		Pos: []float32{9, 9, 9, 0, 0, 0, 1, 0, 0, 0, 1, 0, negZero, 0, 0, 0, 1, 0, 0, 0, 1},
		Tri: []uint32{1, 2, 3, 4, 5, 6, 1, 1, 4},
	})
	if m.Vertices() != 4 || m.Facets() != 3 {
		t.Fatalf("%d vertices, %d facets; want 4 (the unused one dropped, two merged) and 3", m.Vertices(), m.Facets())
	}
	want := []uint32{0, 1, 2, 0, 2, 3, 0, 0, 0}
	for i, v := range m.Tri {
		if v != want[i] {
			t.Fatalf("facets %v, want %v", m.Tri, want)
		}
	}
}
