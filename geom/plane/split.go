package plane

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
	"sync"
)

// edge runs from its left end (lower one when upright). Coordinates are steps from the work's corner, under 2^30.
type edge struct {
	ax, ay, bx, by int32
	da, db         int32 // what the winding numbers of the two operands gain from below to above
}

// work is one operation's edges and scratch.
type work struct {
	edges      []edge
	x0, y0     int64
	shift      uint   // regions wider than 2^30 steps (4 m) are worked on a coarser grid
	w, h       int32  // extent
	changed    []bool // edges made by the last split
	most       int    // crossings of one round before giving up; 0: any number
	nearStart  []int32
	nearFill   []int32
	nearEdges  []int32
	cuts       []cut
	spare      []edge
	spareMarks []bool
	sweepWork
}

// cut is a point at which an edge is to be split.
type cut struct {
	edge int32
	x, y int32
}

var workPool = sync.Pool{New: func() any { return new(work) }}

// load takes the edges of the operands.
func (w *work) load(a, b Region) {
	w.edges = w.edges[:0]
	low, high, ok := a.Box()
	if l, h, okb := b.Box(); okb {
		if !ok {
			low, high, ok = l, h, true
		}
		low = Point{min(low.X, l.X), min(low.Y, l.Y)}
		high = Point{max(high.X, h.X), max(high.Y, h.Y)}
	}
	if !ok {
		return
	}
	w.shift = 0
	if wide := uint64(max(high.X-low.X, high.Y-low.Y)); wide >= 1<<30 {
		w.shift = uint(bits.Len64(wide) - 30)
	}
	w.x0, w.y0 = low.X>>w.shift, low.Y>>w.shift
	w.w, w.h = int32(high.X>>w.shift-w.x0), int32(high.Y>>w.shift-w.y0)
	for op, r := range [2]Region{a, b} {
		for _, p := range r {
			if len(p) < 2 {
				continue
			}
			q := p[len(p)-1]
			ax, ay := int32(q.X>>w.shift-w.x0), int32(q.Y>>w.shift-w.y0)
			for _, q := range p {
				bx, by := int32(q.X>>w.shift-w.x0), int32(q.Y>>w.shift-w.y0)
				e := edge{ax: ax, ay: ay, bx: bx, by: by}
				d := int32(1) // region to the left of a path: above an edge that runs right
				if ax > bx || ax == bx && ay > by {
					e.ax, e.ay, e.bx, e.by = bx, by, ax, ay
					d = -1
				}
				if op == 0 {
					e.da = d
				} else {
					e.db = d
				}
				if ax != bx || ay != by {
					w.edges = append(w.edges, e)
				}
				ax, ay = bx, by
			}
		}
	}
}

// mostRounds bounds the splitting; rounding moves edges by less than a step, so a second round is nearly always the last.
const mostRounds = 32

// split cuts edges until they meet at their ends only. ok is false when there were more crossings than w.most.
func (w *work) split() (ok bool) {
	w.changed = w.changed[:0]
	for round := range mostRounds {
		w.meet(round > 0)
		if len(w.cuts) == 0 {
			break
		}
		if w.most > 0 && len(w.cuts) > w.most {
			return false
		}
		w.apply()
	}
	return true
}

// meet finds where edges meet other than at common ends. With changedOnly, pairs of unchanged edges are known not to.
func (w *work) meet(changedOnly bool) {
	w.cuts = w.cuts[:0]
	n := len(w.edges)
	if n < 2 {
		return
	}
	// a grid of about the edges' size
	var length int64
	for i := range w.edges {
		e := &w.edges[i]
		length += int64(e.bx-e.ax) + int64(max(e.by-e.ay, e.ay-e.by))
	}
	size := max(length/int64(n), 1)
	for (int64(w.w)/size+1)*(int64(w.h)/size+1) > int64(4*n+64) {
		size += size/4 + 1
	}
	cols, rows := int(int64(w.w)/size)+1, int(int64(w.h)/size)+1
	inv := 1 / float64(size)
	w.nearStart = grown(w.nearStart, cols*rows+1)
	clear(w.nearStart)
	visit := func(e *edge, id int32, fill bool) {
		c0, c1 := int(float64(e.ax)*inv), int(float64(e.bx)*inv)
		lo, hi := e.ay, e.by
		if lo > hi {
			lo, hi = hi, lo
		}
		r0, r1 := int(float64(lo)*inv), int(float64(hi)*inv)
		c1, r1 = min(c1, cols-1), min(r1, rows-1)
		if c0 >= c1-1 || r0 >= r1-1 { // at most two columns or two rows: its whole box
			for r := r0; r <= r1; r++ {
				for c := r*cols + c0; c <= r*cols+c1; c++ {
					if fill {
						w.nearEdges[w.nearFill[c]] = id
						w.nearFill[c]++
					} else {
						w.nearStart[c+1]++
					}
				}
			}
			return
		}
		// column by column: the rows it passes through there, one step of room for rounding
		slope := float64(e.by-e.ay) / float64(e.bx-e.ax)
		for c := c0; c <= c1; c++ {
			xa, xb := max(float64(c)*float64(size), float64(e.ax)), min(float64(c+1)*float64(size), float64(e.bx))
			ya, yb := float64(e.ay)+(xa-float64(e.ax))*slope, float64(e.ay)+(xb-float64(e.ax))*slope
			if ya > yb {
				ya, yb = yb, ya
			}
			ra, rb := max(int((ya-1)*inv), r0), min(int((yb+1)*inv), r1)
			for r := ra; r <= rb; r++ {
				k := r*cols + c
				if fill {
					w.nearEdges[w.nearFill[k]] = id
					w.nearFill[k]++
				} else {
					w.nearStart[k+1]++
				}
			}
		}
	}
	for i := range w.edges {
		visit(&w.edges[i], int32(i), false)
	}
	for i := 1; i < len(w.nearStart); i++ {
		w.nearStart[i] += w.nearStart[i-1]
	}
	w.nearFill = append(w.nearFill[:0], w.nearStart...)
	w.nearEdges = grown(w.nearEdges, int(w.nearStart[cols*rows]))
	for i := range w.edges {
		visit(&w.edges[i], int32(i), true)
	}
	for c := range cols * rows {
		near := w.nearEdges[w.nearStart[c]:w.nearStart[c+1]]
		for k, i := range near {
			if k == 0 {
				continue
			}
			if w.most > 0 && len(w.cuts) > w.most {
				return
			}
			e := &w.edges[i]
			lo, hi := e.ay, e.by
			if lo > hi {
				lo, hi = hi, lo
			}
			any := !changedOnly || w.changed[i]
			for _, j := range near[:k] {
				f := &w.edges[j]
				if f.ax > e.bx || f.bx < e.ax || f.ay > hi && f.by > hi || f.ay < lo && f.by < lo {
					continue
				}
				if any || w.changed[j] {
					w.pair(i, j, e, f)
				}
			}
		}
	}
}

// turn is positive when (x, y) lies to the left of (above) e.
func (e *edge) turn(x, y int32) int64 {
	return int64(e.bx-e.ax)*int64(y-e.ay) - int64(e.by-e.ay)*int64(x-e.ax)
}

// strictlyWithin says whether a point on e's line lies between its ends.
func (e *edge) strictlyWithin(x, y int32) bool {
	if x == e.ax && y == e.ay || x == e.bx && y == e.by || x < e.ax || x > e.bx {
		return false
	}
	return y >= min(e.ay, e.by) && y <= max(e.ay, e.by)
}

// closeBy is how many steps from a crossing an edge's end is taken for it.
const closeBy = 2

// pair notes where two edges meet other than at common ends.
func (w *work) pair(i, j int32, e, f *edge) {
	a, b := e.turn(f.ax, f.ay), e.turn(f.bx, f.by)
	if a > 0 && b > 0 || a < 0 && b < 0 {
		return
	}
	c, d := f.turn(e.ax, e.ay), f.turn(e.bx, e.by)
	if c > 0 && d > 0 || c < 0 && d < 0 {
		return
	}
	if a != 0 && b != 0 && c != 0 && d != 0 {
		// they cross: where, from the end of e, in floating point; rounding is the only error that matters
		t := float64(c) / (float64(c) - float64(d))
		x := e.ax + int32(math.Round(t*float64(e.bx-e.ax)))
		y := e.ay + int32(math.Round(t*float64(e.by-e.ay)))
		// within both boxes, as the true point is
		x = max(max(e.ax, f.ax), min(x, min(e.bx, f.bx)))
		y = max(max(min(e.ay, e.by), min(f.ay, f.by)), min(y, min(max(e.ay, e.by), max(f.ay, f.by))))
		// an end close by is taken instead: otherwise edges that meet at a small angle near their ends can push each
		// other's new ends ahead of them, round after round
		best := int32(closeBy)
		px, py := x, y
		for _, q := range [4][2]int32{{e.ax, e.ay}, {e.bx, e.by}, {f.ax, f.ay}, {f.bx, f.by}} {
			if d := max(q[0]-px, px-q[0], q[1]-py, py-q[1]); d <= best {
				best, x, y = d-1, q[0], q[1]
			}
		}
		w.cut(i, e, x, y)
		w.cut(j, f, x, y)
		return
	}
	if a == 0 && e.strictlyWithin(f.ax, f.ay) {
		w.cuts = append(w.cuts, cut{i, f.ax, f.ay})
	}
	if b == 0 && e.strictlyWithin(f.bx, f.by) {
		w.cuts = append(w.cuts, cut{i, f.bx, f.by})
	}
	if c == 0 && f.strictlyWithin(e.ax, e.ay) {
		w.cuts = append(w.cuts, cut{j, e.ax, e.ay})
	}
	if d == 0 && f.strictlyWithin(e.bx, e.by) {
		w.cuts = append(w.cuts, cut{j, e.bx, e.by})
	}
}

func (w *work) cut(i int32, e *edge, x, y int32) {
	if x == e.ax && y == e.ay || x == e.bx && y == e.by {
		return
	}
	w.cuts = append(w.cuts, cut{i, x, y})
}

// apply splits edges at the noted points.
func (w *work) apply() {
	slices.SortFunc(w.cuts, func(p, q cut) int {
		if p.edge != q.edge {
			return cmp.Compare(p.edge, q.edge)
		}
		e := &w.edges[p.edge]
		return cmp.Or(
			cmp.Compare(e.along(p.x, p.y), e.along(q.x, q.y)),
			cmp.Compare(p.x, q.x), cmp.Compare(p.y, q.y))
	})
	out, marks := w.spare[:0], w.spareMarks[:0]
	k := 0
	for i := range w.edges {
		e := w.edges[i]
		if k == len(w.cuts) || w.cuts[k].edge != int32(i) {
			out, marks = append(out, e), append(marks, false)
			continue
		}
		ax, ay := e.ax, e.ay
		piece := func(bx, by int32) {
			if ax == bx && ay == by {
				return
			}
			p := edge{ax, ay, bx, by, e.da, e.db}
			if ax > bx || ax == bx && ay > by {
				p = edge{bx, by, ax, ay, -e.da, -e.db}
			}
			out, marks = append(out, p), append(marks, true)
			ax, ay = bx, by
		}
		for ; k < len(w.cuts) && w.cuts[k].edge == int32(i); k++ {
			piece(w.cuts[k].x, w.cuts[k].y)
		}
		piece(e.bx, e.by)
	}
	w.edges, w.spare = out, w.edges
	w.changed, w.spareMarks = marks, w.changed
}

// along is how far a point lies along e.
func (e *edge) along(x, y int32) int64 {
	return int64(e.bx-e.ax)*int64(x-e.ax) + int64(e.by-e.ay)*int64(y-e.ay)
}

func grown[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n, n+n/2)
	}
	return s[:n]
}
