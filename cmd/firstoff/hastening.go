package main

import (
	"context"
	"time"

	"firstoff/appraise"
	"firstoff/bureau"
	"firstoff/desk/offer"
	"firstoff/desk/request"
	"firstoff/fault"
	"firstoff/shopfloor/work"
)

// hastening says what would bring lines forward.
type hastening struct{ o *opened }

// SoonerOrder is for a line of an order.
func (h hastening) SoonerOrder(ctx context.Context, orderID, lineID string) (appraise.Sooner, error) {
	o, err := h.o.Order(ctx, orderID)
	if err != nil {
		return appraise.Sooner{}, err
	}
	load, err := h.o.Load(ctx)
	if err != nil {
		return appraise.Sooner{}, err
	}
	for _, l := range o.Lines {
		if l.LineID != lineID {
			continue
		}
		q := appraise.SoonerAsk{Key: work.Key(o.ID, l.LineID), Now: l.Option, Promise: l.Promised}
		if load.Floor.Whole(q.Key) { // other options still matter; a file that is gone leaves the others
			if t, err := h.o.Options(ctx, l.LineID, bureau.Override{Qty: l.Qty}); err == nil {
				q.Options = t.Table.Options
			}
		}
		return h.o.desk.Sooner(ctx, h.o.shop.Load(), load, time.Now(), wallSeed, q)
	}
	return appraise.Sooner{}, fault.New(fault.NotFound, "line_unknown", lineID, "Order %s has no such line.", orderID)
}

// SoonerLine is for a line of a request with one of its options; "": the one chosen, else the desk's pick.
func (h hastening) SoonerLine(ctx context.Context, lineID, option string) (appraise.Sooner, offer.Option, error) {
	t, err := h.o.Options(ctx, lineID, bureau.Override{})
	if err != nil {
		return appraise.Sooner{}, offer.Option{}, err
	}
	if option == "" {
		option = t.Line.Chosen
	}
	o := request.Find(t.Table, option)
	if o == nil {
		o = request.Pick(t.Table)
	}
	if o == nil {
		return appraise.Sooner{}, offer.Option{}, fault.New(fault.Conflict, "no_options", lineID, "There is no way to make this part yet, so there is nothing to hasten.")
	}
	load, err := h.o.Load(ctx)
	if err != nil {
		return appraise.Sooner{}, *o, err
	}
	s, err := h.o.desk.Sooner(ctx, h.o.shop.Load(), load, time.Now(), wallSeed, appraise.SoonerAsk{Now: *o, Options: t.Table.Options})
	return s, *o, err
}
