package bureau

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"firstoff/desk/quote"
	"firstoff/desk/request"
	"firstoff/shopfloor/order"
)

// soon is how many days before its end a quotation's validity is brought to the desk's attention.
const soon = 3

// Overview is today's ledger: everything that needs a decision, the oldest promise first, then what has waited longest.
func (b *Bureau) Overview(ctx context.Context) (Overview, error) {
	l := ledger{b: b, requests: map[string]request.Request{}, names: map[string]string{}}
	l.out.Now = b.now()
	l.out.Entries = []Entry{}
	var err error
	if l.today, err = b.today(); err != nil {
		return l.out, err
	}
	for _, write := range []func(context.Context) error{l.live, l.files, l.questions, l.quotations, l.orders, l.name} {
		if err := write(ctx); err != nil {
			return l.out, err
		}
	}
	slices.SortStableFunc(l.out.Entries, func(x, y Entry) int {
		if (x.Due == "") != (y.Due == "") {
			if x.Due == "" {
				return 1
			}
			return -1
		}
		return cmp.Or(cmp.Compare(x.Due, y.Due), x.Since.Compare(y.Since), cmp.Compare(x.About, y.About))
	})
	return l.out, nil
}

// ledger is an overview being written.
type ledger struct {
	b        *Bureau
	today    string
	requests map[string]request.Request
	names    map[string]string
	drafted  map[string]bool
	out      Overview
}

func (l *ledger) add(e Entry) {
	e.Late = e.Due != "" && e.Due < l.today
	l.out.Entries = append(l.out.Entries, e)
}

// live reads the requests that are being worked on; those all of whose files are done want a quotation.
func (l *ledger) live(ctx context.Context) error {
	found, _, err := l.b.p.Records.Requests(ctx, []string{string(request.Open), string(request.Analysed), string(request.Quoted)}, "", 0, 500)
	if err != nil {
		return err
	}
	for _, r := range found {
		l.requests[r.ID] = r
		switch r.State {
		case request.Open:
			l.out.Counts.OpenRequests++
		case request.Analysed:
			l.out.Counts.AnalysedRequests++
		}
	}
	return nil
}

func (l *ledger) files(ctx context.Context) error {
	asking, err := l.b.p.Records.FilesAsking(ctx)
	if err != nil {
		return err
	}
	for _, f := range asking {
		l.add(Entry{Kind: "unit", About: f.ID, RequestID: f.RequestID, Title: f.Name, Since: f.Received, Due: l.requests[f.RequestID].NeedBy,
			Sentence: "Confirm the unit: " + f.Unit.Question})
	}
	failed, err := l.b.p.Records.FilesFailed(ctx)
	if err != nil {
		return err
	}
	for _, f := range failed {
		sentence := "The file could not be analysed."
		if f.Problem != nil {
			sentence = f.Problem.Message
		}
		l.add(Entry{Kind: "failed", About: f.ID, RequestID: f.RequestID, Title: f.Name, Since: f.Received, Due: l.requests[f.RequestID].NeedBy, Sentence: sentence})
	}
	unfinished, err := l.b.p.Records.UnfinishedFiles(ctx)
	l.out.Counts.Analysing = len(unfinished)
	return err
}

func (l *ledger) questions(ctx context.Context) error {
	open, err := l.b.p.Records.OpenQuestions(ctx)
	for _, m := range open {
		l.add(Entry{Kind: "question", About: m.Quotation, RequestID: m.RequestID, Title: m.Text, Since: m.At,
			Sentence: m.Name + " asks about " + m.Quotation + "; answer under the quotation."})
	}
	return err
}

func (l *ledger) quotations(ctx context.Context) error {
	l.drafted = map[string]bool{}
	found, _, err := l.b.p.Records.Quotations(ctx, "", []string{string(quote.Draft), string(quote.Issued)}, 0, 500)
	if err != nil {
		return err
	}
	edge := l.today
	if t, err := time.Parse(time.DateOnly, l.today); err == nil {
		edge = t.AddDate(0, 0, soon).Format(time.DateOnly)
	}
	for _, q := range found {
		if q.State == quote.Draft {
			l.drafted[q.RequestID] = true
			l.add(Entry{Kind: "issue", About: q.ID, RequestID: q.RequestID, Title: l.requests[q.RequestID].Title, Since: q.Created, Due: l.requests[q.RequestID].NeedBy,
				Sentence: "Look over the draft " + q.ID + " and send it."})
			continue
		}
		l.out.Counts.IssuedQuotations++
		l.out.Counts.IssuedTotal += q.Body.Sums.Total
		switch {
		case q.On(l.today) == quote.Expired:
			l.add(Entry{Kind: "expiring", About: q.ID, RequestID: q.RequestID, Title: l.requests[q.RequestID].Title, Since: q.Issued, Due: q.Body.ValidUntil,
				Sentence: "No answer came before its validity ended; revise it or close the request."})
		case q.Body.ValidUntil <= edge:
			l.add(Entry{Kind: "expiring", About: q.ID, RequestID: q.RequestID, Title: l.requests[q.RequestID].Title, Since: q.Issued, Due: q.Body.ValidUntil,
				Sentence: "Valid until " + q.Body.ValidUntil + " and not answered; ask the client."})
		}
	}
	for _, r := range l.requests {
		if r.State == request.Analysed && !l.drafted[r.ID] {
			l.add(Entry{Kind: "quote", About: r.ID, RequestID: r.ID, Title: r.Title, Since: r.Received, Due: r.NeedBy, Sentence: "Choose the options and draft a quotation."})
		}
	}
	return nil
}

func (l *ledger) orders(ctx context.Context) error {
	open, total, err := l.b.p.Records.Orders(ctx, []string{string(order.Accepted), string(order.InWork)}, 0, 500)
	if err != nil {
		return err
	}
	l.out.Counts.OpenOrders = total
	for _, o := range open {
		l.out.Counts.OpenOrdersTotal += o.Total
		title := o.ID
		if len(o.Lines) > 0 {
			title = o.Lines[0].Name
			if len(o.Lines) > 1 {
				title += fmt.Sprintf(" and %d more", len(o.Lines)-1)
			}
		}
		l.add(Entry{Kind: "order", About: o.ID, RequestID: o.RequestID, Title: title, Since: o.AcceptedAt, Due: o.Promised,
			Sentence: fmt.Sprintf("%d pieces promised for %s.", o.Pieces(), o.Promised)})
	}
	return nil
}

// name puts the clients' names in.
func (l *ledger) name(ctx context.Context) error {
	var ids []string
	for _, e := range l.out.Entries {
		if _, ok := l.requests[e.RequestID]; !ok { // an order's request is closed, so not among the live ones
			r, err := l.b.p.Records.Request(ctx, e.RequestID)
			if err != nil {
				return err
			}
			l.requests[e.RequestID] = r
		}
		ids = append(ids, l.requests[e.RequestID].ClientID)
	}
	slices.Sort(ids)
	names, err := l.b.p.Records.ClientNames(ctx, slices.Compact(ids))
	if err != nil {
		return err
	}
	for i := range l.out.Entries {
		e := &l.out.Entries[i]
		e.Client = names[l.requests[e.RequestID].ClientID]
	}
	return nil
}
