package schedule

// graph is a plan as a disjunctive graph (Roy and Sussmann 1964) with the lengths of the longest paths into and out of
// each operation, kept up to date move by move. Makespan only; calendars are not for it (see sequence.go).
//
// Nodes 0..n-1 are operations, n stands for "nothing" (no predecessor or successor), n+1+j for the release of job j.
type graph struct {
	in   *instance
	n    int32
	mach []int32 // machine of an operation
	p    []int32 // its duration there
	jp   []int32 // job predecessor; may be n or a release
	js   []int32 // job successor
	mp   []int32 // machine predecessor
	ms   []int32 // machine successor
	su   []int32 // setup between mp and the operation
	c    []int32 // earliest end
	r    []int32 // earliest start
	q    []int32 // longest path from its start to the end of everything, itself included

	seq   [][]int32 // by machine
	pos   []int32   // place in seq
	order []int32   // a topological order
	rank  []int32
	cmax  int32

	mark  []int32
	stamp int32
	keep  []int32
	tr    []int32 // scratch for estimates
	path  []int32
}

func newGraph(in *instance) *graph {
	n := int32(in.n)
	nodes := in.n + 1 + in.jobs
	g := &graph{in: in, n: n,
		mach: make([]int32, n), p: make([]int32, nodes), jp: make([]int32, n+1), js: make([]int32, n+1), mp: make([]int32, n+1), ms: make([]int32, n+1),
		su: make([]int32, n+1), c: make([]int32, nodes), r: make([]int32, nodes), q: make([]int32, nodes),
		seq: make([][]int32, in.mach), pos: make([]int32, n), order: make([]int32, n), rank: make([]int32, n),
		mark: make([]int32, nodes), tr: make([]int32, n+1),
	}
	for j := range in.jobs {
		a, b := in.first[j], in.first[j+1]
		for i := a; i < b; i++ {
			g.jp[i], g.js[i] = i-1, i+1
		}
		g.jp[a], g.js[b-1] = n, n
		if in.release[j] > 0 {
			g.jp[a] = n + 1 + int32(j)
			g.c[n+1+int32(j)] = in.release[j]
			g.r[n+1+int32(j)] = in.release[j]
		}
	}
	return g
}

// load takes over a plan.
func (g *graph) load(s *plan) {
	for m := range g.seq {
		g.seq[m] = g.seq[m][:0]
	}
	copy(g.order, s.order)
	copy(g.mach, s.mach)
	for k, i := range g.order {
		g.rank[i] = int32(k)
		m := g.mach[i]
		g.p[i] = g.in.duration(i, m)
		g.pos[i] = int32(len(g.seq[m]))
		g.seq[m] = append(g.seq[m], i)
	}
	for m := range g.seq {
		for k := range g.seq[m] {
			g.link(int32(m), int32(k))
		}
	}
	g.heads(0)
	g.tails(g.n - 1)
}

// save writes the plan, its operations in order of their starts.
func (g *graph) save(s *plan) {
	if cap(s.order) < len(g.order) {
		s.order, s.mach = make([]int32, g.n), make([]int32, g.n)
	}
	s.order, s.mach = s.order[:g.n], s.mach[:g.n]
	copy(s.order, g.order)
	copy(s.mach, g.mach)
	s.value = float64(g.cmax)
}

// link sets the machine neighbours and the setup before place k of machine m.
func (g *graph) link(m, k int32) {
	s := g.seq[m]
	i := s[k]
	if k > 0 {
		a := s[k-1]
		g.mp[i], g.ms[a] = a, i
		g.su[i] = g.in.setup(m, a, i)
	} else {
		g.mp[i], g.su[i] = g.n, 0
	}
	if int(k) == len(s)-1 {
		g.ms[i] = g.n
	}
}

// heads recomputes starts and ends from place lo of the order on.
func (g *graph) heads(lo int32) {
	c, r, p, jp, mp, su := g.c, g.r, g.p, g.jp, g.mp, g.su
	for _, i := range g.order[lo:] {
		t := max(c[jp[i]], c[mp[i]]+su[i])
		r[i] = t
		c[i] = t + p[i]
	}
	g.cmax = 0
	f := g.in.first
	for j := 1; j < len(f); j++ {
		g.cmax = max(g.cmax, c[f[j]-1])
	}
}

// tails recomputes the paths to the end from place hi of the order back.
func (g *graph) tails(hi int32) {
	q, p, js, ms, su := g.q, g.p, g.js, g.ms, g.su
	for k := hi; k >= 0; k-- {
		i := g.order[k]
		s := ms[i]
		q[i] = p[i] + max(q[js[i]], q[s]+su[s])
	}
}

// move takes operation v out of its place and puts it on machine k at place b (counted without v). It returns false, with
// the graph unchanged, when that would close a circle.
func (g *graph) move(v, k, b int32) bool {
	m, a := g.mach[v], g.pos[v]
	xo, yo := g.mp[v], g.ms[v]
	g.shift(v, k, b)
	lo, hi := g.rank[v], g.rank[v]
	x, y := g.mp[v], g.ms[v]
	if x != g.n && g.rank[x] > g.rank[v] {
		hi = g.rank[x]
		if !g.later(v, x) {
			g.shift(v, m, a)
			return false
		}
	} else if y != g.n && g.rank[y] < g.rank[v] {
		lo = g.rank[y]
		if !g.earlier(v, y) {
			g.shift(v, m, a)
			return false
		}
	}
	if yo != g.n {
		lo = min(lo, g.rank[yo])
	}
	if xo != g.n {
		hi = max(hi, g.rank[xo])
	}
	g.heads(lo)
	g.tails(hi)
	return true
}

// shift changes the machine sequences and links only.
func (g *graph) shift(v, k, b int32) {
	m, a := g.mach[v], g.pos[v]
	if m == k {
		s := g.seq[m]
		if b > a {
			copy(s[a:b], s[a+1:b+1])
		} else {
			copy(s[b+1:a+1], s[b:a])
		}
		s[b] = v
		lo, hi := min(a, b), min(max(a, b)+1, int32(len(s)-1))
		for t := lo; t <= hi; t++ {
			g.pos[s[t]] = t
			g.link(m, t)
		}
		return
	}
	s := g.seq[m]
	copy(s[a:], s[a+1:])
	s = s[:len(s)-1]
	g.seq[m] = s
	for t := a; t < int32(len(s)); t++ {
		g.pos[s[t]] = t
	}
	if a < int32(len(s)) {
		g.link(m, a)
	} else if a > 0 {
		g.ms[s[a-1]] = g.n
	}
	g.mach[v] = k
	g.p[v] = g.in.duration(v, k)
	s = append(g.seq[k], 0)
	copy(s[b+1:], s[b:])
	s[b] = v
	g.seq[k] = s
	for t := b; t < int32(len(s)); t++ {
		g.pos[s[t]] = t
	}
	g.link(k, b)
	if b+1 < int32(len(s)) {
		g.link(k, b+1)
	}
}

// later mends the order so that v comes after x: v and what follows from it within the stretch go behind x. Reports
// false, with the order unchanged, when x itself follows from v.
func (g *graph) later(v, x int32) bool {
	g.stamp++
	lo, hi := g.rank[v], g.rank[x]
	mark, st := g.mark, g.stamp
	mark[v] = st
	d := append(g.keep[:0], v)
	jp, mp := g.jp, g.mp
	for k := lo + 1; k <= hi; k++ {
		w := g.order[k]
		if mark[jp[w]] == st || mark[mp[w]] == st && mp[w] != g.n {
			if w == x {
				g.keep = d
				return false
			}
			mark[w] = st
			d = append(d, w)
		}
	}
	at := lo
	for k := lo; k <= hi; k++ {
		w := g.order[k]
		if mark[w] != st {
			g.order[at] = w
			g.rank[w] = at
			at++
		}
	}
	for _, w := range d {
		g.order[at] = w
		g.rank[w] = at
		at++
	}
	g.keep = d
	return true
}

// earlier mends the order so that v comes before y: v and what it follows from within the stretch go before y.
func (g *graph) earlier(v, y int32) bool {
	g.stamp++
	lo, hi := g.rank[y], g.rank[v]
	mark, st := g.mark, g.stamp
	mark[v] = st
	d := append(g.keep[:0], v)
	for k := hi - 1; k >= lo; k-- {
		w := g.order[k]
		s, t := g.js[w], g.ms[w]
		if s != g.n && mark[s] == st || t != g.n && mark[t] == st {
			if w == y {
				g.keep = d
				return false
			}
			mark[w] = st
			d = append(d, w)
		}
	}
	at := hi
	for k := hi; k >= lo; k-- {
		w := g.order[k]
		if mark[w] != st {
			g.order[at] = w
			g.rank[w] = at
			at--
		}
	}
	for _, w := range d {
		g.order[at] = w
		g.rank[w] = at
		at--
	}
	g.keep = d
	return true
}

// critical fills g.path with one longest path, drawn at random where paths split.
func (g *graph) critical(rnd *chance) []int32 {
	f := g.in.first
	last, ties := g.n, 0
	for j := 1; j < len(f); j++ {
		if i := f[j] - 1; g.c[i] == g.cmax {
			if ties++; ties == 1 || rnd.below(ties) == 0 {
				last = i
			}
		}
	}
	path := g.path[:0]
	for i := last; i < g.n; {
		path = append(path, i)
		j, m := g.jp[i], g.mp[i]
		byJob := g.c[j] == g.r[i]
		byMachine := m != g.n && g.c[m]+g.su[i] == g.r[i]
		switch {
		case byMachine && (!byJob || j >= g.n || rnd.next()&1 == 0):
			i = m
		case byJob && j < g.n:
			i = j
		default:
			i = g.n
		}
	}
	// From front to back.
	for a, b := 0, len(path)-1; a < b; a, b = a+1, b-1 {
		path[a], path[b] = path[b], path[a]
	}
	g.path = path
	return path
}
