package bureau

import (
	"context"

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
