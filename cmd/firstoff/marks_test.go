package main

import (
	"bytes"
	"encoding/json"
	"net/http"
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
	// The page of a request that is being looked over loads itself anew, so the interface is asked until it is ready.
	var f struct {
		Files []struct{ State string }
		Lines []struct{ ID string }
	}
	for until := time.Now().Add(browsertest.Patience); len(f.Lines) == 0 || f.Files[0].State != "ready"; time.Sleep(50 * time.Millisecond) {
		call(t, "GET", base+"/api/v1/requests/"+q.ID, nil, 200, &f)
		if time.Now().After(until) {
			t.Fatalf("not ready: %+v", f)
		}
	}
	page := browsertest.Start(t, base, 1280, 900)
	page.Go("/lines/" + f.Lines[0].ID)
	page.See(".viewer[data-ready=yes] canvas")
	page.See("[data-marks] > button")
	page.Press("[data-marks] > button")
	page.Wait("Number(document.querySelector('.viewer').dataset.marked) > 1")
	page.Picture("line-marked")
	page.Accessible("line, marked")
	page.Press("[data-marks] > button")
	page.Wait("document.querySelector('.viewer').dataset.marked === '0'")
}
