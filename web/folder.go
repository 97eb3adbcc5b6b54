package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"firstoff/desk/request"
	"firstoff/fault"
	"firstoff/unit"
)

// folder is one request with its files and parts.
func (k *desk) folder(w http.ResponseWriter, r *http.Request) error {
	fo, err := k.Steps.Request(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, folderPage(k.frame(r, fo.Request.ID+" "+fo.Request.Title, "requests", "upload.entry.js", "progress.entry.js"), fo))
	return nil
}

func unfinished(files []request.File) bool {
	for _, f := range files {
		if !f.State.Done() {
			return true
		}
	}
	return false
}

// parts is the middle of the folder page alone, for the script that watches progress.
func (k *desk) parts(w http.ResponseWriter, r *http.Request) error {
	fo, err := k.Steps.Request(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, folderBody(k.frame(r, fo.Request.ID, "requests"), fo))
	return nil
}

// progress streams how far the files have come, as server-sent events, until all are done.
func (k *desk) progress(w http.ResponseWriter, r *http.Request) error {
	news, err := k.Steps.Progress(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("Cache-Control", "no-store")
	rc := http.NewResponseController(w)
	_ = rc.SetWriteDeadline(time.Time{})
	for p := range news {
		b, err := json.Marshal(p)
		if err != nil {
			return err
		}
		if _, err := fmt.Fprintf(w, "data: %s\n\n", b); err != nil {
			return nil
		}
		_ = rc.Flush()
	}
	fmt.Fprint(w, "event: end\ndata: {}\n\n")
	_ = rc.Flush()
	return nil
}

func (k *desk) changeRequest(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	get := func(f string) *string {
		if !r.Form.Has(f) {
			return nil
		}
		s := strings.TrimSpace(r.FormValue(f))
		return &s
	}
	id := r.PathValue("id")
	if _, err := k.Steps.ChangeRequest(r.Context(), who(r), id, version(r), get("title"), get("need_by"), get("note")); err != nil {
		return err
	}
	return seeOther(w, r, "/requests/"+id)
}

func (k *desk) closeRequest(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	to := request.State(r.FormValue("to"))
	if to != request.Lost && to != request.Withdrawn {
		return fault.New(fault.Invalid, "state_unknown", "to", "A request is closed as lost or withdrawn.")
	}
	if _, err := k.Steps.CloseRequest(r.Context(), who(r), id, to, strings.TrimSpace(r.FormValue("reason"))); err != nil {
		return err
	}
	return seeOther(w, r, "/requests/"+id)
}

func (k *desk) reopenRequest(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	if _, err := k.Steps.ReopenRequest(r.Context(), who(r), id); err != nil {
		return err
	}
	return seeOther(w, r, "/requests/"+id)
}

func (k *desk) draft(w http.ResponseWriter, r *http.Request) error {
	q, err := k.Steps.DraftQuotation(r.Context(), who(r), r.PathValue("id"))
	if err != nil {
		return err
	}
	return seeOther(w, r, "/quotations/"+q.ID)
}

// download hands out the client's file as it came.
func (k *desk) download(w http.ResponseWriter, r *http.Request) error {
	f, body, err := k.Steps.OpenFile(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	defer body.Close()
	w.Header().Set("Content-Type", "application/octet-stream")
	w.Header().Set("Content-Disposition", "attachment; filename*=UTF-8''"+strings.ReplaceAll(urlEscape(f.Name), "+", "%20"))
	http.ServeContent(w, r, "", f.Received, body)
	return nil
}

func (k *desk) answerUnit(w http.ResponseWriter, r *http.Request) error {
	u, err := unit.Parse(r.FormValue("unit"))
	if err != nil {
		return err
	}
	f, err := k.Steps.AnswerUnit(r.Context(), who(r), r.PathValue("id"), u)
	if err != nil {
		return err
	}
	return seeOther(w, r, "/requests/"+f.RequestID)
}

func (k *desk) analyseAgain(w http.ResponseWriter, r *http.Request) error {
	f, err := k.Steps.AnalyseAgain(r.Context(), who(r), r.PathValue("id"))
	if err != nil {
		return err
	}
	return seeOther(w, r, "/requests/"+f.RequestID)
}

func (k *desk) cancelAnalysis(w http.ResponseWriter, r *http.Request) error {
	f, err := k.Steps.CancelAnalysis(r.Context(), who(r), r.PathValue("id"))
	if err != nil {
		return err
	}
	return seeOther(w, r, "/requests/"+f.RequestID)
}

func urlEscape(s string) string {
	var b bytes.Buffer
	for _, c := range []byte(s) {
		if c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '.' || c == '-' || c == '_' {
			b.WriteByte(c)
		} else {
			b.WriteString("%" + strings.ToUpper(strconv.FormatInt(int64(c)+256, 16)[1:]))
		}
	}
	return b.String()
}
