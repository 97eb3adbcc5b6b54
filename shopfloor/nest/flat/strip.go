package flat

import (
	"math"
	"sort"
)

// lengthOf is how far the farthest piece reaches along x in region 0.
func (l *layout) lengthOf() float64 {
	var r float64
	for i := range l.x {
		r = math.Max(r, l.x[i]+l.t.turned[l.or[i]].Box.MaxX)
	}
	return r
}

// shorten sets the strip's length; what lies beyond a random cut moves along. False when a piece cannot lie in so short a strip.
func (m *mover) shorten(to float64) bool {
	l := m.layout
	d := l.regions[0].MaxX - to
	cut := m.r.float() * to
	for i := range l.x {
		b := &l.t.turned[l.or[i]].Box
		if l.x[i]+(b.MinX+b.MaxX)/2 > cut {
			l.x[i] -= d
		}
	}
	l.regions[0].MaxX = to
	return m.tidy()
}

// swapLarge disturbs the layout: two large unlike pieces change places.
func (m *mover) swapLarge() {
	l := m.layout
	n := l.n()
	if n < 2 {
		return
	}
	by := make([]int, n)
	for i := range by {
		by[i] = i
	}
	size := func(i int) float64 { b := l.t.turned[l.or[i]].Box; return b.W() * b.H() }
	sort.Slice(by, func(a, b int) bool {
		sa, sb := size(by[a]), size(by[b])
		if sa != sb {
			return sa > sb
		}
		return by[a] < by[b]
	})
	// the larger pieces, down to the one at which three quarters of the boxes' area is reached
	var all, sum float64
	for _, i := range by {
		all += size(i)
	}
	k := 0
	for k < n && (sum < 0.75*all || k < 2) {
		sum += size(by[k])
		k++
	}
	a := by[m.r.intn(k)]
	b := a
	for tries := 0; tries < 50; tries++ {
		b = by[m.r.intn(k)]
		if l.shape[a] != l.shape[b] {
			break
		}
	}
	if a == b {
		return
	}
	ba, bb := l.t.turned[l.or[a]].Box, l.t.turned[l.or[b]].Box
	cax, cay := l.x[a]+(ba.MinX+ba.MaxX)/2, l.y[a]+(ba.MinY+ba.MaxY)/2
	cbx, cby := l.x[b]+(bb.MinX+bb.MaxX)/2, l.y[b]+(bb.MinY+bb.MaxY)/2
	l.x[a], l.y[a] = cbx-(ba.MinX+ba.MaxX)/2, cby-(ba.MinY+ba.MaxY)/2
	l.x[b], l.y[b] = cax-(bb.MinX+bb.MaxX)/2, cay-(bb.MinY+bb.MaxY)/2
	l.reg[a], l.reg[b] = l.reg[b], l.reg[a]
	m.tidy()
}

// By trial on the open strip sets.
const (
	firstStride = 0.02   // share of the length cut off at once while that is easy
	stride      = 0.001  // share cut off at once while exploring
	adoptAt     = 0.002  // how much shorter another searcher's strip must be to be taken over
	finishFrom  = 0.0005 // first and least share cut off while finishing
	finishTo    = 0.00001
)

// attempt is an unfinished layout kept for another try.
type attempt struct {
	s     spots
	total float64
}

// shorter keeps the present layout, free of overlap, as the best.
func (m *mover) shorter() {
	m.layout.regions[0].MaxX = m.layout.lengthOf()
	m.layout.save(m.best)
}

// adopt takes over the best of the other searchers when it is better than its own; true when it did.
func (m *mover) adopt(by float64) bool {
	if m.incoming == nil || m.incoming.length() >= m.best.length()*(1-by) {
		return false
	}
	m.best = m.incoming.clone()
	return true
}

// explore shortens as long as it can; where it cannot, it goes on from a disturbed former attempt.
func (m *mover) explore(shrink float64, until func() bool) {
	l := m.layout
	var pool []attempt
	l.load(m.best)
	m.shorter()
	next := func() bool { return m.shorten(math.Max(m.floor, m.best.length()*(1-shrink))) }
	m.rush(shrink, until)
	l.load(m.best)
	possible := next()
	for possible && !until() && !m.done() && m.best.length() > m.floor*(1+1e-9) {
		if m.separate() {
			m.shorter()
			pool = pool[:0]
			possible = next()
			continue
		}
		if m.done() {
			return
		}
		if m.adopt(adoptAt) {
			pool = pool[:0]
			l.load(m.best)
			possible = next()
			m.swapLarge()
			continue
		}
		a := attempt{total: l.total}
		l.save(&a.s)
		at := sort.Search(len(pool), func(k int) bool { return pool[k].total > a.total })
		pool = append(pool, attempt{})
		copy(pool[at+1:], pool[at:])
		pool[at] = a
		if len(pool) > 40 {
			pool = pool[:40]
		}
		// the better ones more often: half-normal over the ranks
		g := math.Abs(m.normal()) * 0.25
		k := min(len(pool)-1, int(g*float64(len(pool))))
		l.load(&pool[k].s)
		m.swapLarge()
	}
}

// rush shortens in large steps, with little patience, halving the step where it fails, until the step is down to least.
func (m *mover) rush(least float64, until func() bool) {
	patience, strikes := m.tune.patience, m.tune.strikes
	m.tune.patience, m.tune.strikes = 20, 1
	for step := firstStride; step > least && !until() && !m.done() && m.best.length() > m.floor*(1+1e-9); {
		m.layout.load(m.best)
		if m.shorten(math.Max(m.floor, m.best.length()*(1-step))) && m.separate() {
			m.shorter()
			continue
		}
		step /= 2
	}
	m.tune.patience, m.tune.strikes = patience, strikes
}

// normal is a standard normal draw (Box and Muller 1958).
func (m *mover) normal() float64 {
	return math.Sqrt(-2*math.Log(1-m.r.float())) * math.Cos(2*math.Pi*m.r.float())
}

// compress shortens the best layout in ever finer steps: a step that fails is cut, one that succeeds is stretched.
func (m *mover) compress(from, to float64) {
	l := m.layout
	m.adopt(0)
	for step := from; !m.done() && m.best.length() > m.floor*(1+1e-9); {
		m.adopt(0)
		before := m.rounds
		l.load(m.best)
		if m.shorten(math.Max(m.floor, m.best.length()*(1-step))) && m.separate() {
			m.shorter()
			step = math.Min(from, step*1.1)
			continue
		}
		if step *= 0.8; step < to {
			step = to
			if m.rounds == before { // a piece that fits no shorter strip
				return
			}
		}
	}
}
