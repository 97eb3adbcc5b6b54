package scan

import (
	"math"
	"math/rand/v2"
	"testing"

	"firstoff/geom/geomtest"
	"firstoff/geom/r3"
)

// TestBump: a block with a boss on it, scanned in another place and pose with noise; a patch of its +z side stands 0.3 mm too high.
func TestBump(t *testing.T) {
	m := geomtest.Wedge(60, 40, 25).Mesh
	r := rand.New(rand.NewPCG(4, 2))
	q := geomtest.Turn(r)
	var pts []r3.Vec
	total := m.Measure().AreaMM2
	for f := range m.Facets() {
		a, b, c := m.Vertex(m.Tri[3*f]), m.Vertex(m.Tri[3*f+1]), m.Vertex(m.Tri[3*f+2])
		n := m.FacetNormal(f)
		for range int(20_000 * m.FacetArea(f) / total) {
			u, v := r.Float64(), r.Float64()
			if u+v > 1 {
				u, v = 1-u, 1-v
			}
			p := a.Add(b.Sub(a).Mul(u)).Add(c.Sub(a).Mul(v))
			d := 0.01 * r.NormFloat64()
			if n.Z > 0.9 || n.Z > 0.3 && p.X > 20 && p.X < 28 && p.Y > 10 && p.Y < 20 {
				if p.X > 20 && p.X < 28 && p.Y > 10 && p.Y < 20 {
					d += 0.3
				}
			}
			pts = append(pts, q.Rotate(p.Add(n.Mul(d))).Add(r3.Vec{X: 500, Y: -30, Z: 7}))
		}
	}
	res, at, err := Compare(pts, m, 0.5)
	if err != nil {
		t.Fatal(err)
	}
	if res.Verdict != Fails || res.Stats.Max < 0.25 || res.Stats.Max > 0.36 || math.Abs(res.Stats.Median) > 0.01 || res.Stats.Beyond != 0 || !res.Unique {
		t.Errorf("%+v", res.Stats)
	}
	if loose, _, err := Compare(pts, m, 0.8); err != nil || loose.Verdict != Conforms {
		t.Errorf("%v %s", err, loose.Verdict)
	}
	if free, _, err := Compare(pts, m, 0); err != nil || free.Verdict != Unasked || free.BandMM <= 0 {
		t.Errorf("%v %s", err, free.Verdict)
	}
	most, where := 0.0, ""
	n := 0
	for _, g := range res.Regions {
		n += g.Stats.Count
		if g.Stats.Max > most {
			most, where = g.Stats.Max, g.Name
		}
	}
	if n != len(pts) || where == "" || where == "facing -z" {
		t.Errorf("%d points in regions, the bump on %q", n, where)
	}
	count := 0
	for _, b := range res.Bins {
		count += b.Count
	}
	if count != len(pts) {
		t.Errorf("%d points in bins", count)
	}
	for i, d := range Vertices(at, m) {
		if !(math.Abs(d) < 0.1) {
			t.Errorf("vertex %d: %g", i, d)
		}
	}
	again, _, err := Compare(pts, m, 0.5)
	if err != nil || again.Transform != res.Transform || again.Stats != res.Stats {
		t.Error("the same points gave another answer")
	}
}

func TestBand(t *testing.T) {
	for d, want := range map[float64]int{0: Even, 0.04: Even, 0.06: Outside1, 0.2: Outside2, 1: High, -0.06: Inside1, -0.2: Inside2, -1: Deep} {
		if got := Band(d, 0.1); got != want {
			t.Errorf("%g: %d, want %d", d, got, want)
		}
	}
	if Band(math.NaN(), 0.1) != Bare {
		t.Error("no point")
	}
	for x, want := range map[float64]float64{0.013: 0.02, 0.1: 0.1, 0.21: 0.25, 3: 5, 7: 10} {
		if got := round(x); math.Abs(got-want) > 1e-12 {
			t.Errorf("%g: %g", x, got)
		}
	}
}
