package offer

import (
	"context"
	"testing"

	"firstoff/demo"
)

// BenchmarkReanswer100k is what the options page asks when quantity, infill or layer change: the whole table with dates, hints and the
// table of quantities, from the layers that are kept. Dates come from a stand-in, so that only this room is measured.
func BenchmarkReanswer100k(b *testing.B) {
	e := For(knot(100_000, 40))
	cat := demo.Shop()
	ctx := context.Background()
	s := Settings{Promise: func(Ask) Dated { return Dated{P50: "2026-03-03", P90: "2026-03-05", LeadDays: 4} }}
	ask := func(q int) Table {
		t, err := e.Evaluate(ctx, Job{Qty: q}, cat, s)
		if err != nil {
			b.Fatal(err)
		}
		return t
	}
	ask(1)
	q := 1
	for b.Loop() {
		q = q%50 + 1
		b.ReportMetric(float64(len(ask(q).Breaks)), "quantities")
	}
}
