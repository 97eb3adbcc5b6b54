package schedule

import (
	"context"
	"math"
	"slices"
	"sort"
	"sync/atomic"
	"time"
)

// cost of the board a decoder holds: weighted tardiness, and what Options weigh against it.
func (d *decoder) cost() float64 {
	f := d.f
	c := 0.0
	for t := range f.tasks {
		bt := &f.tasks[t]
		end := d.at[bt.last].free
		if bt.due > 0 && end > bt.due {
			c += bt.weight * float64(end-bt.due)
		}
		c += f.opt.SoonCost * bt.weight * float64(end-bt.ready)
	}
	for o := range d.at {
		p := &d.at[o]
		if p.unit >= 0 && p.leader == 0 && !f.units[p.unit].endless {
			c += f.opt.ChangeCost*float64(p.change) + f.opt.MachineCost*float64(p.free-p.start)
		}
		if b := &f.ops[o]; f.opt.Stay > 0 && b.oldRes >= 0 && !f.isGiven[o] {
			away := p.start - b.oldStart
			if f.units[p.unit].res != b.oldRes || away > 3600 || away < -3600 {
				c += f.opt.Stay
			}
		}
	}
	return c
}

// orders are the first orders tried: the old plan, due dates, slack, and due dates with the work that waits for a task
// counted back.
func (f *floor) orders() [][]int32 {
	n := len(f.tasks)
	base := make([]int32, n)
	for i := range base {
		base[i] = int32(i)
	}
	by := func(key func(t int32) float64) []int32 {
		o := slices.Clone(base)
		k := make([]float64, n)
		for t := range k {
			k[t] = key(int32(t))
		}
		sort.SliceStable(o, func(a, b int) bool { return k[o[a]] < k[o[b]] })
		return o
	}
	due := func(t int32) float64 {
		if d := f.tasks[t].due; d > 0 {
			return float64(d)
		}
		return float64(f.tasks[t].alone) + 60*86400
	}
	// A task is as urgent as what waits for it.
	urgent := make([]float64, n)
	for t := range urgent {
		urgent[t] = due(int32(t))
	}
	for range 8 {
		changed := false
		for t := range f.tasks {
			own := float64(f.tasks[t].alone)
			for _, a := range f.tasks[t].after {
				if u := urgent[t] - (own - float64(f.tasks[a].alone)); u < urgent[a] {
					urgent[a], changed = u, true
				}
			}
		}
		if !changed {
			break
		}
	}
	slack := func(t int32) float64 { return urgent[t] - float64(f.tasks[t].alone-f.tasks[t].ready) }
	list := [][]int32{
		by(func(t int32) float64 { return urgent[t] }),
		by(slack),
		by(func(t int32) float64 { return slack(t) / math.Max(0.1, f.tasks[t].weight) }),
		by(func(t int32) float64 { return float64(f.tasks[t].alone) }),
		// Families together within a day's urgency.
		by(func(t int32) float64 {
			fam := int32(0)
			for o := f.tasks[t].first; o <= f.tasks[t].last; o++ {
				if f.ops[o].family >= 0 {
					fam = f.ops[o].family + 1
					break
				}
			}
			return math.Floor(urgent[t]/86400)*1e4 + float64(fam)
		}),
	}
	if f.oldFree > 0 {
		old := make([]float64, n)
		for t := range f.tasks {
			old[t] = math.Inf(1)
			for o := f.tasks[t].first; o <= f.tasks[t].last; o++ {
				if s := f.ops[o].oldStart; s > 0 {
					old[t] = math.Min(old[t], float64(s))
				}
			}
			if math.IsInf(old[t], 1) {
				old[t] = slack(int32(t)) // new work, where its slack puts it
			}
		}
		list = append(list, by(func(t int32) float64 { return old[t] }))
	}
	return list
}

// change draws a neighbour of the order: mostly a late task goes before one that holds what it waited for, sometimes tasks are
// exchanged, or an operation is sent to another of its resources.
func (d *decoder) change(order []int32, rnd *chance) {
	f := d.f
	n := len(order)
	rank := make([]int32, n)
	for i, t := range order {
		rank[t] = int32(i)
	}
	// A late task, by what its lateness costs; none late: any.
	late, sum := int32(-1), 0.0
	for t := range f.tasks {
		bt := &f.tasks[t]
		if end := d.at[bt.last].free; bt.due > 0 && end > bt.due {
			w := math.Sqrt(bt.weight * float64(end-bt.due))
			if sum += w; rnd.unit()*sum < w {
				late = int32(t)
			}
		}
	}
	if late < 0 || rnd.below(8) == 0 {
		late = int32(rnd.below(n))
	}
	// What is late may wait for a task it comes after.
	for len(f.tasks[late].after) > 0 && rnd.below(3) != 0 {
		a := f.tasks[late].after
		late = a[rnd.below(len(a))]
	}
	if f.oldFree > 0 {
		if rnd.below(4) == 0 {
			d.loose[late] = !d.loose[late]
		} else {
			d.loose[late] = true
		}
	}
	switch rnd.below(6) {
	case 0: // another resource
		bt := &f.tasks[late]
		o := bt.first + int32(rnd.below(int(bt.last-bt.first+1)))
		if u := f.ops[o].units; len(u) > 1 {
			if d.hint[o] >= 0 && rnd.below(2) == 0 {
				d.hint[o] = -1
			} else {
				d.hint[o] = f.units[u[rnd.below(len(u))]].res
			}
			return
		}
		fallthrough
	case 1: // exchange with any earlier
		if r := rank[late]; r > 0 {
			k := int32(rnd.below(int(r)))
			d.loose[order[k]] = true
			order[k], order[r] = order[r], order[k]
		}
	case 2: // some task that is in time goes later
		t := int32(rnd.below(n))
		for range 8 {
			if bt := &f.tasks[t]; bt.due == 0 || d.at[bt.last].free+86400 < bt.due {
				break
			}
			t = int32(rnd.below(n))
		}
		from := int(rank[t])
		to := min(n-1, from+1+rnd.below(max(1, n/4)))
		copy(order[from:to], order[from+1:to+1])
		order[to] = t
	default:
		// Before one that stands on the same resource, before it.
		r := rank[late]
		if r == 0 {
			return
		}
		to := int32(rnd.below(int(r)))
		bt := &f.tasks[late]
		o := bt.first + int32(rnd.below(int(bt.last-bt.first+1)))
		if u := d.at[o].unit; u >= 0 {
			best, seen := int32(-1), 0
			for _, s := range d.lines[u].busy {
				if s.from >= d.at[o].start {
					break
				}
				if s.op >= 0 && f.ops[s.op].task != late && rank[f.ops[s.op].task] < r {
					if seen++; rnd.below(seen) == 0 {
						best = rank[f.ops[s.op].task]
					}
				}
			}
			if best >= 0 {
				to = best
				d.loose[order[best]] = true
			}
		} else if rnd.below(2) == 0 {
			to = max(0, r-1-int32(rnd.below(int(min(r, 20)))))
		}
		copy(order[to+1:r+1], order[to:r])
		order[to] = late
	}
}

// arrange is Plan and Replan.
func arrange(ctx context.Context, w Work, opt BoardOptions, again bool) (*Board, *Changes, error) {
	f, err := compileFloor(&w, opt, again)
	if err != nil {
		return nil, nil, err
	}
	if opt.Rounds <= 0 && opt.Seconds <= 0 {
		opt.Rounds = 20
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

	c := &control{opt: Options{Threads: opt.Threads, Seed: opt.Seed}} // for its threads and chance only
	type lane struct {
		d     *decoder
		order []int32
		hint  []int32
		loose []bool
		cost  float64
	}
	work := make([]lane, lanes)
	for k := range work {
		work[k].d = newDecoder(f)
	}
	// First boards.
	starts := f.orders()
	if len(f.tasks) == 0 {
		starts = [][]int32{{}}
	}
	costs := make([]float64, len(starts))
	best := lane{d: newDecoder(f), cost: math.Inf(1)}
	for from := 0; from < len(starts); from += lanes {
		c.parallel(min(lanes, len(starts)-from), func(k int) {
			costs[from+k] = math.Inf(1)
			if stop.Load() && from+k > 0 {
				return
			}
			d := work[k].d
			// The old plan keeps its places; the other orders are plans from nothing.
			for t := range d.loose {
				d.loose[t] = f.oldFree > 0 && from+k < len(starts)-1
			}
			d.decode(starts[from+k])
			costs[from+k] = d.cost()
		})
	}
	for k, x := range costs {
		if x < best.cost {
			best.cost, best.order = x, slices.Clone(starts[k])
			best.loose = make([]bool, len(f.tasks))
			for t := range best.loose {
				best.loose[t] = f.oldFree > 0 && k < len(starts)-1
			}
		}
	}
	best.hint = slices.Clone(best.d.hint)
	rounds := 0
	tries := max(1, min(40, 20_000/max(1, len(f.ops))))
	idle := 0
	for !stop.Load() && (opt.Rounds <= 0 || rounds < opt.Rounds) && len(f.tasks) > 1 {
		c.parallel(lanes, func(k int) {
			l := &work[k]
			rnd := c.rnd(rounds+1, k)
			l.order = append(l.order[:0], best.order...)
			copy(l.d.hint, best.hint)
			copy(l.d.loose, best.loose)
			l.loose = append(l.loose[:0], best.loose...)
			l.hint = append(l.hint[:0], best.hint...)
			l.cost = best.cost
			l.d.decode(l.order)
			cur := append([]int32(nil), l.order...)
			curHint, curLoose := slices.Clone(l.hint), slices.Clone(l.loose)
			curCost := l.cost
			heat := 0.0005 * best.cost * float64(k) // lanes differ in what they put up with
			for range tries {
				if stop.Load() {
					return
				}
				next := append([]int32(nil), cur...)
				for range 1 + rnd.below(2) {
					l.d.change(next, rnd)
				}
				l.d.decode(next)
				x := l.d.cost()
				if x <= curCost || heat > 0 && rnd.unit() < math.Exp((curCost-x)/heat) {
					cur, curCost = next, x
					copy(curHint, l.d.hint)
					copy(curLoose, l.d.loose)
					if x < l.cost {
						l.cost = x
						copy(l.order, next)
						copy(l.hint, l.d.hint)
						copy(l.loose, l.d.loose)
					}
				} else {
					copy(l.d.hint, curHint)
					copy(l.d.loose, curLoose)
				}
			}
		})
		rounds++
		better := false
		for k := range work {
			if work[k].cost < best.cost {
				best.cost, better = work[k].cost, true
				best.order = append(best.order[:0], work[k].order...)
				copy(best.hint, work[k].hint)
				copy(best.loose, work[k].loose)
			}
		}
		if idle++; better {
			idle = 0
		}
		if idle > 200 && opt.Rounds <= 0 {
			break // nothing comes any more
		}
	}
	copy(best.d.hint, best.hint)
	copy(best.d.loose, best.loose)
	best.d.decode(best.order)
	b := best.d.board()
	b.Rounds = rounds
	var changes *Changes
	if w.Previous != nil {
		changes = difference(w.Previous, b)
	}
	return b, changes, nil
}

// board puts what the decoder holds into the words of the shop.
func (d *decoder) board() *Board {
	f := d.f
	b := &Board{LowerBoundS: f.lower}
	person := func(i int32) string {
		if i < 0 {
			return ""
		}
		return f.w.Shop.People[i].ID
	}
	for t := range f.tasks {
		bt := &f.tasks[t]
		task := &f.w.Tasks[t]
		wait, ready := int64(0), bt.ready
		for _, a := range bt.after {
			ready = max(ready, d.at[f.tasks[a].last].free)
		}
		for o := bt.first; o <= bt.last; o++ {
			p, op := &d.at[o], &task.Ops[o-bt.first]
			e := Entry{Task: task.ID, Op: OpName(op, int(o-bt.first)), Index: int(o - bt.first), Person: person(p.person), Unloader: person(p.unloader), Family: op.Family,
				Start: p.start, Begin: p.begin, End: p.end, Unload: p.out, Free: p.free, ChangeS: p.change, Pinned: f.ops[o].pinned, Frozen: f.isGiven[o] && !f.ops[o].pinned, Running: op.RunningOn != ""}
			if p.unit >= 0 {
				e.Resource, e.Unit = f.w.Shop.Resources[f.units[p.unit].res].ID, int(f.units[p.unit].index)
				if p.leader == 0 && !f.units[p.unit].endless {
					b.MachineS += p.free - p.start
					if p.change > 0 {
						b.ChangeoverS += p.change
						b.Changeovers++
					}
				}
			}
			wait += max(0, p.start-ready) + max(0, p.out-p.end)
			ready = p.free
			b.Entries = append(b.Entries, e)
		}
		end := d.at[bt.last].free
		pr := promiseOf(task, end)
		pr.WaitS = wait
		b.Dates = append(b.Dates, pr)
		if bt.due > 0 && end > bt.due {
			b.WeightedTardinessS += bt.weight * float64(end-bt.due)
			b.LateTasks++
		}
	}
	return b
}
