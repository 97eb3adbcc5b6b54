package price

import (
	"fmt"
	"math"

	"firstoff/desk/estimate"
	"firstoff/money"
	"firstoff/shop"
)

// Item is one cost of the sheet.
type Item struct {
	Block   string // file work, set-up, machine, material, support, hands, resources, outside work, packing
	Name    string
	Formula string
	Value   float64
	Unit    string
	Origin  string
	Minor   float64 // cost of the whole line, minor units, unrounded
	Parts   []estimate.Why
	Spent   bool // spent again when a part fails
	Conv    bool // conversion cost: carries overhead
}

// Sheet is the cost sheet of one line.
type Sheet struct {
	Qty         int
	Items       []Item
	Yield       float64 // 0 or 1: none lost
	YieldOrigin string
	OverheadPct float64
	MarginPct   float64 // of price
	RoundTo     money.Amount
	RushFactor  float64 // 0 or 1: none
	Override    *Override
}

// Override is the estimator's own unit price, with the reason that is kept.
type Override struct {
	Unit   money.Amount
	Who    string
	Reason string
}

// Price is the priced sheet.
type Price struct {
	Unit, Total, Cost money.Amount
	MarginPct         float64 // of the total, after rounding
	MarkupPct         float64 // on the cost
	Why               estimate.Why
}

// blocks in the order of the tree.
var blocks = []string{"file work", "set-up", "machine", "material", "support", "hands", "resources", "outside work", "packing"}

// Of adds the sheet up.
func Of(s Sheet) Price {
	qty := max(1, s.Qty)
	var root estimate.Why
	var spent, conv float64
	var cost money.Amount
	seen := map[string]bool{}
	add := func(block string) {
		if seen[block] {
			return
		}
		seen[block] = true
		n := estimate.Why{Name: block}
		for _, it := range s.Items {
			if it.Block != block {
				continue
			}
			a := money.Round(it.Minor)
			if a == 0 && it.Value == 0 {
				continue
			}
			n.Amount += a
			n.Parts = append(n.Parts, estimate.Why{Name: it.Name, Formula: it.Formula, Value: it.Value, Unit: it.Unit, Origin: it.Origin, Amount: a, Parts: detail(it.Parts)})
			if it.Spent {
				spent += float64(a)
			}
			if it.Conv {
				conv += float64(a)
			}
		}
		if len(n.Parts) > 0 {
			cost += n.Amount
			root.Parts = append(root.Parts, n)
		}
	}
	for _, b := range blocks {
		add(b)
	}
	for _, it := range s.Items {
		add(it.Block)
	}
	leaf := func(name, formula string, v float64, unit, origin string, a money.Amount) {
		if a != 0 {
			root.Parts = append(root.Parts, estimate.Why{Name: name, Formula: formula, Value: v, Unit: unit, Origin: origin, Amount: a})
		}
	}
	if y := s.Yield; y > 0 && y < 1 {
		a := money.Round(spent*(1/y) - spent)
		leaf("failures and remakes", fmt.Sprintf("cost of what is made × (1/%.3f − 1)", y), y, "yield", s.YieldOrigin, a)
		cost += a
	}
	if s.OverheadPct > 0 {
		a := money.Round(conv * s.OverheadPct / 100)
		leaf("overhead", fmt.Sprintf("%.4g %% of conversion cost", s.OverheadPct), s.OverheadPct, "%", "shop", a)
		cost += a
	}
	price := money.Round(Margin(float64(cost), s.MarginPct/100))
	leaf("margin", fmt.Sprintf("%.4g %% of price = %.4g %% on cost", s.MarginPct, MarkupOf(s.MarginPct/100)*100), s.MarginPct, "%", "shop", price-cost)
	if f := s.RushFactor; f > 1 {
		a := price.Times(f - 1)
		leaf("rush", fmt.Sprintf("× %.3g for displaced work", f), f, "factor", "shop", a)
		price += a
	}
	unit := Ladder(float64(price)/float64(qty), s.RoundTo)
	total := unit * money.Amount(qty)
	leaf("rounding", fmt.Sprintf("unit price up to the next step of %d", max(1, s.RoundTo)), 0, "", "shop", total-price)
	if o := s.Override; o != nil {
		was := total
		unit, total = o.Unit, o.Unit*money.Amount(qty)
		leaf("estimator's price", o.Who+": "+o.Reason, 0, "", "estimator", total-was)
	}
	root.Name, root.Amount = "price", total
	root.Formula = fmt.Sprintf("%d × unit price", qty)
	p := Price{Unit: unit, Total: total, Cost: cost, Why: root}
	if total > 0 {
		p.MarginPct = 100 * float64(total-cost) / float64(total)
	}
	if cost > 0 {
		p.MarkupPct = 100 * float64(total-cost) / float64(cost)
	}
	return p
}

// detail strips amounts: what explains a rounded leaf carries quantities only.
func detail(in []estimate.Why) []estimate.Why {
	var out []estimate.Why
	for _, w := range in {
		if w.Value == 0 {
			continue
		}
		w.Amount = 0
		w.Parts = detail(w.Parts)
		out = append(out, w)
	}
	return out
}

// Ladder is the unit price at or above v on the price ladder of the given step.
func Ladder(v float64, step money.Amount) money.Amount {
	if step < 1 {
		step = 1
	}
	n := math.Ceil(v/float64(step) - 1e-9)
	return money.Amount(n) * step
}

// Margin is the price at which cost c leaves margin m of the price: c/(1 − m).
func Margin(c, m float64) float64 {
	if m >= 1 {
		return c
	}
	return c / (1 - m)
}

// Markup is the price c·(1 + k).
func Markup(c, k float64) float64 { return c * (1 + k) }

// MarkupOf is the markup on cost equal to margin m of price: m/(1 − m).
func MarkupOf(m float64) float64 {
	if m >= 1 {
		return math.Inf(1)
	}
	return m / (1 - m)
}

// MinimumOrder is what an order is charged: the lines' sum, or the shop's minimum, once per order and not per line.
// topUp is the difference that is shown as its own line.
func MinimumOrder(lines money.Amount, minimum money.Amount) (charged, topUp money.Amount) {
	if lines > 0 && lines < minimum {
		return minimum, minimum - lines
	}
	return lines, 0
}

// Rush is the factor for delivering in days instead of usual days: from 1 at usual up to 1 + maxPct/100 when nothing is left of it.
func Rush(days, usual int, maxPct float64) float64 {
	if usual <= 0 || days >= usual {
		return 1
	}
	return 1 + maxPct/100*float64(usual-max(0, days))/float64(usual)
}

// Start is how many parts to start so that good come out on the mean at yield y; All is the chance that all of n pass.
func Start(good int, y float64) int { return int(math.Ceil(float64(good)/y - 1e-9)) }

// All is the chance that all n parts pass at yield y.
func All(n int, y float64) float64 { return math.Pow(y, float64(n)) }

// Break is the cost of one at quantity q with set-up s shared and u each (handbook K12).
func Break(s, u float64, q int) float64 { return (s + float64(q)*u) / float64(q) }

// Terms copies the firm's terms onto a sheet.
func Terms(s *Sheet, f shop.Firm) {
	s.OverheadPct, s.MarginPct, s.RoundTo = f.OverheadPct, f.MarginPct, f.RoundTo
}
