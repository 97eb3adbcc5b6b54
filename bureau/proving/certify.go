package proving

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"firstoff/digest"
	"firstoff/fault"
	"firstoff/quality/certificate"
	"firstoff/quality/inspect"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/traveller"
)

// mostEvidence bounds what is looked at for one certificate.
const mostEvidence = 100_000

// Certify makes the certificate of conformity of what one delivery brought of one line, from the records alone: the order, the file, how
// it was made, builds and lots of every piece, what was measured, and the deviations the client agreed to. replaces is the number of a
// certificate it stands for, or empty.
// Faults: NotFound "delivery_unknown", "line_unknown"; Conflict "nothing_certified", "inspection_open", "inspection_missing" and those of certificate.Make.
func (h *House) Certify(ctx context.Context, who, role, orderID, deliveryID string, position int, replaces string) (Certificate, error) {
	var out Certificate
	err := h.again(ctx, func(ctx context.Context) error {
		o, err := h.p.Records.Order(ctx, orderID)
		if err != nil {
			return err
		}
		d := slices.IndexFunc(o.Deliveries, func(d order.Delivery) bool { return d.ID == deliveryID && d.Void == "" })
		if d < 0 {
			return fault.New(fault.NotFound, "delivery_unknown", deliveryID, "Order %s has no delivery %s.", o.ID, deliveryID)
		}
		i := slices.IndexFunc(o.Lines, func(l order.Line) bool { return l.Position == position })
		if i < 0 {
			return fault.New(fault.NotFound, "line_unknown", o.ID, "Order %s has no line %d.", o.ID, position)
		}
		l := o.Lines[i]
		var pieces []string
		for _, p := range l.Pieces {
			if slices.Contains(o.Deliveries[d].Pieces, p.ID) {
				pieces = append(pieces, p.ID)
			}
		}
		if len(pieces) == 0 {
			return fault.New(fault.Conflict, "nothing_certified", deliveryID, "Delivery %s brought nothing of line %d.", deliveryID, position)
		}
		c, raised, err := h.evidence(ctx, o, l, pieces)
		if err != nil {
			return err
		}
		c.Client, c.SignedBy, c.Role = h.client(ctx, o.ClientID), tidy(who), tidy(role)
		if out.ID, err = h.number(ctx, "K"); err != nil {
			return err
		}
		c.Number, c.At, c.Replaces = out.ID, h.now(), replaces
		if c, err = certificate.Make(c, raised); err != nil {
			return err
		}
		if replaces != "" {
			old, err := h.p.Records.Certificate(ctx, replaces)
			if err != nil {
				return err
			}
			if old.OrderID != o.ID {
				return fault.New(fault.Conflict, "certificate_other_order", replaces, "Certificate %s is of another order.", replaces)
			}
			old.Record.ReplacedBy = out.ID
			if err := h.p.Records.SaveCertificate(ctx, &old); err != nil {
				return err
			}
		}
		out.OrderID, out.Line, out.Pieces, out.Record = o.ID, position, pieces, certificate.Record{Certificate: c}
		if err := h.p.Records.AddCertificate(ctx, &out); err != nil {
			return err
		}
		return h.log(ctx, who, "certificate.issued", out.ID, o.ID, "", c)
	})
	return out, err
}

func (h *House) client(ctx context.Context, id string) string {
	names, err := h.p.Records.ClientNames(ctx, []string{id})
	if err != nil || names[id] == "" {
		return id
	}
	return names[id]
}

// evidence gathers what stands behind pieces of a line.
func (h *House) evidence(ctx context.Context, o order.Order, l order.Line, pieces []string) (certificate.Certificate, []inspect.Nonconformance, error) {
	cat := h.p.Catalogue()
	opt := l.Option
	c := certificate.Certificate{Issuer: cat.Firm.Name, Order: o.ID, ClientRef: o.Reference, Part: l.Name, Revision: o.QuotationID, File: l.Digest, Quantity: len(pieces), Serials: pieces, Process: opt.Process, Machine: opt.Machine + opt.Partner, Material: opt.Material}
	if p := cat.Process(opt.Process); p != nil {
		c.Process = p.Name + " (" + opt.Process + ")"
	}
	if m := cat.Material(opt.Material); m != nil {
		c.Material = m.Name
	}
	if opt.LayerMM > 0 {
		c.Settings = fmt.Sprintf("layer %g mm", opt.LayerMM)
		if opt.InfillPct > 0 && opt.InfillPct < 100 {
			c.Settings += fmt.Sprintf(", infill %g %%", opt.InfillPct)
		}
	}
	add := func(kind, number string, of any) error {
		b, err := json.Marshal(of)
		if err != nil {
			return err
		}
		c.Evidence = append(c.Evidence, certificate.Evidence{Kind: kind, Number: number, Digest: digest.Of(b)})
		return nil
	}
	if err := add("order", o.ID, []any{o.ID, o.QuotationID, l.LineID, l.Digest, l.Qty, l.Requirement, opt.ID}); err != nil {
		return c, nil, err
	}
	all, err := h.p.Records.TravellersOf(ctx, o.ID)
	if err != nil {
		return c, nil, err
	}
	var raised []inspect.Nonconformance
	for _, t := range all {
		if t.Position != l.Position {
			continue
		}
		card, err := h.p.Floor.Card(ctx, t.ID)
		if err != nil {
			return c, nil, err
		}
		if err := add("traveller", t.ID, card.Events); err != nil {
			return c, nil, err
		}
		for _, op := range t.Operations {
			if !op.Makes() && op.Code != "prepare" && op.Code != "pack" {
				c.Treatments = append(c.Treatments, op.Name)
			}
		}
		touches, _, err := h.p.Records.Trace(ctx, "traveller", t.ID, mostEvidence)
		if err != nil {
			return c, nil, err
		}
		builds := map[string][]traveller.Found{}
		for _, x := range touches {
			if x.Scrap || !slices.Contains(pieces, x.Number) {
				continue
			}
			if x.Lot != "" && !slices.Contains(c.Lots, x.Lot) {
				c.Lots = append(c.Lots, x.Lot)
			}
			if x.Build != "" {
				builds[x.Build] = append(builds[x.Build], x)
			}
		}
		for id, x := range builds {
			kind := "build"
			if strings.HasPrefix(id, "P-") {
				kind = "purchase"
			}
			if err := add(kind, id, x); err != nil {
				return c, nil, err
			}
			if kind == "purchase" && len(c.Lots) == 0 {
				c.Lots = append(c.Lots, "as delivered by "+opt.Partner+", "+id)
			}
		}
	}
	slices.Sort(c.Lots)
	records, err := h.p.Records.NonconformancesOf(ctx, o.ID)
	if err != nil {
		return c, nil, err
	}
	var mine []Nonconformance
	for _, n := range records {
		if slices.ContainsFunc(all, func(t traveller.Traveller) bool { return t.ID == n.Traveller && t.Position == l.Position }) {
			mine = append(mine, n)
		}
	}
	sheets, err := h.p.Records.SheetsOf(ctx, o.ID)
	if err != nil {
		return c, nil, err
	}
	for _, s := range sheets {
		if s.LineID != l.LineID {
			continue
		}
		es, err := h.events(ctx, s.ID)
		if err != nil {
			return c, nil, err
		}
		st := inspect.Fold(s, es)
		switch st.Word {
		case inspect.NotPlanned:
			continue
		case inspect.Planned, inspect.Measuring, inspect.NotDecided:
			return c, nil, fault.New(fault.Conflict, "inspection_open", s.ID, "Inspection %s is %s; end it before the parts are certified.", s.ID, st.Word)
		}
		if st.Word == inspect.LotRejected && !slices.ContainsFunc(mine, func(n Nonconformance) bool { return n.Traveller == s.Traveller }) {
			return c, nil, fault.New(fault.Conflict, "inspection_rejected", s.ID, "Inspection %s did not accept the lot; raise a nonconformance and decide on it first.", s.ID)
		}
		for _, x := range st.Characteristics {
			if x.Source != "" && !slices.Contains(c.Standards, x.Source) {
				c.Standards = append(c.Standards, x.Source)
			}
		}
		if err := add("inspection", s.ID, st.Results); err != nil {
			return c, nil, err
		}
	}
	for _, n := range mine {
		raised = append(raised, n.Is)
		if err := add("nonconformance", n.ID, n.Is); err != nil {
			return c, nil, err
		}
	}
	return c, raised, nil
}

// Certificate finds one; Certificates lists those of an order.
func (h *House) Certificate(ctx context.Context, id string) (Certificate, error) {
	return h.p.Records.Certificate(ctx, id)
}

// Certificates lists those of an order.
func (h *House) Certificates(ctx context.Context, orderID string) ([]Certificate, error) {
	return h.p.Records.CertificatesOf(ctx, orderID)
}

// WithdrawCertificate says that a certificate does not hold any more.
func (h *House) WithdrawCertificate(ctx context.Context, who, id, reason string) (Certificate, error) {
	var c Certificate
	reason = tidy(reason)
	if reason == "" {
		return c, fault.New(fault.Invalid, "reason_missing", "reason", "Say why it does not hold any more.")
	}
	err := h.again(ctx, func(ctx context.Context) (err error) {
		if c, err = h.p.Records.Certificate(ctx, id); err != nil {
			return err
		}
		c.Record.Withdrawn = reason
		if err := h.p.Records.SaveCertificate(ctx, &c); err != nil {
			return err
		}
		return h.log(ctx, who, "certificate.withdrawn", id, c.OrderID, reason, map[string]string{"number": id})
	})
	return c, err
}

// Verify answers whoever holds a printed certificate: number and code as on the paper. The record is given only for a code that fits, so
// that numbers cannot be read out one by one.
func (h *House) Verify(ctx context.Context, number, code string) (certificate.Answer, *certificate.Record, error) {
	number = strings.ToUpper(tidy(number))
	c, err := h.p.Records.Certificate(ctx, number)
	if err != nil {
		if fault.KindOf(err) == fault.NotFound {
			return certificate.Unknown, nil, nil
		}
		return "", nil, err
	}
	a := certificate.Verify(number, code, &c.Record)
	if a == certificate.Unknown || a == certificate.Altered {
		return a, nil, nil
	}
	return a, &c.Record, nil
}
