package bureau

import (
	"context"
	"sort"
	"sync"
	"time"

	"firstoff/desk/promise"
	"firstoff/shop/calendar"
	"firstoff/shopfloor/order"
)

// learned keeps the level of a day until something more is settled.
type learned struct {
	mu      sync.Mutex
	today   string
	settled int
	open    int
	want    float64
	level   promise.Level
}

// settledOrders is how many of the last settled orders are looked at; promise.Learn takes the last promises of them.
const settledOrders = 400

// level is the level of new promises, learned from the orders whose promised day has come: settled ones, and open ones
// that are overdue.
func (b *Bureau) level(ctx context.Context, open []order.Order) (promise.Level, error) {
	cal, err := b.days()
	if err != nil {
		return promise.Level{}, err
	}
	now := b.now()
	today := now.In(cal.Location()).Format(time.DateOnly)
	want := b.p.Catalogue().Firm.PromiseLevel
	states := []string{string(order.Done), string(order.Delivered)}
	_, settled, err := b.p.Records.Orders(ctx, states, 0, 1)
	if err != nil {
		return promise.Level{}, err
	}
	l := &b.learned
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.today == today && l.settled == settled && l.open == len(open) && l.want == want {
		return l.level, nil
	}
	past, _, err := b.p.Records.Orders(ctx, states, max(0, settled-settledOrders), settledOrders)
	if err != nil {
		return promise.Level{}, err
	}
	l.today, l.settled, l.open, l.want = today, settled, len(open), want
	l.level = promise.Learn(want, History(append(past, open...), cal, now))
	return l.level, nil
}

// History is what became of the promises whose day is over, by promised day: each line against the odds it was promised
// with. A line that went out counts by its last delivery, one that did not as if it went today. Cancelled lines and
// those accepted before odds were kept say nothing.
func History(orders []order.Order, cal *calendar.Calendar, now time.Time) []promise.Past {
	type due struct {
		day string
		promise.Past
	}
	var all []due
	now = now.In(cal.Location())
	today := now.Format(time.DateOnly)
	for _, o := range orders {
		received := cal.Received(o.AcceptedAt)
		for _, l := range o.Lines {
			if l.Promised == "" || l.Promised >= today || len(l.Option.Odds) == 0 {
				continue
			}
			went, some := dispatched(o, l)
			if !some {
				continue
			}
			if went.IsZero() {
				went = now
			}
			went = went.In(cal.Location())
			if !cal.Business(went) {
				went = cal.NextBusiness(went)
			}
			all = append(all, due{l.Promised, promise.Past{Odds: l.Option.Odds, Days: cal.DaysBetween(received, went)}})
		}
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].day < all[j].day })
	out := make([]promise.Past, len(all))
	for i, d := range all {
		out[i] = d.Past
	}
	return out
}

// dispatched is when the last piece of a line went out; zero while some are still to go. some is false when none was
// or will be.
func dispatched(o order.Order, l order.Line) (at time.Time, some bool) {
	for _, p := range l.Pieces {
		switch {
		case !p.Settled():
			return time.Time{}, true
		case p.State == order.PieceDelivered:
			some = true
		}
	}
	for _, d := range o.Deliveries {
		if d.Void != "" {
			continue
		}
		for _, id := range d.Pieces {
			for _, p := range l.Pieces {
				if p.ID == id && d.At.After(at) {
					at = d.At
				}
			}
		}
	}
	return at, some
}
