package schedule

import (
	"math"
	"sort"
	"sync/atomic"
)

// lines is the plan of single-operation jobs on unlike machines with setups: one chain of operations a machine, whose
// length is the sum of durations and setups. Node n+m is the head and tail of machine m's ring.
type lines struct {
	in   *instance
	n    int32
	mach []int32
	prev []int32
	next []int32
	load []int64
	dur  []int32   // operation x machine; -1: not there
	row  [][]int32 // by machine: node → row of its setup table; heads lie in the row of zeros
	tab  [][]int32
	k    []int32
	memo []spots // operation x machine
	ver  []int64 // by machine: counts its changes
	draw []int32 // operation x drawSlots: machines, likely ones more often
}

// drawSlots is how finely the chance of each machine is graded.
const drawSlots = 64

// likely fills l.draw: a machine's share falls off with what the operation costs there, duration and the mean of the few
// least setups into it, above its cheapest; every possible machine keeps a slot.
func (l *lines) likely() {
	in, nm := l.in, len(l.load)
	tau, ways := 0.0, 0.0 // 1/2.5 of the mean cost of an alternative
	l.draw = make([]int32, in.n*drawSlots)
	cost := make([]float64, nm)
	least := make([][]float64, nm)
	for m := range nm {
		k := int(l.k[m])
		least[m] = make([]float64, k)
		col := make([]float64, k)
		for b := range k {
			for a := range k {
				col[a] = float64(l.tab[m][a*k+b])
			}
			c := append([]float64(nil), col...)
			sort.Float64s(c)
			n := min(len(c), 6)
			for _, x := range c[:n] {
				least[m][b] += x / float64(n)
			}
		}
	}
	for i := range in.n {
		for m := range nm {
			if d := l.dur[i*nm+m]; d >= 0 {
				tau += float64(d) + least[m][l.row[m][i]]
				ways++
			}
		}
	}
	tau = max(1, tau/ways/2.5)
	for i := range in.n {
		low := math.Inf(1)
		for m := range nm {
			cost[m] = math.Inf(1)
			if d := l.dur[i*nm+m]; d >= 0 {
				cost[m] = float64(d) + least[m][l.row[m][i]]
				low = min(low, cost[m])
			}
		}
		sum := 0.0
		for m := range nm {
			cost[m] = math.Exp(-(cost[m] - low) / tau)
			sum += cost[m]
		}
		row := l.draw[i*drawSlots : (i+1)*drawSlots]
		at := 0
		for m := range nm {
			if l.dur[i*nm+m] >= 0 && at < drawSlots {
				row[at] = int32(m)
				at++
			}
		}
		acc, m := 0.0, 0
		for x := at; x < drawSlots; x++ {
			want := (float64(x-at) + 0.5) / float64(drawSlots-at) * sum
			for m < nm-1 && acc+cost[m] < want {
				acc += cost[m]
				m++
			}
			row[x] = int32(m)
		}
	}
}

func newLines(in *instance) *lines {
	n, m := int32(in.n), in.mach
	l := &lines{in: in, n: n, mach: make([]int32, in.n+m), prev: make([]int32, in.n+m), next: make([]int32, in.n+m), load: make([]int64, m),
		dur: make([]int32, in.n*m), row: make([][]int32, m), tab: make([][]int32, m), k: make([]int32, m)}
	for i := range l.dur {
		l.dur[i] = -1
	}
	for i := range n {
		for a := in.altAt[i]; a < in.altAt[i+1]; a++ {
			l.dur[int(i)*m+int(in.altM[a])] = in.altP[a]
		}
	}
	zero := make([]int32, in.n+m)
	for x := range m {
		l.row[x], l.tab[x], l.k[x] = zero, []int32{0}, 1
		if t := &in.setups[x]; t.s != nil {
			l.row[x] = append(append(make([]int32, 0, in.n+m), t.of...), make([]int32, m)...)
			for h := range m {
				l.row[x][in.n+h] = t.k - 1
			}
			l.tab[x], l.k[x] = t.s, t.k
		}
		l.mach[in.n+x] = int32(x)
	}
	return l
}

func (l *lines) loadPlan(s *plan) {
	for m := range int32(len(l.load)) {
		h := l.n + m
		l.prev[h], l.next[h], l.load[m] = h, h, 0
	}
	for _, i := range s.order {
		m := s.mach[i]
		l.mach[i] = m
		l.insert(i, l.prev[l.n+m])
	}
	for m := range int32(len(l.load)) {
		l.load[m] = l.length(m)
	}
}

func (l *lines) insert(i, after int32) {
	b := l.next[after]
	l.prev[i], l.next[i], l.next[after], l.prev[b] = after, b, i, i
}

func (l *lines) remove(i int32) {
	a, b := l.prev[i], l.next[i]
	l.next[a], l.prev[b] = b, a
}

func (l *lines) setup(m, a, b int32) int64 {
	r := l.row[m]
	return int64(l.tab[m][r[a]*l.k[m]+r[b]])
}

// length is the load of machine m, counted.
func (l *lines) length(m int32) int64 {
	sum, h := int64(0), l.n+m
	for i := l.next[h]; i != h; i = l.next[i] {
		sum += int64(l.dur[int(i)*len(l.load)+int(m)]) + l.setup(m, l.prev[i], i)
	}
	return sum
}

func (l *lines) longest() int64 {
	most := int64(0)
	for _, x := range l.load {
		most = max(most, x)
	}
	return most
}

func (l *lines) save(s *plan) {
	s.order, s.mach = s.order[:0], append(s.mach[:0], l.mach[:l.n]...)
	for m := range int32(len(l.load)) {
		h := l.n + m
		for i := l.next[h]; i != h; i = l.next[i] {
			s.order = append(s.order, i)
		}
	}
	s.value = float64(l.longest())
}

// spot is a place for an operation on a machine: behind node c at cost v in setups.
type spot struct {
	c int32
	v int32
}

// spots are the three best places of an operation on a machine as it was at version ver.
type spots struct {
	ver int64
	at  [3]spot
}

const nowhere = int32(1 << 29)

// find gives the best places of i on machine y, on which it is not, from memory while y has not changed.
func (l *lines) find(i, y int32) *spots {
	s := &l.memo[int(i)*len(l.load)+int(y)]
	if s.ver == l.ver[y] {
		return s
	}
	s.ver = l.ver[y]
	r, t, k := l.row[y], l.tab[y], l.k[y]
	ri := r[i]
	ti := t[ri*k:]
	h := l.n + y
	a0, a1, a2 := spot{h, nowhere}, spot{h, nowhere}, spot{h, nowhere}
	c := h
	for {
		e := l.next[c]
		rc, re := r[c]*k, r[e]
		v := t[rc+ri] + ti[re] - t[rc+re]
		if v < a2.v {
			switch {
			case v < a0.v:
				a0, a1, a2 = spot{c, v}, a0, a1
			case v < a1.v:
				a1, a2 = spot{c, v}, a1
			default:
				a2 = spot{c, v}
			}
		}
		if e == h {
			break
		}
		c = e
	}
	s.at = [3]spot{a0, a1, a2}
	return s
}

// anneal looks for a plan whose longest machine is shorter than best's, over the given number of steps. The energy is
// the sum of all loads, each at its machine's rate, so that whatever is out of place costs something, and weight
// times what a machine exceeds the goal by; the goal is the mean load, or one below the best found where that is less. A
// machine that stays above the mean becomes dearer, one below cheaper: multipliers of the condition that none be longer
// than another. In the last stretch the weight grows. Moves: an operation goes where it fits best on a likely machine, or
// two change machines, each going where it fits best.
//
// The figures were found by trial on four instances of 100 operations and two of 50 (unit is the mean time an
// operation costs there, setup included): beginning colder freezes in a bad plan, and time spent longer pays more than
// beginning again.
func (l *lines) anneal(best *plan, steps int, rnd *chance, stop *atomic.Bool, target int64) {
	const (
		hot, cold          = 0.63, 0.16 // of unit
		lastHot, lastCold  = 0.21, 0.037
		lastShare          = 0.15
		lightest, heaviest = 1.0, 4.0
		multiplier         = 0.5
		exchanges          = 256 // of 1024 moves
	)
	m := int32(len(l.load))
	nm := int(m)
	if l.memo == nil {
		l.memo = make([]spots, int(l.n)*nm)
		l.ver = make([]int64, nm)
	}
	for y := range l.ver {
		l.ver[y] = l.ver[y] + 1 // what is remembered belongs to another plan
	}
	top := int64(best.value)
	goal := top - 1
	work := int64(0)
	for _, x := range l.load {
		work += x
	}
	unit := max(1, float64(work)/float64(l.n))
	slack := int64(unit / 20)
	last := steps - int(lastShare*float64(steps))
	temp, weight := 0.0, lightest
	var tolerance [1024]float64 // exponentially distributed, drawn anew now and then
	rate := make([]float64, nm)
	heavy := make([]float64, nm)
	for y := range rate {
		rate[y] = 1
	}
	// change is what the energy gains when machine y's load goes up by d.
	change := func(y int32, d int64) float64 {
		x := l.load[y] - goal
		return rate[y]*float64(d) + weight*float64(max(x+d, 0)-max(x, 0))
	}
	for k := range steps {
		if k&1023 == 0 {
			for y, x := range l.load {
				heavy[y] += float64(x)
			}
			if k&(1<<16-1) == 0 && k > 0 {
				mean := 0.0
				for _, x := range heavy {
					mean += x / float64(nm)
				}
				for y := range rate {
					rate[y] *= math.Exp(multiplier * (heavy[y] - mean) / (mean + 1))
					rate[y] = min(max(rate[y], 0.2), 5)
					heavy[y] = 0
				}
			}
			if k < last {
				temp = unit * hot * math.Pow(cold/hot, float64(k)/float64(last))
			} else {
				f := float64(k-last) / float64(steps-last)
				temp = unit * lastHot * math.Pow(lastCold/lastHot, f)
				weight = lightest * math.Pow(heaviest/lightest, min(1, 1.5*f))
			}
			if stop.Load() || top <= target {
				return
			}
			sum := int64(0)
			for _, x := range l.load {
				sum += x
			}
			goal = min(top-1, sum/int64(m)+slack)
			if k&(1<<16-1) == 0 {
				for x := range tolerance {
					tolerance[x] = -math.Log(1 - rnd.unit())
				}
			}
		}
		bits := rnd.next()
		i := int32((bits >> 40) * uint64(l.n) >> 24)
		x := l.mach[i]
		a, b := l.prev[i], l.next[i]
		rx, tx, kx := l.row[x], l.tab[x], l.k[x]
		ra, ri, rb := rx[a]*kx, rx[i], rx[b]
		rem := int64(tx[ra+rb]) - int64(tx[ra+ri]+tx[ri*kx+rb]) - int64(l.dur[int(i)*nm+int(x)])
		allow := temp * tolerance[bits&1023]
		if (bits>>10)&1023 >= exchanges {
			y := l.draw[int(i)*drawSlots+int(bits>>20)&(drawSlots-1)]
			d := int64(l.dur[int(i)*nm+int(y)])
			if x == y {
				l.remove(i)
				c, ins := l.place(i, y)
				delta := ins + d + rem
				if c == a || change(x, delta) > allow {
					l.insert(i, a)
					continue
				}
				l.insert(i, c)
				l.load[x] += delta
				l.ver[x]++
				if delta >= 0 || l.load[x] >= top {
					continue
				}
			} else {
				p := l.find(i, y).at[0]
				ins := int64(p.v) + d
				if change(x, rem)+change(y, ins) > allow {
					continue
				}
				l.remove(i)
				l.insert(i, p.c)
				l.mach[i] = y
				l.load[x] += rem
				l.load[y] += ins
				l.ver[x]++
				l.ver[y]++
				if l.load[x] >= top || l.load[y] >= top {
					continue
				}
			}
		} else {
			j := int32(rnd.below(int(l.n)))
			y := l.mach[j]
			if y == x {
				continue
			}
			di, dj := int64(l.dur[int(i)*nm+int(y)]), int64(l.dur[int(j)*nm+int(x)])
			if di < 0 || dj < 0 {
				continue
			}
			c, e := l.prev[j], l.next[j]
			ry, ty, ky := l.row[y], l.tab[y], l.k[y]
			rc, rj, re := ry[c]*ky, ry[j], ry[e]
			remJ := int64(ty[rc+re]) - int64(ty[rc+rj]+ty[rj*ky+re]) - int64(l.dur[int(j)*nm+int(y)])
			// In the other's stead, or the best place not beside it.
			yi, xj := ry[i], rx[j]
			pi := spot{c, ty[rc+yi] + ty[yi*ky+re] - ty[rc+re]}
			for _, s := range l.find(i, y).at {
				if s.c != c && s.c != j {
					if s.v < pi.v {
						pi = s
					}
					break
				}
			}
			pj := spot{a, tx[ra+xj] + tx[xj*kx+rb] - tx[ra+rb]}
			for _, s := range l.find(j, x).at {
				if s.c != a && s.c != i {
					if s.v < pj.v {
						pj = s
					}
					break
				}
			}
			dx := rem + int64(pj.v) + dj
			dy := remJ + int64(pi.v) + di
			if change(x, dx)+change(y, dy) > allow {
				continue
			}
			l.remove(i)
			l.remove(j)
			l.insert(j, pj.c)
			l.insert(i, pi.c)
			l.mach[i], l.mach[j] = y, x
			l.load[x] += dx
			l.load[y] += dy
			l.ver[x]++
			l.ver[y]++
			if l.load[x] >= top || l.load[y] >= top {
				continue
			}
		}
		if v := l.longest(); v < top {
			l.save(best)
			top = v
			goal = min(goal, top-1)
		}
	}
}

// place finds the node of machine y behind which i costs least.
func (l *lines) place(i, y int32) (int32, int64) {
	r, t, k := l.row[y], l.tab[y], l.k[y]
	ti := t[r[i]*k:]
	ri := r[i]
	h := l.n + y
	c := h
	best, bestC := int64(math.MaxInt64), h
	for {
		e := l.next[c]
		rc, re := r[c], r[e]
		if v := int64(t[rc*k+ri] + ti[re] - t[rc*k+re]); v < best {
			best, bestC = v, c
		}
		if e == h {
			return bestC, best
		}
		c = e
	}
}

// lines improves such plans by annealing, each round twice as long as the one before: the longer it cools the better it
// gets, and nobody knows when it will be told to stop.
func (c *control) lines() {
	in := c.in
	rnd := c.rnd(0, 99)
	for ru := mostWork; ru < ruleCount; ru++ {
		c.take(in.dispatch(ru, 0, rnd))
		if c.stop.Load() {
			return
		}
	}
	work := make([]*lines, lanes)
	best := make([]plan, lanes)
	for k := range work {
		work[k] = newLines(in)
		work[k].likely()
		work[k].loadPlan(&c.best)
	}
	for steps := min(5000*in.n, 1_000_000); !c.done(); steps = min(2*steps, 1<<40) {
		c.parallel(lanes, func(k int) {
			best[k] = *c.best.clone()
			work[k].anneal(&best[k], steps, c.rnd(c.rounds+1, k), &c.stop, int64(c.bound))
		})
		c.rounds++
		for k := range best {
			c.take(&best[k])
		}
	}
}
