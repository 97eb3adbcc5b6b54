package quote

import (
	"reflect"
	"slices"
	"time"

	"firstoff/client"
	"firstoff/desk/offer"
	"firstoff/desk/price"
	"firstoff/desk/request"
	"firstoff/fault"
	"firstoff/money"
	"firstoff/shop"
)

// MostAlternatives is how many other options a line shows the client at most: more is no help in deciding.
const MostAlternatives = 5

// Priced is one line of a request with the table of its options, ready to be quoted.
type Priced struct {
	Line     request.Line
	FileName string
	Unit     string // request.UnitQuestion.Taken
	Table    offer.Table
}

// Drafting is what a draft is made from.
type Drafting struct {
	Number, Revision string
	Request          request.Request
	Client           client.Client
	Lines            []Priced
	Firm             shop.Firm
	MadeFrom         Provenance
	Today            string // 2006-01-02 in the shop's zone
	Now              time.Time
}

// Make drafts a quotation: every line with its chosen option (else the one the desk would pick), the sums, validity,
// terms, assumptions and cautions.
// Faults: Conflict "nothing_to_quote"; Conflict "line_without_option", naming the line.
func Make(d Drafting) (Quotation, error) {
	if len(d.Lines) == 0 {
		return Quotation{}, fault.New(fault.Conflict, "nothing_to_quote", d.Request.ID, "There is no part to quote yet: add a file, or take a line back in.")
	}
	q := Quotation{
		ID: d.Number + "-" + d.Revision, Number: d.Number, Revision: d.Revision,
		RequestID: d.Request.ID, ClientID: d.Client.ID, State: Draft, Created: d.Now,
		Body: Body{
			Currency: d.Firm.Currency, Digits: money.Digits(d.Firm.Currency), OrderMin: d.Firm.MinimumOrder,
			MadeFrom: d.MadeFrom, ValidUntil: addDays(d.Today, d.Firm.ValidDays),
			To:   Addressee{Firm: d.Client.Firm, Contact: d.Client.Contact, Email: d.Client.Email, Address: slices.Clone(d.Client.Address)},
			Sums: Sums{TaxName: d.Firm.TaxName, TaxPct: d.Firm.TaxPct},
		},
	}
	if d.Firm.FailClause != "" {
		q.Body.Terms = append(q.Body.Terms, d.Firm.FailClause)
	}
	for i, p := range d.Lines {
		l, err := line(i+1, p)
		if err != nil {
			return Quotation{}, err
		}
		q.Body.Lines = append(q.Body.Lines, l)
	}
	q.Body.Sum()
	return q, nil
}

func line(position int, p Priced) (Line, error) {
	choice := request.Find(p.Table, p.Line.Chosen)
	if choice == nil {
		choice = request.Pick(p.Table)
	}
	if choice == nil {
		return Line{}, fault.New(fault.Conflict, "line_without_option", p.Line.ID, "%s cannot be made as asked: every route was refused. Change what it must do, or set the line aside.", p.Line.Name)
	}
	l := Line{
		LineID: p.Line.ID, Position: position, Name: p.Line.Name, FileName: p.FileName,
		Digest: p.Line.Facts.Digest, Viewer: p.Line.Viewer, Qty: p.Line.Qty,
		Requirement: p.Line.Requirement, Facts: p.Line.Facts, Unit: p.Unit,
		Choice: *choice, UnitPrice: choice.UnitPrice, Total: choice.Total, Promised: choice.P90,
	}
	ids := p.Line.Alternatives
	if len(ids) == 0 {
		ids = Others(p.Table, choice.ID)
	}
	l.Alternatives = some(p.Table, ids, choice.ID)
	l.Breaks = breaks(p.Table, choice.ID)
	return l, nil
}

// breaks are the table's prices at other quantities when they are those of this option: tables have them for the pick.
func breaks(t offer.Table, id string) []offer.Break {
	for _, p := range t.Picks {
		if p.Tag == "pick" && p.Option == id {
			return slices.Clone(t.Breaks)
		}
	}
	return nil
}

// Others are the ids of options worth showing beside the chosen one: those the ranking gave a tag (soonest, thriftiest,
// best suited) first, then others on the Pareto front.
func Others(t offer.Table, chosen string) []string {
	var ids []string
	for _, tagged := range []bool{true, false} {
		for _, o := range t.Options {
			if o.ID != chosen && (tagged && len(o.Tags) > 0 || !tagged && len(o.Tags) == 0 && o.Pareto) && len(ids) < 3 {
				ids = append(ids, o.ID)
			}
		}
	}
	return ids
}

// some are the options with these ids, without the chosen one, at most MostAlternatives.
func some(t offer.Table, ids []string, chosen string) []offer.Option {
	var out []offer.Option
	for _, id := range ids {
		if o := request.Find(t, id); o != nil && id != chosen && len(out) < MostAlternatives {
			out = append(out, *o)
		}
	}
	return out
}

// Take gives a line another option out of its table. A price a person set goes with the former option.
// Fault: NotFound "option_unknown".
func (l *Line) Take(t offer.Table, id string) error {
	o := request.Find(t, id)
	if o == nil {
		return fault.New(fault.NotFound, "option_unknown", l.LineID, "There is no such option for %s any more; look at its options again.", l.Name)
	}
	former := l.Choice
	l.Breaks = breaks(t, id)
	l.Choice, l.UnitPrice, l.Total, l.Promised, l.Set = *o, o.UnitPrice, o.Total, o.P90, nil
	kept := l.Alternatives[:0:0]
	for _, a := range l.Alternatives {
		if a.ID != id {
			kept = append(kept, a)
		} else if former.ID != id {
			kept = append(kept, former) // the client still sees what they saw, the other way round
		}
	}
	l.Alternatives = kept
	return nil
}

// Show sets which options stand beside the chosen one.
// Fault: NotFound "option_unknown"; Invalid "too_many_alternatives".
func (l *Line) Show(t offer.Table, ids []string) error {
	if len(ids) > MostAlternatives {
		return fault.New(fault.Invalid, "too_many_alternatives", l.LineID, "At most %d alternatives can stand beside the chosen option; leave some out.", MostAlternatives)
	}
	for _, id := range ids {
		if request.Find(t, id) == nil {
			return fault.New(fault.NotFound, "option_unknown", l.LineID, "There is no such option for %s any more; look at its options again.", l.Name)
		}
	}
	l.Alternatives = some(t, ids, l.Choice.ID)
	return nil
}

// Ask sets a price a person decided on. It needs a reason.
// Faults: Invalid "price_reason", "price_range".
func (l *Line) Ask(p money.Amount, who, why string, at time.Time) error {
	if why == "" {
		return fault.New(fault.Invalid, "price_reason", l.LineID, "Say why %s gets another price than the computed one.", l.Name)
	}
	if p < 0 || p > 1e12 {
		return fault.New(fault.Invalid, "price_range", l.LineID, "That price is not possible.")
	}
	l.Set = &SetPrice{UnitPrice: p, Who: who, Why: why, At: at}
	l.UnitPrice, l.Total = p, p*money.Amount(l.Qty)
	return nil
}

// AsComputed goes back to the computed price.
func (l *Line) AsComputed() {
	l.Set, l.UnitPrice, l.Total = nil, l.Choice.UnitPrice, l.Choice.Total
}

// Sum renews everything that follows from the lines: the sums, the promised date, cautions and assumptions. Shipping
// stands for what a person added; packing and sending as usual is in the lines' prices.
func (b *Body) Sum() {
	s := &b.Sums
	s.Goods, b.PromisedFor = 0, ""
	b.Cautions, b.Assumptions = nil, nil
	for _, l := range b.Lines {
		s.Goods += l.Total
		b.PromisedFor = max(b.PromisedFor, l.Promised)
		for _, c := range clientCautions(l) {
			if !slices.Contains(b.Cautions, c) {
				b.Cautions = append(b.Cautions, c)
			}
		}
		b.Assumptions = append(b.Assumptions, assumptions(l)...)
	}
	_, s.Minimum = price.MinimumOrder(s.Goods, b.OrderMin)
	s.Net = s.Goods + s.Minimum + s.Shipping
	s.Tax = s.Net.Times(s.TaxPct / 100)
	s.Total = s.Net + s.Tax
}

// assumptions are what the desk took for granted about a line and the client should know.
func assumptions(l Line) []string {
	var a []string
	if l.Unit != "" {
		a = append(a, l.Name+": lengths taken in "+l.Unit+".")
	}
	for _, m := range l.Facts.Mended {
		a = append(a, l.Name+": "+m)
	}
	if l.Requirement.ToleranceMM == 0 {
		a = append(a, l.Name+": no tolerance was asked; what the process holds as a rule applies.")
	}
	return a
}

// Keep carries over what a person decided on an earlier draft of the same parts: chosen options and alternatives that
// still exist, prices set for the same quantity, note, terms, validity and shipping. tables are by request line id.
func (b *Body) Keep(old Body, tables map[string]offer.Table) {
	b.Note, b.Terms, b.Left, b.Sums.Shipping = old.Note, old.Terms, old.Left, old.Sums.Shipping
	b.ValidUntil = max(b.ValidUntil, old.ValidUntil)
	for i := range b.Lines {
		l := &b.Lines[i]
		for _, o := range old.Lines {
			if o.LineID != l.LineID {
				continue
			}
			t := tables[l.LineID]
			if o.Choice.ID != l.Choice.ID {
				if l.Take(t, o.Choice.ID) != nil {
					continue // that option is gone: the desk's pick stands
				}
			}
			ids := make([]string, 0, len(o.Alternatives))
			for _, a := range o.Alternatives {
				ids = append(ids, a.ID)
			}
			l.Alternatives = some(t, ids, l.Choice.ID)
			if o.Set != nil && o.Qty == l.Qty && o.Digest == l.Digest {
				l.Set, l.UnitPrice, l.Total = o.Set, o.Set.UnitPrice, o.Set.UnitPrice*money.Amount(l.Qty)
			}
		}
	}
	b.Sum()
}

// Of says whether the line was quoted for the request's line as it is now: same content, quantity and requirement.
func (l Line) Of(r request.Line) bool {
	return l.LineID == r.ID && l.Qty == r.Qty && l.Digest == r.Facts.Digest && reflect.DeepEqual(l.Requirement, r.Requirement) && l.Facts.Kernel == r.Facts.Kernel &&
		l.Facts.VolumeMM3 == r.Facts.VolumeMM3
}

// addDays is a date n calendar days later.
func addDays(date string, n int) string {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return date
	}
	return t.AddDate(0, 0, n).Format(time.DateOnly)
}

// clientCautions are what the user of a part must know (handbook 8, common practice). What the floor must mind while making it
// stays with the option's steps.
func clientCautions(l Line) []string {
	out := []string{"A prototype, not rated for lifting gear, pressure or protective use unless agreed in writing."}
	r := l.Requirement
	if r.Food {
		out = append(out, "Not declared for food contact unless the certified lot, process and treatment are stated; porous layers harbour germs. Local rules decide.")
	}
	if r.Skin || r.Sterilise != "" {
		out = append(out, "Not for implants or contact with patients unless contracted under your own quality system. A resin's certificate is not a device's.")
	}
	if r.Flame {
		out = append(out, "A flame rating holds only with the lot's certificate and at the thickness it names.")
	}
	if l.Choice.Process == "MJT" || l.Choice.Process == "VPP" {
		out = append(out, "Cured acrylate parts can irritate sensitive skin and soften in warmth and sun.")
	}
	return out
}
