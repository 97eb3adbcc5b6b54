package books_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"firstoff/bureau/books"
	"firstoff/bureau/making"
	"firstoff/demo"
	"firstoff/desk/estimate"
	"firstoff/fault"
	"firstoff/shop"
	"firstoff/shopfloor/build"
	"firstoff/shopfloor/feedstock"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/traveller"
	"firstoff/store"
	"firstoff/store/storetest"
)

type room struct {
	*books.Books
	t     *testing.T
	s     *store.Store
	floor *making.Floor
	at    time.Time
	n     int
	lot   string
}

func open(t *testing.T) *room {
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
	r := &room{t: t, s: s, at: time.Date(2031, 3, 3, 9, 0, 0, 0, time.UTC)}
	clock := func() time.Time { return r.at }
	if r.floor, err = making.New(making.Ports{Records: s, Clock: clock, Catalogue: func() *shop.Catalogue { return cat }}); err != nil {
		t.Fatal(err)
	}
	if r.Books, err = books.New(books.Ports{Records: s, Floor: r.floor, Clock: clock, Catalogue: func() *shop.Catalogue { return cat }}); err != nil {
		t.Fatal(err)
	}
	l, err := r.floor.ReceiveLot(t.Context(), "P", r.id(), feedstock.Lot{Material: "ABS", ReceivedG: 1e6})
	r.ok(err)
	r.lot = l.ID
	return r
}

func (r *room) id() string { r.n++; return fmt.Sprintf("device-%05d", r.n) }

func (r *room) ok(err error) {
	r.t.Helper()
	if err != nil {
		r.t.Fatal(err)
	}
}

// made is an order of one line built in so many hours, estimated at 2 h of roads and 0.5 h of layers; failed builds make nothing good.
func (r *room) made(qty int, hours float64, fail bool) order.Order {
	r.t.Helper()
	c := r.t.Context()
	o := storetest.Ordered(r.t, c, r.s, qty)
	l := &o.Lines[0]
	l.Option.Terms = estimate.Terms{RoadsS: 7200, LayersS: 1800}
	l.Option.BuildS, l.Option.Builds, l.Option.CostTotal = 9000, 1, 20000
	l.Option.Why = []estimate.Why{{Name: "price", Parts: []estimate.Why{{Name: "machine", Amount: 5000, Parts: []estimate.Why{{Name: "Heron", Value: 2.5, Unit: "h", Amount: 5000}}}}}}
	l.Option.PartG = 10
	o.Net = 30000
	o.AcceptedAt = r.at
	r.ok(r.s.SaveOrder(c, &o))
	_, err := r.floor.Open(c)
	r.ok(err)
	ts, err := r.s.TravellersOf(c, o.ID)
	r.ok(err)
	t := ts[0]
	_, err = r.floor.Report(c, traveller.Event{ID: r.id(), Traveller: t.ID, Op: 1, Kind: traveller.Finish, Good: qty})
	r.ok(err)
	b, err := r.floor.PlanBuild(c, "P", r.id(), "heron", []string{t.ID})
	r.ok(err)
	say := func(e build.Event) {
		r.t.Helper()
		e.ID, e.Build, e.Who = r.id(), b.ID, "P"
		_, err := r.floor.ReportBuild(c, e)
		r.ok(err)
	}
	var ticked []string
	for _, x := range b.Checks {
		ticked = append(ticked, x.Code)
	}
	say(build.Event{Kind: build.Lot, Lot: r.lot})
	say(build.Event{Kind: build.Start, Ticked: ticked, At: r.at})
	r.at = r.at.Add(time.Duration(hours * float64(time.Hour)))
	if fail {
		say(build.Event{Kind: build.Fail, Reason: "came off", At: r.at})
		return o
	}
	say(build.Event{Kind: build.Finish, At: r.at})
	_, err = r.floor.ReportLot(c, feedstock.Event{ID: r.id(), Lot: r.lot, Kind: feedstock.Use, G: 11 * float64(qty), For: b.ID, Who: "P"})
	r.ok(err)
	_, err = r.floor.Report(c, traveller.Event{ID: r.id(), Traveller: t.ID, Op: 3, Kind: traveller.Finish, Good: qty})
	r.ok(err)
	return o
}

func TestActuals(t *testing.T) {
	r := open(t)
	r.made(4, 3, false)
	r.made(2, 1, true)
	as, err := r.Actuals(t.Context())
	if err != nil || len(as) != 2 {
		t.Fatalf("%v %d", err, len(as))
	}
	a := as[0]
	if math.Abs(a.RoadsH-2) > 1e-9 || math.Abs(a.LayersH-0.5) > 1e-9 || math.Abs(a.ActualH-3) > 1e-9 || a.Grams != 40 || a.ActualG != 44 || a.Aborted || a.Key.LayerUM != 254 || a.Key.Machine != "heron" {
		t.Errorf("%+v", a)
	}
	if !as[1].Aborted || math.Abs(as[1].ActualH-1) > 1e-9 {
		t.Errorf("%+v", as[1])
	}
}

func TestAdopt(t *testing.T) {
	r := open(t)
	c := t.Context()
	if r.Coefficients() != nil {
		t.Fatal("coefficients out of nothing")
	}
	_, err := r.Adopt(c, "Owner", "", nil)
	if f := fault.Of(err); err == nil || f.Code != "nothing_to_adopt" {
		t.Fatalf("%v", err)
	}
	rnd := rand.New(rand.NewPCG(1, 2))
	for range 20 { // everything takes a quarter longer, ± 2 %
		r.made(2, 2.5*1.25*(1+0.02*rnd.NormFloat64()), false)
	}
	p, err := r.Propose(c)
	r.ok(err)
	if len(p.Sets) != 1 || p.Builds != 20 || p.Sets[0].Before.Bias < 0.2 || math.Abs(p.Sets[0].After.Bias) > 0.02 || len(p.Drift) != 1 || p.Drift[0].Watch.Alarm != 1 {
		t.Fatalf("%+v", p.Sets)
	}
	v, err := r.Adopt(c, "Owner", "twenty builds", nil)
	r.ok(err)
	f := r.Coefficients().Of("heron", "ABS", 0.254)
	est := (7200*f.Roads + 1800*f.Layers + f.FixedS) / 3600
	if v.ID != "V-1001" || f.ID != "V-1001" || math.Abs(est-3.125) > 0.08 || f.Grams < 1.05 || f.Grams > 1.11 {
		t.Errorf("%s %+v, a build of 2.5 h is now %.3f h", v.ID, f, est)
	}
	if g := r.Coefficients().Of("heron", "ABS", 0.178); g != (estimate.Factors{}) {
		t.Errorf("another layer learnt it too: %+v", g)
	}
	// After adopting, the watch begins anew.
	if p, err = r.Propose(c); err != nil || len(p.Drift) != 0 || p.InForce != v.ID {
		t.Errorf("%v %+v", err, p.Drift)
	}
	// The books opened again know it; taken back, the catalogue's figures hold.
	again := *r
	r.ok(r.Load(c))
	if again.Coefficients() == nil {
		t.Error("forgotten")
	}
	back, err := r.TakeBack(c, "Owner", "the belt was loose", "")
	if err != nil || back.ID != "V-1002" || r.Coefficients().Of("heron", "ABS", 0.254) != (estimate.Factors{}) {
		t.Errorf("%v %+v", err, r.Coefficients())
	}
	if _, err = r.TakeBack(c, "Owner", "", "V-1001"); err != nil || r.Coefficients().Of("heron", "ABS", 0.254).ID != "V-1003" {
		t.Errorf("%v", err)
	}
	_, err = r.TakeBack(c, "Owner", "", "V-1003")
	if f := fault.Of(err); err == nil || f.Code != "in_force_already" {
		t.Errorf("%v", err)
	}
}

func TestLedger(t *testing.T) {
	r := open(t)
	c := t.Context()
	o := r.made(4, 3.5, false) // an hour more than estimated: 20.00 more at the machine
	_, _, err := r.floor.Deliver(c, "B", o.ID, making.Sending{})
	r.ok(err)
	r.made(2, 1.25, true) // half of what was estimated, and all lost
	l, err := r.Ledger(c, "2031-03-01", "2031-03-31")
	r.ok(err)
	if len(l.Orders) != 2 {
		t.Fatalf("%+v", l.Orders)
	}
	m := l.Orders[1]
	if m.OrderID != o.ID || m.Estimated != 20000 || m.Actual != 22000 || math.Abs(m.ActualH-3.5) > 1e-9 || !m.Measured || books.Pct(m.Net, m.Actual) < 26.6 || books.Pct(m.Net, m.Actual) > 26.7 {
		t.Errorf("%+v", m)
	}
	if l.OnTime != (books.Share{Of: 1, Good: 1}) || l.FirstPass != (books.Share{Of: 6, Good: 4}) {
		t.Errorf("on time %+v, first pass %+v", l.OnTime, l.FirstPass)
	}
	for _, u := range l.Machines {
		if u.Machine == "heron" && (u.Builds != 2 || u.Failed != 1 || math.Abs(u.BuildH-4.75) > 1e-9 || u.SpanH != 31*24) {
			t.Errorf("%+v", u)
		}
	}
	if l, err = r.Ledger(c, "2030-01-01", "2030-01-31"); err != nil || len(l.Orders) != 0 || l.OnTime.Pct() != 0 {
		t.Errorf("an empty span: %v %+v", err, l)
	}
}
