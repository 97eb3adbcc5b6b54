package bureau

import (
	"context"
	"encoding/json"
	"slices"

	"firstoff/desk/offer"
	"firstoff/desk/quote"
	"firstoff/desk/request"
	"firstoff/digest"
	"firstoff/shopfloor/order"
)

// together dates every line of a quotation under the load and the work of its other lines: a client who accepts takes
// them all, and the shop may work them in any order. Prices do not depend on the load. A quotation of one line stays as
// it is.
func (b *Bureau) together(ctx context.Context, d *quote.Drafting, files map[string]request.File, tables map[string]offer.Table, old *quote.Body) error {
	if len(d.Lines) < 2 {
		return nil
	}
	load, err := b.Load(ctx)
	if err != nil {
		return err
	}
	work := make([]order.Line, len(d.Lines)) // LineID empty: nothing can be made of it, which quote.Make says
	for i := range d.Lines {
		l := &d.Lines[i].Line
		if o := chosen(*l, d.Lines[i].Table, old); o != nil {
			l.Chosen = o.ID // what the other lines counted is what is quoted
			work[i] = order.Line{LineID: l.ID, Name: l.Name, Qty: l.Qty, Option: *o, Promised: o.P90}
		}
	}
	for i := range d.Lines {
		p := &d.Lines[i]
		a := b.ask(p.Line, Override{}, load)
		if a.Load, err = beside(a, slices.Concat(work[:i], work[i+1:])); err != nil {
			return err
		}
		f := files[p.Line.FileID]
		ans, err := b.answer(ctx, a.key(p.Line.Facts, f.Unit.Answer), p.Line, f, a)
		if err != nil {
			return err
		}
		p.Table, tables[p.Line.ID] = ans.Table, ans.Table
	}
	return nil
}

// chosen is the option a line is quoted with: a person's choice on the draft, on the line, else the desk's pick.
func chosen(l request.Line, t offer.Table, old *quote.Body) *offer.Option {
	if old != nil {
		for _, was := range old.Lines {
			if was.LineID == l.ID {
				if o := request.Find(t, was.Choice.ID); o != nil {
					return o
				}
			}
		}
	}
	if o := request.Find(t, l.Chosen); o != nil {
		return o
	}
	return request.Pick(t)
}

// beside is the load of a question with other lines' work put to it, as if their order came now.
func beside(a Ask, others []order.Line) (Load, error) {
	others = slices.DeleteFunc(others, func(l order.Line) bool { return l.LineID == "" })
	if len(others) == 0 {
		return a.Load, nil
	}
	load := a.Load
	load.Orders = append(slices.Clone(load.Orders), order.Order{ID: "quoted", State: order.Accepted, Lines: others, AcceptedAt: a.Now})
	type mark struct {
		ID    string
		Qty   int
		Steps []offer.Step
		Due   string
	}
	marks := []mark{}
	for _, l := range others {
		marks = append(marks, mark{l.LineID + " " + l.Option.ID, l.Qty, l.Option.Steps, l.Promised})
	}
	text, err := json.Marshal(struct {
		Load   digest.Digest
		Quoted []mark
	}{load.Revision, marks})
	load.Revision = digest.Of(text)
	return load, err
}
