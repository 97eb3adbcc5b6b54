package bureau

import (
	"context"

	"firstoff/desk/request"
	"firstoff/shopfloor/order"
)

// Orders lists orders by promised date, soonest first.
func (b *Bureau) Orders(ctx context.Context, f Filter) (Listing[order.Order], error) {
	var out Listing[order.Order]
	out.Offset, out.Limit = f.page()
	var err error
	out.Items, out.Total, err = b.p.Records.Orders(ctx, f.States, out.Offset, out.Limit)
	return out, err
}

// Order finds an order by number.
func (b *Bureau) Order(ctx context.Context, id string) (order.Order, error) {
	return b.p.Records.Order(ctx, id)
}

// CancelOrder takes an order back; its request counts as lost. Fault: Conflict "order_state".
func (b *Bureau) CancelOrder(ctx context.Context, who, id, reason string) (order.Order, error) {
	var o order.Order
	reason, err := tidy("reason", reason, 1000)
	if err != nil {
		return o, err
	}
	err = b.p.Records.InTx(ctx, func(ctx context.Context) (err error) {
		if o, err = b.p.Records.Order(ctx, id); err != nil {
			return err
		}
		was := o.State
		if o, err = o.Cancel(); err != nil {
			return err
		}
		if err := b.p.Records.SaveOrder(ctx, &o); err != nil {
			return err
		}
		if err := b.close(ctx, o.RequestID, request.Lost, reason); err != nil {
			return err
		}
		return b.note(ctx, who, "order.cancelled", o.ID, o.RequestID, string(was), string(o.State), reason)
	})
	return o, err
}
