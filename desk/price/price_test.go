package price

import (
	"flag"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"firstoff/desk/estimate"
	"firstoff/money"
)

// seed makes the random sheets the same in every run; -rapid.seed overrides it.
const seed = "20251201"

func init() { _ = flag.Set("rapid.seed", seed) }

func afterWord(s, word string) string {
	_, rest, _ := strings.Cut(s, word)
	return " " + rest
}

// pairs reads "1:117.00; 5:49.00".
func pairs(s string) [][2]float64 {
	var out [][2]float64
	for _, f := range strings.FieldsFunc(s, func(r rune) bool { return r == ';' || r == '=' || r == ' ' }) {
		a, b, ok := strings.Cut(f, ":")
		if !ok {
			continue
		}
		x, err1 := strconv.ParseFloat(a, 64)
		y, err2 := strconv.ParseFloat(b, 64)
		if err1 == nil && err2 == nil {
			out = append(out, [2]float64{x, y})
		}
	}
	return out
}

// sums checks that every node with children that carry money is their exact sum.
func sums(t interface{ Errorf(string, ...any) }, w estimate.Why) {
	var sum money.Amount
	carry := false
	for _, p := range w.Parts {
		sum += p.Amount
		carry = carry || p.Amount != 0
		sums(t, p)
	}
	if carry && sum != w.Amount {
		t.Errorf("%s: %d, its parts sum to %d", w.Name, w.Amount, sum)
	}
}

// TestTreeSums: over random sheets no cent is lost anywhere in the tree, unit × quantity is the total, and the margin is at least
// what was asked.
func TestTreeSums(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Sheet{Qty: rapid.IntRange(1, 5000).Draw(t, "qty"), Yield: rapid.Float64Range(0.5, 1).Draw(t, "yield"),
			OverheadPct: rapid.Float64Range(0, 40).Draw(t, "overhead"), MarginPct: rapid.Float64Range(0, 80).Draw(t, "margin"),
			RoundTo: money.Amount(rapid.IntRange(1, 100).Draw(t, "step")), RushFactor: rapid.Float64Range(0.5, 2).Draw(t, "rush")}
		for i := rapid.IntRange(1, 12).Draw(t, "items"); i > 0; i-- {
			s.Items = append(s.Items, Item{Block: rapid.SampledFrom(append(blocks, "another")).Draw(t, "block"), Name: "x", Value: 1,
				Minor: rapid.Float64Range(0, 1e7).Draw(t, "minor"), Spent: rapid.Bool().Draw(t, "spent"), Conv: rapid.Bool().Draw(t, "conv"),
				Parts: []estimate.Why{{Name: "h", Value: 2, Unit: "h", Amount: 77}}})
		}
		if rapid.Bool().Draw(t, "override") {
			s.Override = &Override{Unit: money.Amount(rapid.IntRange(1, 1e6).Draw(t, "own")), Who: "estimator", Reason: "repeat client"}
		}
		p := Of(s)
		sums(t, p.Why)
		if p.Why.Amount != p.Total || p.Unit*money.Amount(s.Qty) != p.Total {
			t.Errorf("total %d, tree %d, unit %d × %d", p.Total, p.Why.Amount, p.Unit, s.Qty)
		}
		if s.Override == nil && p.Cost > 0 && p.MarginPct < s.MarginPct-0.5*100/float64(max(p.Total, 1)) {
			t.Errorf("margin %.6f %% asked %.6f %%", p.MarginPct, s.MarginPct)
		}
	})
}

func TestMinimumOncePerOrder(t *testing.T) {
	if c, top := MinimumOrder(4000, 7500); c != 7500 || top != 3500 {
		t.Errorf("charged %d, top-up %d", c, top)
	}
	if c, top := MinimumOrder(9000, 7500); c != 9000 || top != 0 {
		t.Errorf("charged %d, top-up %d", c, top)
	}
}
