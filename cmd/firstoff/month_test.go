package main

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"firstoff/demo"
	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
	"firstoff/intake/stl"
	"firstoff/shop"
	"firstoff/shopfloor/build"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/purchase"
	"firstoff/shopfloor/traveller"
	"firstoff/web/browsertest"
)

// month plays a month of the shop through its HTTP interface: clients ask and order, people report at machines, builds fail, partners
// deliver bad parts, lots are quarantined, orders are cancelled or changed.
type month struct {
	t    *testing.T
	at   string
	r    *rand.Rand
	cat  *shop.Catalogue
	now  time.Time // played
	ids  int
	lots map[string]string // material → the lot in use
	open map[string]*played

	orders, parts                                                               int
	failed, remade, scrapped, cancelled, written, sent, taken, asked, certified int
}

type played struct {
	order   string
	leaving bool // the client takes the whole order back half-way
}

func (m *month) id() string { m.ids++; return fmt.Sprintf("month-%06d", m.ids) }

func (m *month) get(path string, into any) { m.t.Helper(); call(m.t, "GET", m.at+path, nil, 200, into) }
func (m *month) post(path string, body, into any) {
	m.t.Helper()
	call(m.t, "POST", m.at+path, body, 200, into)
}

func (m *month) when() string {
	m.now = m.now.Add(time.Duration(m.r.IntN(90)) * time.Second)
	return m.now.UTC().Format(time.RFC3339)
}

func (m *month) who() string { return m.cat.People[m.r.IntN(len(m.cat.People))].Name }

// shapes are the parts clients send.
func shapes() map[string]*mesh.Mesh {
	return map[string]*mesh.Mesh{
		"bush": geomtest.Tube(20, 12, 30, 48).Mesh, "cover": geomtest.Box(60, 40, 8).Mesh, "wedge": geomtest.Wedge(40, 30, 20).Mesh, "pin": geomtest.Cylinder(6, 40, 48).Mesh,
		"cone": geomtest.Cone(15, 30, 48).Mesh, "ring": geomtest.Torus(20, 5, 32, 32).Mesh, "bracket": demo.Bracket(), "knob": demo.Knob(),
	}
}

// asks is one client's request, from files to the order.
func (m *month) asks(qty int) string {
	m.t.Helper()
	var q struct{ ID string }
	m.post("/requests", map[string]any{"title": "parts", "client": map[string]any{"firm": fmt.Sprintf("Client %02d", m.r.IntN(40))}}, &q)
	all := shapes()
	names := []string{"bush", "cover", "wedge", "pin", "cone", "ring", "bracket", "knob"}
	lines := 1 + m.r.IntN(2)
	for range lines {
		name := names[m.r.IntN(len(names))]
		var b bytes.Buffer
		if err := stl.Write(&b, "part", all[name]); err != nil {
			m.t.Fatal(err)
		}
		r, err := http.Post(m.at+"/requests/"+q.ID+"/files?name="+name+".stl", "application/octet-stream", &b)
		if err != nil || r.StatusCode != 202 {
			m.t.Fatalf("upload: %v", err)
		}
		_ = r.Body.Close()
	}
	var f struct {
		Files []struct {
			ID, State string
			Unit      struct{ Open bool }
		}
		Lines []struct {
			ID      string
			Options int
		}
	}
	deadline := time.Now().Add(browsertest.Patience)
	asked := map[string]bool{}
	for {
		m.get("/requests/"+q.ID, &f)
		ready := len(f.Files) == lines && len(f.Lines) == lines
		for _, x := range f.Files {
			if x.State == "ready" && !asked[x.ID] {
				asked[x.ID], ready = true, false
				m.post("/files/"+x.ID+"/unit", map[string]any{"unit": "mm"}, nil)
			}
			ready = ready && x.State == "ready"
		}
		if ready {
			break
		}
		if time.Now().After(deadline) {
			m.t.Fatalf("not ready: %+v", f)
		}
		time.Sleep(20 * time.Millisecond)
	}
	for i, l := range f.Lines {
		n := qty / lines
		if i == 0 {
			n = qty - n*(lines-1)
		}
		call(m.t, "PUT", m.at+"/lines/"+l.ID+"/qty", map[string]any{"qty": max(1, n)}, 200, nil)
		var o struct {
			Table struct {
				Options []struct{ ID, Process, Partner string }
			}
		}
		m.get("/lines/"+l.ID+"/options", &o)
		if len(o.Table.Options) == 0 {
			m.t.Fatalf("no option for %s", l.ID)
		}
		pick := o.Table.Options[m.r.IntN(len(o.Table.Options))]
		call(m.t, "PUT", m.at+"/lines/"+l.ID+"/choice", map[string]any{"option": pick.ID}, 200, nil)
	}
	var d struct{ ID string }
	m.post("/requests/"+q.ID+"/quotation", nil, &d)
	var issued struct {
		Token     string
		Quotation struct{ ID string }
	}
	m.post("/quotations/"+d.ID+"/issue", map[string]any{}, &issued)
	var o order.Order
	m.post("/links/"+issued.Token+"/accept", map[string]any{"quotation": issued.Quotation.ID, "name": "A. Buyer", "reference": "PO", "choices": map[string]string{}}, &o)
	m.orders++
	m.parts += o.Pieces()
	return o.ID
}

// lot gives the lot in use of a material, and opens a new one when there is none.
func (m *month) lot(material string) string {
	if l := m.lots[material]; l != "" {
		return l
	}
	var l struct{ ID string }
	m.post("/lots?id="+m.id(), map[string]any{"id": "", "material": material, "received_g": 1e7, "received": m.now.Format(time.DateOnly), "supplier": "Cinder & Vale", "made": m.now.Format(time.RFC3339), "word": "", "left_g": 0, "version": 0}, &l)
	m.lots[material] = l.ID
	return l.ID
}

type card struct {
	Traveller traveller.Traveller
	State     traveller.State
}

func (m *month) report(e traveller.Event) card {
	m.t.Helper()
	e.ID, e.Who = m.id(), m.who()
	body := asMap(m.t, e)
	body["at"] = m.when()
	var c card
	m.post("/travellers/"+e.Traveller+"/events", body, &c)
	return c
}

func asMap(t *testing.T, v any) map[string]any {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]any{}
	if err := json.Unmarshal(b, &out); err != nil {
		t.Fatal(err)
	}
	return out
}

// day is one day on the floor.
func (m *month) day() {
	m.t.Helper()
	var floor struct {
		Short []struct{ Traveller traveller.Traveller }
	}
	m.get("/floor", &floor) // opens travellers
	for _, s := range floor.Short {
		if m.r.IntN(6) == 0 { // the client takes what there is
			m.writeOff(s.Traveller)
			continue
		}
		m.report(traveller.Event{Traveller: s.Traveller.ID, Kind: traveller.Remake})
	}
	m.buy()
	var list struct{ Items []traveller.Traveller }
	for _, state := range []string{"waiting", "in work", "paused", "running"} {
		for offset := 0; ; offset += 500 {
			var page struct{ Items []traveller.Traveller }
			m.get(fmt.Sprintf("/travellers?limit=500&offset=%d&state=%s", offset, url.QueryEscape(state)), &page)
			list.Items = append(list.Items, page.Items...)
			if len(page.Items) < 500 {
				break
			}
		}
	}
	type run struct {
		machine, material string
		layer             float64
	}
	gather := map[run][]string{}
	var runs []run
	for _, t := range list.Items {
		for range 3 {
			var c card
			m.get("/travellers/"+t.ID, &c)
			no := c.State.Next
			if no == 0 || !c.State.Word.Open() {
				break
			}
			op := c.Traveller.Operations[no-1]
			if op.Code == "partner" {
				break
			}
			if op.Makes() && t.Machine != "" {
				k := run{t.Machine, t.Material, t.LayerMM}
				if len(gather[k]) == 0 {
					runs = append(runs, k)
				}
				if len(gather[k]) < 8 {
					gather[k] = append(gather[k], t.ID)
				}
				break
			}
			m.report(traveller.Event{Traveller: t.ID, Op: no, Kind: traveller.Start})
			waiting := c.State.Ops[no-1].Waiting
			scrap := 0
			for range waiting {
				if m.r.IntN(100) == 0 {
					scrap++
				}
			}
			e := traveller.Event{Traveller: t.ID, Op: no, Kind: traveller.Finish, Good: waiting - scrap, Scrap: scrap}
			if scrap > 0 {
				e.Reason = "surface"
			}
			m.report(e)
			m.scrapped += scrap
		}
	}
	for _, k := range runs {
		m.build(k.machine, k.material, gather[k])
	}
	m.send()
}

func (m *month) build(machine, material string, travellers []string) {
	m.t.Helper()
	var b build.Build
	m.post("/builds", map[string]any{"id": m.id(), "machine": machine, "travellers": travellers}, &b)
	at := m.now
	say := func(e build.Event) {
		m.t.Helper()
		e.ID, e.Who = m.id(), m.who()
		body := asMap(m.t, e)
		body["at"] = at.UTC().Format(time.RFC3339)
		m.post("/builds/"+b.ID+"/events", body, nil)
	}
	say(build.Event{Kind: build.Lot, Lot: m.lot(material)})
	e := build.Event{Kind: build.Start}
	for _, c := range b.Checks {
		e.Ticked = append(e.Ticked, c.Code)
	}
	say(e)
	// It takes a little longer than planned, now more, now less.
	at = at.Add(time.Duration(b.PlannedS * 1.06 * math.Exp(0.06*m.r.NormFloat64()) * float64(time.Second)))
	if m.r.IntN(14) == 0 {
		m.failed++
		pieces := b.Pieces()
		m.r.Shuffle(len(pieces), func(i, j int) { pieces[i], pieces[j] = pieces[j], pieces[i] })
		lost := pieces[:1+m.r.IntN(len(pieces))]
		say(build.Event{Kind: build.Fail, Reason: "layer shift", Lost: lost})
		return
	}
	say(build.Event{Kind: build.Finish})
}

// buy asks partners for what waits, and takes in what comes.
func (m *month) buy() {
	m.t.Helper()
	var waits struct {
		Items []struct{ Traveller traveller.Traveller }
	}
	m.get("/purchases/waiting", &waits)
	by := map[string][]string{}
	for _, w := range waits.Items {
		by[w.Traveller.Partner] = append(by[w.Traveller.Partner], w.Traveller.ID)
	}
	for _, p := range m.cat.Partners {
		if len(by[p.ID]) > 0 {
			m.post("/purchases", map[string]any{"id": m.id(), "partner": p.ID, "travellers": by[p.ID]}, nil)
			m.asked++
		}
	}
	var open struct{ Items []purchase.Purchase }
	m.get("/purchases?limit=500&state=asked,sent,promised", &open)
	for _, p := range open.Items {
		say := func(e purchase.Event) {
			m.t.Helper()
			e.ID, e.Who, e.Purchase = m.id(), m.who(), p.ID
			body := asMap(m.t, e)
			body["at"] = m.when()
			m.post("/purchases/"+p.ID+"/events", body, nil)
		}
		switch p.Word {
		case purchase.Asked:
			say(purchase.Event{Kind: purchase.Send, Reference: "mail"})
		case purchase.Sent:
			say(purchase.Event{Kind: purchase.Promise, Due: m.now.AddDate(0, 0, 5).Format(time.DateOnly)})
		case purchase.Promised:
			for i, it := range p.Items {
				say(purchase.Event{Kind: purchase.Receive, Item: i + 1, Count: len(it.Pieces)})
				scrap := 0
				if m.r.IntN(10) == 0 {
					scrap = 1
				}
				e := purchase.Event{Kind: purchase.Check, Item: i + 1, Good: len(it.Pieces) - scrap, Scrap: scrap}
				if scrap > 0 {
					e.Reason = "out of tolerance"
					m.scrapped++
				}
				say(e)
			}
		}
	}
}

// writeOff gives up the scrap of a traveller.
func (m *month) writeOff(t traveller.Traveller) {
	m.t.Helper()
	var o order.Order
	m.get("/orders/"+t.OrderID, &o)
	for _, l := range o.Lines {
		if ids := l.In(order.Scrap); l.Position == t.Position && len(ids) > 0 {
			m.post("/orders/"+o.ID+"/write-off", map[string]any{"pieces": ids, "reason": "the client takes what there is"}, nil)
			m.written += len(ids)
		}
	}
}

// send sends out what is good, not always all at once; some clients cancel on the way.
func (m *month) send() {
	m.t.Helper()
	for id, p := range sorted(m.open) {
		var o order.Order
		m.get("/orders/"+id, &o)
		if o.State == order.Delivered || o.State == order.Cancelled {
			delete(m.open, id)
			continue
		}
		if p.leaving && o.State == order.InWork {
			p.leaving = false
			if m.r.IntN(2) == 0 {
				m.post("/orders/"+id+"/cancel", map[string]any{"reason": "project stopped"}, nil)
			} else if ids := o.Lines[0].Least(1 + len(o.Lines[0].Pieces)/4); len(ids) > 0 {
				m.post("/orders/"+id+"/cancel", map[string]any{"pieces": ids, "reason": "fewer will do"}, nil)
			}
			m.cancelled++
			continue
		}
		ready := o.Ready()
		if len(ready) == 0 || o.State != order.Done && m.r.IntN(3) > 0 {
			continue
		}
		var out struct {
			Delivery order.Delivery
		}
		m.post("/orders/"+id+"/deliveries", map[string]any{"pieces": ready, "carrier": "parcel"}, &out)
		m.sent++
		if m.r.IntN(5) == 0 {
			m.certify(o, out.Delivery)
		}
		if m.r.IntN(60) == 0 {
			m.taken++
			m.post("/orders/"+id+"/deliveries/"+out.Delivery.ID+"/take-back", map[string]any{"reason": "the van came back"}, nil)
		}
	}
}

// certify opens a sheet for the first line a delivery brought something of, measures every piece, and issues the certificate.
func (m *month) certify(o order.Order, d order.Delivery) {
	m.t.Helper()
	line := o.Lines[0]
	for _, l := range o.Lines {
		for _, p := range l.Pieces {
			if slices.Contains(d.Pieces, p.ID) {
				line = l
			}
		}
	}
	var list struct{ Items []traveller.Traveller }
	id := ""
	for offset := 0; id == ""; offset += 500 {
		m.get(fmt.Sprintf("/travellers?limit=500&offset=%d", offset), &list)
		for _, t := range list.Items {
			if t.OrderID == o.ID && t.Position == line.Position {
				id = t.ID
			}
		}
		if len(list.Items) < 500 {
			break
		}
	}
	var sheet struct{ ID string }
	m.post("/inspections", map[string]any{"traveller": id}, &sheet)
	var card struct {
		Standing struct {
			Word   string
			Sample []string
		}
	}
	at := m.when()
	event := func(more map[string]any) {
		m.t.Helper()
		body := map[string]any{"id": m.id(), "sheet": "", "act": "value", "who": m.who(), "at": at, "received": at}
		for k, v := range more {
			body[k] = v
		}
		m.post("/inspections/"+sheet.ID+"/events", body, &card)
	}
	m.get("/inspections/"+sheet.ID, &card)
	if card.Standing.Word == "no plan" {
		event(map[string]any{"act": "plan", "level": "II", "characteristics": []map[string]any{{"balloon": 1, "name": "looks", "kind": "visual", "designator": "major", "nominal": 1, "limits": map[string]any{"lower": 0.5, "upper": 1.5}, "unit": ""}}})
		for _, p := range card.Standing.Sample {
			event(map[string]any{"balloon": 1, "piece": p, "value": 1})
		}
	}
	var k struct {
		Record struct{ Certificate struct{ Number string } }
	}
	m.post("/orders/"+o.ID+"/certificates", map[string]any{"by": "Owner", "delivery": d.ID, "line": line.Position}, &k)
	if k.Record.Certificate.Number == "" {
		m.t.Error("no certificate")
	}
	m.certified++
}

func sorted[V any](in map[string]V) func(yield func(string, V) bool) {
	keys := make([]string, 0, len(in))
	for k := range in {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return func(yield func(string, V) bool) {
		for _, k := range keys {
			if !yield(k, in[k]) {
				return
			}
		}
	}
}

// quarantine takes the lot of the material used most out of use: its parts that are still here become scrap.
func (m *month) quarantine() string {
	m.t.Helper()
	best, most := "", 0
	for material, lot := range sorted(m.lots) {
		var tr struct{ Pieces []string }
		m.get("/trace?of="+lot, &tr)
		if len(tr.Pieces) > most {
			best, most = material, len(tr.Pieces)
		}
	}
	lot := m.lots[best]
	if lot == "" {
		m.t.Fatal("no lot to quarantine")
	}
	m.post("/lots/"+lot+"/events", map[string]any{"id": m.id(), "lot": lot, "kind": "quarantine", "reason": "out of its melt flow", "who": m.who(), "at": m.when(), "received": m.when()}, nil)
	delete(m.lots, best)
	var tr struct {
		Rows []struct {
			Piece, Number, Traveller string
			OrderID                  string `json:"order_id"`
		}
	}
	m.get("/trace?of="+lot, &tr)
	by := map[string][]string{}
	for _, r := range tr.Rows {
		if !slices.Contains(by[r.Traveller], r.Piece) {
			by[r.Traveller] = append(by[r.Traveller], r.Piece)
		}
	}
	for id, pieces := range sorted(by) {
		var c card
		m.get("/travellers/"+id, &c)
		var o order.Order
		m.get("/orders/"+c.Traveller.OrderID, &o)
		var out []string
		for _, l := range o.Lines {
			for _, p := range l.Pieces {
				// The attempt with the lot in it must be the one that stands, and still be here.
				latest := ""
				for _, x := range c.State.Pieces {
					if traveller.Number(x.ID) == p.ID && !x.Scrap && !x.Away {
						latest = x.ID
					}
				}
				if latest != "" && slices.Contains(pieces, latest) && !p.Settled() {
					out = append(out, p.ID)
				}
			}
		}
		if len(out) > 0 {
			m.report(traveller.Event{Traveller: id, Kind: traveller.Reject, Pieces: out, Reason: "made of quarantined lot " + lot})
			m.scrapped += len(out)
		}
	}
	return lot
}

// TestMonth plays 400 orders of 6,000 parts when FIRSTOFF_SLOW is set, and a few otherwise. At the end every part is delivered, cancelled, or
// written off with a reason, the doctor is content, and finds and names one flipped byte.
func TestMonth(t *testing.T) {
	orders, parts, seed := 10, 150, uint64(20261201)
	if os.Getenv("FIRSTOFF_SLOW") != "" {
		orders, parts = 400, 6000
	}
	dir := filepath.Join(t.TempDir(), "desk")
	ctx, cancel := context.WithCancel(context.Background())
	base, stopped := serving(t, ctx, dir)
	m := &month{t: t, at: base + "/api/v1", r: rand.New(rand.NewPCG(seed, 1)), cat: demo.Shop(), lots: map[string]string{}, open: map[string]*played{}}
	m.now = time.Now().Add(-29 * 24 * time.Hour)
	const days = 21
	quarantined := []string{}
	for d := range days {
		m.now = time.Now().Add(-29*24*time.Hour).AddDate(0, 0, d)
		for m.orders < orders*(d+1)/days {
			qty := 1 + m.r.IntN(29)
			if left := orders - m.orders; left <= 3 {
				qty = max(1, (parts-m.parts+left-1)/left)
			}
			m.open[m.asks(qty)] = &played{leaving: m.r.IntN(20) == 0}
		}
		m.day()
		if d == 5 || d == 11 || d == 17 {
			quarantined = append(quarantined, m.quarantine())
		}
	}
	// Nothing new comes; what is open is worked off.
	for d := 0; len(m.open) > 0; d++ {
		if d > 60 {
			for id := range m.open {
				var o order.Order
				m.get("/orders/"+id, &o)
				for _, l := range o.Lines {
					var tr struct{ Items []traveller.Traveller }
					m.get("/travellers?limit=500", &tr)
					for _, x := range tr.Items {
						if x.OrderID == id && x.Position == l.Position {
							var c card
							m.get("/travellers/"+x.ID, &c)
							t.Logf("%s %+v %+v", x.ID, x.Operations, c.State)
						}
					}
					t.Logf("%s %s: %s, %s%s", id, o.State, l.Standing(), l.Option.Machine, l.Option.Partner)
				}
			}
			t.Fatalf("%d orders do not end", len(m.open))
		}
		m.now = time.Now().Add(-time.Duration(60-d) * time.Hour)
		m.day()
	}
	for offset := 0; ; offset += 500 {
		var page struct{ Items []traveller.Traveller }
		m.get(fmt.Sprintf("/travellers?limit=500&offset=%d", offset), &page)
		for _, x := range page.Items {
			var c card
			m.get("/travellers/"+x.ID, &c)
			m.remade += c.State.Remade
			if len(c.State.Misfits) > 0 || c.State.Word.Open() {
				t.Errorf("%s is %s, misfits %v", x.ID, c.State.Word, c.State.Misfits)
			}
		}
		if len(page.Items) < 500 {
			break
		}
	}
	count := map[string]int{}
	n := 0
	for offset := 0; ; offset += 500 {
		var page struct{ Items []order.Order }
		m.get(fmt.Sprintf("/orders?limit=500&offset=%d", offset), &page)
		for _, o := range page.Items {
			for _, l := range o.Lines {
				for _, p := range l.Pieces {
					n++
					count[p.State]++
					if !p.Settled() || p.State != order.PieceDelivered && p.Reason == "" || p.State == order.PieceDelivered && p.Delivery == "" {
						t.Errorf("%s is %s, reason %q", p.ID, p.State, p.Reason)
					}
				}
			}
		}
		if len(page.Items) < 500 {
			break
		}
	}
	if n < parts || m.orders != orders || len(quarantined) != 3 || m.failed == 0 && orders > 100 {
		t.Errorf("%d parts, %d orders, %d lots quarantined, %d builds failed", n, m.orders, len(quarantined), m.failed)
	}
	for _, lot := range quarantined {
		var tr struct {
			Pieces  []string
			Clients []struct{ ID, Name string }
		}
		began := time.Now()
		m.get("/trace?of="+lot, &tr)
		if len(tr.Pieces) == 0 || len(tr.Clients) == 0 {
			t.Errorf("lot %s leads to %d pieces, %d clients", lot, len(tr.Pieces), len(tr.Clients))
		}
		t.Logf("bad lot %s: %d parts, %d clients in %v", lot, len(tr.Pieces), len(tr.Clients), time.Since(began).Round(time.Millisecond))
	}
	t.Logf("%d orders, %d parts: %v; %d builds failed, %d parts made again, %d scrapped on the floor, %d written off, %d orders changed or cancelled, %d deliveries (%d taken back, %d certified), %d purchases", m.orders, n, count, m.failed, m.remade, m.scrapped, m.written, m.cancelled, m.sent, m.taken, m.certified, m.asked)
	b := browsertest.Start(t, base, 1280, 900)
	for _, p := range []string{"/books", "/accuracy"} {
		b.Go(p)
		b.See("h1")
		b.Picture("month" + strings.ReplaceAll(p, "/", "-"))
		b.Accessible(p + " after a month")
	}
	cancel()
	stopped()

	var out bytes.Buffer
	doctor := func() int {
		out.Reset()
		return run(context.Background(), []string{"doctor", "--dir", dir}, streams{strings.NewReader(""), &out, &out})
	}
	if code := doctor(); code != 0 {
		t.Fatalf("the doctor says %d:\n%s", code, out.String())
	}
	t.Logf("doctor: %s", strings.TrimSpace(out.String()))
	// One byte of one event is changed behind the program's back.
	db, err := sql.Open("sqlite", filepath.Join(dir, "records.db"))
	if err != nil {
		t.Fatal(err)
	}
	var seq int64
	var about, is string
	if err := db.QueryRow("SELECT seq, about, is_now FROM events WHERE what = 'floor.finish' ORDER BY seq LIMIT 1 OFFSET 7").Scan(&seq, &about, &is); err != nil {
		t.Fatal(err)
	}
	for _, s := range []string{"DROP TRIGGER events_update", fmt.Sprintf("UPDATE events SET is_now = replace(is_now, '\"good\":', '\"gooc\":') WHERE seq = %d", seq)} {
		if _, err := db.Exec(s); err != nil {
			t.Fatal(err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if code := doctor(); code == 0 || !strings.Contains(out.String(), about) || !strings.Contains(out.String(), fmt.Sprint(seq)) {
		t.Errorf("the flipped byte of event %d about %s was not named: %d\n%s", seq, about, code, out.String())
	}
	t.Logf("doctor after the flipped byte: %s", strings.TrimSpace(out.String()))
}
