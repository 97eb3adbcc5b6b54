package making_test

import (
	"bytes"
	"context"
	"image"
	"image/png"
	"io"
	"strings"
	"testing"

	"firstoff/bureau/making"
	"firstoff/demo"
	"firstoff/desk/request"
	"firstoff/digest"
	"firstoff/fault"
	"firstoff/money"
	"firstoff/shop"
	"firstoff/shopfloor/build"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/traveller"
	"firstoff/store/storetest"
)

func TestDeliverInParts(t *testing.T) {
	h := open(t)
	c := t.Context()
	o := storetest.Ordered(t, c, h.s, 3)
	_, err := h.Open(c)
	h.ok(err)
	_, _, err = h.Deliver(c, "B", o.ID, making.Sending{})
	h.code(err, "delivery_empty")
	through := func(n int) {
		for op := 1; op <= 3; op++ {
			h.report(traveller.Event{Traveller: "T-1001", Op: op, Kind: traveller.Finish, Good: n})
		}
	}
	through(2)
	got, d, err := h.Deliver(c, "B", o.ID, making.Sending{Carrier: "own van"})
	if err != nil || d.ID != "D-1001" || len(d.Pieces) != 2 || got.State != order.InWork {
		t.Fatalf("%v %+v %s", err, d, got.State)
	}
	// What has left the house cannot become scrap.
	card, err := h.Card(c, "T-1001")
	h.ok(err)
	_, err = h.Report(c, traveller.Event{ID: h.id(), Traveller: "T-1001", Kind: traveller.Correct, Voids: card.Events[2].ID, Reason: "counted wrong"})
	h.code(err, "delivered_already")
	through(1)
	if got, err = h.s.Order(c, o.ID); err != nil || got.State != order.Done {
		t.Fatalf("%v %s", err, got.State)
	}
	got, d, err = h.Deliver(c, "B", o.ID, making.Sending{})
	if err != nil || got.State != order.Delivered || len(d.Pieces) != 1 {
		t.Fatalf("%v %s", err, got.State)
	}
	if got, err = h.TakeBack(c, "B", o.ID, d.ID, "the van came back"); err != nil || got.State != order.Done {
		t.Fatalf("%v %s", err, got.State)
	}
	if n, _, err := h.s.CheckTrail(c); err != nil || n < 8 {
		t.Errorf("%d events, %v", n, err)
	}
}

// TestCancelMidway: pieces taken back leave their traveller and the build they wait in, and are charged for what was done.
func TestCancelMidway(t *testing.T) {
	h := open(t)
	c := t.Context()
	o := storetest.Ordered(t, c, h.s, 3)
	_, err := h.Open(c)
	h.ok(err)
	h.report(traveller.Event{Traveller: "T-1001", Op: 1, Kind: traveller.Finish, Good: 3})
	b, err := h.PlanBuild(c, "P", h.id(), "heron", []string{"T-1001"})
	h.ok(err)
	lost := o.Lines[0].Pieces[1].ID
	cost, err := h.CancelCost(c, o.ID, []string{lost})
	h.ok(err)
	got, err := h.Cancel(c, "B", o.ID, making.Cancelling{Pieces: []string{lost}, Reason: "one less"})
	if err != nil || got.Lines[0].Pieces[1].State != order.PieceCancelled || got.Changes[0].Charge != cost.Computed || got.Lines[0].Charged != cost.Computed {
		t.Fatalf("%v %+v %+v", err, got.Lines[0].Pieces, got.Changes)
	}
	_, err = h.Cancel(c, "B", o.ID, making.Cancelling{Pieces: []string{lost}, Reason: "again"})
	h.code(err, "piece_state")
	// The build goes on without it.
	say := func(e build.Event) making.BuildCard {
		e.ID, e.Build, e.Who = h.id(), b.ID, "P"
		card, err := h.ReportBuild(c, e)
		h.ok(err)
		return card
	}
	var ticked []string
	for _, x := range b.Checks {
		ticked = append(ticked, x.Code)
	}
	say(build.Event{Kind: build.Lot, Lot: h.lot("ABS", 1000)})
	say(build.Event{Kind: build.Start, Ticked: ticked})
	before, err := h.CancelCost(c, o.ID, nil)
	h.ok(err)
	say(build.Event{Kind: build.Finish})
	card, err := h.Card(c, "T-1001")
	h.ok(err)
	if s := card.State; s.Ops[2].Waiting != 2 || s.Away != 1 {
		t.Fatalf("%+v", s)
	}
	// A running build counts as spent, so that finishing it costs no more; and the traveller's own correction of a withdrawal is refused.
	after, err := h.CancelCost(c, o.ID, nil)
	if err != nil || after.Computed != before.Computed || after.Computed <= cost.Computed {
		t.Errorf("%v before %d, after %d, one %d", err, before.Computed, after.Computed, cost.Computed)
	}
	for _, e := range card.Events {
		if e.Kind == traveller.Withdraw {
			_, err = h.Report(c, traveller.Event{ID: h.id(), Traveller: "T-1001", Kind: traveller.Correct, Voids: e.ID, Reason: "x"})
			h.code(err, "withdrawn_already")
		}
	}
	// All of it: the order is cancelled, its request lost, its traveller too; nothing can be reported any more.
	charge := money.Amount(100)
	got, err = h.Cancel(c, "B", o.ID, making.Cancelling{Reason: "client closed down", Charge: &charge, ChargeWhy: "old friend"})
	if err != nil || got.State != order.Cancelled || got.Changes[1].Charge != 100 {
		t.Fatalf("%v %s", err, got.State)
	}
	if r, err := h.s.Request(c, o.RequestID); err != nil || r.State != request.Lost {
		t.Errorf("%v %s", err, r.State)
	}
	if tr, err := h.s.Traveller(c, "T-1001"); err != nil || tr.Word != traveller.Cancelled {
		t.Errorf("%v %s", err, tr.Word)
	}
	_, err = h.Report(c, traveller.Event{ID: h.id(), Traveller: "T-1001", Op: 3, Kind: traveller.Finish, Good: 1})
	if err == nil {
		t.Error("work was reported on a cancelled order")
	}
}

func TestWriteOffScrap(t *testing.T) {
	h := open(t)
	c := t.Context()
	o := storetest.Ordered(t, c, h.s, 2)
	_, err := h.Open(c)
	h.ok(err)
	h.report(traveller.Event{Traveller: "T-1001", Op: 1, Kind: traveller.Finish, Good: 1, Scrap: 1, Reason: "warped"})
	h.report(traveller.Event{Traveller: "T-1001", Op: 2, Kind: traveller.Finish, Good: 1})
	h.report(traveller.Event{Traveller: "T-1001", Op: 3, Kind: traveller.Finish, Good: 1})
	got, err := h.WriteOff(c, "B", o.ID, []string{o.Lines[0].Pieces[1].ID}, "the client takes one")
	if err != nil || got.State != order.Done || got.Lines[0].Total != got.Lines[0].UnitPrice {
		t.Fatalf("%v %s %+v", err, got.State, got.Lines[0])
	}
	if _, short, err := h.Board(c); err != nil || len(short) != 0 {
		t.Errorf("%v %+v", err, short)
	}
}

func TestHeld(t *testing.T) {
	h := open(t)
	c := t.Context()
	o := storetest.Ordered(t, c, h.s, 1)
	cat := demo.Shop()
	f, err := making.New(making.Ports{Records: h.s, Clock: h.clock, Catalogue: func() *shop.Catalogue { return cat },
		Hold: func(context.Context, order.Order, []string) error {
			return fault.New(fault.Conflict, "held", "N-1", "A nonconformance is open.")
		}})
	h.ok(err)
	_, err = f.Open(c)
	h.ok(err)
	for op := 1; op <= 3; op++ {
		h.report(traveller.Event{Traveller: "T-1001", Op: op, Kind: traveller.Finish, Good: 1})
	}
	_, _, err = f.Deliver(c, "B", o.ID, making.Sending{})
	h.code(err, "held")
	if got, err := h.s.Order(c, o.ID); err != nil || got.State != order.Done || len(got.Deliveries) != 0 {
		t.Errorf("%v %s", err, got.State)
	}
}

type album map[digest.Digest][]byte

func (a album) Put(_ context.Context, r io.Reader) (digest.Digest, int64, error) {
	b, err := io.ReadAll(r)
	d := digest.Of(b)
	a[d] = b
	return d, int64(len(b)), err
}

func (a album) Open(_ context.Context, d digest.Digest) (io.ReadSeekCloser, error) {
	return shot{bytes.NewReader(a[d])}, nil
}

type shot struct{ *bytes.Reader }

func (shot) Close() error { return nil }

func TestPhotos(t *testing.T) {
	h := open(t)
	c := t.Context()
	storetest.Ordered(t, c, h.s, 1)
	cat := demo.Shop()
	f, err := making.New(making.Ports{Records: h.s, Clock: h.clock, Catalogue: func() *shop.Catalogue { return cat }, Photos: album{}})
	h.ok(err)
	_, err = f.Open(c)
	h.ok(err)
	var b bytes.Buffer
	h.ok(png.Encode(&b, image.NewGray(image.Rect(0, 0, 4, 4))))
	e := traveller.Event{ID: h.id(), Traveller: "T-1001", Op: 1, Who: "P"}
	_, err = f.Photo(c, e, strings.NewReader("solid part"))
	h.code(err, "photo_form")
	card, err := f.Photo(c, e, bytes.NewReader(b.Bytes()))
	h.ok(err)
	if len(card.Events) != 1 || card.Events[0].Photo != digest.Of(b.Bytes()) {
		t.Fatalf("%+v", card.Events)
	}
	r, err := f.OpenPhoto(c, "T-1001", card.Events[0].Photo)
	h.ok(err)
	h.ok(r.Close())
	_, err = f.OpenPhoto(c, "T-1001", digest.Of([]byte("another's")))
	h.code(err, "photo_unknown")
	_, err = h.Photo(c, e, bytes.NewReader(b.Bytes()))
	h.code(err, "no_photos")
}

func TestTouchedPromises(t *testing.T) {
	h := open(t)
	c := t.Context()
	o := storetest.Ordered(t, c, h.s, 3)
	_, err := h.Open(c)
	h.ok(err)
	h.report(traveller.Event{Traveller: "T-1001", Op: 1, Kind: traveller.Finish, Good: 3})
	b, err := h.PlanBuild(c, "P", h.id(), "heron", []string{"T-1001"})
	h.ok(err)
	var ticked []string
	for _, x := range b.Checks {
		ticked = append(ticked, x.Code)
	}
	say := func(e build.Event) making.BuildCard {
		e.ID, e.Build, e.Who = h.id(), b.ID, "P"
		card, err := h.ReportBuild(c, e)
		h.ok(err)
		return card
	}
	say(build.Event{Kind: build.Lot, Lot: h.lot("ABS", 1000)})
	card := say(build.Event{Kind: build.Start, Ticked: ticked})
	if got, err := h.Touched(c, card); err != nil || len(got) != 0 {
		t.Fatalf("%v %+v", err, got)
	}
	card = say(build.Event{Kind: build.Fail, Reason: "came off", Lost: []string{o.Lines[0].Pieces[0].ID}})
	got, err := h.Touched(c, card)
	if err != nil || len(got) != 1 || got[0].Pieces != 1 || got[0].Late || got[0].OrderID != o.ID || !strings.Contains(got[0].Note, "1 of your 3") || !strings.Contains(got[0].Note, "2031-03-10") {
		t.Fatalf("%v %+v", err, got)
	}
}
