package web

import (
	"net/http"
	"strings"
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
	k.show(w, r, http.StatusOK, orderPage(k.frame(r, "Order "+o.ID, "orders"), o, events))
	return nil
}

func (k *desk) cancelOrder(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	if _, err := k.Steps.CancelOrder(r.Context(), who(r), id, strings.TrimSpace(r.FormValue("reason"))); err != nil {
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
