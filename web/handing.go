package web

import (
	"context"
	"net/http"
	"strings"
)

// Handing hands on what the desk decided, as files for the machine's own preparation.
type Handing interface {
	Part(ctx context.Context, traveller, form string) ([]byte, error)
	Build(ctx context.Context, id string) ([]byte, error)
}

func (k *desk) handPart(w http.ResponseWriter, r *http.Request) error {
	id, form := r.PathValue("id"), strings.TrimPrefix(r.PathValue("file"), "part.")
	b, err := k.Hand.Part(r.Context(), id, form)
	if err != nil {
		return err
	}
	return sendModel(w, id+"."+form, form, b)
}

func (k *desk) handBuild(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	b, err := k.Hand.Build(r.Context(), id)
	if err != nil {
		return err
	}
	return sendModel(w, id+".3mf", "3mf", b)
}

func sendModel(w http.ResponseWriter, name, form string, b []byte) error {
	w.Header().Set("Content-Type", "model/"+form)
	w.Header().Set("Content-Disposition", `attachment; filename="`+name+`"`)
	_, err := w.Write(b)
	return err
}
