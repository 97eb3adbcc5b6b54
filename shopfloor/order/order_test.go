package order

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"firstoff/desk/estimate"
	"firstoff/desk/offer"
	"firstoff/desk/quote"
	"firstoff/fault"
	"firstoff/money"
)

func accepted() quote.Quotation {
	option := func(id string, p money.Amount, days int, date string) offer.Option {
		return offer.Option{ID: id, UnitPrice: p, Total: p * 3, LeadDays: days, P90: date}
	}
	q := quote.Quotation{ID: "Q-1001-A", RequestID: "R-1", ClientID: "C-1", State: quote.Accepted, Body: quote.Body{
		Currency: "EUR", Digits: 2, OrderMin: 5000, Sums: quote.Sums{TaxPct: 10},
		Lines: []quote.Line{
			{LineID: "L-1", Position: 1, Qty: 3, Choice: option("a", 1000, 3, "2031-03-06"), UnitPrice: 900, Total: 2700, Promised: "2031-03-06", Set: &quote.SetPrice{UnitPrice: 900}, Alternatives: []offer.Option{option("b", 2000, 9, "2031-03-14")}},
			{LineID: "L-2", Position: 2, Qty: 3, Choice: option("a", 500, 1, "2031-03-04"), UnitPrice: 500, Total: 1500, Promised: "2031-03-04"},
		}}}
	return q
}

func TestAccept(t *testing.T) {
	now := time.Date(2031, 3, 3, 12, 0, 0, 0, time.UTC)
	o, err := Accept(Accepting{ID: "O-1001", Quotation: accepted(), Who: "B", Now: now})
	if err != nil {
		t.Fatal(err)
	}
	// 27.00 + 15.00 = 42.00, up to the minimum of 50.00, and a tenth of tax.
	if o.Net != 5000 || o.Total != 5500 || o.Promised != "2031-03-06" || o.Pieces() != 6 || o.Lines[1].Pieces[2].ID != "O-1001-2-03" || o.Lines[0].UnitPrice != 900 {
		t.Errorf("%+v", o)
	}
	// With the alternative its own price holds, not the one set for the former choice: 60.00 + 15.00.
	q := accepted()
	o, err = Accept(Accepting{ID: "O-1001", Quotation: q, Choices: map[string]string{"L-1": "b", "L-2": "a"}, Now: now})
	if err != nil || o.Lines[0].Option.ID != "b" || o.Net != 7500 || o.Promised != "2031-03-14" {
		t.Errorf("%v %+v", err, o)
	}
	if q.Body.Lines[0].Choice.ID != "a" {
		t.Error("the quotation was changed")
	}
	// Accepted later, dates move on; a date quoted later than that stays.
	days := func(n int) string { return fmt.Sprintf("2031-03-%02d", 4+n) }
	o, err = Accept(Accepting{ID: "O-1001", Quotation: accepted(), Now: now, Days: days})
	if err != nil || o.Lines[0].Promised != "2031-03-07" || o.Lines[1].Promised != "2031-03-05" || o.Promised != "2031-03-07" {
		t.Errorf("%v %+v", err, o)
	}
	for want, a := range map[string]Accepting{
		"line_unknown":    {Quotation: accepted(), Choices: map[string]string{"L-9": "a"}},
		"option_unknown":  {Quotation: accepted(), Choices: map[string]string{"L-1": "c"}},
		"quotation_state": {Quotation: quote.Quotation{State: quote.Issued}},
	} {
		_, err := Accept(a)
		if f := fault.Of(err); f == nil || f.Code != want {
			t.Errorf("want %s, got %v", want, err)
		}
	}
}

// begun is an order of 3 + 3 pieces at 9.00 and 5.00, minimum 50.00, tax 10 %.
func begun(t *testing.T) Order {
	t.Helper()
	q := accepted()
	q.Body.Sums.Shipping = 700
	q.Body.Lines[0].Choice.Why = []estimate.Why{{Name: "price", Parts: []estimate.Why{{Name: "file work", Amount: 500}, {Name: "set-up", Amount: 500}, {Name: "machine", Amount: 1000}, {Name: "margin", Amount: 700}}}}
	o, err := Accept(Accepting{ID: "O-1001", Quotation: q, Who: "B", Now: time.Date(2031, 3, 3, 12, 0, 0, 0, time.UTC)})
	if err != nil {
		t.Fatal(err)
	}
	return o
}

func (o *Order) set(state string, ids ...string) {
	for i := range o.Lines {
		for k := range o.Lines[i].Pieces {
			if slices.Contains(ids, o.Lines[i].Pieces[k].ID) {
				o.Lines[i].Pieces[k].State = state
			}
		}
	}
	o.Settle()
}

func TestCancelCharges(t *testing.T) {
	o := begun(t)
	if o.Net != 5700 || o.Total != 6270 || o.Sums.Minimum != 800 {
		t.Fatalf("%+v", o.Sums)
	}
	// Nothing begun: a quarter of line 1's cost is file work and stays to be paid; line 2 has no tree and costs nothing.
	c, ch, err := o.Cancel(Cancelling{Reason: "project stopped", Who: "B"})
	if err != nil || c.State != Cancelled || ch.Computed != 675 || c.Net != 675 || c.Total != 743 || len(ch.Pieces) != 6 {
		t.Fatalf("%v %+v %+v", err, ch, c.Sums)
	}
	// One of line 1 half way: its file work, its set-up, and half of the rest: 9.00 × (0.25 + 0.25 + 0.25).
	o.set(PieceInWork, "O-1001-1-02")
	c, ch, err = o.Cancel(Cancelling{Reason: "one less", Pieces: []string{"O-1001-1-02"}, Progress: map[string]float64{"O-1001-1-02": 0.5}})
	// 18.00 + 6.75 + 15.00, the minimum is not asked for more than before: 39.75 + 8.00 + 7.00.
	if err != nil || ch.Charge != 675 || c.Lines[0].Charged != 675 || c.Net != 5475 || c.State != InWork || c.Lines[0].Total != 2475 {
		t.Fatalf("%v %+v %+v", err, ch, c.Sums)
	}
	if o.Net != 5700 || o.Lines[0].Pieces[1].State != PieceInWork {
		t.Error("the order before was changed")
	}
	// A person sets another charge, with a reason.
	zero := money.Amount(0)
	c, ch, err = o.Cancel(Cancelling{Reason: "our fault", Charge: &zero, ChargeWhy: "we were late"})
	if err != nil || ch.Charge != 0 || ch.Computed == 0 || c.Net != 0 || c.State != Cancelled || c.Changes[0].Why != "we were late" {
		t.Fatalf("%v %+v", err, ch)
	}
	much := money.Amount(1_000_000)
	for want, x := range map[string]Cancelling{
		"reason_missing": {},
		"charge_range":   {Reason: "x", Charge: &much, ChargeWhy: "y"},
		"piece_unknown":  {Reason: "x", Pieces: []string{"O-9"}},
	} {
		if _, _, err := o.Cancel(x); err == nil || fault.Of(err).Code != want {
			t.Errorf("want %s, got %v", want, err)
		}
	}
	if _, _, err := o.Cancel(Cancelling{Reason: "x", Charge: &zero}); err == nil || fault.Of(err).Code != "reason_missing" {
		t.Errorf("a charge without a reason: %v", err)
	}
	o.State = Delivered
	if _, _, err := o.Cancel(Cancelling{Reason: "x"}); err == nil || fault.Of(err).Code != "order_state" {
		t.Errorf("%v", err)
	}
}

func TestDeliverInParts(t *testing.T) {
	o := begun(t)
	if _, err := o.Deliver(Delivery{ID: "D-1", Pieces: []string{"O-1001-1-01"}}); err == nil || fault.Of(err).Code != "piece_state" {
		t.Errorf("a piece not made went out: %v", err)
	}
	o.set(Good, "O-1001-1-01", "O-1001-1-02", "O-1001-2-01", "O-1001-2-02", "O-1001-2-03")
	a, err := o.Deliver(Delivery{ID: "D-1", Pieces: []string{"O-1001-1-01", "O-1001-2-01"}})
	if err != nil || a.State != InWork || a.Lines[0].Pieces[0].Delivery != "D-1" || len(a.Ready()) != 3 || a.Lines[0].Standing() != "3 ordered: 1 delivered, 1 good, 1 due" {
		t.Fatalf("%v %+v %s", err, a.State, a.Lines[0].Standing())
	}
	if _, err := a.Deliver(Delivery{ID: "D-2", Pieces: []string{"O-1001-1-01"}}); err == nil || fault.Of(err).Code != "piece_state" {
		t.Errorf("a piece went out twice: %v", err)
	}
	if _, err := a.Deliver(Delivery{ID: "D-2"}); err == nil || fault.Of(err).Code != "delivery_empty" {
		t.Error(err)
	}
	// The last piece is scrap and given up: what stays is made, and delivered when the rest has gone.
	a.set(Scrap, "O-1001-1-03")
	w, ch, err := a.WriteOff([]string{"O-1001-1-03"}, "B", "client takes two", time.Time{})
	if err != nil || w.State != Done || ch.Charge != 0 || w.Lines[0].Total != 1800 || w.Lines[0].Pieces[2].Reason != "client takes two" {
		t.Fatalf("%v %s %+v", err, w.State, w.Lines[0])
	}
	if _, _, err := a.WriteOff([]string{"O-1001-1-02"}, "B", "x", time.Time{}); err == nil || fault.Of(err).Code != "piece_state" {
		t.Errorf("a good piece was written off: %v", err)
	}
	d, err := w.Deliver(Delivery{ID: "D-2", Pieces: w.Ready()})
	if err != nil || d.State != Delivered {
		t.Fatalf("%v %s", err, d.State)
	}
	// Entered by mistake: the pieces are here again.
	b, err := d.TakeBack("D-2", "the van was full")
	if err != nil || b.State != Done || len(b.Ready()) != 3 || b.Deliveries[1].Void == "" {
		t.Fatalf("%v %s %v", err, b.State, b.Ready())
	}
	for want, id := range map[string]string{"delivery_unknown": "D-9", "delivery_void": "D-2"} {
		if _, err := b.TakeBack(id, "x"); err == nil || fault.Of(err).Code != want {
			t.Errorf("%s: %v", want, err)
		}
	}
}

// An order kept before its sums were keeps what was above its lines.
func TestOldOrderSums(t *testing.T) {
	o := begun(t)
	o.Sums, o.OrderMin = Sums{}, 0
	o.set(Scrap, "O-1001-2-03")
	c, _, err := o.WriteOff([]string{"O-1001-2-03"}, "B", "x", time.Time{})
	if err != nil || c.Net != 5200 || c.Total != 5720 {
		t.Fatalf("%v %+v", err, c.Sums)
	}
}
