package paper

import (
	"bytes"
	"context"
	"fmt"
	"image/png"
	"strings"

	"github.com/boombuler/barcode"
	"github.com/boombuler/barcode/qr"

	"firstoff/bureau/proving"
	"firstoff/fault"
	"firstoff/quality/inspect"
	"firstoff/shopfloor/order"
)

// square is a text as QR code, 300 px.
func square(text string) ([]byte, error) {
	code, err := qr.Encode(text, qr.M, qr.Auto)
	if err == nil {
		code, err = barcode.Scale(code, 300, 300)
	}
	var b bytes.Buffer
	if err == nil {
		err = png.Encode(&b, code)
	}
	if err != nil {
		return nil, fault.Because(err, fault.Internal, "paper", "", "The code could not be printed.")
	}
	return b.Bytes(), nil
}

func (s *sheet) rows(rows [][2]string) {
	for _, kv := range rows {
		if kv[1] == "" {
			continue
		}
		s.room(8)
		y := s.GetY()
		s.quiet(9.5)
		s.CellFormat(38, 5.2, kv[0], "", 0, "L", false, 0, "")
		s.ink("", 9.5)
		s.SetXY(left+38, y)
		s.MultiCell(wide-38, 5.2, kv[1], "", "L", false)
	}
}

func (s *sheet) title(text string, w float64) {
	s.SetTextColor(actRGB[0], actRGB[1], actRGB[2])
	s.SetFont("Desk", "B", 20)
	s.MultiCell(w, 9, text, "", "L", false)
}

// Certificate prints a certificate of conformity; address is where its QR leads, to see whether it is genuine.
func (p *Press) Certificate(_ context.Context, c proving.Certificate, address string) ([]byte, error) {
	x, cat := c.Record.Certificate, p.Catalogue()
	s, err := newSheet("Certificate "+x.Number, x.Issuer+" · certificate "+x.Number+" · code "+x.Code(), x.At)
	if err != nil {
		return nil, err
	}
	code, err := square(address)
	if err != nil {
		return nil, err
	}
	s.picture("qr", code, right-32, 16, 32)
	s.title("Certificate of conformity "+x.Number, wide-36)
	s.quiet(9)
	s.MultiCell(wide-36, 4.6, strings.Join(append([]string{x.Issuer}, cat.Firm.Address...), ", "), "", "L", false)
	s.ink("", 9)
	s.MultiCell(wide-36, 4.6, "Code "+x.Code()+". Whoever scans the square, or writes number and code at "+strings.SplitN(address, "/verify", 2)[0]+"/verify, sees whether this paper is genuine, unchanged and still holds.", "", "L", false)
	if c.Record.Withdrawn != "" || c.Record.ReplacedBy != "" {
		s.ink("B", 12)
		s.MultiCell(wide, 6, "This certificate does not hold any more: "+strings.TrimSpace(c.Record.Withdrawn+" "+replaced(c)), "", "L", false)
	}
	s.SetY(max(s.GetY(), 52))
	s.heading("For")
	s.rows([][2]string{{"client", x.Client}, {"their order", x.ClientRef}, {"our order", x.Order + ", quotation " + x.Revision}, {"part", fmt.Sprintf("%d × %s", x.Quantity, x.Part)}, {"pieces", strings.Join(x.Serials, "  ")}, {"the client's file", "SHA-256 " + string(x.File)}})
	s.heading("Made")
	s.rows([][2]string{{"process", x.Process}, {"machine or partner", x.Machine}, {"settings", x.Settings}, {"material", x.Material}, {"lots", strings.Join(x.Lots, ", ")}, {"treated", strings.Join(x.Treatments, ", ")}, {"tolerances by", strings.Join(x.Standards, ", ")}})
	if len(x.Deviations) > 0 {
		s.heading("Deviations, to which the client agreed")
		for _, d := range x.Deviations {
			s.rows([][2]string{{d.Number, fmt.Sprintf("%d: %s; concession %s", d.Quantity, d.Text, d.Concession)}})
		}
	}
	s.heading("Evidence, kept with us")
	for _, e := range x.Evidence {
		s.room(5)
		s.ink("", 8.5)
		s.CellFormat(38, 4.4, e.Kind+" "+e.Number, "", 0, "L", false, 0, "")
		s.SetFont("Mono", "", 7)
		s.CellFormat(wide-38, 4.4, string(e.Digest), "", 1, "L", false, 0, "")
	}
	s.room(36)
	s.Ln(4)
	s.ink("B", 11)
	s.MultiCell(wide, 5.6, x.Statement, "", "L", false)
	s.Ln(3)
	s.ink("", 10)
	who := x.SignedBy
	if x.Role != "" {
		who += ", " + x.Role
	}
	s.MultiCell(wide, 5.2, x.At.Format("2 January 2006")+"  "+who, "", "L", false)
	if x.Replaces != "" {
		s.quiet(9)
		s.MultiCell(wide, 4.6, "It stands for certificate "+x.Replaces+".", "", "L", false)
	}
	s.quiet(7.5)
	s.SetFont("Mono", "", 7)
	s.MultiCell(wide, 4, "seal "+string(x.Seal), "", "L", false)
	return s.bytes()
}

func replaced(c proving.Certificate) string {
	if c.Record.ReplacedBy == "" {
		return ""
	}
	return "see " + c.Record.ReplacedBy
}

// FirstArticle prints an inspection: what was measured on which pieces, and what it says.
func (p *Press) FirstArticle(_ context.Context, c proving.SheetCard) ([]byte, error) {
	st := c.Standing
	s, err := newSheet("Inspection "+c.Sheet.ID, p.Catalogue().Firm.Name+" · inspection "+c.Sheet.ID, c.Sheet.Made)
	if err != nil {
		return nil, err
	}
	what := "Inspection report "
	if len(c.Sheet.Pieces) == 1 || len(st.Sample) == 1 {
		what = "First article report "
	}
	s.title(what+c.Sheet.ID, wide)
	s.rows([][2]string{{"part", c.Sheet.Name}, {"traveller", c.Sheet.Traveller + ", order " + c.Sheet.OrderID}, {"lot", fmt.Sprintf("%d pieces, %d measured", len(c.Sheet.Pieces), len(st.Sample))}, {"result", st.Word}, {"planned by", st.Planner}, {"approved by", st.ApprovedBy}})
	for _, x := range st.Plans {
		s.quiet(9)
		s.MultiCell(wide, 4.4, x.Says(), "", "L", false)
	}
	if len(st.Characteristics) == 0 {
		s.ink("", 10)
		s.MultiCell(wide, 5, "Nothing was planned to be measured yet.", "", "L", false)
	}
	for _, k := range st.Characteristics {
		s.heading(fmt.Sprintf("%d. %s, %s %s", k.Balloon, k.Name, k.Limits, k.Unit))
		s.quiet(8.5)
		s.MultiCell(wide, 4.2, strings.Join(nonEmpty(string(k.Kind), string(k.Designator), fmt.Sprintf("nominal %g %s", k.Nominal, k.Unit), k.Source, k.Note), " · "), "", "L", false)
		any := false
		for _, j := range st.Verdict.Judged {
			if j.Balloon != k.Balloon {
				continue
			}
			any = true
			s.room(5)
			s.ink("", 9)
			if j.Decision == inspect.Reject {
				s.ink("B", 9)
			}
			s.CellFormat(44, 4.6, j.Piece, "", 0, "L", false, 0, "")
			place := ""
			if k.Places > 1 {
				place = fmt.Sprintf("%d of %d", j.Place, k.Places)
			}
			s.CellFormat(18, 4.6, place, "", 0, "L", false, 0, "")
			s.CellFormat(26, 4.6, fmt.Sprintf("%.6g %s", j.Value, k.Unit), "", 0, "R", false, 0, "")
			s.CellFormat(24, 4.6, fmt.Sprintf("u %.2g", j.U), "", 0, "R", false, 0, "")
			s.CellFormat(30, 4.6, string(j.Decision), "", 0, "L", false, 0, "")
			s.CellFormat(wide-142, 4.6, strings.Join(nonEmpty(j.Instrument, j.By), ", "), "", 1, "L", false, 0, "")
		}
		if !any {
			s.ink("I", 9)
			s.CellFormat(wide, 4.6, "not measured yet", "", 1, "L", false, 0, "")
		}
	}
	if len(c.Raised) > 0 {
		s.heading("Nonconformances")
		for _, n := range c.Raised {
			s.rows([][2]string{{n.ID, n.Is.Requirement + ": " + n.Is.Found + " (" + n.Is.State() + ")"}})
		}
	}
	s.room(16)
	s.Ln(3)
	s.quiet(8)
	s.MultiCell(wide, 4, "A value proves conformity within the limits drawn in by 1.65 standard uncertainties u, nonconformity outside the limits widened by it; between, nothing is proved (ISO 14253-1).", "", "L", false)
	return s.bytes()
}

// PackingList prints what goes with a delivery; to is the address, a line each.
func (p *Press) PackingList(_ context.Context, o order.Order, d order.Delivery, to string) ([]byte, error) {
	cat := p.Catalogue()
	s, err := newSheet("Packing list "+d.ID, cat.Firm.Name+" · packing list "+d.ID, d.At)
	if err != nil {
		return nil, err
	}
	s.title("Packing list "+d.ID, wide)
	s.quiet(9)
	s.MultiCell(wide, 4.6, strings.Join(append([]string{cat.Firm.Name}, cat.Firm.Address...), ", "), "", "L", false)
	s.Ln(3)
	s.ink("", 11)
	s.MultiCell(wide, 5.4, to, "", "L", false)
	s.Ln(2)
	s.rows([][2]string{{"our order", o.ID}, {"your order", o.Reference}, {"sent", d.At.Format("2 January 2006")}, {"carrier", strings.TrimSpace(d.Carrier + " " + d.Reference)}, {"note", d.Note}})
	s.heading("Contents")
	for _, l := range o.Lines {
		here, before, all := 0, 0, 0
		var ids []string
		for _, q := range l.Pieces {
			if q.State == order.PieceCancelled || q.State == order.WrittenOff {
				continue
			}
			all++
			switch {
			case q.Delivery == d.ID:
				here++
				ids = append(ids, q.ID)
			case q.State == order.PieceDelivered:
				before++
			}
		}
		if here == 0 {
			continue
		}
		s.room(14)
		s.ink("B", 10.5)
		s.CellFormat(wide-50, 5.6, fmt.Sprintf("%d × %s", here, l.Name), "", 0, "L", false, 0, "")
		s.ink("", 9.5)
		rest := fmt.Sprintf("of %d", all)
		if before > 0 {
			rest += fmt.Sprintf(", %d in other deliveries", before)
		}
		s.CellFormat(50, 5.6, rest, "", 1, "R", false, 0, "")
		s.quiet(8)
		s.MultiCell(wide, 3.8, strings.Join(ids, "  "), "", "L", false)
	}
	s.Ln(4)
	s.ink("", 9.5)
	s.MultiCell(wide, 4.8, "Please count at once and tell us what is missing or damaged.", "", "L", false)
	return s.bytes()
}

// Labels prints one label for each line of a delivery, eight on a sheet of A4 (105 × 74 mm).
func (p *Press) Labels(_ context.Context, o order.Order, d order.Delivery, to, address string) ([]byte, error) {
	cat := p.Catalogue()
	s, err := newSheet("Labels "+d.ID, cat.Firm.Name+" · labels "+d.ID, d.At)
	if err != nil {
		return nil, err
	}
	s.SetAutoPageBreak(false, 0)
	s.SetFooterFunc(func() {})
	n := 0
	firm, _, _ := strings.Cut(to, "\n")
	for _, l := range o.Lines {
		var ids []string
		for _, q := range l.Pieces {
			if q.Delivery == d.ID {
				ids = append(ids, q.ID)
			}
		}
		if len(ids) == 0 {
			continue
		}
		if n > 0 && n%8 == 0 {
			s.AddPage()
		}
		x, y := float64(n%2)*105, float64(n%8/2)*74
		code, err := square(address + "#" + ids[0])
		if err != nil {
			return nil, err
		}
		s.picture(fmt.Sprintf("qr%d", n), code, x+75, y+8, 24)
		s.SetXY(x+7, y+8)
		s.ink("B", 12)
		s.MultiCell(66, 5.4, fmt.Sprintf("%d × %s", len(ids), l.Name), "", "L", false)
		line := func(size float64, text string) {
			s.SetX(x + 7)
			s.ink("", size)
			s.MultiCell(66, size*0.45, text, "", "L", false)
		}
		line(9, "order "+o.ID+", line "+fmt.Sprint(l.Position)+", "+d.ID)
		if o.Reference != "" {
			line(9, "your order "+o.Reference)
		}
		material := l.Option.Material
		if m := cat.Material(material); m != nil {
			material = m.Name
		}
		line(9, material)
		line(8, ids[0]+" … "+ids[len(ids)-1])
		line(9, firm)
		s.SetXY(x+7, y+64)
		s.quiet(8)
		s.CellFormat(90, 4, cat.Firm.Name, "", 0, "L", false, 0, "")
		n++
	}
	if n == 0 {
		s.ink("", 11)
		s.SetXY(left, 20)
		s.CellFormat(wide, 6, "Nothing of this delivery is out any more.", "", 1, "L", false, 0, "")
	}
	return s.bytes()
}
