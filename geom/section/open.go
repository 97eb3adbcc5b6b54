package section

import (
	"cmp"
	"slices"
)

// mostJoined is how many open chains of one layer are joined by nearest ends; with more, each is closed on itself.
const mostJoined = 256

// walkOpen lays out the contours of a layer in which some chains do not close: each chain end is joined to the nearest
// chain start still free, shortest gaps first, and what remains is closed on itself.
func (w *Work) walkOpen(s *Slicer) {
	c := &w.got
	const done = -2
	var points []Point
	var from, to []int // open chains
	for i := range w.in {
		if w.prev[i] == done {
			continue
		}
		first := int32(i)
		for w.prev[first] >= 0 {
			if first = w.prev[first]; first == int32(i) {
				break
			}
		}
		open := w.prev[first] < 0
		start := len(points)
		if open {
			points = append(points, edgePoint(s.pos, w.in[first], c.Z))
		}
		for j := first; j >= 0 && w.prev[j] != done; j = w.next[j] {
			w.prev[j] = done
			points = append(points, w.at[j])
		}
		if open {
			from, to = append(from, start), append(to, len(points))
			continue
		}
		c.Points = append(c.Points, points[start:]...)
		c.End = append(c.End, int32(len(c.Points)))
		points = points[:start]
	}
	after := joins(points, from, to)
	for i := range from {
		if after[i] < 0 {
			continue
		}
		for j := i; after[j] >= 0; {
			c.Points = append(c.Points, points[from[j]:to[j]]...)
			j, after[j] = after[j], -1
		}
		c.End = append(c.End, int32(len(c.Points)))
		c.Open++
	}
}

// joins says for each open chain which one follows it.
func joins(points []Point, from, to []int) []int {
	n := len(from)
	after := make([]int, n)
	for i := range after {
		after[i] = i
	}
	if n > mostJoined {
		return after
	}
	type gap struct {
		d    float64
		i, j int
	}
	gaps := make([]gap, 0, n*n)
	for i := range n {
		for j := range n {
			e, b := points[to[i]-1], points[from[j]]
			gaps = append(gaps, gap{(e.X-b.X)*(e.X-b.X) + (e.Y-b.Y)*(e.Y-b.Y), i, j})
		}
	}
	slices.SortFunc(gaps, func(a, b gap) int {
		return cmp.Or(cmp.Compare(a.d, b.d), cmp.Compare(a.i, b.i), cmp.Compare(a.j, b.j))
	})
	ended, begun := make([]bool, n), make([]bool, n)
	for _, g := range gaps {
		if !ended[g.i] && !begun[g.j] {
			ended[g.i], begun[g.j], after[g.i] = true, true, g.j
		}
	}
	return after
}
