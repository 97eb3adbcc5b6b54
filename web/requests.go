package web

import (
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"firstoff/bureau"
	"firstoff/client"
	"firstoff/desk/request"
	"firstoff/fault"
)

const pageSize = 50

// listing reads the filter of a list from the address.
func listing(r *http.Request) bureau.Filter {
	q := r.URL.Query()
	n, _ := strconv.Atoi(q.Get("from"))
	f := bureau.Filter{Like: strings.TrimSpace(q.Get("find")), Offset: max(0, n), Limit: pageSize}
	if s := q.Get("state"); s != "" {
		f.States = []string{s}
	}
	return f
}

// turn is the address of the same list from another start.
func turn(r *http.Request, from int) string {
	q := url.Values{}
	for _, k := range []string{"find", "state"} {
		if v := r.URL.Query().Get(k); v != "" {
			q.Set(k, v)
		}
	}
	if from > 0 {
		q.Set("from", strconv.Itoa(from))
	}
	if len(q) == 0 {
		return r.URL.Path
	}
	return r.URL.Path + "?" + q.Encode()
}

// pager says where in a list we are.
type pager struct{ before, after, words string }

func pages(r *http.Request, offset, shown, total int) pager {
	var p pager
	if offset > 0 {
		p.before = turn(r, max(0, offset-pageSize))
	}
	if offset+shown < total {
		p.after = turn(r, offset+pageSize)
	}
	if total > 0 {
		p.words = fmt.Sprintf("%d to %d of %d", offset+1, offset+shown, total)
	}
	return p
}

func (k *desk) requests(w http.ResponseWriter, r *http.Request) error {
	f := listing(r)
	l, err := k.Steps.Requests(r.Context(), f)
	if err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, requestsPage(k.frame(r, "Requests", "requests"), f, l, pages(r, l.Offset, len(l.Items), l.Total)))
	return nil
}

func (k *desk) newRequest(w http.ResponseWriter, r *http.Request) error {
	cs, err := k.Steps.Clients(r.Context(), "", 200)
	if err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, newRequestPage(k.frame(r, "New request", "requests", "upload.entry.js"), cs))
	return nil
}

// form streams a multipart form: text fields first into values, then each file to take as it comes in.
func (k *desk) form(w http.ResponseWriter, r *http.Request, values url.Values, take func(name string, body io.Reader) error) error {
	r.Body = http.MaxBytesReader(w, r.Body, k.MaxUpload)
	kind, params, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || kind != "multipart/form-data" {
		return fault.New(fault.Invalid, "form_kind", "", "The upload is not a form with files; use the page's own form.")
	}
	mr := multipart.NewReader(r.Body, params["boundary"])
	for {
		p, err := mr.NextRawPart()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return uploadFault(err)
		}
		if name := fileName(p); name != "" {
			if err := take(name, p); err != nil {
				return uploadFault(err)
			}
			continue
		}
		b, err := io.ReadAll(io.LimitReader(p, 64<<10))
		if err != nil {
			return uploadFault(err)
		}
		values.Add(p.FormName(), string(b))
	}
}

// fileName is the file's name as sent, without any folders; empty when the part is no file or nothing was chosen.
func fileName(p *multipart.Part) string {
	_, params, err := mime.ParseMediaType(p.Header.Get("Content-Disposition"))
	if err != nil {
		return ""
	}
	n := params["filename"]
	if i := strings.LastIndexAny(n, `/\`); i >= 0 {
		n = n[i+1:]
	}
	return n
}

func uploadFault(err error) error {
	var big *http.MaxBytesError
	var f *fault.Error
	if errors.As(err, &big) || errors.As(err, &f) {
		return err
	}
	return fault.Because(err, fault.Invalid, "upload_broken", "", "The upload broke off; send the files again.")
}

func (k *desk) openRequest(w http.ResponseWriter, r *http.Request) error {
	v := url.Values{}
	var opened *request.Request
	open := func() error {
		if opened != nil {
			return nil
		}
		n := bureau.NewRequest{Title: strings.TrimSpace(v.Get("title")), NeedBy: v.Get("need_by"), Note: strings.TrimSpace(v.Get("note")),
			Client: client.Client{ID: v.Get("client_id"), Firm: strings.TrimSpace(v.Get("firm")), Contact: strings.TrimSpace(v.Get("contact")), Email: strings.TrimSpace(v.Get("email"))}}
		q, err := k.Steps.OpenRequest(r.Context(), who(r), n)
		if err != nil {
			return err
		}
		opened = &q
		return nil
	}
	err := k.form(w, r, v, func(name string, body io.Reader) error {
		if err := open(); err != nil {
			return err
		}
		_, err := k.Steps.ReceiveFile(r.Context(), who(r), opened.ID, name, body)
		return err
	})
	if err == nil {
		err = open()
	}
	if err != nil && opened == nil {
		return err
	}
	if err != nil {
		// The folder exists and keeps what arrived; say what did not.
		return fault.At(err, "request "+opened.ID)
	}
	if wantsJSON(r) {
		return writeJSON(w, map[string]string{"id": opened.ID, "at": "/requests/" + opened.ID})
	}
	return seeOther(w, r, "/requests/"+opened.ID)
}

func (k *desk) addFiles(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	n := 0
	err := k.form(w, r, url.Values{}, func(name string, body io.Reader) error {
		n++
		_, err := k.Steps.ReceiveFile(r.Context(), who(r), id, name, body)
		return err
	})
	if err != nil {
		return err
	}
	if n == 0 {
		return fault.New(fault.Invalid, "no_file", "", "No file was chosen; choose at least one.")
	}
	if wantsJSON(r) {
		return writeJSON(w, map[string]string{"id": id, "at": "/requests/" + id})
	}
	return seeOther(w, r, "/requests/"+id)
}
