package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"mime/multipart"
	"net/http"
	"os"
	"strings"
	"testing"

	"firstoff/checks"
	"firstoff/geom/geomtest"
	"firstoff/geom/r3"
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
			Material   string     `json:"material"`
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
	at := "2031-03-03T09:00:00Z"
	var lot struct{ ID string }
	said(t, base+"/api/v1/lots?id=walk-lot-1", map[string]any{"id": "", "material": card.Traveller.Material, "received_g": 1000, "received": "2026-11-01", "made": at, "word": "", "left_g": 0, "version": 0}, &lot)
	said(t, base+"/api/v1/travellers/T-1001/events", map[string]any{"id": "walk-lot-2", "op": 2, "kind": "lot", "lot": lot.ID, "who": "P", "traveller": "", "at": at, "received": at}, nil)
	for op := range card.Traveller.Operations {
		said(t, base+"/api/v1/travellers/T-1001/events", map[string]any{"id": fmt.Sprintf("walk-%05d", op), "op": op + 1, "kind": "finish", "good": len(card.Traveller.Pieces), "who": "P", "traveller": "", "at": "2031-03-03T09:00:00Z", "received": "2031-03-03T09:00:00Z"}, nil)
	}
	order := "/orders/" + card.Traveller.OrderID
	proved(t, b, base, order)
	b.Go(order)
	b.See("#deliver")
	b.Picture("order-made")
	b.Accessible("order with parts to send")
	b.Fill("#carrier", "own van")
	b.Press("#deliver button.first")
	b.Wait("document.body.innerText.includes('D-1001')")
	certified(t, b, base)
	b.Picture("order-delivered")
	b.Accessible("order delivered")
	b.EvalString("document.querySelector('#deliveries details').open = true; ''")
	b.Fill("#back-D-1001", "the van was full")
	b.Press("#deliveries form button")
	b.Wait("document.body.innerText.includes('taken back: the van was full')")
	b.Go(order + "/cancel?n1=1")
	b.See("#reason")
	b.Picture("order-cancel")
	b.Accessible("cancelling")
	b.Fill("#reason", "one less")
	b.Press("form.card button.warn")
	b.Wait("document.body.innerText.includes('cancelled, one less')")
	b.Picture("order-changed")
	scanned(t, b, base, order)
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

// proved inspects the first traveller: a plan proposed from the file, values entered cell by cell, one that does not conform, what becomes of it.
func proved(t *testing.T, b *browsertest.Browser, base, order string) {
	t.Helper()
	b.Go("/instruments")
	b.Fill("#i-id", "calliper-150")
	b.Fill("#i-name", "calliper")
	b.Fill("#i-to", "150")
	b.Fill("#i-u", "0.03")
	b.Fill("#i-step", "0.01")
	b.EvalString("document.querySelector('#i-due').value = '2099-01-01'; ''")
	b.Press("form.card button.first")
	b.Wait("document.body.innerText.includes('calliper-150')")
	b.Picture("instruments")
	b.Accessible("instruments")
	b.Go("/inspection")
	b.Fill("#open-traveller", "T-1001")
	b.Press("form[action='/inspection'] button")
	b.See("#class")
	b.Press("form[method=get] button")
	b.Wait("document.querySelector('input[name=name]').value == 'length'")
	b.Picture("inspection-plan")
	b.Accessible("inspection plan")
	b.Press("form[action$='/plan'] button.first")
	b.See("form[data-grid]")
	b.EvalString("document.querySelectorAll('form[data-grid] select').forEach(s => s.value = 'calliper-150'); ''")
	enter := func(cell, value, says string) {
		t.Helper()
		b.EvalString("(() => { const c = document.querySelector(\"input[name='" + cell + "']\"); c.value = '" + value + "'; c.dispatchEvent(new Event('change')); return ''; })()")
		b.Wait("document.querySelector(\"input[name='" + cell + "']\").dataset.decision == '" + says + "'")
	}
	enter("v-1-1-0", "48.02", "accept")
	enter("v-2-1-0", "47.98", "accept")
	enter("v-3-1-0", "41.2", "reject")
	b.Picture("inspection-values")
	b.Accessible("inspection values")
	sheet := b.EvalString("location.pathname")
	b.Go(sheet)
	b.Wait("document.body.innerText.includes('Pieces that do not conform')")
	b.Picture("inspection-rejected")
	b.Press("form[action='/nonconformances'] button.warn")
	b.Wait("document.body.innerText.includes('These parts are held')")
	b.Picture("nonconformance")
	b.Accessible("nonconformance")
	record := b.EvalString("location.pathname")
	// Held: nothing goes out.
	b.Go(order)
	b.Press("#deliver button.first")
	b.Wait("document.body.innerText.includes('holds parts of this order')")
	b.Go(record)
	b.EvalString("document.querySelector('#nc-what').value = 'use as is'; document.querySelector('#nc-as').value = 'quality'; ''")
	b.Fill("#nc-by", "Owner")
	b.Fill("#nc-conc", "mail of today")
	b.Fill("#nc-why", "it fits all the same")
	b.Press("#dispose button.first")
	b.Wait("document.body.innerText.includes('concession mail of today')")
	b.Press("button[value=close]")
	b.Wait("document.body.innerText.includes('closed')")
	b.Picture("nonconformance-closed")
	printed(t, base+sheet+"/first-article", "First article report I-1001")
	b.Go("/inspection")
	b.Picture("inspection")
	b.Accessible("inspection list")
	b.Go("/gauges")
	study, err := os.ReadFile(checks.Handbook(t, "grr_aiag.csv"))
	if err != nil {
		t.Fatal(err)
	}
	text, _ := json.Marshal(string(study))
	b.EvalString("document.querySelector('#values').value = " + string(text) + "; ''")
	b.Press("form.card button.first")
	b.Wait("document.body.innerText.includes('26.7 %')")
	b.Picture("gauges")
	b.Accessible("gauge study")
}

// certified issues the certificate of the delivery, and looks it up as somebody with the paper in hand.
func certified(t *testing.T, b *browsertest.Browser, base string) {
	t.Helper()
	b.Fill("#cert-by-D-1001", "Owner")
	b.Press("form[action$='/certify'] button")
	b.Wait("document.querySelector('#certificates a')?.innerText == 'K-1001'")
	order := b.EvalString("location.pathname")
	printed(t, base+"/certificates/K-1001/pdf", "Certificate of conformity K-1001")
	printed(t, base+order+"/deliveries/D-1001/packing", "Packing list D-1001")
	printed(t, base+order+"/deliveries/D-1001/labels", "bracket.stl")
	code := b.EvalString("document.querySelector('#certificates .mono').innerText")
	b.Go("/verify")
	b.Fill("#v-number", "k-1001")
	b.Fill("#v-code", strings.ToLower(strings.ReplaceAll(code, "-", " ")))
	b.Press("form.card button.first")
	b.Wait("document.body.innerText.includes('Genuine and unchanged')")
	b.Picture("verify")
	b.Accessible("verify")
	b.Go("/verify/K-1001?code=0000-0000-0000-0000")
	b.Wait("document.body.innerText.includes('does not belong')")
	b.Go(order)
	b.See("#certificates")
}

// scanned holds measured points against the part of line 1: its own corners and middles of facets, moved, turned and a little off.
func scanned(t *testing.T, b *browsertest.Browser, base, order string) {
	t.Helper()
	m := geomtest.Tube(24, 15, 40, 96).Mesh
	r := rand.New(rand.NewPCG(9, 9))
	q := geomtest.Turn(r)
	var text bytes.Buffer
	for f := range m.Facets() {
		x, y, z := m.Vertex(m.Tri[3*f]), m.Vertex(m.Tri[3*f+1]), m.Vertex(m.Tri[3*f+2])
		for range 12 {
			u, v := r.Float64(), r.Float64()
			if u+v > 1 {
				u, v = 1-u, 1-v
			}
			p := x.Add(y.Sub(x).Mul(u)).Add(z.Sub(x).Mul(v)).Add(m.FacetNormal(f).Mul(0.03 * r.NormFloat64()))
			p = q.Rotate(p).Add(r3.Vec{X: 300, Y: 20, Z: -8})
			fmt.Fprintf(&text, "%.4f %.4f %.4f\n", p.X, p.Y, p.Z)
		}
	}
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	part, _ := w.CreateFormFile("file", "bracket.xyz")
	_, _ = part.Write(text.Bytes())
	for k, v := range map[string]string{"line": "1", "tolerance": "0.4", "unit": "mm"} {
		_ = w.WriteField(k, v)
	}
	_ = w.Close()
	res, err := http.Post(base+order+"/scans", w.FormDataContentType(), &body)
	if err != nil || res.StatusCode != 200 || !strings.HasPrefix(res.Request.URL.Path, "/scans/S-") {
		var why bytes.Buffer
		_, _ = why.ReadFrom(res.Body)
		t.Fatalf("%v %d %s %s", err, res.StatusCode, res.Request.URL, why.String())
	}
	_ = res.Body.Close()
	b.Go(res.Request.URL.Path)
	b.Wait("document.body.innerText.includes('conforms')")
	b.Picture("scan")
	b.Accessible("scan")
	printed(t, base+res.Request.URL.Path+"/report.pdf", "Scan against the part as drawn")
}
