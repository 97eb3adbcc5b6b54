package paper

import (
	"context"
	"fmt"
	"strings"

	"firstoff/bureau/making"
)

// Traveller prints the route card that follows a batch of like parts: picture, QR of its page, material and settings, the pose and the
// slot in its build, the operations with room for a signature, notes and cautions.
func (p *Press) Traveller(ctx context.Context, c making.Card, address string) ([]byte, error) {
	cat, t := p.Catalogue(), c.Traveller
	s, err := newSheet("Traveller "+t.ID, cat.Firm.Name+" · traveller "+t.ID, t.Opened)
	if err != nil {
		return nil, err
	}
	code, err := square(address)
	if err != nil {
		return nil, err
	}
	s.picture("qr", code, right-32, 16, 32)
	s.SetTextColor(actRGB[0], actRGB[1], actRGB[2])
	s.SetFont("Desk", "B", 20)
	s.CellFormat(wide-36, 9, "Traveller "+t.ID, "", 1, "L", false, 0, "")
	s.ink("B", 13)
	s.MultiCell(wide-36, 6, fmt.Sprintf("%s, %d off", t.Name, len(t.Pieces)), "", "L", false)
	s.quiet(9)
	s.MultiCell(wide-36, 4.4, fmt.Sprintf("order %s, line %d · file sha256 %s\n%s", t.OrderID, t.Position, t.Digest.Short(), address), "", "L", false)
	s.SetY(max(s.GetY(), 50))
	s.heading("What and how")
	machine := t.Machine + t.Partner
	if m := cat.Machine(t.Machine); m != nil {
		machine = m.Name
	}
	material := t.Material
	if m := cat.Material(t.Material); m != nil {
		material = m.Name + " (" + m.ID + ")"
	}
	rows := [][2]string{{"promised", day(t.Promised)}, {"made on", machine}, {"material", material}}
	if t.Support != "" {
		rows = append(rows, [2]string{"support", t.Support})
	}
	if t.LayerMM > 0 {
		rows = append(rows, [2]string{"layer", fmt.Sprintf("%.3f mm", t.LayerMM)})
	}
	if t.InfillPct > 0 {
		rows = append(rows, [2]string{"infill", fmt.Sprintf("%.0f %%", t.InfillPct)})
	}
	rows = append(rows, [2]string{"pose", fmt.Sprintf("turned by quaternion %.4f %.4f %.4f %.4f (w x y z)", t.Pose[0], t.Pose[1], t.Pose[2], t.Pose[3])},
		[2]string{"a part weighs", fmt.Sprintf("about %.1f g", t.PartG)})
	if t.Finish != "" {
		rows = append(rows, [2]string{"finish", t.Finish})
	}
	if c.Model != "" {
		if img, err := p.Picture(ctx, c.Model); err == nil {
			s.picture(string(c.Model), img, right-52, s.GetY(), 52)
		}
	}
	for _, kv := range rows {
		s.quiet(9.5)
		s.CellFormat(34, 5.2, kv[0], "", 0, "L", false, 0, "")
		s.ink("", 9.5)
		s.CellFormat(wide-34, 5.2, kv[1], "", 1, "L", false, 0, "")
	}
	if err := p.place(ctx, s, t); err != nil {
		return nil, err
	}
	s.heading("Operations")
	for _, o := range t.Operations {
		s.room(16)
		y := s.GetY()
		s.SetDrawColor(inkRGB[0], inkRGB[1], inkRGB[2])
		s.Rect(left, y+1, 4, 4, "D")
		s.SetX(left + 7)
		s.ink("B", 10)
		s.CellFormat(wide-70, 6, fmt.Sprintf("%d. %s", o.No, o.Name), "", 0, "L", false, 0, "")
		s.quiet(8.5)
		s.CellFormat(63, 6, fmt.Sprintf("hands %.0f min, elapsed %.1f h", o.HandsS/60, o.ElapsedS/3600), "", 1, "R", false, 0, "")
		for _, k := range o.Cautions {
			s.SetX(left + 7)
			s.ink("I", 8.5)
			s.MultiCell(wide-7, 4, "Caution: "+k, "", "L", false)
		}
		s.SetX(left + 7)
		s.quiet(8.5)
		s.CellFormat(wide-7, 6, "good ______  scrap ______  lot ______________  by ______________  date ______________", "", 1, "L", false, 0, "")
		s.rule()
		s.Ln(1)
	}
	if len(t.Notes) > 0 {
		s.heading("Notes")
		s.bullets(t.Notes)
	}
	s.heading("Pieces")
	s.quiet(8)
	s.MultiCell(wide, 3.8, strings.Join(t.Pieces, "  "), "", "L", false)
	return s.bytes()
}
