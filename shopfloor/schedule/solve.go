package schedule

import (
	"context"
	"math"
	"sync"
	"sync/atomic"
	"time"
)

// Options of Solve.
type Options struct {
	// Seconds is how long to improve; 0: no limit but Rounds (and ctx). A run that Seconds cuts off depends on the
	// machine's speed; one that Rounds ends does not.
	Seconds float64
	// Rounds of improvement; 0: no limit but Seconds; with neither, 20.
	Rounds int
	// Seed of all chance.
	Seed uint64
	// Threads used at once; 0: 1. It does not change what a given number of rounds finds.
	Threads int
	// Improved, when set, is called with each better objective and the bound, from one goroutine at a time.
	Improved func(objective, bound float64)
}

// lanes is how many searches make up one round. It is fixed, whatever the number of threads, so that the same rounds give
// the same plan on any machine.
const lanes = 4

// Solve plans p: a good plan at once by dispatching rules, then better ones until the time, the rounds or ctx end or
// the bound is reached. A cancelled ctx is no error: the best plan so far is returned.
func Solve(ctx context.Context, p *Problem, opt Options) (*Solution, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	if opt.Rounds <= 0 && opt.Seconds <= 0 {
		opt.Rounds = 20
	}
	if opt.Seconds > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, time.Duration(opt.Seconds*float64(time.Second)))
		defer cancel()
	}
	in := newInstance(p)
	c := &control{in: in, opt: opt, bound: in.bound()}
	c.target = int32(min(c.bound, math.MaxInt32-1))
	if ctx.Err() != nil {
		c.stop.Store(true)
	}
	defer context.AfterFunc(ctx, func() { c.stop.Store(true) })()
	switch {
	case in.hasCal || p.Objective != Makespan:
		c.sequences()
	case in.single():
		c.lines()
	default:
		c.relink()
	}
	return c.solution(), nil
}

// control is one run of Solve: its limits and its best plan.
type control struct {
	in     *instance
	opt    Options
	bound  float64
	target int32
	stop   atomic.Bool
	best   plan
	rounds int
}

func (c *control) done() bool {
	return c.stop.Load() || c.opt.Rounds > 0 && c.rounds >= c.opt.Rounds || c.best.order != nil && c.best.value <= c.bound
}

// take keeps s if it is better than the best.
func (c *control) take(s *plan) {
	if s.order == nil || c.best.order != nil && s.value >= c.best.value {
		return
	}
	c.best = *s.clone()
	if c.opt.Improved != nil {
		c.opt.Improved(c.best.value, c.bound)
	}
}

// parallel runs work(0..n-1) on the allowed threads.
func (c *control) parallel(n int, work func(k int)) {
	t := min(max(1, c.opt.Threads), n)
	if t == 1 {
		for k := range n {
			work(k)
		}
		return
	}
	var next atomic.Int32
	var wg sync.WaitGroup
	for range t {
		wg.Go(func() {
			for {
				k := int(next.Add(1)) - 1
				if k >= n {
					return
				}
				work(k)
			}
		})
	}
	wg.Wait()
}

// rnd is the chance of one search of one round.
func (c *control) rnd(round, lane int) *chance {
	return newChance(c.opt.Seed*0x9e3779b97f4a7c15 + uint64(round)<<16 + uint64(lane) + 1)
}

// solution times the best plan and puts it into the words of the problem.
func (c *control) solution() *Solution {
	in := c.in
	start, end := in.time(&c.best)
	s := &Solution{LowerBound: c.bound, Rounds: c.rounds}
	for j := range in.jobs {
		for i := in.first[j]; i < in.first[j+1]; i++ {
			s.Operations = append(s.Operations, Placed{Job: in.p.Jobs[j].ID, Index: int(i - in.first[j]), Machine: in.p.Machines[c.best.mach[i]].ID,
				StartS: start[i] + in.base, EndS: end[i] + in.base})
		}
		e := end[in.first[j+1]-1]
		if j == 0 || e+in.base > s.MakespanS {
			s.MakespanS = e + in.base
		}
		if in.due[j] != noDue && e > in.due[j] {
			s.Objective += in.weight[j] * float64(e-in.due[j])
		}
	}
	if in.p.Objective == Makespan {
		s.Objective = float64(s.MakespanS)
		s.LowerBound += float64(in.base)
	}
	s.LowerBound = min(s.LowerBound, s.Objective)
	return s
}

// single says that every job is one operation that may start at once.
func (in *instance) single() bool {
	for _, r := range in.release {
		if r > 0 {
			return false
		}
	}
	return in.n == in.jobs
}
