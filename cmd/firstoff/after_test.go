package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"testing"

	"firstoff/web/browsertest"
)

// said posts JSON and reads the answer.
func said(t *testing.T, url string, body, answer any) {
	t.Helper()
	b, err := json.Marshal(body)
	if err != nil {
		t.Fatal(err)
	}
	r, err := http.Post(url, "application/json", bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	if r.StatusCode/100 != 2 {
		var why bytes.Buffer
		_, _ = why.ReadFrom(r.Body)
		t.Fatalf("%s: %d %s", url, r.StatusCode, why.String())
	}
	if answer != nil {
		if err := json.NewDecoder(r.Body).Decode(answer); err != nil {
			t.Fatal(err)
		}
	}
}

// afterTheOrder goes on where the walk ended: the parts of the first traveller are made, some go out, that is taken back, the rest of the
// order is looked at for cancelling, and a program is told.
func afterTheOrder(t *testing.T, b *browsertest.Browser, base string) {
	t.Helper()
	var card struct {
		Traveller struct {
			OrderID    string     `json:"order_id"`
			Operations []struct{} `json:"operations"`
			Pieces     []string   `json:"pieces"`
		} `json:"traveller"`
	}
	r, err := http.Get(base + "/api/v1/travellers/T-1001")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.NewDecoder(r.Body).Decode(&card); err != nil {
		t.Fatal(err)
	}
	_ = r.Body.Close()
	for op := range card.Traveller.Operations {
		said(t, base+"/api/v1/travellers/T-1001/events", map[string]any{"id": fmt.Sprintf("walk-%05d", op), "op": op + 1, "kind": "finish", "good": len(card.Traveller.Pieces), "who": "P", "traveller": "", "at": "2031-03-03T09:00:00Z", "received": "2031-03-03T09:00:00Z"}, nil)
	}
	order := "/orders/" + card.Traveller.OrderID
	b.Go(order)
	b.See("#deliver")
	b.Picture("order-made")
	b.Accessible("order with parts to send")
	b.Fill("#carrier", "own van")
	b.Press("#deliver button.first")
	b.Wait("document.body.innerText.includes('D-1001')")
	b.Picture("order-delivered")
	b.Accessible("order delivered")
	b.EvalString("document.querySelector('#deliveries details').open = true; ''")
	b.Fill("#back-D-1001", "the van was full")
	b.Press("#deliveries form button")
	b.Wait("document.body.innerText.includes('taken back')")
	b.Go(order + "/cancel?n1=1")
	b.See("#reason")
	b.Picture("order-cancel")
	b.Accessible("cancelling")
	b.Fill("#reason", "one less")
	b.Press("form.card button.warn")
	b.Wait("document.body.innerText.includes('cancelled, one less')")
	b.Picture("order-changed")
	for _, p := range []string{order + "/ubl", "/orders.xlsx", "/travellers.csv", "/purchases.xlsx"} {
		r, err := http.Get(base + p)
		if err != nil || r.StatusCode != 200 {
			t.Errorf("%s: %v %d", p, err, r.StatusCode)
		}
		_ = r.Body.Close()
	}
	b.Go("/subscribers")
	b.Fill("#sub-url", base+"/nobody-listens")
	b.Fill("#sub-what", "order.")
	b.Press("form.card button.first")
	b.Wait("document.body.innerText.includes('W-1001')")
	b.Press("#W-1001 button[value=try]")
	b.Wait("document.body.innerText.includes('The last 1 messages')")
	b.Picture("subscribers")
	b.Accessible("subscribers")
}
