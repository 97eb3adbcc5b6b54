package bureau_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"firstoff/bureau"
	"firstoff/client"
	"firstoff/demo"
	"firstoff/desk/offer"
	"firstoff/desk/promise"
	"firstoff/desk/quote"
	"firstoff/desk/request"
	"firstoff/shop/calendar"
	"firstoff/shopfloor/order"
)

// promised is an order of one piece, accepted on a Monday morning and promised at the odds' three days, for Thursday.
func promised(no int, state order.State, piece string, went time.Time) order.Order {
	id := fmt.Sprintf("O-%d", no)
	o := order.Order{ID: id, QuotationID: "Q-" + id, RequestID: "R-" + id, State: state, Promised: "2031-02-06",
		AcceptedAt: time.Date(2031, 2, 3, 8, 0, 0, 0, time.UTC),
		Lines: []order.Line{{LineID: "L-" + id, Position: 1, Qty: 1, Promised: "2031-02-06", Pieces: []order.Piece{{ID: id + "-1-01", State: piece}},
			Option: offer.Option{ID: "usual", LeadDays: 3, Odds: promise.Odds{{Days: 2, Share: 0.6}, {Days: 3, Share: 0.9}, {Days: 5, Share: 1}}}}}}
	if !went.IsZero() {
		o.Deliveries = []order.Delivery{{ID: "D-" + id, At: went, Pieces: []string{id + "-1-01"}}}
	}
	return o
}

func TestHistory(t *testing.T) {
	cal, err := calendar.Of(demo.Shop())
	if err != nil {
		t.Fatal(err)
	}
	day := func(n int) time.Time { return time.Date(2031, 2, n, 14, 0, 0, 0, time.UTC) }
	now := day(12) // Wednesday of the week after
	void := promised(6, order.Done, order.Good, day(5))
	void.Deliveries[0].Void = "came back"
	ahead := promised(7, order.Accepted, order.Due, time.Time{})
	ahead.Lines[0].Promised = "2031-02-12"
	bare := promised(8, order.Delivered, order.PieceDelivered, day(5))
	bare.Lines[0].Option.Odds = nil
	past := bureau.History([]order.Order{
		promised(1, order.Delivered, order.PieceDelivered, day(5)), // Wednesday: day 2
		promised(2, order.Delivered, order.PieceDelivered, day(8)), // Saturday: goes out on Monday, day 5
		promised(3, order.InWork, order.PieceInWork, time.Time{}),  // still open on Wednesday: day 7
		promised(4, order.Cancelled, order.PieceCancelled, time.Time{}),
		promised(5, order.Delivered, order.PieceDelivered, day(6)), // on the day
		void, ahead, bare}, cal, now)
	got := []int{}
	for _, p := range past {
		got = append(got, p.Days)
	}
	if want := "[2 5 7 3 7]"; fmt.Sprint(got) != want {
		t.Errorf("promises took %v business days, want %s", got, want)
	}
}

// Seventy promises of which a third went out late move the level of the next, by an amount that says so in words; a
// desk without history takes the shop's own.
func TestLevelFromDispatches(t *testing.T) {
	d := newDesk(t)
	load, err := d.Load(d.c)
	if err != nil || load.Level.Past != 0 || load.Level.Use != 0.9 {
		t.Fatalf("without history: %+v, %v", load.Level, err)
	}
	before := load.Revision
	if err := errors.Join(d.s.AddClient(d.c, &client.Client{ID: "C-1", Firm: "Firm"}),
		d.s.AddRequest(d.c, &request.Request{ID: "R-1", Title: "Brackets", ClientID: "C-1", State: request.Open, Received: d.clock.Now()})); err != nil {
		t.Fatal(err)
	}
	for i := range 70 {
		went := time.Date(2031, 2, 6, 14, 0, 0, 0, time.UTC) // kept
		if i%3 == 0 {
			went = went.AddDate(0, 0, 1) // Friday, a day late: day 4, when nine tenths had been expected
		}
		o := promised(i+1, order.Delivered, order.PieceDelivered, went)
		o.RequestID, o.ClientID = "R-1", "C-1"
		q := quote.Quotation{ID: o.QuotationID, RequestID: "R-1", ClientID: "C-1", Number: o.QuotationID, Revision: "A", State: quote.Accepted}
		if err := errors.Join(d.s.AddQuotation(d.c, &q), d.s.AddOrder(d.c, &o)); err != nil {
			t.Fatal(err)
		}
	}
	load, err = d.Load(d.c)
	if err != nil {
		t.Fatal(err)
	}
	l := load.Level
	if l.Past != 70 || l.Use <= 0.9 || l.Use > 0.91 || l.Kept < 0.65 || l.Kept > 0.67 || load.Revision == before {
		t.Errorf("learned %+v, revision %s, before %s", l, load.Revision, before)
	}
	if days := (promise.Odds{{Days: 2, Share: 0.6}, {Days: 3, Share: 0.9}, {Days: 5, Share: 1}}).Days(l.Use); days != 5 {
		t.Errorf("the same odds are now promised as %d days, want 5", days)
	}
	if s := l.String(); !strings.Contains(s, "last 70 promises") || !strings.Contains(s, "66 %") {
		t.Errorf("in words: %s", s)
	}
}
