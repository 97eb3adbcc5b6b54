package store

import (
	"context"

	"firstoff/shopfloor/purchase"
)

var purchases = kind[purchase.Purchase]{
	table:   "purchases",
	id:      func(p *purchase.Purchase) string { return p.ID },
	version: func(p *purchase.Purchase) *int { return &p.Version },
	names:   []string{"partner", "state", "need_by"},
	columns: func(p *purchase.Purchase) []any { return []any{p.Partner, string(p.Word), p.NeedBy} },
}

// AddPurchase keeps a new purchase.
func (s *Store) AddPurchase(ctx context.Context, p *purchase.Purchase) error {
	return purchases.add(ctx, s, p)
}

// SavePurchase replaces a purchase.
func (s *Store) SavePurchase(ctx context.Context, p *purchase.Purchase) error {
	return purchases.save(ctx, s, p)
}

// Purchase finds a purchase by number.
func (s *Store) Purchase(ctx context.Context, id string) (purchase.Purchase, error) {
	return purchases.get(ctx, s, id)
}

// Purchases lists by the day they must be here, soonest first.
func (s *Store) Purchases(ctx context.Context, states []string, offset, limit int) ([]purchase.Purchase, int, error) {
	cond, args := in("state", states)
	total, err := purchases.count(ctx, s, "WHERE "+cond, args...)
	if err != nil {
		return nil, 0, err
	}
	found, err := purchases.list(ctx, s, "WHERE "+cond+" ORDER BY need_by, no LIMIT ? OFFSET ?", append(args, limited(limit, 500), max(0, offset))...)
	return found, total, err
}
