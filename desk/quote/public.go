package quote

import (
	"slices"

	"firstoff/desk/estimate"
	"firstoff/desk/offer"
)

// ForClient is the quotation as the client may see it: without costs, hours, the reasons behind prices, what the desk
// left out, who set a price and why.
func (q Quotation) ForClient() Quotation {
	lines := make([]Line, len(q.Body.Lines))
	copy(lines, q.Body.Lines)
	for i := range lines {
		l := &lines[i]
		l.Choice = Public(l.Choice)
		alternatives := make([]offer.Option, len(l.Alternatives))
		for k, a := range l.Alternatives {
			alternatives[k] = Public(a)
		}
		if l.Breaks = slices.Clone(l.Breaks); l.Set != nil {
			l.Breaks = nil // computed prices beside one a person set would contradict it
		}
		for k := range l.Breaks {
			l.Breaks[k].BuildS, l.Breaks[k].Builds = 0, 0
		}
		l.Alternatives, l.Set = alternatives, nil
	}
	q.Body.Lines, q.Body.Left = lines, nil
	return q
}

// Public is an option without what is the desk's own.
func Public(o offer.Option) offer.Option {
	o.Why, o.Steps, o.CostTotal, o.HandsS, o.Binding, o.BuildS, o.BuildSD, o.Partner = nil, nil, 0, 0, "", 0, 0, ""
	o.Terms, o.Set = estimate.Terms{}, ""
	o.Odds = nil
	return o
}
