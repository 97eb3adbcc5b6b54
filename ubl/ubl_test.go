package ubl

import (
	"encoding/xml"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"firstoff/checks"
	"firstoff/demo"
	"firstoff/desk/offer"
	"firstoff/desk/quote"
	"firstoff/digest"
	"firstoff/part"
	"firstoff/shopfloor/order"
)

func quoted() quote.Quotation {
	a := offer.Option{ID: "a", Process: "MEX", Machine: "heron", Material: "ABS", Support: "SR", LayerMM: 0.254, InfillPct: 100, UnitPrice: 1250, Total: 3750, P90: "2031-03-10"}
	b := a
	b.ID, b.UnitPrice, b.Total = "b", 1100, 3300
	q := quote.Quotation{ID: "Q-1001-A", Number: "Q-1001", Revision: "A", RequestID: "R-1001", ClientID: "C-1001", State: quote.Accepted,
		Created: time.Date(2031, 3, 3, 23, 30, 0, 0, time.UTC), Body: quote.Body{Currency: "EUR", Digits: 2, ValidUntil: "2031-04-02", Note: "a < b & \"c\" \x01 ü", Terms: []string{"30 days net."},
			To: quote.Addressee{Firm: "Müller & Töchter <Ltd>", Contact: "Ada", Email: "ada@example.org", Address: []string{"1 Mill Lane", "Somewhere"}}, OrderMin: 5000,
			Sums: quote.Sums{Shipping: 890, TaxName: "VAT", TaxPct: 19.5},
			Lines: []quote.Line{{LineID: "L-1", Position: 1, Name: "bracket", Digest: digest.Of([]byte("x")), Qty: 3, Requirement: part.Requirement{Finish: "sanded", ToleranceMM: 0.2}, Choice: a, UnitPrice: 1250, Total: 3750, Promised: "2031-03-10", Alternatives: []offer.Option{b}},
				{LineID: "L-2", Position: 2, Name: "lid", Qty: 1, Choice: b, UnitPrice: 450, Total: 450, Promised: "2031-03-11"}}}}
	q.Body.Sum()
	return q
}

func ordered(t *testing.T) order.Order {
	t.Helper()
	o, err := order.Accept(order.Accepting{ID: "O-1001", Quotation: quoted(), Reference: "PO 17 & 18", Now: time.Date(2031, 3, 4, 9, 0, 0, 0, time.UTC)})
	if err != nil {
		t.Fatal(err)
	}
	return o
}

// TestValid holds the documents against the OASIS schemas of UBL 2.4 with libxml2's validator.
func TestValid(t *testing.T) {
	if _, err := exec.LookPath("xmllint"); err != nil {
		checks.Missing(t, "xmllint (Debian: libxml2-utils)")
	}
	dir := checks.Path(t, "docs/open/ubl/xsd-2.4/maindoc")
	cat := demo.Shop()
	valid := func(name, schema string, doc []byte) {
		t.Helper()
		file := filepath.Join(t.TempDir(), name+".xml")
		if err := os.WriteFile(file, doc, 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command("xmllint", "--noout", "--nonet", "--schema", filepath.Join(dir, schema), file).CombinedOutput()
		if err != nil {
			t.Errorf("%s: %v\n%s\n%s", name, err, out, doc)
		}
	}
	q := quoted()
	valid("quotation", "UBL-Quotation-2.4.xsd", Quotation(q, cat, time.UTC))
	q.Body.Lines[0].Choice, q.Body.To = offer.Option{}, quote.Addressee{}
	q.Body.Digits, q.Body.Currency = 0, "JPY"
	valid("bare", "UBL-Quotation-2.4.xsd", Quotation(q, cat, time.UTC))
	o := ordered(t)
	valid("order", "UBL-Order-2.4.xsd", Order(o, q.Body.To, cat, time.UTC))
	less, _, err := o.Cancel(order.Cancelling{Pieces: []string{"O-1001-1-03"}, Progress: map[string]float64{"O-1001-1-03": 0.5}, Reason: "x"})
	if err != nil {
		t.Fatal(err)
	}
	valid("less", "UBL-Order-2.4.xsd", Order(less, q.Body.To, cat, time.UTC))
	none, _, err := o.Cancel(order.Cancelling{Reason: "x"})
	if err != nil {
		t.Fatal(err)
	}
	valid("none", "UBL-Order-2.4.xsd", Order(none, q.Body.To, cat, time.UTC))
	// The validator does say no.
	bad := strings.Replace(string(Order(o, q.Body.To, cat, time.UTC)), "<cbc:ID>O-1001</cbc:ID>", "", 1)
	file := filepath.Join(t.TempDir(), "bad.xml")
	if err := os.WriteFile(file, []byte(bad), 0o600); err != nil {
		t.Fatal(err)
	}
	if exec.Command("xmllint", "--noout", "--nonet", "--schema", filepath.Join(dir, "UBL-Order-2.4.xsd"), file).Run() == nil {
		t.Error("a document without its number is valid")
	}
}

func TestSums(t *testing.T) {
	type amounts struct {
		Lines    []string `xml:"OrderLine>LineItem>LineExtensionAmount"`
		Charges  []string `xml:"AllowanceCharge>Amount"`
		LineSum  string   `xml:"AnticipatedMonetaryTotal>LineExtensionAmount"`
		Net      string   `xml:"AnticipatedMonetaryTotal>TaxExclusiveAmount"`
		Payable  string   `xml:"AnticipatedMonetaryTotal>PayableAmount"`
		Tax      string   `xml:"TaxTotal>TaxAmount"`
		Quantity []string `xml:"OrderLine>LineItem>Quantity"`
	}
	o := ordered(t)
	// 37.50 + 4.50, up to 50.00, and 8.90: 58.90 net, 19.5 % of it 11.49.
	o, _, err := o.Cancel(order.Cancelling{Pieces: []string{"O-1001-1-03"}, Progress: map[string]float64{"O-1001-1-03": 0.5}, Reason: "x"})
	if err != nil {
		t.Fatal(err)
	}
	var got amounts
	if err := xml.Unmarshal(Order(o, quote.Addressee{Firm: "x"}, demo.Shop(), time.UTC), &got); err != nil {
		t.Fatal(err)
	}
	// Two of three stay (25.00), 4.50 more; 6.25 charged, 8.00 to the minimum as before, 8.90 shipping: 52.65 net.
	if strings.Join(got.Lines, " ") != "25.00 4.50" || strings.Join(got.Charges, " ") != "6.25 8.00 8.90" || got.LineSum != "29.50" || got.Net != "52.65" || got.Tax != "10.27" || got.Payable != "62.92" || strings.Join(got.Quantity, " ") != "2 1" {
		t.Errorf("%+v", got)
	}
}
