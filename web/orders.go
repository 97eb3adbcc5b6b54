package web

import (
	"net/http"
	"strconv"
	"strings"

	"firstoff/bureau/making"
	"firstoff/bureau/proving"
	"firstoff/fault"
	"firstoff/shopfloor/order"
)

func (k *desk) orders(w http.ResponseWriter, r *http.Request) error {
	f := listing(r)
	l, err := k.Steps.Orders(r.Context(), f)
	if err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, ordersPage(k.frame(r, "Orders", "orders"), f, l, pages(r, l.Offset, len(l.Items), l.Total)))
	return nil
}

func (k *desk) order(w http.ResponseWriter, r *http.Request) error {
	o, err := k.Steps.Order(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	events, err := k.Steps.Trail(r.Context(), o.ID, 100)
	if err != nil {
		return err
	}
	var cs []proving.Certificate
	var scans []proving.Scan
	if k.Proving != nil {
		if cs, err = k.Proving.Certificates(r.Context(), o.ID); err != nil {
			return err
		}
		if scans, err = k.Proving.Scans(r.Context(), o.ID); err != nil {
			return err
		}
	}
	k.show(w, r, http.StatusOK, orderPage(k.frame(r, "Order "+o.ID, "orders"), o, events, k.Floor != nil, cs, scans, k.Proving != nil))
	return nil
}

// counted reads a number of pieces for each line of an order out of a form: field prefix and position, e.g. "n1=3".
func counted(r *http.Request, prefix string, o order.Order, pick func(l order.Line, n int) ([]string, error)) ([]string, error) {
	var out []string
	for _, l := range o.Lines {
		v := strings.TrimSpace(r.FormValue(prefix + strconv.Itoa(l.Position)))
		if v == "" || v == "0" {
			continue
		}
		n, err := strconv.Atoi(v)
		if err != nil || n < 0 || n > len(l.Pieces) {
			return nil, fault.New(fault.Invalid, "quantity", l.Name, "A number of pieces of line %d is a whole number from 0 to %d.", l.Position, len(l.Pieces))
		}
		ids, err := pick(l, n)
		if err != nil {
			return nil, err
		}
		out = append(out, ids...)
	}
	if len(out) == 0 {
		return nil, fault.New(fault.Invalid, "quantity", o.ID, "Say how many pieces of which line.")
	}
	return out, nil
}

func fewer(l order.Line, n, have int, what string) error {
	if n > have {
		return fault.New(fault.Conflict, "quantity", l.Name, "Line %d has %d pieces %s, not %d.", l.Position, have, what, n)
	}
	return nil
}

func least(l order.Line, n int) ([]string, error) {
	ids := l.Least(n)
	return ids, fewer(l, n, len(ids), "to cancel")
}

func inState(state string) func(l order.Line, n int) ([]string, error) {
	return func(l order.Line, n int) ([]string, error) {
		ids := l.In(state)
		if err := fewer(l, n, len(ids), state); err != nil {
			return nil, err
		}
		return ids[:n], nil
	}
}

// cancelAsk shows what cancelling would cost before it is done.
func (k *desk) cancelAsk(w http.ResponseWriter, r *http.Request) error {
	o, err := k.Steps.Order(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	pieces, err := counted(r, "n", o, least)
	if err != nil {
		return err
	}
	ch, err := k.Floor.CancelCost(r.Context(), o.ID, pieces)
	if err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, cancelPage(k.frame(r, "Cancel "+o.ID, "orders"), o, ch))
	return nil
}

func (k *desk) cancelOrder(w http.ResponseWriter, r *http.Request) error {
	o, err := k.Steps.Order(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	c := making.Cancelling{Reason: strings.TrimSpace(r.FormValue("reason")), ChargeWhy: strings.TrimSpace(r.FormValue("charge_why"))}
	if c.Pieces, err = counted(r, "n", o, least); err != nil {
		return err
	}
	if v := strings.TrimSpace(r.FormValue("charge")); v != "" {
		a, err := amount(v, o.Digits)
		if err != nil {
			return err
		}
		c.Charge = &a
	}
	if _, err := k.Floor.Cancel(r.Context(), who(r), o.ID, c); err != nil {
		return err
	}
	return seeOther(w, r, "/orders/"+o.ID)
}

func (k *desk) writeOff(w http.ResponseWriter, r *http.Request) error {
	o, err := k.Steps.Order(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	pieces, err := counted(r, "n", o, inState(order.Scrap))
	if err != nil {
		return err
	}
	if _, err := k.Floor.WriteOff(r.Context(), who(r), o.ID, pieces, strings.TrimSpace(r.FormValue("reason"))); err != nil {
		return err
	}
	return seeOther(w, r, "/orders/"+o.ID)
}

func (k *desk) deliver(w http.ResponseWriter, r *http.Request) error {
	o, err := k.Steps.Order(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	s := making.Sending{Carrier: r.FormValue("carrier"), Reference: r.FormValue("reference"), Note: r.FormValue("note")}
	if s.Pieces, err = counted(r, "n", o, inState(order.Good)); err != nil {
		return err
	}
	if _, _, err := k.Floor.Deliver(r.Context(), who(r), o.ID, s); err != nil {
		return err
	}
	return seeOther(w, r, "/orders/"+o.ID)
}

func (k *desk) takeBack(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	if _, err := k.Floor.TakeBack(r.Context(), who(r), id, r.FormValue("delivery"), r.FormValue("reason")); err != nil {
		return err
	}
	return seeOther(w, r, "/orders/"+id)
}

func (k *desk) shop(w http.ResponseWriter, r *http.Request) error {
	k.show(w, r, http.StatusOK, shopPage(k.frame(r, "Shop", "shop")))
	return nil
}

func (k *desk) about(w http.ResponseWriter, r *http.Request) error {
	k.show(w, r, http.StatusOK, aboutPage(k.frame(r, "About", ""), notices()))
	return nil
}
