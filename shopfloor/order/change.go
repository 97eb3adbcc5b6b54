package order

import (
	"fmt"
	"slices"
	"time"

	"firstoff/desk/estimate"
	"firstoff/desk/price"
	"firstoff/fault"
	"firstoff/money"
)

// Cancelling is what is taken back of an order.
type Cancelling struct {
	Pieces []string // none: all that were not delivered yet
	// Progress is how much of its route lies behind a piece, 0..1; absent: nothing.
	Progress map[string]float64
	Reason   string
	Charge   *money.Amount // net, set by a person instead of what was worked out; needs ChargeWhy
	ChargeWhy,
	Who string
	Now time.Time
}

// Change is what was taken out of an order after it was accepted, with what it costs.
type Change struct {
	Kind     string       `json:"kind"` // "cancelled" or "written off"
	At       time.Time    `json:"at"`
	Who      string       `json:"who"`
	Reason   string       `json:"reason"`
	Pieces   []string     `json:"pieces"`
	Computed money.Amount `json:"computed_minor"` // net, for work done and material used
	Charge   money.Amount `json:"charge_minor"`   // net, what is charged for it
	Why      string       `json:"why,omitempty"`  // why another charge than computed
	Before   money.Amount `json:"before_minor"`   // net of the order
	After    money.Amount `json:"after_minor"`
}

// Cancel takes pieces back. What is charged for them is the share of their price that was spent: the file work, set-up once anything of
// the line was begun, and the rest as far as the pieces have come (common practice: work done and material used is paid).
// Faults: Conflict "order_state", "piece_state"; NotFound "piece_unknown"; Invalid "reason_missing", "charge_range".
func (o Order) Cancel(c Cancelling) (Order, Change, error) {
	if c.Reason == "" {
		return o, Change{}, fault.New(fault.Invalid, "reason_missing", "reason", "Say why it is cancelled.")
	}
	if o.State == Delivered || o.State == Cancelled {
		return o, Change{}, fault.New(fault.Conflict, "order_state", o.ID, "This order is %s and cannot be cancelled.", o.State)
	}
	which := c.Pieces
	if len(which) == 0 {
		for _, l := range o.Lines {
			for _, p := range l.Pieces {
				if !p.Settled() {
					which = append(which, p.ID)
				}
			}
		}
	}
	computed := money.Amount(0)
	for _, l := range o.Lines {
		share := 0.0
		begun := slices.ContainsFunc(l.Pieces, func(p Piece) bool { return p.Begun() || c.Progress[p.ID] > 0 })
		fixed, setUp, rest := spent(l.Option.Why)
		for _, p := range l.Pieces {
			if slices.Contains(which, p.ID) {
				share += fixed + rest*min(1, max(0, c.Progress[p.ID]))
				if begun {
					share += setUp
				}
			}
		}
		computed += l.UnitPrice.Times(share)
	}
	ch := Change{Kind: "cancelled", At: c.Now, Who: c.Who, Reason: c.Reason, Computed: computed, Charge: computed}
	if c.Charge != nil {
		full := money.Amount(0)
		for _, l := range o.Lines {
			full += l.UnitPrice * money.Amount(countOf(l.Pieces, which))
		}
		if *c.Charge < 0 || *c.Charge > full {
			return o, Change{}, fault.New(fault.Invalid, "charge_range", "charge", "A charge lies between nothing and the price of what is cancelled.")
		}
		if c.ChargeWhy == "" && *c.Charge != computed {
			return o, Change{}, fault.New(fault.Invalid, "reason_missing", "charge_why", "Say why another charge than the one worked out.")
		}
		ch.Charge, ch.Why = *c.Charge, c.ChargeWhy
	}
	return o.change(which, PieceCancelled, ch)
}

// WriteOff gives scrapped pieces up: they are not made again, not delivered and not charged.
// Faults: Conflict "piece_state"; NotFound "piece_unknown"; Invalid "reason_missing".
func (o Order) WriteOff(pieces []string, who, reason string, now time.Time) (Order, Change, error) {
	if reason == "" {
		return o, Change{}, fault.New(fault.Invalid, "reason_missing", "reason", "Say why the pieces are given up.")
	}
	for _, l := range o.Lines {
		for _, p := range l.Pieces {
			if slices.Contains(pieces, p.ID) && p.State != Scrap {
				return o, Change{}, fault.New(fault.Conflict, "piece_state", p.ID, "Piece %s is %s; only scrap is written off.", p.ID, p.State)
			}
		}
	}
	return o.change(pieces, WrittenOff, Change{Kind: "written off", At: now, Who: who, Reason: reason})
}

// change takes pieces out, shares the charge among their lines and adds the order up anew.
func (o Order) change(which []string, to string, ch Change) (Order, Change, error) {
	o = o.clone()
	ch.Before = o.Net
	left, prices := map[string]bool{}, make([]float64, len(o.Lines))
	for _, id := range which {
		left[id] = true
	}
	if len(left) == 0 {
		return o, ch, fault.New(fault.Conflict, "piece_state", o.ID, "Nothing is left in this order to take out.")
	}
	for i := range o.Lines {
		l := &o.Lines[i]
		for k := range l.Pieces {
			p := &l.Pieces[k]
			if !left[p.ID] {
				continue
			}
			delete(left, p.ID)
			if p.Settled() {
				return o, ch, fault.New(fault.Conflict, "piece_state", p.ID, "Piece %s is %s already.", p.ID, p.State)
			}
			p.State, p.Reason = to, ch.Reason
			ch.Pieces = append(ch.Pieces, p.ID)
			prices[i] += float64(l.UnitPrice)
		}
	}
	for id := range left {
		return o, ch, fault.New(fault.NotFound, "piece_unknown", id, "Order %s has no piece %s.", o.ID, id)
	}
	if ch.Charge > 0 {
		for i, a := range ch.Charge.Split(prices) {
			o.Lines[i].Charged += a
		}
	}
	o.reckon()
	o.Settle()
	ch.After = o.Net
	o.Changes = append(o.Changes, ch)
	return o, ch, nil
}

// reckon adds the order up from its lines. What was added to reach the order minimum never grows by a change; shipping falls away with
// the last piece.
func (o *Order) reckon() {
	s := &o.Sums
	if *s == (Sums{}) { // an order kept before its sums were: what is above its lines stays as one amount
		for _, l := range o.Lines {
			s.Goods += l.Total
		}
		s.Minimum = o.Net - s.Goods
		if o.Net > 0 {
			s.TaxPct = float64(o.Total-o.Net) / float64(o.Net) * 100
		}
	}
	s.Goods, o.Promised = 0, ""
	some := false
	for i := range o.Lines {
		l := &o.Lines[i]
		stay := 0
		for _, p := range l.Pieces {
			if p.State != PieceCancelled && p.State != WrittenOff {
				stay++
			}
		}
		l.Total = l.UnitPrice*money.Amount(stay) + l.Charged
		s.Goods += l.Total
		if stay > 0 {
			some = true
			o.Promised = max(o.Promised, l.Promised)
		}
	}
	if !some {
		s.Minimum, s.Shipping = 0, 0
	} else if o.OrderMin > 0 {
		_, top := price.MinimumOrder(s.Goods, o.OrderMin)
		s.Minimum = min(s.Minimum, top)
	}
	for _, l := range o.Lines {
		if o.Promised == "" || !some {
			o.Promised = max(o.Promised, l.Promised)
		}
	}
	s.Net = s.Goods + s.Minimum + s.Shipping
	s.Tax = s.Net.Times(s.TaxPct / 100)
	s.Total = s.Net + s.Tax
	o.Net, o.Total = s.Net, s.Total
}

// spent splits the cost of a line by its tree into shares that are spent at once, when the line is begun, and as it goes on.
// Without a tree all of it is spent as it goes on.
func spent(tree []estimate.Why) (fixed, setUp, rest float64) {
	f, s, all := 0.0, 0.0, 0.0
	for _, root := range tree {
		for _, b := range root.Parts {
			switch b.Name {
			case "margin", "rush", "rounding", "estimator's price":
				continue
			case "file work":
				f += float64(b.Amount)
			case "set-up":
				s += float64(b.Amount)
			}
			all += float64(b.Amount)
		}
	}
	if all <= 0 {
		return 0, 0, 1
	}
	return f / all, s / all, (all - f - s) / all
}

func countOf(pieces []Piece, which []string) int {
	n := 0
	for _, p := range pieces {
		if slices.Contains(which, p.ID) {
			n++
		}
	}
	return n
}

func (o Order) clone() Order {
	o.Lines = slices.Clone(o.Lines)
	for i := range o.Lines {
		o.Lines[i].Pieces = slices.Clone(o.Lines[i].Pieces)
	}
	o.Deliveries, o.Changes = slices.Clone(o.Deliveries), slices.Clone(o.Changes)
	return o
}

func (l Line) count(states ...string) int {
	n := 0
	for _, p := range l.Pieces {
		if slices.Contains(states, p.State) {
			n++
		}
	}
	return n
}

// Standing says in one line how the pieces of a line stand, e.g. "10 ordered: 4 delivered, 3 good, 3 in work".
func (l Line) Standing() string {
	s := fmt.Sprintf("%d ordered", len(l.Pieces))
	sep := ": "
	for _, w := range []string{PieceDelivered, Good, PieceInWork, Due, Scrap, PieceCancelled, WrittenOff} {
		if n := l.count(w); n > 0 {
			s += fmt.Sprintf("%s%d %s", sep, n, w)
			sep = ", "
		}
	}
	return s
}

// Least picks n pieces of a line that lose least when they are cancelled: those not begun first, the last numbers first.
func (l Line) Least(n int) []string {
	var out []string
	for _, state := range []string{Due, Scrap, PieceInWork, Good} {
		for k := len(l.Pieces) - 1; k >= 0 && len(out) < n; k-- {
			if l.Pieces[k].State == state {
				out = append(out, l.Pieces[k].ID)
			}
		}
	}
	return out
}

// In lists the pieces of a line in a state, in order.
func (l Line) In(state string) []string {
	var out []string
	for _, p := range l.Pieces {
		if p.State == state {
			out = append(out, p.ID)
		}
	}
	return out
}

// Scrapped counts the pieces that are neither made again yet nor given up.
func (o Order) Scrapped() int {
	n := 0
	for _, l := range o.Lines {
		n += len(l.In(Scrap))
	}
	return n
}
