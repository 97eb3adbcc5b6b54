package chamber

import (
	"context"
	"sync"
	"sync/atomic"

	"firstoff/shopfloor/nest/board"
)

// Box is the room to pack, cells. Height 0 means as high as needed.
type Box struct {
	NX, NY, NZ int
	Gap        float64 // least distance between the cells of two bodies, as cubes, in cell widths; 0 lets them touch
}

// Limits ends a search, whichever comes first.
type Limits struct {
	Rounds    int // passes of each searcher; 0 means until the context ends
	Searchers int
	Seed      int64
}

// Spot is where a body lies: its pose, and the cell of the box that the low corner of its turned grid has.
type Spot struct {
	Body    int // which of the kind's bodies
	Pose    Pose
	X, Y, Z int
}

// Packing is where every body lies.
type Packing struct {
	Spots  []Spot
	Height int // cells
	Rounds int
}

// Pack packs bodies (indices into kinds) into a box as low as it can. Bodies must be trimmed and fit the box in one of their poses;
// when one does not, or all do not fit below the box's height, ok is false and Height tells the height reached.
func Pack(ctx context.Context, kinds []Kind, order []int, box Box, lim Limits) (p Packing, ok bool) {
	if len(order) == 0 {
		return Packing{}, true
	}
	t := newTable(kinds, box.Gap)
	kind := make([]int32, len(order))
	for i, k := range order {
		kind[i] = int32(k)
	}
	for k := range kinds {
		fits := false
		for _, q := range t.posed[t.first[k] : t.first[k]+t.count[k]] {
			fits = fits || q.size[0] <= box.NX && q.size[1] <= box.NY
		}
		if !fits {
			return Packing{}, false
		}
	}
	start := first(t, kind, box)
	var stop atomic.Bool
	if ctx.Err() != nil {
		stop.Store(true)
	}
	defer context.AfterFunc(ctx, func() { stop.Store(true) })()
	n := max(1, lim.Searchers)
	bd := board.New(n, float64(start.high), start, lim.Rounds > 0)
	rounds := make([]int, n)
	var wg sync.WaitGroup
	for k := range n {
		wg.Add(1)
		go func() {
			defer wg.Done()
			m := newMover(t, kind, box, uint64(lim.Seed)*1000003+uint64(k), &stop, lim.Rounds)
			m.who, m.board, m.best = k, bd, start.clone()
			m.explore()
			m.best.free(t, kind, box)
			rounds[k] = m.rounds
			bd.Leave(k, float64(m.best.high), m.best)
		}()
	}
	wg.Wait()
	_, b := bd.Best()
	for _, r := range rounds {
		p.Rounds += r
	}
	p.Height = b.high
	for i := range order {
		q := &t.posed[b.po[i]]
		p.Spots = append(p.Spots, Spot{t.of[q.body], q.pose, int(b.x[i]), int(b.y[i]), int(b.z[i])})
	}
	return p, box.NZ == 0 || p.Height <= box.NZ
}

// spots is a copy of where everything lies.
type spots struct {
	po      []int32
	x, y, z []int32
	high    int
}

func (s *spots) clone() *spots {
	return &spots{append([]int32(nil), s.po...), append([]int32(nil), s.x...), append([]int32(nil), s.y...), append([]int32(nil), s.z...), s.high}
}
