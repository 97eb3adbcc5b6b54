package promise

import (
	"context"
	"math"
	"sort"
	"time"

	"firstoff/shop"
	"firstoff/shop/calendar"
	"firstoff/shop/capacity"
)

// Planner answers when new work would be done, given the load it was made with. Safe for concurrent use.
type Planner struct {
	cal      *calendar.Calendar
	now      int64
	received time.Time
	release  int64
	seed     uint64
	level    Level
	free     []*free
	changeOf map[string]float64
	partner  map[string]capacity.Calendar
	ends     map[string]capacity.Outcome
}

// Settings of a planner. Zero values: 80 replications, level from the catalogue, one thread.
type Settings struct {
	Replications int
	Seed         uint64
	Threads      int
	// Level is what the shop's own promises taught (Learn); zero: the catalogue's level as it stands.
	Level Level
	// Loaded is what machines have loaded where it is not what the catalogue says, Away who and what is not there.
	Loaded map[string]string
	Away   []capacity.Absence
	// Adjust changes the shop the load is played on, for questions of what would be if; nil leaves it.
	Adjust func(capacity.Shop) capacity.Shop
}

// New plays the load and keeps what is free. Faults as of capacity.Run.
func New(ctx context.Context, c *shop.Catalogue, cal *calendar.Calendar, load capacity.Load, now time.Time, s Settings) (*Planner, error) {
	if s.Replications <= 0 {
		s.Replications = 80
	}
	from := now.Unix()
	model := AsItIs(Model(c, cal, from-86400), s.Loaded).Without(s.Away, from-86400)
	if s.Adjust != nil {
		model = s.Adjust(model)
	}
	r, err := capacity.Run(ctx, load, model, from, capacity.Options{Seed: s.Seed, Replications: s.Replications, Threads: s.Threads, Record: true})
	if err != nil {
		return nil, err
	}
	p := &Planner{cal: cal, now: now.Unix(), seed: s.Seed, level: s.Level, changeOf: map[string]float64{}, partner: map[string]capacity.Calendar{}, ends: map[string]capacity.Outcome{}}
	if p.level.Use == 0 {
		p.level = Learn(c.Firm.PromiseLevel, nil)
	}
	p.received = cal.Received(now)
	p.release = max(p.now, p.received.Unix())
	hours := map[string]*capacity.Hours{}
	for _, r := range model.Resources {
		hours[r.ID] = capacity.NewHours(r.Calendar)
		p.changeOf[r.ID] = r.ChangeSeconds
		if r.Unlimited {
			p.partner[r.ID] = r.Calendar
		}
	}
	for _, o := range r.Jobs {
		p.ends[o.ID] = o
	}
	for k, t := range r.Tapes {
		until := max(r.Makespan[k], p.now) + (horizonDays-40)*86400
		until = min(until, from+(horizonDays-2)*86400)
		p.free = append(p.free, turn(t, model, hours, s.Seed, k, p.now, until))
	}
	return p, nil
}

// Answer is a date with its odds.
type Answer struct {
	P50, P90 time.Time // business days, midnight in the shop's zone; P90 is at the shop's promise level
	LeadDays int       // business days from receipt to P90
	Binding  string    // what the work waits for longest; empty when it never waits
	Ends     []int64   // completion in each replication, s since 1970, ascending
	Odds     Odds      // by business days from receipt
	Beyond   bool      // some replications ran past the horizon: the date is a guess
}

// Date inserts the job into every replication and says when it would be done. Its Release is raised to the moment of receipt.
// O(replications × operations × log of the load).
func (p *Planner) Date(job capacity.Job) Answer {
	var a Answer
	waits := map[capacity.Wait]float64{}
	release := max(job.Release, p.release)
	for rep, f := range p.free {
		t := release
		mul := 1.0
		if job.CV > 0 {
			mul = lognormal(job.CV, luck(p.seed, rep, 0, 1))
		}
		for round, from := 0, 0; round < 3; round++ {
			for i := from; i < len(job.Ops); i++ {
				op := &job.Ops[i]
				pl := f.put(op, t, p.lengths(op, rep, i+64*round, mul), p.changeOf, p.partner)
				if pl.end >= never {
					a.Beyond = true
					pl.end = t + horizonDays*86400
				}
				if pl.wait.Seconds > 0 {
					w := pl.wait
					s := w.Seconds
					w.Seconds = 0
					waits[w] += s
				}
				t = pl.end
			}
			if job.FailProb <= 0 || uniform(luck(p.seed, rep, round, 7)) >= job.FailProb {
				break
			}
			from = job.RedoFrom
		}
		a.Ends = append(a.Ends, t)
	}
	sort.Slice(a.Ends, func(i, j int) bool { return a.Ends[i] < a.Ends[j] })
	a.Odds = p.odds(a.Ends, len(job.Ops) > 0)
	a.LeadDays = a.Odds.Days(p.level.Use)
	a.P50, a.P90 = p.cal.After(p.received, min(a.Odds.Days(0.5), a.LeadDays)), p.cal.After(p.received, a.LeadDays)
	type wait struct {
		w capacity.Wait
		s float64
	}
	var ws []wait
	for w, s := range waits {
		ws = append(ws, wait{w, s})
	}
	sort.Slice(ws, func(i, j int) bool {
		if ws[i].s != ws[j].s {
			return ws[i].s > ws[j].s
		}
		return ws[i].w.Kind+ws[i].w.ID < ws[j].w.Kind+ws[j].w.ID
	})
	if len(ws) > 0 && ws[0].s > 1800*float64(len(p.free)) {
		a.Binding = waitName(ws[0].w)
	}
	return a
}

// odds counts the replications by the business day on which they end. Nothing is promised for the day it was
// received: day 1 is the business day after it (handbook 7.1).
func (p *Planner) odds(ends []int64, work bool) Odds {
	var o Odds
	for i := 0; i < len(ends); {
		day := p.day(ends[i])
		until := time.Date(day.Year(), day.Month(), day.Day()+1, 0, 0, 0, 0, day.Location()).Unix()
		for i++; i < len(ends) && ends[i] < until; {
			i++
		}
		n := p.cal.DaysBetween(p.received, day)
		if work {
			n = max(n, 1)
		}
		share := float64(i) / float64(len(ends))
		if k := len(o); k > 0 && o[k-1].Days == n {
			o[k-1].Share = share
			continue
		}
		o = append(o, DayShare{n, share})
	}
	return o
}

// Level is the level this planner promises at, and where it comes from.
func (p *Planner) Level() Level { return p.level }

// Expected is when a job of the load itself will be done, at the promise level; zero time if it is not in the load.
func (p *Planner) Expected(id string) (p50, p90 time.Time) {
	o, ok := p.ends[id]
	if !ok {
		return time.Time{}, time.Time{}
	}
	return p.day(o.Quantile(0.5)), p.day(o.Quantile(p.level.Shop))
}

// Waits is what a job of the load itself waits for in the mean of the replications, longest first.
func (p *Planner) Waits(id string) []capacity.Wait { return p.ends[id].Waits }

// day is the business day on which something finished at t goes out.
func (p *Planner) day(t int64) time.Time {
	tt := time.Unix(t, 0).In(p.cal.Location())
	if p.cal.Business(tt) {
		return p.cal.After(tt, 0)
	}
	return p.cal.NextBusiness(tt)
}

// lengths draws the durations of op on each of its alternatives: lognormal about the mean, failed runs lost in part and repeated.
func (p *Planner) lengths(op *capacity.Op, rep, i int, mul float64) []int64 {
	n := max(1, len(op.Resource))
	out := make([]int64, n)
	x := mul
	if op.CV > 0 {
		x *= lognormal(op.CV, luck(p.seed, rep, i, 2))
	}
	for k := range n {
		mean := op.Seconds
		if k < len(op.Each) {
			mean = op.Each[k]
		}
		if mean == 0 && len(op.Resource) == 0 {
			mean = op.PeopleSeconds
		}
		d := mean * x
		if op.FailProb > 0 {
			for try := 0; try < 3 && uniform(luck(p.seed, rep, i+1000*try, 3)) < op.FailProb; try++ {
				d += mean * x * uniform(luck(p.seed, rep, i+1000*try, 4)) // lost up to the failure
			}
		}
		out[k] = int64(math.Ceil(d))
	}
	return out
}

// luck is one random number for a question; the same question meets the same luck (common random numbers).
func luck(seed uint64, rep, i int, salt uint64) uint64 {
	x := seed ^ uint64(rep+1)*0x9e3779b97f4a7c15 ^ uint64(i+1)*0xbf58476d1ce4e5b9 ^ salt*0x94d049bb133111eb
	for range 2 { // splitmix64 finaliser (Steele, Lea, Flood 2014)
		x ^= x >> 30
		x *= 0xbf58476d1ce4e5b9
		x ^= x >> 27
		x *= 0x94d049bb133111eb
		x ^= x >> 31
	}
	return x
}

func uniform(x uint64) float64 { return (float64(x>>11) + 0.5) / (1 << 53) }

// lognormal is a factor with mean 1 and the given coefficient of variation.
func lognormal(cv float64, x uint64) float64 {
	s := math.Sqrt(math.Log1p(cv * cv))
	return math.Exp(s*math.Sqrt2*math.Erfinv(2*uniform(x)-1) - s*s/2)
}
