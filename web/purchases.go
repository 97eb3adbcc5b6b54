package web

import (
	"context"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"firstoff/bureau/making"
	"firstoff/fault"
	"firstoff/shopfloor/purchase"
)

// PurchasePapers prints what is sent to a partner.
type PurchasePapers interface {
	Purchase(ctx context.Context, c making.PurchaseCard) ([]byte, error)
}

func (k *desk) purchases(w http.ResponseWriter, r *http.Request) error {
	buy, err := k.Floor.ToBuy(r.Context())
	if err != nil {
		return err
	}
	f := listing(r)
	l, err := k.listPurchases(r.Context(), f.States, f.Offset, f.Limit)
	if err != nil {
		return err
	}
	total := l.total
	k.show(w, r, http.StatusOK, purchasesPage(k.frame(r, "Bought of partners", "floor"), buy, l.cards, pages(r, f.Offset, len(l.cards), total)))
	return nil
}

type purchaseList struct {
	cards []making.PurchaseCard
	total int
}

func (k *desk) listPurchases(ctx context.Context, states []string, offset, limit int) (purchaseList, error) {
	if limit <= 0 {
		limit = 50
	}
	ps, total, err := k.Floor.Purchases(ctx, states, offset, limit)
	out := purchaseList{total: total}
	for _, p := range ps {
		c, err := k.Floor.Purchase(ctx, p.ID)
		if err != nil {
			return out, err
		}
		out.cards = append(out.cards, c)
	}
	return out, err
}

func (k *desk) askPartner(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return fault.New(fault.Invalid, "form", "", "The form could not be read; send it again.")
	}
	p, err := k.Floor.Ask(r.Context(), who(r), r.FormValue("event"), r.FormValue("partner"), r.Form["traveller"])
	if err != nil {
		return err
	}
	if p.ID == "" { // sent twice
		return seeOther(w, r, "/purchases")
	}
	return seeOther(w, r, "/purchases/"+p.ID)
}

func (k *desk) purchase(w http.ResponseWriter, r *http.Request) error {
	c, err := k.Floor.Purchase(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, purchasePage(k.frame(r, "Purchase "+c.Purchase.ID, "floor"), c))
	return nil
}

func (k *desk) reportPurchase(w http.ResponseWriter, r *http.Request) error {
	count := func(field string) int { n, _ := strconv.Atoi(strings.TrimSpace(r.FormValue(field))); return n }
	e := purchase.Event{ID: r.FormValue("event"), Purchase: r.PathValue("id"), Kind: purchase.Kind(r.FormValue("kind")), Item: count("item"), Count: count("count"), Good: count("good"), Scrap: count("scrap"),
		Due: strings.TrimSpace(r.FormValue("due")), Reference: r.FormValue("reference"), Reason: r.FormValue("reason"), Who: k.byWhom(r)}
	if _, err := k.Floor.ReportPurchase(r.Context(), e); err != nil {
		return err
	}
	return seeOther(w, r, "/purchases/"+url.PathEscape(e.Purchase))
}

func (k *desk) purchasePDF(w http.ResponseWriter, r *http.Request) error {
	press, ok := k.Slips.(PurchasePapers)
	if !ok {
		return fault.New(fault.Unsupported, "no_papers", "", "This desk was started without a press, so it prints no papers.")
	}
	c, err := k.Floor.Purchase(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	b, err := press.Purchase(r.Context(), c)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/pdf")
	w.Header().Set("Content-Disposition", `inline; filename="`+c.Purchase.ID+`.pdf"`)
	_, err = w.Write(b)
	return err
}
