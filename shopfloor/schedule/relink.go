package schedule

import "sort"

// relink improves plans in the manner of tabu search with path relinking (Peng, Lü, Cheng, Computers & Operations Research
// 53, 2015): a population of local optima, new ones from between two of them, improved by tabu search, the worst
// leaving. What lies between is found at once here: operations are sorted by a mix of their places in both
// parents' orders, which keeps every precedence both agree on and so can close no circle.
func (c *control) relink() {
	in := c.in
	work := make([]*tabu, lanes)
	for k := range work {
		work[k] = newTabu(in, &c.stop)
	}
	// At once: the best of the dispatching rules.
	rnd := c.rnd(0, 99)
	var seeds []*plan
	for ru := mostWork; ru < ruleCount; ru++ {
		s := in.dispatch(ru, 0, rnd)
		c.take(s)
		seeds = append(seeds, s)
		if c.stop.Load() {
			return
		}
	}
	sort.SliceStable(seeds, func(a, b int) bool { return seeds[a].value < seeds[b].value })

	var pop []*plan
	found := make([]*plan, lanes)
	size, patience := 24, 12500
	for !c.done() {
		c.parallel(lanes, func(k int) {
			found[k] = nil
			rnd := c.rnd(c.rounds+1, k)
			var s *plan
			if len(pop) < size {
				if at := c.rounds*lanes + k; at < 2 {
					s = seeds[at]
				} else if at&1 == 0 {
					s = in.dispatch(rule(rnd.below(int(ruleCount))), 0.4, rnd)
				} else {
					s = in.dispatch(byChance, 0, rnd)
				}
			} else {
				a := rnd.below(len(pop))
				b := rnd.below(len(pop) - 1)
				if b >= a {
					b++
				}
				s = in.between(pop[a], pop[b], work[k].g, rnd)
			}
			if c.stop.Load() && (c.best.order != nil) {
				return
			}
			work[k].run(s, patience, c.target, rnd)
			found[k] = work[k].best.clone()
		})
		c.rounds++
		for _, s := range found {
			if s == nil {
				continue
			}
			c.take(s)
			pop = c.admit(pop, s, size)
		}
	}
}

// admit puts s into the population unless it is there already; when full the worst leaves.
func (c *control) admit(pop []*plan, s *plan, size int) []*plan {
	for _, o := range pop {
		if o.value == s.value && c.in.same(o, s) {
			return pop
		}
	}
	if len(pop) < size {
		return append(pop, s)
	}
	worst := 0
	for i, o := range pop {
		if o.value >= pop[worst].value {
			worst = i
		}
	}
	if s.value <= pop[worst].value {
		pop[worst] = s
	}
	return pop
}

// same says whether two plans have the same sequences on all machines.
func (in *instance) same(a, b *plan) bool {
	for i, m := range a.mach {
		if b.mach[i] != m {
			return false
		}
	}
	la, lb := make([]int32, in.n), make([]int32, in.n)
	mark := func(s *plan, l []int32) {
		last := make([]int32, in.mach)
		for i := range last {
			last[i] = -1
		}
		for _, i := range s.order {
			l[i] = last[s.mach[i]]
			last[s.mach[i]] = i
		}
	}
	mark(a, la)
	mark(b, lb)
	for i := range la {
		if la[i] != lb[i] {
			return false
		}
	}
	return true
}

// between makes a plan from two: each operation's place is a mix of its places in both, its machine that of the one or
// the other.
func (in *instance) between(a, b *plan, g *graph, rnd *chance) *plan {
	s := &plan{order: make([]int32, in.n), mach: make([]int32, in.n)}
	share := 0.3 + 0.4*rnd.unit() // how much of b
	key := make([]float64, in.n)
	// Places by how far the operation can be moved: from the earliest and latest starts of each parent.
	for n, o := range []*plan{a, b} {
		g.load(o)
		w := 1 - share
		if n == 1 {
			w = share
		}
		late := rnd.unit()
		for i := range in.n {
			key[i] += w * ((1-late)*float64(g.r[i]) + late*float64(g.cmax-g.q[i]))
		}
	}
	for i := range in.n {
		s.order[i] = int32(i)
		s.mach[i] = a.mach[i]
		if b.mach[i] != a.mach[i] && rnd.unit() < share {
			s.mach[i] = b.mach[i]
		}
	}
	sort.SliceStable(s.order, func(x, y int) bool {
		i, j := s.order[x], s.order[y]
		if key[i] != key[j] {
			return key[i] < key[j]
		}
		return i < j
	})
	return s
}
