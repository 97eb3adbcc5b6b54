package schedule

import (
	"context"
	"math"
	"slices"
	"sort"
	"sync/atomic"
	"time"
)

// Gather answers Runs: a first plan piece by piece, each where it costs least, then annealing over moves of pieces between
// runs and of runs between places (after the local search for oven scheduling of Lackner, Mrkvicka, Musliu, Walkiewicz and
// Winter, Constraints 28, 2023, and Da Ros et al. 2024). opt is used as in Solve.
func Gather(ctx context.Context, r *Runs, opt Options) (*RunPlan, error) {
	if err := r.Check(); err != nil {
		return nil, err
	}
	if opt.Rounds <= 0 && opt.Seconds <= 0 {
		opt.Rounds = 8
	}
	if opt.Seconds > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, time.Duration(opt.Seconds*float64(time.Second)))
		defer cancel()
	}
	var stop atomic.Bool
	if ctx.Err() != nil {
		stop.Store(true)
	}
	defer context.AfterFunc(ctx, func() { stop.Store(true) })()
	c := &control{opt: opt}

	work := make([]*oven, lanes)
	for k := range work {
		work[k] = newOven(r)
	}
	first := work[0]
	first.build(&stop)
	best, bestCost := first.save(), first.total()
	found := make([][]Run, lanes)
	costs := make([]float64, lanes)
	rounds := 0
	for steps := min(200*max(1, len(r.Pieces)), 40_000); len(r.Pieces) > 1 && !stop.Load() && (opt.Rounds <= 0 || rounds < opt.Rounds) && bestCost > 0; steps = min(2*steps, 1<<34) {
		c.parallel(lanes, func(k int) {
			v := work[k]
			v.load(best)
			found[k], costs[k] = v.anneal(steps, c.rnd(rounds+1, k), &stop, bestCost, k)
		})
		rounds++
		for k := range work {
			if found[k] != nil && costs[k] < bestCost {
				best, bestCost = found[k], costs[k]
				if opt.Improved != nil {
					opt.Improved(bestCost, 0)
				}
			}
		}
	}
	first.load(best)
	plan := &RunPlan{Runs: first.save(), Cost: first.cost, Rounds: rounds}
	if r.SpanCost != 0 {
		last := int64(0)
		for _, x := range plan.Runs {
			last = max(last, x.End)
		}
		plan.Cost += r.SpanCost * float64(last)
	}
	for m := range first.seq {
		for _, b := range first.seq[m] {
			if b.lost {
				plan.Infeasible++
			}
		}
	}
	return plan, nil
}

// build makes a first plan: pieces by due date, each into the run or the new run where it costs least. When there are many
// places only some are tried.
func (v *oven) build(stop *atomic.Bool) {
	r := v.r
	order := make([]int32, len(r.Pieces))
	for i := range order {
		order[i] = int32(i)
	}
	key := func(p int32) int64 {
		if d := r.Pieces[p].Due; d != 0 {
			return d
		}
		return math.MaxInt64
	}
	sort.SliceStable(order, func(a, b int) bool {
		if x, y := key(order[a]), key(order[b]); x != y {
			return x < y
		}
		return r.Pieces[order[a]].Release < r.Pieces[order[b]].Release
	})
	for _, p := range order {
		bestCost := math.Inf(1)
		var into *batch
		newM, newK := int32(-1), 0
		// Joining: the latest runs of its family on each machine.
		for _, o := range r.Pieces[p].On {
			m := int32(o.Machine)
			seq := v.seq[m]
			tried := 0
			for k := len(seq) - 1; k >= 0 && tried < 12; k-- {
				b := seq[k]
				if !v.room(b, p) {
					continue
				}
				tried++
				v.addPiece(b, p)
				v.log = v.log[:0]
				v.retime(m, k, k)
				if x := v.total(); x < bestCost && v.fits(b) {
					bestCost, into = x, b
				}
				v.undoTimes()
				v.dropPiece(b, p)
				if stop.Load() && into != nil {
					break
				}
			}
			for k := max(0, len(seq)-6); k <= len(seq); k++ {
				b := v.newRun(p, m)
				v.insertRun(b, m, k)
				v.log = v.log[:0]
				v.retime(m, k, k)
				if x := v.total(); x < bestCost {
					bestCost, into, newM, newK = x, nil, m, k
				}
				v.undoTimes()
				v.removeRun(b)
				v.pool = append(v.pool, b)
			}
		}
		if into == nil {
			into = v.newRun(p, newM)
			v.insertRun(into, newM, newK)
			v.enlist(into)
		} else {
			v.addPiece(into, p)
		}
		v.of[p] = into
		v.retime(into.m, int(into.at), int(into.at))
		v.log = v.log[:0]
	}
}

func (v *oven) addPiece(b *batch, p int32) {
	b.pieces = append(b.pieces, p)
	v.sum(b)
}

func (v *oven) dropPiece(b *batch, p int32) {
	for i, x := range b.pieces {
		if x == p {
			b.pieces[i] = b.pieces[len(b.pieces)-1]
			b.pieces = b.pieces[:len(b.pieces)-1]
			break
		}
	}
	if len(b.pieces) > 0 {
		v.sum(b)
	}
}

// anneal improves the state and gives the best found when it beats top, else nil.
func (v *oven) anneal(steps int, rnd *chance, stop *atomic.Bool, top float64, lane int) ([]Run, float64) {
	r := v.r
	n := len(r.Pieces)
	cur := v.total()
	var best []Run
	sample := min(steps/20, 500)
	var ups []float64
	temp, cool := 0.0, 1.0
	for k := 0; k < steps; k++ {
		if k&255 == 0 && stop.Load() {
			break
		}
		if k == sample {
			unit := 1.0
			if len(ups) > 0 {
				// The median of steps up: means are ruled by what nobody would do.
				slices.Sort(ups)
				unit = ups[len(ups)/2]
			}
			hot, cold := 0.7, 0.002
			if lane&1 == 1 {
				hot = 0.2
			}
			temp = unit * hot
			cool = math.Pow(cold/hot, 1/float64(max(1, (steps-sample)/64)))
		}
		if k&63 == 0 && k > sample {
			temp *= cool
		}
		v.log = v.log[:0]
		accept := func(changed ...*batch) bool {
			x := v.total()
			if k < sample {
				if x > cur && len(ups) < 1000 && x < cur+lostCost/2 {
					ups = append(ups, x-cur)
				}
				if x > cur {
					return false
				}
			} else if x > cur && rnd.unit() >= math.Exp((cur-x)/temp) {
				return false
			}
			for _, b := range changed {
				if !v.fits(b) {
					return false
				}
			}
			cur = x
			return true
		}
		switch move := rnd.below(16); {
		case move < 6: // a piece into another run of its family
			p := int32(rnd.below(n))
			from := v.of[p]
			to := v.all[rnd.below(len(v.all))]
			for try := 0; try < 6 && (to == from || to.family != from.family); try++ {
				to = v.all[rnd.below(len(v.all))]
			}
			if to == from || !v.room(to, p) {
				continue
			}
			v.pieceTo(p, from, to, accept)
		case move < 9: // a piece into a run of its own
			p := int32(rnd.below(n))
			from := v.of[p]
			if len(from.pieces) == 1 {
				continue
			}
			o := &r.Pieces[p].On[rnd.below(len(r.Pieces[p].On))]
			m := int32(o.Machine)
			at := v.near(m, max(r.Pieces[p].Release, min(from.start, r.Pieces[p].Release+rnd64(rnd, from.start-r.Pieces[p].Release+1))), rnd)
			b := v.newRun(p, m)
			v.dropPiece(from, p)
			v.insertRun(b, m, at)
			v.enlist(b)
			v.of[p] = b
			v.both(from.m, int(from.at), m, at)
			if !accept() {
				v.undoTimes()
				v.removeRun(b)
				v.strike(b)
				v.pool = append(v.pool, b)
				v.addPiece(from, p)
				v.of[p] = from
			}
		case move < 11: // two pieces change places
			p, q := int32(rnd.below(n)), int32(rnd.below(n))
			a, b := v.of[p], v.of[q]
			for try := 0; try < 6 && (a == b || a.family != b.family); try++ {
				q = int32(rnd.below(n))
				b = v.of[q]
			}
			if a == b || a.family != b.family || v.can(p, b.m) == nil || v.can(q, a.m) == nil {
				continue
			}
			v.dropPiece(a, p)
			v.dropPiece(b, q)
			ok := (len(a.pieces) == 0 || v.room(a, q)) && (len(b.pieces) == 0 || v.room(b, p))
			v.addPiece(a, q)
			v.addPiece(b, p)
			if ok && (len(a.pieces) == 1 || len(b.pieces) == 1) {
				ok = v.legal(a) && v.legal(b)
			}
			if ok {
				v.of[p], v.of[q] = b, a
				v.both(a.m, int(a.at), b.m, int(b.at))
				ok = accept(a, b)
			}
			if !ok {
				v.undoTimes()
				v.dropPiece(a, q)
				v.dropPiece(b, p)
				v.addPiece(a, p)
				v.addPiece(b, q)
				v.of[p], v.of[q] = a, b
			}
		case move < 14: // a run to another place
			b := v.all[rnd.below(len(v.all))]
			m, at := b.m, int(b.at)
			to := m
			if v.nm > 1 && rnd.below(2) == 0 {
				p := b.pieces[rnd.below(len(b.pieces))]
				to = int32(r.Pieces[p].On[rnd.below(len(r.Pieces[p].On))].Machine)
				if to != m && !v.movable(b, to) {
					continue
				}
			}
			if to == m {
				seq := v.seq[m]
				if len(seq) < 2 {
					continue
				}
				reach := 1 + rnd.below(min(len(seq)-1, 1+rnd.below(8)))
				k := at - reach
				if rnd.below(2) == 0 {
					k = at + reach
				}
				k = min(max(0, k), len(seq)-1)
				if k == at {
					continue
				}
				v.removeRun(b)
				v.insertRun(b, m, k)
				v.retime(m, min(k, at), max(k, at))
				if !accept() {
					v.undoTimes()
					v.removeRun(b)
					v.insertRun(b, m, at)
				}
				continue
			}
			old := b.m
			v.removeRun(b)
			k := v.near(to, b.start, rnd)
			v.insertRun(b, to, k)
			v.sum(b)
			v.both(old, at, to, k)
			if !accept(b) {
				v.undoTimes()
				v.removeRun(b)
				v.insertRun(b, old, at)
				v.sum(b)
			}
		default: // two runs become one
			a := v.all[rnd.below(len(v.all))]
			b := v.all[rnd.below(len(v.all))]
			for try := 0; try < 8 && (a == b || a.family != b.family); try++ {
				b = v.all[rnd.below(len(v.all))]
			}
			if a == b || a.family != b.family {
				continue
			}
			v.merge(a, b, accept)
		}
		if cur < top-1e-9*math.Abs(top) {
			top = cur
			best = v.save()
		}
	}
	return best, top
}

func rnd64(rnd *chance, n int64) int64 {
	if n <= 1 {
		return 0
	}
	return int64(rnd.unit() * float64(n))
}

// near is a place on machine m about time t.
func (v *oven) near(m int32, t int64, rnd *chance) int {
	seq := v.seq[m]
	k := sort.Search(len(seq), func(i int) bool { return seq[i].start >= t })
	return min(max(0, k+rnd.below(3)-1), len(seq))
}

// both retimes two machines from where each changed; one when they are the same.
func (v *oven) both(m1 int32, k1 int, m2 int32, k2 int) {
	if m1 == m2 {
		v.retime(m1, min(k1, k2), max(k1, k2)+1)
		return
	}
	v.retime(m1, min(k1, len(v.seq[m1])), k1)
	v.retime(m2, k2, k2)
}

func (v *oven) pieceTo(p int32, from, to *batch, accept func(changed ...*batch) bool) {
	gone := len(from.pieces) == 1
	m, at := from.m, int(from.at)
	if gone {
		v.removeRun(from)
		v.strike(from)
		v.log = append(v.log, stamp{from, from.setup, from.start, from.end, from.free, from.cost, from.lost})
		v.cost -= from.cost
		from.cost = 0
	} else {
		v.dropPiece(from, p)
	}
	v.addPiece(to, p)
	v.of[p] = to
	v.both(m, at, to.m, int(to.at))
	if accept(to) {
		if gone {
			v.pool = append(v.pool, from)
		}
		return
	}
	v.undoTimes()
	v.dropPiece(to, p)
	if gone {
		v.insertRun(from, m, at)
		v.enlist(from)
	} else {
		v.addPiece(from, p)
	}
	v.of[p] = from
}

func (v *oven) merge(a, b *batch, accept func(changed ...*batch) bool) {
	// All of b into a.
	na := len(a.pieces)
	for i, p := range b.pieces {
		if !v.room(a, p) {
			for range i {
				v.dropPiece(a, a.pieces[len(a.pieces)-1])
			}
			return
		}
		v.addPiece(a, p)
	}
	m, at := b.m, int(b.at)
	v.removeRun(b)
	v.strike(b)
	v.log = append(v.log, stamp{b, b.setup, b.start, b.end, b.free, b.cost, b.lost})
	v.cost -= b.cost
	b.cost = 0
	for _, p := range b.pieces {
		v.of[p] = a
	}
	v.both(m, at, a.m, int(a.at))
	if accept(a) {
		v.pool = append(v.pool, b)
		return
	}
	v.undoTimes()
	a.pieces = a.pieces[:na]
	v.sum(a)
	v.insertRun(b, m, at)
	v.enlist(b)
	for _, p := range b.pieces {
		v.of[p] = b
	}
}

// legal checks a run as a whole, but for Fits.
func (v *oven) legal(b *batch) bool {
	for _, p := range b.pieces {
		if v.can(p, b.m) == nil {
			return false
		}
	}
	if b.size > v.r.Machines[b.m].Size+1e-9 || v.length(b) > b.limit {
		return false
	}
	return true
}

// movable says whether the whole run may go to machine m.
func (v *oven) movable(b *batch, m int32) bool {
	size, add, high := 0.0, int64(0), int64(0)
	for _, p := range b.pieces {
		o := v.can(p, m)
		if o == nil {
			return false
		}
		size += o.Size
		add += o.AddS
		high = max(high, o.HighS)
	}
	mach := &v.r.Machines[m]
	if size > mach.Size+1e-9 || mach.FixedS+add+high > b.limit {
		return false
	}
	return true
}
