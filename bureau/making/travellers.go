package making

import (
	"context"
	"slices"

	"firstoff/digest"
	"firstoff/fault"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/traveller"
)

// Card is a traveller with what happened to it.
type Card struct {
	Traveller traveller.Traveller `json:"traveller"`
	State     traveller.State     `json:"state"`
	Events    []traveller.Event   `json:"events"` // oldest first
	Client    string              `json:"client"`
	Model     digest.Digest       `json:"model,omitempty"` // GLB of the part, if it is still kept
}

// Open opens the travellers of all orders that have none yet and stops those of cancelled orders. It may be called at any time,
// by several at once: a line gets one traveller. It says how many it opened.
func (f *Floor) Open(ctx context.Context) (int, error) {
	waiting, err := f.p.Records.OrdersWithoutTravellers(ctx, 500)
	if err != nil {
		return 0, err
	}
	opened := 0
	for _, o := range waiting {
		n, err := f.OpenFor(ctx, o.ID)
		if err != nil {
			return opened, err
		}
		opened += n
	}
	stop, err := f.p.Records.TravellersToStop(ctx)
	if err != nil {
		return opened, err
	}
	for _, t := range stop {
		t.Word = traveller.Cancelled
		if err := f.p.Records.SaveTraveller(ctx, &t); err != nil && fault.Of(err).Code != "changed_meanwhile" {
			return opened, err
		}
	}
	return opened, nil
}

// OpenFor opens the travellers of one order. An order that has them keeps them.
func (f *Floor) OpenFor(ctx context.Context, orderID string) (int, error) {
	opened := 0
	err := f.again(ctx, func(ctx context.Context) error {
		opened = 0
		o, err := f.p.Records.Order(ctx, orderID)
		if err != nil || !o.State.Open() {
			return err
		}
		have, err := f.p.Records.TravellersOf(ctx, orderID)
		if err != nil {
			return err
		}
		for _, l := range o.Lines {
			if len(l.Pieces) == 0 || slices.ContainsFunc(have, func(t traveller.Traveller) bool { return t.Position == l.Position }) {
				continue
			}
			id, err := f.number(ctx, "T")
			if err != nil {
				return err
			}
			t, err := traveller.Open(traveller.Opening{ID: id, Order: o, Line: l, Catalogue: f.p.Catalogue(), Now: f.now()})
			if err != nil {
				return err
			}
			if err := f.p.Records.AddTraveller(ctx, &t); err != nil {
				return err
			}
			opened++
		}
		return nil
	})
	return opened, err
}

// Card shows a traveller with its state.
func (f *Floor) Card(ctx context.Context, id string) (Card, error) {
	t, err := f.p.Records.Traveller(ctx, id)
	if err != nil {
		return Card{}, err
	}
	es, err := happened[traveller.Event](ctx, f.p.Records, id)
	if err != nil {
		return Card{}, err
	}
	c := Card{Traveller: t, State: traveller.Fold(t, es), Events: es}
	if t.Word == traveller.Cancelled {
		c.State.Word, c.State.Next = traveller.Cancelled, 0
	}
	names, err := f.p.Records.ClientNames(ctx, []string{t.ClientID})
	if err != nil {
		return c, err
	}
	c.Client = names[t.ClientID]
	if l, err := f.p.Records.Line(ctx, t.LineID); err == nil {
		c.Model = l.Viewer
	} else if fault.KindOf(err) != fault.NotFound {
		return c, err
	}
	return c, nil
}

// Report keeps what happened to a traveller, once, and gives the card as it then stands.
// Faults: those of traveller.Admit; Conflict "order_state" when the order was cancelled.
func (f *Floor) Report(ctx context.Context, e traveller.Event) (Card, error) {
	e = f.clean(e)
	err := f.again(ctx, func(ctx context.Context) error {
		_, err := f.report(ctx, e.Traveller, []traveller.Event{e})
		return err
	})
	if err != nil {
		return Card{}, err
	}
	return f.Card(ctx, e.Traveller)
}

func (f *Floor) clean(e traveller.Event) traveller.Event {
	e.Reason, e.Note, e.Lot, e.Machine, e.Who, e.Device = tidy(e.Reason), tidy(e.Note), tidy(e.Lot), tidy(e.Machine), tidy(e.Who), tidy(e.Device)
	e.At, e.Received = f.moment(e.At), f.now()
	return e
}

// report keeps events of one traveller in the transaction of ctx, one after the other. It says whether any was new.
func (f *Floor) report(ctx context.Context, id string, es []traveller.Event) (bool, error) {
	t, err := f.p.Records.Traveller(ctx, id)
	if err != nil {
		return false, err
	}
	before, err := happened[traveller.Event](ctx, f.p.Records, id)
	if err != nil {
		return false, err
	}
	first := traveller.Fold(t, before)
	s := first
	fresh := false
	for _, e := range es {
		after, isNew, err := traveller.Admit(t, before, e)
		if err != nil {
			if c := fault.Of(err).Code; e.Build != "" && (c == "running_already" || c == "not_running") {
				continue // somebody said so at the card already
			}
			return false, err
		}
		if !isNew {
			continue
		}
		if e.Kind == traveller.UseLot {
			if err := f.usable(ctx, e.Lot); err != nil {
				return false, err
			}
		}
		fresh = true
		if err := f.p.Records.TakeID(ctx, e.ID, id); err != nil {
			return false, err
		}
		if err := f.log(ctx, e.Who, string(e.Kind), id, t.OrderID, e.Reason, e); err != nil {
			return false, err
		}
		before, s = append(before, e), after
	}
	if !fresh {
		return false, nil
	}
	o, err := f.p.Records.Order(ctx, t.OrderID)
	if err != nil {
		return false, err
	}
	if o.State == order.Cancelled && !slices.ContainsFunc(es, func(e traveller.Event) bool { return e.Kind == traveller.Withdraw }) {
		return false, fault.New(fault.Conflict, "order_state", t.OrderID, "Order %s was cancelled; put the parts aside and ask at the desk.", t.OrderID)
	}
	gone, come := changed(first.Touches(), s.Touches())
	if err := f.p.Records.ChangeTouches(ctx, t, gone, come); err != nil {
		return false, err
	}
	t.Word, t.At = s.Word, s.Next
	if err := f.p.Records.SaveTraveller(ctx, &t); err != nil {
		return false, err
	}
	return true, f.follow(ctx, o, t, s)
}

// changed tells which touches went and which came.
func changed(was, is []traveller.Touch) (gone, come []traveller.Touch) {
	had := make(map[traveller.Touch]bool, len(was))
	for _, x := range was {
		had[x] = true
	}
	for _, x := range is {
		if !had[x] {
			come = append(come, x)
		}
		delete(had, x)
	}
	for _, x := range was {
		if had[x] {
			gone = append(gone, x)
		}
	}
	return gone, come
}

// follow lets the order and its pieces follow the traveller. Fault: Conflict "delivered_already" when a piece that has left the
// house would not be good any more.
func (f *Floor) follow(ctx context.Context, o order.Order, t traveller.Traveller, s traveller.State) error {
	stands := standing(s)
	was, moved := o.State, false
	o.Lines = slices.Clone(o.Lines)
	for i := range o.Lines {
		if o.Lines[i].Position != t.Position {
			continue
		}
		o.Lines[i].Pieces = slices.Clone(o.Lines[i].Pieces)
		for k := range o.Lines[i].Pieces {
			p := &o.Lines[i].Pieces[k]
			switch w := stands[p.ID]; {
			case p.State == order.PieceDelivered && w != order.Good:
				return fault.New(fault.Conflict, "delivered_already", p.ID, "Piece %s has left the house with %s; take that delivery back first.", p.ID, p.Delivery)
			case p.Settled() || w == "" || w == p.State:
			default:
				p.State, moved = w, true
			}
		}
	}
	if o.State == order.Accepted {
		o.State = order.InWork // from the first event on
	}
	if was != order.Cancelled {
		o.Settle()
	}
	if !moved && o.State == was {
		return nil
	}
	if err := f.p.Records.SaveOrder(ctx, &o); err != nil {
		return err
	}
	return f.stood(ctx, "floor", was, o)
}

// stood logs that an order's state moved.
func (f *Floor) stood(ctx context.Context, who string, was order.State, o order.Order) error {
	if was == o.State {
		return nil
	}
	return f.log(ctx, who, "order", o.ID, o.RequestID, "", map[string]string{"was": string(was), "is": string(o.State)})
}

// standing says how each ordered piece stands, by its latest attempt.
func standing(s traveller.State) map[string]string {
	out := map[string]string{}
	for _, p := range s.Pieces { // later attempts come later
		switch {
		case p.Scrap:
			out[traveller.Number(p.ID)] = order.Scrap
		case p.At > len(s.Ops):
			out[traveller.Number(p.ID)] = order.Good
		case p.At > 1 || p.Attempt > 1:
			out[traveller.Number(p.ID)] = order.PieceInWork
		default:
			out[traveller.Number(p.ID)] = order.Due
		}
	}
	return out
}

// Travellers lists travellers by promised date, soonest first; states empty means all.
func (f *Floor) Travellers(ctx context.Context, states []string, offset, limit int) ([]traveller.Traveller, int, error) {
	return f.p.Records.Travellers(ctx, states, offset, limit)
}

// Place is what comes next at one machine, bath or bench, or for one skill.
type Place struct {
	Resource string // machine, resource or partner id; empty: any bench
	Skill    string
	Cards    []Waiting
}

// Waiting is one traveller at the operation that comes next for it.
type Waiting struct {
	Traveller traveller.Traveller
	State     traveller.State
	Op        traveller.Operation
	OpState   traveller.OpState
	Late      bool
}

// Board opens what must be opened and shows what comes next, by machine and skill, soonest promise first. A batch that lies at
// several operations stands at each of them. Short are travellers that have too few good pieces.
func (f *Floor) Board(ctx context.Context) (places []Place, short []Waiting, err error) {
	if _, err := f.Open(ctx); err != nil {
		return nil, nil, err
	}
	today, err := f.today()
	if err != nil {
		return nil, nil, err
	}
	open, _, err := f.p.Records.Travellers(ctx, openWords, 0, 500)
	if err != nil {
		return nil, nil, err
	}
	for _, t := range open {
		es, err := happened[traveller.Event](ctx, f.p.Records, t.ID)
		if err != nil {
			return nil, nil, err
		}
		s := traveller.Fold(t, es)
		late := t.Promised != "" && t.Promised < today
		if slices.ContainsFunc(s.Pieces, func(p traveller.Piece) bool { return p.Scrap && !p.Remade && !p.Away }) {
			short = append(short, Waiting{Traveller: t, State: s, Late: late})
		}
		for i, o := range s.Ops {
			if o.Waiting == 0 {
				continue
			}
			op := t.Operations[i]
			k := slices.IndexFunc(places, func(p Place) bool { return p.Resource == op.Resource && p.Skill == op.Skill })
			if k < 0 {
				places = append(places, Place{Resource: op.Resource, Skill: op.Skill})
				k = len(places) - 1
			}
			places[k].Cards = append(places[k].Cards, Waiting{t, s, op, o, late})
		}
	}
	return places, short, nil
}
