package roads

import (
	"math"
	"slices"
)

// span is an interval along a raster line.
type span struct{ a, b float64 }

// turned rotates contours by −deg so that raster lines at deg lie along x.
func turned(loops [][]pt, deg float64) [][]pt {
	s, c := math.Sincos(-deg * math.Pi / 180)
	if deg == 0 {
		return loops
	}
	out := make([][]pt, len(loops))
	for i, l := range loops {
		t := make([]pt, len(l))
		for k, p := range l {
			t[k] = pt{c*p.x - s*p.y, s*p.x + c*p.y}
		}
		out[i] = t
	}
	return out
}

// spin turns a point by deg.
func spin(p pt, deg float64) pt {
	s, c := math.Sincos(deg * math.Pi / 180)
	return pt{c*p.x - s*p.y, s*p.x + c*p.y}
}

// lines cuts loops by the lines y = y0 + (j+½)·pitch, j = 0..n-1, into inside spans (non-zero winding).
func lines(loops [][]pt, y0, pitch float64, n int) [][]span {
	type hit struct {
		x float64
		w int
	}
	hits := make([][]hit, n)
	for _, l := range loops {
		for i := range l {
			a, b := l[i], l[(i+1)%len(l)]
			w := 1
			if a.y > b.y {
				a, b, w = b, a, -1
			}
			if a.y == b.y {
				continue
			}
			j := max(0, int(math.Ceil((a.y-y0)/pitch-0.5))-1) // one early: the comparisons below decide
			for ; j < n; j++ {
				y := y0 + (float64(j)+0.5)*pitch
				if y >= b.y {
					break
				}
				if y < a.y {
					continue
				}
				hits[j] = append(hits[j], hit{a.x + (y-a.y)/(b.y-a.y)*(b.x-a.x), w})
			}
		}
	}
	out := make([][]span, n)
	for j, h := range hits {
		slices.SortFunc(h, func(p, q hit) int {
			switch {
			case p.x < q.x:
				return -1
			case p.x > q.x:
				return 1
			}
			return 0
		})
		w := 0
		for i := range h {
			was := w
			w += h[i].w
			if was == 0 && w != 0 {
				out[j] = append(out[j], span{h[i].x, h[i].x})
			}
			if was != 0 && w == 0 {
				out[j][len(out[j])-1].b = h[i].x
			}
		}
	}
	return out
}

// and keeps what is in both (both sorted, disjoint).
func and(a, b []span) []span {
	var out []span
	for i, j := 0, 0; i < len(a) && j < len(b); {
		lo, hi := math.Max(a[i].a, b[j].a), math.Min(a[i].b, b[j].b)
		if lo < hi {
			out = append(out, span{lo, hi})
		}
		if a[i].b < b[j].b {
			i++
		} else {
			j++
		}
	}
	return out
}

// without keeps what is in a and not in b.
func without(a, b []span) []span {
	var out []span
	for _, s := range a {
		x := s.a
		for _, t := range b {
			if t.b <= x || t.a >= s.b {
				continue
			}
			if t.a > x {
				out = append(out, span{x, t.a})
			}
			x = math.Max(x, t.b)
		}
		if x < s.b {
			out = append(out, span{x, s.b})
		}
	}
	return out
}

func extentY(loops [][]pt) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, l := range loops {
		for _, p := range l {
			lo, hi = math.Min(lo, p.y), math.Max(hi, p.y)
		}
	}
	return lo, hi
}
