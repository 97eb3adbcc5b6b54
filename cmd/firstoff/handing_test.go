package main

import (
	"bytes"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"firstoff/geom/geomtest"
	"firstoff/intake/content"
	"firstoff/intake/stl"
	"firstoff/intake/threemf"
	"firstoff/web/browsertest"
)

// What the desk decided is handed on: the posed part as STL and 3MF stands on the platform with its volume, a build holds each piece once.
func TestHandedOn(t *testing.T) {
	base := server(t)
	at := base + "/api/v1"
	solid := geomtest.Tube(20, 12, 30, 64)
	var q struct{ ID string }
	call(t, "POST", at+"/requests", map[string]any{"title": "x", "client": map[string]any{"firm": "Alder Tools"}}, 200, &q)
	var b bytes.Buffer
	if err := stl.Write(&b, "part", solid.Mesh); err != nil {
		t.Fatal(err)
	}
	r, err := http.Post(at+"/requests/"+q.ID+"/files?name=bush.stl", "application/octet-stream", &b)
	if err != nil {
		t.Fatal(err)
	}
	_ = r.Body.Close()
	var f struct {
		Files []struct{ ID, State string }
		Lines []struct{ ID string }
	}
	for until := time.Now().Add(browsertest.Patience); len(f.Files) == 0 || f.Files[0].State != "ready"; time.Sleep(30 * time.Millisecond) {
		call(t, "GET", at+"/requests/"+q.ID, nil, 200, &f)
		if time.Now().After(until) {
			t.Fatalf("%+v", f)
		}
	}
	line := at + "/lines/" + f.Lines[0].ID
	call(t, "PUT", line+"/qty", map[string]any{"qty": 3}, 200, nil)
	var o struct {
		Table struct {
			Options []struct{ ID, Machine, Process string }
		}
	}
	call(t, "GET", line+"/options", nil, 200, &o)
	for _, x := range o.Table.Options {
		if x.Process == "MEX" {
			call(t, "PUT", line+"/choice", map[string]any{"option": x.ID}, 200, nil)
			break
		}
	}
	var d struct{ ID string }
	call(t, "POST", at+"/requests/"+q.ID+"/quotation", nil, 200, &d)
	var issued struct {
		Token     string
		Quotation struct{ ID string }
	}
	call(t, "POST", at+"/quotations/"+d.ID+"/issue", map[string]any{}, 200, &issued)
	call(t, "POST", at+"/links/"+issued.Token+"/accept", map[string]any{"quotation": issued.Quotation.ID, "name": "A", "reference": "", "choices": map[string]string{}}, 200, nil)
	call(t, "GET", at+"/floor", nil, 200, nil)
	var card struct{ Traveller struct{ Machine string } }
	call(t, "GET", at+"/travellers/T-1001", nil, 200, &card)
	get := func(path string) []byte {
		t.Helper()
		r, err := http.Get(base + path)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		all, err := io.ReadAll(r.Body)
		if err != nil || r.StatusCode != 200 {
			t.Fatalf("%s: %d %v %.200s", path, r.StatusCode, err, all)
		}
		return all
	}
	one, err := stl.Read(t.Context(), get("/t/T-1001/files/part.stl"), content.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	m := one.Bodies[0].Mesh
	if box := m.Box(); box.Min.Norm() > 1e-3 {
		t.Errorf("the part does not stand at the origin: %v", box.Min)
	}
	geomtest.Near(t, "volume", m.Measure().VolumeMM3, solid.Mesh.Measure().VolumeMM3, 1e-5)
	if _, err := threemf.Read(t.Context(), get("/t/T-1001/files/part.3mf"), content.Limits{}); err != nil {
		t.Error(err)
	}
	now := time.Now().UTC().Format(time.RFC3339)
	call(t, "POST", at+"/travellers/T-1001/events", map[string]any{"id": "hand-0001", "op": 1, "kind": "finish", "good": 3, "who": "P", "traveller": "", "at": now, "received": now}, 200, nil)
	var build struct{ ID string }
	call(t, "POST", at+"/builds", map[string]any{"id": "hand-0002", "machine": card.Traveller.Machine, "travellers": []string{"T-1001"}}, 200, &build)
	all, err := threemf.Read(t.Context(), get("/b/"+build.ID+"/build.3mf"), content.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	v := 0.0
	for _, x := range all.Bodies {
		v += x.Mesh.Measure().VolumeMM3
	}
	geomtest.Near(t, "three pieces", v, 3*solid.Mesh.Measure().VolumeMM3, 1e-5)
	// The paper shows the pose and the slot.
	card2 := filepath.Join(t.TempDir(), "card.pdf")
	if err := os.WriteFile(card2, get("/t/T-1001/pdf"), 0o600); err != nil {
		t.Fatal(err)
	}
	text, err := exec.Command("pdftotext", "-layout", card2, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"As it lies in the machine", "mm high", build.ID + " on ", "filled: the 3 of this card"} {
		if !strings.Contains(strings.Join(strings.Fields(string(text)), " "), want) {
			t.Errorf("the traveller's paper does not say %q:\n%s", want, text)
		}
	}
	if r, err := http.Get(base + "/t/T-1001/files/part.obj"); err != nil || r.StatusCode != 404 {
		t.Errorf("%v %d", err, r.StatusCode)
	}
}
