package unite

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"firstoff/checks"
	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/geom/solid"
	"firstoff/intake/content"
	"firstoff/intake/obj"
	"firstoff/intake/off"
)

// outside reads files of the outside collection as one mesh.
func outside(t *testing.T, names ...string) *mesh.Mesh {
	t.Helper()
	dir := checks.Path(t, "mesh/open")
	var all []*mesh.Mesh
	for _, name := range names {
		b, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		read := off.Read
		if strings.HasSuffix(name, ".obj") {
			read = func(ctx context.Context, b []byte, l content.Limits) (*content.Content, error) {
				return obj.Read(ctx, b, nil, l)
			}
		}
		c, err := read(context.Background(), b, content.Limits{})
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		for _, body := range c.Bodies {
			all = append(all, body.Mesh)
		}
	}
	m, _ := mesh.Mend(mesh.Merge(all...))
	return m
}

// Two balls that overlap. The union's volume is asserted by trimesh, tests/data/boolean.json (two boolean engines agree on it).
func TestUnionAssertedByOthers(t *testing.T) {
	u := union(t, "balls", outside(t, "ballA.off", "ballB.off"))
	geomtest.Near(t, "volume", u.Mesh.Measure().VolumeMM3, 2477.66002819, 1e-8)
}

// Outside solids laid over each other, against the bit solid, which fills by the same rule; turned, so that no wall lies along the cells.
func TestUnionAgreesWithBits(t *testing.T) {
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		cell float64
	}{
		{"twins", outside(t, "bool_Generic_Twin_7863.1.t0_left.obj", "bool_Generic_Twin_7863.1.t0_right.obj"), 1},
	} {
		u := union(t, c.name, c.m)
		s, err := solid.Rasterise(c.m, r3.AxisAngle(r3.Vec{X: 1, Y: 2, Z: 3}, 0.7), c.cell, c.cell, 0)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%s: changed %v, sum %.6g, union %.6g, bits %.6g", c.name, u.Changed, c.m.Measure().VolumeMM3, u.Mesh.Measure().VolumeMM3, s.Volume())
		geomtest.Near(t, c.name, u.Mesh.Measure().VolumeMM3, s.Volume(), 2e-3)
	}
}
