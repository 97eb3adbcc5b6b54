package schedule

import (
	"math"
	"sync/atomic"

	"firstoff/shop/capacity"
)

// time gives start and end of each operation, from base, when the plan's order is carried out as early as possible.
func (in *instance) time(s *plan) (start, end []int64) {
	start, end = make([]int64, in.n), make([]int64, in.n)
	hours := in.hours()
	last := make([]int32, in.mach)
	for m := range last {
		last[m] = -1
	}
	for _, i := range s.order {
		j, m := in.job[i], s.mach[i]
		t := int64(in.release[j])
		if i > in.first[j] {
			t = end[i-1]
		}
		d := int64(in.duration(i, m))
		h := hours[m]
		if l := last[m]; l >= 0 {
			su := int64(in.setup(m, l, i))
			if h == nil || su == 0 {
				t = max(t, end[l]+su)
			} else {
				t = max(t, h.After(end[l]+in.base, su)-in.base)
			}
		}
		if h == nil {
			start[i], end[i] = t, t+d
		} else {
			s, _ := h.Next(t + in.base)
			start[i] = s - in.base
			end[i] = h.After(s, d) - in.base
		}
		last[m] = i
	}
	return start, end
}

func (in *instance) hours() []*capacity.Hours {
	h := make([]*capacity.Hours, in.mach)
	for m := range h {
		h[m] = capacity.NewHours(in.p.Machines[m].Calendar)
	}
	return h
}

// chains is a plan for any objective that grows with the jobs' ends, and with calendars: machine sequences timed forward
// only. It borrows the order-keeping of graph.
type chains struct {
	*graph
	hours []*capacity.Hours
	start []int64
	end   []int64
	why   []int32 // the operation whose end made it wait: a predecessor in its job or on its machine; n: none
	tardy bool
}

func newChains(in *instance) *chains {
	return &chains{graph: newGraph(in), hours: in.hours(), start: make([]int64, in.n+1), end: make([]int64, in.n+1), why: make([]int32, in.n),
		tardy: in.p.Objective == WeightedTardiness}
}

// run times everything from place lo of the order and returns the objective.
func (c *chains) run(lo int32) float64 {
	in, n := c.in, c.n
	base := in.base
	for _, i := range c.order[lo:] {
		var t int64
		why := n
		if j := c.jp[i]; j < n {
			t, why = c.end[j], j
		} else {
			t = int64(in.release[in.job[i]])
		}
		h := c.hours[c.mach[i]]
		d := int64(c.p[i])
		if m := c.mp[i]; m != n {
			e := c.end[m]
			if su := int64(c.su[i]); su > 0 {
				if h == nil {
					e += su
				} else {
					e = h.After(e+base, su) - base
				}
			}
			if e > t || e == t && why == n {
				t, why = e, m
			}
		}
		if h != nil {
			s, _ := h.Next(t + base)
			t = s - base
			c.end[i] = h.After(s, d) - base
		} else {
			c.end[i] = t + d
		}
		c.start[i], c.why[i] = t, why
	}
	return c.value()
}

// value is the objective, with a small share of the ends themselves so that early is better than just in time.
func (c *chains) value() float64 {
	in := c.in
	late, last := 0.0, int64(0)
	for j := range in.jobs {
		e := c.end[in.first[j+1]-1]
		last = max(last, e)
		if e > in.due[j] {
			late += in.weight[j] * float64(e-in.due[j])
		}
	}
	if c.tardy {
		return late
	}
	return float64(last)
}

func (c *chains) load(s *plan) float64 {
	c.graph.load(s) // heads without calendars are harmless and overwritten
	return c.run(0)
}

// try moves v to place b of machine k and retimes; false when that closes a circle.
func (c *chains) try(v, k, b int32) (float64, bool) {
	g := c.graph
	m, a := g.mach[v], g.pos[v]
	yo := g.ms[v]
	g.shift(v, k, b)
	lo := g.rank[v]
	x, y := g.mp[v], g.ms[v]
	if x != g.n && g.rank[x] > g.rank[v] {
		if !g.later(v, x) {
			g.shift(v, m, a)
			return 0, false
		}
	} else if y != g.n && g.rank[y] < g.rank[v] {
		lo = g.rank[y]
		if !g.earlier(v, y) {
			g.shift(v, m, a)
			return 0, false
		}
	}
	if yo != g.n {
		lo = min(lo, g.rank[yo])
	}
	return c.run(lo), true
}

// pick draws a late job (for the makespan: the last), weighted by what its lateness costs, and gives its last operation.
func (c *chains) pick(rnd *chance) int32 {
	in := c.in
	sum, got := 0.0, c.n
	most := int64(-1)
	for j := range in.jobs {
		i := in.first[j+1] - 1
		e := c.end[i]
		if c.tardy {
			if e > in.due[j] && in.weight[j] > 0 {
				w := math.Sqrt(in.weight[j] * float64(e-in.due[j]))
				if sum += w; rnd.unit()*sum < w {
					got = i
				}
			}
		} else if e > most {
			most, got = e, i
		}
	}
	return got
}

// improve anneals from s for the given number of trials, from hot to cold in units of what a
// step up costs: an operation on the chain that makes a late job late goes earlier
// on its machine, or to another. It leaves the best plan in best and returns.
func (c *chains) improve(s *plan, best *plan, trials int, hot, cold float64, rnd *chance, stop *atomic.Bool, bound float64) {
	in := c.in
	cur := c.load(s)
	top := best.value
	// The first moves are all undone and only tell what a step up costs here.
	sample := min(trials/10, 200)
	up, ups := 0.0, 0
	temp, cool := 0.0, 1.0
	var path []int32
	for k := 0; k < trials; k++ {
		if k == sample {
			unit := max(1e-3, cur*1e-4)
			if ups > 0 {
				unit = up / float64(ups)
			}
			temp = hot * unit
			cool = math.Pow(cold/hot, 1/float64(max(1, trials-sample)))
		}
		if k&63 == 0 && (stop.Load() || top <= bound) {
			return
		}
		temp *= cool
		last := c.pick(rnd)
		if last == c.n {
			return
		}
		path = path[:0]
		for i := last; i != c.n; i = c.why[i] {
			path = append(path, i)
		}
		v := path[rnd.below(len(path))]
		if rnd.below(10) == 0 {
			v = int32(rnd.below(in.n)) // what is not in the way may still be better elsewhere, with setups above all
		}
		m, a := c.mach[v], c.pos[v]
		to, b := m, a
		alts := in.altAt[v+1] - in.altAt[v]
		if alts > 1 && rnd.below(2) == 0 {
			at := in.altAt[v] + int32(rnd.below(int(alts)))
			to = in.altM[at]
		}
		if to == m {
			if a == 0 {
				continue
			}
			// Before one of those it waits for, near ones more often.
			reach := int32(1)
			for reach < a && rnd.below(3) != 0 {
				reach++
			}
			if rnd.below(8) == 0 {
				reach = 1 + int32(rnd.below(int(a)))
			}
			b = a - reach
			if rnd.below(3) == 0 {
				// The other way round: what stands before it goes behind it.
				v = c.seq[m][a-reach]
				b = a
			}
		} else {
			// About where it would be in time.
			t := c.start[v]
			if j := c.jp[v]; j < c.n {
				t = min(t, c.end[j]+(t-c.end[j])*int64(rnd.below(5))/4)
			}
			seq := c.seq[to]
			lo, hi := 0, len(seq)
			for lo < hi {
				x := (lo + hi) / 2
				if c.start[seq[x]] >= t {
					hi = x
				} else {
					lo = x + 1
				}
			}
			b = int32(min(max(0, lo+rnd.below(3)-1), len(seq)))
		}
		m, a = c.mach[v], c.pos[v]
		value, ok := c.try(v, to, b)
		if !ok {
			continue
		}
		if k < sample && value > cur {
			up += value - cur
			ups++
		}
		if value <= cur || k >= sample && rnd.unit() < math.Exp((cur-value)/temp) {
			cur = value
			if cur < top {
				top = cur
				c.save(best)
				best.value = top
			}
			continue
		}
		c.try(v, m, a)
	}
}

// sequences improves plans with calendars or due dates, lane by lane from the best so far.
func (c *control) sequences() {
	in := c.in
	rnd := c.rnd(0, 99)
	first := newChains(in)
	for ru := mostWork; ru < ruleCount; ru++ {
		s := in.dispatch(ru, 0, rnd)
		s.value = first.load(s)
		c.take(s)
		if c.stop.Load() {
			return
		}
	}
	type lane struct {
		c    *chains
		best plan
	}
	work := make([]lane, lanes)
	for k := range work {
		work[k].c = newChains(in)
	}
	trials := max(2000, min(8_000_000/in.n, 3000*in.n))
	for !c.done() {
		c.parallel(lanes, func(k int) {
			w := &work[k]
			rnd := c.rnd(c.rounds+1, k)
			hot := 1.5 * math.Pow(0.4, float64(k)) // lanes differ in how far they stray
			w.best = *c.best.clone()
			w.c.improve(&c.best, &w.best, trials, hot, 0.003, rnd, &c.stop, c.bound)
		})
		c.rounds++
		for k := range work {
			c.take(&work[k].best)
		}
	}
}
