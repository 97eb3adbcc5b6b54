package nest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
)

// judgeTrays checks trays by the code of verify.go, which shares nothing with the search.
func judgeTrays(t *testing.T, parts []Part, trays []Tray, width, depth, spacing, margin float64) {
	t.Helper()
	outline := map[string][][2]float64{}
	want := map[string]int{}
	for _, p := range parts {
		outline[p.ID] = p.Outline
		want[p.ID] += p.Quantity
	}
	for n, tr := range trays {
		var rs []ring
		for _, p := range tr.Pieces {
			r := placeRing(outline[p.ID], p.RotationDeg, p.XMM, p.YMM)
			want[p.ID]--
			x0, y0, x1, y1 := r.bounds()
			if x0 < margin-1e-6 || y0 < margin-1e-6 || x1 > width-margin+1e-6 || y1 > depth-margin+1e-6 {
				t.Errorf("tray %d: %s #%d leaves the platform: %g %g %g %g", n, p.ID, p.Piece, x0, y0, x1, y1)
			}
			for i, q := range rs {
				if a := shared(q, r); a > 1e-6*r.area() {
					t.Errorf("tray %d: %s #%d overlaps %s #%d by %g mm²", n, p.ID, p.Piece, tr.Pieces[i].ID, tr.Pieces[i].Piece, a)
				}
				if g := gap(q, r); g < spacing-1e-6 {
					t.Errorf("tray %d: %s #%d is %g mm from %s #%d, want %g", n, p.ID, p.Piece, g, tr.Pieces[i].ID, tr.Pieces[i].Piece, spacing)
				}
			}
			rs = append(rs, r)
		}
	}
	for id, n := range want {
		if n != 0 {
			t.Errorf("%s: %d pieces too few", id, n)
		}
	}
}

func rect(w, h float64) [][2]float64 { return [][2]float64{{0, 0}, {w, 0}, {w, h}, {0, h}} }

// star is a random star-shaped outline, often with deep notches.
func star(r *rand.Rand, size float64) [][2]float64 {
	n := 5 + r.IntN(20)
	var p [][2]float64
	for i := 0; i < n; i++ {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		l := size * (0.2 + 0.8*r.Float64())
		p = append(p, [2]float64{l * c, l * s})
	}
	return p
}

// Ten rectangles of 50 × 30 with 2 mm between them in 258 × 94: exactly five columns of three rows.
func TestPlatformExactRows(t *testing.T) {
	parts := []Part{{ID: "plate", Quantity: 31, Outline: rect(50, 30), RotationDeg: []float64{0}}}
	trays, err := Platform(parts, 258+10, 94+10, 2, 5, Quick{})
	if err != nil {
		t.Fatal(err)
	}
	judgeTrays(t, parts, trays, 268, 104, 2, 5)
	if len(trays) != 3 || len(trays[0].Pieces) != 15 {
		t.Errorf("%d trays, %d on the first; 15 go on a tray", len(trays), len(trays[0].Pieces))
	}
}

// An L and its half-turned twin interlock into a square with spacing; straight boxes would hold half as many.
func TestPlatformInterlocks(t *testing.T) {
	l := [][2]float64{{0, 0}, {60, 0}, {60, 20}, {20, 20}, {20, 60}, {0, 60}}
	parts := []Part{{ID: "angle", Quantity: 40, Outline: l}}
	trays, err := Platform(parts, 300, 300, 2, 0, Quick{})
	if err != nil {
		t.Fatal(err)
	}
	judgeTrays(t, parts, trays, 300, 300, 2, 0)
	if n := len(trays[0].Pieces); n < 22 { // boxes: 4 × 4 = 16
		t.Errorf("%d on the first tray", n)
	}
}

func TestPriorityFirst(t *testing.T) {
	parts := []Part{
		{ID: "late", Quantity: 3, Outline: rect(90, 90), Priority: 2},
		{ID: "early", Quantity: 3, Outline: rect(80, 80), Priority: 1},
	}
	trays, err := Platform(parts, 200, 200, 2, 1, Quick{})
	if err != nil {
		t.Fatal(err)
	}
	judgeTrays(t, parts, trays, 200, 200, 2, 1)
	early := 0
	for _, p := range trays[0].Pieces {
		if p.ID == "early" {
			early++
		}
	}
	if early != 3 {
		t.Errorf("%d early pieces on the first tray: %+v", early, trays)
	}
}

func TestPlatformRandomKeepsSpacing(t *testing.T) {
	for seed := uint64(1); seed <= 12; seed++ {
		t.Run(fmt.Sprint("seed ", seed), func(t *testing.T) {
			r := rand.New(rand.NewPCG(seed, 7))
			var parts []Part
			for i := 0; i < 8; i++ {
				parts = append(parts, Part{ID: fmt.Sprint("p", i), Quantity: 1 + r.IntN(4), Outline: star(r, 10+40*r.Float64()), Priority: r.IntN(2)})
			}
			spacing, margin := []float64{0, 1, 2.5, 7}[r.IntN(4)], []float64{0, 3}[r.IntN(2)]
			if r.IntN(2) == 0 {
				parts[0].RotationDeg = []float64{0, 30, 77.7}
			}
			trays, err := Platform(parts, 240, 180, spacing, margin, Quick{})
			if err != nil {
				t.Fatal(err)
			}
			judgeTrays(t, parts, trays, 240, 180, spacing, margin)
			again, _ := Platform(parts, 240, 180, spacing, margin, Quick{})
			if !reflect.DeepEqual(trays, again) {
				t.Error("the same request gave other trays")
			}
		})
	}
}

func TestPlatformRefuses(t *testing.T) {
	for name, f := range map[string]func() error{
		"too large": func() error {
			_, e := Platform([]Part{{"a", 1, rect(300, 10), 0, nil}}, 200, 200, 2, 0, Quick{})
			return e
		},
		"no area": func() error {
			_, e := Platform([]Part{{"a", 1, [][2]float64{{0, 0}, {1, 1}, {2, 2}}, 0, nil}}, 200, 200, 2, 0, Quick{})
			return e
		},
		"no platform": func() error { _, e := Platform(nil, 10, 10, 0, 6, Quick{}); return e },
		"nan": func() error {
			_, e := Platform([]Part{{"a", 1, [][2]float64{{0, 0}, {1, math.NaN()}, {2, 2}}, 0, nil}}, 200, 200, 2, 0, Quick{})
			return e
		},
		"negative": func() error {
			_, e := Platform([]Part{{"a", -1, rect(1, 1), 0, nil}}, 200, 200, 2, 0, Quick{})
			return e
		},
	} {
		if f() == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

func TestPlatformNothing(t *testing.T) {
	trays, err := Platform([]Part{{"a", 0, rect(5, 5), 0, nil}}, 200, 200, 2, 0, Quick{})
	if err != nil || len(trays) != 0 {
		t.Errorf("%v %v", trays, err)
	}
}

func fifty() []Part {
	r := rand.New(rand.NewPCG(3, 3))
	var parts []Part
	for i := 0; i < 50; i++ {
		parts = append(parts, Part{ID: fmt.Sprint("p", i), Quantity: 1, Outline: star(r, 8+30*r.Float64())})
	}
	return parts
}

func BenchmarkPlatform(b *testing.B) {
	for _, bc := range []struct {
		name  string
		parts []Part
	}{
		{"50 unlike parts", fifty()},
		{"one part 500 times", []Part{{ID: "a", Quantity: 500, Outline: fifty()[0].Outline}}},
		{"3 parts 40 times", func() []Part {
			p := append([]Part(nil), fifty()[:3]...)
			for i := range p {
				p[i].Quantity = 40
			}
			return p
		}()},
	} {
		b.Run(bc.name, func(b *testing.B) {
			var trays []Tray
			for i := 0; i < b.N; i++ {
				trays, _ = Platform(bc.parts, 500, 400, 3, 5, Quick{})
			}
			b.ReportMetric(float64(len(trays)), "trays")
			b.ReportMetric(100*trays[0].FillArea, "%fill")
		})
	}
}
