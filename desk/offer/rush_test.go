package offer

import (
	"math"
	"strings"
	"testing"

	"firstoff/demo"
	"firstoff/desk/price"
	"firstoff/money"
	"firstoff/part"
)

// Ahead of the queue the pick is sooner and dearer by the days it saves, its tree still adds up to the cent, and what was chosen stays on offer when the
// pick has become another. Where it wins no day it is not offered.
func TestRush(t *testing.T) {
	dates := func(days int) Promise {
		return func(Ask) Dated { return Dated{P50: "2026-03-03", P90: "2026-03-05", LeadDays: days} }
	}
	front := &Front{Date: dates(2), Waiting: func(string) (int, float64) { return 3, 41 }}
	tab := ask(t, block(40, 30, 20), 5, part.Requirement{}, Settings{Promise: dates(6), Front: front})
	var pick, rushed Option
	for _, o := range tab.Options {
		for _, x := range o.Tags {
			switch x {
			case "pick":
				pick = o
			case "rush":
				rushed = o
			}
		}
	}
	if rushed.ID != pick.ID+"/rush" || rushed.LeadDays != 2 || rushed.CostTotal != pick.CostTotal {
		t.Fatalf("pick %s, rushed %+v", pick.ID, rushed)
	}
	f := price.Rush(2, 6, demo.Shop().Firm.RushMaxPct)
	if got := float64(rushed.Total) / float64(pick.Total); math.Abs(got/f-1) > 0.02 {
		t.Errorf("%.3f times as dear, the factor is %.3f", got, f)
	}
	sum := money.Amount(0)
	named := false
	for _, p := range rushed.Why[0].Parts {
		sum += p.Amount
		named = named || p.Name == "rush" && p.Amount > 0
	}
	if sum != rushed.Total || rushed.UnitPrice*5 != rushed.Total || !named {
		t.Errorf("the tree adds up to %d of %d, rush named %v", sum, rushed.Total, named)
	}
	if n := strings.Join(rushed.Notes, " "); !strings.Contains(n, "3 jobs") || !strings.Contains(n, "41 h") || !strings.Contains(n, "4 business days sooner") {
		t.Errorf("%q", n)
	}
	found := false
	for _, h := range tab.Hints {
		found = found || h.Code == "rush" && h.Option == rushed.ID && h.Days == -4
	}
	if !found {
		t.Errorf("no word of it: %+v", tab.Hints)
	}
	other := ""
	for _, o := range tab.Options {
		if o.Machine != "" && o.ID != pick.ID && !strings.HasSuffix(o.ID, "/rush") {
			other = o.ID
			break
		}
	}
	kept := ask(t, block(40, 30, 20), 5, part.Requirement{}, Settings{Promise: dates(6), Front: front, Keep: []string{other + "/rush"}})
	find(t, kept, other+"/rush")
	for _, o := range ask(t, block(40, 30, 20), 5, part.Requirement{}, Settings{Promise: dates(2), Front: front}).Options {
		if strings.HasSuffix(o.ID, "/rush") {
			t.Errorf("%s wins no day", o.ID)
		}
	}
}
