package nest

import (
	"math"
	"math/rand/v2"
	"testing"

	"firstoff/geom/mesh"
)

// prism is an outline pulled up from z0 to z1, its caps as fans of small triangles around every ear; only its sides and
// vertices matter for a shadow, so caps are made of triangles of a triangulation by hand for the outlines used here.
func prism(o [][2]float64, tris [][3]int, z0, z1 float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	n := len(o)
	for _, z := range []float64{z0, z1} {
		for _, p := range o {
			m.Pos = append(m.Pos, float32(p[0]), float32(p[1]), float32(z))
		}
	}
	for _, t := range tris {
		m.Tri = append(m.Tri, uint32(t[0]), uint32(t[2]), uint32(t[1]))
		m.Tri = append(m.Tri, uint32(n+t[0]), uint32(n+t[1]), uint32(n+t[2]))
	}
	for i := range o {
		j := (i + 1) % n
		m.Tri = append(m.Tri, uint32(i), uint32(j), uint32(n+j), uint32(i), uint32(n+j), uint32(n+i))
	}
	return m
}

func boxMesh(w, d, h float64) *mesh.Mesh {
	return prism(rect(w, d), [][3]int{{0, 1, 2}, {0, 2, 3}}, 0, h)
}

var angleOutline = [][2]float64{{0, 0}, {60, 0}, {60, 20}, {20, 20}, {20, 60}, {0, 60}}

func angleMesh(z0, z1 float64) *mesh.Mesh {
	return prism(angleOutline, [][3]int{{0, 1, 2}, {0, 2, 3}, {0, 3, 4}, {0, 4, 5}}, z0, z1)
}

func TestFootprint(t *testing.T) {
	o, lift, err := Footprint(angleMesh(-3, 9))
	if err != nil {
		t.Fatal(err)
	}
	if lift != 3 {
		t.Errorf("lift %g", lift)
	}
	// 2000 mm², grown by at most a cell (60/400) around its 240 mm border, and two where stairs are cut
	if a := ring(o).area(); a < 2000-1e-6 || a > 2000+240*2*60.0/400 {
		t.Errorf("area %g with %d corners", a, len(o))
	}
	if s := shared(o, angleOutline); math.Abs(s-2000) > 1e-3 {
		t.Errorf("the outline holds %g of 2000 mm²", s)
	}
	// a box is its hull, exactly
	o, _, err = Footprint(boxMesh(50, 30, 10))
	if err != nil || len(o) != 4 || math.Abs(ring(o).area()-1500) > 1e-3 {
		t.Errorf("%v %v", o, err)
	}
	if _, _, err = Footprint(&mesh.Mesh{}); err == nil {
		t.Error("an empty mesh has a footprint")
	}
}

// A shadow holds every point of every facet.
func TestFootprintHoldsFacets(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for k := range 20 {
		m := &mesh.Mesh{}
		for range 30 { // a chain of random triangles that share vertices
			m.Pos = append(m.Pos, float32(r.Float64()*40), float32(r.Float64()*40), float32(r.Float64()*40))
		}
		for i := range 28 {
			m.Tri = append(m.Tri, uint32(i), uint32(i+1), uint32(i+2))
		}
		o, _, err := Footprint(m)
		if err != nil {
			t.Fatal(err)
		}
		for f := range m.Facets() {
			a, b, c := m.Corners(f)
			tri := ring{{a.X, a.Y}, {b.X, b.Y}, {c.X, c.Y}}
			if s := shared(o, tri); math.Abs(s-tri.area()) > 1e-6*1600 {
				t.Fatalf("case %d facet %d: %g of %g covered", k, f, s, tri.area())
			}
		}
	}
}
