package flat

import (
	"math"
	"sync/atomic"

	"firstoff/shopfloor/nest/board"
)

// step0 and least0 are the first and last step of a descent, as a share of the piece's size.
const (
	step0  = 0.125
	least0 = 1e-3
)

// mover is one search: a layout being separated, its random stream, and scratch space.
type mover struct {
	*layout
	r    rng
	stop *atomic.Bool // raised from outside to end early
	// rounds counts passes over all overlapping pieces; limit ends the search when reached, 0 never.
	rounds, limit int

	obs   []lying // what a piece must avoid while it is moved
	binX0 float64 // bins over the regions
	binY0 float64
	binSX float64 // bins per mm
	binSY float64
	bins  [binsX * binsY][]int32
	order []int32
	tried spots // the layout of least overlap in the present attempt

	who      int                  // number among the searchers
	board    *board.Board[*spots] // where they meet; nil alone
	best     *spots               // the best layout free of overlap
	incoming *spots               // the best of all searchers at the last meeting
	floor    float64              // a length that cannot be bettered
	tune     tuning
}

const binsX, binsY = 24, 14

// meetEvery is the number of rounds between two meetings of the searchers.
const meetEvery = 100

// tuning are the knobs of the separation, set by trial on the open strip instances.
type tuning struct {
	wide, close int     // random places tried over the whole region, and around the present one
	keep        int     // of these the best are refined
	patience    int     // rounds without a better total before a strike
	strikes     int     // strikes before giving up
	grow, most  float64 // factor of the weight of an overlapping pair: least and greatest
	fade        float64 // factor for pairs that do not overlap
}

var usual = tuning{wide: 40, close: 20, keep: 3, patience: 50, strikes: 3, grow: 1.2, most: 2, fade: 0.95}

// lying is a piece that another one must avoid.
type lying struct {
	minX, minY, maxX, maxY float64 // its box grown by the spacing
	x, y                   float64
	w                      float64
	or                     int32
	reg                    int32
}

func newMover(l *layout, seed uint64, stop *atomic.Bool) *mover {
	return &mover{layout: l, r: newRNG(seed), stop: stop, tune: usual}
}

func (m *mover) done() bool { return m.stop.Load() || m.limit > 0 && m.rounds >= m.limit }

// around gathers what piece i must avoid, in bins.
func (m *mover) around(i int) {
	l := m.layout
	n := l.n()
	b := l.regions[0]
	for _, r := range l.regions[1:] {
		b.MinX, b.MaxX = math.Min(b.MinX, r.MinX), math.Max(b.MaxX, r.MaxX)
		b.MinY, b.MaxY = math.Min(b.MinY, r.MinY), math.Max(b.MaxY, r.MaxY)
	}
	m.binX0, m.binY0 = b.MinX, b.MinY
	m.binSX, m.binSY = binsX/math.Max(b.W(), 1e-300), binsY/math.Max(b.H(), 1e-300)
	for k := range m.bins {
		m.bins[k] = m.bins[k][:0]
	}
	m.obs = m.obs[:0]
	// the piece's own extent over all its turns
	s := l.shape[i]
	u := l.t.shapes[s].Turns[0].Box
	for k := range l.t.shapes[s].Turns {
		v := &l.t.shapes[s].Turns[k].Box
		u.MinX, u.MaxX = math.Min(u.MinX, v.MinX), math.Max(u.MaxX, v.MaxX)
		u.MinY, u.MaxY = math.Min(u.MinY, v.MinY), math.Max(u.MaxY, v.MaxY)
	}
	g := l.t.spacing
	w := l.weight[i*n : i*n+n]
	for j := 0; j < n; j++ {
		if j == i {
			continue
		}
		q := &l.t.turned[l.or[j]].Box
		x, y := l.x[j], l.y[j]
		k := int32(len(m.obs))
		m.obs = append(m.obs, lying{x + q.MinX - g, y + q.MinY - g, x + q.MaxX + g, y + q.MaxY + g, x, y, w[j], l.or[j], l.reg[j]})
		o := &m.obs[k]
		x0, x1 := m.bin(o.minX-u.MaxX, m.binX0, m.binSX, binsX), m.bin(o.maxX-u.MinX, m.binX0, m.binSX, binsX)
		y0, y1 := m.bin(o.minY-u.MaxY, m.binY0, m.binSY, binsY), m.bin(o.maxY-u.MinY, m.binY0, m.binSY, binsY)
		for by := y0; by <= y1; by++ {
			for bx := x0; bx <= x1; bx++ {
				m.bins[by*binsX+bx] = append(m.bins[by*binsX+bx], k)
			}
		}
	}
}

func (m *mover) bin(v, origin, scale float64, n int) int {
	return max(0, min(n-1, int((v-origin)*scale)))
}

// cost is the weighted overlap of oriented shape o at (x, y); counting stops beyond limit.
func (m *mover) cost(o int32, x, y, limit float64) float64 {
	t := m.t
	b := &t.turned[o].Box
	x0, y0, x1, y1 := x+b.MinX, y+b.MinY, x+b.MaxX, y+b.MaxY
	row := t.pairs[int(o)*len(t.turned):]
	var sum float64
	for _, k := range m.bins[m.bin(y, m.binY0, m.binSY, binsY)*binsX+m.bin(x, m.binX0, m.binSX, binsX)] {
		q := &m.obs[k]
		if x0 >= q.maxX || x1 <= q.minX || y0 >= q.maxY || y1 <= q.minY {
			continue
		}
		p := row[q.or].Load()
		if p == nil {
			p = t.pair(o, q.or)
		}
		if d := p.depth(x-q.x, y-q.y); d > 0 {
			sum += q.w * d
			if sum >= limit {
				return sum
			}
		}
	}
	return sum
}

// slope is cost with the direction in which it falls, not normalised.
func (m *mover) slope(o int32, x, y float64) (sum, gx, gy float64) {
	t := m.t
	b := &t.turned[o].Box
	x0, y0, x1, y1 := x+b.MinX, y+b.MinY, x+b.MaxX, y+b.MaxY
	for _, k := range m.bins[m.bin(y, m.binY0, m.binSY, binsY)*binsX+m.bin(x, m.binX0, m.binSX, binsX)] {
		q := &m.obs[k]
		if x0 >= q.maxX || x1 <= q.minX || y0 >= q.maxY || y1 <= q.minY {
			continue
		}
		if d, ux, uy := t.pair(o, q.or).way(x-q.x, y-q.y); d > 0 {
			sum += q.w * d
			gx += q.w * ux
			gy += q.w * uy
		}
	}
	return sum, gx, gy
}

// try is a place for a piece.
type try struct {
	or, reg int32
	x, y    float64
	cost    float64
}

// descend refines a place: first straight down the slope as far as a zero would lie (Polyak 1969), then by halving steps
// along axes and diagonals.
func (m *mover) descend(t try, step, least float64) try {
	room, ok := m.room(t.or, t.reg)
	if !ok {
		return t
	}
	clampX := func(v float64) float64 { return max(room.MinX, min(room.MaxX, v)) }
	clampY := func(v float64) float64 { return max(room.MinY, min(room.MaxY, v)) }
	relax := 1.0
	for it := 0; it < 12 && t.cost > 0; it++ {
		f, gx, gy := m.slope(t.or, t.x, t.y)
		g := gx*gx + gy*gy
		if f == 0 || g < 1e-12 {
			t.cost = f
			break
		}
		k := relax * f / g
		if l := k * math.Sqrt(g); l > 4*step {
			k *= 4 * step / l
		}
		// a hair beyond the border, so that rounding does not keep it inside
		k += m.t.tol / math.Sqrt(g)
		x, y := clampX(t.x+k*gx), clampY(t.y+k*gy)
		c := m.cost(t.or, x, y, t.cost)
		if c < t.cost {
			t.x, t.y, t.cost = x, y, c
			continue
		}
		relax /= 2
		if relax < 0.2 {
			break
		}
	}
	if t.cost == 0 {
		return t
	}
	for step > least && t.cost > 0 {
		moved := false
		k := m.r.intn(4)
		for a := 0; a < 4 && t.cost > 0; a++ {
			d := dirs[(k+a)&3]
			for _, sg := range [2]float64{step, -step} {
				x, y := clampX(t.x+sg*d.X), clampY(t.y+sg*d.Y)
				if x == t.x && y == t.y {
					continue
				}
				if c := m.cost(t.or, x, y, t.cost); c < t.cost {
					t.x, t.y, t.cost = x, y, c
					moved = true
					break
				}
			}
		}
		if !moved {
			step /= 2
		}
	}
	return t
}

var dirs = [4]Pt{{1, 0}, {0, 1}, {math.Sqrt2 / 2, math.Sqrt2 / 2}, {math.Sqrt2 / 2, -math.Sqrt2 / 2}}

// move looks for a better place for piece i and puts it there; false when it stays.
func (m *mover) move(i int) bool {
	l := m.layout
	m.around(i)
	s := l.shape[i]
	first, turns := int32(l.t.first[s]), len(l.t.shapes[s].Turns)
	now := try{l.or[i], l.reg[i], l.x[i], l.y[i], 0}
	now.cost = m.cost(now.or, now.x, now.y, math.Inf(1))
	var top [8]try
	keep, have := m.tune.keep, 0
	offer := func(t try) {
		k := have
		if have < keep {
			have++
		} else if k = keep - 1; t.cost >= top[k].cost {
			return
		}
		for ; k > 0 && top[k-1].cost > t.cost; k-- {
			top[k] = top[k-1]
		}
		top[k] = t
	}
	limit := func() float64 {
		if have < keep {
			return math.Inf(1)
		}
		return top[keep-1].cost
	}
	size := math.Min(l.t.turned[now.or].Box.W(), l.t.turned[now.or].Box.H())
	size = math.Max(size, math.Max(l.t.turned[now.or].Box.W(), l.t.turned[now.or].Box.H())/8)
	// Often a small step is enough.
	near := m.descend(now, size*step0, size*least0)
	if near.cost == 0 {
		l.place(i, near.or, near.reg, near.x, near.y)
		return true
	}
	offer(near)
	for k := 0; k < m.tune.wide && top[0].cost > 0; k++ {
		t := try{or: first, reg: now.reg}
		if turns > 1 {
			t.or += int32(m.r.intn(turns))
		}
		if len(l.regions) > 1 {
			t.reg = int32(m.r.intn(len(l.regions)))
		}
		b, ok := l.room(t.or, t.reg)
		if !ok {
			continue
		}
		t.x, t.y = b.MinX+m.r.float()*(b.MaxX-b.MinX), b.MinY+m.r.float()*(b.MaxY-b.MinY)
		t.cost = m.cost(t.or, t.x, t.y, limit())
		offer(t)
	}
	for k := 0; k < m.tune.close && top[0].cost > 0; k++ {
		t := now
		if turns > 1 && k&1 == 1 {
			t.or = first + int32(m.r.intn(turns))
			// turn about the middle of the box
			a, b := &l.t.turned[now.or].Box, &l.t.turned[t.or].Box
			t.x += (a.MinX + a.MaxX - b.MinX - b.MaxX) / 2
			t.y += (a.MinY + a.MaxY - b.MinY - b.MaxY) / 2
		}
		b, ok := l.room(t.or, t.reg)
		if !ok {
			continue
		}
		t.x = math.Max(b.MinX, math.Min(b.MaxX, t.x+(m.r.float()*2-1)*size/2))
		t.y = math.Max(b.MinY, math.Min(b.MaxY, t.y+(m.r.float()*2-1)*size/2))
		t.cost = m.cost(t.or, t.x, t.y, limit())
		offer(t)
	}
	best := now
	if near.cost < best.cost {
		best = near
	}
	for k := 0; k < have; k++ {
		if top[k] == near { // is down already
			continue
		}
		t := m.descend(top[k], size*step0, size*least0)
		if t.cost < best.cost {
			best = t
		}
		if best.cost == 0 {
			break
		}
	}
	if best.cost >= now.cost {
		return false
	}
	l.place(i, best.or, best.reg, best.x, best.y)
	return true
}

// pass moves every overlapping piece once, in random order, and lets the weights grow.
func (m *mover) pass() {
	m.rounds++
	if m.board != nil && m.rounds%meetEvery == 0 {
		_, m.incoming = m.board.Meet(m.who, m.best.length(), m.best.clone())
	}
	l := m.layout
	n := l.n()
	m.order = m.order[:0]
	for i := 0; i < n; i++ {
		if l.rowOver(i) > 0 {
			m.order = append(m.order, int32(i))
		}
	}
	m.r.shuffle(m.order)
	for _, i := range m.order {
		if l.rowOver(int(i)) > 0 {
			m.move(int(i))
		}
	}
	l.sum()
	var most float64
	for _, d := range l.over {
		most = math.Max(most, d)
	}
	if most == 0 {
		return
	}
	for k, d := range l.over {
		if d > 0 {
			l.weight[k] *= m.tune.grow + (m.tune.most-m.tune.grow)*d/most
		} else if l.weight[k] > 1 {
			l.weight[k] = math.Max(1, l.weight[k]*m.tune.fade)
		}
	}
}

// separate removes all overlaps, or gives up with the layout of least overlap it saw; true when none is left.
func (m *mover) separate() bool {
	l := m.layout
	l.resetWeights()
	if !m.tidy() {
		return false
	}
	best := l.total
	l.save(&m.tried)
	for strike := 0; strike < m.tune.strikes; strike++ {
		start := best
		for idle := 0; idle < m.tune.patience; idle++ {
			if l.total == 0 {
				return true
			}
			if m.done() {
				l.load(&m.tried)
				return false
			}
			m.pass()
			if l.total < best {
				if l.total < 0.98*best {
					idle = -1
				}
				best = l.total
				l.save(&m.tried)
			}
		}
		if l.total == 0 {
			return true
		}
		l.load(&m.tried)
		if best < 0.98*start {
			strike = -1
		}
	}
	return false
}

// tidy brings every piece into its region, in another turn where the present one no longer fits, and measures everything afresh,
// so that sums do not drift; false when a piece fits in no turn.
func (m *mover) tidy() bool {
	ok := true
	for i := range m.x {
		if _, fits := m.room(m.or[i], m.reg[i]); !fits {
			ok = m.turnToFit(i) && ok
		}
		m.clamp(i)
	}
	m.measure()
	return ok
}

// turnToFit gives piece i the first turn in which it fits its region, its middle kept.
func (m *mover) turnToFit(i int) bool {
	first := int32(m.t.first[m.shape[i]])
	for k := range m.t.shapes[m.shape[i]].Turns {
		o := first + int32(k)
		if _, fits := m.room(o, m.reg[i]); fits {
			a, b := &m.t.turned[m.or[i]].Box, &m.t.turned[o].Box
			m.x[i] += (a.MinX + a.MaxX - b.MinX - b.MaxX) / 2
			m.y[i] += (a.MinY + a.MaxY - b.MinY - b.MaxY) / 2
			m.or[i] = o
			return true
		}
	}
	return false
}
