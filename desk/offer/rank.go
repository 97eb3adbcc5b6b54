package offer

import (
	"fmt"
	"math"

	"firstoff/money"
	"firstoff/part"
)

// lead is an option's place in time: the P90 date where promised, otherwise its hours.
func lead(o *Option) float64 {
	if o.P90 != "" {
		// ISO dates order as text; as a number of days they are only compared
		var y, m, d int
		if n, _ := fmt.Sscanf(o.P90, "%d-%d-%d", &y, &m, &d); n == 3 {
			return float64((y*12+m)*31 + d)
		}
	}
	t := o.BuildS
	for _, s := range o.Steps {
		t += s.HandsS
		if s.Operation != "build" {
			t += s.ElapsedS
		}
	}
	return t / 86400
}

// rank marks the Pareto front on total, date and fitness and names the four suggestions with their reasons.
func rank(t *Table, req *part.Requirement) {
	n := len(t.Options)
	if n == 0 {
		return
	}
	leads := make([]float64, n)
	bestFit, least, soon := 0.0, money.Amount(math.MaxInt64), math.Inf(1)
	for i := range t.Options {
		o := &t.Options[i]
		leads[i] = lead(o)
		bestFit = math.Max(bestFit, o.Fitness)
		least = min(least, o.Total)
		soon = math.Min(soon, leads[i])
	}
	for i := range t.Options {
		a := &t.Options[i]
		a.Pareto = true
		for k := range t.Options {
			b := &t.Options[k]
			if k == i {
				continue
			}
			noWorse := b.Total <= a.Total && leads[k] <= leads[i] && b.Fitness >= a.Fitness
			better := b.Total < a.Total || leads[k] < leads[i] || b.Fitness > a.Fitness
			if noWorse && (better || k < i) { // of equals the first stands for all
				a.Pareto = false
				break
			}
		}
	}
	suits := func(o *Option) bool { return o.Fitness >= 0.6*bestFit }
	late := func(o *Option) bool { return req.NeedBy != "" && o.P90 != "" && o.P90 > req.NeedBy }
	dear := func(o *Option) bool { return req.BudgetMinor > 0 && int64(o.Total) > req.BudgetMinor }
	best := func(better func(a, b int) bool) int {
		at := -1
		for i := range t.Options {
			if !suits(&t.Options[i]) {
				continue
			}
			if at < 0 || better(i, at) {
				at = i
			}
		}
		return at
	}
	tag := func(i int, name, reason string) {
		if i < 0 {
			return
		}
		t.Options[i].Tags = append(t.Options[i].Tags, name)
		t.Picks = append(t.Picks, Pick{Tag: name, Option: t.Options[i].ID, Reason: reason})
	}
	opt := t.Options
	s := best(func(a, b int) bool {
		if leads[a] != leads[b] {
			return leads[a] < leads[b]
		}
		return opt[a].Total < opt[b].Total
	})
	if s >= 0 {
		why := "the least hours of work"
		if opt[s].P90 != "" {
			why = "ships by " + opt[s].P90 + ", sooner than any other that suits"
		}
		tag(s, "soonest", why)
	}
	c := best(func(a, b int) bool {
		if opt[a].Total != opt[b].Total {
			return opt[a].Total < opt[b].Total
		}
		return leads[a] < leads[b]
	})
	if c >= 0 {
		tag(c, "thriftiest", "costs the least of those that suit")
	}
	f := best(func(a, b int) bool {
		if math.Abs(opt[a].Fitness-opt[b].Fitness) > 1e-9 {
			return opt[a].Fitness > opt[b].Fitness
		}
		return opt[a].Total < opt[b].Total
	})
	if f >= 0 {
		tag(f, "best-suited", "meets the wishes best"+firstNote(&opt[f]))
	}
	score := func(i int) float64 {
		o := &opt[i]
		v := math.Pow(o.Fitness, 1.5) * math.Pow(float64(least)/math.Max(1, float64(o.Total)), 0.5) * math.Pow((soonDays(o, leads[i], soon)+2)/2, -0.35)
		if late(o) {
			v *= 0.2
		}
		if dear(o) {
			v *= 0.3
		}
		return v
	}
	d := best(func(a, b int) bool { return score(a) > score(b) })
	if d >= 0 {
		o := &opt[d]
		why := fmt.Sprintf("fitness %.2f for %.2f × the lowest price", o.Fitness, float64(o.Total)/math.Max(1, float64(least)))
		if o.P90 != "" {
			why += ", ships by " + o.P90
		}
		if late(o) {
			why += "; nothing that suits keeps the date asked"
		}
		if dear(o) {
			why += "; nothing that suits keeps the budget"
		}
		tag(d, "pick", why)
	}
}

// soonDays is how many days an option comes after the soonest.
func soonDays(o *Option, l, soon float64) float64 { return math.Max(0, l-soon) }

func firstNote(o *Option) string {
	if len(o.Notes) == 0 {
		return ""
	}
	return ": " + o.Notes[0]
}
