package web

import (
	"net/http"
	"strconv"

	"firstoff/bureau"
	"firstoff/desk/quote"
	"firstoff/shopfloor/order"
)

func (k *desk) requestsCSV(w http.ResponseWriter, r *http.Request) error {
	stamp := k.stamp()
	return export(k, w, r, "requests", []string{"number", "state", "title", "client", "received", "need_by", "files", "parts", "reason"},
		func(f bureau.Filter) (bureau.Listing[bureau.RequestRow], error) {
			return k.Steps.Requests(r.Context(), f)
		},
		func(q bureau.RequestRow) [][]string {
			return [][]string{{q.ID, string(q.State), q.Title, q.ClientName, stamp(q.Received), q.NeedBy, strconv.Itoa(q.Files), strconv.Itoa(q.Lines), q.Reason}}
		})
}

// quotationsCSV has one row a line of a quotation.
func (k *desk) quotationsCSV(w http.ResponseWriter, r *http.Request) error {
	stamp := k.stamp()
	return export(k, w, r, "quotations", []string{"number", "revision", "state", "request", "client", "created", "issued", "valid_until", "line", "part", "qty", "process", "material", "made_on", "unit_price", "line_total", "net", "total", "currency", "ship_by"},
		func(f bureau.Filter) (bureau.Listing[quote.Quotation], error) {
			return k.Steps.Quotations(r.Context(), f)
		},
		func(q quote.Quotation) [][]string {
			var out [][]string
			b := q.Body
			for _, l := range b.Lines {
				out = append(out, []string{q.Number, q.Revision, string(q.State), q.RequestID, b.To.Firm, stamp(q.Created), stamp(q.Issued), b.ValidUntil, strconv.Itoa(l.Position), l.Name, strconv.Itoa(l.Qty),
					l.Choice.Process, l.Choice.Material, l.Choice.Machine + l.Choice.Partner, plainMoney(l.UnitPrice, b.Digits), plainMoney(l.Total, b.Digits), plainMoney(b.Sums.Net, b.Digits), plainMoney(b.Sums.Total, b.Digits), b.Currency, l.Promised})
			}
			return out
		})
}

// ordersCSV has one row a line of an order.
func (k *desk) ordersCSV(w http.ResponseWriter, r *http.Request) error {
	stamp := k.stamp()
	return export(k, w, r, "orders", []string{"number", "state", "quotation", "request", "client_id", "reference", "accepted", "accepted_by", "line", "part", "qty", "process", "material", "made_on", "unit_price", "line_total", "net", "total", "currency", "promised"},
		func(f bureau.Filter) (bureau.Listing[order.Order], error) { return k.Steps.Orders(r.Context(), f) },
		func(o order.Order) [][]string {
			var out [][]string
			for _, l := range o.Lines {
				out = append(out, []string{o.ID, string(o.State), o.QuotationID, o.RequestID, o.ClientID, o.Reference, stamp(o.AcceptedAt), o.AcceptedBy, strconv.Itoa(l.Position), l.Name, strconv.Itoa(l.Qty),
					l.Option.Process, l.Option.Material, l.Option.Machine + l.Option.Partner, plainMoney(l.UnitPrice, o.Digits), plainMoney(l.Total, o.Digits), plainMoney(o.Net, o.Digits), plainMoney(o.Total, o.Digits), o.Currency, l.Promised})
			}
			return out
		})
}
