package flat

import (
	"math"
	"testing"
)

func ell(s float64) Poly {
	return Poly{{0, 0}, {6 * s, 0}, {6 * s, 2 * s}, {2 * s, 2 * s}, {2 * s, 6 * s}, {0, 6 * s}}
}

func starPoly(r *rng, size float64) Poly {
	n := 5 + r.intn(14)
	var p Poly
	for i := 0; i < n; i++ {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		l := size * (0.2 + 0.8*r.float())
		p = append(p, Pt{l * c, l * s})
	}
	return p
}

// ringsMeet is the plain test: an edge crosses an edge, or one holds a point of the other.
func ringsMeet(a, b Poly) bool {
	for i := range a {
		for j := range b {
			if crosses(a[i], a[(i+1)%len(a)], b[j], b[(j+1)%len(b)]) {
				return true
			}
		}
	}
	return inside(a, b[0]) || inside(b, a[0])
}

func inside(p Poly, q Pt) bool {
	in := false
	for i, a := range p {
		b := p[(i+1)%len(p)]
		if (a.Y > q.Y) != (b.Y > q.Y) && q.X < a.X+(b.X-a.X)*(q.Y-a.Y)/(b.Y-a.Y) {
			in = !in
		}
	}
	return in
}

func TestPiecesCover(t *testing.T) {
	r := newRNG(4)
	for k := 0; k < 200; k++ {
		p := Clean(starPoly(&r, 10))
		var sum float64
		for _, q := range Pieces(p) {
			sum += q.Area()
			for i := range q {
				u, v := q[(i+1)%len(q)].Sub(q[i]), q[(i+2)%len(q)].Sub(q[(i+1)%len(q)])
				if u.Cross(v) < -1e-9 {
					t.Fatalf("piece not convex: %v", q)
				}
			}
		}
		if math.Abs(sum-p.Area()) > 1e-9*p.Area() {
			t.Fatalf("pieces cover %g of %g", sum, p.Area())
		}
	}
}

func TestSimplifyHoldsOutline(t *testing.T) {
	r := newRNG(9)
	for k := 0; k < 200; k++ {
		p := Clean(starPoly(&r, 10))
		q := Simplify(p, 0.05, 1)
		if _, _, bad := Crossing(q); bad {
			t.Fatalf("simplified outline crosses itself")
		}
		if a := q.Area(); a < p.Area()-1e-9 || a > p.Area()*1.05+1e-9 {
			t.Fatalf("area %g of %g", a, p.Area())
		}
		for _, v := range p { // every corner inside or on
			d := math.Inf(1)
			for i := range q {
				d = math.Min(d, segDist(v, q[i], q[(i+1)%len(q)]))
			}
			if d > 1e-9 && !inside(q, v) {
				t.Fatalf("corner %v outside by %g", v, d)
			}
		}
	}
}

func segDist(p, a, b Pt) float64 {
	e := b.Sub(a)
	u := math.Max(0, math.Min(1, p.Sub(a).Dot(e)/e.Dot(e)))
	return p.Sub(a.Add(e.Mul(u))).Len()
}

// The map's yes or no against the plain test, with and without spacing, on random shapes and displacements.
func TestFitMapAgreesWithEdges(t *testing.T) {
	r := newRNG(11)
	for k := 0; k < 60; k++ {
		a, _ := NewShape(starPoly(&r, 10), []float64{90}, Reach{})
		b, _ := NewShape(starPoly(&r, 3+8*r.float()), []float64{33}, Reach{})
		gap := 0.0
		var ring Poly
		if k%2 == 1 {
			gap = 1.5
			ring = disc(gap)
		}
		m := newFitMap(a.Turns[0].Pieces, b.Turns[0].Pieces, ring, 1e-9)
		for i := 0; i < 1500; i++ {
			d := Pt{(r.float() - 0.5) * 44, (r.float() - 0.5) * 44}
			moved := make(Poly, len(b.Turns[0].Ring))
			for j, q := range b.Turns[0].Ring {
				moved[j] = q.Add(d)
			}
			depth := m.depth(d.X, d.Y)
			dist := math.Inf(1)
			for i, p := range a.Turns[0].Ring {
				p2 := a.Turns[0].Ring[(i+1)%len(a.Turns[0].Ring)]
				for j, q := range moved {
					q2 := moved[(j+1)%len(moved)]
					dist = math.Min(dist, math.Min(math.Min(segDist(p, q, q2), segDist(p2, q, q2)), math.Min(segDist(q, p, p2), segDist(q2, p, p2))))
				}
			}
			meet := ringsMeet(a.Turns[0].Ring, moved)
			if depth == 0 && (meet || dist < gap-1e-8) {
				t.Fatalf("case %d: free at %v but meet=%v distance %g (spacing %g)", k, d, meet, dist, gap)
			}
			if depth > 0 && !meet && dist > gap*1.03+1e-8 {
				t.Fatalf("case %d: depth %g at %v but %g apart (spacing %g)", k, depth, d, dist, gap)
			}
			w, ux, uy := m.way(d.X, d.Y)
			if w != depth || depth > 0 && math.Abs(math.Hypot(ux, uy)-1) > 1e-9 {
				t.Fatalf("way %g %g %g, depth %g", w, ux, uy, depth)
			}
		}
	}
}

func BenchmarkNewFitMap(b *testing.B) {
	r := newRNG(5)
	s, _ := NewShape(starPoly(&r, 10), []float64{0}, Reach{})
	u, _ := NewShape(starPoly(&r, 10), []float64{0}, Reach{})
	b.ReportMetric(float64(len(s.Turns[0].Pieces)*len(u.Turns[0].Pieces)), "pieces")
	for i := 0; i < b.N; i++ {
		newFitMap(s.Turns[0].Pieces, u.Turns[0].Pieces, nil, 0)
	}
}

func BenchmarkDepth(b *testing.B) {
	r := newRNG(5)
	s, _ := NewShape(starPoly(&r, 10), []float64{0}, Reach{})
	m := newFitMap(s.Turns[0].Pieces, s.Turns[0].Pieces, nil, 0)
	var ds [1024]Pt
	for i := range ds {
		ds[i] = Pt{(r.float() - 0.5) * 40, (r.float() - 0.5) * 40}
	}
	b.ResetTimer()
	var sum float64
	for i := 0; i < b.N; i++ {
		d := ds[i&1023]
		sum += m.depth(d.X, d.Y)
	}
	_ = sum
}

func BenchmarkNewShape(b *testing.B) {
	var p Poly
	r := newRNG(2)
	for i := range 2000 {
		s, c := math.Sincos(float64(i) * math.Pi / 1000)
		l := 50 + 10*math.Sin(float64(i)/80) + 0.02*r.float()
		p = append(p, Pt{l * c, l * s})
	}
	for range b.N {
		s, _ := NewShape(p, []float64{0, 90, 180, 270}, Reach{MM: 0.5, Grow: 0.01})
		b.ReportMetric(float64(len(s.Turns[0].Ring)), "corners")
	}
}
