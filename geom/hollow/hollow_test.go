package hollow

import (
	"math"
	"testing"

	"firstoff/fault"
	"firstoff/geom/bvh"
	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
)

// What is kept of solids with closed forms: a cube of 60 with walls of 3 keeps 60³ − 54³ = 58,536 mm³.
func TestClosedForms(t *testing.T) {
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		wall float64
		room float64
	}{
		{"cube", geomtest.Box(60, 60, 60).Mesh, 3, 54 * 54 * 54},
		{"block", geomtest.Box(120, 80, 30).Mesh, 2, 116 * 76 * 26},
		{"ball", geomtest.Sphere(30, 256).Mesh, 3, 4.0 / 3 * math.Pi * 27 * 27 * 27},
		{"pipe", geomtest.Tube(40, 10, 50, 256).Mesh, 2.5, math.Pi * (37.5*37.5 - 12.5*12.5) * 45},
	} {
		p, err := Out(c.m, c.wall)
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		whole := math.Abs(c.m.Measure().VolumeMM3)
		kept, want := math.Abs(p.Mesh.Measure().VolumeMM3), whole-c.room
		t.Logf("%s: kept %.0f mm³, closed form %.0f, %+.2f %%, %d facets", c.name, kept, want, 100*(kept/want-1), p.Mesh.Facets())
		if math.Abs(kept/want-1) > 0.005 {
			t.Errorf("%s keeps %.0f mm³, not %.0f", c.name, kept, want)
		}
		if math.Abs(whole-p.RoomMM3-kept) > 1e-4*whole || p.Rooms != 1 {
			t.Errorf("%s: %d rooms of %.0f mm³ do not add up", c.name, p.Rooms, p.RoomMM3)
		}
		if !p.Mesh.Topology().Closed() {
			t.Errorf("%s is not closed", c.name)
		}
	}
}

// No wall is thinner than asked, as rays from the rooms see it.
func TestWalls(t *testing.T) {
	m := geomtest.Box(60, 40, 20).Mesh
	p, err := Out(m, 2)
	if err != nil {
		t.Fatal(err)
	}
	tree := bvh.Build(m)
	for v := m.Vertices(); v < p.Mesh.Vertices(); v++ {
		q, ok := tree.Nearest(p.Mesh.Vertex(uint32(v)), 10)
		if !ok || q.Dist < 2-0.1*p.CellMM || q.Dist > 2+p.CellMM {
			t.Fatalf("a wall of %.3f mm", q.Dist)
		}
	}
}

// What has nothing that deep stays solid, and nonsense is refused in a sentence.
func TestRefused(t *testing.T) {
	for code, c := range map[string]struct {
		m    *mesh.Mesh
		wall float64
	}{
		"hollow_nothing": {geomtest.Box(60, 40, 3).Mesh, 2},
		"hollow_wall":    {geomtest.Box(60, 40, 30).Mesh, 0},
	} {
		if _, err := Out(c.m, c.wall); fault.Of(err).Code != code {
			t.Errorf("%s: %v", code, err)
		}
	}
}
