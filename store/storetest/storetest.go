// Package storetest is the one suite that the desk's records must pass on every database. For tests only.
package storetest

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"firstoff/client"
	"firstoff/desk/offer"
	"firstoff/desk/quote"
	"firstoff/desk/request"
	"firstoff/digest"
	"firstoff/fault"
	"firstoff/part"
	"firstoff/shopfloor/order"
	"firstoff/store"
	"firstoff/trail"
)

var day = time.Date(2031, 3, 3, 9, 30, 0, 123456000, time.UTC)

// Run runs the suite; open gives an empty, migrated store each time.
func Run(t *testing.T, open func(t *testing.T) *store.Store) {
	for _, c := range []struct {
		name string
		test func(t *testing.T, s *store.Store)
	}{
		{"kept as given", keptAsGiven},
		{"nothing there", nothingThere},
		{"stale writer", staleWriter},
		{"rolled back whole", rolledBackWhole},
		{"a transaction inside a transaction", nested},
		{"numbers without gap or twice", numbers},
		{"lists and filters", lists},
		{"odd text", oddText},
		{"frozen once", frozenOnce},
		{"links", links},
		{"one order a quotation", oneOrder},
		{"tables", tables},
		{"trail", theTrail},
		{"trail under load", trailUnderLoad},
		{"readers see no half", readersSeeNoHalf},
		{"deadline", deadline},
		{"plans", plans},
	} {
		t.Run(c.name, func(t *testing.T) { c.test(t, open(t)) })
	}
}

func ctx(t *testing.T) context.Context {
	c, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	t.Cleanup(cancel)
	return c
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func code(t *testing.T, err error, kind fault.Kind, code string) {
	t.Helper()
	f := fault.Of(err)
	if f == nil || f.Kind != kind || f.Code != code {
		t.Fatalf("want fault %s %s, got %#v", kind, code, err)
	}
}

// Folder fills a store with one client, request, file and line, and gives their ids.
func Folder(t testing.TB, c context.Context, s *store.Store) (clientID, requestID, fileID, lineID string) {
	t.Helper()
	err := s.InTx(c, func(c context.Context) error {
		n, err := s.Next(c, "all")
		if err != nil {
			return err
		}
		clientID, requestID = fmt.Sprintf("C-%d", n), fmt.Sprintf("R-%d", n)
		fileID, lineID = fmt.Sprintf("F-%d", n), fmt.Sprintf("L-%d", n)
		return errors.Join(
			s.AddClient(c, &client.Client{ID: clientID, Firm: fmt.Sprintf("Firm %d", n), Contact: "A. Person", Created: day}),
			s.AddRequest(c, &request.Request{ID: requestID, Title: "Brackets", ClientID: clientID, State: request.Open, Received: day.Add(time.Duration(n) * time.Second)}),
			s.AddFile(c, &request.File{ID: fileID, RequestID: requestID, Digest: digest.Of([]byte(fileID)), Name: "bracket.stl", State: request.Waiting, Received: day, Round: 1}),
			s.AddLine(c, &request.Line{ID: lineID, RequestID: requestID, FileID: fileID, Position: 1, Name: "bracket", Qty: 12}),
		)
	})
	if err != nil {
		t.Fatal(err)
	}
	return
}

func keptAsGiven(t *testing.T, s *store.Store) {
	c := ctx(t)
	_, r, f, l := Folder(t, c, s)
	got, err := s.Line(c, l)
	must(t, err)
	got.Requirement = part.Requirement{ToleranceMM: 0.1, OverMM: 1.0 / 3, Colors: []string{"grey"}, Notes: "käse ✓ \"quoted\" \\ back"}
	got.Facts.VolumeMM3 = 123456.789012345
	got.Alternatives = []string{"a", "b"}
	want := got
	must(t, s.SaveLine(c, &got))
	if got.Version != 2 {
		t.Errorf("version after a save is %d, want 2", got.Version)
	}
	back, err := s.Line(c, l)
	must(t, err)
	if back.Requirement.OverMM != 1.0/3 || back.Facts.VolumeMM3 != want.Facts.VolumeMM3 || back.Requirement.Notes != want.Requirement.Notes || len(back.Alternatives) != 2 {
		t.Errorf("line came back as %+v", back)
	}
	q, err := s.Request(c, r)
	must(t, err)
	if !q.Received.Equal(day.Add(1001 * time.Second)) {
		t.Errorf("received came back as %v", q.Received)
	}
	file, err := s.File(c, f)
	must(t, err)
	if file.Digest != digest.Of([]byte(f)) {
		t.Errorf("digest came back as %s", file.Digest)
	}
}

func nothingThere(t *testing.T, s *store.Store) {
	c := ctx(t)
	_, err := s.Request(c, "R-1")
	code(t, err, fault.NotFound, "not_found")
	_, err = s.Quotation(c, "Q-1-A")
	code(t, err, fault.NotFound, "not_found")
	err = s.AddRequest(c, &request.Request{ID: "R-2", ClientID: "C-none", Received: day})
	code(t, err, fault.NotFound, "not_found")
	_, _, f, _ := Folder(t, c, s)
	err = s.AddFile(c, &request.File{ID: f, RequestID: "R-1001", Received: day})
	code(t, err, fault.Conflict, "exists")
	must(t, s.DeleteLine(c, "L-none"))
}

func staleWriter(t *testing.T, s *store.Store) {
	c := ctx(t)
	_, r, _, _ := Folder(t, c, s)
	a, err := s.Request(c, r)
	must(t, err)
	b := a
	a.Title = "first"
	must(t, s.SaveRequest(c, &a))
	b.Title = "second"
	code(t, s.SaveRequest(c, &b), fault.Conflict, "changed_meanwhile")
	if b.Version != 1 {
		t.Errorf("a failed save left version %d, want 1", b.Version)
	}
	now, err := s.Request(c, r)
	must(t, err)
	if now.Title != "first" || now.Version != 2 {
		t.Errorf("kept is %+v", now)
	}
	gone := request.Request{ID: "R-none", Version: 1}
	code(t, s.SaveRequest(c, &gone), fault.NotFound, "not_found")

	// Ten at once: one wins, nine are told.
	var wg sync.WaitGroup
	won := make(chan int, 10)
	for i := range 10 {
		wg.Go(func() {
			mine := now
			mine.Title = fmt.Sprint("writer ", i)
			if err := s.SaveRequest(c, &mine); err == nil {
				won <- i
			} else if fault.KindOf(err) != fault.Conflict {
				t.Errorf("writer %d: %v", i, err)
			}
		})
	}
	wg.Wait()
	if len(won) != 1 {
		t.Errorf("%d writers won, want 1", len(won))
	}
}

func rolledBackWhole(t *testing.T, s *store.Store) {
	c := ctx(t)
	broken := errors.New("no")
	err := s.InTx(c, func(c context.Context) error {
		Folder(t, c, s)
		must(t, s.Log(c, trail.Event{At: day, What: "x", About: "y"}))
		return broken
	})
	if !errors.Is(err, broken) {
		t.Fatalf("want the caller's error, got %v", err)
	}
	_, n, err := s.Requests(c, nil, "", 0, 10)
	must(t, err)
	if n != 0 {
		t.Errorf("%d requests are left of a transaction that failed", n)
	}
	if last, _, err := s.CheckTrail(c); err != nil || last != 0 {
		t.Errorf("trail has %d events (%v) after a transaction that failed", last, err)
	}
	func() { // a panic must not leave the only writer locked
		defer func() { _ = recover() }()
		_ = s.InTx(c, func(context.Context) error { panic("in a transaction") })
	}()
	Folder(t, c, s)
}

func nested(t *testing.T, s *store.Store) {
	c := ctx(t)
	err := s.InTx(c, func(c context.Context) error {
		_, r, _, _ := Folder(t, c, s) // a transaction of its own, joined to this one
		got, err := s.Request(c, r)   // reads what is not committed yet
		if err != nil {
			return err
		}
		got.Title = "seen inside"
		return s.SaveRequest(c, &got)
	})
	must(t, err)
	found, _, err := s.Requests(c, nil, "seen", 0, 10)
	must(t, err)
	if len(found) != 1 {
		t.Errorf("found %d requests, want 1", len(found))
	}
}

func numbers(t *testing.T, s *store.Store) {
	c := ctx(t)
	var mu sync.Mutex
	seen := map[int64]bool{}
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			for range 5 {
				err := s.InTx(c, func(c context.Context) error {
					n, err := s.Next(c, "R")
					if err != nil {
						return err
					}
					mu.Lock()
					defer mu.Unlock()
					if seen[n] {
						t.Errorf("number %d came twice", n)
					}
					seen[n] = true
					return nil
				})
				if err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	for n := int64(1001); n <= 1040; n++ {
		if !seen[n] {
			t.Errorf("number %d is missing", n)
		}
	}
	must(t, s.InTx(c, func(c context.Context) error {
		n, err := s.Next(c, "Q")
		if n != 1001 {
			t.Errorf("another series begins at %d, want 1001", n)
		}
		return err
	}))
}

func lists(t *testing.T, s *store.Store) {
	c := ctx(t)
	for range 5 {
		Folder(t, c, s)
	}
	r, err := s.Request(c, "R-1003")
	must(t, err)
	r.State, r.Title = request.Won, "100%_Cover"
	must(t, s.SaveRequest(c, &r))
	for _, k := range []struct {
		states []string
		like   string
		want   []string
	}{
		{nil, "", []string{"R-1005", "R-1004", "R-1003", "R-1002", "R-1001"}},
		{[]string{"open"}, "", []string{"R-1005", "R-1004", "R-1002", "R-1001"}},
		{[]string{"open", "won"}, "BRACK", []string{"R-1005", "R-1004", "R-1002", "R-1001"}},
		{nil, "100%_c", []string{"R-1003"}},
		{nil, "%", []string{"R-1003"}},
		{nil, "firm 1002", []string{"R-1002"}}, // by the client's name
		{nil, "r-1004", []string{"R-1004"}},
		{nil, "nothing like it", nil},
		{[]string{"lost"}, "", nil},
	} {
		found, total, err := s.Requests(c, k.states, k.like, 0, 10)
		must(t, err)
		var ids []string
		for _, r := range found {
			ids = append(ids, r.ID)
		}
		if fmt.Sprint(ids) != fmt.Sprint(k.want) || total != len(k.want) {
			t.Errorf("states %v like %q: %v of %d, want %v", k.states, k.like, ids, total, k.want)
		}
	}
	found, total, err := s.Requests(c, nil, "", 1, 2)
	must(t, err)
	if len(found) != 2 || found[0].ID != "R-1004" || total != 5 {
		t.Errorf("second page: %d found of %d, first %s", len(found), total, found[0].ID)
	}
	tally, err := s.Tallies(c, []string{"R-1001", "R-1002"})
	must(t, err)
	if want := (request.Tally{Files: 1, Lines: 1, Unfinished: 1}); tally["R-1001"] != want {
		t.Errorf("tally %+v, want %+v", tally["R-1001"], want)
	}
	f, err := s.File(c, "F-1001")
	must(t, err)
	f.State = request.Ready
	f.Unit = request.UnitQuestion{Name: "mm", Confidence: 0.6, Question: "mm?"}
	must(t, s.SaveFile(c, &f))
	g, err := s.File(c, "F-1002")
	must(t, err)
	g.State = request.Failed
	must(t, s.SaveFile(c, &g))
	asking, err := s.FilesAsking(c)
	must(t, err)
	failed, err := s.FilesFailed(c)
	must(t, err)
	unfinished, err := s.UnfinishedFiles(c)
	must(t, err)
	if len(asking) != 1 || len(failed) != 1 || len(unfinished) != 2 { // F-1003 belongs to a request that is won
		t.Errorf("asking %d, failed %d, unfinished %d; want 1, 1, 2", len(asking), len(failed), len(unfinished))
	}
	people, err := s.Clients(c, "FIRM 1003", 10)
	must(t, err)
	if len(people) != 1 || people[0].ID != "C-1003" {
		t.Errorf("clients found: %+v", people)
	}
	names, err := s.ClientNames(c, []string{"C-1001", "C-1001", "C-none"})
	must(t, err)
	if len(names) != 1 || names["C-1001"] != "Firm 1001" {
		t.Errorf("names: %v", names)
	}
	m := request.Message{ID: "M-1001", RequestID: "R-1001", From: request.FromClient, Text: "Grey?", At: day}
	must(t, s.AddMessage(c, &m))
	open, err := s.OpenQuestions(c)
	must(t, err)
	m.Answered = true
	must(t, s.SaveMessage(c, &m))
	none, err := s.OpenQuestions(c)
	must(t, err)
	if len(open) != 1 || len(none) != 0 {
		t.Errorf("questions open: %d, then %d; want 1, then 0", len(open), len(none))
	}
}

func oddText(t *testing.T, s *store.Store) {
	c := ctx(t)
	for _, firm := range []string{"a\x00b", "a\xffb"} {
		err := s.AddClient(c, &client.Client{ID: "C-1", Firm: firm})
		code(t, err, fault.Invalid, "text_unreadable")
	}
	for i, firm := range []string{`Robert'); DROP TABLE clients;--`, "日本 ✓ Ωé", `back\slash "quote" 'single'`, "a?b $1 ?"} {
		id := fmt.Sprintf("C-%d", 2000+i)
		must(t, s.AddClient(c, &client.Client{ID: id, Firm: firm}))
		got, err := s.Client(c, id)
		must(t, err)
		found, err := s.Clients(c, firm, 10)
		must(t, err)
		if got.Firm != firm || len(found) != 1 || found[0].ID != id {
			t.Errorf("%q came back as %q, found %d times", firm, got.Firm, len(found))
		}
	}
}

func quotation(r, c, id string) quote.Quotation {
	return quote.Quotation{ID: id, Number: id[:6], Revision: id[7:], RequestID: r, ClientID: c, State: quote.Draft, Created: day,
		Body: quote.Body{Currency: "EUR", ValidUntil: "2031-04-01", Lines: []quote.Line{{Name: "bracket <&>", Qty: 12, Choice: offer.Option{ID: "x", UnitPrice: 1234}}}}}
}

func frozenOnce(t *testing.T, s *store.Store) {
	c := ctx(t)
	cl, r, _, _ := Folder(t, c, s)
	q := quotation(r, cl, "Q-1001-A")
	must(t, s.AddQuotation(c, &q))
	q.Body.Note = "changed while a draft"
	must(t, s.SaveQuotation(c, &q))
	q, err := q.Issue("2031-03-03", day, "")
	if err == nil {
		t.Fatal("a draft whose numbers are not from today was issued")
	}
	q.Body.MadeFrom.Now = day
	q, err = q.Issue("2031-03-03", day, "")
	must(t, err)
	wrong := q
	wrong.Body.Note = "another text than was frozen"
	code(t, s.SaveQuotation(c, &wrong), fault.Internal, "frozen_differs")
	must(t, s.SaveQuotation(c, &q))
	// From here on whatever is saved, what was frozen comes back.
	q.Body.Note = "smuggled in"
	q, err = q.Accept("A. Person", "2031-03-04", day)
	must(t, err)
	must(t, s.SaveQuotation(c, &q))
	back, err := s.Quotation(c, "Q-1001-A")
	must(t, err)
	if back.Body.Note != "changed while a draft" || back.State != quote.Accepted || back.Body.Lines[0].Choice.UnitPrice != 1234 {
		t.Errorf("came back as %s, note %q", back.State, back.Body.Note)
	}
	if _, d, _ := quote.Seal(back.Body); d != back.Frozen {
		t.Errorf("what comes back does not have the digest it was frozen under")
	}
	n := 0
	must(t, s.EachSealed(c, func(d digest.Digest, body []byte) error {
		n++
		if digest.Of(body) != d {
			t.Errorf("a sealed body does not match its digest")
		}
		return nil
	}))
	if n != 1 {
		t.Errorf("%d sealed bodies, want 1", n)
	}
	for _, text := range []string{"UPDATE sealed SET body = 'x'", "DELETE FROM sealed", "UPDATE events SET who = 'x'", "DELETE FROM events"} {
		must(t, s.Log(c, trail.Event{At: day, What: "x"}))
		if _, err := s.DB().ExecContext(c, text); err == nil {
			t.Errorf("%q was let through", text)
		}
	}
	b := quotation(r, cl, "Q-1001-B")
	b.Created = day.Add(time.Hour)
	must(t, s.AddQuotation(c, &b))
	all, err := s.Revisions(c, "Q-1001")
	must(t, err)
	newest, total, err := s.Quotations(c, r, []string{"draft", "accepted"}, 0, 1)
	must(t, err)
	if len(all) != 2 || all[0].ID != "Q-1001-A" || all[0].Body.Note == "" || newest[0].ID != "Q-1001-B" || total != 2 {
		t.Errorf("revisions %d, newest %s of %d", len(all), newest[0].ID, total)
	}
}

func links(t *testing.T, s *store.Store) {
	c := ctx(t)
	h := digest.Of([]byte("token"))
	must(t, s.AddLink(c, h, "Q-1001", day))
	n, err := s.Link(c, h)
	must(t, err)
	if n != "Q-1001" {
		t.Errorf("link leads to %q", n)
	}
	_, err = s.Link(c, digest.Of([]byte("Token")))
	code(t, err, fault.NotFound, "not_found")
}

func oneOrder(t *testing.T, s *store.Store) {
	c := ctx(t)
	cl, r, _, _ := Folder(t, c, s)
	q := quotation(r, cl, "Q-1001-A")
	must(t, s.AddQuotation(c, &q))
	o := order.Order{ID: "O-1001", QuotationID: q.ID, RequestID: r, State: order.Accepted, Promised: "2031-03-10"}
	must(t, s.AddOrder(c, &o))
	twin := o
	twin.ID = "O-1002"
	code(t, s.AddOrder(c, &twin), fault.Conflict, "exists")
	q2 := quotation(r, cl, "Q-1002-A")
	must(t, s.AddQuotation(c, &q2))
	sooner := order.Order{ID: "O-1003", QuotationID: q2.ID, RequestID: r, State: order.InWork, Promised: "2031-03-05"}
	must(t, s.AddOrder(c, &sooner))
	found, total, err := s.Orders(c, []string{"accepted", "in work"}, 0, 10)
	must(t, err)
	if total != 2 || found[0].ID != "O-1003" {
		t.Errorf("%d orders, first %s", total, found[0].ID)
	}
	of, err := s.OrdersOf(c, r)
	must(t, err)
	if len(of) != 2 {
		t.Errorf("%d orders of the request, want 2", len(of))
	}
}

func tables(t *testing.T, s *store.Store) {
	c := ctx(t)
	_, _, _, l := Folder(t, c, s)
	for i, name := range []string{"kept by a line", "old"} {
		a := quote.Answer{Table: offer.Table{File: name, Qty: i + 1, Options: []offer.Option{{ID: "x", BuildS: 0.1}}}, MadeFrom: quote.Provenance{Now: day}}
		must(t, s.PutTable(c, digest.Of([]byte(name)), a))
		must(t, s.PutTable(c, digest.Of([]byte(name)), a)) // twice is once
	}
	line, err := s.Line(c, l)
	must(t, err)
	line.Table = digest.Of([]byte("kept by a line"))
	must(t, s.SaveLine(c, &line))
	n, err := s.PruneTables(c, day.Add(time.Hour))
	must(t, err)
	got, err := s.Table(c, line.Table)
	must(t, err)
	if n != 1 || got.Table.Options[0].BuildS != 0.1 || !got.MadeFrom.Now.Equal(day) {
		t.Errorf("%d pruned, left %+v", n, got)
	}
	_, err = s.Table(c, digest.Of([]byte("old")))
	code(t, err, fault.NotFound, "not_found")
	spoil := "UPDATE answers SET body = x'0011'"
	if s.Dialect() == "postgres" {
		spoil = "UPDATE answers SET body = '\\x0011'"
	}
	_, err = s.DB().ExecContext(c, spoil)
	must(t, err)
	_, err = s.Table(c, line.Table) // unreadable is forgotten, and can be put again
	code(t, err, fault.NotFound, "not_found")
	must(t, s.PutTable(c, line.Table, got))
	_, err = s.Table(c, line.Table)
	must(t, err)
}

func theTrail(t *testing.T, s *store.Store) {
	c := ctx(t)
	if n, head, err := s.CheckTrail(c); err != nil || n != 0 || head != trail.First {
		t.Fatalf("empty trail: %d %s %v", n, head, err)
	}
	must(t, s.InTx(c, func(c context.Context) error {
		return s.Log(c, trail.Event{At: day, Who: "A", What: "one", About: "R-1", In: "R-1"}, trail.Event{At: day, Who: "A", What: "two", About: "L-1", In: "R-1"})
	}))
	must(t, s.Log(c, trail.Event{At: day.Add(789 * time.Nanosecond), Who: "B", What: "three", About: "R-2", Was: `{"a":1}`, Why: "because"}))
	n, head, err := s.CheckTrail(c)
	must(t, err)
	all, err := s.Trail(c, "", 10)
	must(t, err)
	if n != 3 || all[0].Hash != head || all[0].Why != "because" || all[0].What != "three" || all[2].Prev != trail.First {
		t.Errorf("%d events, newest %+v", n, all[0])
	}
	in, err := s.Trail(c, "R-1", 10)
	must(t, err)
	if len(in) != 2 || in[0].What != "two" {
		t.Errorf("%d events in the folder", len(in))
	}
}

func trailUnderLoad(t *testing.T, s *store.Store) {
	c := ctx(t)
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Go(func() {
			for k := range 6 {
				err := s.InTx(c, func(c context.Context) error {
					if _, err := s.Next(c, "N"); err != nil {
						return err
					}
					return s.Log(c, trail.Event{At: day, Who: fmt.Sprint(i), What: "w", About: fmt.Sprint(k)}, trail.Event{At: day, Who: fmt.Sprint(i), What: "w2"})
				})
				if err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	if n, _, err := s.CheckTrail(c); err != nil || n != 96 {
		t.Errorf("%d events of 96: %v", n, err)
	}
}

func readersSeeNoHalf(t *testing.T, s *store.Store) {
	c := ctx(t)
	inside, looked := make(chan bool), make(chan bool)
	var wg sync.WaitGroup
	wg.Go(func() {
		_ = s.InTx(c, func(c context.Context) error {
			Folder(t, c, s)
			inside <- true
			<-looked
			return nil
		})
	})
	<-inside
	_, n, err := s.Requests(c, nil, "", 0, 10) // does not wait for the writer either
	if err != nil || n != 0 {
		t.Errorf("a reader saw %d requests of an open transaction (%v)", n, err)
	}
	looked <- true
	wg.Wait()
	_, n, err = s.Requests(c, nil, "", 0, 10)
	if err != nil || n != 1 {
		t.Errorf("after the commit %d requests (%v)", n, err)
	}
}

func deadline(t *testing.T, s *store.Store) {
	c, cancel := context.WithCancel(ctx(t))
	err := s.InTx(c, func(c context.Context) error {
		Folder(t, c, s)
		cancel()
		return nil
	})
	if err == nil {
		t.Error("a transaction whose caller has left was committed")
	}
	if _, n, err := s.Requests(ctx(t), nil, "", 0, 10); err != nil || n != 0 {
		t.Errorf("%d requests are left (%v)", n, err)
	}
}
