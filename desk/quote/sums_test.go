package quote

import (
	"math/rand/v2"
	"testing"
	"time"

	"firstoff/desk/offer"
	"firstoff/money"
)

// TestSumsNeverDrift: whatever prices are set and undone, a quotation's sums are the exact sums of their parts.
func TestSumsNeverDrift(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	amount := func() money.Amount { return money.Amount(r.Int64N(10_000_001)) }
	for range 2000 {
		b := Body{OrderMin: amount(), Sums: Sums{TaxPct: float64(r.IntN(251)) / 10, Shipping: amount()}}
		var goods money.Amount
		for range 1 + r.IntN(12) {
			unit, qty := amount(), 1+r.IntN(500)
			l := Line{Qty: qty, Choice: offer.Option{UnitPrice: unit, Total: unit * money.Amount(qty)}}
			l.AsComputed()
			if r.IntN(2) == 0 {
				unit = amount()
				if err := l.Ask(unit, "estimator", "as agreed", time.Time{}); err != nil {
					t.Fatal(err)
				}
				if r.IntN(2) == 0 {
					l.AsComputed()
					unit = l.Choice.UnitPrice
				}
			}
			goods += unit * money.Amount(qty)
			b.Lines = append(b.Lines, l)
		}
		b.Sum()
		s := b.Sums
		if s.Goods != goods || s.Goods+s.Minimum+s.Shipping != s.Net || s.Net+s.Tax != s.Total || goods > 0 && s.Goods+s.Minimum < b.OrderMin {
			t.Fatalf("goods %d: %+v", goods, s)
		}
	}
}
