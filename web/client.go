package web

import (
	"net/http"
	"strings"

	"firstoff/bureau"
)

// client is the private link: the quotation as offered, the models, and the client's answer.
func (k *desk) client(w http.ResponseWriter, r *http.Request) error {
	v, err := k.Steps.ClientView(r.Context(), r.PathValue("token"))
	if err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, clientPage(k.frame(r, "Quotation "+v.Quotation.ID, "", "viewer.entry.js"), v, r.PathValue("token")))
	return nil
}

func (k *desk) clientModel(w http.ResponseWriter, r *http.Request) error {
	body, err := k.Steps.ClientModel(r.Context(), r.PathValue("token"), r.PathValue("line"))
	if err != nil {
		return err
	}
	defer body.Close()
	w.Header().Set("Content-Type", "model/gltf-binary")
	w.Header().Set("Cache-Control", "private, max-age=3600")
	http.ServeContent(w, r, "", k.Clock(), body)
	return nil
}

func (k *desk) clientPDF(w http.ResponseWriter, r *http.Request) error {
	v, err := k.Steps.ClientView(r.Context(), r.PathValue("token"))
	if err != nil {
		return err
	}
	return k.sendPDF(w, r, v.Quotation)
}

func (k *desk) clientAsk(w http.ResponseWriter, r *http.Request) error {
	t := r.PathValue("token")
	if _, err := k.Steps.ClientAsk(r.Context(), t, strings.TrimSpace(r.FormValue("name")), strings.TrimSpace(r.FormValue("text"))); err != nil {
		return err
	}
	return seeOther(w, r, "/q/"+t+"#talk")
}

func (k *desk) clientAccept(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	t := r.PathValue("token")
	a := bureau.Acceptance{Quotation: r.FormValue("quotation"), Name: strings.TrimSpace(r.FormValue("name")), Reference: strings.TrimSpace(r.FormValue("reference")), Choices: map[string]string{}}
	for f := range r.Form {
		if line, ok := strings.CutPrefix(f, "choice-"); ok && r.FormValue(f) != "" {
			a.Choices[line] = r.FormValue(f)
		}
	}
	if _, err := k.Steps.ClientAccept(r.Context(), t, a); err != nil {
		return err
	}
	return seeOther(w, r, "/q/"+t)
}

func (k *desk) clientDecline(w http.ResponseWriter, r *http.Request) error {
	t := r.PathValue("token")
	if _, err := k.Steps.ClientDecline(r.Context(), t, r.FormValue("quotation"), strings.TrimSpace(r.FormValue("name")), strings.TrimSpace(r.FormValue("reason"))); err != nil {
		return err
	}
	return seeOther(w, r, "/q/"+t)
}
