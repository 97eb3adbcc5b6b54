package making_test

import (
	"fmt"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"firstoff/bureau/making"
	"firstoff/demo"
	"firstoff/fault"
	"firstoff/shop"
	"firstoff/shopfloor/build"
	"firstoff/shopfloor/feedstock"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/traveller"
	"firstoff/store"
	"firstoff/store/storetest"
)

var day = time.Date(2031, 3, 3, 9, 0, 0, 0, time.UTC)

// hall is a floor on real records.
type hall struct {
	*making.Floor
	t *testing.T
	s *store.Store
	n int
}

func open(t *testing.T) *hall {
	t.Helper()
	s, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "desk.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	if err := s.Migrate(t.Context()); err != nil {
		t.Fatal(err)
	}
	cat := demo.Shop()
	f, err := making.New(making.Ports{Records: s, Clock: func() time.Time { return day }, Catalogue: func() *shop.Catalogue { return cat }})
	if err != nil {
		t.Fatal(err)
	}
	return &hall{Floor: f, t: t, s: s}
}

func (h *hall) ok(err error) {
	h.t.Helper()
	if err != nil {
		h.t.Fatal(err)
	}
}

func (h *hall) Catalogue() *shop.Catalogue { return demo.Shop() }

func (h *hall) clock() time.Time { return day }

func (h *hall) id() string { h.n++; return fmt.Sprintf("device-%05d", h.n) }

func (h *hall) report(e traveller.Event) making.Card {
	h.t.Helper()
	if e.ID == "" {
		e.ID = h.id()
	}
	c, err := h.Report(h.t.Context(), e)
	h.ok(err)
	return c
}

func (h *hall) code(err error, want string) {
	h.t.Helper()
	if f := fault.Of(err); err == nil || f.Code != want {
		h.t.Errorf("want %s, got %v", want, err)
	}
}

func (h *hall) lot(material string, g float64) string {
	h.t.Helper()
	l, err := h.ReceiveLot(h.t.Context(), "P", h.id(), feedstock.Lot{Material: material, ReceivedG: g})
	h.ok(err)
	return l.ID
}

func TestOrderFollows(t *testing.T) {
	h := open(t)
	c := t.Context()
	o := storetest.Ordered(t, c, h.s, 2)
	for want := 1; want >= 0; want-- { // the second call opens nothing
		if n, err := h.Open(c); err != nil || n != want {
			t.Fatalf("opened %d, %v; want %d", n, err, want)
		}
	}
	card := h.report(traveller.Event{Traveller: "T-1001", Op: 1, Kind: traveller.Finish, Good: 2, Who: "P"})
	if card.State.Next != 2 || card.Client == "" || len(card.Events) != 1 {
		t.Errorf("%+v", card.State)
	}
	got, err := h.s.Order(c, o.ID)
	h.ok(err)
	if got.State != order.InWork || got.Lines[0].Pieces[1].State != "in work" {
		t.Errorf("%s %v", got.State, got.Lines[0].Pieces)
	}
	places, short, err := h.Board(c)
	h.ok(err)
	if len(places) != 1 || places[0].Resource != "heron" || places[0].Cards[0].OpState.Waiting != 2 || len(short) != 0 {
		t.Errorf("%+v %+v", places, short)
	}
	h.report(traveller.Event{Traveller: "T-1001", Op: 2, Kind: traveller.Finish, Good: 1, Scrap: 1, Reason: "warped"})
	h.report(traveller.Event{Traveller: "T-1001", Op: 3, Kind: traveller.Finish, Good: 1})
	if _, short, err = h.Board(c); err != nil || len(short) != 1 || short[0].State.Word != traveller.Short {
		t.Errorf("%v %+v", err, short)
	}
	h.report(traveller.Event{Traveller: "T-1001", Kind: traveller.Remake})
	h.report(traveller.Event{Traveller: "T-1001", Op: 2, Kind: traveller.Finish, Good: 1})
	h.report(traveller.Event{Traveller: "T-1001", Op: 3, Kind: traveller.Finish, Good: 1})
	got, err = h.s.Order(c, o.ID)
	h.ok(err)
	if got.State != order.Done || got.Lines[0].Pieces[1].State != "good" {
		t.Errorf("%s %v", got.State, got.Lines[0].Pieces)
	}
	// The chain holds, and one flipped byte in what happened is found by it (store: TestOneFlippedByte).
	if n, _, err := h.s.CheckTrail(c); err != nil || n < 6 {
		t.Errorf("%d events, %v", n, err)
	}
}

func TestSentByMany(t *testing.T) {
	h := open(t)
	storetest.Ordered(t, t.Context(), h.s, 5)
	_, err := h.Open(t.Context())
	h.ok(err)
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			for i := range 5 {
				_, err := h.Report(t.Context(), traveller.Event{ID: fmt.Sprintf("phone-%04d", i), Traveller: "T-1001", Op: 1, Kind: traveller.Finish, Good: 1, Who: "P", At: day})
				if err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	c, err := h.Card(t.Context(), "T-1001")
	h.ok(err)
	if len(c.Events) != 5 || c.State.Ops[0].Good != 5 {
		t.Errorf("%d events, %+v", len(c.Events), c.State.Ops)
	}
	_, err = h.Report(t.Context(), traveller.Event{ID: "phone-0001", Traveller: "T-1001", Op: 1, Kind: traveller.Start})
	h.code(err, "event_id_reused")
}

func TestFailedBuild(t *testing.T) {
	h := open(t)
	c := t.Context()
	storetest.Ordered(t, c, h.s, 3)
	storetest.Ordered(t, c, h.s, 1)
	_, err := h.Open(c)
	h.ok(err)
	for _, id := range []string{"T-1001", "T-1002"} {
		card, err := h.Card(c, id)
		h.ok(err)
		h.report(traveller.Event{Traveller: id, Op: 1, Kind: traveller.Finish, Good: len(card.Traveller.Pieces)})
	}
	lot := h.lot("ABS", 1000)
	id := h.id()
	b, err := h.PlanBuild(c, "P", id, "heron", []string{"T-1001", "T-1002"})
	h.ok(err)
	_, err = h.PlanBuild(c, "P", h.id(), "heron", []string{"T-1001"})
	h.code(err, "build_planned")
	say := func(e build.Event) (making.BuildCard, error) {
		e.ID, e.Build, e.Who = h.id(), b.ID, "P"
		return h.ReportBuild(c, e)
	}
	_, err = say(build.Event{Kind: build.Start})
	h.code(err, "checklist_open")
	var ticked []string
	for _, x := range b.Checks {
		ticked = append(ticked, x.Code)
	}
	_, err = say(build.Event{Kind: build.Lot, Lot: "M-4711"})
	h.code(err, "lot_unknown")
	_, err = say(build.Event{Kind: build.Lot, Lot: lot})
	h.ok(err)
	_, err = say(build.Event{Kind: build.Start, Ticked: ticked})
	h.ok(err)
	lost := b.Slots[0].Pieces[1]
	card, err := say(build.Event{Kind: build.Fail, Reason: "came off the platform", Lost: []string{lost}})
	h.ok(err)
	if card.State.Word != build.Failed || len(card.State.Whole) != 3 {
		t.Errorf("%+v", card.State)
	}
	first, err := h.Card(c, "T-1001")
	h.ok(err)
	second, err := h.Card(c, "T-1002")
	h.ok(err)
	if s := first.State; s.Scrap != 1 || s.Remade != 1 || s.Ops[1].Waiting != 1 || s.Ops[2].Waiting != 2 || !s.Pieces[1].Scrap || s.Pieces[3].ID != lost+".2" {
		t.Errorf("%+v", s)
	}
	if s := second.State; s.Scrap != 0 || s.Ops[2].Waiting != 1 {
		t.Errorf("%+v", s)
	}
	found, err := h.Trace(c, b.ID)
	h.ok(err)
	if found.What != "build" || len(found.Pieces) != 4 || len(found.Orders) != 2 || !slices.Equal(found.Lots, []string{lot}) {
		t.Errorf("%+v", found)
	}
}

func TestBadLot(t *testing.T) {
	h := open(t)
	c := t.Context()
	fresh, used := h.lot("PA12", 6000), h.lot("PA12", 4000)
	blend, err := h.BlendLots(c, "P", h.id(), []feedstock.Share{{Lot: fresh, G: 5000, Fresh: true}, {Lot: used, G: 4000}})
	h.ok(err)
	if l, err := h.Lot(c, fresh); err != nil || l.Stock.LeftG != 1000 {
		t.Errorf("%v %+v", err, l.Stock)
	}
	for range 3 {
		storetest.Ordered(t, c, h.s, 2)
	}
	_, err = h.Open(c)
	h.ok(err)
	h.report(traveller.Event{Traveller: "T-1001", Op: 1, Kind: traveller.UseLot, Lot: fresh})
	h.report(traveller.Event{Traveller: "T-1003", Op: 1, Kind: traveller.UseLot, Lot: blend.ID})
	h.report(traveller.Event{Traveller: "T-1003", Op: 1, Kind: traveller.Finish, Good: 2, Who: "K. Hand"})
	_, err = h.ReportLot(c, feedstock.Event{ID: h.id(), Lot: fresh, Kind: feedstock.Quarantine, Reason: "porous parts", Who: "P"})
	h.ok(err)
	found, err := h.Trace(c, fresh)
	h.ok(err)
	if len(found.Pieces) != 4 || len(found.Orders) != 2 || len(found.Clients) != 2 || found.Clients[0].Name == "" {
		t.Errorf("%+v", found)
	}
	_, err = h.Report(c, traveller.Event{ID: h.id(), Traveller: "T-1002", Op: 1, Kind: traveller.UseLot, Lot: fresh})
	h.code(err, "lot_held")
	back, err := h.Trace(c, found.Rows[len(found.Rows)-1].Piece)
	h.ok(err)
	if back.What != "piece" || len(back.Lots) != 1 {
		t.Errorf("%+v", back)
	}
	if by, err := h.Trace(c, "K. Hand"); err != nil || by.What != "who" || len(by.Pieces) != 2 {
		t.Errorf("%v %+v", err, by)
	}
	// A correction takes the lot out of the search again.
	card, err := h.Card(c, "T-1001")
	h.ok(err)
	h.report(traveller.Event{Traveller: "T-1001", Kind: traveller.Correct, Voids: card.Events[0].ID, Reason: "other lot"})
	if found, err = h.Trace(c, fresh); err != nil || len(found.Orders) != 1 {
		t.Errorf("%v %+v", err, found)
	}
	_, err = h.ReceiveLot(c, "P", h.id(), feedstock.Lot{Material: "moon dust", ReceivedG: 1})
	h.code(err, "material_unknown")
}

func TestCancelledOrder(t *testing.T) {
	h := open(t)
	c := t.Context()
	o := storetest.Ordered(t, c, h.s, 1)
	_, err := h.Open(c)
	h.ok(err)
	o.State = order.Cancelled
	h.ok(h.s.SaveOrder(c, &o))
	_, err = h.Report(c, traveller.Event{ID: h.id(), Traveller: "T-1001", Op: 1, Kind: traveller.Start})
	h.code(err, "order_state")
	_, err = h.Open(c)
	h.ok(err)
	if card, err := h.Card(c, "T-1001"); err != nil || card.State.Word != traveller.Cancelled {
		t.Errorf("%v %+v", err, card.State)
	}
}
