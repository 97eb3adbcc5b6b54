package bureau

import (
	"context"
	"io"
	"slices"
	"time"

	"firstoff/desk/quote"
	"firstoff/desk/request"
	"firstoff/digest"
	"firstoff/fault"
	"firstoff/shopfloor/order"
)

// follow finds what a link leads to: the issued revisions of its quotation number, first to last.
// Fault: NotFound "link_unknown", the same for every token that is not good.
func (b *Bureau) follow(ctx context.Context, token string) ([]quote.Quotation, error) {
	unknown := fault.New(fault.NotFound, "link_unknown", "", "This link is not known; check that it was copied whole, or ask the sender for a new one.")
	if len(token) < 16 || len(token) > 64 {
		return nil, unknown
	}
	number, err := b.p.Records.Link(ctx, digest.Of([]byte(token)))
	if missing(err) {
		return nil, unknown
	}
	if err != nil {
		return nil, err
	}
	all, err := b.p.Records.Revisions(ctx, number)
	if err != nil {
		return nil, err
	}
	all = slices.DeleteFunc(all, func(q quote.Quotation) bool { return q.Issued.IsZero() })
	if len(all) == 0 {
		return nil, unknown
	}
	return all, nil
}

// ClientView is what the client sees: the latest revision that was sent, without the desk's own costs and reasons.
func (b *Bureau) ClientView(ctx context.Context, token string) (ClientView, error) {
	all, err := b.follow(ctx, token)
	if err != nil {
		return ClientView{}, err
	}
	today, err := b.today()
	if err != nil {
		return ClientView{}, err
	}
	firm := b.p.Catalogue().Firm
	q := all[len(all)-1]
	q.State = q.On(today)
	v := ClientView{
		MayDecide: q.State == quote.Issued, WhyNot: whyNot(q, firm.Phone),
		FirmName: firm.Name, FirmEmail: firm.Email, FirmPhone: firm.Phone, FailClause: firm.FailClause,
	}
	for _, r := range all {
		v.Revisions = append(v.Revisions, r.ID)
	}
	if v.Promised, err = b.promised(q); err != nil {
		return v, err
	}
	if v.Messages, err = b.p.Records.Messages(ctx, q.RequestID); err != nil {
		return v, err
	}
	orders, err := b.p.Records.OrdersOf(ctx, q.RequestID)
	if err != nil {
		return v, err
	}
	for _, o := range orders {
		if o.QuotationID == q.ID {
			o := forClient(o)
			v.Order = &o
		}
	}
	v.Quotation = q.ForClient()
	return v, nil
}

func whyNot(q quote.Quotation, phone string) string {
	switch q.State {
	case quote.Issued:
		return ""
	case quote.Accepted:
		return "You have accepted this quotation; thank you."
	case quote.Declined:
		return "You have declined this quotation."
	case quote.Expired:
		return "This quotation was valid until " + q.Body.ValidUntil + "; ask below for a new one."
	}
	s := "This quotation is not open any more; ask below for a new one"
	if phone != "" {
		s += " or call " + phone
	}
	return s + "."
}

// forClient is an order without what is the desk's own.
func forClient(o order.Order) order.Order {
	o.Lines = slices.Clone(o.Lines)
	for i := range o.Lines {
		o.Lines[i].Option = quote.Public(o.Lines[i].Option)
	}
	o.Deliveries = slices.Clone(o.Deliveries)
	for i := range o.Deliveries {
		o.Deliveries[i].Who, o.Deliveries[i].Note = "", ""
	}
	o.Changes = nil
	return o
}

// promised is the date the whole quotation would be ready if accepted now.
func (b *Bureau) promised(q quote.Quotation) (string, error) {
	days, err := b.daysFromNow()
	if err != nil {
		return "", err
	}
	date := ""
	for _, l := range q.Body.Lines {
		date = max(date, l.Promised, days(l.Choice.LeadDays))
	}
	return date, nil
}

// daysFromNow gives the date n business days after a request that is complete now.
func (b *Bureau) daysFromNow() (func(n int) string, error) {
	c, err := b.days()
	if err != nil {
		return nil, err
	}
	now := b.now()
	return func(n int) string { return c.ShipDay(now, n).Format(time.DateOnly) }, nil
}

// ClientModel reads the model of a quoted line for the viewer. Fault: NotFound "model_missing".
func (b *Bureau) ClientModel(ctx context.Context, token, lineID string) (io.ReadSeekCloser, error) {
	all, err := b.follow(ctx, token)
	if err != nil {
		return nil, err
	}
	for _, q := range all {
		for _, l := range q.Body.Lines {
			if l.LineID == lineID && l.Viewer != "" {
				return b.p.Blobs.Open(ctx, l.Viewer)
			}
		}
	}
	return nil, fault.New(fault.NotFound, "model_missing", lineID, "There is no model to show for this part.")
}

// ClientAsk keeps a client's question.
func (b *Bureau) ClientAsk(ctx context.Context, token, name, text string) (request.Message, error) {
	all, err := b.follow(ctx, token)
	if err != nil {
		return request.Message{}, err
	}
	return b.say(ctx, all[len(all)-1], request.FromClient, name, text)
}

// ClientAccept takes the client's yes and makes the order. Saying it twice gives the same order.
// Faults: Conflict "quotation_moved" when a later revision has been sent, "quotation_expired", "quotation_state";
// NotFound "option_unknown", "line_unknown"; Invalid "name_missing".
func (b *Bureau) ClientAccept(ctx context.Context, token string, a Acceptance) (order.Order, error) {
	var o order.Order
	name, err := tidy("name", a.Name, 200)
	if err != nil {
		return o, err
	}
	if name == "" {
		return o, fault.New(fault.Invalid, "name_missing", "name", "Say who accepts.")
	}
	reference, err := tidy("reference", a.Reference, 200)
	if err != nil {
		return o, err
	}
	today, err := b.today()
	if err != nil {
		return o, err
	}
	days, err := b.daysFromNow()
	if err != nil {
		return o, err
	}
	err = b.p.Records.InTx(ctx, func(ctx context.Context) error {
		q, all, err := b.onScreen(ctx, token, a.Quotation)
		if err != nil {
			return err
		}
		if q.State == quote.Accepted {
			o, err = b.orderOf(ctx, q)
			return err
		}
		if q, err = q.Accept(name, today, b.now()); err != nil {
			return err
		}
		id, err := b.number(ctx, "O")
		if err != nil {
			return err
		}
		sent := b.now()
		if b.sentToday(q, sent) {
			days = nil // the dates were computed for acceptance on this day
		}
		o, err = order.Accept(order.Accepting{ID: id, Quotation: q, Choices: a.Choices, Reference: reference, Who: name, Now: sent, Days: days})
		if err != nil {
			return err
		}
		if err := b.p.Records.SaveQuotation(ctx, &q); err != nil {
			return err
		}
		if err := b.p.Records.AddOrder(ctx, &o); err != nil {
			return err
		}
		if err := b.dropDrafts(ctx, all, o.ID); err != nil {
			return err
		}
		if err := b.close(ctx, q.RequestID, request.Won, ""); err != nil {
			return err
		}
		if err := b.note(ctx, whose(request.FromClient, name), "quotation.accepted", q.ID, q.RequestID, string(quote.Issued), string(quote.Accepted), ""); err != nil {
			return err
		}
		return b.note(ctx, whose(request.FromClient, name), "order.accepted", o.ID, q.RequestID, nil, o.Promised, "")
	})
	if err != nil {
		return order.Order{}, err
	}
	return forClient(o), nil
}

// sentToday says whether now is on the receipt day the dates were computed for: the day of issue, before its cut-off if it
// was issued before, and so on.
func (b *Bureau) sentToday(q quote.Quotation, now time.Time) bool {
	c, err := b.days()
	return err == nil && c.Received(q.Body.MadeFrom.Now).Equal(c.Received(now))
}

// onScreen finds the revision the client decided on, which must be the latest that was sent.
func (b *Bureau) onScreen(ctx context.Context, token, id string) (quote.Quotation, []quote.Quotation, error) {
	sent, err := b.follow(ctx, token)
	if err != nil {
		return quote.Quotation{}, nil, err
	}
	q := sent[len(sent)-1]
	if id != "" && id != q.ID {
		return q, nil, fault.New(fault.Conflict, "quotation_moved", id, "A newer revision, %s, has been sent meanwhile; look at that one before you decide.", q.ID)
	}
	all, err := b.p.Records.Revisions(ctx, q.Number)
	return q, all, err
}

func (b *Bureau) orderOf(ctx context.Context, q quote.Quotation) (order.Order, error) {
	found, err := b.p.Records.OrdersOf(ctx, q.RequestID)
	if err != nil {
		return order.Order{}, err
	}
	for _, o := range found {
		if o.QuotationID == q.ID {
			return o, nil
		}
	}
	return order.Order{}, fault.New(fault.Internal, "order_missing", q.ID, "This quotation was accepted, but its order is not found; run the doctor.")
}

// dropDrafts withdraws drafts of later revisions once an earlier one was accepted.
func (b *Bureau) dropDrafts(ctx context.Context, all []quote.Quotation, why string) error {
	for _, d := range all {
		if d.State != quote.Draft {
			continue
		}
		d, err := d.Withdraw("desk", "an earlier revision was accepted as "+why, b.now())
		if err != nil {
			return err
		}
		if err := b.p.Records.SaveQuotation(ctx, &d); err != nil {
			return err
		}
	}
	return nil
}

func (b *Bureau) close(ctx context.Context, requestID string, to request.State, reason string) error {
	r, err := b.p.Records.Request(ctx, requestID)
	if err != nil {
		return err
	}
	r.State, r.Reason = to, reason
	return b.p.Records.SaveRequest(ctx, &r)
}

// ClientDecline takes the client's no; the request counts as lost.
// Faults: as ClientAccept.
func (b *Bureau) ClientDecline(ctx context.Context, token, quotationID, name, reason string) (quote.Quotation, error) {
	var q quote.Quotation
	name, err := tidy("name", name, 200)
	if err != nil {
		return q, err
	}
	if reason, err = tidy("reason", reason, 2000); err != nil {
		return q, err
	}
	today, err := b.today()
	if err != nil {
		return q, err
	}
	err = b.p.Records.InTx(ctx, func(ctx context.Context) error {
		var err error
		if q, _, err = b.onScreen(ctx, token, quotationID); err != nil {
			return err
		}
		if q.State == quote.Declined {
			return nil
		}
		if q, err = q.Decline(name, reason, today, b.now()); err != nil {
			return err
		}
		if err := b.p.Records.SaveQuotation(ctx, &q); err != nil {
			return err
		}
		if err := b.close(ctx, q.RequestID, request.Lost, reason); err != nil {
			return err
		}
		return b.note(ctx, whose(request.FromClient, name), "quotation.declined", q.ID, q.RequestID, string(quote.Issued), string(quote.Declined), reason)
	})
	return q.ForClient(), err
}
