// Package ubl writes quotations and orders as documents of the OASIS Universal Business Language 2.4, so that a client's purchasing
// system reads what the desk sent. Money is written in units of the currency, days as xsd:date, quantities in pieces (UN/ECE
// Recommendation 20 code C62).
//
// Promises: every document is valid against the OASIS schemas (TestValid); amounts add up to the cent and are those of the
// record (TestSums). Not here: reading of such documents, invoices (the shop's books write those).
package ubl

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"strconv"
	"time"

	"firstoff/desk/offer"
	"firstoff/desk/quote"
	"firstoff/money"
	"firstoff/part"
	"firstoff/shop"
	"firstoff/shopfloor/order"
)

const (
	nsQuotation = "urn:oasis:names:specification:ubl:schema:xsd:Quotation-2"
	nsOrder     = "urn:oasis:names:specification:ubl:schema:xsd:Order-2"
	nsAggregate = "urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2"
	nsBasic     = "urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2"
	pieces      = "C62"
)

// el is an element: what it holds is text or others. Empty ones are not written.
type el struct {
	name  string
	attrs []string // name, value, …
	text  string
	kids  []el
}

func b(name, text string, attrs ...string) el {
	return el{name: "cbc:" + name, text: text, attrs: attrs}
}
func a(name string, kids ...el) el { return el{name: "cac:" + name, kids: kids} }

func (e el) empty() bool {
	if e.text != "" {
		return false
	}
	for _, k := range e.kids {
		if !k.empty() {
			return false
		}
	}
	return true
}

func (e el) write(w *bytes.Buffer, depth int) {
	if e.empty() {
		return
	}
	indent := func() {
		w.WriteByte('\n')
		for range depth {
			w.WriteString("  ")
		}
	}
	indent()
	w.WriteString("<" + e.name)
	for i := 0; i+1 < len(e.attrs); i += 2 {
		w.WriteString(" " + e.attrs[i] + `="`)
		_ = xml.EscapeText(w, []byte(e.attrs[i+1]))
		w.WriteString(`"`)
	}
	w.WriteString(">")
	_ = xml.EscapeText(w, []byte(e.text))
	for _, k := range e.kids {
		k.write(w, depth+1)
	}
	if e.text == "" {
		indent()
	}
	w.WriteString("</" + e.name + ">")
}

func document(root, ns string, kids ...el) []byte {
	var w bytes.Buffer
	w.WriteString(`<?xml version="1.0" encoding="UTF-8"?>`)
	el{name: root, attrs: []string{"xmlns", ns, "xmlns:cac", nsAggregate, "xmlns:cbc", nsBasic}, kids: kids}.write(&w, 0)
	w.WriteByte('\n')
	return w.Bytes()
}

// cash writes amounts of one currency.
type cash struct {
	currency string
	digits   int
}

func (c cash) amount(name string, v money.Amount) el {
	return b(name, money.Decimal(v, c.digits), "currencyID", c.currency)
}

func each(names string, values []string) []el {
	var out []el
	for _, v := range values {
		out = append(out, b(names, v))
	}
	return out
}

func percent(p float64) string { return strconv.FormatFloat(p, 'f', -1, 64) }

// party is a firm with its address as it is written on letters, and its contact.
func party(name string, address []string, contact, phone, mail string) el {
	var lines []el
	for _, l := range address {
		lines = append(lines, a("AddressLine", b("Line", l)))
	}
	return a("Party", a("PartyName", b("Name", name)), a("PostalAddress", lines...), a("Contact", b("Name", contact), b("Telephone", phone), b("ElectronicMail", mail)))
}

// charges are what is added to the lines.
func (c cash) charges(s quote.Sums, cancelled money.Amount) []el {
	var out []el
	for _, x := range []struct {
		why string
		v   money.Amount
	}{{"for cancelled pieces: work done and material used", cancelled}, {"up to the minimum of an order", s.Minimum}, {"shipping", s.Shipping}} {
		if x.v != 0 {
			out = append(out, a("AllowanceCharge", b("ChargeIndicator", "true"), b("AllowanceChargeReason", x.why), c.amount("Amount", x.v)))
		}
	}
	return out
}

func (c cash) tax(s quote.Sums) el {
	name := s.TaxName
	if name == "" {
		name = "tax"
	}
	return a("TaxTotal", c.amount("TaxAmount", s.Tax), a("TaxSubtotal", c.amount("TaxableAmount", s.Net), c.amount("TaxAmount", s.Tax), b("Percent", percent(s.TaxPct)),
		a("TaxCategory", b("Name", name), b("Percent", percent(s.TaxPct)), a("TaxScheme", b("Name", name)))))
}

// total says what is to be paid; lines is the sum of the lines, the rest are charges.
func (c cash) total(name string, s quote.Sums, lines money.Amount) el {
	return a(name, c.amount("LineExtensionAmount", lines), c.amount("TaxExclusiveAmount", s.Net), c.amount("TaxInclusiveAmount", s.Total),
		c.amount("ChargeTotalAmount", s.Net-lines), c.amount("PayableAmount", s.Total))
}

// item is one line: how many of what, made how, by when, at which price.
func (c cash) item(name, id string, qty int, unit, sum money.Amount, part part.Requirement, o offer.Option, cat *shop.Catalogue, what, file, promised string) el {
	kids := []el{b("ID", id), b("Quantity", strconv.Itoa(qty), "unitCode", pieces), c.amount("LineExtensionAmount", sum)}
	if promised != "" {
		kids = append(kids, a("Delivery", a("PromisedDeliveryPeriod", b("EndDate", promised))))
	}
	process, material := o.Process, o.Material
	if p := cat.Process(o.Process); p != nil {
		process = p.Name
	}
	if m := cat.Material(o.Material); m != nil {
		material = m.Name
	}
	it := []el{b("Description", fmt.Sprintf("%s, %s in %s", what, process, material)), b("Name", what)}
	if file != "" {
		it = append(it, a("ItemSpecificationDocumentReference", b("ID", "sha256:"+file), b("DocumentType", "the client's model file")))
	}
	for _, p := range [][2]string{{"process", process}, {"material", material}, {"support", o.Support}, {"layer height in mm", num(o.LayerMM)}, {"infill in percent", num(o.InfillPct)}, {"finish", part.Finish}, {"tolerance in mm", num(part.ToleranceMM)}} {
		if p[1] != "" {
			it = append(it, a("AdditionalItemProperty", b("Name", p[0]), b("Value", p[1])))
		}
	}
	kids = append(kids, a("Price", c.amount("PriceAmount", unit), b("BaseQuantity", "1", "unitCode", pieces)), a("Item", it...))
	return a(name, kids...)
}

func num(v float64) string {
	if v == 0 {
		return ""
	}
	return strconv.FormatFloat(v, 'g', 6, 64)
}

// Quotation writes an issued quotation with its alternatives. loc is the shop's time zone.
func Quotation(q quote.Quotation, cat *shop.Catalogue, loc *time.Location) []byte {
	body, f := q.Body, cat.Firm
	c := cash{body.Currency, body.Digits}
	at := q.Issued
	if at.IsZero() {
		at = q.Created
	}
	kids := []el{b("UBLVersionID", "2.4"), b("ID", q.ID), b("IssueDate", at.In(loc).Format(time.DateOnly))}
	kids = append(kids, each("Note", append([]string{body.Note}, append(append([]string{}, body.Terms...), body.Assumptions...)...))...)
	kids = append(kids, b("PricingCurrencyCode", body.Currency), b("LineCountNumeric", strconv.Itoa(len(body.Lines))))
	if body.ValidUntil != "" {
		kids = append(kids, a("ValidityPeriod", b("EndDate", body.ValidUntil)))
	}
	kids = append(kids, a("RequestForQuotationDocumentReference", b("ID", q.RequestID)),
		a("SellerSupplierParty", party(f.Name, f.Address, "", f.Phone, f.Email)),
		a("BuyerCustomerParty", b("SupplierAssignedAccountID", q.ClientID), party(firm(body.To, q.ClientID), body.To.Address, body.To.Contact, "", body.To.Email)))
	kids = append(kids, c.charges(body.Sums, 0)...)
	kids = append(kids, c.tax(body.Sums), c.total("QuotedMonetaryTotal", body.Sums, body.Sums.Goods))
	for _, l := range body.Lines {
		id := strconv.Itoa(l.Position)
		line := []el{b("ID", id), b("Quantity", strconv.Itoa(l.Qty), "unitCode", pieces), c.amount("LineExtensionAmount", l.Total),
			c.item("LineItem", id, l.Qty, l.UnitPrice, l.Total, l.Requirement, l.Choice, cat, l.Name, string(l.Digest), l.Promised)}
		for i, o := range l.Alternatives {
			line = append(line, c.item("AlternativeLineItem", fmt.Sprintf("%s.%d", id, i+1), l.Qty, o.UnitPrice, o.Total, l.Requirement, o, cat, l.Name, string(l.Digest), o.P90))
		}
		kids = append(kids, a("QuotationLine", line...))
	}
	return document("Quotation", nsQuotation, kids...)
}

func firm(to quote.Addressee, id string) string {
	for _, s := range []string{to.Firm, to.Contact, id} {
		if s != "" {
			return s
		}
	}
	return "client"
}

// Order writes an order as it stands: pieces that were cancelled or written off are no longer in its lines; what is charged for them
// is a charge. to is the client as on the quotation.
func Order(o order.Order, to quote.Addressee, cat *shop.Catalogue, loc *time.Location) []byte {
	f := cat.Firm
	c := cash{o.Currency, o.Digits}
	s := o.Sums
	if s == (quote.Sums{}) { // kept before sums were
		s.Net, s.Total, s.Tax = o.Net, o.Total, o.Total-o.Net
		if o.Net > 0 {
			s.TaxPct = float64(s.Tax) / float64(o.Net) * 100
		}
		for _, l := range o.Lines {
			s.Goods += l.Total
		}
		s.Minimum = s.Net - s.Goods
	}
	kids := []el{b("UBLVersionID", "2.4"), b("ID", o.ID), b("SalesOrderID", o.ID), b("IssueDate", o.AcceptedAt.In(loc).Format(time.DateOnly)), b("DocumentCurrencyCode", o.Currency), b("CustomerReference", o.Reference)}
	var lines []el
	var charged, sum money.Amount
	for _, l := range o.Lines {
		charged += l.Charged
		n := len(l.Pieces) - len(l.In(order.PieceCancelled)) - len(l.In(order.WrittenOff))
		v := l.UnitPrice * money.Amount(n)
		sum += v
		if n == 0 && len(o.Lines) > 1 {
			continue
		}
		lines = append(lines, a("OrderLine", c.item("LineItem", strconv.Itoa(l.Position), n, l.UnitPrice, v, l.Requirement, l.Option, cat, l.Name, string(l.Digest), l.Promised)))
	}
	if len(lines) == 0 && len(o.Lines) > 0 { // all cancelled: a document has a line all the same
		l := o.Lines[0]
		lines = append(lines, a("OrderLine", c.item("LineItem", strconv.Itoa(l.Position), 0, l.UnitPrice, 0, l.Requirement, l.Option, cat, l.Name, string(l.Digest), l.Promised)))
	}
	kids = append(kids, b("LineCountNumeric", strconv.Itoa(len(lines))), a("QuotationDocumentReference", b("ID", o.QuotationID)),
		a("BuyerCustomerParty", b("SupplierAssignedAccountID", o.ClientID), party(firm(to, o.ClientID), to.Address, to.Contact, "", to.Email)),
		a("SellerSupplierParty", party(f.Name, f.Address, "", f.Phone, f.Email)))
	kids = append(kids, c.charges(s, charged)...)
	kids = append(kids, c.tax(s), c.total("AnticipatedMonetaryTotal", s, sum))
	kids = append(kids, lines...)
	return document("Order", nsOrder, kids...)
}
