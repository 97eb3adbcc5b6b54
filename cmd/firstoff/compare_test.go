package main

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// wedge has no symmetry.
func wedge() *mesh.Mesh {
	block := geomtest.Box(14, 9, 22).Mesh.Transformed(r3.Identity, 1, r3.Vec{X: -20, Y: 18, Z: 1}) // beside the wedge: where shells overlap, only their union is the part
	return mesh.Merge(geomtest.Wedge(60, 30, 20).Mesh, block)
}

// Points drawn on the surface, 0.05 mm proud of it, then turned and moved far away: found again, the offset measured.
func TestCompareFindsTheWayBack(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	m := wedge()
	turn, move := r3.AxisAngle(r3.Vec{X: 1, Y: -2, Z: 0.5}, 2.1), r3.Vec{X: 300, Y: -120, Z: 45}
	var b strings.Builder
	b.WriteString("# x y z\n")
	n := 0
	for n < 6000 {
		f := r.IntN(m.Facets())
		if r.Float64()*1000 > m.FacetArea(f) {
			continue
		}
		p, q, s := m.Corners(f)
		u, v := r.Float64(), r.Float64()
		if u+v > 1 {
			u, v = 1-u, 1-v
		}
		at := p.Add(q.Sub(p).Mul(u)).Add(s.Sub(p).Mul(v)).Add(m.FacetNormal(f).Mul(0.05))
		at = turn.Rotate(at).Add(move)
		fmt.Fprintf(&b, "%.6f %.6f %.6f\n", at.X, at.Y, at.Z)
		n++
	}
	scan := filepath.Join(t.TempDir(), "scan.xyz")
	if err := os.WriteFile(scan, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	nominal := model(t, "wedge.stl", m)
	for _, c := range []struct {
		tol     string
		verdict string
	}{{"0.4", "conforms"}, {"0.05", "does not conform"}, {"0", "no tolerance given"}} {
		code, out, errs := command(t, "compare", "--json", "--tolerance_mm", c.tol, nominal, scan)
		if code != 0 {
			t.Fatalf("exit %d: %s%s", code, out, errs)
		}
		var raw map[string]any
		var got compared
		if err := json.Unmarshal([]byte(out), &raw); err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal([]byte(out), &got); err != nil {
			t.Fatal(err)
		}
		want(t, raw, "transform", "points", "mean_mm", "rms_mm", "p95_mm", "max_mm", "min_mm", "inside_fraction", "verdict")
		if got.Points != 6000 || got.MeanMM < 0.03 || got.MeanMM > 0.06 || got.Verdict != c.verdict {
			t.Errorf("tolerance %s: %+v", c.tol, got)
		}
		x := turn.Rotate(r3.Vec{X: 10, Y: 5, Z: 3}).Add(move)
		tr := got.Transform
		back := r3.Vec{X: tr[0]*x.X + tr[1]*x.Y + tr[2]*x.Z + tr[3], Y: tr[4]*x.X + tr[5]*x.Y + tr[6]*x.Z + tr[7], Z: tr[8]*x.X + tr[9]*x.Y + tr[10]*x.Z + tr[11]}
		if d := back.Dist(r3.Vec{X: 10, Y: 5, Z: 3}); d > 0.07 {
			t.Errorf("a point comes back %.3f mm off", d)
		}
	}
	report := filepath.Join(t.TempDir(), "report.pdf")
	if code, _, errs := command(t, "compare", nominal, scan, "--tolerance_mm", "0.5", "--report", report); code != 0 {
		t.Fatalf("%d %s", code, errs)
	}
	if b, err := os.ReadFile(report); err != nil || !strings.HasPrefix(string(b), "%PDF-") || len(b) < 10_000 {
		t.Errorf("the report: %v, %d bytes", err, len(b))
	}
	bad := filepath.Join(t.TempDir(), "bad.xyz")
	if err := os.WriteFile(bad, []byte("1 2\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := command(t, "compare", nominal, bad); code != 1 || !strings.Contains(errs, "xyz_line") {
		t.Errorf("a broken scan: %d %s", code, errs)
	}
}
