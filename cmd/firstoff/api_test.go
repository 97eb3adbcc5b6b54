package main

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"firstoff/geom/geomtest"
	"firstoff/intake/stl"
	"firstoff/web/browsertest"
)

// call sends JSON and reads JSON.
func call(t *testing.T, method, url string, body any, status int, into any) {
	t.Helper()
	var b io.Reader
	if body != nil {
		j, err := json.Marshal(body)
		if err != nil {
			t.Fatal(err)
		}
		b = bytes.NewReader(j)
	}
	req, err := http.NewRequest(method, url, b)
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/json")
	r, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	all, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	if r.StatusCode != status {
		t.Fatalf("%s %s: status %d, want %d: %s", method, url, r.StatusCode, status, all)
	}
	if into != nil {
		if err := json.Unmarshal(all, into); err != nil {
			t.Fatalf("%s %s: %v in %.300s", method, url, err, all)
		}
	}
}

type refused struct {
	Error struct{ Code, Message, Where string }
}

// The whole walk through the JSON interface, every operation of the document that writes among it.
func TestWalkByPrograms(t *testing.T) {
	base := server(t)
	at := base + "/api/v1"
	var doc struct {
		OpenAPI string `json:"openapi"`
		Paths   map[string]map[string]any
	}
	call(t, "GET", base+"/api/openapi.json", nil, 200, &doc)
	if !strings.HasPrefix(doc.OpenAPI, "3.1") || len(doc.Paths) < 20 {
		t.Errorf("document of version %q with %d paths", doc.OpenAPI, len(doc.Paths))
	}
	var q struct{ ID string }
	call(t, "POST", at+"/requests", map[string]any{"title": "by program", "client": map[string]any{"firm": "Alder Tools"}}, 200, &q)
	var b bytes.Buffer
	if err := stl.Write(&b, "part", geomtest.Tube(20, 12, 30, 64).Mesh); err != nil {
		t.Fatal(err)
	}
	r, err := http.Post(at+"/requests/"+q.ID+"/files?name=bush.stl", "application/octet-stream", &b)
	if err != nil || r.StatusCode != 202 {
		t.Fatalf("upload: %v", err)
	}
	r.Body.Close()
	var f struct {
		Files []struct{ ID, State string }
		Lines []struct {
			ID      string
			Version int
			Options int
		}
	}
	deadline := time.Now().Add(browsertest.Patience)
	for {
		call(t, "GET", at+"/requests/"+q.ID, nil, 200, &f)
		if len(f.Files) == 1 && f.Files[0].State == "ready" {
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("not ready: %+v", f)
		}
		time.Sleep(50 * time.Millisecond)
	}
	ready := func() {
		t.Helper()
		for {
			call(t, "GET", at+"/requests/"+q.ID, nil, 200, &f)
			if f.Files[0].State == "ready" && len(f.Lines) == 1 && f.Lines[0].Options > 0 {
				return
			}
			if time.Now().After(deadline) {
				t.Fatalf("not ready: %+v", f)
			}
			time.Sleep(50 * time.Millisecond)
		}
	}
	call(t, "POST", at+"/files/"+f.Files[0].ID+"/unit", map[string]any{"unit": "mm"}, 200, nil)
	ready()
	line := at + "/lines/" + f.Lines[0].ID
	call(t, "PUT", line+"/qty", map[string]any{"qty": 8}, 200, nil)
	call(t, "PUT", line+"/requirement", map[string]any{"purpose": "function", "temperature_c": 60}, 200, nil)
	var o struct {
		Table struct {
			Qty     int
			Options []struct {
				ID    string
				Total int64 `json:"total_minor"`
			}
		}
	}
	call(t, "GET", line+"/options", nil, 200, &o)
	if o.Table.Qty != 8 || len(o.Table.Options) < 20 {
		t.Fatalf("%d off, %d options", o.Table.Qty, len(o.Table.Options))
	}
	var what struct{ Table struct{ Qty int } }
	call(t, "GET", line+"/options?qty=50", nil, 200, &what)
	if what.Table.Qty != 50 {
		t.Errorf("asked for 50, answered for %d", what.Table.Qty)
	}
	call(t, "PUT", line+"/choice", map[string]any{"option": o.Table.Options[0].ID, "alternatives": []string{o.Table.Options[3].ID}}, 200, nil)
	var quote struct {
		ID   string
		Body struct {
			Sums struct {
				Total int64 `json:"total_minor"`
			}
		}
	}
	call(t, "POST", at+"/requests/"+q.ID+"/quotation", nil, 200, &quote)
	var again refused
	call(t, "POST", at+"/requests/"+q.ID+"/quotation", nil, 409, &again)
	if again.Error.Code != "draft_exists" {
		t.Errorf("a second draft: %+v", again)
	}
	var issued struct{ Token string }
	call(t, "POST", at+"/quotations/"+quote.ID+"/issue", map[string]any{}, 200, &issued)
	link := at + "/links/" + issued.Token
	call(t, "GET", link, nil, 200, nil)
	call(t, "POST", link+"/ask", map[string]any{"name": "A. Reed", "text": "Sooner?"}, 200, nil)
	var order struct {
		ID    string
		Total int64 `json:"total_minor"`
	}
	call(t, "POST", link+"/accept", map[string]any{"quotation": quote.ID, "name": "A. Reed", "reference": "PO-1", "choices": map[string]string{}}, 200, &order)
	if order.Total != quote.Body.Sums.Total || order.Total == 0 {
		t.Errorf("ordered for %d, quoted %d", order.Total, quote.Body.Sums.Total)
	}
	call(t, "GET", at+"/orders/"+order.ID, nil, 200, nil)
	for _, x := range []struct {
		method, path string
		body         any
		status       int
		code         string
	}{
		{"GET", "/requests/R-9", nil, 404, "not_found"},
		{"POST", "/requests", map[string]any{"title": 3}, 422, "request_invalid"},
		{"PUT", "/lines/" + f.Lines[0].ID + "/qty", map[string]any{"qty": 0}, 422, "request_invalid"},
		{"GET", "/links/guessed", nil, 404, "link_unknown"},
		{"GET", "/nothing", nil, 404, "path_unknown"},
		{"POST", "/quotations/" + quote.ID + "/withdraw", map[string]any{"reason": "x"}, 409, ""},
	} {
		var e refused
		call(t, x.method, at+x.path, x.body, x.status, &e)
		if e.Error.Message == "" || x.code != "" && e.Error.Code != x.code {
			t.Errorf("%s %s: %+v", x.method, x.path, e)
		}
	}
	call(t, "POST", at+"/requests/"+q.ID+"/close", map[string]any{"to": "lost", "reason": "x"}, 409, nil)
}
