package paper

import (
	"context"
	"fmt"
	"strings"

	"firstoff/bureau/making"
)

// Purchase prints what a partner is asked to make.
func (p *Press) Purchase(ctx context.Context, c making.PurchaseCard) ([]byte, error) {
	cat, b := p.Catalogue(), c.Purchase
	s, err := newSheet("Purchase "+b.ID, cat.Firm.Name+" · purchase "+b.ID, b.Made)
	if err != nil {
		return nil, err
	}
	name := b.Partner
	for _, x := range cat.Partners {
		if x.ID == b.Partner {
			name = x.Name
		}
	}
	s.SetTextColor(actRGB[0], actRGB[1], actRGB[2])
	s.SetFont("Desk", "B", 20)
	s.CellFormat(wide, 9, "Purchase "+b.ID, "", 1, "L", false, 0, "")
	s.ink("", 11)
	s.CellFormat(wide, 6, "To "+name, "", 1, "L", false, 0, "")
	s.quiet(9.5)
	s.MultiCell(wide, 4.6, strings.Join(nonEmpty(cat.Firm.Name, cat.Firm.Email, cat.Firm.Phone), " · "), "", "L", false)
	s.Ln(2)
	s.ink("B", 11)
	s.MultiCell(wide, 5.4, "Please make the following, to be here by "+day(b.NeedBy)+", and tell us the day you promise.", "", "L", false)
	for i, it := range b.Items {
		s.room(30)
		s.heading(fmt.Sprintf("%d. %d × %s", i+1, len(it.Pieces), it.Name))
		material := it.Material
		if m := cat.Material(it.Material); m != nil {
			material = m.Name
		}
		process := it.Process
		if x := cat.Process(it.Process); x != nil {
			process = x.Name
		}
		rows := [][2]string{{"process", process}, {"material", material}}
		if it.Finish != "" {
			rows = append(rows, [2]string{"finish", it.Finish})
		}
		rows = append(rows, [2]string{"our mark", it.Traveller + ", line of order " + it.OrderID}, [2]string{"file", "sha256 " + string(it.Digest)})
		for _, kv := range rows {
			s.quiet(9.5)
			s.CellFormat(34, 5.2, kv[0], "", 0, "L", false, 0, "")
			s.ink("", 9.5)
			s.MultiCell(wide-34, 5.2, kv[1], "", "L", false)
		}
		s.bullets(it.Notes)
	}
	s.heading("With the goods, please")
	s.bullets([]string{"Write the number " + b.ID + " and our mark on every bag, so that parts stay apart.", "Send the lot number of the material and what was measured, if anything was.", "Tell us at once when a part cannot be made as drawn; do not change it."})
	return s.bytes()
}

func nonEmpty(in ...string) []string {
	var out []string
	for _, x := range in {
		if x != "" {
			out = append(out, x)
		}
	}
	return out
}
