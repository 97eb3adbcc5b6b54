package register

import (
	"context"
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"firstoff/checks"
	"firstoff/fault"
	"firstoff/geom/r3"
	"firstoff/intake/content"
	"firstoff/intake/ply"
)

// scan/open/robust: pairs of points with known motion, up to nine in ten of them wrong. The data also scales; what is
// measured is never scaled here, so the known scale is taken out first.
func TestPairsWithMistakes(t *testing.T) {
	for _, c := range []struct {
		name   string
		within float64
		right  int // pairs the manifest says are right, where it does
		tol    float64
	}{{"benchmark_1", 0.02, 10, 2e-3}, {"benchmark_2", 0.02, 9, 2e-3}, {"benchmark_4", 0.03, 25, 2e-3}, {"benchmark_6", 0.1, 0, 0.06}} {
		dir := "scan/open/robust/" + c.name + "/"
		scale, move, turn := grid(t, dir+"s_ref.csv")[0][0], grid(t, dir+"t_ref.csv"), grid(t, dir+"R_ref.csv")
		want := Rigid{r3.Mat3{turn[0][0], turn[0][1], turn[0][2], turn[1][0], turn[1][1], turn[1][2], turn[2][0], turn[2][1], turn[2][2]}.Quat().Unit(),
			r3.Vec{X: move[0][0], Y: move[1][0], Z: move[2][0]}}
		from, to := points(t, dir+"src.ply"), points(t, dir+"dst.ply")
		for i := range from {
			from[i] = from[i].Mul(scale)
		}
		got, fit, err := Pairs(from, to, c.within)
		if err != nil {
			t.Fatal(c.name, err)
		}
		w := 0.0
		for _, p := range from {
			w = math.Max(w, got.Apply(p).Dist(want.Apply(p)))
		}
		t.Logf("%s: kept %d, rms %.4g, off by %.4g", c.name, len(fit.Kept), fit.RMS, w)
		if w > c.tol*scale || c.right > 0 && len(fit.Kept) != c.right {
			t.Errorf("%s: off by %.4g, kept %d", c.name, w, len(fit.Kept))
		}
	}
}

func points(t *testing.T, name string) []r3.Vec {
	t.Helper()
	b, err := os.ReadFile(checks.Path(t, name))
	if err != nil {
		t.Fatal(err)
	}
	p, err := ply.ReadPoints(context.Background(), b, content.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return p.At
}

func grid(t *testing.T, name string) [][]float64 {
	t.Helper()
	b, err := os.ReadFile(checks.Path(t, name))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(strings.NewReader(string(b))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := make([][]float64, len(rows))
	for i, r := range rows {
		for _, s := range r {
			v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
			if err != nil {
				t.Fatal(err)
			}
			out[i] = append(out[i], v)
		}
	}
	return out
}

func TestPairsExact(t *testing.T) {
	r := rand.New(rand.NewPCG(seed, 30))
	for range 50 {
		g := away(r, 100)
		from, to := make([]r3.Vec, 3+r.IntN(5)), []r3.Vec{}
		for i := range from {
			from[i] = r3.Vec{X: 100 * r.Float64(), Y: 50 * r.Float64(), Z: 20 * r.Float64()}
			to = append(to, g.Apply(from[i]))
		}
		got, fit, err := Pairs(from, to, 0)
		if err != nil || fit.Max > 1e-9*1000 || apart(got, g, r3.Vec{}, 100) > 1e-6 {
			t.Fatalf("seed %d: %+v %v", seed, fit, err)
		}
		if back := got.After(g.Inverse()); apart(back, Stay, r3.Vec{}, 100) > 1e-6 {
			t.Fatal("inverse")
		}
	}
	a := []r3.Vec{{X: 1}, {Y: 2}, {Z: 3}, {X: 1, Y: 1}}
	b := []r3.Vec{{X: 10}, {Y: 30}, {Z: 70}, {X: 100, Y: 1}}
	if _, _, err := Pairs(a, b, 0.1); fault.Of(err).Code != "register_pairs_disagree" {
		t.Error(err)
	}
}
