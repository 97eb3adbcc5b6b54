package main

import (
	"bytes"
	"net/http"
	"path/filepath"
	"testing"
	"time"

	"firstoff/checks"
	"firstoff/geom/geomtest"
	"firstoff/intake/stl"
	"firstoff/shopfloor/order"
	"firstoff/web/browsertest"
)

// TestOrdersOfEveryFamily: in a shop with machines of all families a line made on each of them is quoted, ordered and gets a traveller that has its
// build and the operations after it.
func TestOrdersOfEveryFamily(t *testing.T) {
	base := server(t, "--shop", filepath.Join(checks.Root(), "demo", "allround.yaml")) + "/api/v1"
	for _, machine := range []string{"plover", "avocet", "dipper", "ouzel", "sandpiper", "mould-shop"} {
		var q struct{ ID string }
		call(t, "POST", base+"/requests", map[string]any{"title": machine, "client": map[string]any{"firm": "Alder Tools"}}, 200, &q)
		var b bytes.Buffer
		if err := stl.Write(&b, "ball", geomtest.Sphere(15, 48).Mesh); err != nil {
			t.Fatal(err)
		}
		r, err := http.Post(base+"/requests/"+q.ID+"/files?name=ball.stl", "application/octet-stream", &b)
		if err != nil || r.StatusCode != 202 {
			t.Fatalf("upload: %v", err)
		}
		_ = r.Body.Close()
		var f struct {
			Files []struct{ ID, State string }
			Lines []struct{ ID string }
		}
		asked := false
		for deadline := time.Now().Add(browsertest.Patience); ; time.Sleep(20 * time.Millisecond) {
			call(t, "GET", base+"/requests/"+q.ID, nil, 200, &f)
			if len(f.Lines) == 1 && len(f.Files) == 1 && f.Files[0].State == "ready" {
				if asked {
					break
				}
				asked = true
				call(t, "POST", base+"/files/"+f.Files[0].ID+"/unit", map[string]any{"unit": "mm"}, 200, nil)
			}
			if time.Now().After(deadline) {
				t.Fatalf("not ready: %+v", f)
			}
		}
		var o struct {
			Table struct {
				Options []struct{ ID, Machine string }
			}
		}
		call(t, "GET", base+"/lines/"+f.Lines[0].ID+"/options", nil, 200, &o)
		pick := ""
		for _, x := range o.Table.Options {
			if x.Machine == machine {
				pick = x.ID
				break
			}
		}
		if pick == "" {
			t.Errorf("%s is not offered", machine)
			continue
		}
		call(t, "PUT", base+"/lines/"+f.Lines[0].ID+"/qty", map[string]any{"qty": 3}, 200, nil)
		call(t, "PUT", base+"/lines/"+f.Lines[0].ID+"/choice", map[string]any{"option": pick}, 200, nil)
		var d struct{ ID string }
		call(t, "POST", base+"/requests/"+q.ID+"/quotation", nil, 200, &d)
		var issued struct {
			Token     string
			Quotation struct{ ID string }
		}
		call(t, "POST", base+"/quotations/"+d.ID+"/issue", map[string]any{}, 200, &issued)
		var made order.Order
		call(t, "POST", base+"/links/"+issued.Token+"/accept", map[string]any{"quotation": issued.Quotation.ID, "name": "A. Buyer", "reference": "PO", "choices": map[string]string{}}, 200, &made)
		if made.Pieces() != 3 {
			t.Errorf("%s: %d pieces ordered", machine, made.Pieces())
		}
	}
	type listing struct {
		Items []struct {
			Operations []struct{} `json:"operations"`
			Pieces     []string   `json:"pieces"`
		} `json:"items"`
	}
	var l listing
	var board any
	call(t, "GET", base+"/floor", nil, 200, &board) // travellers are opened when the floor is looked at
	call(t, "GET", base+"/travellers", nil, 200, &l)
	if len(l.Items) != 6 {
		t.Fatalf("%d travellers", len(l.Items))
	}
	for i, x := range l.Items {
		if len(x.Pieces) != 3 || len(x.Operations) < 5 {
			t.Errorf("traveller %d: %d pieces, %d operations", i+1, len(x.Pieces), len(x.Operations))
		}
	}
}
