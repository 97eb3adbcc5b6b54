package paper

import (
	"context"
	"fmt"
	"strings"

	"firstoff/desk/offer"
	"firstoff/desk/quote"
	"firstoff/money"
	"firstoff/shop"
)

// Quotation prints one revision of a quotation: what is offered for each part with its picture and alternatives, the
// sum, what was assumed, terms, and cautions. A draft says that it is one.
func (p *Press) Quotation(ctx context.Context, q quote.Quotation) ([]byte, error) {
	cat := p.Catalogue()
	b := q.Body
	made := q.Issued
	if made.IsZero() {
		made = q.Created
	}
	foot := fmt.Sprintf("%s · %s · %s", cat.Firm.Name, cat.Firm.Email, cat.Firm.Phone)
	s, err := newSheet("Quotation "+q.ID, foot, made)
	if err != nil {
		return nil, err
	}
	head(s, cat, q)
	for _, l := range b.Lines {
		if err := p.quotedLine(ctx, s, cat, b, l); err != nil {
			return nil, err
		}
	}
	sums(s, b)
	if b.Note != "" {
		s.heading("Note")
		s.ink("", 9.5)
		s.para(9.5, b.Note)
	}
	if len(b.Assumptions) > 0 {
		s.heading("We assumed")
		s.bullets(b.Assumptions)
	}
	if len(b.Terms) > 0 {
		s.heading("Terms")
		s.bullets(b.Terms)
	}
	if len(b.Cautions) > 0 {
		s.heading("Cautions")
		s.bullets(b.Cautions)
	}
	s.Ln(4)
	s.quiet(7.5)
	s.MultiCell(wide, 3.6, fmt.Sprintf("Reckoned with catalogue %s, workload %s, kernel %d, seed %d. Ship dates hold if the order comes on the day of issue before %s; a date is met in %.0f of 100 cases by the workload of that day.",
		b.MadeFrom.Catalogue.Short(), b.MadeFrom.Load.Short(), b.MadeFrom.Kernel, b.MadeFrom.Seed, cat.Firm.CutOff, 100*cat.Firm.PromiseLevel), "", "L", false)
	return s.bytes()
}

func head(s *sheet, cat *shop.Catalogue, q quote.Quotation) {
	b := q.Body
	s.ink("B", 12)
	s.CellFormat(wide/2, 6, cat.Firm.Name, "", 0, "L", false, 0, "")
	s.SetTextColor(actRGB[0], actRGB[1], actRGB[2])
	s.SetFont("Desk", "B", 18)
	s.CellFormat(wide/2, 8, "Quotation "+q.ID, "", 1, "R", false, 0, "")
	s.quiet(8.5)
	s.SetXY(left, 24)
	s.MultiCell(wide/2, 4, strings.Join(append(append([]string{}, cat.Firm.Address...), cat.Firm.Email, cat.Firm.Phone), "\n"), "", "L", false)
	y := s.GetY()
	s.SetXY(left+wide/2, 28)
	state := string(q.State)
	if q.State == quote.Draft {
		state = "DRAFT, not an offer"
	}
	issued := q.Issued
	if issued.IsZero() {
		issued = q.Created
	}
	for _, kv := range [][2]string{{"state", state}, {"issued", issued.Format("Mon 2 Jan 2006")}, {"valid until", day(b.ValidUntil)}, {"request", q.RequestID}} {
		s.SetX(left + wide/2)
		s.quiet(9)
		s.CellFormat(wide/4, 5, kv[0], "", 0, "R", false, 0, "")
		s.ink("", 9)
		s.CellFormat(wide/4, 5, kv[1], "", 1, "R", false, 0, "")
	}
	s.SetY(max(y, s.GetY()) + 4)
	s.ink("", 10)
	to := []string{b.To.Firm}
	if b.To.Contact != "" && b.To.Contact != b.To.Firm {
		to = append(to, b.To.Contact)
	}
	to = append(to, b.To.Address...)
	s.MultiCell(wide, 4.8, strings.Join(to, "\n"), "", "L", false)
}

// described says how an option is made, in the client's words.
func described(cat *shop.Catalogue, o offer.Option) string {
	name := o.Process
	if p := cat.Process(o.Process); p != nil {
		name = p.Name
	}
	mat := o.Material
	if m := cat.Material(o.Material); m != nil {
		mat = m.Name
	}
	t := fmt.Sprintf("%s (%s), %s", name, o.Process, mat)
	if o.LayerMM > 0 {
		t += fmt.Sprintf(", layer %.3f mm", o.LayerMM)
	}
	if o.InfillPct > 0 && o.InfillPct < 100 {
		t += fmt.Sprintf(", sparse infill %.0f %%", o.InfillPct)
	}
	return t
}

func (p *Press) quotedLine(ctx context.Context, s *sheet, cat *shop.Catalogue, b quote.Body, l quote.Line) error {
	s.room(48)
	s.heading(fmt.Sprintf("%d. %s, %d off", l.Position, l.Name, l.Qty))
	top := s.GetY()
	const pic = 44.0
	if l.Viewer != "" {
		img, err := p.Picture(ctx, l.Viewer)
		if err == nil {
			s.picture(string(l.Viewer), img, left, top, pic)
		}
	}
	x, w := left+pic+4, wide-pic-4
	put := func(style string, size, h float64, text string) {
		s.SetX(x)
		if style == "q" {
			s.quiet(size)
		} else {
			s.ink(style, size)
		}
		s.MultiCell(w, h, text, "", "L", false)
	}
	put("B", 10, 4.8, described(cat, l.Choice))
	size := l.Facts.Max.Sub(l.Facts.Min)
	put("q", 8.5, 4.2, fmt.Sprintf("%.1f × %.1f × %.1f mm, %.2f cm³, about %.0f g a part; file %s, sha256 %s", size.X, size.Y, size.Z, l.Facts.VolumeMM3/1000, l.Choice.PartG, l.FileName, l.Digest.Short()))
	for _, n := range l.Choice.Notes {
		put("", 8.5, 4.2, n)
	}
	s.SetX(x)
	row := func(style, what, each, all, date string) {
		s.SetX(x)
		s.ink(style, 9)
		s.CellFormat(w-82, 5.2, fit(s, what, w-83), "", 0, "L", false, 0, "")
		s.SetFont("Mono", "", 9)
		s.CellFormat(24, 5.2, thin(each), "", 0, "R", false, 0, "")
		s.CellFormat(28, 5.2, thin(all), "", 0, "R", false, 0, "")
		s.ink(style, 9)
		s.CellFormat(30, 5.2, date, "", 1, "R", false, 0, "")
	}
	s.Ln(1)
	s.SetX(x)
	s.quiet(8)
	s.CellFormat(w-82, 4.4, "", "", 0, "L", false, 0, "")
	s.CellFormat(24, 4.4, "each "+b.Currency, "", 0, "R", false, 0, "")
	s.CellFormat(28, 4.4, "together "+b.Currency, "", 0, "R", false, 0, "")
	s.CellFormat(30, 4.4, "ship by", "", 1, "R", false, 0, "")
	row("B", "as offered", money.Format(l.UnitPrice, b.Digits), money.Format(l.Total, b.Digits), day(l.Promised))
	for _, a := range l.Alternatives {
		s.room(12)
		put("", 8.5, 4.2, "or: "+described(cat, a)+" ("+effect(l.Choice, a)+")")
		row("", "", money.Format(a.UnitPrice, b.Digits), money.Format(a.Total, b.Digits), day(a.P90))
	}
	if at := otherQuantities(b, l); at != "" {
		s.room(6)
		put("", 8.5, 4.2, at)
	}
	if s.GetY() < top+pic*0.75+2 && s.PageNo() > 0 {
		s.SetY(top + pic*0.75 + 2)
	}
	return nil
}

// otherQuantities words the computed prices of one piece at other quantities; empty where a person set the price.
func otherQuantities(b quote.Body, l quote.Line) string {
	if l.Set != nil {
		return ""
	}
	var t []string
	for _, k := range l.Breaks {
		if k.Qty != l.Qty {
			t = append(t, fmt.Sprintf("%d off %s", k.Qty, money.Format(k.UnitPrice, b.Digits)))
		}
	}
	if len(t) == 0 {
		return ""
	}
	return "each " + b.Currency + " at other quantities: " + strings.Join(t, ", ")
}

// effect says what an alternative changes against the choice.
func effect(c, a offer.Option) string {
	var t []string
	if c.Total > 0 {
		t = append(t, fmt.Sprintf("%+.0f %% price", 100*(float64(a.Total)-float64(c.Total))/float64(c.Total)))
	}
	if d := a.LeadDays - c.LeadDays; d != 0 {
		t = append(t, fmt.Sprintf("%+d days", d))
	}
	if c.PartG > 0 {
		t = append(t, fmt.Sprintf("%+.0f %% mass", 100*(a.PartG-c.PartG)/c.PartG))
	}
	return strings.Join(t, ", ")
}

// fit shortens a text to a width.
func fit(s *sheet, text string, w float64) string {
	if s.GetStringWidth(text) <= w {
		return text
	}
	r := []rune(text)
	for len(r) > 1 && s.GetStringWidth(string(r)+"…") > w {
		r = r[:len(r)-1]
	}
	return string(r) + "…"
}

func sums(s *sheet, b quote.Body) {
	s.room(46)
	s.heading("Sum")
	row := func(style, what string, a money.Amount) {
		s.ink(style, 10)
		s.CellFormat(wide-40, 5.4, what, "", 0, "R", false, 0, "")
		s.SetFont("Mono", "", 10)
		s.CellFormat(40, 5.4, thin(money.Format(a, b.Digits)), "", 1, "R", false, 0, "")
	}
	row("", "goods", b.Sums.Goods)
	if b.Sums.Minimum != 0 {
		row("", "up to the order minimum", b.Sums.Minimum)
	}
	if b.Sums.Shipping != 0 {
		row("", "shipping", b.Sums.Shipping)
	}
	row("", "net", b.Sums.Net)
	row("", fmt.Sprintf("%s %.4g %%", b.Sums.TaxName, b.Sums.TaxPct), b.Sums.Tax)
	s.SetDrawColor(inkRGB[0], inkRGB[1], inkRGB[2])
	s.Line(right-70, s.GetY(), right, s.GetY())
	row("B", "total "+b.Currency, b.Sums.Total)
	s.ink("", 9.5)
	s.CellFormat(wide, 6, "Ship by "+day(b.PromisedFor), "", 1, "R", false, 0, "")
}
