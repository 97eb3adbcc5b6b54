package storetest

import (
	"context"
	"fmt"
	"testing"

	"firstoff/desk/offer"
	"firstoff/digest"
	"firstoff/fault"
	"firstoff/money"
	"firstoff/shopfloor/feedstock"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/traveller"
	"firstoff/store"
	"firstoff/trail"
)

// Ordered fills a store with one accepted order of one line of qty pieces, and gives it.
func Ordered(t testing.TB, c context.Context, s *store.Store, qty int) order.Order {
	t.Helper()
	client, request, _, line := Folder(t, c, s)
	number := request[2:]
	q := quotation(request, client, "Q-"+number+"-A")
	if err := s.AddQuotation(c, &q); err != nil {
		t.Fatal(err)
	}
	l := order.Line{LineID: line, Position: 1, Name: "bracket", Digest: digest.Of([]byte(line)), Qty: qty, UnitPrice: 4000, Total: 4000 * money.Amount(qty), Promised: "2031-03-10", Option: offer.Option{
		Process: "MEX", Machine: "heron", Material: "ABS", LayerMM: 0.254, Steps: []offer.Step{
			{Operation: "prepare", Name: "file work", Skill: "estimate"}, {Operation: "build", Name: "build", Resource: "heron", Skill: "operate", ElapsedS: 7200}, {Operation: "pack", Name: "pack", Skill: "pack", HandsS: 600}}}}
	o := order.Order{ID: "O-" + number, QuotationID: q.ID, RequestID: request, ClientID: client, State: order.Accepted, Currency: "EUR", Digits: 2, Net: l.Total, Total: l.Total, Promised: l.Promised, AcceptedAt: day}
	for n := 1; n <= qty; n++ {
		l.Pieces = append(l.Pieces, order.Piece{ID: fmt.Sprintf("%s-1-%02d", o.ID, n), State: "due"})
	}
	o.Lines = []order.Line{l}
	if err := s.AddOrder(c, &o); err != nil {
		t.Fatal(err)
	}
	return o
}

// Floor is the part of the suite about the shop floor.
func Floor(t *testing.T, open func(t *testing.T) *store.Store) {
	t.Run("travellers", func(t *testing.T) { floorTravellers(t, open(t)) })
	t.Run("what happened", func(t *testing.T) { floorHappened(t, open(t)) })
	t.Run("trace through blends", func(t *testing.T) { floorTrace(t, open(t)) })
}

func floorTravellers(t *testing.T, s *store.Store) {
	c := ctx(t)
	o := Ordered(t, c, s, 2)
	found, err := s.OrdersWithoutTravellers(c, 10)
	must(t, err)
	if len(found) != 1 || found[0].ID != o.ID {
		t.Fatalf("without travellers: %v", found)
	}
	tr, err := traveller.Open(traveller.Opening{ID: "T-1001", Order: o, Line: o.Lines[0], Now: day})
	must(t, err)
	must(t, s.AddTraveller(c, &tr))
	twin := tr
	twin.ID = "T-1002"
	code(t, s.AddTraveller(c, &twin), fault.Conflict, "exists")
	found, err = s.OrdersWithoutTravellers(c, 10)
	must(t, err)
	stop, err := s.TravellersToStop(c)
	must(t, err)
	if len(found) != 0 || len(stop) != 0 {
		t.Errorf("%v %v", found, stop)
	}
	o.State = order.Cancelled
	must(t, s.SaveOrder(c, &o))
	stop, err = s.TravellersToStop(c)
	must(t, err)
	if len(stop) != 1 {
		t.Errorf("to stop: %v", stop)
	}
	tr.Word = traveller.Cancelled
	must(t, s.SaveTraveller(c, &tr))
	stale := tr
	stale.Version = 1
	code(t, s.SaveTraveller(c, &stale), fault.Conflict, "changed_meanwhile")
	list, total, err := s.Travellers(c, []string{"cancelled"}, 0, 10)
	must(t, err)
	of, err := s.TravellersOf(c, o.ID)
	must(t, err)
	if total != 1 || len(list) != 1 || len(of) != 1 || len(of[0].Pieces) != 2 {
		t.Errorf("%v %v", list, of)
	}
}

func floorHappened(t *testing.T, s *store.Store) {
	c := ctx(t)
	for i, what := range []string{"floor.start", "line.quantity", "floor.finish"} {
		must(t, s.Log(c, trail.Event{At: day, Who: "P", What: what, About: "T-1001", In: "O-1001", Is: fmt.Sprint(i)}))
	}
	got := ""
	must(t, s.Happened(c, "T-1001", func(raw []byte) error { got += string(raw) + " "; return nil }))
	if got != "0 2 " {
		t.Errorf("happened: %q", got)
	}
	must(t, s.TakeID(c, "event-0001", "T-1001"))
	code(t, s.TakeID(c, "event-0001", "T-1002"), fault.Conflict, "exists")
}

func floorTrace(t *testing.T, s *store.Store) {
	c := ctx(t)
	for _, l := range []feedstock.Lot{
		{ID: "M-1001", Material: "PA12", ReceivedG: 1000, Word: feedstock.Sealed},
		{ID: "M-1002", Material: "PA12", ReceivedG: 500, Word: feedstock.Sealed, Parents: []feedstock.Share{{Lot: "M-1001", G: 500}}},
		{ID: "M-1003", Material: "PA12", ReceivedG: 100, Word: feedstock.Sealed, Parents: []feedstock.Share{{Lot: "M-1002", G: 100}}},
	} {
		must(t, s.AddLot(c, &l))
	}
	o := Ordered(t, c, s, 3)
	tr, err := traveller.Open(traveller.Opening{ID: "T-1001", Order: o, Line: o.Lines[0], Now: day})
	must(t, err)
	touch := func(piece, lot string) traveller.Touch {
		return traveller.Touch{Piece: piece, Op: 2, Lot: lot, Machine: "heron", Who: "P. Operator", At: day}
	}
	p := tr.Pieces
	must(t, s.ChangeTouches(c, tr, nil, []traveller.Touch{touch(p[0], "M-1001"), touch(p[1], "M-1003"), touch(p[2], ""), touch(p[0]+".2", "M-9")}))
	for _, x := range []struct {
		what, of string
		rows     int
	}{{"lot", "M-1001", 2}, {"lot", "M-1002", 1}, {"lot", "M-9", 1}, {"piece", p[0], 2}, {"piece", p[0] + ".2", 2}, {"order", o.ID, 4}, {"client", o.ClientID, 4}, {"machine", "heron", 4},
		{"who", "P. Operator", 4}, {"file", string(tr.Digest), 4}, {"traveller", "T-1001", 4}, {"build", "B-1", 0}, {"moon", "x", 0}} {
		found, more, err := s.Trace(c, x.what, x.of, 100)
		must(t, err)
		if len(found) != x.rows || more {
			t.Errorf("%s %s: %d rows, want %d", x.what, x.of, len(found), x.rows)
		}
		for _, f := range found {
			if f.Client == "" || f.ClientID != o.ClientID || !f.At.Equal(day) {
				t.Errorf("%+v", f)
			}
		}
	}
	found, more, err := s.Trace(c, "order", o.ID, 2)
	must(t, err)
	if len(found) != 2 || !more {
		t.Errorf("cut at 2: %d, %v", len(found), more)
	}
	must(t, s.ChangeTouches(c, tr, []traveller.Touch{touch(p[0], "M-1001")}, []traveller.Touch{touch(p[0], "M-7")}))
	found, _, err = s.Trace(c, "lot", "M-1001", 100)
	must(t, err)
	if len(found) != 1 || found[0].Lot != "M-1003" {
		t.Errorf("after the change: %v", found)
	}
}
