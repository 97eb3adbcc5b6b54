package web

import (
	"net/http"
	"strings"

	"firstoff/bureau"
	"firstoff/desk/quote"
	"firstoff/fault"
)

func (k *desk) quotations(w http.ResponseWriter, r *http.Request) error {
	f := listing(r)
	l, err := k.Steps.Quotations(r.Context(), f)
	if err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, quotationsPage(k.frame(r, "Quotations", "quotations"), f, l, pages(r, l.Offset, len(l.Items), l.Total)))
	return nil
}

// quotation is one revision: to be worked on while a draft, to be read afterwards.
func (k *desk) quotation(w http.ResponseWriter, r *http.Request) error {
	q, err := k.Steps.Quotation(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	return k.showQuotation(w, r, q, "")
}

func (k *desk) showQuotation(w http.ResponseWriter, r *http.Request, q quote.Quotation, token string) error {
	fo, err := k.Steps.Request(r.Context(), q.RequestID)
	if err != nil {
		return err
	}
	link := ""
	if token != "" {
		link = baseOf(r) + "/q/" + token
	}
	k.show(w, r, http.StatusOK, quotationPage(k.frame(r, q.ID, "quotations"), q, fo, link))
	return nil
}

// baseOf is scheme and host as the browser sees them.
func baseOf(r *http.Request) string {
	scheme := "http"
	if r.TLS != nil {
		scheme = "https"
	}
	return scheme + "://" + r.Host
}

func (k *desk) changeDraft(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	id := r.PathValue("id")
	q, err := k.Steps.Quotation(r.Context(), id)
	if err != nil {
		return err
	}
	note, valid := strings.TrimSpace(r.FormValue("note")), r.FormValue("valid_until")
	var terms []string
	for _, t := range strings.Split(r.FormValue("terms"), "\n") {
		if t = strings.TrimSpace(t); t != "" {
			terms = append(terms, t)
		}
	}
	c := bureau.DraftChange{Note: &note, ValidUntil: &valid, Terms: &terms, Lines: map[string]bureau.DraftLine{}}
	if s := r.FormValue("shipping"); strings.TrimSpace(s) != "" {
		a, err := amount(s, q.Body.Digits)
		if err != nil {
			return fault.At(err, "shipping")
		}
		c.Shipping = &a
	}
	for _, l := range q.Body.Lines {
		d := bureau.DraftLine{Option: r.FormValue("option-" + l.LineID), Leave: r.FormValue("leave-"+l.LineID) != "", Why: strings.TrimSpace(r.FormValue("why-" + l.LineID))}
		if s := strings.TrimSpace(r.FormValue("price-" + l.LineID)); s != "" {
			a, err := amount(s, q.Body.Digits)
			if err != nil {
				return fault.At(err, "price of "+l.Name)
			}
			switch {
			case a == l.Choice.UnitPrice:
				d.Computed = l.Set != nil
			case l.Set == nil || a != l.Set.UnitPrice || d.Why != l.Set.Why:
				d.UnitPrice = &a
			}
		} else {
			d.Computed = l.Set != nil
		}
		c.Lines[l.LineID] = d
	}
	if _, err := k.Steps.ChangeDraft(r.Context(), who(r), id, version(r), c); err != nil {
		return err
	}
	return seeOther(w, r, "/quotations/"+id)
}

func (k *desk) refreshDraft(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	if _, err := k.Steps.RefreshDraft(r.Context(), who(r), id); err != nil {
		return err
	}
	return seeOther(w, r, "/quotations/"+id)
}

// issue sends a draft out. The client's link is shown on this page and then never again: only its hash is kept.
func (k *desk) issue(w http.ResponseWriter, r *http.Request) error {
	q, token, err := k.Steps.IssueQuotation(r.Context(), who(r), r.PathValue("id"), version(r))
	if err != nil {
		return err
	}
	return k.showQuotation(w, r, q, token)
}

func (k *desk) newLink(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	token, err := k.Steps.ClientLink(r.Context(), who(r), id)
	if err != nil {
		return err
	}
	q, err := k.Steps.Quotation(r.Context(), id)
	if err != nil {
		return err
	}
	return k.showQuotation(w, r, q, token)
}

func (k *desk) revise(w http.ResponseWriter, r *http.Request) error {
	q, err := k.Steps.ReviseQuotation(r.Context(), who(r), r.PathValue("id"))
	if err != nil {
		return err
	}
	return seeOther(w, r, "/quotations/"+q.ID)
}

func (k *desk) withdraw(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	if _, err := k.Steps.WithdrawQuotation(r.Context(), who(r), id, strings.TrimSpace(r.FormValue("reason"))); err != nil {
		return err
	}
	return seeOther(w, r, "/quotations/"+id)
}

func (k *desk) answerClient(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	if _, err := k.Steps.AnswerClient(r.Context(), who(r), id, strings.TrimSpace(r.FormValue("text"))); err != nil {
		return err
	}
	return seeOther(w, r, "/quotations/"+id)
}

func (k *desk) quotationPDF(w http.ResponseWriter, r *http.Request) error {
	q, err := k.Steps.Quotation(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	return k.sendPDF(w, r, q)
}

func (k *desk) sendPDF(w http.ResponseWriter, r *http.Request, q quote.Quotation) error {
	if k.Papers == nil {
		return fault.New(fault.Unsupported, "papers_missing", "", "This program was built without papers; print the page instead.")
	}
	b, err := k.Papers.Quotation(r.Context(), q)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/pdf")
	w.Header().Set("Content-Disposition", `inline; filename="`+q.ID+`.pdf"`)
	_, _ = w.Write(b)
	return nil
}
