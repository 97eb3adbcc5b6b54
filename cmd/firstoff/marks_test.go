package main

import (
	"bytes"
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"firstoff/geom/geomtest"
	"firstoff/intake/stl"
	"firstoff/web/browsertest"
)

// TestMarkedOnTheModel: a finding with a place has a button on the part's page that marks it on the model, and takes the marks away again.
func TestMarkedOnTheModel(t *testing.T) {
	base := server(t)
	post := func(url, kind string, body []byte, into any) {
		t.Helper()
		r, err := http.Post(base+url, kind, bytes.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		if r.StatusCode/100 != 2 {
			t.Fatalf("%s: %s", url, r.Status)
		}
		if err := json.NewDecoder(r.Body).Decode(into); err != nil {
			t.Fatal(err)
		}
	}
	var q struct {
		ID string `json:"id"`
	}
	post("/api/v1/requests", "application/json", []byte(`{"title":"spool","client":{"firm":"Alder Tools"}}`), &q)
	// a spool: its groove hangs over in every pose
	var b bytes.Buffer
	spool := geomtest.Revolve("spool", 96, true, [2]float64{15, 0}, [2]float64{24, 0}, [2]float64{24, 8}, [2]float64{20, 8}, [2]float64{20, 32}, [2]float64{24, 32}, [2]float64{24, 40}, [2]float64{15, 40})
	if err := stl.Write(&b, "spool", spool.Mesh); err != nil {
		t.Fatal(err)
	}
	var any map[string]any
	post("/api/v1/requests/"+q.ID+"/files?name=spool.stl", "application/octet-stream", b.Bytes(), &any)
	page := browsertest.Start(t, base, 1280, 900)
	page.Go("/requests/" + q.ID)
	for range 200 { // until the file is looked over
		if strings.Contains(page.EvalString("String(document.querySelectorAll(\"a[href^='/lines/']\").length)"), "0") {
			time.Sleep(100 * time.Millisecond)
			page.Go("/requests/" + q.ID)
		}
	}
	page.Eval("location.href = [...document.querySelectorAll(\"a[href^='/lines/']\")].map(a => a.href).find(h => /L-\\d+$/.test(h))")
	page.See(".viewer[data-ready=yes] canvas")
	page.See("[data-marks] > button")
	page.Press("[data-marks] > button")
	page.Wait("Number(document.querySelector('.viewer').dataset.marked) > 1")
	page.Picture("line-marked")
	page.Accessible("line, marked")
	page.Press("[data-marks] > button")
	page.Wait("document.querySelector('.viewer').dataset.marked === '0'")
}
