package web

import (
	"net/http"
	"strconv"

	"firstoff/bureau"
	"firstoff/bureau/making"
	"firstoff/desk/quote"
	"firstoff/money"
	"firstoff/shopfloor/build"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/traveller"
)

func (k *desk) requestsTable(w http.ResponseWriter, r *http.Request) error {
	stamp := k.stamp()
	return export(k, w, r, "number state title client received:t need_by:d files:n parts:n reason",
		func(f bureau.Filter) (bureau.Listing[bureau.RequestRow], error) {
			return k.Steps.Requests(r.Context(), f)
		},
		func(q bureau.RequestRow) [][]string {
			return [][]string{{q.ID, string(q.State), q.Title, q.ClientName, stamp(q.Received), q.NeedBy, strconv.Itoa(q.Files), strconv.Itoa(q.Lines), q.Reason}}
		})
}

// quotationsTable has one row a line of a quotation.
func (k *desk) quotationsTable(w http.ResponseWriter, r *http.Request) error {
	stamp := k.stamp()
	return export(k, w, r, "number revision state request client created:t issued:t valid_until:d line:n part qty:n process material made_on unit_price:m line_total:m net:m total:m currency ship_by:d",
		func(f bureau.Filter) (bureau.Listing[quote.Quotation], error) {
			return k.Steps.Quotations(r.Context(), f)
		},
		func(q quote.Quotation) [][]string {
			var out [][]string
			b := q.Body
			for _, l := range b.Lines {
				out = append(out, []string{q.Number, q.Revision, string(q.State), q.RequestID, b.To.Firm, stamp(q.Created), stamp(q.Issued), b.ValidUntil, strconv.Itoa(l.Position), l.Name, strconv.Itoa(l.Qty),
					l.Choice.Process, l.Choice.Material, l.Choice.Machine + l.Choice.Partner, money.Decimal(l.UnitPrice, b.Digits), money.Decimal(l.Total, b.Digits), money.Decimal(b.Sums.Net, b.Digits), money.Decimal(b.Sums.Total, b.Digits), b.Currency, l.Promised})
			}
			return out
		})
}

// ordersTable has one row a line of an order.
func (k *desk) ordersTable(w http.ResponseWriter, r *http.Request) error {
	stamp := k.stamp()
	return export(k, w, r, "number state quotation request client_id reference accepted:t accepted_by line:n part qty:n process material made_on unit_price:m line_total:m net:m total:m currency promised:d good:n delivered:n cancelled:n",
		func(f bureau.Filter) (bureau.Listing[order.Order], error) { return k.Steps.Orders(r.Context(), f) },
		func(o order.Order) [][]string {
			var out [][]string
			for _, l := range o.Lines {
				out = append(out, []string{o.ID, string(o.State), o.QuotationID, o.RequestID, o.ClientID, o.Reference, stamp(o.AcceptedAt), o.AcceptedBy, strconv.Itoa(l.Position), l.Name, strconv.Itoa(l.Qty),
					l.Option.Process, l.Option.Material, l.Option.Machine + l.Option.Partner, money.Decimal(l.UnitPrice, o.Digits), money.Decimal(l.Total, o.Digits), money.Decimal(o.Net, o.Digits), money.Decimal(o.Total, o.Digits), o.Currency, l.Promised,
					strconv.Itoa(len(l.In(order.Good))), strconv.Itoa(len(l.In(order.PieceDelivered))), strconv.Itoa(len(l.In(order.PieceCancelled)) + len(l.In(order.WrittenOff)))})
			}
			return out
		})
}

func (k *desk) travellersTable(w http.ResponseWriter, r *http.Request) error {
	stamp := k.stamp()
	return export(k, w, r, "number state order line:n part pieces:n process machine partner material layer_mm:n promised:d opened:t next_operation:n",
		func(f bureau.Filter) (bureau.Listing[traveller.Traveller], error) {
			if f.Limit == 0 {
				f.Limit = 500
			}
			items, total, err := k.Floor.Travellers(r.Context(), f.States, f.Offset, f.Limit)
			return bureau.Listing[traveller.Traveller]{Items: items, Total: total}, err
		},
		func(t traveller.Traveller) [][]string {
			return [][]string{{t.ID, string(t.Word), t.OrderID, strconv.Itoa(t.Position), t.Name, strconv.Itoa(len(t.Pieces)), t.Process, t.Machine, t.Partner, t.Material, plainNumber(t.LayerMM), t.Promised, stamp(t.Opened), strconv.Itoa(t.At)}}
		})
}

func (k *desk) buildsTable(w http.ResponseWriter, r *http.Request) error {
	stamp := k.stamp()
	return export(k, w, r, "number state machine process material layer_mm:n pieces:n planned_h:n made:t",
		func(f bureau.Filter) (bureau.Listing[build.Build], error) {
			return whole(k.Floor.Builds(r.Context(), f.States))
		},
		func(b build.Build) [][]string {
			return [][]string{{b.ID, string(b.Word), b.Machine, b.Process, b.Material, plainNumber(b.LayerMM), strconv.Itoa(len(b.Pieces())), plainNumber(b.PlannedS / 3600), stamp(b.Made)}}
		})
}

func (k *desk) lotsTable(w http.ResponseWriter, r *http.Request) error {
	return export(k, w, r, "number state material supplier supplier_lot certificate received:d expires:d received_g:n left_g:n refresh_pct:n",
		func(f bureau.Filter) (bureau.Listing[making.LotCard], error) {
			return whole(k.Floor.Lots(r.Context(), f.States, f.Like))
		},
		func(c making.LotCard) [][]string {
			l := c.Lot
			return [][]string{{l.ID, string(c.Word), l.Material, l.Supplier, l.SupplierLot, l.Certificate, l.Received, l.Expires, plainNumber(l.ReceivedG), plainNumber(l.LeftG), plainNumber(l.RefreshPct)}}
		})
}

// purchasesTable has one row an item of a purchase.
func (k *desk) purchasesTable(w http.ResponseWriter, r *http.Request) error {
	stamp := k.stamp()
	return export(k, w, r, "number state partner written:t needed_by:d promised:d item:n part pieces:n came:n good:n scrap:n traveller order ours_by:d",
		func(f bureau.Filter) (bureau.Listing[making.PurchaseCard], error) {
			l, err := k.listPurchases(r.Context(), f.States, f.Offset, 500)
			return bureau.Listing[making.PurchaseCard]{Items: l.cards, Total: l.total}, err
		},
		func(c making.PurchaseCard) [][]string {
			var out [][]string
			for i, it := range c.Purchase.Items {
				s := c.State.Items[i]
				out = append(out, []string{c.Purchase.ID, string(c.State.Word), c.Purchase.Partner, stamp(c.Purchase.Made), c.Purchase.NeedBy, c.State.Due, strconv.Itoa(i + 1), it.Name, strconv.Itoa(len(it.Pieces)),
					strconv.Itoa(s.Came), strconv.Itoa(s.Good), strconv.Itoa(s.Scrap), it.Traveller, it.OrderID, it.Promised})
			}
			return out
		})
}

func plainNumber(v float64) string {
	if v == 0 {
		return ""
	}
	return strconv.FormatFloat(v, 'g', 8, 64)
}
