package flat

import "math"

// Full lays up to n pieces of one shape into one tray and gives those that found room, the better of two ways: freely by
// Shelf, or in straight rows, which a bit row can miss when the last column fits exactly.
func Full(s Shape, n int, bed Bed) []Spot {
	order := make([]int, n)
	bed.Trays = 1
	spots := Shelf([]Shape{s}, order, bed)
	for i, sp := range spots {
		if sp.Tray < 0 {
			spots = spots[:i]
			break
		}
	}
	if r := rows(s, n, bed); len(r) > len(spots) {
		return r
	}
	return spots
}

// rows lays boxes of the shape in the best of its turns in rows and columns.
func rows(s Shape, n int, bed Bed) []Spot {
	best, bestN := -1, 0
	cols := func(t Turned) (int, int) {
		// 1e-9 mm: a tray of exactly ten widths holds ten
		return int((bed.W + bed.Spacing + 1e-9) / (t.Box.W() + bed.Spacing)), int((bed.H + bed.Spacing + 1e-9) / (t.Box.H() + bed.Spacing))
	}
	for i, t := range s.Turns {
		if c, r := cols(t); c*r > bestN {
			best, bestN = i, c*r
		}
	}
	if best < 0 {
		return nil
	}
	t := s.Turns[best]
	c, _ := cols(t)
	out := make([]Spot, min(n, bestN))
	for i := range out {
		x, y := float64(i%c)*(t.Box.W()+bed.Spacing), float64(i/c)*(t.Box.H()+bed.Spacing)
		out[i] = Spot{0, best, x - t.Box.MinX, y - t.Box.MinY}
	}
	return out
}

// Congruent says whether two rings are the same up to where they begin, within 1e-9 of their size, after moving the corners of
// their boxes together.
func Congruent(p, q Poly) bool {
	if len(p) != len(q) {
		return false
	}
	bp, bq := p.Box(), q.Box()
	eps := 1e-9 * math.Max(bp.W(), bp.H())
	n := len(p)
	for k := 0; k < n; k++ {
		same := true
		for i := 0; i < n && same; i++ {
			a, b := p[i], q[(i+k)%n]
			same = math.Abs(a.X-bp.MinX-b.X+bq.MinX) <= eps && math.Abs(a.Y-bp.MinY-b.Y+bq.MinY) <= eps
		}
		if same {
			return true
		}
	}
	return false
}
