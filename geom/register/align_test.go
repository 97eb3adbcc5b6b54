package register

import (
	"bufio"
	"compress/gzip"
	"context"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"firstoff/checks"
	"firstoff/fault"
	"firstoff/geom/bvh"
	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/intake/content"
	"firstoff/intake/ply"
)

const seed = 20260301

// scanned are n points on the surface, evenly by area; keep chooses facets by normal and middle.
func scanned(m *mesh.Mesh, n int, r *rand.Rand, keep func(normal, at r3.Vec) bool) []r3.Vec {
	cum := make([]float64, m.Facets())
	sum := 0.0
	for f := range cum {
		a, b, c := m.Corners(f)
		if keep == nil || keep(m.FacetNormal(f), a.Add(b).Add(c).Mul(1.0/3)) {
			sum += m.FacetArea(f)
		}
		cum[f] = sum
	}
	out := make([]r3.Vec, n)
	for i := range out {
		x := r.Float64() * sum
		lo, hi := 0, len(cum)-1
		for lo < hi {
			if mid := (lo + hi) / 2; cum[mid] > x {
				hi = mid
			} else {
				lo = mid + 1
			}
		}
		a, b, c := m.Corners(lo)
		u, v := r.Float64(), r.Float64()
		if u+v > 1 {
			u, v = 1-u, 1-v
		}
		out[i] = a.Add(b.Sub(a).Mul(u)).Add(c.Sub(a).Mul(v))
	}
	return out
}

// away is a motion to anywhere.
func away(r *rand.Rand, size float64) Rigid {
	return Rigid{geomtest.Turn(r), r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Mul(3 * size)}
}

// worst is the largest distance between where got takes the moved points and where they were.
func worst(got, moved Rigid, pts []r3.Vec) float64 {
	w := 0.0
	for _, p := range pts {
		w = math.Max(w, got.Apply(moved.Apply(p)).Dist(p))
	}
	return w
}

func movedBy(g Rigid, pts []r3.Vec) []r3.Vec {
	out := make([]r3.Vec, len(pts))
	g.ApplyAll(pts, out)
	return out
}

// bracket has no symmetry at all: a wedge with a block at one place of its foot and a post on another.
func bracket() *mesh.Mesh {
	block := geomtest.Box(14, 9, 22).Mesh.Transformed(r3.Identity, 1, r3.Vec{X: -9, Y: 18, Z: 1})
	post := geomtest.Cylinder(4, 30, 24).Mesh.Transformed(r3.Identity, 1, r3.Vec{X: 45, Y: 8, Z: 2})
	return mesh.Merge(geomtest.Wedge(60, 30, 20).Mesh, block, post)
}

func TestFromAnyPose(t *testing.T) {
	r := rand.New(rand.NewPCG(seed, 1))
	for _, x := range []struct {
		name string
		m    *mesh.Mesh
	}{{"wedge", geomtest.Wedge(60, 30, 20).Mesh}, {"bracket", bracket()}, {"rib", geomtest.Rib(30, 6, 4, 12, 1.7, 60).Mesh}} {
		name, m := x.name, x.m
		tree, size := bvh.Build(m), m.Box().Size().Norm()
		for trial := range 2 {
			moved := away(r, size)
			pts := scanned(m, 3000, r, nil)
			got, fit, err := Align(movedBy(moved, pts), tree, m, Options{})
			if err != nil {
				t.Fatal(err)
			}
			w := worst(got, moved, pts)
			if name == "rib" && fit.Rivals > 0 {
				w = fit.RMS // its ends may be exchanged
			}
			// A rib is a screw: but for its ends it slides along itself.
			if w > 0.001*size || fit.Free != 0 && name != "rib" || math.Abs(fit.SizeRatio-1) > 0.7 {
				t.Errorf("%s, trial %d, seed %d: off by %.4g of %.4g: %+v", name, trial, seed, w, size, fit)
			}
			if name != "rib" && fit.Rivals != 0 {
				t.Errorf("%s: %d rivals", name, fit.Rivals)
			}
		}
	}
}

// Parts that fit in several ways: any of them, but the points must lie on the surface and Fit must say so.
func TestSymmetricParts(t *testing.T) {
	r := rand.New(rand.NewPCG(seed, 2))
	for _, c := range []struct {
		name        string
		m           *mesh.Mesh
		free, rival int // the least of each
	}{
		{"block", geomtest.Box(60, 35, 20).Mesh, 0, 3},
		{"cube", geomtest.Box(30, 30, 30).Mesh, 0, 7},
		{"cylinder", geomtest.Cylinder(15, 50, 96).Mesh, 1, 1},
		{"ball", geomtest.Sphere(20, 96).Mesh, 3, 1},
		{"ring", geomtest.Torus(30, 8, 96, 48).Mesh, 1, 1},
		{"cone", geomtest.Cone(15, 40, 96).Mesh, 1, 1},
	} {
		tree, size := bvh.Build(c.m), c.m.Box().Size().Norm()
		moved := away(r, size)
		pts := scanned(c.m, 3000, r, nil)
		there := movedBy(moved, pts)
		got, fit, err := Align(there, tree, c.m, Options{})
		if err != nil {
			t.Fatal(err)
		}
		_, s, err := Deviations(there, got, tree, c.m, 0, 0)
		if err != nil {
			t.Fatal(err)
		}
		if s.AbsMax > 0.001*size {
			t.Errorf("%s, seed %d: off by up to %.4g of %.4g: %+v", c.name, seed, s.AbsMax, size, fit)
		}
		if fit.Free != c.free || fit.Rivals < c.rival || fit.Unique() {
			t.Errorf("%s: free %d (want %d), rivals %d (want at least %d)", c.name, fit.Free, c.free, fit.Rivals, c.rival)
		}
	}
}

// A scan from one side sees less than half of the part.
func TestOneSide(t *testing.T) {
	r := rand.New(rand.NewPCG(seed, 3))
	m := bracket()
	tree, size := bvh.Build(m), m.Box().Size().Norm()
	for trial := range 3 {
		view := r3.Vec{X: 0.5, Y: -0.6, Z: 0.7}
		if trial == 1 {
			view = r3.Vec{X: -0.7, Y: 0.5, Z: 0.4}
		} else if trial == 2 {
			view = r3.Vec{X: 0.3, Y: 0.8, Z: 0.5}
		}
		pts := scanned(m, 4000, r, func(n, _ r3.Vec) bool { return n.Dot(view) > 0.15 })
		moved := away(r, size)
		got, fit, err := Align(movedBy(moved, pts), tree, m, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if w := worst(got, moved, pts); w > 0.001*size {
			t.Errorf("view %d, seed %d: off by %.4g of %.4g: %+v", trial, seed, w, size, fit)
		}
	}
}

// Noise of 0.05 mm and a tenth of strays around the part.
func TestStrays(t *testing.T) {
	r := rand.New(rand.NewPCG(seed, 4))
	m := bracket()
	tree, size := bvh.Build(m), m.Box().Size().Norm()
	pts := scanned(m, 6000, r, nil)
	measured := make([]r3.Vec, len(pts))
	for i, p := range pts {
		measured[i] = p.Add(r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Mul(0.05))
		if i%10 == 0 {
			measured[i] = r3.Vec{X: 90*r.Float64() - 25, Y: 60*r.Float64() - 10, Z: 50*r.Float64() - 10}
		}
	}
	moved := away(r, size)
	got, fit, err := Align(movedBy(moved, measured), tree, m, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if w := worst(got, moved, pts); w > 0.001*size {
		t.Errorf("seed %d: off by %.4g of %.4g: %+v", seed, w, size, fit)
	}
	_, s, err := Deviations(movedBy(moved, measured), got, tree, m, 1, 0)
	if err != nil || s.Beyond < 300 || s.Beyond > 600 {
		t.Errorf("%d points beyond reach %v", s.Beyond, err)
	}
}

func TestSameBits(t *testing.T) {
	r := rand.New(rand.NewPCG(seed, 5))
	m := geomtest.Wedge(60, 30, 20).Mesh
	pts := movedBy(away(r, 60), scanned(m, 2000, r, nil))
	run := func(procs int) (Rigid, Fit) {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(procs))
		g, f, err := Align(pts, bvh.Build(m), m, Options{})
		if err != nil {
			t.Fatal(err)
		}
		return g, f
	}
	g1, f1 := run(1)
	g4, f4 := run(4)
	if g1 != g4 || f1 != f4 {
		t.Errorf("one core %v %+v, four %v %+v", g1, f1, g4, f4)
	}
}

// From a start that is already close, nothing is searched.
func TestKnownStart(t *testing.T) {
	r := rand.New(rand.NewPCG(seed, 6))
	m := bracket()
	pts := scanned(m, 2000, r, nil)
	moved := Rigid{r3.AxisAngle(r3.Vec{X: 1, Y: 2, Z: -1}, 0.08), r3.Vec{X: 1, Y: -2, Z: 1.5}}
	got, fit, err := Align(movedBy(moved, pts), bvh.Build(m), m, Options{Start: &Stay, Trim: -1})
	if err != nil || !fit.Still || worst(got, moved, pts) > 1e-3 {
		t.Errorf("off by %g: %+v %v", worst(got, moved, pts), fit, err)
	}
}

func cloud(t *testing.T, name string) []byte {
	t.Helper()
	f, err := os.Open(checks.Path(t, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	b, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// scan/open/bunny: raw range scans from two sides against the reconstructed surface. The first scan's pose is the
// surface's own frame; the second's is the one the manifest states (with its caution about the sign of the turn).
func TestRangeScan(t *testing.T) {
	c, err := ply.Read(context.Background(), cloud(t, "scan/open/bunny/bun_zipper.ply.gz"), content.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	m := c.Bodies[0].Mesh.Transformed(r3.Identity, 1000, r3.Vec{})
	tree, size := bvh.Build(m), m.Box().Size().Norm()
	r := rand.New(rand.NewPCG(seed, 7))
	for _, s := range []struct {
		name string
		pose Rigid
	}{
		{"bun000", Stay},
		{"bun045", Rigid{r3.Mat3{0.826350588, -0.010600376, 0.563056248, 0.004136681, 0.999910111, 0.012753743, -0.56314083, -0.008209879, 0.826320158}.Quat().Unit(),
			r3.Vec{X: -52.0211, Y: -0.383981, Z: -10.9223}}},
	} {
		p, err := ply.ReadPoints(context.Background(), cloud(t, "scan/open/bunny/"+s.name+".ply.gz"), content.Limits{})
		if err != nil {
			t.Fatal(err)
		}
		held := make([]r3.Vec, len(p.At))
		for i, x := range p.At {
			held[i] = s.pose.Apply(x.Mul(1000))
		}
		for trial := range 1 {
			moved := away(r, size)
			got, fit, err := Align(movedBy(moved, held), tree, m, Options{})
			if err != nil {
				t.Fatal(err)
			}
			// The stated pose is itself a fit of scans to each other, and the surface was made from it: both agree
			// to a fraction of the scans' own noise (0.13 mm).
			w := worst(got, moved, held)
			t.Logf("%s trial %d: off by %.4f mm of %.1f (%.4f %%), rms %.4f, rounds %d, rivals %d", s.name, trial, w, size, 100*w/size, fit.RMS, fit.Rounds, fit.Rivals)
			if w > 0.001*size || fit.Rivals > 0 {
				t.Errorf("%s trial %d seed %d: off by %.4g of %.4g: %+v", s.name, trial, seed, w, size, fit)
			}
			_, d, err := Deviations(movedBy(moved, held), got, tree, m, 0, 0)
			if err != nil || d.RMS > 0.15 || d.P95 > 0.30 {
				t.Errorf("%s: deviations %+v %v", s.name, d, err)
			}
		}
	}
}

// scan/open/small: a cloud of 397 points moved must come back onto itself. It is no surface; small facets about its
// points stand for one.
func TestMovedCloud(t *testing.T) {
	f, err := os.Open(checks.Path(t, "scan/open/small/bun0.pcd"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var pts, normals []r3.Vec
	data := false
	sc := bufio.NewScanner(f)
	for sc.Scan() {
		if !data {
			data = strings.HasPrefix(sc.Text(), "DATA")
			continue
		}
		var v [6]float64
		for i, w := range strings.Fields(sc.Text())[:6] {
			if v[i], err = strconv.ParseFloat(w, 64); err != nil {
				t.Fatal(err)
			}
		}
		pts = append(pts, r3.Vec{X: v[0], Y: v[1], Z: v[2]}.Mul(1000))
		normals = append(normals, r3.Vec{X: v[3], Y: v[4], Z: v[5]}.Unit())
	}
	if len(pts) != 397 {
		t.Fatalf("%d points", len(pts))
	}
	var soup []float32
	for i, p := range pts {
		n := normals[i]
		x := n.Cross(r3.Vec{X: 0.3, Y: 0.8, Z: -0.5}).Unit().Mul(3)
		y := n.Cross(x)
		for _, c := range []r3.Vec{p.Add(x), p.Sub(x.Mul(0.5)).Add(y.Mul(0.87)), p.Sub(x.Mul(0.5)).Sub(y.Mul(0.87))} {
			soup = append(soup, float32(c.X), float32(c.Y), float32(c.Z))
		}
	}
	m := mesh.FromSoup(soup)
	size := m.Box().Size().Norm()
	r := rand.New(rand.NewPCG(seed, 8))
	moved := away(r, size)
	got, fit, err := Align(movedBy(moved, pts), bvh.Build(m), m, Options{})
	if err != nil || worst(got, moved, pts) > 0.001*size {
		t.Errorf("off by %.4g of %.4g: %+v %v", worst(got, moved, pts), size, fit, err)
	}
}

func TestPlainRefusals(t *testing.T) {
	m := geomtest.Box(1, 1, 1).Mesh
	tree := bvh.Build(m)
	good := scanned(m, 10, rand.New(rand.NewPCG(seed, 9)), nil)
	bad := append([]r3.Vec{{X: math.NaN()}}, good...)
	for _, c := range []struct {
		code string
		f    func() error
	}{
		{"register_no_surface", func() error { _, _, err := Align(good, nil, m, Options{}); return err }},
		{"register_no_surface", func() error { _, _, err := Align(good, tree, &mesh.Mesh{}, Options{}); return err }},
		{"register_trim", func() error { _, _, err := Align(good, tree, m, Options{Trim: 0.95}); return err }},
		{"register_few_points", func() error { _, _, err := Align(good[:3], tree, m, Options{}); return err }},
		{"register_point", func() error { _, _, err := Align(bad, tree, m, Options{}); return err }},
		{"register_flat_points", func() error { _, _, err := Align(make([]r3.Vec, 10), tree, m, Options{}); return err }},
		{"register_few_points", func() error { _, _, err := Deviations(nil, Stay, tree, m, 0, 0); return err }},
		{"register_few_pairs", func() error { _, _, err := Pairs(good[:2], good[:2], 0); return err }},
		{"register_pairs_in_line", func() error {
			l := []r3.Vec{{X: 1}, {X: 2}, {X: 5}}
			_, _, err := Pairs(l, l, 0)
			return err
		}},
	} {
		if e := fault.Of(c.f()); e == nil || e.Code != c.code {
			t.Errorf("want %s, got %v", c.code, e)
		}
	}
	// Points in one plane, or in one line, are no reason to break down.
	flat := make([]r3.Vec, 50)
	for i := range flat {
		flat[i] = r3.Vec{X: float64(i%7) / 7, Y: float64(i/7) / 8}
	}
	if _, fit, err := Align(flat, tree, m, Options{}); err != nil || fit.Free < 3 {
		t.Errorf("a flat patch: %+v %v", fit, err)
	}
	for i := range flat {
		flat[i].Y = 0
	}
	if _, fit, err := Align(flat, tree, m, Options{}); err != nil || fit.Unique() {
		t.Errorf("a line: %+v %v", fit, err)
	}
}
