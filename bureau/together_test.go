package bureau_test

import (
	"bytes"
	"strings"
	"testing"

	"firstoff/appraise"
	"firstoff/bureau"
	"firstoff/client"
	"firstoff/demo"
	"firstoff/money"
	"firstoff/shop"
)

// TestLinesCountEachOther: two lines that want the same machine for days are promised later together than each alone,
// at the same price; without the other line the date comes back.
func TestLinesCountEachOther(t *testing.T) {
	d := newDesk(t)
	cat := demo.Shop()
	d.stand(&appraise.Desk{}, func() *shop.Catalogue { return cat })
	d.start()
	r, err := d.OpenRequest(d.c, "estimator", bureau.NewRequest{Title: "Blocks", Client: client.Client{Firm: "Hill & Dale Ltd"}})
	d.must(err)
	for name, x := range map[string]float32{"one.stl": 120, "two.stl": 121} {
		_, err = d.ReceiveFile(d.c, "estimator", r.ID, name, bytes.NewReader(box(x, 80, 60)))
		d.must(err)
	}
	f := d.ready(r.ID)
	if len(f.Lines) != 2 {
		t.Fatalf("%d lines", len(f.Lines))
	}
	const id = "heron/ABS/SUP-BRK/0.254/100"
	q, err := d.DraftQuotation(d.c, "estimator", r.ID)
	d.must(err)
	c := bureau.DraftChange{Lines: map[string]bureau.DraftLine{}}
	for _, l := range f.Lines {
		c.Lines[l.ID] = bureau.DraftLine{Option: id}
	}
	q, err = d.ChangeDraft(d.c, "estimator", q.ID, q.Version, c)
	d.must(err)
	for _, l := range q.Body.Lines {
		o, err := d.Options(d.c, l.LineID, bureau.Override{})
		d.must(err)
		for _, alone := range o.Table.Options {
			if alone.ID != id {
				continue
			}
			t.Logf("%s: %.1f h of machine time, alone by %s, with the other line by %s", l.Name, alone.BuildS/3600, alone.P90, l.Promised)
			if l.Choice.ID != id || l.Promised <= alone.P90 || l.Total != alone.Total || l.Promised != l.Choice.P90 {
				t.Errorf("%s: quoted %s by %s for %d, alone by %s for %d", l.Name, l.Choice.ID, l.Promised, l.Total, alone.P90, alone.Total)
			}
		}
	}
	late := q.Body.Lines[0].Promised
	q, err = d.ChangeDraft(d.c, "estimator", q.ID, q.Version, bureau.DraftChange{Lines: map[string]bureau.DraftLine{q.Body.Lines[1].LineID: {Leave: true}}})
	d.must(err)
	if len(q.Body.Lines) != 1 || q.Body.Lines[0].Choice.ID != id || q.Body.Lines[0].Promised >= late {
		t.Errorf("left alone: %d lines, %s, still by %s", len(q.Body.Lines), q.Body.Lines[0].Choice.ID, q.Body.Lines[0].Promised)
	}
}

// TestReasonOfAPriceIsInTheTrail: a price a person set leaves its reason in the trail, also after it is taken back.
func TestReasonOfAPriceIsInTheTrail(t *testing.T) {
	d := newDesk(t).start()
	f, a, _ := d.issued("part a 1000")
	q, err := d.ReviseQuotation(d.c, "estimator", a)
	d.must(err)
	p := money.Amount(777)
	q, err = d.ChangeDraft(d.c, "estimator", q.ID, q.Version, bureau.DraftChange{Lines: map[string]bureau.DraftLine{f.Lines[0].ID: {UnitPrice: &p, Why: "as agreed by telephone"}}})
	d.must(err)
	if _, err = d.ChangeDraft(d.c, "estimator", q.ID, q.Version, bureau.DraftChange{Lines: map[string]bureau.DraftLine{f.Lines[0].ID: {Computed: true}}}); err != nil {
		t.Fatal(err)
	}
	events, err := d.s.Trail(d.c, q.ID, 10)
	d.must(err)
	found := 0
	for _, e := range events {
		if strings.Contains(e.Why, "as agreed by telephone") {
			found++
		}
	}
	if found != 1 {
		t.Errorf("the reason stands %d times in %d events", found, len(events))
	}
}
