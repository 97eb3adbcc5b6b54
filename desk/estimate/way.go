package estimate

import (
	"cmp"
	"math"
	"slices"
)

// The way of a head over raster lines, found at a sample of heights by laying the lines of those few cuts one by one: how many runs it lays
// without lifting, what it travels between them, and how line lengths are spread. Everything else comes from layer sums.

// way is what the raster lines of one region of one cut come to, laid greedily: on to a line that lies beside, else to the nearest one.
type way struct {
	lengthMM float64
	sec      float64 // laying the lines, each from rest to rest
	stepS    float64 // travel to lines beside
	starts   float64
	jumpS    float64 // travel to lines elsewhere
}

func (a way) plus(b way) way {
	return way{a.lengthMM + b.lengthMM, a.sec + b.sec, a.stepS + b.stepS, a.starts + b.starts, a.jumpS + b.jumpS}
}

func (a way) times(f float64) way {
	return way{a.lengthMM * f, a.sec * f, a.stepS * f, a.starts * f, a.jumpS * f}
}

// pace is the speeds a way is driven at.
type pace struct{ lay, travel, accel float64 }

// plan2 is a point of a cut, turned so that raster lines lie along x.
type plan2 struct{ x, y float64 }

// cut is the outlines of one height, in one turn.
type cut [][]plan2

func (c cut) extent() (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, l := range c {
		for _, p := range l {
			lo, hi = math.Min(lo, p.y), math.Max(hi, p.y)
		}
	}
	return lo, hi
}

// stretch is a piece of a raster line.
type stretch struct{ a, b float64 }

type crossing struct {
	x float64
	w int
}

// raster lays lines; its buffers are used again.
type raster struct {
	hits  [][]crossing
	near  [][]stretch
	one   []stretch
	rows  [3][][]stretch
	roads []roadLine
	first []int32
	gone  []bool
	left  []int32
}

type roadLine struct {
	a, b, y float64
	line    int32
}

// spans cuts a cut by n lines y0+(j+½)·pitch into the stretches inside (non-zero winding) that are inset or more from every outline. which is the
// buffer to use.
func (r *raster) spans(which int, c cut, y0, pitch float64, n int, inset float64) [][]stretch {
	for len(r.hits) < n {
		r.hits = append(r.hits, nil)
		r.near = append(r.near, nil)
	}
	for len(r.rows[which]) < n {
		r.rows[which] = append(r.rows[which], nil)
	}
	for j := range n {
		r.hits[j], r.near[j] = r.hits[j][:0], r.near[j][:0]
	}
	for _, l := range c {
		for i, a := range l {
			b := l[0]
			if i+1 < len(l) {
				b = l[i+1]
			}
			lo, hi, w := a, b, 1
			if b.y < a.y {
				lo, hi, w = b, a, -1
			}
			dy := hi.y - lo.y
			if inset == 0 && dy == 0 {
				continue
			}
			slope := 0.0
			if dy > 0 {
				slope = (hi.x - lo.x) / dy
			}
			for j := max(0, int(math.Ceil((lo.y-inset-y0)/pitch-0.5))-1); j < n; j++ {
				y := y0 + (float64(j)+0.5)*pitch
				if y >= hi.y+inset {
					break
				}
				if y >= lo.y && y < hi.y {
					r.hits[j] = append(r.hits[j], crossing{lo.x + (y-lo.y)*slope, w})
				}
				if inset > 0 && y > lo.y-inset {
					if s, ok := beside(lo, hi, y, inset); ok {
						r.near[j] = append(r.near[j], s)
					}
				}
			}
		}
	}
	out := r.rows[which][:n]
	for j := range out {
		h := r.hits[j]
		if len(h) > 2 {
			slices.SortFunc(h, func(p, q crossing) int { return cmp.Compare(p.x, q.x) })
		} else if len(h) == 2 && h[1].x < h[0].x {
			h[0], h[1] = h[1], h[0]
		}
		s := r.one[:0]
		w, from := 0, 0.0
		for i := range h {
			was := w
			w += h[i].w
			if was == 0 && w != 0 {
				from = h[i].x
			}
			if was != 0 && w == 0 && h[i].x-from > 1e-6 {
				s = append(s, stretch{from, h[i].x})
			}
		}
		r.one = s
		if inset == 0 || len(s) == 0 {
			out[j] = append(out[j][:0], s...)
			continue
		}
		k := r.near[j]
		slices.SortFunc(k, func(p, q stretch) int { return cmp.Compare(p.a, q.a) })
		u := 0 // merge what is too near
		for _, x := range k {
			if u > 0 && x.a <= k[u-1].b {
				k[u-1].b = math.Max(k[u-1].b, x.b)
			} else {
				k[u] = x
				u++
			}
		}
		out[j] = outsideOf(out[j][:0], s, k[:u])
	}
	return out
}

// beside is the stretch of the line at y that lies within d of the piece from lo up to hi; ok false where none does.
func beside(lo, hi plan2, y, d float64) (s stretch, ok bool) {
	s = stretch{math.Inf(1), math.Inf(-1)}
	if v := d*d - (y-lo.y)*(y-lo.y); v > 0 {
		x := math.Sqrt(v)
		s.a, s.b = lo.x-x, lo.x+x
	}
	if v := d*d - (y-hi.y)*(y-hi.y); v > 0 {
		x := math.Sqrt(v)
		if hi.x-x < s.a {
			s.a = hi.x - x
		}
		if hi.x+x > s.b {
			s.b = hi.x + x
		}
	}
	ux, uy := hi.x-lo.x, hi.y-lo.y
	if l2 := ux*ux + uy*uy; l2 > d*d/64 && uy*uy > 1e-12*l2 { // short pieces are as good as their ends
		l := math.Sqrt(l2)
		x0 := lo.x + (y-lo.y)*ux/uy
		w := d * l / uy
		// the ends of the strip |(P − lo) × u| = d whose feet lie on the piece
		for _, x := range [2]float64{x0 - w, x0 + w} {
			if t := (x-lo.x)*ux + (y-lo.y)*uy; t >= 0 && t <= l2 {
				s.a, s.b = math.Min(s.a, x), math.Max(s.b, x)
			}
		}
	} else if uy*uy <= 1e-12*l2 && math.Abs(y-lo.y) < d { // along the line
		s.a, s.b = math.Min(s.a, math.Min(lo.x, hi.x)), math.Max(s.b, math.Max(lo.x, hi.x))
	}
	return s, s.b > s.a
}

// both keeps what is in a and in b; a is overwritten where it can be.
func both(dst []stretch, a, b []stretch) []stretch {
	for i, j := 0, 0; i < len(a) && j < len(b); {
		lo, hi := math.Max(a[i].a, b[j].a), math.Min(a[i].b, b[j].b)
		if lo < hi {
			dst = append(dst, stretch{lo, hi})
		}
		if a[i].b < b[j].b {
			i++
		} else {
			j++
		}
	}
	return dst
}

// outsideOf keeps what is in a and not in b.
func outsideOf(dst []stretch, a, b []stretch) []stretch {
	for _, s := range a {
		x := s.a
		for _, t := range b {
			if t.b <= x || t.a >= s.b {
				continue
			}
			if t.a > x {
				dst = append(dst, stretch{x, t.a})
			}
			x = math.Max(x, t.b)
		}
		if x < s.b {
			dst = append(dst, stretch{x, s.b})
		}
	}
	return dst
}

// drive lays the stretches of n lines, the first at y0+pitch/2, from a head at (hx, hy).
func (r *raster) drive(rows [][]stretch, y0, pitch float64, p pace, hx, hy float64) (w way) {
	r.roads, r.first = r.roads[:0], r.first[:0]
	for j, row := range rows {
		r.first = append(r.first, int32(len(r.roads)))
		y := y0 + (float64(j)+0.5)*pitch
		for _, s := range row {
			if s.b-s.a > 1e-6 {
				r.roads = append(r.roads, roadLine{s.a, s.b, y, int32(j)})
				w.lengthMM += s.b - s.a
				w.sec += RestS(s.b-s.a, p.lay, p.accel)
			}
		}
	}
	n := len(r.roads)
	r.first = append(r.first, int32(n))
	if cap(r.gone) < n {
		r.gone = make([]bool, n)
	}
	r.gone = r.gone[:n]
	clear(r.gone)
	r.left = r.left[:0]
	for i := range n {
		r.left = append(r.left, int32(i))
	}
	travel := func(x, y float64) float64 {
		if p.travel <= 0 {
			return 0
		}
		return RestS(math.Hypot(x-hx, y-hy), p.travel, p.accel)
	}
	last := int32(-1)
	for range n {
		at, flip := int32(-1), false
		best := math.Inf(1)
		if last >= 0 {
			o := &r.roads[last]
			for _, line := range [2]int32{o.line + 1, o.line - 1} {
				if line < 0 || int(line) >= len(rows) {
					continue
				}
				for i := r.first[line]; i < r.first[line+1]; i++ {
					q := &r.roads[i]
					if r.gone[i] || q.b < o.a-2*pitch || q.a > o.b+2*pitch {
						continue
					}
					if d := math.Abs(q.a - hx); d < best {
						best, at, flip = d, i, false
					}
					if d := math.Abs(q.b - hx); d < best {
						best, at, flip = d, i, true
					}
				}
			}
		}
		if at < 0 {
			k := 0
			for _, i := range r.left {
				if r.gone[i] {
					continue
				}
				r.left[k] = i
				k++
				q := &r.roads[i]
				dy := q.y - hy
				if d := (q.a-hx)*(q.a-hx) + dy*dy; d < best {
					best, at, flip = d, i, false
				}
				if d := (q.b-hx)*(q.b-hx) + dy*dy; d < best {
					best, at, flip = d, i, true
				}
			}
			r.left = r.left[:k]
			w.starts++
			q := &r.roads[at]
			if flip {
				w.jumpS += travel(q.b, q.y)
			} else {
				w.jumpS += travel(q.a, q.y)
			}
		} else {
			q := &r.roads[at]
			if flip {
				w.stepS += travel(q.b, q.y)
			} else {
				w.stepS += travel(q.a, q.y)
			}
		}
		q := &r.roads[at]
		hx, hy = q.b, q.y
		if flip {
			hx = q.a
		}
		r.gone[at] = true
		last = at
	}
	return w
}

// fillWays are the ways of one cut's regions: everything inside the outline roads, the skin of it and the core of it.
type fillWays struct{ inner, skin, core way }

// fills lays the regions of cut c. above and below are the cuts a skin's thickness away; nil: there is none, all is skin. pitch 0 leaves the
// core out, wantInner says whether the whole is wanted too.
func (r *raster) fills(c, below, above cut, w, inset, corePitch float64, p pace, wantInner, wantSkin bool) (f fillWays) {
	lo, hi := c.extent()
	lo, hi = lo+inset, hi-inset
	if !(hi > lo) {
		return f
	}
	hx, hy := c[0][0].x, c[0][0].y
	setup := func(pitch float64) (int, float64) {
		n := max(1, int(math.Round((hi-lo)/pitch)))
		return n, lo + ((hi-lo)-float64(n)*pitch)/2
	}
	allSkin := below == nil || above == nil
	n, y0 := setup(w)
	if wantInner || wantSkin {
		inner := r.spans(0, c, y0, w, n, inset)
		if wantInner || allSkin {
			f.inner = r.drive(inner, y0, w, p, hx, hy)
		}
		if wantSkin && allSkin {
			f.skin = f.inner
		} else if wantSkin {
			b, a := r.spans(1, below, y0, w, n, 0), r.spans(2, above, y0, w, n, 0)
			for j := range inner {
				var t, s [16]stretch
				core := both(t[:0], b[j], a[j])
				inner[j] = append(inner[j][:0], outsideOf(s[:0], inner[j], core)...)
			}
			f.skin = r.drive(inner, y0, w, p, hx, hy)
		}
	}
	if corePitch > 0 && !allSkin {
		n, y0 := setup(corePitch)
		inner := r.spans(0, c, y0, corePitch, n, inset)
		b, a := r.spans(1, below, y0, corePitch, n, 0), r.spans(2, above, y0, corePitch, n, 0)
		for j := range inner {
			var t, s [16]stretch
			inner[j] = append(inner[j][:0], both(s[:0], inner[j], both(t[:0], b[j], a[j]))...)
		}
		f.core = r.drive(inner, y0, corePitch, p, hx, hy)
	}
	return f
}
