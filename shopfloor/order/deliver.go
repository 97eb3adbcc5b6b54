package order

import (
	"slices"
	"time"

	"firstoff/fault"
)

// Delivery is what left the house at one time. ID is a readable number, e.g. "D-1001".
type Delivery struct {
	ID        string    `json:"id"`
	At        time.Time `json:"at"`
	Who       string    `json:"who"`
	Pieces    []string  `json:"pieces"`
	Carrier   string    `json:"carrier,omitempty"`
	Reference string    `json:"reference,omitempty"` // the carrier's number
	Note      string    `json:"note,omitempty"`
	Void      string    `json:"void,omitempty"` // why it did not happen after all
}

// Deliver sends good pieces out; an order may go in several deliveries.
// Faults: Conflict "piece_state" for pieces that are not good or are out already; NotFound "piece_unknown"; Invalid "delivery_empty".
func (o Order) Deliver(d Delivery) (Order, error) {
	if len(d.Pieces) == 0 {
		return o, fault.New(fault.Invalid, "delivery_empty", o.ID, "Say which pieces go out.")
	}
	o = o.clone()
	left := map[string]bool{}
	for _, id := range d.Pieces {
		if left[id] {
			return o, fault.New(fault.Invalid, "delivery_empty", id, "Piece %s is named twice.", id)
		}
		left[id] = true
	}
	for i := range o.Lines {
		for k := range o.Lines[i].Pieces {
			p := &o.Lines[i].Pieces[k]
			if !left[p.ID] {
				continue
			}
			delete(left, p.ID)
			if p.State != Good {
				return o, fault.New(fault.Conflict, "piece_state", p.ID, "Piece %s is %s; only good pieces go out.", p.ID, p.State)
			}
			p.State, p.Delivery = PieceDelivered, d.ID
		}
	}
	for id := range left {
		return o, fault.New(fault.NotFound, "piece_unknown", id, "Order %s has no piece %s.", o.ID, id)
	}
	o.Deliveries = append(o.Deliveries, d)
	o.Settle()
	return o, nil
}

// TakeBack undoes a delivery that was entered by mistake: its pieces are good and here again.
// Faults: NotFound "delivery_unknown"; Conflict "delivery_void"; Invalid "reason_missing".
func (o Order) TakeBack(id, reason string) (Order, error) {
	i := slices.IndexFunc(o.Deliveries, func(d Delivery) bool { return d.ID == id })
	switch {
	case i < 0:
		return o, fault.New(fault.NotFound, "delivery_unknown", id, "Order %s has no delivery %s.", o.ID, id)
	case o.Deliveries[i].Void != "":
		return o, fault.New(fault.Conflict, "delivery_void", id, "Delivery %s was taken back already.", id)
	case reason == "":
		return o, fault.New(fault.Invalid, "reason_missing", "reason", "Say why the delivery is taken back.")
	}
	o = o.clone()
	o.Deliveries[i].Void = reason
	for l := range o.Lines {
		for k := range o.Lines[l].Pieces {
			if p := &o.Lines[l].Pieces[k]; p.Delivery == id {
				p.State, p.Delivery = Good, ""
			}
		}
	}
	o.Settle()
	return o, nil
}

// Ready lists the pieces that may go out.
func (o Order) Ready() []string {
	var out []string
	for _, l := range o.Lines {
		for _, p := range l.Pieces {
			if p.State == Good {
				out = append(out, p.ID)
			}
		}
	}
	return out
}

// Settle finds the order's state from its pieces.
func (o *Order) Settle() {
	var all, out, gone, made, begun int
	for _, l := range o.Lines {
		for _, p := range l.Pieces {
			all++
			switch p.State {
			case PieceDelivered:
				out++
			case PieceCancelled, WrittenOff:
				gone++
			case Good:
				made++
			}
			if p.Begun() {
				begun++
			}
		}
	}
	switch {
	case all > 0 && gone == all:
		o.State = Cancelled
	case all > 0 && out+gone == all:
		o.State = Delivered
	case all > 0 && out+gone+made == all:
		o.State = Done
	case begun > 0 || o.State == InWork || o.State == Done || o.State == Delivered:
		o.State = InWork
	default:
		o.State = Accepted
	}
}
