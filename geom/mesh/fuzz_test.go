package mesh

import (
	"math"
	"slices"
	"testing"

	"firstoff/geom/r3"
)

// soupOf makes a mesh of what a fuzzer likes: vertices on a small grid, so that everything coincides with everything.
func soupOf(b []byte) *Mesh {
	var s []float32
	for _, c := range b {
		s = append(s, float32(c&7)+float32(c>>6)*0.25)
	}
	return FromSoup(s)
}

// Whatever the facets, nothing panics, the input stays as it was, counts agree with each other, and mending is honest: what it calls
// solid is solid, with outward shells.
func FuzzSurface(f *testing.F) {
	f.Add([]byte{0, 0, 0, 1, 0, 0, 0, 1, 0})
	var b []byte
	for _, v := range cube().Soup() {
		b = append(b, byte(v))
	}
	f.Add(b)
	f.Add(append(slices.Clone(b), b...))
	f.Add(b[:90])
	f.Add([]byte{0, 0, 0, 4, 0, 0, 0, 4, 0, 0, 0, 0, 0, 4, 0, 4, 0, 0, 0, 0, 0, 4, 0, 0, 4, 4, 4, 0, 0, 0, 0, 0, 4, 4, 4, 4})
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) > 9*60 {
			b = b[:9*60]
		}
		m := soupOf(b)
		pos, tri := slices.Clone(m.Pos), slices.Clone(m.Tri)
		r := Check(m)
		if n := r.Closed; n && (r.BoundaryEdges+r.NonManifoldEdges+r.MisorientedEdges > 0) {
			t.Fatal("closed with defects")
		}
		for _, p := range r.Crossings.Pairs {
			if p[0] >= p[1] {
				t.Fatal("pairs out of order")
			}
		}
		rim := 0
		for _, l := range r.Loops {
			rim += len(l.Half)
		}
		if rim < r.BoundaryEdges {
			t.Fatalf("%d boundary edges, loops hold %d", r.BoundaryEdges, rim)
		}
		total := 0
		for _, body := range SplitBodies(m) {
			total += body.Facets()
		}
		if total != m.Facets() {
			t.Fatalf("bodies hold %d of %d facets", total, m.Facets())
		}
		n, log := Mend(m)
		if !slices.Equal(pos, m.Pos) || !slices.Equal(tri, m.Tri) {
			t.Fatal("the input was changed")
		}
		if len(log.Source) != n.Facets() {
			t.Fatal("sources do not match facets")
		}
		after := CheckTopology(n)
		if after.Degenerate > 0 || after.Closed && after.Flipped > 0 {
			t.Fatalf("mended: %d degenerate, %d flipped", after.Degenerate, after.Flipped)
		}
		h := ConvexHull(m)
		if v := h.Measure().VolumeMM3; v < 0 || math.IsNaN(v) {
			t.Fatalf("hull volume %v", v)
		}
		Fit(h, r3.Vec{X: 5, Y: 6, Z: 4}, 0.1)
		WeldWithin(m, 0.3)
		m.CornerNormals(0.5)
	})
}
