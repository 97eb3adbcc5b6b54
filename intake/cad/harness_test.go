package cad

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"firstoff/checks"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/intake/cad/internal/occt"
	"firstoff/intake/cad/internal/part21"
	"firstoff/intake/content"
)

// workers are shared by the tests that go through children.
var workers *Workers

func TestMain(m *testing.M) {
	ChildMain()
	workers = NewWorkers(1)
	code := m.Run()
	workers.Close()
	os.Exit(code)
}

func slow() bool { return os.Getenv("FIRSTOFF_SLOW") != "" }

func needKernel(t testing.TB) {
	t.Helper()
	if err := Available(); err != nil {
		checks.Missing(t, err.Error())
	}
}

// inside is a kernel in the test's own process: what a child does, without starting one for each file.
var inside = sync.OnceValues(func() (*occt.Kernel, error) {
	dir, err := cacheFolder("")
	if err != nil {
		return nil, err
	}
	return startKernel(kernelConfig{Cache: dir, Memory: DefaultMemory})
})

// outcome is a file read, with what the door does not show.
type outcome struct {
	*content.Content
	answer *answer
	pass   *pass
	text   *part21.File
}

// readInside reads a file of the outside data as Read does, but in this process.
func readInside(t *testing.T, rel string, opt Options) outcome {
	t.Helper()
	needKernel(t)
	data, err := os.ReadFile(filepath.Join(checks.Path(t, "step"), rel))
	if err != nil {
		t.Fatal(err)
	}
	return readBytes(t, rel, data, opt)
}

func readBytes(t *testing.T, name string, data []byte, opt Options) outcome {
	t.Helper()
	needKernel(t)
	k, err := inside()
	if err != nil {
		t.Fatal(err)
	}
	lim := opt.Limits.OrDefault()
	o := outcome{answer: &answer{}}
	q := &request{Format: Format(data), Tolerance: opt.Tolerance, Chord: opt.Chord, Angle: opt.Angle, Triangles: lim.Triangles, Bodies: lim.Bodies}
	q.Memory = DefaultMemory
	if q.Format == "step" {
		o.text = part21.Scan(data)
		q.Extent = o.text.Extent()
	}
	if o.pass, err = meshed(context.Background(), k, q, data, o.answer); err != nil {
		t.Fatalf("%s: %v", name, kernelFault(err))
	}
	o.pass.answer(o.answer)
	if o.Content, err = assemble(q.Format, o.text, o.answer, lim); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return o
}

// volumeArea sums volume and surface of a mesh about its first vertex.
func volumeArea(m *mesh.Mesh) (v, a float64) {
	if m.Facets() == 0 {
		return 0, 0
	}
	o := m.Vertex(0)
	for f := range m.Facets() {
		p, q, r := m.Corners(f)
		p, q, r = p.Sub(o), q.Sub(o), r.Sub(o)
		v += p.Dot(q.Cross(r)) / 6
		a += q.Sub(p).Cross(r.Sub(p)).Norm() / 2
	}
	return v, a
}

// totals are the volume of the closed bodies, the surface of all, and how many bodies are open.
func (o outcome) totals() (volume, area float64, open int) { return totals(o.Content) }

func totals(c *content.Content) (volume, area float64, open int) {
	for _, b := range c.Bodies {
		v, a := volumeArea(b.Mesh)
		area += a
		if b.Open {
			open++
		} else {
			volume += v
		}
	}
	return
}

func box(c *content.Content) r3.Vec {
	b := r3.EmptyBox()
	for _, x := range c.Bodies {
		for i := range uint32(x.Mesh.Vertices()) {
			b = b.Add(x.Mesh.Vertex(i))
		}
	}
	return b.Size()
}

// within says whether got lies within share of want.
func within(got, want, share float64) bool { return math.Abs(got-want) <= share*math.Abs(want) }
