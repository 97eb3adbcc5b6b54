package bureau

import (
	"context"
	"encoding/base64"
	"io"
	"slices"
	"strings"

	"firstoff/desk/offer"
	"firstoff/desk/quote"
	"firstoff/desk/request"
	"firstoff/digest"
	"firstoff/fault"
)

// quotationIssued is the event that names the digest a quotation was frozen under.
const quotationIssued = "quotation.issued"

// drafting gathers a request's lines with their options as of now. It computes what is not known yet, so it runs
// outside any transaction. old is what a person decided on before, or nil.
func (b *Bureau) drafting(ctx context.Context, requestID string, old *quote.Body) (quote.Drafting, map[string]offer.Table, error) {
	d := quote.Drafting{Firm: b.p.Catalogue().Firm, Now: b.now()}
	tables := map[string]offer.Table{}
	var left []string
	if old != nil {
		left = old.Left
	}
	var err error
	if d.Request, err = b.live(ctx, requestID); err != nil {
		return d, nil, err
	}
	if d.Client, err = b.p.Records.Client(ctx, d.Request.ClientID); err != nil {
		return d, nil, err
	}
	if d.Today, err = b.today(); err != nil {
		return d, nil, err
	}
	files, err := b.p.Records.Files(ctx, requestID)
	if err != nil {
		return d, nil, err
	}
	by := map[string]request.File{}
	for _, f := range files {
		by[f.ID] = f
	}
	lines, err := b.p.Records.Lines(ctx, requestID)
	if err != nil {
		return d, nil, err
	}
	for _, l := range lines {
		f := by[l.FileID]
		if l.Aside || l.Facts.Digest == "" || slices.Contains(left, l.ID) {
			continue
		}
		if !f.State.Done() {
			return d, nil, fault.New(fault.Conflict, "file_busy", f.ID, "%s is being analysed; wait until it is done.", f.Name)
		}
		o, err := b.Options(ctx, l.ID, Override{})
		if err != nil {
			return d, nil, err
		}
		if len(d.Lines) == 0 || o.MadeFrom.Now.Before(d.MadeFrom.Now) {
			d.MadeFrom = o.MadeFrom // the oldest counts for how long the dates are good
		}
		tables[l.ID] = o.Table
		d.Lines = append(d.Lines, quote.Priced{Line: o.Line, FileName: f.Name, Unit: f.Unit.Taken(), Table: o.Table})
	}
	return d, tables, b.together(ctx, &d, by, tables, old)
}

// DraftQuotation drafts the next revision of the request's quotation from its lines as they stand: each with its chosen
// option or the desk's pick.
// Faults: Conflict "draft_exists", naming it; Conflict "request_closed", "file_busy", "nothing_to_quote", "line_without_option".
func (b *Bureau) DraftQuotation(ctx context.Context, who, requestID string) (quote.Quotation, error) {
	return b.draft(ctx, who, requestID, nil)
}

// ReviseQuotation drafts the next revision from an earlier one: computed anew, with what a person decided on it kept.
func (b *Bureau) ReviseQuotation(ctx context.Context, who, quotationID string) (quote.Quotation, error) {
	old, err := b.p.Records.Quotation(ctx, quotationID)
	if err != nil {
		return old, err
	}
	return b.draft(ctx, who, old.RequestID, &old.Body)
}

func (b *Bureau) draft(ctx context.Context, who, requestID string, old *quote.Body) (quote.Quotation, error) {
	var q quote.Quotation
	if _, err := b.noDraft(ctx, requestID); err != nil { // before computing
		return q, err
	}
	d, tables, err := b.drafting(ctx, requestID, old)
	if err != nil {
		return q, err
	}
	err = b.p.Records.InTx(ctx, func(ctx context.Context) error {
		last, err := b.noDraft(ctx, requestID)
		if err != nil {
			return err
		}
		what := "quotation.drafted"
		d.Number, d.Revision = last.Number, quote.Next(last.Revision)
		if d.Number == "" {
			d.Revision = "A"
			if d.Number, err = b.number(ctx, "Q"); err != nil {
				return err
			}
		} else {
			what = "quotation.revised"
		}
		if q, err = quote.Make(d); err != nil {
			return err
		}
		if old != nil {
			q.Body.Keep(*old, tables)
		}
		if err := b.p.Records.AddQuotation(ctx, &q); err != nil {
			return err
		}
		return b.note(ctx, who, what, q.ID, requestID, last.ID, q.Body.Sums, "")
	})
	return q, err
}

// noDraft finds the newest quotation of a request and makes sure that it is no draft. Without any it is zero.
func (b *Bureau) noDraft(ctx context.Context, requestID string) (quote.Quotation, error) {
	all, _, err := b.p.Records.Quotations(ctx, requestID, nil, 0, 1)
	if err != nil || len(all) == 0 {
		return quote.Quotation{}, err
	}
	if all[0].State == quote.Draft {
		return all[0], fault.New(fault.Conflict, "draft_exists", all[0].ID, "There is a draft of this quotation already; go on with that one or withdraw it.")
	}
	return all[0], nil
}

// RefreshDraft computes a draft anew from today's load, prices and lines, keeping what a person decided on it.
// Fault: Conflict "quotation_state".
func (b *Bureau) RefreshDraft(ctx context.Context, who, quotationID string) (quote.Quotation, error) {
	old, err := b.p.Records.Quotation(ctx, quotationID)
	if err != nil {
		return old, err
	}
	d, tables, err := b.drafting(ctx, old.RequestID, &old.Body)
	if err != nil {
		return old, err
	}
	return b.change(ctx, who, "quotation.refreshed", quotationID, old.Version, func(q *quote.Quotation) error {
		d.Number, d.Revision = q.Number, q.Revision
		fresh, err := quote.Make(d)
		if err != nil {
			return err
		}
		fresh.Body.Keep(q.Body, tables)
		q.Body = fresh.Body
		return nil
	})
}

// change alters a draft. Fault: Conflict "quotation_state".
func (b *Bureau) change(ctx context.Context, who, what, id string, version int, do func(q *quote.Quotation) error) (quote.Quotation, error) {
	var q quote.Quotation
	err := b.p.Records.InTx(ctx, func(ctx context.Context) (err error) {
		if q, err = b.p.Records.Quotation(ctx, id); err != nil {
			return err
		}
		if err := seen(q.ID, version, q.Version); err != nil {
			return err
		}
		if q.State != quote.Draft {
			return fault.New(fault.Conflict, "quotation_state", id, "This quotation is %s and cannot be changed; make a new revision.", q.State)
		}
		was, set := q.Body.Sums, map[string]*quote.SetPrice{}
		for _, l := range q.Body.Lines {
			set[l.LineID] = l.Set
		}
		if err := do(&q); err != nil {
			return err
		}
		q.Body.Sum()
		if err := b.p.Records.SaveQuotation(ctx, &q); err != nil {
			return err
		}
		var why []string // of prices a person set, so that the trail says it even after they are undone
		for _, l := range q.Body.Lines {
			if l.Set != nil && l.Set != set[l.LineID] {
				why = append(why, l.Name+": "+l.Set.Why)
			}
		}
		return b.note(ctx, who, what, q.ID, q.RequestID, was, q.Body.Sums, strings.Join(why, "; "))
	})
	return q, err
}

// ChangeDraft changes a draft: note, terms, validity, shipping, and per line the option, alternatives or a price set by a person.
// Faults: Conflict "quotation_state"; NotFound "option_unknown", "line_unknown"; Invalid "price_reason", "price_range",
// "valid_until", "too_many_alternatives", "text_too_long".
func (b *Bureau) ChangeDraft(ctx context.Context, who, quotationID string, version int, c DraftChange) (quote.Quotation, error) {
	today, err := b.today()
	if err != nil {
		return quote.Quotation{}, err
	}
	// Tables of the lines concerned, before the transaction: they may have to be computed.
	tables := map[string]offer.Table{}
	for id, l := range c.Lines {
		if l.Option == "" && l.Alternatives == nil && !l.TakeBack {
			continue
		}
		o, err := b.Options(ctx, id, Override{})
		if missing(err) {
			err = fault.New(fault.NotFound, "line_unknown", quotationID, "The quotation has no line %s; look at it again.", id)
		}
		if err != nil {
			return quote.Quotation{}, err
		}
		tables[id] = o.Table
	}
	back := false
	q, err := b.change(ctx, who, "quotation.changed", quotationID, version, func(q *quote.Quotation) error {
		if err := b.changeTop(q, c, today); err != nil {
			return err
		}
		for _, id := range sorted(c.Lines) {
			w, err := b.changeLine(q, id, c.Lines[id], tables[id], who)
			if err != nil {
				return err
			}
			back = back || w || len(q.Body.Lines) > 1 && c.Lines[id].Option != "" || len(q.Body.Lines) > 0 && c.Lines[id].Leave
		}
		return nil
	})
	if err == nil && back { // a line taken back comes in with today's numbers; other work changes the other lines' dates
		return b.RefreshDraft(ctx, who, quotationID)
	}
	return q, err
}

func sorted(m map[string]DraftLine) []string {
	ids := make([]string, 0, len(m))
	for id := range m {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	return ids
}

func (b *Bureau) changeTop(q *quote.Quotation, c DraftChange, today string) (err error) {
	if c.Note != nil {
		if q.Body.Note, err = tidy("note", *c.Note, 10_000); err != nil {
			return err
		}
	}
	if c.Terms != nil {
		terms := []string{}
		for _, t := range *c.Terms {
			if t, err = tidy("terms", t, 2000); err != nil {
				return err
			}
			if t != "" {
				terms = append(terms, t)
			}
		}
		q.Body.Terms = terms
	}
	if c.ValidUntil != nil {
		if err := quote.CheckValidity(*c.ValidUntil, today); err != nil {
			return err
		}
		q.Body.ValidUntil = *c.ValidUntil
	}
	if c.Shipping != nil {
		if *c.Shipping < 0 || *c.Shipping > 1e12 {
			return fault.New(fault.Invalid, "price_range", "shipping", "That price for sending is not possible.")
		}
		q.Body.Sums.Shipping = *c.Shipping
	}
	return nil
}

// changeLine applies one line's change; back says that a line left out is to come in again.
func (b *Bureau) changeLine(q *quote.Quotation, id string, c DraftLine, t offer.Table, who string) (back bool, err error) {
	if c.TakeBack {
		n := len(q.Body.Left)
		q.Body.Left = slices.DeleteFunc(q.Body.Left, func(x string) bool { return x == id })
		return len(q.Body.Left) < n, nil
	}
	i := slices.IndexFunc(q.Body.Lines, func(l quote.Line) bool { return l.LineID == id })
	if i < 0 {
		return false, fault.New(fault.NotFound, "line_unknown", q.ID, "The quotation has no line %s; look at it again.", id)
	}
	if c.Leave {
		q.Body.Lines = slices.Delete(q.Body.Lines, i, i+1)
		for k := range q.Body.Lines {
			q.Body.Lines[k].Position = k + 1
		}
		q.Body.Left = append(q.Body.Left, id)
		return false, nil
	}
	l := &q.Body.Lines[i]
	if c.Option != "" && c.Option != l.Choice.ID {
		if err := l.Take(t, c.Option); err != nil {
			return false, err
		}
	}
	if c.Alternatives != nil {
		if err := l.Show(t, *c.Alternatives); err != nil {
			return false, err
		}
	}
	if c.UnitPrice != nil {
		why, err := tidy("why", c.Why, 1000)
		if err != nil {
			return false, err
		}
		if err := l.Ask(*c.UnitPrice, who, why, b.now()); err != nil {
			return false, err
		}
	}
	if c.Computed {
		l.AsComputed()
	}
	return false, nil
}

// IssueQuotation freezes a draft, makes it the client's to decide on, and gives a token for their link. An earlier
// issued revision is superseded.
// Faults: Conflict "unit_open" while a unit question of a quoted file is not answered; "file_busy"; "draft_outdated" when
// a line has been changed since; those of quote.Issue.
func (b *Bureau) IssueQuotation(ctx context.Context, who, quotationID string, version int) (q quote.Quotation, token string, err error) {
	token, hash, err := b.token()
	if err != nil {
		return q, "", err
	}
	today, err := b.today()
	if err != nil {
		return q, "", err
	}
	err = b.p.Records.InTx(ctx, func(ctx context.Context) (err error) {
		if q, err = b.p.Records.Quotation(ctx, quotationID); err != nil {
			return err
		}
		if err := seen(q.ID, version, q.Version); err != nil {
			return err
		}
		if err := b.asQuoted(ctx, q); err != nil {
			return err
		}
		load, err := b.Load(ctx)
		if err != nil {
			return err
		}
		if q, err = q.Issue(today, b.now(), load.Revision); err != nil {
			return err
		}
		if err := b.supersede(ctx, q); err != nil {
			return err
		}
		if err := b.p.Records.SaveQuotation(ctx, &q); err != nil {
			return err
		}
		if err := b.p.Records.AddLink(ctx, hash, q.Number, b.now()); err != nil {
			return err
		}
		r, err := b.live(ctx, q.RequestID)
		if err != nil {
			return err
		}
		if r.State != request.Quoted {
			r.State = request.Quoted
			if err := b.p.Records.SaveRequest(ctx, &r); err != nil {
				return err
			}
		}
		return b.note(ctx, who, quotationIssued, q.ID, q.RequestID, nil, string(q.Frozen), "")
	})
	if err != nil {
		token = ""
	}
	return q, token, err
}

// asQuoted makes sure that a draft still is what its request says.
func (b *Bureau) asQuoted(ctx context.Context, q quote.Quotation) error {
	lines, err := b.p.Records.Lines(ctx, q.RequestID)
	if err != nil {
		return err
	}
	by := map[string]request.Line{}
	for _, l := range lines {
		by[l.ID] = l
	}
	for _, l := range q.Body.Lines {
		r, ok := by[l.LineID]
		if !ok || r.Aside || !l.Of(r) {
			return fault.New(fault.Conflict, "draft_outdated", q.ID, "%s has been changed since this draft was made; compute the draft again.", l.Name)
		}
		f, err := b.p.Records.File(ctx, r.FileID)
		if err != nil {
			return err
		}
		if !f.State.Done() {
			return fault.New(fault.Conflict, "file_busy", f.ID, "%s is being analysed; wait until it is done.", f.Name)
		}
		if f.Unit.Open() {
			return fault.New(fault.Conflict, "unit_open", f.ID, "Confirm first in which unit %s was drawn: %s", f.Name, f.Unit.Question)
		}
	}
	return nil
}

func (b *Bureau) supersede(ctx context.Context, by quote.Quotation) error {
	all, err := b.p.Records.Revisions(ctx, by.Number)
	if err != nil {
		return err
	}
	for _, old := range all {
		if old.ID == by.ID || old.State != quote.Issued {
			continue
		}
		old = old.Supersede(by.ID, b.now())
		if err := b.p.Records.SaveQuotation(ctx, &old); err != nil {
			return err
		}
	}
	return nil
}

// token makes 128 random bits for a client's link, and the hash that is kept. Only who was given the link can follow it;
// a copy of the records does not open it.
func (b *Bureau) token() (string, digest.Digest, error) {
	var t [16]byte
	if _, err := io.ReadFull(b.p.Random, t[:]); err != nil {
		return "", "", err
	}
	s := base64.RawURLEncoding.EncodeToString(t[:])
	return s, digest.Of([]byte(s)), nil
}

// ClientLink makes one more link for the quotation's number. Earlier ones stay good.
// Fault: Conflict "quotation_state" for a draft that was never issued.
func (b *Bureau) ClientLink(ctx context.Context, who, quotationID string) (string, error) {
	token, hash, err := b.token()
	if err != nil {
		return "", err
	}
	err = b.p.Records.InTx(ctx, func(ctx context.Context) error {
		q, err := b.p.Records.Quotation(ctx, quotationID)
		if err != nil {
			return err
		}
		if q.Issued.IsZero() {
			return fault.New(fault.Conflict, "quotation_state", q.ID, "This quotation has not been issued yet, so there is nothing to show the client.")
		}
		if err := b.p.Records.AddLink(ctx, hash, q.Number, b.now()); err != nil {
			return err
		}
		return b.note(ctx, who, "quotation.link", q.ID, q.RequestID, nil, nil, "")
	})
	if err != nil {
		return "", err
	}
	return token, nil
}

// WithdrawQuotation takes a draft or an issued quotation back. If no other is out, the request goes back to analysed.
// Fault: Conflict "quotation_state".
func (b *Bureau) WithdrawQuotation(ctx context.Context, who, quotationID, reason string) (quote.Quotation, error) {
	var q quote.Quotation
	reason, err := tidy("reason", reason, 1000)
	if err != nil {
		return q, err
	}
	err = b.p.Records.InTx(ctx, func(ctx context.Context) (err error) {
		if q, err = b.p.Records.Quotation(ctx, quotationID); err != nil {
			return err
		}
		was := q.State
		if q, err = q.Withdraw(who, reason, b.now()); err != nil {
			return err
		}
		if err := b.p.Records.SaveQuotation(ctx, &q); err != nil {
			return err
		}
		if was == quote.Issued {
			if err := b.unquote(ctx, q.RequestID); err != nil {
				return err
			}
		}
		return b.note(ctx, who, "quotation.withdrawn", q.ID, q.RequestID, string(was), string(q.State), reason)
	})
	return q, err
}

// unquote takes a request back from quoted when none of its quotations is out any more.
func (b *Bureau) unquote(ctx context.Context, requestID string) error {
	r, err := b.p.Records.Request(ctx, requestID)
	if err != nil || r.State != request.Quoted {
		return err
	}
	_, out, err := b.p.Records.Quotations(ctx, requestID, []string{string(quote.Issued)}, 0, 1)
	if err != nil || out > 0 {
		return err
	}
	files, err := b.p.Records.Files(ctx, requestID)
	if err != nil {
		return err
	}
	r.State = request.Settle(request.Open, files)
	return b.p.Records.SaveRequest(ctx, &r)
}

// Quotation finds a quotation by number and revision, with its state as of today.
func (b *Bureau) Quotation(ctx context.Context, id string) (quote.Quotation, error) {
	q, err := b.p.Records.Quotation(ctx, id)
	if err != nil {
		return q, err
	}
	today, err := b.today()
	q.State = q.On(today)
	return q, err
}

// Quotations lists quotations, newest first.
func (b *Bureau) Quotations(ctx context.Context, f Filter) (Listing[quote.Quotation], error) {
	var out Listing[quote.Quotation]
	out.Offset, out.Limit = f.page()
	today, err := b.today()
	if err != nil {
		return out, err
	}
	out.Items, out.Total, err = b.p.Records.Quotations(ctx, "", f.States, out.Offset, out.Limit)
	for i := range out.Items {
		out.Items[i].State = out.Items[i].On(today)
	}
	return out, err
}

// AnswerClient replies to the client under a quotation; the questions asked under its number count as answered.
// Fault: Invalid "text_empty", "text_too_long".
func (b *Bureau) AnswerClient(ctx context.Context, who, quotationID, text string) (request.Message, error) {
	q, err := b.p.Records.Quotation(ctx, quotationID)
	if err != nil {
		return request.Message{}, err
	}
	return b.say(ctx, q, request.FromDesk, who, text)
}

// say keeps a message.
func (b *Bureau) say(ctx context.Context, q quote.Quotation, from request.Author, name, text string) (request.Message, error) {
	var m request.Message
	text, err := tidy("text", text, 4000)
	if err != nil {
		return m, err
	}
	if text == "" {
		return m, fault.New(fault.Invalid, "text_empty", "text", "Write something first.")
	}
	if name, err = tidy("name", name, 200); err != nil {
		return m, err
	}
	err = b.p.Records.InTx(ctx, func(ctx context.Context) error {
		before, err := b.p.Records.Messages(ctx, q.RequestID)
		if err != nil {
			return err
		}
		if len(before) >= mostMessages {
			return fault.New(fault.TooLarge, "too_many_messages", q.ID, "There are %d messages already; please call instead.", len(before))
		}
		id, err := b.number(ctx, "M")
		if err != nil {
			return err
		}
		m = request.Message{ID: id, RequestID: q.RequestID, Quotation: q.ID, From: from, Name: name, Text: text, At: b.now()}
		if err := b.p.Records.AddMessage(ctx, &m); err != nil {
			return err
		}
		if from == request.FromDesk {
			for _, old := range before {
				if old.From == request.FromClient && !old.Answered {
					old.Answered = true
					if err := b.p.Records.SaveMessage(ctx, &old); err != nil {
						return err
					}
				}
			}
		}
		return b.note(ctx, whose(from, name), "message."+string(from), q.ID, q.RequestID, nil, text, "")
	})
	return m, err
}

// mostMessages bounds what one link can write.
const mostMessages = 500

// whose marks in the trail what a client did as the client's, whatever name they typed.
func whose(from request.Author, name string) string {
	if from == request.FromClient {
		return "client: " + name
	}
	return name
}
