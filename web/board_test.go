package web

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-ical"
	"golang.org/x/net/html"

	"firstoff/appraise"
	"github.com/xuri/excelize/v2"

	"firstoff/bureau"
	"firstoff/bureau/planning"
	"firstoff/demo"
	"firstoff/desk/offer"
	"firstoff/desk/quote"
	"firstoff/desk/request"
	"firstoff/digest"
	"firstoff/shop"
	"firstoff/shopfloor/order"
	"firstoff/store"
)

// boardNow is Wednesday 9 September 2026, 10:30 in the made-up shop's zone.
func boardNow() time.Time { return time.Date(2026, 9, 9, 8, 30, 0, 0, time.UTC) }

// lists are steps that only know lists.
type lists struct {
	bureau.Steps
	requests   []bureau.RequestRow
	quotations []quote.Quotation
	orders     []order.Order
}

func cut[T any](all []T, f bureau.Filter) bureau.Listing[T] {
	l := bureau.Listing[T]{Total: len(all), Offset: f.Offset, Limit: f.Limit}
	l.Items = all[min(f.Offset, len(all)):min(f.Offset+f.Limit, len(all))]
	return l
}

func (l lists) Requests(_ context.Context, f bureau.Filter) (bureau.Listing[bureau.RequestRow], error) {
	var out []bureau.RequestRow
	for _, r := range l.requests {
		if len(f.States) == 0 || f.States[0] == string(r.State) {
			out = append(out, r)
		}
	}
	return cut(out, f), nil
}

func (l lists) Quotations(_ context.Context, f bureau.Filter) (bureau.Listing[quote.Quotation], error) {
	return cut(l.quotations, f), nil
}

func (l lists) Orders(_ context.Context, f bureau.Filter) (bureau.Listing[order.Order], error) {
	return cut(l.orders, f), nil
}

// played is a wall over the made-up shop: the real desk, the real plan in a real database.
type played struct {
	*planning.House
	desk *appraise.Desk
	cat  *shop.Catalogue
	load bureau.Load
}

func playedBy(t *testing.T, d *appraise.Desk, cat *shop.Catalogue, load bureau.Load) played {
	t.Helper()
	st, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "records.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = st.Close() })
	if err := st.Migrate(t.Context()); err != nil {
		t.Fatal(err)
	}
	h, err := planning.New(planning.Ports{Records: st, Clock: boardNow, Catalogue: func() *shop.Catalogue { return cat }, InHand: func(context.Context) (bureau.Load, error) { return load, nil }})
	if err != nil {
		t.Fatal(err)
	}
	return played{h, d, cat, load}
}

func (p played) Board(ctx context.Context) (appraise.Board, planning.Kept, error) {
	k, err := p.InForce(ctx)
	if err != nil {
		return appraise.Board{}, k, err
	}
	load := p.load
	load.Decided = p.DecidedBy(k)
	load.Revision = digest.Of([]byte(k.ID))
	b, err := p.desk.Board(ctx, p.cat, load, k.Plan, boardNow(), 1)
	return b, k, err
}

func (p played) Try(ctx context.Context, c planning.Change) (appraise.Board, planning.Proposal, error) {
	pr, err := p.House.Try(ctx, c)
	if err != nil {
		return appraise.Board{}, pr, err
	}
	load := p.load
	load.Decided = p.DecidedBy(pr.Kept)
	load.Revision = digest.Of([]byte(pr.What))
	b, err := p.desk.Board(ctx, p.cat, load, pr.Kept.Plan, boardNow(), 1)
	return b, pr, err
}

func (p played) WhatIf(ctx context.Context, q appraise.WhatIf) (appraise.Expected, error) {
	return p.desk.WhatIf(ctx, p.cat, p.load, boardNow(), 1, q)
}

// wallOf is the made-up shop with two orders: one that cannot be kept, one with all the time in the world.
func wallOf(t *testing.T) played {
	t.Helper()
	option := offer.Option{Process: "MJT", Machine: "wren", Material: "ACR-R", Steps: []offer.Step{
		{Operation: "build", Resource: "wren", Skill: "operate", HandsS: 900, ElapsedS: 20 * 3600}, {Operation: "inspect", Skill: "inspect", HandsS: 600}}}
	line := func(id, promised string) order.Order {
		return order.Order{ID: id, State: order.Accepted, AcceptedAt: boardNow().Add(-time.Hour), Promised: promised, Lines: []order.Line{{LineID: "L-1", Position: 1, Name: "pump <bracket> & cover", Qty: 2, Option: option, Promised: promised}}}
	}
	return playedBy(t, &appraise.Desk{Replications: 16, Threads: 1}, demo.Shop(), bureau.Load{Orders: []order.Order{line("O-1001", "2026-09-09"), line("O-1002", "2026-12-01")}})
}

func site(d Deps) http.Handler {
	if d.Catalogue == nil {
		d.Catalogue = func() *shop.Catalogue { return demo.Shop() }
	}
	d.Clock = boardNow
	return New(d)
}

func fetch(t *testing.T, h http.Handler, path string) *httptest.ResponseRecorder {
	t.Helper()
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("GET", path, nil))
	return w
}

// page fetches and parses a page.
func page(t *testing.T, h http.Handler, path string) *html.Node {
	t.Helper()
	w := fetch(t, h, path)
	if w.Code != http.StatusOK {
		t.Fatalf("%s: status %d\n%s", path, w.Code, w.Body)
	}
	n, err := html.Parse(w.Body)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// all finds the elements of a name that carry a class ("" any).
func all(n *html.Node, name, class string) []*html.Node {
	var out []*html.Node
	for c := range n.Descendants() {
		if c.Type == html.ElementNode && c.Data == name && (class == "" || strings.Contains(" "+attr(c, "class")+" ", " "+class+" ")) {
			out = append(out, c)
		}
	}
	return out
}

func attr(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}

func byID(n *html.Node, id string) *html.Node {
	for c := range n.Descendants() {
		if c.Type == html.ElementNode && attr(c, "id") == id {
			return c
		}
	}
	return nil
}

func wordsIn(n *html.Node) string {
	var b strings.Builder
	for c := range n.Descendants() {
		if c.Type == html.TextNode {
			b.WriteString(c.Data + " ")
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// The board shows every build as a bar with a name and a link, marks the promise that cannot be kept by shape and word,
// lists it with what it waits for, and says the same in a table.
func TestBoardPage(t *testing.T) {
	wall := wallOf(t)
	h := site(Deps{Wall: wall})
	p := page(t, h, "/board")
	bars := all(p, "a", "bar")
	if len(bars) < len(wall.cat.Workload) {
		t.Fatalf("%d bars for %d pieces of work", len(bars), len(wall.cat.Workload))
	}
	late, running := 0, 0
	for _, b := range bars {
		label := attr(b, "aria-label")
		titles := all(b, "title", "")
		if label == "" || len(titles) != 1 || wordsIn(titles[0]) != strings.Join(strings.Fields(label), " ") {
			t.Errorf("a bar has the label %q and the title %v", label, titles)
		}
		href := attr(b, "href")
		if id, ok := strings.CutPrefix(href, "#"); ok {
			if byID(p, id) == nil {
				t.Errorf("the bar %q leads to %s, which is not there", label, href)
			}
		} else if href != "/orders/O-1001" && href != "/orders/O-1002" {
			t.Errorf("the bar %q leads to %s", label, href)
		}
		if strings.Contains(attr(b, "class"), "stop") {
			late++
			if !strings.HasSuffix(label, "; promise late") || href != "/orders/O-1001" {
				t.Errorf("marked late: %q to %s", label, href)
			}
		}
		if strings.Contains(attr(b, "class"), "running") {
			running++
			if !strings.Contains(label, "running now") {
				t.Errorf("running: %q", label)
			}
		}
	}
	if late == 0 || running == 0 {
		t.Errorf("%d late bars, %d running", late, running)
	}
	trouble := byID(p, "trouble")
	if trouble == nil {
		t.Fatal("no list of promises in danger")
	}
	rows := all(trouble, "tr", "")[1:]
	if len(rows) == 0 || !strings.Contains(wordsIn(rows[0]), "late O-1001 pump <bracket> & cover 2 off") || len(all(rows[0], "svg", "")) != 1 {
		t.Errorf("promises in danger: %q", wordsIn(trouble))
	}
	if strings.Contains(wordsIn(trouble), "O-1002") {
		t.Error("the promise with all the time in the world is said to be in danger")
	}
	if n := len(all(byID(p, "table"), "tr", "")) - 1; n != len(bars) {
		t.Errorf("%d bars but %d rows in the table", len(bars), n)
	}
	if len(all(p, "line", "now")) != 1 || len(all(p, "rect", "closed")) != 4 {
		t.Errorf("%d now-lines, %d closed days; want 1 and two weekends", len(all(p, "line", "now")), len(all(p, "rect", "closed")))
	}
	if !strings.Contains(wordsIn(all(p, "h1", "")[0]), "Mon 7 Sep to Sun 20 Sep") {
		t.Errorf("heading: %s", wordsIn(all(p, "h1", "")[0]))
	}
	// A person at the keyboard need not go through every bar.
	past := all(p, "a", "skip")
	if len(past) != 2 || byID(p, strings.TrimPrefix(attr(past[1], "href"), "#")) == nil {
		t.Error("no way past the board for the keyboard")
	}
	tabs := all(all(p, "nav", "")[0], "a", "")
	here := ""
	for _, a := range tabs {
		if attr(a, "aria-current") == "page" {
			here = attr(a, "href")
		}
	}
	if here != "/board" {
		t.Errorf("the open tab is %q", here)
	}
}

// Weeks are turned; far away nothing is planned, and a wrong date is said plainly.
func TestBoardWeeks(t *testing.T) {
	h := site(Deps{Wall: wallOf(t)})
	p := page(t, h, "/board?from=2026-09-14")
	if len(all(p, "line", "now")) != 0 {
		t.Error("now is drawn in a week that is not now")
	}
	var turns []string
	for _, a := range all(all(p, "nav", "")[1], "a", "") {
		turns = append(turns, attr(a, "href"))
	}
	if strings.Join(turns, " ") != "/board?from=2026-09-07 /board /board?from=2026-09-21 /board.ics" {
		t.Errorf("links: %v", turns)
	}
	if n := len(all(page(t, h, "/board?from=2031-01-06"), "a", "bar")); n != 0 {
		t.Errorf("%d bars in 2031", n)
	}
	w := fetch(t, h, "/board?from=soon")
	if w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), "is not a date") {
		t.Errorf("status %d: %s", w.Code, w.Body)
	}
	if w := fetch(t, site(Deps{}), "/board"); w.Code != http.StatusNotFound {
		t.Errorf("without a wall: status %d", w.Code)
	}
}

// When the clocks go back a day has 25 hours and is still one column: noon after it is not moved.
func TestBoardClockChange(t *testing.T) {
	loc, err := time.LoadLocation("Europe/Vienna")
	if err != nil {
		t.Fatal(err)
	}
	noon := func(day int) time.Time { return time.Date(2026, 10, day, 12, 0, 0, 0, loc) }
	bar := func(day int) appraise.Bar {
		return appraise.Bar{Job: "J", Title: "J", Stretch: appraise.Stretch{From: noon(day), To: noon(day).Add(time.Hour)}}
	}
	b := appraise.Board{Now: noon(20), AsOf: noon(20), Jobs: []appraise.BoardJob{{ID: "J", Title: "J"}},
		Rows: []appraise.BoardRow{{Kind: appraise.PersonRow, Name: "Ann", Bars: []appraise.Bar{bar(24), bar(26)}}}}
	d, err := draw(b, "2026-10-19")
	if err != nil {
		t.Fatal(err)
	}
	wide := float64(boardWidth-boardLabel) / boardDays
	bars := d.groups[0].rows[0].bars
	for i, day := range []float64{5.5, 7.5} {
		if want := boardLabel + wide*day; max(bars[i].x-want, want-bars[i].x) > 1e-6 {
			t.Errorf("bar %d stands at %g, want %g", i, bars[i].x, want)
		}
	}
}

// A shop without work shows an empty board that says where work comes from.
func TestBoardEmpty(t *testing.T) {
	cat := *demo.Shop()
	cat.Workload, cat.Revision = nil, "empty"
	p := page(t, site(Deps{Wall: playedBy(t, &appraise.Desk{Replications: 2}, &cat, bureau.Load{})}), "/board")
	if len(all(p, "a", "bar")) != 0 || !strings.Contains(wordsIn(byID(p, "main")), "No work is in hand") {
		t.Errorf("empty board: %s", wordsIn(byID(p, "main")))
	}
	if byID(p, "trouble") != nil || len(all(p, "text", "")) < len(cat.Machines) {
		t.Error("promises in danger, or no machines")
	}
}

// The form answers with days and what is waited for, keeps what was asked, and says what is wrong beside it.
func TestBoardWhatIf(t *testing.T) {
	h := site(Deps{Wall: wallOf(t)})
	if byID(page(t, h, "/board"), "answer") != nil {
		t.Error("an answer without a question")
	}
	p := page(t, h, "/board?machine=bittern&material=PA12&hours=30&hands=1,5")
	a := byID(p, "answer")
	if a == nil || !strings.Contains(wordsIn(a), "in 90 %") || !strings.Contains(wordsIn(a), "It waits longest for") {
		t.Fatalf("answer: %v", a)
	}
	chosen := ""
	for _, o := range all(byID(p, "what-if"), "option", "") {
		for _, x := range o.Attr {
			if x.Key == "selected" {
				chosen += attr(o, "value") + " "
			}
		}
	}
	if chosen != "bittern PA12 " || attr(byID(p, "wi-hours"), "value") != "30" {
		t.Errorf("the form forgot what was asked: %q", chosen)
	}
	for query, says := range map[string]string{
		"machine=bittern&material=ABS&hours=3": "does not run ABS",
		"hours=&hands=":                        "nothing to ask about",
		"machine=bittern&hours=lots":           "is not a number",
		"machine=bittern&hours=1e9":            "between 0 and 1000",
	} {
		p := page(t, h, "/board?"+query)
		if byID(p, "answer") != nil || !strings.Contains(wordsIn(byID(p, "what-if")), says) {
			t.Errorf("%s: %s", query, wordsIn(byID(p, "what-if")))
		}
	}
}

// The feed is read back by a calendar library: every promise a whole day, every build in UTC, names of its own that stay.
func TestCalendarFeed(t *testing.T) {
	wall := wallOf(t)
	h := site(Deps{Wall: wall})
	w := fetch(t, h, "/board.ics")
	if w.Code != http.StatusOK || w.Header().Get("Content-Type") != "text/calendar; charset=utf-8" {
		t.Fatalf("status %d, %s", w.Code, w.Header().Get("Content-Type"))
	}
	text := w.Body.Bytes()
	for line := range bytes.SplitSeq(text, []byte("\r\n")) {
		if len(line) > 75 || bytes.ContainsAny(line, "\r\n") {
			t.Errorf("a line of %d octets: %q", len(line), line)
		}
	}
	cal, err := ical.NewDecoder(bytes.NewReader(text)).Decode()
	if err != nil {
		t.Fatal(err)
	}
	b, _, err := wall.Board(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	promises, builds := map[string]appraise.BoardJob{}, map[string]appraise.BoardJob{}
	for _, j := range b.Jobs {
		name := strings.TrimSpace(j.Order + " " + j.Title)
		if !j.Due.IsZero() {
			promises["Promised: "+name] = j
		}
		if !j.Start.IsZero() && j.BuildEnd.After(b.Now) {
			builds["Start: "+name+" on "+j.Machine] = j
		}
	}
	uids := map[string]bool{}
	for _, e := range cal.Events() {
		uid, _ := e.Props.Text(ical.PropUID)
		if uid == "" || uids[uid] {
			t.Errorf("UID %q is empty or used twice", uid)
		}
		uids[uid] = true
		name, _ := e.Props.Text(ical.PropSummary)
		start, err := e.DateTimeStart(time.FixedZone("elsewhere", 9*3600))
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		raw := e.Props.Get(ical.PropDateTimeStart)
		if j, ok := promises[name]; ok {
			delete(promises, name)
			if raw.ValueType() != ical.ValueDate || start.Format(time.DateOnly) != j.Due.Format(time.DateOnly) {
				t.Errorf("%s: %s, want the day %v", name, raw.Value, j.Due)
			}
			continue
		}
		j, ok := builds[name]
		if !ok {
			t.Errorf("the entry %q stands for nothing", name)
			continue
		}
		delete(builds, name)
		end, err := e.DateTimeEnd(nil)
		if err != nil || !strings.HasSuffix(raw.Value, "Z") || !start.Equal(j.Start) || !end.Equal(j.BuildEnd) {
			t.Errorf("%s: %s to %v (%v), want %v to %v", name, raw.Value, end, err, j.Start.UTC(), j.BuildEnd.UTC())
		}
	}
	if len(promises)+len(builds) > 0 {
		t.Errorf("not in the feed: %v %v", promises, builds)
	}
	if again := fetch(t, h, "/board.ics").Body.Bytes(); !bytes.Equal(again, text) {
		t.Error("the same board gave another feed")
	}
	empty, err := calendarOf(appraise.Board{Now: boardNow()}, "Nobody's")
	if err != nil {
		t.Fatal(err)
	}
	if c, err := ical.NewDecoder(bytes.NewReader(empty)).Decode(); err != nil || len(c.Events()) != 0 {
		t.Errorf("empty feed: %v, %v", c, err)
	}
}

// Folding never cuts a letter and is undone by joining again.
func FuzzFolded(f *testing.F) {
	f.Add("SUMMARY:" + strings.Repeat("ö", 90))
	f.Add("")
	f.Add(strings.Repeat("x", 76))
	f.Fuzz(func(t *testing.T, s string) {
		s = strings.NewReplacer("\r", "", "\n", "").Replace(s)
		got := folded([]byte(s + "\r\n"))
		if back := strings.ReplaceAll(string(got), "\r\n ", ""); back != s+"\r\n" {
			t.Errorf("%q comes back as %q", s, back)
		}
		for line := range strings.SplitSeq(string(got), "\r\n") {
			if len(line) > 75 {
				t.Errorf("a line of %d octets", len(line))
			}
		}
	})
}

func read(t *testing.T, h http.Handler, path string) []map[string]string {
	t.Helper()
	w := fetch(t, h, path)
	if w.Code != http.StatusOK || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/csv") || !strings.Contains(w.Header().Get("Content-Disposition"), "attachment") {
		t.Fatalf("%s: status %d, %v", path, w.Code, w.Header())
	}
	r := csv.NewReader(w.Body)
	head, err := r.Read()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			t.Fatalf("%s: %v", path, err)
		}
		m := map[string]string{}
		for i, x := range row {
			m[head[i]] = x
		}
		out = append(out, m)
	}
}

// Lists come out whole, over more than one page, filtered like the page, money with a point, and nothing a client wrote
// is a formula.
func TestExports(t *testing.T) {
	s := lists{}
	for i := range 120 {
		q := bureau.RequestRow{ClientName: "Alder, \"Tools\"", Tally: request.Tally{Files: 2, Lines: i}}
		q.ID, q.Title, q.State, q.Received = fmt.Sprintf("R-%d", 1000+i), "=HYPERLINK(\"x\")\nsecond line", request.Open, boardNow()
		if i%2 == 1 {
			q.State, q.Title = request.Won, "-12.5"
		}
		s.requests = append(s.requests, q)
	}
	q := quote.Quotation{Number: "Q-1001", Revision: "B", State: quote.Issued, RequestID: "R-1000", Issued: boardNow()}
	q.Body = quote.Body{Currency: "EUR", Digits: 2, ValidUntil: "2026-10-09", To: quote.Addressee{Firm: "Alder Tools"}, Sums: quote.Sums{Net: 5, Total: 123456}}
	q.Body.Lines = []quote.Line{{Position: 1, Name: "ring", Qty: 3, UnitPrice: 1205, Total: 3615, Promised: "2026-09-20", Choice: offer.Option{Process: "MEX", Machine: "heron", Material: "ABS"}}, {Position: 2, Name: "lid"}}
	s.quotations = []quote.Quotation{q}
	s.orders = []order.Order{{ID: "O-1001", State: order.InWork, QuotationID: "Q-1001 B", Currency: "JPY", Digits: 0, Total: 1500, Reference: "+4711", AcceptedAt: boardNow(), AcceptedBy: "A. Reed",
		Lines: []order.Line{{Position: 1, Name: "ring", Qty: 3, UnitPrice: 500, Total: 1500, Promised: "2026-09-20", Option: offer.Option{Partner: "north"}}}}}
	h := site(Deps{Steps: s})

	rows := read(t, h, "/requests.csv")
	if len(rows) != 120 || rows[0]["number"] != "R-1000" || rows[119]["number"] != "R-1119" || rows[119]["parts"] != "119" {
		t.Fatalf("%d requests", len(rows))
	}
	if r := rows[0]; r["title"] != "'=HYPERLINK(\"x\")\nsecond line" || r["client"] != "Alder, \"Tools\"" || r["received"] != "2026-09-09T10:30:00+02:00" {
		t.Errorf("first request: %v", r)
	}
	if rows[1]["title"] != "-12.5" {
		t.Errorf("a number was spoilt: %v", rows[1])
	}
	if won := read(t, h, "/requests.csv?state=won"); len(won) != 60 {
		t.Errorf("%d won requests", len(won))
	}
	rows = read(t, h, "/quotations.csv")
	if len(rows) != 2 || rows[0]["unit_price"] != "12.05" || rows[0]["line_total"] != "36.15" || rows[0]["total"] != "1234.56" || rows[0]["net"] != "0.05" || rows[1]["part"] != "lid" || rows[0]["ship_by"] != "2026-09-20" || rows[0]["made_on"] != "heron" {
		t.Errorf("quotations: %v", rows)
	}
	rows = read(t, h, "/orders.csv")
	if len(rows) != 1 || rows[0]["total"] != "1500" || rows[0]["currency"] != "JPY" || rows[0]["reference"] != "+4711" || rows[0]["made_on"] != "north" || rows[0]["promised"] != "2026-09-20" {
		t.Errorf("orders: %v", rows)
	}
	rec := httptest.NewRecorder()
	h.ServeHTTP(rec, httptest.NewRequest("GET", "/requests.xlsx", nil))
	book, err := excelize.OpenReader(rec.Body)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := book.GetRows("requests"); err != nil || len(got) != 121 || got[120][0] != "R-1119" || got[1][2] != "=HYPERLINK(\"x\")\nsecond line" {
		t.Errorf("workbook: %v, %d rows", err, len(got))
	}
	if got := read(t, site(Deps{Steps: lists{}}), "/orders.csv"); len(got) != 0 {
		t.Errorf("no orders: %v", got)
	}
}

// Each list leads to itself as a table, keeping what was looked for.
func TestListsLeadToExports(t *testing.T) {
	h := site(Deps{Steps: lists{}})
	for _, list := range []string{"/requests", "/quotations", "/orders"} {
		found := false
		for _, b := range all(page(t, h, list+"?find=x"), "button", "") {
			found = found || attr(b, "formaction") == list+".csv" && attr(b.Parent, "method") == "get"
		}
		if !found {
			t.Errorf("%s does not lead to %s.csv", list, list)
		}
	}
}
