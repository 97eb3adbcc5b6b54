package web

import (
	"net/http"

	"firstoff/desk/quote"
	"firstoff/ubl"
)

// sendUBL sends a document of the Universal Business Language.
func sendUBL(w http.ResponseWriter, id string, doc []byte) error {
	w.Header().Set("Content-Type", "application/xml; charset=utf-8")
	w.Header().Set("Content-Disposition", `attachment; filename="`+id+`.xml"`)
	w.Header().Set("Cache-Control", "no-store")
	_, err := w.Write(doc)
	return err
}

func (k *desk) quotationUBL(w http.ResponseWriter, r *http.Request) error {
	q, err := k.Steps.Quotation(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	return sendUBL(w, q.ID, ubl.Quotation(q, k.Catalogue(), k.zone()))
}

func (k *desk) clientUBL(w http.ResponseWriter, r *http.Request) error {
	v, err := k.Steps.ClientView(r.Context(), r.PathValue("token"))
	if err != nil {
		return err
	}
	return sendUBL(w, v.Quotation.ID, ubl.Quotation(v.Quotation, k.Catalogue(), k.zone()))
}

func (k *desk) orderUBL(w http.ResponseWriter, r *http.Request) error {
	o, err := k.Steps.Order(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	var to quote.Addressee
	if q, err := k.Steps.Quotation(r.Context(), o.QuotationID); err == nil {
		to = q.Body.To
	}
	return sendUBL(w, o.ID, ubl.Order(o, to, k.Catalogue(), k.zone()))
}
