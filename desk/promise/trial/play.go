package trial

import (
	"context"
	"math"
	"time"

	"firstoff/desk/promise"
	"firstoff/shop/capacity"
)

// Desk is what a rule may look at when it gives a day: the stream as estimated up to now, and the floor.
type Desk struct {
	*Stream
	Floor  capacity.Floor
	Open   []int          // orders in the shop, the new one not among them
	Closed []promise.Past // own promises whose day has come, by that day
	due    []int64        // by order
}

func (d *Desk) at(t int64) time.Time { return time.Unix(t, 0).In(d.cal.Location()) }

// Rule gives a promise to order i: business days from receipt, and the odds where the rule has any.
type Rule func(ctx context.Context, d *Desk, i int) (days int, odds promise.Odds, err error)

// Result is what became of the orders of a stream after the warm-up.
type Result struct {
	Orders int
	Kept   int
	Lead   float64 // mean of promised business days
	Late   float64 // mean of business days from the promised to the actual one; early counts against it
	Tardy  float64 // mean of business days late, early as 0
	Actual float64 // mean of business days it took
}

// Share of promises kept.
func (r Result) Share() float64 { return float64(r.Kept) / float64(r.Orders) }

// Add sums two results.
func (r Result) Add(o Result) Result {
	n, m := float64(r.Orders), float64(o.Orders)
	if n+m == 0 {
		return r
	}
	mean := func(a, b float64) float64 { return (a*n + b*m) / (n + m) }
	return Result{r.Orders + o.Orders, r.Kept + o.Kept, mean(r.Lead, o.Lead), mean(r.Late, o.Late), mean(r.Tardy, o.Tardy), mean(r.Actual, o.Actual)}
}

// Play plays the stream once, with promises by rule, and counts all orders but the first warmUp of them.
func (s *Stream) Play(ctx context.Context, rule Rule, warmUp int, seed uint64) (Result, error) {
	n := len(s.True)
	days := make([]int, n) // promised
	odds := make([]promise.Odds, n)
	received := make([]time.Time, n)
	day := make([]time.Time, n) // promised
	desk := &Desk{Stream: s, due: make([]int64, n)}
	var dueNext []int // promised and not yet come, in no order
	var failed error
	arrive := func(f capacity.Floor, i int) int64 {
		if failed != nil {
			return 0
		}
		now := time.Unix(f.Now(), 0).In(s.cal.Location())
		desk.Floor = f
		open := desk.Open[:0]
		for _, j := range desk.Open {
			if f.End(j) == 0 {
				open = append(open, j)
			}
		}
		desk.Open = open
		// Promises whose day ended before today, each once; work still open has today at the earliest.
		rest := dueNext[:0]
		today := s.cal.After(now, 0)
		for _, j := range dueNext {
			if !day[j].Before(today) {
				rest = append(rest, j)
				continue
			}
			took := s.cal.DaysBetween(received[j], today)
			if e := f.End(j); e != 0 {
				took = s.took(received[j], e)
			}
			desk.Closed = append(desk.Closed, promise.Past{Odds: odds[j], Days: took})
		}
		dueNext = rest
		received[i] = s.cal.Received(now)
		days[i], odds[i], failed = rule(ctx, desk, i)
		days[i] = max(days[i], 1)
		day[i] = s.cal.After(received[i], days[i])
		desk.Open = append(desk.Open, i)
		dueNext = append(dueNext, i)
		desk.due[i] = day[i].Unix() + 16*3600
		return desk.due[i]
	}
	r, err := capacity.Run(ctx, capacity.Load{Jobs: s.True}, s.shop, s.now, capacity.Options{Seed: seed, Arrive: arrive})
	if err != nil {
		return Result{}, err
	}
	if failed != nil {
		return Result{}, failed
	}
	var out Result
	for i := warmUp; i < n; i++ {
		took := s.took(received[i], r.Jobs[i].Ends[0])
		late := float64(took - days[i])
		one := Result{Orders: 1, Lead: float64(days[i]), Late: late, Tardy: math.Max(0, late), Actual: float64(took)}
		if late <= 0 {
			one.Kept = 1
		}
		out = out.Add(one)
	}
	return out, nil
}

// took counts business days from receipt to the day on which something done at e goes out.
func (s *Stream) took(received time.Time, e int64) int {
	t := time.Unix(e, 0).In(s.cal.Location())
	if !s.cal.Business(t) {
		t = s.cal.NextBusiness(t)
	}
	return s.cal.DaysBetween(received, t)
}

// PerDay finds how many orders a business day the shop can do at most: many orders come far too fast and are taken in
// the order in which they came; nearly all are done at the pace of the busiest stage. Load is measured against it.
func (s *Scene) PerDay(seed uint64, truth Truth) (float64, error) {
	const n = 3000
	st, err := s.Orders(n, 200, seed, truth)
	if err != nil {
		return 0, err
	}
	for i := range st.True {
		// As in a queue of ten orders a day: near enough in urgency to save changeovers as a floor under load does.
		st.True[i].Due = st.now + int64(i)*8640
	}
	r, err := capacity.Run(context.Background(), capacity.Load{Jobs: st.True}, st.shop, st.now, capacity.Options{Seed: seed})
	if err != nil {
		return 0, err
	}
	span := st.cal.DaysBetween(time.Unix(st.now, 0), time.Unix(r.Makespan[0], 0))
	return n / float64(span), nil
}
