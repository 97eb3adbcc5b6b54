package flat

import (
	"context"
	"math"
	"reflect"
	"testing"
)

// pieces is a small mixed set with notches.
func pieces() ([]Shape, []int) {
	r := newRNG(21)
	var shapes []Shape
	var order []int
	add := func(p Poly, n int) {
		s, _ := NewShape(p, []float64{0, 90, 180, 270}, Reach{MM: 0.01, Grow: 0.001})
		for range n {
			order = append(order, len(shapes))
		}
		shapes = append(shapes, s)
	}
	add(ell(2), 4)
	add(Poly{{0, 0}, {9, 0}, {9, 5}, {0, 5}}, 4)
	for k := 0; k < 6; k++ {
		add(starPoly(&r, 6), 3)
	}
	return shapes, order
}

func checkStrip(t *testing.T, shapes []Shape, order []int, width, spacing float64, l Layout) {
	t.Helper()
	rings := make([]Poly, len(order))
	for i, k := range order {
		turn := shapes[k].Turns[l.Spots[i].Turn]
		r := shapes[k].Outline.Rotate(turn.Deg)
		for j := range r {
			r[j] = r[j].Add(Pt{l.Spots[i].X, l.Spots[i].Y})
		}
		rings[i] = r
		b := r.Box()
		if b.MinX < -1e-6 || b.MinY < -1e-6 || b.MaxY > width+1e-6 || b.MaxX > l.Length+1e-6 {
			t.Errorf("piece %d leaves the strip: %+v, length %g", i, b, l.Length)
		}
		for j := 0; j < i; j++ {
			d := math.Inf(1)
			for u := range r {
				for v := range rings[j] {
					u2, v2 := r[(u+1)%len(r)], rings[j][(v+1)%len(rings[j])]
					d = math.Min(d, math.Min(math.Min(segDist(r[u], rings[j][v], v2), segDist(u2, rings[j][v], v2)),
						math.Min(segDist(rings[j][v], r[u], u2), segDist(v2, r[u], u2))))
				}
			}
			if d < spacing-1e-6 {
				t.Errorf("pieces %d and %d are %g apart, want %g", i, j, d, spacing)
			}
			if d > 1e-6 && ringsMeet(r, rings[j]) {
				t.Errorf("pieces %d and %d overlap", i, j)
			}
		}
	}
}

func TestStripIsFree(t *testing.T) {
	shapes, order := pieces()
	for _, spacing := range []float64{0, 0.7} {
		first := Strip(context.Background(), shapes, order, 30, spacing, Limits{Rounds: 1, Searchers: 1, Seed: 1})
		checkStrip(t, shapes, order, 30, spacing, first)
		l := Strip(context.Background(), shapes, order, 30, spacing, Limits{Rounds: 1500, Searchers: 2, Seed: 1})
		checkStrip(t, shapes, order, 30, spacing, l)
		if l.Length > 0.97*first.Length {
			t.Errorf("spacing %g: searched to %g from %g", spacing, l.Length, first.Length)
		}
	}
}

func TestStripRepeats(t *testing.T) {
	shapes, order := pieces()
	a := Strip(context.Background(), shapes, order, 30, 0, Limits{Rounds: 400, Searchers: 2, Seed: 5})
	b := Strip(context.Background(), shapes, order, 30, 0, Limits{Rounds: 400, Searchers: 2, Seed: 5})
	if !reflect.DeepEqual(a, b) {
		t.Errorf("lengths %v and %v", a.Length, b.Length)
	}
}

func BenchmarkStrip(b *testing.B) {
	shapes, order := pieces()
	for i := 0; i < b.N; i++ {
		Strip(context.Background(), shapes, order, 30, 0, Limits{Rounds: 1000, Searchers: 1, Seed: 5})
	}
}
