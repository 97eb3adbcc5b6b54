package flat

import (
	"context"
	"math"
	"sync"
	"sync/atomic"

	"firstoff/shopfloor/nest/board"
)

// Limits ends a search, whichever comes first: rounds for each searcher, or the context. Two contexts allow a
// search to be told when to turn from exploring to finishing.
type Limits struct {
	Rounds    int // passes for each searcher; 0 means until the contexts end
	Searchers int // independent searches that share their best; at least 1
	Seed      int64
	Finish    context.Context // when done, exploring ends and compressing begins; nil with Rounds
}

// Layout is where every piece lies.
type Layout struct {
	Spots  []Spot
	Length float64 // of the strip
	Rounds int     // passes done by all searchers
}

// exploring is the share of a search spent exploring; the rest compresses.
const exploring = 0.8

// Strip lays the pieces (indices into shapes) into a strip of the given width, as short as it can. It always returns a layout free of
// overlap: with no rounds and an ended context, that of Shelf.
func Strip(ctx context.Context, shapes []Shape, order []int, width, spacing float64, lim Limits) Layout {
	if len(order) == 0 {
		return Layout{}
	}
	size := math.Max(width, 1e-300)
	t := newTable(shapes, spacing, 1e-11*size)
	shape := make([]int32, len(order))
	for i, k := range order {
		shape[i] = int32(k)
	}
	start := firstStrip(t, shape, width, spacing)
	n := max(1, lim.Searchers)
	floor := Floor(shapes, order, width, spacing)
	bd := board.New(n, start.length(), start, lim.Rounds > 0)
	var stop, finish atomic.Bool
	defer context.AfterFunc(ctx, func() { stop.Store(true) })()
	if ctx.Err() != nil {
		stop.Store(true)
	}
	if lim.Finish != nil {
		defer context.AfterFunc(lim.Finish, func() { finish.Store(true) })()
	}
	var wg sync.WaitGroup
	rounds := make([]int, n)
	for k := 0; k < n; k++ {
		wg.Add(1)
		go func() {
			defer wg.Done()
			l := newLayout(t, shape, start.regions)
			m := newMover(l, uint64(lim.Seed)*1000003+uint64(k), &stop)
			m.who, m.board, m.floor = k, bd, floor
			m.best = start.clone()
			explored := func() bool { return finish.Load() }
			if lim.Rounds > 0 {
				m.limit = int(exploring * float64(lim.Rounds))
				explored = func() bool { return m.rounds >= m.limit }
			}
			m.explore(stride, explored)
			m.limit = lim.Rounds
			m.compress(finishFrom, finishTo)
			rounds[k] = m.rounds
			bd.Leave(k, m.best.length(), m.best)
		}()
	}
	wg.Wait()
	_, b := bd.Best()
	out := Layout{Spots: make([]Spot, len(order)), Length: b.regions[0].MaxX}
	for i := range order {
		out.Spots[i] = Spot{0, t.turned[b.or[i]].turn, b.x[i], b.y[i]}
		out.Rounds = 0
	}
	for _, r := range rounds {
		out.Rounds += r
	}
	return out
}

// firstStrip is Shelf's answer, laid on its side.
func firstStrip(t *table, shape []int32, width, spacing float64) *spots {
	side := make([]Shape, len(t.shapes))
	for i, s := range t.shapes {
		side[i] = Shape{Outline: s.Outline, Area: s.Area, Turns: make([]Turned, len(s.Turns))}
		for j, u := range s.Turns {
			side[i].Turns[j] = u.turnedBy(90)
		}
	}
	order := make([]int, len(shape))
	by := make([]int, len(shape))
	var sum, tall float64
	for i, k := range shape {
		by[i] = i
		sum += t.shapes[k].Area
		b := t.shapes[k].Turns[0].Box
		tall = math.Max(tall, math.Max(b.W(), b.H()))
	}
	key := func(i int) float64 { return t.shapes[shape[i]].Area }
	sortStable(by, func(a, b int) bool { return key(a) > key(b) })
	for i, k := range by {
		order[i] = int(shape[k])
	}
	s := &spots{}
	n := len(shape)
	s.or, s.reg, s.x, s.y = make([]int32, n), make([]int32, n), make([]float64, n), make([]float64, n)
	for high := 2*sum/width + 2*tall; ; high *= 2 {
		cells := int(128 * math.Max(1, high/width))
		spots := Shelf(side, order, Bed{W: width, H: high, Spacing: spacing, Cells: cells, Trays: 1})
		ok := true
		for i, sp := range spots {
			k := by[i]
			ok = ok && sp.Tray == 0
			s.or[k] = int32(t.first[shape[k]] + sp.Turn)
			s.x[k], s.y[k] = sp.Y, width-sp.X
		}
		if ok {
			break
		}
	}
	var length float64
	for i := range s.x {
		length = math.Max(length, s.x[i]+t.turned[s.or[i]].Box.MaxX)
	}
	s.regions = []Box{{0, 0, length, width}}
	return s
}

// Floor is a length no strip can go below: the longest piece lying across, or the area of all pieces. With spacing s every piece is taken
// with half of it around, in a strip wider by s; the area so gained is at least that of a disc (Brunn and Minkowski).
func Floor(shapes []Shape, order []int, width, spacing float64) float64 {
	var area, longest float64
	for _, k := range order {
		area += grown(shapes[k].Area, spacing)
		short := math.Inf(1)
		for _, t := range shapes[k].Turns {
			b := t.trueBox(shapes[k].Outline)
			if b.H() <= width*(1+1e-9) {
				short = math.Min(short, b.W())
			}
		}
		longest = math.Max(longest, short)
	}
	return math.Max(longest, area/(width+spacing)-spacing)
}

// grown is the least area of a piece with half the spacing around.
func grown(area, spacing float64) float64 {
	r := math.Sqrt(area) + math.Sqrt(math.Pi)*spacing/2
	return r * r
}
