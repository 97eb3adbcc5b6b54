package making

import (
	"context"
	"fmt"
	"strings"

	"firstoff/desk/request"
	"firstoff/fault"
	"firstoff/money"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/traveller"
)

// Cancelling is what a person takes back of an order. Pieces: none = all that did not go out yet.
type Cancelling struct {
	Pieces    []string
	Reason    string
	Charge    *money.Amount // nil: as worked out
	ChargeWhy string
}

// CancelCost says what cancelling would be charged, without doing it. Faults: as Cancel.
func (f *Floor) CancelCost(ctx context.Context, orderID string, pieces []string) (order.Change, error) {
	o, behind, err := f.behind(ctx, orderID)
	if err != nil {
		return order.Change{}, err
	}
	_, ch, err := o.Cancel(order.Cancelling{Pieces: pieces, Progress: behind, Reason: "?", Now: f.now()})
	return ch, err
}

// Cancel takes pieces or a whole order back, with what they cost: they leave their travellers at once. A request all of whose order is
// cancelled counts as lost. Faults: those of order.Cancel.
func (f *Floor) Cancel(ctx context.Context, who, orderID string, c Cancelling) (order.Order, error) {
	return f.change(ctx, who, orderID, "order.cancelled", c.Reason, func(o order.Order, behind map[string]float64) (order.Order, order.Change, error) {
		return o.Cancel(order.Cancelling{Pieces: c.Pieces, Progress: behind, Reason: tidy(c.Reason), Charge: c.Charge, ChargeWhy: tidy(c.ChargeWhy), Who: who, Now: f.now()})
	})
}

// WriteOff gives scrapped pieces up instead of making them again. Faults: those of order.WriteOff.
func (f *Floor) WriteOff(ctx context.Context, who, orderID string, pieces []string, reason string) (order.Order, error) {
	return f.change(ctx, who, orderID, "order.written_off", reason, func(o order.Order, _ map[string]float64) (order.Order, order.Change, error) {
		return o.WriteOff(pieces, who, tidy(reason), f.now())
	})
}

// behind reads an order with how far its pieces have come.
func (f *Floor) behind(ctx context.Context, orderID string) (order.Order, map[string]float64, error) {
	o, err := f.p.Records.Order(ctx, orderID)
	if err != nil {
		return o, nil, err
	}
	all, err := f.p.Records.TravellersOf(ctx, orderID)
	if err != nil {
		return o, nil, err
	}
	behind := map[string]float64{}
	for _, t := range all {
		es, err := happened[traveller.Event](ctx, f.p.Records, t.ID)
		if err != nil {
			return o, nil, err
		}
		for id, x := range traveller.Fold(t, es).Behind(t) {
			behind[id] = x
		}
	}
	return o, behind, nil
}

func (f *Floor) change(ctx context.Context, who, orderID, what, reason string, do func(order.Order, map[string]float64) (order.Order, order.Change, error)) (order.Order, error) {
	var o order.Order
	if len(reason) > mostText {
		return o, tooLong("reason")
	}
	err := f.again(ctx, func(ctx context.Context) error {
		before, behind, err := f.behind(ctx, orderID)
		if err != nil {
			return err
		}
		var ch order.Change
		if o, ch, err = do(before, behind); err != nil {
			return err
		}
		if err := f.p.Records.SaveOrder(ctx, &o); err != nil {
			return err
		}
		if err := f.log(ctx, who, what, o.ID, o.RequestID, ch.Reason, ch); err != nil {
			return err
		}
		if err := f.stood(ctx, who, before.State, o); err != nil {
			return err
		}
		all, err := f.p.Records.TravellersOf(ctx, o.ID)
		if err != nil {
			return err
		}
		for _, t := range all {
			e := traveller.Event{ID: fmt.Sprintf("change-%s-%d-%s", o.ID, len(o.Changes), t.ID), Traveller: t.ID, Kind: traveller.Withdraw, Reason: ch.Reason, Who: who, At: f.now(), Received: f.now()}
			for _, id := range ch.Pieces {
				if strings.HasPrefix(id, fmt.Sprintf("%s-%d-", o.ID, t.Position)) {
					e.Pieces = append(e.Pieces, id)
				}
			}
			if len(e.Pieces) == 0 {
				continue
			}
			if _, err := f.report(ctx, t.ID, []traveller.Event{e}); err != nil {
				return err
			}
		}
		if o, err = f.p.Records.Order(ctx, orderID); err != nil || o.State != order.Cancelled {
			return err
		}
		r, err := f.p.Records.Request(ctx, o.RequestID)
		if err != nil {
			return err
		}
		r.State, r.Reason = request.Lost, ch.Reason
		return f.p.Records.SaveRequest(ctx, &r)
	})
	return o, err
}

// Sending is what leaves the house.
type Sending struct {
	Pieces    []string // none: all that are good
	Carrier   string
	Reference string
	Note      string
}

// Deliver sends good pieces of an order out. Faults: those of order.Deliver and of Ports.Hold.
func (f *Floor) Deliver(ctx context.Context, who, orderID string, s Sending) (order.Order, order.Delivery, error) {
	var o order.Order
	d := order.Delivery{Who: who, Carrier: tidy(s.Carrier), Reference: tidy(s.Reference), Note: tidy(s.Note)}
	if len(d.Carrier) > 200 || len(d.Reference) > 200 || len(d.Note) > mostText {
		return o, d, tooLong("delivery")
	}
	err := f.again(ctx, func(ctx context.Context) error {
		before, err := f.p.Records.Order(ctx, orderID)
		if err != nil {
			return err
		}
		d.At = f.now()
		if d.Pieces = s.Pieces; len(d.Pieces) == 0 {
			d.Pieces = before.Ready()
		}
		if len(d.Pieces) == 0 {
			return fault.New(fault.Conflict, "delivery_empty", orderID, "Nothing of order %s is ready to go out.", orderID)
		}
		if d.ID, err = f.number(ctx, "D"); err != nil {
			return err
		}
		if o, err = before.Deliver(d); err != nil {
			return err
		}
		if f.p.Hold != nil {
			if err := f.p.Hold(ctx, before, d.Pieces); err != nil {
				return err
			}
		}
		if err := f.p.Records.SaveOrder(ctx, &o); err != nil {
			return err
		}
		if err := f.log(ctx, who, "order.delivered", o.ID, o.RequestID, "", d); err != nil {
			return err
		}
		return f.stood(ctx, who, before.State, o)
	})
	return o, d, err
}

// TakeBack undoes a delivery entered by mistake. Faults: those of order.TakeBack.
func (f *Floor) TakeBack(ctx context.Context, who, orderID, delivery, reason string) (order.Order, error) {
	var o order.Order
	if len(reason) > mostText {
		return o, tooLong("reason")
	}
	err := f.again(ctx, func(ctx context.Context) error {
		before, err := f.p.Records.Order(ctx, orderID)
		if err != nil {
			return err
		}
		if o, err = before.TakeBack(delivery, tidy(reason)); err != nil {
			return err
		}
		if err := f.p.Records.SaveOrder(ctx, &o); err != nil {
			return err
		}
		if err := f.log(ctx, who, "order.taken_back", o.ID, o.RequestID, tidy(reason), map[string]string{"delivery": delivery}); err != nil {
			return err
		}
		return f.stood(ctx, who, before.State, o)
	})
	return o, err
}

// mostText is how long a person's text may be.
const mostText = 2000

func tooLong(field string) error {
	return fault.New(fault.Invalid, "text_too_long", field, "A text is too long; %d characters are possible.", mostText)
}
