package offer

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"firstoff/fault"
	"firstoff/money"
	"firstoff/shop"
)

// Hint is an alternative worth a word, with what it does against an option of the table: shares of −1 to 1, days.
type Hint struct {
	Code   string  `json:"code"`   // sparse | draft | fill-tray | hollow
	From   string  `json:"from"`   // option it is compared with
	Option string  `json:"option"` // option of the same table; empty when it is another quantity
	Qty    int     `json:"qty,omitempty"`
	Text   string  `json:"text"`
	Mass   float64 `json:"mass"`
	Price  float64 `json:"price"` // of one part
	Time   float64 `json:"time"`  // machine time
	Days   int     `json:"days"`  // business days, negative is sooner
	Fit    float64 `json:"fit"`   // fitness, −1 to 1
	// HollowMM is the wall to ask for in the requirement.
	HollowMM float64 `json:"hollow_mm,omitempty"`
}

// hint compares two options.
func hint(code string, a, b *Option) Hint {
	rel := func(x, y float64) float64 {
		if y == 0 {
			return 0
		}
		return x/y - 1
	}
	h := Hint{Code: code, From: a.ID, Option: b.ID, Mass: rel(b.PartG, a.PartG), Price: rel(float64(b.UnitPrice), float64(a.UnitPrice)), Time: rel(b.BuildS, a.BuildS), Days: b.LeadDays - a.LeadDays, Fit: b.Fitness - a.Fitness}
	return h
}

// effect words a hint for the client.
func (h *Hint) effect() string {
	var s []string
	add := func(v float64, less, more string) {
		switch {
		case v <= -0.02:
			s = append(s, fmt.Sprintf("%.0f %% %s", -v*100, less))
		case v >= 0.02:
			s = append(s, fmt.Sprintf("%.0f %% %s", v*100, more))
		}
	}
	add(h.Mass, "lighter", "heavier")
	add(h.Price, "cheaper", "dearer")
	add(h.Time, "less machine time", "more machine time")
	if h.Days != 0 {
		word := "later"
		if h.Days < 0 {
			word = "sooner"
		}
		s = append(s, fmt.Sprintf("%d business days %s", max(h.Days, -h.Days), word))
	}
	switch {
	case h.Fit <= -0.02:
		s = append(s, fmt.Sprintf("suits %.0f points less", -h.Fit*100))
	case h.Fit >= 0.02:
		s = append(s, fmt.Sprintf("suits %.0f points better", h.Fit*100))
	}
	if len(s) == 0 {
		return "no difference that counts"
	}
	return strings.Join(s, ", ")
}

// hints looks at the pick's route for the alternatives that help: sparse fill against solid, a draft layer against a fine one.
func hints(t *Table) []Hint {
	var pick *Option
	for i := range t.Options {
		for _, tag := range t.Options[i].Tags {
			if tag == "pick" {
				pick = &t.Options[i]
			}
		}
	}
	if pick == nil {
		return nil
	}
	like := func(o *Option) bool {
		return o.Machine == pick.Machine && o.Partner == pick.Partner && o.Material == pick.Material && o.Support == pick.Support
	}
	var sparse, draft *Option
	for i := range t.Options {
		o := &t.Options[i]
		if !like(o) {
			continue
		}
		if near(o.LayerMM, pick.LayerMM) && o.InfillPct < pick.InfillPct && (sparse == nil || o.InfillPct < sparse.InfillPct) {
			sparse = o
		}
		if near(o.InfillPct, pick.InfillPct) && o.LayerMM > pick.LayerMM*1.2 && (draft == nil || o.LayerMM > draft.LayerMM) {
			draft = o
		}
	}
	var out []Hint
	if sparse != nil {
		h := hint("sparse", pick, sparse)
		h.Text = fmt.Sprintf("%.0f %% fill instead of %.0f %%: %s", sparse.InfillPct, pick.InfillPct, h.effect())
		out = append(out, h)
	}
	if draft != nil {
		h := hint("draft", pick, draft)
		h.Text = fmt.Sprintf("layers of %g mm instead of %g mm: %s; steps show more", draft.LayerMM, pick.LayerMM, h.effect())
		out = append(out, h)
	}
	return out
}

// Break is an option at another quantity.
type Break struct {
	Qty       int          `json:"qty"`
	Builds    int          `json:"builds,omitempty"`
	UnitPrice money.Amount `json:"unit_price_minor"`
	Total     money.Amount `json:"total_minor"`
	BuildS    float64      `json:"build_s,omitempty"`
}

// Breaks prices one option of a table at other quantities from real trays: the unit price falls while a tray fills and jumps when the next
// begins (the saw-tooth of Ruffo, Tuck & Hague 2006). Fault: NotFound "option" when the option does not exist at a quantity.
func (e *Evaluator) Breaks(ctx context.Context, j Job, cat *shop.Catalogue, s Settings, id string, qtys []int) ([]Break, error) {
	s.Promise = nil
	one := *cat
	if who, _, ok := strings.Cut(id, "/"); ok { // only that machine or partner
		one.Machines, one.Partners = nil, nil
		if m := cat.Machine(who); m != nil {
			one.Machines = []shop.Machine{*m}
		}
		if p := cat.Partner(who); p != nil {
			one.Partners = []shop.Partner{*p}
		}
	}
	if f := strings.Split(id, "/"); len(f) == 5 { // machine/material/support/layer/fill: nothing else is worked out
		if cat.Material(f[1]) != nil {
			j.Requirement.MaterialID = f[1]
		}
		if v, err := strconv.ParseFloat(f[3], 64); err == nil {
			s.LayerMM = v
		}
		if v, err := strconv.ParseFloat(f[4], 64); err == nil && v < 100 {
			s.InfillPct = v
		}
	}
	var out []Break
	for _, q := range qtys {
		j.Qty = q
		t, err := e.Evaluate(ctx, j, &one, s)
		if err != nil {
			return nil, err
		}
		found := false
		for i := range t.Options {
			if o := &t.Options[i]; o.ID == id {
				out = append(out, Break{q, o.Builds, o.UnitPrice, o.Total, o.BuildS})
				found = true
			}
		}
		if !found {
			return nil, fault.New(fault.NotFound, "option", id, "There is no option %q at a quantity of %d; choose one of the table.", id, q)
		}
	}
	return out, nil
}

// fillTray is the hint to order as many as a build holds, when that brings the unit price down by a tenth or more.
func (e *Evaluator) fillTray(ctx context.Context, j Job, cat *shop.Catalogue, s Settings, t *Table) {
	for _, p := range t.Picks {
		if p.Tag != "pick" {
			continue
		}
		for i := range t.Options {
			o := &t.Options[i]
			if o.ID != p.Option || o.Machine == "" || o.PerBuild <= j.Qty || o.PerBuild > 500 {
				continue
			}
			b, err := e.Breaks(ctx, j, cat, s, o.ID, []int{o.PerBuild})
			if err != nil || len(b) == 0 || o.UnitPrice == 0 {
				return
			}
			h := Hint{Code: "fill-tray", From: o.ID, Qty: o.PerBuild, Price: float64(b[0].UnitPrice)/float64(o.UnitPrice) - 1, Time: b[0].BuildS/math.Max(1, o.BuildS) - 1}
			if h.Price > -0.1 {
				return
			}
			h.Text = fmt.Sprintf("%d parts fill one build: each is %.0f %% cheaper than at %d", o.PerBuild, -h.Price*100, j.Qty)
			t.Hints = append(t.Hints, h)
			return
		}
	}
}

// Quantities are what a table of breaks asks about: usual lots, the quantity itself, a full build and one more, ascending.
func Quantities(qty, perBuild int) []int {
	out := []int{1, 5, 10, 25, 50, 100, qty}
	if perBuild > 1 && perBuild <= 500 {
		out = append(out, perBuild, perBuild+1)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// quantities prices the pick at other quantities.
func (e *Evaluator) quantities(ctx context.Context, j Job, cat *shop.Catalogue, s Settings, t *Table) {
	for _, p := range t.Picks {
		if p.Tag != "pick" {
			continue
		}
		for i := range t.Options {
			if o := &t.Options[i]; o.ID == p.Option {
				if b, err := e.Breaks(ctx, j, cat, s, o.ID, Quantities(j.Qty, o.PerBuild)); err == nil {
					t.Breaks = b
				} // an option that is refused at another quantity has no table
			}
		}
	}
}
