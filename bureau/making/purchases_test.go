package making_test

import (
	"testing"

	"firstoff/bureau/making"
	"firstoff/desk/offer"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/purchase"
	"firstoff/store/storetest"
)

// TestBuyOfPartner: asked, sent, promised, come in two consignments, one piece bad and asked for anew, and one cancelled by the client.
func TestBuyOfPartner(t *testing.T) {
	h := open(t)
	c := t.Context()
	o := storetest.Ordered(t, c, h.s, 4)
	partner := h.Catalogue().Partners[0].ID
	l := &o.Lines[0]
	l.Option.Machine, l.Option.Partner = "", partner
	l.Option.Steps = []offer.Step{{Operation: "partner", Name: "bought", Resource: partner, ElapsedS: 3 * 86400}, {Operation: "pack", Name: "pack", Skill: "pack", HandsS: 600}}
	h.ok(h.s.SaveOrder(c, &o))
	buy, err := h.ToBuy(c)
	if err != nil || len(buy) != 1 || len(buy[0].Pieces) != 4 {
		t.Fatalf("%v %+v", err, buy)
	}
	_, err = h.Ask(c, "B", h.id(), "nobody", []string{"T-1001"})
	h.code(err, "partner_unknown")
	_, err = h.Ask(c, "B", h.id(), h.Catalogue().Partners[1].ID, []string{"T-1001"})
	h.code(err, "other_partner")
	id := h.id()
	p, err := h.Ask(c, "B", id, partner, []string{"T-1001"})
	// Promised on Monday the 10th: the incoming check and ten minutes of packing need the Friday before.
	if err != nil || p.ID != "P-1001" || p.NeedBy != "2031-03-07" {
		t.Fatalf("%v %+v", err, p)
	}
	if twice, err := h.Ask(c, "B", id, partner, []string{"T-1001"}); err != nil || twice.ID != "" {
		t.Errorf("sent twice: %v %s", err, twice.ID)
	}
	_, err = h.Ask(c, "B", h.id(), partner, []string{"T-1001"})
	h.code(err, "nothing_waiting")
	say := func(e purchase.Event) making.PurchaseCard {
		t.Helper()
		e.ID, e.Purchase, e.Who = h.id(), p.ID, "B"
		card, err := h.ReportPurchase(c, e)
		h.ok(err)
		return card
	}
	say(purchase.Event{Kind: purchase.Send, Reference: "by mail"})
	if card := say(purchase.Event{Kind: purchase.Promise, Due: "2031-03-11"}); !card.Late {
		t.Error("a promise after the day we need it is not late")
	}
	if got, err := h.s.Order(c, o.ID); err != nil || got.State != order.InWork {
		t.Errorf("%v %s", err, got.State)
	}
	// The client takes the last one back: what a partner was asked for is spent.
	cost, err := h.CancelCost(c, o.ID, []string{l.Pieces[3].ID})
	if err != nil || cost.Computed < l.UnitPrice*9/10 {
		t.Errorf("%v %d of %d", err, cost.Computed, l.UnitPrice)
	}
	_, err = h.Cancel(c, "B", o.ID, making.Cancelling{Pieces: []string{l.Pieces[3].ID}, Reason: "three will do"})
	h.ok(err)
	say(purchase.Event{Kind: purchase.Receive, Item: 1, Count: 2})
	say(purchase.Event{Kind: purchase.Check, Item: 1, Good: 1, Scrap: 1, Reason: "cracked"})
	say(purchase.Event{Kind: purchase.Receive, Item: 1, Count: 2})
	if card := say(purchase.Event{Kind: purchase.Check, Item: 1, Good: 2}); card.State.Word != purchase.Checked {
		t.Errorf("%+v", card.State)
	}
	card, err := h.Card(c, "T-1001")
	h.ok(err)
	if s := card.State; s.Ops[1].Waiting != 2 || s.Ops[0].Waiting != 1 || s.Scrap != 1 || s.Remade != 1 || s.Away != 1 {
		t.Errorf("%+v", s)
	}
	// The piece that was bad can be asked for anew.
	if buy, err = h.ToBuy(c); err != nil || len(buy) != 1 || len(buy[0].Pieces) != 1 || buy[0].Pieces[0] != l.Pieces[1].ID+".2" {
		t.Fatalf("%v %+v", err, buy)
	}
	again, err := h.Ask(c, "B", h.id(), partner, []string{"T-1001"})
	h.ok(err)
	p = again
	say(purchase.Event{Kind: purchase.Cancel, Reason: "made in the house"})
	if buy, err = h.ToBuy(c); err != nil || len(buy) != 1 {
		t.Errorf("%v %+v", err, buy)
	}
	tr, err := h.Trace(c, partner)
	h.ok(err)
	if len(tr.Rows) == 0 {
		t.Error("no trace leads to the partner")
	}
}
