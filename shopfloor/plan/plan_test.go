package plan

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"firstoff/demo"
	"firstoff/desk/estimate"
	"firstoff/desk/offer"
	"firstoff/shop/capacity"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/schedule"
	"firstoff/shopfloor/work"
)

func at(t testing.TB) time.Time {
	loc, err := time.LoadLocation("Europe/Vienna")
	if err != nil {
		t.Fatal(err)
	}
	return time.Date(2026, 9, 7, 8, 0, 0, 0, loc)
}

// ordered is an order of one line on the made-up shop's machine wren, filling a share of its platform.
func ordered(n int, promised string, pieces, perBuild int, roads float64) order.Order {
	t := estimate.Terms{RoadsS: roads, LayersS: 3 * 3600, OtherS: 900}
	o := order.Order{ID: fmt.Sprint("O-", n), State: order.Accepted, Lines: []order.Line{{LineID: "L-1", Position: 1, Name: "pump bracket", Qty: pieces, Promised: promised,
		Option: offer.Option{Process: "MJT", Machine: "wren", Material: "ACR-R", LayerMM: 0.03, Builds: 1, PerBuild: perBuild, Terms: t, BuildS: t.S(), Steps: []offer.Step{
			{Operation: "prepare", Skill: "operate", HandsS: 600},
			{Operation: "build", Resource: "wren", Skill: "operate", HandsS: 900, ElapsedS: t.S()},
			{Operation: "unload", Skill: "operate", HandsS: 300},
			{Operation: "inspect", Skill: "inspect", HandsS: 600}}}}}}
	for i := range pieces {
		o.Lines[0].Pieces = append(o.Lines[0].Pieces, order.Piece{ID: fmt.Sprint(o.ID, "-1-", i)})
	}
	return o
}

func situated(t *testing.T, orders []order.Order, before *Plan, now time.Time) Situation {
	t.Helper()
	s, err := Situate(t.Context(), demo.Shop(), orders, work.Floor{}, before, now)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// made plans and holds the plan against the rules of the shop.
func made(t *testing.T, s Situation, d Decisions, before *Plan) (*Plan, *schedule.Changes) {
	t.Helper()
	check = func(w *schedule.Work, b *schedule.Board) {
		if err := schedule.Audit(w, b); err != nil {
			t.Errorf("the plan cannot be: %v", err)
		}
	}
	defer func() { check = nil }()
	p, c, err := Make(t.Context(), s, d, before, Effort{Rounds: 4})
	if err != nil {
		t.Fatal(err)
	}
	return p, c
}

func entry(t *testing.T, p *Plan, task, op string) schedule.Entry {
	t.Helper()
	for _, e := range p.Board.Entries {
		if e.Task == task && e.Op == op {
			return e
		}
	}
	t.Fatalf("%s of %s is not on the board", op, task)
	return schedule.Entry{}
}

// The made-up shop's plan can be, holds all there is to do, and stays possible as the days go by and the backlog is worked off.
func TestPlanned(t *testing.T) {
	var before *Plan
	now := at(t)
	orders := []order.Order{ordered(1, "2026-09-16", 3, 10, 4000), ordered(2, "2026-09-18", 10, 10, 9000)}
	last := 1 << 30
	for range 6 {
		s := situated(t, orders, before, now)
		p, _ := made(t, s, Decisions{}, before)
		if n := len(p.Board.Entries); n > last {
			t.Errorf("%v: %d operations after %d, and nothing came in", now, n, last)
		} else {
			last = n
		}
		// Nothing is forgotten: every operation of the backlog is on the board or past, once.
		seen := map[string]int{}
		for _, e := range slices.Concat(p.Past, p.Board.Entries) {
			seen[e.Op]++
		}
		for _, w := range s.Catalogue.Workload {
			if w.BuildH > 0 && seen[w.ID+" build"] != 1 {
				t.Errorf("%v: the build of %s is there %d times", now, w.ID, seen[w.ID+" build"])
			}
		}
		before, now = p, now.Add(17*time.Hour)
	}
	if last == 0 {
		t.Error("the orders were not reported made, and yet nothing is left to plan")
	}
}

// With nothing new nothing moves.
func TestNothingNew(t *testing.T) {
	now := at(t)
	orders := []order.Order{ordered(1, "2026-09-16", 3, 10, 4000), ordered(2, "2026-09-18", 6, 10, 9000)}
	p, _ := made(t, situated(t, orders, nil, now), Decisions{}, nil)
	again, c := made(t, situated(t, orders, p, now.Add(5*time.Minute)), Decisions{}, p)
	if n := len(c.Moved); n > len(p.Board.Entries)/10 { // a longer search may still find better
		t.Errorf("%d of %d operations moved for nothing", n, len(p.Board.Entries))
	}
	if len(again.Joins) != len(p.Joins) {
		t.Errorf("builds were formed anew: %v, were %v", again.Joins, p.Joins)
	}
}

// A build pinned to a day begins no earlier, one pinned to now goes first, and the rest makes way.
func TestPinned(t *testing.T) {
	now := at(t)
	orders := []order.Order{ordered(1, "2026-09-16", 3, 10, 4000)}
	s := situated(t, orders, nil, now)
	p, _ := made(t, s, Decisions{}, nil)
	task := work.Make("O-1/L-1")
	was := entry(t, p, task, "build")
	later := now.Add(11 * 24 * time.Hour).Unix()
	q, c := made(t, situated(t, orders, p, now), Decisions{Pins: []work.Pin{{Task: task, Op: "build", Resource: "wren", Start: later}}}, p)
	if e := entry(t, q, task, "build"); e.Start < later || !e.Pinned || e.Start == was.Start {
		t.Errorf("pinned to %d it starts at %d", later, e.Start)
	}
	if len(c.Moved) == 0 || !slices.ContainsFunc(c.Risks, func(r schedule.AtRisk) bool { return r.Task == "O-1/L-1" }) {
		t.Errorf("it goes after its date and nobody says so: %+v", c)
	}
	soon := now.Add(30 * time.Minute).Unix()
	q, _ = made(t, situated(t, orders, p, now), Decisions{Pins: []work.Pin{{Task: task, Op: "build", Start: soon}}}, p)
	if e := entry(t, q, task, "build"); e.Start < soon || e.Start > max(was.Start, soon+1800) {
		t.Errorf("pinned to %d it starts at %d, was %d", soon, e.Start, was.Start)
	}
}

// A machine in repair does nothing then.
func TestAway(t *testing.T) {
	now := at(t)
	s := situated(t, []order.Order{ordered(1, "2026-09-16", 3, 10, 4000)}, nil, now)
	from, to := now.Add(3*time.Hour).Unix(), now.Add(72*time.Hour).Unix()
	p, _ := made(t, s, Decisions{Away: []capacity.Absence{{Resource: "wren", Start: from, End: to}}}, nil)
	for _, e := range p.Board.Entries {
		if e.Resource == "wren" && !e.Running && e.Start < to && e.Free > from {
			t.Errorf("%s is on it from %d to %d", e.Task, e.Start, e.Free)
		}
	}
}

// Lines that fit one platform share a build when that costs no date; what a person wants apart stays apart, and what a person joins is joined.
func TestTogether(t *testing.T) {
	now := at(t)
	orders := []order.Order{ordered(1, "2026-09-21", 3, 10, 4000), ordered(2, "2026-09-21", 4, 10, 4000), ordered(3, "2026-09-21", 5, 10, 4000)}
	p, _ := made(t, situated(t, orders, nil, now), Decisions{}, nil)
	if len(p.Joins) == 0 {
		t.Fatal("three part platforms of one material for one day, and nothing is shared")
	}
	for _, j := range p.Joins {
		full := 0.0
		for _, w := range situated(t, orders, nil, now).Wholes() {
			if slices.Contains(j.Lines, w.Key) {
				full += w.Share
			}
		}
		if full > 1 {
			t.Errorf("%v fill %.2f of a platform", j.Lines, full)
		}
	}
	for _, d := range p.Board.Dates {
		if d.Risk == schedule.Late && d.Due > now.Unix()+8*86400 {
			t.Errorf("%s is late", d.Task)
		}
	}
	apart, _ := made(t, situated(t, orders, p, now), Decisions{Apart: []string{"O-1/L-1", "O-2/L-1", "O-3/L-1"}}, p)
	if len(apart.Joins) != 0 {
		t.Errorf("wanted apart, yet %v", apart.Joins)
	}
	j := NewJoin([]string{"O-3/L-1", "O-1/L-1"})
	joined, _ := made(t, situated(t, orders, apart, now), Decisions{Joins: []work.Join{j}, Apart: []string{"O-2/L-1"}}, apart)
	if len(joined.Joins) != 1 || joined.Joins[0].ID != j.ID || entry(t, joined, j.ID, "build").Free == 0 {
		t.Errorf("joined: %v", joined.Joins)
	}
	// Different materials or too much never go together.
	far := ordered(4, "2026-09-21", 8, 10, 4000)
	all := situated(t, append(orders, far), nil, now).Wholes()
	if why := Together(all); why == "" {
		t.Error("twenty of ten pieces go together")
	}
}
