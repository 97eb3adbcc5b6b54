package proving_test

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"firstoff/bureau/making"
	"firstoff/bureau/proving"
	"firstoff/demo"
	"firstoff/fault"
	"firstoff/geom/r3"
	"firstoff/part"
	"firstoff/quality/certificate"
	"firstoff/quality/inspect"
	"firstoff/quality/sampling"
	"firstoff/shop"
	"firstoff/shopfloor/feedstock"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/traveller"
	"firstoff/store"
	"firstoff/store/storetest"
)

var day = time.Date(2031, 3, 3, 9, 0, 0, 0, time.UTC)

type lab struct {
	*proving.House
	t     *testing.T
	s     *store.Store
	floor *making.Floor
	n     int
}

func open(t *testing.T) *lab {
	t.Helper()
	s, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "desk.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	if err := s.Migrate(t.Context()); err != nil {
		t.Fatal(err)
	}
	cat := demo.Shop()
	l := &lab{t: t, s: s}
	clock := func() time.Time { return day }
	l.floor, err = making.New(making.Ports{Records: s, Clock: clock, Catalogue: func() *shop.Catalogue { return cat },
		Hold: func(ctx context.Context, o order.Order, pieces []string) error { return l.Hold(ctx, o, pieces) }})
	l.ok(err)
	l.House, err = proving.New(proving.Ports{Records: s, Floor: l.floor, Clock: clock, Catalogue: func() *shop.Catalogue { return cat },
		Facts: func(context.Context, string) (part.Facts, error) {
			return part.Facts{Max: r3.Vec{X: 80, Y: 40, Z: 12}, Holes: []part.Hole{{DiameterMM: 6, DepthMM: 12, Through: true}, {DiameterMM: 6, DepthMM: 12, Through: true}}}, nil
		}})
	l.ok(err)
	return l
}

func (l *lab) ok(err error) {
	l.t.Helper()
	if err != nil {
		l.t.Fatal(err)
	}
}

func (l *lab) code(err error, want string) {
	l.t.Helper()
	if f := fault.Of(err); err == nil || f.Code != want {
		l.t.Errorf("want %s, got %v", want, err)
	}
}

func (l *lab) id() string { l.n++; return fmt.Sprintf("device-%05d", l.n) }

func (l *lab) say(e inspect.Event) proving.SheetCard {
	l.t.Helper()
	e.ID = l.id()
	if e.Who == "" {
		e.Who = "I"
	}
	c, err := l.Report(l.t.Context(), e)
	l.ok(err)
	return c
}

// made is an order all of whose pieces are good, with a lot in them.
func (l *lab) made(qty int) order.Order {
	l.t.Helper()
	c := l.t.Context()
	o := storetest.Ordered(l.t, c, l.s, qty)
	_, err := l.floor.Open(c)
	l.ok(err)
	ts, err := l.s.TravellersOf(c, o.ID)
	l.ok(err)
	lot, err := l.floor.ReceiveLot(c, "P", l.id(), feedstock.Lot{Material: "ABS", ReceivedG: 1000})
	l.ok(err)
	for op := 1; op <= 3; op++ {
		if op == 2 {
			_, err = l.floor.Report(c, traveller.Event{ID: l.id(), Traveller: ts[0].ID, Op: 2, Kind: traveller.UseLot, Lot: lot.ID})
			l.ok(err)
		}
		_, err = l.floor.Report(c, traveller.Event{ID: l.id(), Traveller: ts[0].ID, Op: op, Kind: traveller.Finish, Good: qty})
		l.ok(err)
	}
	return o
}

func (l *lab) register() {
	l.t.Helper()
	for _, i := range inspect.Usual() {
		i.Due = day.AddDate(1, 0, 0)
		if i.ID == "micrometer-25" {
			i.Due = day.AddDate(0, -1, 0)
		}
		_, err := l.KeepInstrument(l.t.Context(), "Q", proving.Instrument{Instrument: i})
		l.ok(err)
	}
}

func TestSheetFromProposalToDecision(t *testing.T) {
	l := open(t)
	c := t.Context()
	l.register()
	o := l.made(150)
	s, err := l.OpenSheet(c, "I", "T-1001")
	l.ok(err)
	if again, err := l.OpenSheet(c, "I", "T-1001"); err != nil || again.ID != s.ID {
		t.Fatalf("a second sheet: %v %s", err, again.ID)
	}
	cs, skipped, err := l.Propose(c, s.ID, "m")
	if err != nil || len(skipped) != 0 || len(cs) != 4 || cs[3].Places != 2 || cs[3].Kind != inspect.Diameter || cs[3].Nominal != 6 {
		t.Fatalf("%v %v %+v", err, skipped, cs)
	}
	// ISO 2859-1, lot 150, level II, AQL 4.0: letter F, 20 pieces, accept at 2 (handbook Q06).
	card := l.say(inspect.Event{Sheet: s.ID, Act: inspect.Draw, Characteristics: cs[:1], Level: sampling.II, Who: "Planner"})
	if p := card.Standing.Plans[0].Plan; p.N != 20 || p.Ac != 2 || len(card.Standing.Sample) != 20 || card.Standing.Word != inspect.Planned || card.Standing.Sample[19] != o.Lines[0].Pieces[149].ID {
		t.Fatalf("%+v", card.Standing)
	}
	value := func(i int, v float64) proving.SheetCard {
		t.Helper()
		return l.say(inspect.Event{Sheet: s.ID, Act: inspect.Measure, Balloon: 1, Piece: card.Standing.Sample[i], Value: v, Instrument: "calliper-150"})
	}
	for i := range 20 {
		v := 80.0
		if i < 2 {
			v = 81 // two bad ones are accepted
		}
		card = value(i, v)
	}
	if card.Standing.Word != inspect.LotAccepted || card.Standing.Plans[0].Bad != 2 || card.Standing.To != 20 {
		t.Fatalf("%s %+v", card.Standing.Word, card.Standing.Plans)
	}
	// A third one tips it; correcting it tips it back.
	if card = value(5, 81); card.Standing.Word != inspect.LotRejected {
		t.Errorf("%s", card.Standing.Word)
	}
	if card = value(5, 80); card.Standing.Word != inspect.LotAccepted {
		t.Errorf("%s", card.Standing.Word)
	}
	// Within the guard band nothing is proved: ±0.3 at 80 mm, u of the calliper about 0.0153.
	if card = value(6, 80.29); card.Standing.Word != inspect.NotDecided {
		t.Errorf("%s", card.Standing.Word)
	}
	card = l.say(inspect.Event{Sheet: s.ID, Act: inspect.Strike, Balloon: 1, Piece: card.Standing.Sample[6]})
	if card.Standing.Word != inspect.Measuring {
		t.Errorf("%s", card.Standing.Word)
	}
	card = value(6, 80.1)
	// Instruments: overdue ones are refused unless a reason is given.
	_, err = l.Report(c, inspect.Event{ID: l.id(), Sheet: s.ID, Act: inspect.Measure, Balloon: 1, Piece: card.Standing.Sample[0], Value: 20, Instrument: "micrometer-25"})
	l.code(err, "instrument_overdue")
	_, err = l.Report(c, inspect.Event{ID: l.id(), Sheet: s.ID, Act: inspect.Measure, Balloon: 1, Piece: card.Standing.Sample[0], Value: 20, Instrument: "nobody"})
	l.code(err, "not_found")
	_, err = l.Report(c, inspect.Event{ID: l.id(), Sheet: s.ID, Act: inspect.Approve, Who: "Planner"})
	l.code(err, "first_article_second_person")
	if card = l.say(inspect.Event{Sheet: s.ID, Act: inspect.Approve, Who: "Owner"}); card.Standing.ApprovedBy != "Owner" {
		t.Errorf("%+v", card.Standing.ApprovedBy)
	}
	_, err = l.Report(c, inspect.Event{ID: l.id(), Sheet: s.ID, Act: inspect.Draw, Characteristics: cs[1:]})
	l.code(err, "sheet_measured")
	e := card.Events[1]
	if twice, err := l.Report(c, e); err != nil || len(twice.Events) != len(card.Events) {
		t.Errorf("sent twice: %v", err)
	}
	e.Value++
	_, err = l.Report(c, e)
	l.code(err, "event_id_reused")
}

func TestHeld(t *testing.T) {
	l := open(t)
	c := t.Context()
	o := l.made(3)
	bad := o.Lines[0].Pieces[1].ID
	n, err := l.Raise(c, "T-1001", "", inspect.Nonconformance{FoundBy: "Inspector", Where: "final", Pieces: []string{bad}, Designator: inspect.Major, Requirement: "80 ± 0.3", Found: "81.0"})
	l.ok(err)
	_, _, err = l.floor.Deliver(c, "B", o.ID, making.Sending{})
	l.code(err, "parts_held")
	// The others may go.
	_, d, err := l.floor.Deliver(c, "B", o.ID, making.Sending{Pieces: []string{o.Lines[0].Pieces[0].ID}})
	l.ok(err)
	_, err = l.Dispose(c, n.ID, inspect.Disposal{Disposition: inspect.UseAsIs, Quantity: 1, By: "Owner", Authority: inspect.Quality, Reason: "fits"})
	l.code(err, "concession_missing")
	_, err = l.Dispose(c, n.ID, inspect.Disposal{Disposition: inspect.UseAsIs, Quantity: 1, By: "Inspector", Authority: inspect.Inspector, Reason: "fits", Concession: "mail"})
	l.code(err, "disposition_authority")
	n, err = l.Dispose(c, n.ID, inspect.Disposal{Disposition: inspect.UseAsIs, Quantity: 1, By: "Owner", Authority: inspect.Quality, Reason: "fits", Concession: "mail of 3 March"})
	l.ok(err)
	if n, err = l.CloseRecord(c, "Owner", n.ID, "", "", ""); err != nil || n.Is.State() != "closed" {
		t.Fatalf("%v %s", err, n.Is.State())
	}
	_, _, err = l.floor.Deliver(c, "B", o.ID, making.Sending{})
	l.ok(err)
	// The concession is on the certificate of the second delivery and of the first: the record is of the lot.
	k, err := l.Certify(c, "Owner", "quality", o.ID, d.ID, 1, "")
	if err != nil || len(k.Record.Certificate.Deviations) != 1 || k.Record.Certificate.Deviations[0].Concession != "mail of 3 March" {
		t.Fatalf("%v %+v", err, k.Record.Certificate.Deviations)
	}
}

func TestDispose(t *testing.T) {
	l := open(t)
	c := t.Context()
	o := l.made(3)
	ids := []string{o.Lines[0].Pieces[0].ID, o.Lines[0].Pieces[2].ID}
	n, err := l.Raise(c, "T-1001", "", inspect.Nonconformance{FoundBy: "Inspector", Pieces: ids, Designator: inspect.Minor, Requirement: "no cracks", Found: "cracks"})
	l.ok(err)
	_, err = l.Contain(c, "Inspector", n.ID, "put into the red box")
	l.ok(err)
	_, err = l.Dispose(c, n.ID, inspect.Disposal{Disposition: inspect.Reprint, Quantity: 1, By: "Inspector", Authority: inspect.Inspector, Reason: "cracked"})
	l.ok(err)
	_, err = l.Dispose(c, n.ID, inspect.Disposal{Disposition: inspect.Scrap, Quantity: 1, By: "Owner", Authority: inspect.Quality, Reason: "client takes two"})
	l.ok(err)
	card, err := l.floor.Card(c, "T-1001")
	l.ok(err)
	if s := card.State; s.Good != 1 || s.Scrap != 2 || s.Remade != 1 || s.InWork != 1 || s.Ops[1].Waiting != 1 {
		t.Errorf("%+v", s)
	}
	if got, err := l.s.Order(c, o.ID); err != nil || got.State != order.InWork || got.Lines[0].Pieces[2].State != order.Scrap {
		t.Errorf("%v %+v", err, got.Lines[0].Pieces)
	}
}

func TestCertify(t *testing.T) {
	l := open(t)
	c := t.Context()
	l.register()
	o := l.made(2)
	_, d, err := l.floor.Deliver(c, "B", o.ID, making.Sending{})
	l.ok(err)
	s, err := l.OpenSheet(c, "I", "T-1001")
	l.ok(err)
	cs, _, err := l.Propose(c, s.ID, "m")
	l.ok(err)
	l.say(inspect.Event{Sheet: s.ID, Act: inspect.Draw, Characteristics: cs[:1]})
	_, err = l.Certify(c, "Owner", "quality", o.ID, d.ID, 1, "")
	l.code(err, "inspection_open")
	for _, p := range o.Lines[0].Pieces {
		l.say(inspect.Event{Sheet: s.ID, Act: inspect.Measure, Balloon: 1, Piece: p.ID, Value: 80.02, Instrument: "calliper-150"})
	}
	_, err = l.Certify(c, "Owner", "quality", o.ID, "D-9", 1, "")
	l.code(err, "delivery_unknown")
	k, err := l.Certify(c, "Owner", "quality", o.ID, d.ID, 1, "")
	l.ok(err)
	x := k.Record.Certificate
	if x.Quantity != 2 || len(x.Lots) != 1 || x.Lots[0] != "M-1001" || len(x.Standards) != 1 || len(x.Evidence) != 3 || !x.Intact() {
		t.Errorf("%+v", x)
	}
	if a, r, err := l.Verify(c, k.ID, x.Code()); err != nil || a != certificate.Genuine || r == nil {
		t.Errorf("%v %s", err, a)
	}
	wrong := []byte(x.Code())
	wrong[0] ^= 1
	if a, r, _ := l.Verify(c, k.ID, string(wrong)); a != certificate.Altered || r != nil {
		t.Errorf("%s %v", a, r)
	}
	if a, r, _ := l.Verify(c, "K-4711", x.Code()); a != certificate.Unknown || r != nil {
		t.Errorf("%s", a)
	}
	next, err := l.Certify(c, "Owner", "quality", o.ID, d.ID, 1, k.ID)
	l.ok(err)
	if a, r, _ := l.Verify(c, k.ID, x.Code()); a != certificate.Replaced || r.ReplacedBy != next.ID {
		t.Errorf("%s", a)
	}
	_, err = l.WithdrawCertificate(c, "Owner", next.ID, "")
	l.code(err, "reason_missing")
	_, err = l.WithdrawCertificate(c, "Owner", next.ID, "wrong lot named")
	l.ok(err)
	if a, _, _ := l.Verify(c, next.ID, next.Record.Certificate.Code()); a != certificate.Withdrawn {
		t.Errorf("%s", a)
	}
}

// The switching rules look at the lots of the same part before: two of five not accepted, and the next is inspected tightened.
func TestSwitching(t *testing.T) {
	l := open(t)
	c := t.Context()
	var last proving.SheetCard
	for i := range 3 {
		o := l.made(2)
		ts, err := l.s.TravellersOf(c, o.ID)
		l.ok(err)
		s, err := l.OpenSheet(c, "I", ts[0].ID)
		l.ok(err)
		s.Stream = "the same part" // the made-up orders have a file each
		l.ok(l.s.SaveSheet(c, &s))
		cs := []inspect.Characteristic{{Balloon: 1, Name: "length", Kind: inspect.Linear, Designator: inspect.Major, Nominal: 80, Limits: inspect.Within(79, 81), Unit: "mm"}}
		last = l.say(inspect.Event{Sheet: s.ID, Act: inspect.Draw, Characteristics: cs})
		if i == 2 {
			break
		}
		for _, p := range o.Lines[0].Pieces {
			last = l.say(inspect.Event{Sheet: s.ID, Act: inspect.Measure, Balloon: 1, Piece: p.ID, Value: 85, U: 0.01})
		}
		if last.Standing.Word != inspect.LotRejected || last.Severity != sampling.Normal {
			t.Fatalf("%s %s", last.Standing.Word, last.Severity)
		}
	}
	if last.Severity != sampling.Tightened {
		t.Errorf("%s %s", last.Severity, last.Why)
	}
}

// After fifteen lots accepted on 0 or 1 reduced inspection is allowed, not before; a lot not accepted on it ends it.
func TestReduced(t *testing.T) {
	l := open(t)
	c := t.Context()
	var last proving.SheetCard
	lot := func(sev sampling.Severity, value float64) error {
		o := l.made(2)
		ts, err := l.s.TravellersOf(c, o.ID)
		l.ok(err)
		s, err := l.OpenSheet(c, "I", ts[0].ID)
		l.ok(err)
		s.Stream = "the same part"
		l.ok(l.s.SaveSheet(c, &s))
		cs := []inspect.Characteristic{{Balloon: 1, Name: "length", Kind: inspect.Linear, Designator: inspect.Major, Nominal: 80, Limits: inspect.Within(79, 81), Unit: "mm"}}
		if _, err := l.Report(c, inspect.Event{ID: l.id(), Sheet: s.ID, Act: inspect.Draw, Characteristics: cs, Level: sampling.II, Severity: sev, Who: "I. Inspector"}); err != nil {
			return err
		}
		for _, p := range o.Lines[0].Pieces {
			last = l.say(inspect.Event{Sheet: s.ID, Act: inspect.Measure, Balloon: 1, Piece: p.ID, Value: value, U: 0.01})
		}
		return nil
	}
	for i := range 15 {
		if i == 7 {
			if err := lot(sampling.Reduced, 80); fault.Of(err).Code != "score_too_low" {
				t.Fatalf("reduced too soon: %v", err)
			}
		}
		l.ok(lot(sampling.Normal, 80))
	}
	l.ok(lot(sampling.Reduced, 80))
	if !last.MayReduce || last.Standing.Severity != sampling.Reduced {
		t.Errorf("after fifteen lots: %+v", last)
	}
	l.ok(lot(sampling.Reduced, 80))
	if last.Severity != sampling.Reduced {
		t.Errorf("on reduced inspection the next lot is asked for %s", last.Severity)
	}
	l.ok(lot(sampling.Reduced, 90))
	if err := lot(sampling.Reduced, 80); fault.Of(err).Code != "score_too_low" {
		t.Errorf("after a lot not accepted: %v", err)
	}
}
