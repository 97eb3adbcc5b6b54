package printability

import (
	"math/bits"

	"firstoff/geom/r3"
	"firstoff/geom/solid"
	"firstoff/part"
)

// island: regions that begin in the air in this pose, and the surface that hangs over: what supports have to carry.
func island(q *Question) []part.Finding {
	p := q.Process
	if q.Geometry == nil || q.Pose == nil || !p.NeedsSupport || p.SelfSupportDeg >= 90 {
		return nil
	}
	found, ok := q.Geometry.airborneIn(*q.Pose, fineness(q, 200, 80))
	if !ok || found.n == 0 {
		return nil
	}
	n, at := found.n, found.at
	at = q.Pose.Inverse().Rotate(at)
	f := finding(Note, practice, float64(n), 0, "", "In this pose the part begins in the air in %s; supports go there and leave marks.", many(n, "place"))
	f.At = &at
	return one(f)
}

// fineness is how many cells go along the part: fine for a chosen pose, coarse while many are looked over.
func fineness(q *Question, fine, coarse int) int {
	if q.Searching {
		return coarse
	}
	return fine
}

// airborne is what islands finds in a pose.
type airborne struct {
	n  int
	at r3.Vec
}

// airborneIn counts the regions of a pose that begin in the air, worked out once.
func (g *Geometry) airborneIn(pose r3.Quat, across int) (airborne, bool) {
	k := rasterKey{pose, across, 3}
	g.mu.Lock()
	a, ok := g.islands[k]
	g.mu.Unlock()
	if ok {
		return a, true
	}
	s, ok := g.bits(pose, across, 3)
	if !ok {
		return airborne{}, false
	}
	a.n, a.at = islands(s)
	g.mu.Lock()
	defer g.mu.Unlock()
	g.islands[k] = a
	return a, true
}

// islands counts the regions of a layer with nothing of the part under them in the layer below, not counting the plate: runs of cells row by row,
// joined where they touch (union by the smaller number).
func islands(s *solid.Solid) (count int, at r3.Vec) {
	type run struct {
		from, to, row int32
		root          int32
		held          bool
	}
	var runs []run
	find := func(i int32) int32 {
		for runs[i].root != i {
			runs[i].root = runs[runs[i].root].root
			i = runs[i].root
		}
		return i
	}
	var size []int32
	for k := 1; k < s.NZ; k++ {
		runs = runs[:0]
		last, now := 0, 0 // where the runs of the row before and of this one begin
		for j := 0; j < s.NY; j++ {
			last, now = now, len(runs)
			row, below := s.Row(j, k), s.Row(j, k-1)
			from := int32(-1)
			var carry uint64
			add := func(to int32) {
				r := run{from: from, to: to, row: int32(j), root: int32(len(runs))}
				for c := from; c < to && !r.held; c = (c | 63) + 1 { // any cell of it held from below?
					m := ^uint64(0) << (c & 63)
					if e := to - (c &^ 63); e < 64 {
						m &= 1<<e - 1
					}
					r.held = below[c>>6]&m != 0
				}
				runs = append(runs, r)
				from = -1
			}
			for i, x := range row {
				for d := x ^ (x<<1 | carry); d != 0; d &= d - 1 {
					if c := int32(i*64 + bits.TrailingZeros64(d)); from < 0 {
						from = c
					} else {
						add(c)
					}
				}
				carry = x >> 63
			}
			if from >= 0 {
				add(int32(s.NX))
			}
			for i, p := now, last; i < len(runs) && p < now; {
				if runs[p].from < runs[i].to && runs[i].from < runs[p].to && runs[p].row == int32(j-1) {
					a, b := find(int32(i)), find(int32(p))
					lo, hi := min(a, b), max(a, b)
					runs[hi].root = lo
					runs[lo].held = runs[lo].held || runs[hi].held
				}
				if runs[p].to < runs[i].to {
					p++
				} else {
					i++
				}
			}
		}
		size = append(size[:0], make([]int32, len(runs))...)
		for i := range runs {
			r := find(int32(i))
			size[r] += runs[i].to - runs[i].from
			runs[r].held = runs[r].held || runs[i].held
		}
		for i := range runs {
			if runs[i].root == int32(i) && !runs[i].held && float64(size[i])*s.Cell*s.Cell > 0.25 {
				if count == 0 {
					at = s.Center(int(runs[i].from), int(runs[i].row), k)
				}
				count++
			}
		}
	}
	return count, at
}
