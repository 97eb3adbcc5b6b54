package making

import (
	"context"
	"fmt"
	"slices"
	"time"

	"firstoff/fault"
	"firstoff/shop/calendar"
	"firstoff/shopfloor/build"
	"firstoff/shopfloor/purchase"
	"firstoff/shopfloor/traveller"
)

// PurchaseCard is a purchase with what happened to it.
type PurchaseCard struct {
	Purchase purchase.Purchase `json:"purchase"`
	State    purchase.State    `json:"state"`
	Events   []purchase.Event  `json:"events"`
	Late     bool              `json:"late"`
}

// ToBuy is a traveller whose pieces wait for a partner and were not asked for yet.
type ToBuy struct {
	Traveller traveller.Traveller `json:"traveller"`
	Op        int                 `json:"op"`
	Pieces    []string            `json:"pieces"`
}

// isBought says whether an operation is done by a partner.
func isBought(o traveller.Operation) bool { return o.Code == "partner" }

// ToBuy opens what must be opened and lists what waits for partners, soonest promise first.
func (f *Floor) ToBuy(ctx context.Context) ([]ToBuy, error) {
	if _, err := f.Open(ctx); err != nil {
		return nil, err
	}
	asked, err := f.asked(ctx)
	if err != nil {
		return nil, err
	}
	open, _, err := f.p.Records.Travellers(ctx, openWords, 0, 2000)
	if err != nil {
		return nil, err
	}
	var out []ToBuy
	for _, t := range open {
		if t.Partner == "" {
			continue
		}
		b, err := f.waiting(ctx, t, asked)
		if err != nil {
			return nil, err
		}
		if len(b.Pieces) > 0 {
			out = append(out, b)
		}
	}
	return out, nil
}

// asked are the pieces in open purchases.
func (f *Floor) asked(ctx context.Context) (map[string]bool, error) {
	open, _, err := f.p.Records.Purchases(ctx, []string{string(purchase.Asked), string(purchase.Sent), string(purchase.Promised)}, 0, 500)
	out := map[string]bool{}
	for _, p := range open {
		for _, it := range p.Items {
			for _, id := range it.Pieces {
				out[id] = true
			}
		}
	}
	return out, err
}

// waiting finds a traveller's pieces that lie at a partner's operation and were not asked for.
func (f *Floor) waiting(ctx context.Context, t traveller.Traveller, asked map[string]bool) (ToBuy, error) {
	b := ToBuy{Traveller: t}
	es, err := happened[traveller.Event](ctx, f.p.Records, t.ID)
	if err != nil {
		return b, err
	}
	for _, p := range traveller.Fold(t, es).Pieces {
		op := t.Operation(p.At)
		if op == nil || p.Scrap || p.Away || asked[p.ID] || !isBought(*op) || b.Op != 0 && b.Op != p.At {
			continue
		}
		b.Op, b.Pieces = p.At, append(b.Pieces, p.ID)
	}
	return b, nil
}

// Ask writes a purchase of a partner for the waiting pieces of these travellers. id is the device's, so that a form sent twice is
// one purchase. Faults: NotFound "partner_unknown"; Conflict "nothing_waiting", "other_partner".
func (f *Floor) Ask(ctx context.Context, who, id, partner string, travellers []string) (purchase.Purchase, error) {
	var p purchase.Purchase
	cat := f.p.Catalogue()
	if !slices.ContainsFunc(f.partners(), func(x string) bool { return x == partner }) {
		return p, fault.New(fault.NotFound, "partner_unknown", partner, "The shop has no partner %q.", partner)
	}
	cal, err := calendar.Of(cat)
	if err != nil {
		return p, fault.Because(err, fault.Internal, "calendar", "", "The shop's calendar cannot be read; check its time zone and shifts.")
	}
	err = f.once(ctx, id, "purchases", func(ctx context.Context) error {
		asked, err := f.asked(ctx)
		if err != nil {
			return err
		}
		p = purchase.Purchase{Partner: partner, Made: f.now(), Word: purchase.Asked}
		for _, tid := range travellers {
			t, err := f.p.Records.Traveller(ctx, tid)
			if err != nil {
				return err
			}
			if t.Partner != partner {
				return fault.New(fault.Conflict, "other_partner", tid, "%s was quoted with another partner; its price and date would not hold.", tid)
			}
			b, err := f.waiting(ctx, t, asked)
			if err != nil {
				return err
			}
			if len(b.Pieces) == 0 {
				return fault.New(fault.Conflict, "nothing_waiting", tid, "No piece of %s waits for a partner, or all were asked for already.", tid)
			}
			p.Items = append(p.Items, purchase.Item{Traveller: t.ID, Op: b.Op, OrderID: t.OrderID, LineID: t.LineID, Name: t.Name, Digest: t.Digest, Process: t.Process,
				Material: t.Material, Finish: t.Finish, Notes: t.Notes, Pieces: b.Pieces, Promised: t.Promised})
			if by := needed(cal, t, b.Op); by != "" && (p.NeedBy == "" || by < p.NeedBy) {
				p.NeedBy = by
			}
		}
		if err := p.Plan(); err != nil {
			return err
		}
		if p.ID, err = f.number(ctx, "P"); err != nil {
			return err
		}
		if err := f.p.Records.AddPurchase(ctx, &p); err != nil {
			return err
		}
		return f.log(ctx, who, "purchase.asked", "purchases", p.ID, "", p)
	})
	return p, err
}

func (f *Floor) partners() []string {
	var out []string
	for _, p := range f.p.Catalogue().Partners {
		out = append(out, p.ID)
	}
	return out
}

// needed is the last day pieces may come so that the work after the partner's fits before the promise: what is left, a working day
// for every eight hours and one for the incoming check.
func needed(cal *calendar.Calendar, t traveller.Traveller, op int) string {
	day, err := time.ParseInLocation(time.DateOnly, t.Promised, cal.Location())
	if err != nil {
		return ""
	}
	left := 0.0
	for _, o := range t.Operations {
		if o.No > op {
			left += o.HandsS + o.ElapsedS
		}
	}
	for n := 1 + int(left/(8*3600)); n > 0; {
		day = day.AddDate(0, 0, -1)
		if cal.Business(day) {
			n--
		}
	}
	return day.Format(time.DateOnly)
}

// Purchase shows a purchase with its state.
func (f *Floor) Purchase(ctx context.Context, id string) (PurchaseCard, error) {
	p, err := f.p.Records.Purchase(ctx, id)
	if err != nil {
		return PurchaseCard{}, err
	}
	es, err := happened[purchase.Event](ctx, f.p.Records, id)
	if err != nil {
		return PurchaseCard{}, err
	}
	today, err := f.today()
	c := PurchaseCard{Purchase: p, State: purchase.Fold(p, es), Events: es}
	c.Late = c.State.Late(p, today)
	return c, err
}

// Purchases lists purchases by the day they must be here; states empty means all.
func (f *Floor) Purchases(ctx context.Context, states []string, offset, limit int) ([]purchase.Purchase, int, error) {
	return f.p.Records.Purchases(ctx, states, offset, limit)
}

// ReportPurchase keeps what happened to a purchase, once, and reports to its travellers what follows: their operation starts when it
// is sent; pieces that pass the incoming check go on, those that do not are scrap and made again.
// Faults: those of purchase.Admit and traveller.Admit.
func (f *Floor) ReportPurchase(ctx context.Context, e purchase.Event) (PurchaseCard, error) {
	e.Reason, e.Reference, e.Who = tidy(e.Reason), tidy(e.Reference), tidy(e.Who)
	e.At, e.Received = f.moment(e.At), f.now()
	err := f.again(ctx, func(ctx context.Context) error {
		p, err := f.p.Records.Purchase(ctx, e.Purchase)
		if err != nil {
			return err
		}
		before, err := happened[purchase.Event](ctx, f.p.Records, p.ID)
		if err != nil {
			return err
		}
		was := purchase.Fold(p, before)
		s, fresh, err := purchase.Admit(p, before, e)
		if err != nil || !fresh {
			return err
		}
		if err := f.p.Records.TakeID(ctx, e.ID, p.ID); err != nil {
			return err
		}
		p.Word, p.Due = s.Word, s.Due
		if err := f.p.Records.SavePurchase(ctx, &p); err != nil {
			return err
		}
		for i, it := range p.Items {
			slot, err := f.present(ctx, build.Slot{Traveller: it.Traveller, Op: it.Op, Pieces: it.Pieces})
			if err != nil {
				return err
			}
			if es := came(p, i, was, e, slot.Pieces); len(es) > 0 {
				if _, err := f.report(ctx, it.Traveller, es); err != nil {
					return err
				}
			}
		}
		return f.log(ctx, e.Who, "purchase."+string(e.Kind), p.ID, p.ID, e.Reason, e)
	})
	if err != nil {
		return PurchaseCard{}, err
	}
	return f.Purchase(ctx, e.Purchase)
}

// came is what an event of a purchase means for the traveller of its item i; present are its pieces that were not withdrawn.
func came(p purchase.Purchase, i int, was purchase.State, e purchase.Event, present []string) []traveller.Event {
	gone := func(id string) bool { return !slices.Contains(present, id) }
	it := p.Items[i]
	one := traveller.Event{Traveller: it.Traveller, Op: it.Op, Machine: p.Partner, Build: p.ID, Who: e.Who, At: e.At, Received: e.Received, Reason: e.Reason}
	as := func(k traveller.Kind) traveller.Event {
		x := one
		x.Kind, x.ID = k, derived(e.ID, fmt.Sprint(it.Traveller, " ", k))
		return x
	}
	switch {
	case e.Kind == purchase.Send && len(present) > 0:
		return []traveller.Event{as(traveller.Start)}
	case e.Kind == purchase.Check && e.Item == i+1:
		// Pieces are judged in the order of their numbers: the next ones not judged yet.
		next := it.Pieces[was.Items[i].Good+was.Items[i].Scrap:][:e.Good+e.Scrap]
		fin := as(traveller.Finish)
		fin.Goods = slices.DeleteFunc(slices.Clone(next[:e.Good]), gone)
		fin.Pieces = slices.DeleteFunc(slices.Clone(next[e.Good:]), gone)
		fin.Good, fin.Scrap = len(fin.Goods), len(fin.Pieces)
		if fin.Good+fin.Scrap == 0 {
			return nil
		}
		out := []traveller.Event{fin}
		if fin.Scrap > 0 {
			re := as(traveller.Remake)
			re.Pieces, re.Op, re.At = fin.Pieces, it.Op, e.At.Add(time.Microsecond)
			out = append(out, re)
		}
		return out
	}
	return nil
}
