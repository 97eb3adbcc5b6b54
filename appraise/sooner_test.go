package appraise

import (
	"testing"
	"time"

	"firstoff/bureau"
	"firstoff/demo"
	"firstoff/desk/offer"
	"firstoff/shop/capacity"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/work"
)

// An order at the end of a full machine's queue: another machine with nothing to do wins days, changing places is priced by whose promise breaks,
// nothing that wins no day is listed, and asking twice gives the same.
func TestSooner(t *testing.T) {
	cat := demo.Shop()
	d := &Desk{Replications: 24, Threads: 1}
	at := morning(t).Add(-time.Hour)
	late := accepted("O-2", "2026-09-30", at)
	long := accepted("O-1", "2026-09-16", at)
	long.Lines[0].Option.Steps[0].ElapsedS = 60 * 3600
	load := bureau.Load{Orders: []order.Order{long, late}}
	now := late.Lines[0].Option
	now.ID, now.LayerMM, now.InfillPct = "a", 0.03, 100
	other, coarse, partner := now, now, now
	other.ID, other.Machine, other.Steps = "b", "albatross", []offer.Step{{Operation: "build", Resource: "albatross", Skill: "operate", HandsS: 900, ElapsedS: 3600}}
	coarse.ID, coarse.LayerMM, coarse.CostTotal = "c", 0.06, -100
	partner.ID, partner.Partner, partner.Machine, partner.Process = "d", cat.Partners[0].ID, "", "nothing we know"
	q := SoonerAsk{Key: work.Key("O-2", "L-1"), Now: now, Options: []offer.Option{now, other, coarse, partner}}
	s, err := d.Sooner(t.Context(), cat, load, morning(t), 1, q)
	if err != nil {
		t.Fatal(err)
	}
	if s.P90.IsZero() || s.Tried < 3 || len(s.Ways) == 0 {
		t.Fatalf("%+v", s)
	}
	seen := map[string]Way{}
	for i, w := range s.Ways {
		seen[w.Kind] = w
		if w.Days < 1 || !w.P90.Before(s.P90) || w.What == "" {
			t.Errorf("%+v wins nothing", w)
		}
		if i > 0 && w.Days > s.Ways[i-1].Days {
			t.Error("not the most first")
		}
		if w.Kind == "swap" && (w.WhoTitle == "" || !w.WhoDue.IsZero() && w.Kept == w.WhoP90.After(w.WhoDue)) {
			t.Errorf("%+v", w)
		}
	}
	if seen["swap"].Who == "" {
		t.Errorf("nobody to change places with before a machine full for days: %+v", s.Ways)
	}
	again, err := d.Sooner(t.Context(), cat, load, morning(t), 1, q)
	if err != nil || len(again.Ways) != len(s.Ways) || again.Ways[0].Who != s.Ways[0].Who || again.Ways[0].Days != s.Ways[0].Days {
		t.Errorf("asked again: %+v", again.Ways)
	}
	// Not ordered yet: dates of a new line, no places to change.
	fresh, err := d.Sooner(t.Context(), cat, load, morning(t), 1, SoonerAsk{Now: now, Options: q.Options})
	if err != nil || fresh.P90.IsZero() {
		t.Fatal(err, fresh)
	}
	for _, w := range fresh.Ways {
		if w.Kind == "swap" {
			t.Errorf("%+v", w)
		}
	}
	// What is done cannot be hastened.
	none, err := d.Sooner(t.Context(), cat, load, morning(t), 1, SoonerAsk{Key: "O-9/L-1", Now: now})
	if err != nil || len(none.Ways) != 0 || !none.P90.IsZero() {
		t.Errorf("%+v %v", none, err)
	}
}

// Overtime lengthens the last stretch of a day, not the midday break, and no day before or after.
func TestOvertime(t *testing.T) {
	day := int64(86400)
	m := capacity.Shop{People: []capacity.Person{{ID: "p", Calendar: capacity.Calendar{{Start: 8 * 3600, End: 12 * 3600}, {Start: 13 * 3600, End: 17 * 3600}, {Start: day + 8*3600, End: day + 17*3600}}}}}
	got := overtime(m, 9*3600, 7200, day)
	want := capacity.Calendar{{Start: 8 * 3600, End: 12 * 3600}, {Start: 13 * 3600, End: 19 * 3600}, {Start: day + 8*3600, End: day + 17*3600}}
	for i := range want {
		if got.People[0].Calendar[i] != want[i] {
			t.Errorf("%v", got.People[0].Calendar)
		}
	}
	if m.People[0].Calendar[1].End != 17*3600 {
		t.Error("the shop itself was changed")
	}
}
