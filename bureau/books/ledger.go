package books

import (
	"cmp"
	"context"
	"slices"
	"time"

	"firstoff/desk/offer"
	"firstoff/desk/quote"
	"firstoff/money"
	"firstoff/shopfloor/build"
	"firstoff/shopfloor/order"
)

// Ledger is what the owner wants to know of a span of days, both ends in it.
type Ledger struct {
	From, To  string   `json:"-"`
	Orders    []Margin `json:"orders"` // newest first
	Sum       Margin   `json:"sum"`
	Machines  []Used   `json:"machines"`
	OnTime    Share    `json:"on_time"`    // lines delivered whole by their promised day
	FirstPass Share    `json:"first_pass"` // pieces good at the first attempt, of those that ended
	Hits      []Hit    `json:"hits"`       // quotations by what, and how many were accepted
}

// Margin of one order: what was sold, what it was estimated to cost, what it came to.
type Margin struct {
	OrderID    string       `json:"order_id"`
	Client     string       `json:"client"`
	State      order.State  `json:"state"`
	Accepted   time.Time    `json:"accepted"`
	Net        money.Amount `json:"net_minor"`
	Estimated  money.Amount `json:"estimated_minor"`
	Actual     money.Amount `json:"actual_minor"`
	EstimatedH float64      `json:"estimated_h"` // machine hours
	ActualH    float64      `json:"actual_h"`
	Measured   bool         `json:"measured"` // some of it was measured; what was not stands as estimated
}

// Pct is the margin of an amount sold at a cost, per cent of the price; 0 when nothing was sold.
func Pct(net, cost money.Amount) float64 {
	if net <= 0 {
		return 0
	}
	return 100 * float64(net-cost) / float64(net)
}

// Used is one machine's hours in the span.
type Used struct {
	Machine string  `json:"machine"`
	BuildH  float64 `json:"build_h"`
	SpanH   float64 `json:"span_h"` // all hours of the span
	Builds  int     `json:"builds"`
	Failed  int     `json:"failed"`
}

// Share is so many of so many.
type Share struct {
	Of   int `json:"of"`
	Good int `json:"good"`
}

// Pct of a share; 0 of none.
func (s Share) Pct() float64 {
	if s.Of == 0 {
		return 0
	}
	return 100 * float64(s.Good) / float64(s.Of)
}

// Hit is how quotations of one sort fared.
type Hit struct {
	By    string       `json:"by"` // client, process, price
	What  string       `json:"what"`
	Share Share        `json:"share"`     // of those decided or expired
	Net   money.Amount `json:"net_minor"` // accepted
}

// Ledger adds the books up from one day to another (2006-01-02, in the shop's zone).
func (b *Books) Ledger(ctx context.Context, from, to string) (Ledger, error) {
	l := Ledger{From: from, To: to}
	cal, err := b.calendar()
	if err != nil {
		return l, err
	}
	in := func(t time.Time) bool {
		d := t.In(cal.Location()).Format(time.DateOnly)
		return !t.IsZero() && d >= from && d <= to
	}
	orders, _, err := b.p.Records.Orders(ctx, nil, 0, 10_000)
	if err != nil {
		return l, err
	}
	spent, err := b.spent(ctx)
	if err != nil {
		return l, err
	}
	var ids []string
	for _, o := range orders {
		if !in(o.AcceptedAt) {
			continue
		}
		ids = append(ids, o.ClientID)
		m := Margin{OrderID: o.ID, Client: o.ClientID, State: o.State, Accepted: o.AcceptedAt, Net: o.Net}
		ts, err := b.p.Records.TravellersOf(ctx, o.ID)
		if err != nil {
			return l, err
		}
		for _, line := range o.Lines {
			stay := len(line.Pieces) - len(line.In(order.PieceCancelled)) - len(line.In(order.WrittenOff))
			share := float64(stay) / float64(max(1, len(line.Pieces)))
			est := line.Option.CostTotal.Times(share)
			m.Estimated += est
			actual := est
			_, machineCost := block(line.Option, "machine")
			whole := line.Option.BuildS / 3600
			estH := whole * share
			m.EstimatedH += estH
			actualH := estH
			for _, t := range ts {
				if t.Position != line.Position {
					continue
				}
				card, err := b.p.Floor.Card(ctx, t.ID)
				if err != nil {
					return l, err
				}
				if h, ok := spent[t.ID]; ok && whole > 0 { // hours at the machine, charged as estimated an hour; what was cancelled midway cost them too
					actualH, m.Measured = h, true
					actual += machineCost.Times((h - estH) / whole)
				}
				for i, op := range t.Operations {
					s := card.State.Ops[i].ActiveS
					if op.Makes() || s <= 0 || op.HandsS <= 0 {
						continue
					}
					m.Measured = true
					actual += money.Round((s - op.HandsS*share) / 3600 * float64(b.rate(op.Skill)))
				}
				for _, p := range card.State.Pieces {
					if !p.Scrap && !p.Away && p.At <= len(t.Operations) || p.Away && !p.Scrap {
						continue // still on its way, or not wanted any more
					}
					if p.Attempt == 1 {
						l.FirstPass.Of++
						if !p.Scrap {
							l.FirstPass.Good++
						}
					}
				}
			}
			m.Actual += actual
			m.ActualH += actualH
			if last := lastOut(o, line); !last.IsZero() {
				l.OnTime.Of++
				if last.In(cal.Location()).Format(time.DateOnly) <= line.Promised {
					l.OnTime.Good++
				}
			}
		}
		l.Orders = append(l.Orders, m)
		l.Sum.Net, l.Sum.Estimated, l.Sum.Actual = l.Sum.Net+m.Net, l.Sum.Estimated+m.Estimated, l.Sum.Actual+m.Actual
		l.Sum.EstimatedH, l.Sum.ActualH, l.Sum.Measured = l.Sum.EstimatedH+m.EstimatedH, l.Sum.ActualH+m.ActualH, l.Sum.Measured || m.Measured
	}
	names, err := b.p.Records.ClientNames(ctx, ids)
	if err != nil {
		return l, err
	}
	for i := range l.Orders {
		if n := names[l.Orders[i].Client]; n != "" {
			l.Orders[i].Client = n
		}
	}
	slices.SortFunc(l.Orders, func(x, y Margin) int {
		return cmp.Or(y.Accepted.Compare(x.Accepted), cmp.Compare(y.OrderID, x.OrderID))
	})
	if err := b.machines(ctx, &l, in); err != nil {
		return l, err
	}
	return l, b.hits(ctx, &l, in)
}

// lastOut is when the last piece of a line left; zero while some are still to come or none was delivered.
func lastOut(o order.Order, l order.Line) time.Time {
	var last time.Time
	for _, p := range l.Pieces {
		switch {
		case p.State == order.PieceDelivered:
			for _, d := range o.Deliveries {
				if d.ID == p.Delivery && d.At.After(last) {
					last = d.At
				}
			}
		case !p.Settled():
			return time.Time{}
		}
	}
	return last
}

func (b *Books) rate(skill string) money.Amount {
	r := b.p.Catalogue().Rates
	switch skill {
	case "estimate":
		return r.EstimatorPerH
	case "inspect":
		return r.InspectorPerH
	case "finish", "pack":
		return r.FinisherPerH
	}
	return r.OperatorPerH
}

// spent are the machine hours of each traveller: its pieces' share of every build they were in, failed ones too.
func (b *Books) spent(ctx context.Context) (map[string]float64, error) {
	ended, err := b.p.Records.Builds(ctx, []string{string(build.Done), string(build.Failed)}, 5000)
	if err != nil {
		return nil, err
	}
	out := map[string]float64{}
	for _, x := range ended {
		card, err := b.p.Floor.Build(ctx, x.ID)
		if err != nil {
			return nil, err
		}
		n := len(card.Build.Pieces())
		if card.State.ActiveS <= 0 || n == 0 {
			continue
		}
		for _, s := range card.Build.Slots {
			out[s.Traveller] += card.State.ActiveS / 3600 * float64(len(s.Pieces)) / float64(n)
		}
	}
	return out, nil
}

func (b *Books) machines(ctx context.Context, l *Ledger, in func(time.Time) bool) error {
	a, err := time.Parse(time.DateOnly, l.From)
	if err != nil {
		return err
	}
	z, err := time.Parse(time.DateOnly, l.To)
	if err != nil {
		return err
	}
	span := z.Sub(a).Hours() + 24
	ended, err := b.p.Records.Builds(ctx, []string{string(build.Done), string(build.Failed)}, 5000)
	if err != nil {
		return err
	}
	for _, m := range b.p.Catalogue().Machines {
		u := Used{Machine: m.ID, SpanH: span}
		for _, x := range ended {
			if x.Machine != m.ID {
				continue
			}
			card, err := b.p.Floor.Build(ctx, x.ID)
			if err != nil {
				return err
			}
			if !in(card.State.Ended) {
				continue
			}
			u.Builds++
			u.BuildH += card.State.ActiveS / 3600
			if card.State.Word == build.Failed {
				u.Failed++
			}
		}
		l.Machines = append(l.Machines, u)
	}
	return nil
}

// bands are the price bands a hit rate is told by, in whole units of the currency.
var bands = []int64{100, 300, 1000, 3000}

func (b *Books) hits(ctx context.Context, l *Ledger, in func(time.Time) bool) error {
	qs, _, err := b.p.Records.Quotations(ctx, "", []string{string(quote.Issued), string(quote.Accepted), string(quote.Declined), string(quote.Expired)}, 0, 10_000)
	if err != nil {
		return err
	}
	cal, err := b.calendar()
	if err != nil {
		return err
	}
	today := b.p.Clock().In(cal.Location()).Format(time.DateOnly)
	by := map[[2]string]*Hit{}
	for _, q := range qs {
		if !in(q.Issued) || q.On(today) == quote.Issued {
			continue // still open
		}
		won := q.State == quote.Accepted
		count := func(kind, what string) {
			k := [2]string{kind, what}
			h := by[k]
			if h == nil {
				h = &Hit{By: kind, What: what}
				by[k] = h
			}
			h.Share.Of++
			if won {
				h.Share.Good++
				h.Net += q.Body.Sums.Net
			}
		}
		count("all", "")
		count("client", q.Body.To.Firm)
		seen := map[string]bool{}
		for _, x := range q.Body.Lines {
			if p := process(x.Choice); !seen[p] {
				seen[p] = true
				count("process", p)
			}
		}
		count("price", band(q.Body.Sums.Net, q.Body.Digits))
	}
	for _, h := range by {
		l.Hits = append(l.Hits, *h)
	}
	rank := map[string]int{"all": 0, "process": 1, "price": 2, "client": 3}
	slices.SortFunc(l.Hits, func(x, y Hit) int {
		return cmp.Or(cmp.Compare(rank[x.By], rank[y.By]), cmp.Compare(y.Share.Of, x.Share.Of), cmp.Compare(x.What, y.What))
	})
	return nil
}

func process(o offer.Option) string { return o.Process }

func band(net money.Amount, digits int) string {
	unit := int64(1)
	for range digits {
		unit *= 10
	}
	low := "under " + money.Format(money.Amount(bands[0]), 0)
	for i, x := range bands {
		if int64(net) < x*unit {
			return low
		}
		if low = "from " + money.Format(money.Amount(x), 0); i+1 < len(bands) {
			low += " to " + money.Format(money.Amount(bands[i+1]), 0)
		}
	}
	return low
}
