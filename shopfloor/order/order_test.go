package order

import (
	"fmt"
	"testing"
	"time"

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

func TestCancel(t *testing.T) {
	for s, can := range map[State]bool{Accepted: true, InWork: true, Done: false, Cancelled: false} {
		o, err := Order{State: s}.Cancel()
		if (err == nil) != can || can && o.State != Cancelled || !can && o.State != s {
			t.Errorf("%s: %s, %v", s, o.State, err)
		}
	}
}
