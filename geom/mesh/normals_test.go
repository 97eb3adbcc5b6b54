package mesh

import (
	"math"
	"testing"

	"firstoff/geom/r3"
)

// On a tube of flats the corner normals point away from the axis on the walls, and along it on the ends.
func TestCornerNormals(t *testing.T) {
	m := pipe(40)
	n := m.CornerNormals(45 * math.Pi / 180)
	for f := range m.Facets() {
		for c := range 3 {
			k := 9*f + 3*c
			got := r3.Vec{X: float64(n[k]), Y: float64(n[k+1]), Z: float64(n[k+2])}
			v := m.Vertex(m.Tri[3*f+c])
			want := r3.Vec{X: v.X, Y: v.Y}.Unit()
			switch {
			case f%8 >= 4:
				want = m.FacetNormal(f)
			case f%8 >= 2:
				want = want.Mul(-1)
			}
			// Each flat meets a corner line in one or two facets, but in the same angle together.
			if got.Dist(want) > 1e-6 {
				t.Fatalf("facet %d corner %d: %v, want %v", f, c, got, want)
			}
		}
	}
	if n := (&Mesh{Pos: []float32{0, 0, 0}, Tri: []uint32{0, 0, 0}}).CornerNormals(1); n[0] != 0 || len(n) != 9 {
		t.Error("degenerate facet")
	}
}
