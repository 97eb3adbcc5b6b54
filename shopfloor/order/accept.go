package order

import (
	"fmt"
	"time"

	"firstoff/desk/offer"
	"firstoff/desk/quote"
	"firstoff/fault"
)

// Accepting is what an order is made from.
type Accepting struct {
	ID        string
	Quotation quote.Quotation   // already accepted
	Choices   map[string]string // request line id → id of an alternative; absent: as chosen
	Reference string
	Who       string
	Now       time.Time
	// Days gives the date n business days after a request that is complete now. With it a promise made for the day of
	// issue is moved when the acceptance comes later; nil leaves the dates as quoted.
	Days func(n int) string
}

// Accept makes the order of an accepted quotation: each line with the option the client took, its pieces numbered.
//
// A promised date was computed as if accepted on the day of issue. Accepted later, a line is promised the same number of
// business days after the acceptance, never earlier than quoted.
// Faults: Conflict "quotation_state"; NotFound "option_unknown", "line_unknown".
func Accept(a Accepting) (Order, error) {
	q := a.Quotation
	if q.State != quote.Accepted {
		return Order{}, fault.New(fault.Conflict, "quotation_state", q.ID, "Only an accepted quotation becomes an order; this one is %s.", q.State)
	}
	known := map[string]bool{}
	for _, l := range q.Body.Lines {
		known[l.LineID] = true
	}
	for id := range a.Choices {
		if !known[id] {
			return Order{}, fault.New(fault.NotFound, "line_unknown", q.ID, "The quotation has no line %s; look at it again.", id)
		}
	}
	o := Order{
		ID: a.ID, QuotationID: q.ID, RequestID: q.RequestID, ClientID: q.ClientID, State: Accepted,
		Currency: q.Body.Currency, Digits: q.Body.Digits, Reference: a.Reference, AcceptedBy: a.Who, AcceptedAt: a.Now,
	}
	body := q.Body
	body.Lines = append([]quote.Line(nil), q.Body.Lines...)
	for i, l := range body.Lines {
		if id, ok := a.Choices[l.LineID]; ok && id != l.Choice.ID {
			if err := l.Take(offer.Table{Options: l.Alternatives}, id); err != nil {
				return Order{}, err
			}
			body.Lines[i] = l
		}
		ol := Line{
			LineID: l.LineID, Position: l.Position, Name: l.Name, Digest: l.Digest, Qty: l.Qty,
			Requirement: l.Requirement, Option: l.Choice, UnitPrice: l.UnitPrice, Total: l.Total, Promised: l.Promised,
		}
		if a.Days != nil {
			ol.Promised = max(l.Promised, a.Days(l.Choice.LeadDays))
		}
		for n := 1; n <= l.Qty; n++ {
			ol.Pieces = append(ol.Pieces, Piece{ID: fmt.Sprintf("%s-%d-%02d", a.ID, l.Position, n), State: Due})
		}
		o.Promised = max(o.Promised, ol.Promised)
		o.Lines = append(o.Lines, ol)
	}
	body.Sum()
	o.Sums, o.OrderMin = body.Sums, body.OrderMin
	o.Net, o.Total = body.Sums.Net, body.Sums.Total
	return o, nil
}

// Pieces counts what is to be made.
func (o Order) Pieces() int {
	n := 0
	for _, l := range o.Lines {
		n += len(l.Pieces)
	}
	return n
}
