package chamber

import (
	"context"
	"math"
	"sort"
	"sync"
	"sync/atomic"
)

// Fill lays bodies (indices into kinds, the most important first) into as few boxes of a stated height as it can: each box is filled
// as low as bodies go, then further ones, the most important first, are pressed in and the overlaps separated. It gives each
// body's box and spot; box −1 for a body that fits into no box.
func Fill(ctx context.Context, kinds []Kind, order []int, box Box, lim Limits) (boxes []int, spots []Spot, rounds int) {
	t := newTable(kinds, box.Gap)
	boxes, spots = make([]int, len(order)), make([]Spot, len(order))
	var left []int
	for i, k := range order {
		boxes[i] = -1
		for _, q := range t.posed[t.first[k] : t.first[k]+t.count[k]] {
			if q.size[0] <= box.NX && q.size[1] <= box.NY && q.size[2] <= box.NZ {
				left = append(left, i)
				break
			}
		}
	}
	for n := 0; len(left) > 0; n++ {
		f := &filler{t: t, box: box, lim: lim, seed: uint64(lim.Seed)*7919 + uint64(n)}
		for _, i := range left {
			f.kind = append(f.kind, int32(order[i]))
		}
		f.start()
		if lim.Rounds > 0 {
			f.budget = max(1, lim.Rounds/4)
		}
		f.topUp(ctx)
		rounds += f.used
		f.release()
		var rest []int
		for a, i := range left {
			if !f.in[a] {
				rest = append(rest, i)
				continue
			}
			q := &t.posed[f.s.po[a]]
			boxes[i], spots[i] = n, Spot{t.of[q.body], q.pose, int(f.s.x[a]), int(f.s.y[a]), int(f.s.z[a])}
		}
		left = rest
	}
	return boxes, spots, rounds
}

// filler fills one box.
type filler struct {
	t      *table
	box    Box
	lim    Limits
	seed   uint64
	kind   []int32
	in     []bool
	s      spots
	budget int
	rounds int // of the first searcher
	used   int // of all
}

// start lays bodies as first does, in order of importance, below the lid.
func (f *filler) start() {
	n := len(f.kind)
	f.in = make([]bool, n)
	f.s = spots{make([]int32, n), make([]int32, n), make([]int32, n), make([]int32, n), f.box.NZ}
	var done []int
	full := map[int32]bool{}
	for i, k := range f.kind {
		if !full[k] {
			if _, ok := lowest(f.t, f.box, f.kind, &f.s, done, i, f.box.NZ); ok {
				done = append(done, i)
				f.in[i] = true
				continue
			}
			full[k] = true
		}
	}
}

func (f *filler) topUp(ctx context.Context) {
	free := f.box.NX * f.box.NY * f.box.NZ
	for i, k := range f.kind {
		if f.in[i] {
			free -= f.t.cells[k]
		}
	}
	failed := map[int32]bool{}
	for i, k := range f.kind {
		if f.in[i] || failed[k] {
			continue
		}
		if ctx.Err() != nil || f.lim.Rounds > 0 && f.rounds >= f.budget {
			return
		}
		if f.t.cells[k] > free || !f.press(ctx, i) {
			failed[k] = true
			continue
		}
		free -= f.t.cells[k]
	}
}

// press tries to lay body i among those that lie already.
func (f *filler) press(ctx context.Context, i int) bool {
	var idx []int
	for j := range f.kind {
		if f.in[j] || j == i {
			idx = append(idx, j)
		}
	}
	kind := make([]int32, len(idx))
	for a, j := range idx {
		kind[a] = f.kind[j]
	}
	n := max(1, f.lim.Searchers)
	ms, good := make([]*mover, n), make([]bool, n)
	var stop atomic.Bool
	defer context.AfterFunc(ctx, func() { stop.Store(true) })()
	var wg sync.WaitGroup
	for k := range n {
		m := newMover(f.t, kind, f.box, f.seed*1000003+uint64(i)*101+uint64(k), &stop, 0)
		if f.lim.Rounds > 0 {
			m.limit = f.budget - f.rounds
		}
		m.high = f.box.NZ
		ms[k] = m
		for a, j := range idx {
			m.po[a], m.x[a], m.y[a], m.z[a] = f.s.po[j], f.s.x[j], f.s.y[j], f.s.z[j]
			if j != i {
				continue
			}
			for try := 0; try < 100; try++ {
				m.po[a] = int32(f.t.first[kind[a]] + m.r.intn(f.t.count[kind[a]]))
				s := f.t.posed[m.po[a]].size
				if s[0] <= f.box.NX && s[1] <= f.box.NY && s[2] <= f.box.NZ {
					m.x[a], m.y[a], m.z[a] = int32(m.r.intn(f.box.NX-s[0]+1)), int32(m.r.intn(f.box.NY-s[1]+1)), int32(m.r.intn(f.box.NZ-s[2]+1))
					break
				}
			}
		}
		wg.Add(1)
		go func() {
			defer wg.Done()
			good[k] = m.fits() && m.separate()
			if good[k] && f.lim.Rounds == 0 {
				stop.Store(true)
			}
		}()
	}
	wg.Wait()
	f.rounds += ms[0].rounds
	ok := false
	for k, m := range ms {
		f.used += m.rounds
		if good[k] && !ok {
			ok = true
			f.in[i] = true
			for a, j := range idx {
				f.s.po[j], f.s.x[j], f.s.y[j], f.s.z[j] = m.po[a], m.x[a], m.y[a], m.z[a]
			}
		}
	}
	return ok
}

// release takes bodies out again that are stuck in each other, all but the first of them; they go into the next box.
func (f *filler) release() {
	var in []int
	for i, ok := range f.in {
		if ok {
			in = append(in, i)
		}
	}
	for held := stuck(f.t, &f.s, in); len(held) > 1; held = stuck(f.t, &f.s, held) {
		f.in[held[len(held)-1]] = false
		held = held[:len(held)-1]
	}
}

// fits says whether every body's pose fits the box at all.
func (m *mover) fits() bool {
	for _, po := range m.po {
		s := &m.t.posed[po].size
		if s[0] > m.box.NX || s[1] > m.box.NY || s[2] > m.high {
			return false
		}
	}
	return true
}

// first lays bodies one on the other, large ones first, each as low as it goes.
func first(t *table, kind []int32, box Box) *spots {
	n := len(kind)
	s := &spots{make([]int32, n), make([]int32, n), make([]int32, n), make([]int32, n), 0}
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return t.cells[kind[order[a]]] > t.cells[kind[order[b]]] })
	var done []int
	for _, i := range order {
		top, _ := lowest(t, box, kind, s, done, i, math.MaxInt)
		done = append(done, i)
		s.high = max(s.high, top)
	}
	return s
}

// lowest lays body i where its top is lowest among a grid of places and all its poses, clear of those done and not above lid.
func lowest(t *table, box Box, kind []int32, s *spots, done []int, i, lid int) (top int, ok bool) {
	k := int(kind[i])
	best := lid
	if lid < math.MaxInt {
		best++ // the top may reach the lid
	}
	for _, po := range t.lying(k, box) {
		size := t.posed[po].size
		step := max(1, max(box.NX-size[0], box.NY-size[1])/24)
	levels:
		for z := 0; z+size[2] < best; z++ {
			for y := 0; y <= box.NY-size[1]; y += step {
			next:
				for x := 0; x <= box.NX-size[0]; x += step {
					for _, j := range done {
						if t.pair(int32(po), s.po[j]).at(x-int(s.x[j]), y-int(s.y[j]), z-int(s.z[j])) > 0 {
							continue next
						}
					}
					s.po[i], s.x[i], s.y[i], s.z[i] = int32(po), int32(x), int32(y), int32(z)
					best, ok = z+size[2], true
					break levels
				}
			}
		}
	}
	return best, ok
}

// lyingPoses is the number of poses tried when a body is first laid; the search tries all.
const lyingPoses = 4

// lying lists the poses of kind k that fit the box, those that lie lowest first, at most lyingPoses.
func (t *table) lying(k int, box Box) (out []int) {
	for po := t.first[k]; po < t.first[k]+t.count[k]; po++ {
		if s := t.posed[po].size; s[0] <= box.NX && s[1] <= box.NY && (box.NZ == 0 || s[2] <= box.NZ) {
			out = append(out, po)
		}
	}
	sort.SliceStable(out, func(a, b int) bool { return t.posed[out[a]].size[2] < t.posed[out[b]].size[2] })
	return out[:min(len(out), lyingPoses)]
}
