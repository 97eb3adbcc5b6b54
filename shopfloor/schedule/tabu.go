package schedule

import "sync/atomic"

// step is a move under consideration: operation v to place b of machine k.
type step struct {
	v, k, b int32
	est     int32
}

// tabu is a tabu search on the disjunctive graph.
//
// Moves within a block of the critical path are those of Zhang, Li, Guan and Rao (Computers & Operations Research 34,
// 2007: "N6" of Balas and Vazacopoulos with moves into the block, "N7"), estimated as by Balas and Vazacopoulos
// (Management Science 44, 1998). Where operations have a choice, critical ones are also put on their other machines, within
// the window in which no circle can arise (after Mastrolilli and Gambardella, Journal of Scheduling 3, 2000).
// Forbidden for a while are the reversal of any pair that a move has reversed and the return of an operation to the
// machine it left. (Forbidding only the exact stretch of a sequence that a move broke up, as some do, was tried: three
// moves on overlapping stretches then run in a circle.)
type tabu struct {
	g    *graph
	rnd  *chance
	stop *atomic.Bool

	iter   int64
	left   []int64 // operation x machine: forbidden until
	arcs   []int64 // operation x job: may not come to lie before an operation of that job until
	tenure [2]int

	best   plan
	bestV  int32
	strict bool // a path without moves proves its plan optimal
}

func newTabu(in *instance, stop *atomic.Bool) *tabu {
	t := &tabu{g: newGraph(in), stop: stop}
	if in.flex {
		t.left = make([]int64, in.n*in.mach)
	}
	t.strict = !in.flex && !in.hasSet
	for _, r := range in.release {
		t.strict = t.strict && r == 0
	}
	t.arcs = make([]int64, in.n*in.jobs)
	l := 10 + in.jobs/max(1, in.mach)
	if in.jobs <= 2*in.mach {
		t.tenure = [2]int{l, l + l*2/5 + 1}
	} else {
		t.tenure = [2]int{l, l + l/2 + 1}
	}
	return t
}

func (t *tabu) hold() int64 {
	return t.iter + int64(t.tenure[0]+t.rnd.below(t.tenure[1]-t.tenure[0]+1))
}

// forwardOK says that the operation at place a may go right behind place b without closing a circle: a path from its
// job successor to b would make both comparisons false.
func (g *graph) forwardOK(u, v int32) bool {
	s := g.js[u]
	return s == g.n || g.r[v] < g.c[s] || g.q[s] < g.q[v]+g.p[s]
}

// backwardOK says the same of moving v right before u.
func (g *graph) backwardOK(v, u int32) bool {
	j := g.jp[v]
	return j >= g.n || g.c[u] > g.r[j] || g.q[j] < g.q[u]+g.p[j]
}

// estForward estimates the longest path through the changed stretch when the operation at place a of machine m goes
// right behind place b > a. It may stop at any value not below limit.
func (g *graph) estForward(m, a, b, limit int32) int32 {
	s := g.seq[m]
	c, q, p, jp, js := g.c, g.q, g.p, g.jp, g.js
	u := s[a]
	var tb *table
	if g.in.hasSet && g.in.setups[m].s != nil {
		tb = &g.in.setups[m]
	}
	prev := g.mp[u]
	end := c[prev]
	if tb == nil {
		tr := g.tr
		for k := a + 1; k <= b; k++ {
			w := s[k]
			st := max(c[jp[w]], end)
			tr[k] = st
			end = st + p[w]
		}
		ru := max(c[jp[u]], end)
		qn := p[u] + max(q[js[u]], q[g.ms[s[b]]])
		est := ru + qn
		for k := b; k > a && est < limit; k-- {
			w := s[k]
			qn = p[w] + max(q[js[w]], qn)
			est = max(est, tr[k]+qn)
		}
		return est
	}
	tr := g.tr
	for k := a + 1; k <= b; k++ {
		w := s[k]
		if prev != g.n {
			end += tb.at(prev, w)
		}
		st := max(c[jp[w]], end)
		tr[k] = st
		end = st + p[w]
		prev = w
	}
	ru := max(c[jp[u]], end+tb.at(prev, u))
	qn := p[u] + q[js[u]]
	if y := g.ms[s[b]]; y != g.n {
		qn = max(qn, p[u]+q[y]+tb.at(u, y))
	}
	est := ru + qn
	next := u
	for k := b; k > a && est < limit; k-- {
		w := s[k]
		qn = p[w] + max(q[js[w]], qn+tb.at(w, next))
		est = max(est, tr[k]+qn)
		next = w
	}
	return est
}

// estBackward estimates the same when the operation at place b goes right before place a < b.
func (g *graph) estBackward(m, a, b, limit int32) int32 {
	s := g.seq[m]
	c, q, p, jp, js := g.c, g.q, g.p, g.jp, g.js
	v := s[b]
	var tb *table
	if g.in.hasSet && g.in.setups[m].s != nil {
		tb = &g.in.setups[m]
	}
	prev := g.mp[s[a]]
	tr := g.tr
	if tb == nil {
		rv := max(c[jp[v]], c[prev])
		end := rv + p[v]
		for k := a; k < b; k++ {
			w := s[k]
			st := max(c[jp[w]], end)
			tr[k] = st
			end = st + p[w]
		}
		qn := q[g.ms[v]]
		est := int32(0)
		for k := b - 1; k >= a; k-- {
			w := s[k]
			qn = p[w] + max(q[js[w]], qn)
			est = max(est, tr[k]+qn)
			if est >= limit {
				return est
			}
		}
		return max(est, rv+p[v]+max(q[js[v]], qn))
	}
	end := c[prev]
	if prev != g.n {
		end += tb.at(prev, v)
	}
	rv := max(c[jp[v]], end)
	end = rv + p[v]
	prev = v
	for k := a; k < b; k++ {
		w := s[k]
		st := max(c[jp[w]], end+tb.at(prev, w))
		tr[k] = st
		end = st + p[w]
		prev = w
	}
	qn, next := int32(0), g.ms[v]
	if next != g.n {
		qn = q[next]
	}
	est := int32(0)
	for k := b - 1; k >= a; k-- {
		w := s[k]
		if next != g.n {
			qn += tb.at(w, next)
		}
		qn = p[w] + max(q[js[w]], qn)
		est = max(est, tr[k]+qn)
		if est >= limit {
			return est
		}
		next = w
	}
	return max(est, rv+p[v]+max(q[js[v]], qn+tb.at(v, next)))
}

const huge = int32(1<<31 - 1)

// choice collects the best allowed move and, in case there is none, a random forbidden one.
type choice struct {
	best     step
	ties     int
	fallback step
	seen     int
}

func (t *tabu) offer(ch *choice, v, k, b, est int32, banned bool) {
	if banned && est >= t.bestV {
		// Among the forbidden ones any may serve when there is nothing else.
		if ch.seen++; t.rnd.below(ch.seen) == 0 {
			ch.fallback = step{v, k, b, est}
		}
		return
	}
	if est < ch.best.est {
		ch.best, ch.ties = step{v, k, b, est}, 1
	} else if est == ch.best.est {
		if ch.ties++; t.rnd.below(ch.ties) == 0 {
			ch.best = step{v, k, b, est}
		}
	}
}

// tryForward and tryBackward offer a move within machine m.
func (t *tabu) tryForward(ch *choice, m, a, b int32) {
	g := t.g
	s := g.seq[m]
	if !g.forwardOK(s[a], s[b]) {
		return
	}
	if est := g.estForward(m, a, b, ch.limit()); est <= ch.best.est {
		t.offer(ch, s[a], m, b, est, t.bannedForward(s, a, b))
	}
}

func (t *tabu) tryBackward(ch *choice, m, a, b int32) {
	g := t.g
	s := g.seq[m]
	if !g.backwardOK(s[b], s[a]) {
		return
	}
	if est := g.estBackward(m, a, b, ch.limit()); est <= ch.best.est {
		t.offer(ch, s[b], m, a, est, t.bannedBackward(s, a, b))
	}
}

// bannedForward says whether putting place a behind place b would bring an operation before another that it was lately
// moved behind.
func (t *tabu) bannedForward(s []int32, a, b int32) bool {
	job := t.g.in.job
	ju, jobs := job[s[a]], int32(t.g.in.jobs)
	for k := a + 1; k <= b; k++ {
		if t.arcs[s[k]*jobs+ju] >= t.iter {
			return true
		}
	}
	return false
}

func (t *tabu) bannedBackward(s []int32, a, b int32) bool {
	job := t.g.in.job
	row := t.arcs[s[b]*int32(t.g.in.jobs):]
	for k := a; k < b; k++ {
		if row[job[s[k]]] >= t.iter {
			return true
		}
	}
	return false
}

// limit is where an estimate may stop: a move that is no better than the best so far is of no interest.
func (ch *choice) limit() int32 {
	if ch.best.est == huge {
		return huge
	}
	return ch.best.est + 1
}

// block offers the moves within places a..b of machine m, a stretch of the critical path.
func (t *tabu) block(ch *choice, m, a, b int32, first, last bool) {
	if t.g.in.hasSet {
		// With setups an inner exchange can shorten the path as well: all insertions.
		for i := a; i < b; i++ {
			for k := i + 1; k <= b; k++ {
				t.tryForward(ch, m, i, k)
				if k > i+1 {
					t.tryBackward(ch, m, i, k)
				}
			}
		}
		return
	}
	if b == a+1 {
		if !(first && last) {
			t.tryForward(ch, m, a, b)
		}
		return
	}
	if !last {
		for k := a; k < b; k++ {
			t.tryForward(ch, m, k, b) // behind the last
		}
		for k := a + 1; k < b; k++ {
			t.tryBackward(ch, m, k, b) // the last into the block
		}
	}
	if !first {
		for k := a + 1; k <= b; k++ {
			if k == b && !last && k == a+1 {
				continue
			}
			t.tryBackward(ch, m, a, k) // before the first
		}
		for k := a + 1; k < b; k++ {
			t.tryForward(ch, m, a, k) // the first into the block
		}
	}
}

// elsewhere offers the other machines of critical operation v.
func (t *tabu) elsewhere(ch *choice, v int32) {
	g, in := t.g, t.g.in
	m := g.mach[v]
	j, s := g.jp[v], g.js[v]
	ready, tail := g.c[j], g.q[s]
	after, before := int32(-1), huge
	if j < g.n {
		after = g.r[j]
	}
	if s != g.n {
		before = g.c[s]
	}
	for a := in.altAt[v]; a < in.altAt[v+1]; a++ {
		k := in.altM[a]
		if k == m {
			continue
		}
		seq, d := g.seq[k], in.altP[a]
		if ready+d+tail > ch.best.est {
			continue
		}
		banned := t.left[int(v)*in.mach+int(k)] >= t.iter
		var tb *table
		if in.hasSet && in.setups[k].s != nil {
			tb = &in.setups[k]
		}
		// First place whose operation may come after v.
		lo, hi := 0, len(seq)
		for lo < hi {
			x := (lo + hi) / 2
			if g.c[seq[x]] > after {
				hi = x
			} else {
				lo = x + 1
			}
		}
		x, cx := g.n, int32(0)
		if lo > 0 {
			x = seq[lo-1]
			cx = g.c[x]
		}
		for b := lo; ; b++ {
			y, qy := g.n, int32(0)
			if b < len(seq) {
				y = seq[b]
				qy = g.q[y]
			}
			var est int32
			if tb == nil {
				est = max(ready, cx) + d + max(tail, qy)
			} else {
				h, q := cx, qy
				if x != g.n {
					h += tb.at(x, v)
				}
				if y != g.n {
					q += tb.at(v, y)
				}
				est = max(ready, h) + d + max(tail, q)
			}
			if est <= ch.best.est || banned {
				t.offer(ch, v, k, int32(b), est, banned)
			}
			if y == g.n || g.r[y] >= before || max(ready, g.c[y])+d+tail > ch.best.est {
				break
			}
			x, cx = y, g.c[y]
		}
	}
}

// intrude offers to put any operation z before critical operation y: with setups this can shorten the path though z is
// not on it.
func (t *tabu) intrude(ch *choice, y, z int32) {
	g, in := t.g, t.g.in
	m, x := g.mach[y], g.mp[y]
	if z == y || z == x || x == g.n {
		return
	}
	d := in.duration(z, m)
	if d < 0 {
		return
	}
	b := g.pos[y]
	if g.mach[z] == m && g.pos[z] < b {
		b--
	}
	// Circles are found out by the move itself.
	est := max(g.c[g.jp[z]], g.c[x]+in.setup(m, x, z)) + d + max(g.q[g.js[z]], g.q[y]+in.setup(m, z, y))
	banned := g.mach[z] != m && t.left[int(z)*in.mach+int(m)] >= t.iter
	if est <= ch.best.est || banned {
		t.offer(ch, z, m, b, est, banned)
	}
}

// anywhere is a random move, for paths that offer none.
func (t *tabu) anywhere() step {
	g, in := t.g, t.g.in
	v := int32(t.rnd.below(in.n))
	m := in.altM[in.altAt[v]+int32(t.rnd.below(int(in.altAt[v+1]-in.altAt[v])))]
	n := len(g.seq[m])
	if g.mach[v] == m {
		n--
	}
	return step{v: v, k: m, b: int32(t.rnd.below(n + 1))}
}

// run improves s until patience moves have brought nothing, and leaves the best in t.best. target is a value at which
// nothing more can be gained.
func (t *tabu) run(s *plan, patience int, target int32, rnd *chance) {
	g := t.g
	t.rnd = rnd
	g.load(s)
	g.save(&t.best)
	t.bestV = g.cmax
	t.iter += 1 << 20 // forgets the former run
	since := 0
	for since < patience && t.bestV > target {
		if since&127 == 127 && t.stop.Load() {
			return
		}
		t.iter++
		since++
		path := g.critical(rnd)
		ch := choice{best: step{est: huge}}
		for a := 0; a < len(path); {
			b := a
			m := g.mach[path[a]]
			for b+1 < len(path) && g.mp[path[b+1]] == path[b] && g.mach[path[b+1]] == m {
				b++
			}
			if b > a {
				t.block(&ch, m, g.pos[path[a]], g.pos[path[b]], a == 0 && g.r[path[0]] == 0, b == len(path)-1)
			}
			a = b + 1
		}
		if g.in.hasSet {
			for range 6 {
				t.intrude(&ch, path[rnd.below(len(path))], int32(rnd.below(g.in.n)))
			}
		}
		if g.in.flex {
			for _, v := range path {
				if g.in.altAt[v+1]-g.in.altAt[v] > 1 {
					t.elsewhere(&ch, v)
				}
			}
		}
		st := ch.best
		if g.in.hasSet && since%256 == 255 {
			st = t.anywhere() // with setups the path does not show all that could help
		} else if st.est == huge {
			if ch.seen == 0 {
				if t.strict {
					return // one machine's work without a gap, or one job: nothing can be shorter
				}
				ch.fallback = t.anywhere()
			}
			st = ch.fallback
		}
		v, m, a := st.v, g.mach[st.v], g.pos[st.v]
		if st.k == m && st.b == a || !g.move(st.v, st.k, st.b) {
			continue
		}
		if st.k == m {
			until := t.hold()
			s, b, jobs := g.seq[m], st.b, int32(g.in.jobs)
			if b > a { // v went behind the operations now at a..b-1: it may not come before them again
				for k := a; k < b; k++ {
					t.arcs[v*jobs+g.in.job[s[k]]] = until
				}
			} else {
				for k := b + 1; k <= a; k++ {
					t.arcs[s[k]*jobs+g.in.job[v]] = until
				}
			}
		} else {
			t.left[int(v)*g.in.mach+int(m)] = t.hold()
		}
		if g.cmax < t.bestV {
			t.bestV = g.cmax
			g.save(&t.best)
			since = 0
		}
	}
}
