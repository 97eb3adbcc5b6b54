package flat

import (
	"context"
	"math"
	"sync"
	"sync/atomic"
)

// TrayFloor is a number of trays no layout can go below, by area as in Floor.
func TrayFloor(shapes []Shape, order []int, bed Bed) int {
	var area float64
	for _, k := range order {
		area += grown(shapes[k].Area, bed.Spacing)
	}
	return int(math.Ceil(area/((bed.W+bed.Spacing)*(bed.H+bed.Spacing)) - 1e-9))
}

// Trays lays the pieces (indices into shapes, in order of importance) into as few trays as it can, tray by tray: Shelf fills one,
// then further pieces, the most important first, are pressed in and the overlaps separated, until no kind of piece will go in any more.
// Whatever the limits, the result is complete and no worse in trays than Shelf's. perTray gives the context of each tray's search.
func Trays(shapes []Shape, order []int, bed Bed, lim Limits, perTray func(tray int) (context.Context, context.CancelFunc)) ([]Spot, int) {
	plain := Shelf(shapes, order, bed)
	most := 0
	for _, s := range plain {
		if s.Tray < 0 {
			return plain, 0
		}
		most = max(most, s.Tray+1)
	}
	if most <= TrayFloor(shapes, order, bed) {
		return plain, 0
	}
	out := make([]Spot, len(order))
	left := make([]int, len(order)) // positions in order
	for i := range left {
		left[i] = i
	}
	one := bed
	one.Trays = 1
	t := newTable(shapes, bed.Spacing, 1e-9*math.Max(bed.W, bed.H))
	rounds, used := 0, 0
	for tray := 0; len(left) > 0; tray++ {
		kinds := make([]int, len(left))
		for i, p := range left {
			kinds[i] = order[p]
		}
		spots := Shelf(shapes, kinds, one)
		f := &filling{t: t, bed: bed, kinds: kinds, spots: spots, lim: lim, seed: uint64(lim.Seed)*7919 + uint64(tray)}
		if lim.Rounds > 0 {
			f.budget = max(0, lim.Rounds-rounds) / max(1, most-tray)
		}
		ctx, cancel := perTray(tray)
		used += f.topUp(ctx)
		rounds += f.rounds
		cancel()
		var rest []int
		for i, p := range left {
			if f.spots[i].Tray == 0 {
				out[p] = f.spots[i]
				out[p].Tray = tray
			} else {
				rest = append(rest, p)
			}
		}
		if len(rest) == len(left) { // cannot be: Shelf laid each piece somewhere
			return plain, used
		}
		left = rest
		if tray+1 >= most && len(left) > 0 {
			return plain, used
		}
	}
	return out, used
}

// filling is the search for room for more pieces on one tray.
type filling struct {
	t      *table
	bed    Bed
	kinds  []int
	spots  []Spot // Tray 0: lies here; −1: not yet
	lim    Limits
	seed   uint64
	budget int // rounds of each searcher, when they are counted
	rounds int // of the first searcher
}

// topUp presses in further pieces; it gives the rounds of all searchers.
func (f *filling) topUp(ctx context.Context) (used int) {
	failed := map[int]bool{}
	var free float64 = f.bed.W * f.bed.H
	for i, s := range f.spots {
		if s.Tray == 0 {
			free -= f.t.shapes[f.kinds[i]].Area
		}
	}
	for i, k := range f.kinds {
		if f.spots[i].Tray == 0 || failed[k] {
			continue
		}
		if ctx.Err() != nil || f.lim.Rounds > 0 && f.rounds >= f.budget {
			return used
		}
		if f.t.shapes[k].Area > free {
			failed[k] = true
			continue
		}
		n, ok := f.press(ctx, i)
		used += n
		if ok {
			free -= f.t.shapes[k].Area
		} else {
			failed[k] = true
		}
	}
	return used
}

// press tries to lay piece i among those that lie already.
func (f *filling) press(ctx context.Context, i int) (used int, ok bool) {
	var idx []int
	for j, s := range f.spots {
		if s.Tray == 0 || j == i {
			idx = append(idx, j)
		}
	}
	shape := make([]int32, len(idx))
	for a, j := range idx {
		shape[a] = int32(f.kinds[j])
	}
	n := max(1, f.lim.Searchers)
	ms := make([]*mover, n)
	good := make([]bool, n)
	var stop atomic.Bool
	defer context.AfterFunc(ctx, func() { stop.Store(true) })()
	var wg sync.WaitGroup
	for k := range n {
		l := newLayout(f.t, shape, []Box{{0, 0, f.bed.W, f.bed.H}})
		m := newMover(l, f.seed*1000003+uint64(i)*101+uint64(k), &stop)
		if f.lim.Rounds > 0 {
			m.limit = f.budget - f.rounds
		}
		ms[k] = m
		new := 0
		for a, j := range idx {
			s := f.spots[j]
			l.or[a] = int32(f.t.first[f.kinds[j]] + s.Turn)
			l.x[a], l.y[a] = s.X, s.Y
			if j == i {
				new = a
			}
		}
		turns := len(f.t.shapes[f.kinds[i]].Turns)
		wg.Add(1)
		go func() {
			defer wg.Done()
			for try := 0; try < 20; try++ { // a turn that fits the tray at all
				l.or[new] = int32(f.t.first[f.kinds[i]] + m.r.intn(turns))
				if b, ok := l.room(l.or[new], 0); ok {
					l.x[new], l.y[new] = b.MinX+m.r.float()*b.W(), b.MinY+m.r.float()*b.H()
					break
				}
			}
			if _, fits := l.room(l.or[new], 0); !fits {
				return
			}
			good[k] = m.separate()
			if good[k] && f.lim.Rounds == 0 {
				stop.Store(true) // ended by time: the first to succeed is enough
			}
		}()
	}
	wg.Wait()
	f.rounds += ms[0].rounds
	for k, m := range ms {
		used += m.rounds
		if !good[k] || ok {
			continue
		}
		ok = true
		for a, j := range idx {
			o := f.t.turned[m.or[a]]
			f.spots[j] = Spot{0, o.turn, m.x[a], m.y[a]}
		}
	}
	return used, ok
}

// FullSearched is Full with further pieces pressed in for at most so many rounds.
func FullSearched(s Shape, n int, bed Bed, rounds int, seed int64) []Spot {
	spots := Full(s, n, bed)
	have := len(spots)
	if rounds <= 0 || have == 0 || have >= n || float64(have+1)*grown(s.Area, bed.Spacing) > (bed.W+bed.Spacing)*(bed.H+bed.Spacing) {
		return spots
	}
	f := &filling{bed: bed, kinds: make([]int, n), lim: Limits{Rounds: rounds, Searchers: 1, Seed: seed}, seed: uint64(seed), budget: rounds}
	f.t = newTable([]Shape{s}, bed.Spacing, 1e-9*math.Max(bed.W, bed.H))
	f.spots = append(f.spots, spots...)
	for len(f.spots) < n {
		f.spots = append(f.spots, Spot{Tray: -1})
	}
	f.topUp(context.Background())
	out := f.spots[:0]
	for _, sp := range f.spots {
		if sp.Tray == 0 {
			out = append(out, sp)
		}
	}
	return out
}
