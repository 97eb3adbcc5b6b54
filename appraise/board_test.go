package appraise

import (
	"errors"
	"testing"
	"time"

	"firstoff/bureau"
	"firstoff/demo"
	"firstoff/desk/offer"
	"firstoff/fault"
	"firstoff/shop"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/plan"
)

// morning is Monday 7 September 2026, 08:00 in the made-up shop's zone.
func morning(t *testing.T) time.Time {
	loc, err := time.LoadLocation("Europe/Vienna")
	if err != nil {
		t.Fatal(err)
	}
	return time.Date(2026, 9, 7, 8, 0, 0, 0, loc)
}

func accepted(id, promised string, at time.Time) order.Order {
	return order.Order{ID: id, State: order.Accepted, AcceptedAt: at, Lines: []order.Line{{
		LineID: "L-1", Position: 1, Name: "pump bracket", Qty: 3, Promised: promised,
		Option: offer.Option{Process: "MJT", Machine: "wren", Material: "ACR-R", Steps: []offer.Step{
			{Operation: "build", Resource: "wren", Skill: "operate", HandsS: 900, ElapsedS: 4 * 3600},
			{Operation: "inspect", Skill: "inspect", HandsS: 600},
		}},
	}}}
}

func boardOf(t *testing.T, cat *shop.Catalogue, load bureau.Load) Board {
	t.Helper()
	d := &Desk{Replications: 24, Threads: 1}
	s, err := plan.Situate(t.Context(), cat, load.Orders, load.Floor, nil, morning(t))
	if err != nil {
		t.Fatal(err)
	}
	p, _, err := plan.Make(t.Context(), s, plan.Decisions{}, nil, plan.Effort{Rounds: 4})
	if err != nil {
		t.Fatal(err)
	}
	b, err := d.Board(t.Context(), cat, load, *p, morning(t), 1)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Nothing is in two places: the bars of a row follow each other, a person's lie within the shift, every bar names a
// job, and a job's work comes in order.
func TestBoardIsPossible(t *testing.T) {
	cat := demo.Shop()
	b := boardOf(t, cat, bureau.Load{Orders: []order.Order{accepted("O-1", "2026-09-11", morning(t).Add(-time.Hour))}})
	jobs := map[string]BoardJob{}
	for _, j := range b.Jobs {
		jobs[j.ID] = j
	}
	if len(jobs) != len(cat.Workload)+1 {
		t.Fatalf("%d jobs for %d of the catalogue and one order line", len(jobs), len(cat.Workload))
	}
	builds := map[string]int{}
	rows := map[RowKind]int{}
	for _, r := range b.Rows {
		rows[r.Kind]++
		var last time.Time
		for _, bar := range r.Bars {
			if bar.From.Before(last) || !bar.To.After(bar.From) {
				t.Errorf("%s %d: %q from %v to %v begins before %v", r.Name, r.Unit, bar.Title, bar.From, bar.To, last)
			}
			last = bar.To
			if jobs[bar.Job].ID == "" || bar.Title == "" || bar.Doing == "" {
				t.Errorf("%s: bar %+v names no known job, title or task", r.Name, bar)
			}
			if r.Kind == MachineRow {
				builds[bar.Job]++
				if bar.Run.Before(bar.From) || bar.Over.After(bar.To) || !bar.Over.After(bar.Run) {
					t.Errorf("%s: run from %v to %v is not within %v to %v", r.Name, bar.Run, bar.Over, bar.From, bar.To)
				}
			}
			if r.Kind == PersonRow {
				at := 0 * time.Second
				for _, h := range r.Hours {
					if a, z := later(h.From, bar.From), earlier(h.To, bar.To); z.After(a) {
						at += z.Sub(a)
					}
				}
				// The midday break may lie in a bar, nothing else that is off shift.
				if off := bar.To.Sub(bar.From) - at; off > time.Hour {
					t.Errorf("%s is at %q for %v off shift", r.Name, bar.Title, off)
				}
			}
		}
	}
	machines := 0
	for _, m := range cat.Machines {
		machines += max(1, m.Count)
	}
	if rows[MachineRow] != machines || rows[PersonRow] != len(cat.People) {
		t.Errorf("rows %v for %d machines and %d people", rows, machines, len(cat.People))
	}
	for _, w := range cat.Workload {
		want := 0
		if w.Machine != "" {
			want = 1
		}
		if builds[w.ID] != want {
			t.Errorf("%s has %d builds on the board, want %d", w.ID, builds[w.ID], want)
		}
		if j := jobs[w.ID]; j.Title != w.Title || want == 1 && (j.Start.IsZero() || j.End.Before(j.BuildEnd)) {
			t.Errorf("%s: %+v", w.ID, j)
		}
	}
	o := jobs["O-1/L-1"]
	if o.Order != "O-1" || o.Title != "pump bracket" || o.Qty != 3 || o.Due.Format(time.DateOnly) != "2026-09-11" || o.Material == "ACR-R" || builds["O-1/L-1"] != 1 {
		t.Errorf("the order's line: %+v", o)
	}
	if b.Closed["2026-09-12"] != "Saturday" || b.Closed["2026-09-08"] != "" {
		t.Errorf("closed days: %v", b.Closed)
	}
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

// A promise for yesterday is late, one far away is on time, and the one between says what it waits for.
func TestBoardStandings(t *testing.T) {
	at := morning(t).Add(-time.Hour)
	b := boardOf(t, demo.Shop(), bureau.Load{Orders: []order.Order{
		accepted("O-1", "2026-09-04", at), accepted("O-2", "2026-11-20", at),
	}})
	got := map[string]BoardJob{}
	for _, j := range b.Jobs {
		got[j.Order] = j
	}
	if got["O-1"].Standing != Late || got["O-2"].Standing != OnTime {
		t.Errorf("standings %q and %q, want late and on time", got["O-1"].Standing, got["O-2"].Standing)
	}
	if got["O-1"].P50.After(got["O-1"].P90) || got["O-1"].P50.Before(morning(t).Truncate(24*time.Hour).AddDate(0, 0, -1)) {
		t.Errorf("expected %v, %v", got["O-1"].P50, got["O-1"].P90)
	}
	if len(got["O-2"].Waits) == 0 {
		t.Error("an order behind everything else says nothing about what it waits for")
	}
}

// Closed orders take nobody's time, and a shop without work has an empty board.
func TestBoardEmpty(t *testing.T) {
	cat := *demo.Shop()
	cat.Workload = nil
	cat.Revision = "none"
	done := accepted("O-1", "2026-09-11", morning(t))
	done.State = order.Done
	b := boardOf(t, &cat, bureau.Load{Orders: []order.Order{done}})
	if len(b.Jobs) != 0 || len(b.Rows) == 0 {
		t.Errorf("%d jobs, %d rows", len(b.Jobs), len(b.Rows))
	}
	for _, r := range b.Rows {
		if len(r.Bars) != 0 {
			t.Errorf("%s holds %+v", r.Name, r.Bars)
		}
	}
}

// More hours are never shipped earlier, asking changes nothing, and what cannot be is said in a sentence.
func TestWhatIf(t *testing.T) {
	d := &Desk{Replications: 24, Threads: 1}
	cat := demo.Shop()
	ask := func(q WhatIf) (Expected, error) { return d.WhatIf(t.Context(), cat, bureau.Load{}, morning(t), 1, q) }
	var last Expected
	for _, h := range []float64{1, 10, 60, 200} {
		e, err := ask(WhatIf{Machine: "bittern", Material: "PA12", Hours: h, Hands: 2})
		if err != nil {
			t.Fatal(err)
		}
		if e.P50.After(e.P90) || e.P90.Before(last.P90) || !e.P50.After(morning(t)) {
			t.Errorf("%g h: %+v after %+v", h, e, last)
		}
		last = e
	}
	if last.Waits == "" {
		t.Error("200 h behind three builds wait for nothing")
	}
	if len(cat.Workload) != len(demo.Shop().Workload) {
		t.Error("asking took the work on")
	}
	for code, q := range map[string]WhatIf{
		"machine_unknown":  {Machine: "dodo", Hours: 3},
		"material_unknown": {Machine: "bittern", Material: "ABS", Hours: 3},
		"what_if":          {Machine: "bittern"},
	} {
		_, err := ask(q)
		var f *fault.Error
		if !errors.As(err, &f) || f.Code != code || f.Kind != fault.Invalid {
			t.Errorf("%+v: %v, want %s", q, err, code)
		}
	}
}
