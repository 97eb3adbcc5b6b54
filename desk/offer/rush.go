package offer

import (
	"fmt"
	"slices"

	"firstoff/desk/price"
)

// Front says when a line would be done if it went before everything that waits, and what that is.
type Front struct {
	Date Promise
	// Waiting is the work on a machine that would be displaced: jobs that have not begun, and their hours on it.
	Waiting func(machine string) (jobs int, hours float64)
}

// rushSuffix ends the number of an option that goes first.
const rushSuffix = "/rush"

// rush offers the pick, and whatever base of a kept option, ahead of the queue: sooner, and dearer for the work it displaces, by the days it saves (handbook 4,
// common practice: up to the shop's own most). Where it wins no day there is nothing to sell.
func (w *walk) rush() {
	if w.s.Front == nil || w.cat.Firm.RushMaxPct <= 0 {
		return
	}
	for _, base := range w.bases(rushSuffix) {
		i := slices.IndexFunc(w.table.Options, func(o Option) bool { return o.ID == base })
		if i < 0 || w.table.Options[i].Machine == "" {
			continue
		}
		sheet, ok := w.sheets[base]
		if !ok {
			continue
		}
		o := w.table.Options[i]
		a := w.asks[i]
		a.Option, a.Steps = &o, o.Steps
		d := w.s.Front.Date(a)
		f := price.Rush(d.LeadDays, o.LeadDays, w.cat.Firm.RushMaxPct)
		if d.LeadDays >= o.LeadDays || f <= 1 {
			continue
		}
		jobs, hours := w.s.Front.Waiting(o.Machine)
		sheet.RushFactor = f
		pr := price.Of(sheet)
		saved := o.LeadDays - d.LeadDays
		rushed := o
		rushed.ID, rushed.Tags, rushed.Pareto = base+rushSuffix, []string{"rush"}, false
		rushed.UnitPrice, rushed.Total, rushed.CostTotal = pr.Unit, pr.Total, pr.Cost
		rushed.P50, rushed.P90, rushed.LeadDays, rushed.Binding, rushed.Odds = d.P50, d.P90, d.LeadDays, d.Binding, d.Odds
		rushed.Why = append([]Why{pr.Why}, o.Why[1:]...)
		rushed.Notes = append(slices.Clone(o.Notes), fmt.Sprintf("goes before the %d jobs that wait for this machine (%.0f h of it): %d business days sooner for %.0f %% more", jobs, hours, saved, 100*(float64(pr.Total)/float64(o.Total)-1)))
		w.table.Options = append(w.table.Options, rushed)
		w.asks = append(w.asks, w.asks[i])
		if slices.ContainsFunc(o.Tags, func(t string) bool { return t == "pick" }) {
			h := hint("rush", &o, &rushed)
			h.Text = fmt.Sprintf("ahead of the queue: %d business days sooner, %.0f %% dearer, before %d jobs that wait", saved, 100*h.Price, jobs)
			w.table.Hints = append(w.table.Hints, h)
		}
	}
}
