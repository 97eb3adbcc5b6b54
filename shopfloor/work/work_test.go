package work

import (
	"math"
	"testing"
	"time"

	"firstoff/desk/estimate"
	"firstoff/desk/offer"
	"firstoff/shop"
	"firstoff/shop/capacity"
	"firstoff/shopfloor/order"
)

var cat = &shop.Catalogue{
	Machines: []shop.Machine{{ID: "m", Process: "MEX", SetUpMin: 10, UnloadMin: 5, SpreadPct: 10}, {ID: "n", Process: "MEX"}},
	Partners: []shop.Partner{{ID: "caster"}},
}

var now = time.Date(2031, 3, 3, 8, 0, 0, 0, time.UTC)

// line is an order of one line: prepared, made in builds of an hour, taken out, finished.
func line(id string, builds int) order.Order {
	steps := []offer.Step{{Operation: "prepare", Skill: "operate", HandsS: 600}}
	for range builds {
		steps = append(steps, offer.Step{Operation: "build", Resource: "m", Skill: "operate", HandsS: 300, ElapsedS: 3600})
	}
	steps = append(steps, offer.Step{Operation: "unload", Skill: "operate", HandsS: 120}, offer.Step{Operation: "finish", Skill: "finish", HandsS: 1200})
	o := order.Order{ID: id, State: order.Accepted, Lines: []order.Line{{LineID: "L", Promised: "2031-03-10",
		Option: offer.Option{Machine: "m", Material: "abs", Steps: steps, Builds: builds, PerBuild: 10, Terms: estimate.Terms{RoadsS: 3000, OtherS: 600}}}}}
	for range 4 {
		o.Lines[0].Pieces = append(o.Lines[0].Pieces, order.Piece{})
	}
	return o
}

func seconds(j capacity.Job) (s float64) {
	for _, o := range j.Ops {
		s += o.Seconds
	}
	return s
}

func jobs(t *testing.T, orders []order.Order, f Floor, d Decided) map[string]capacity.Job {
	t.Helper()
	out := map[string]capacity.Job{}
	for _, j := range Jobs(orders, f, d, cat, time.UTC, now) {
		if _, twice := out[j.ID]; twice {
			t.Errorf("two jobs are called %s", j.ID)
		}
		out[j.ID] = j
	}
	return out
}

// What lies behind is gone, nothing done lengthens what is left, and what has not begun is left whole.
func TestLeft(t *testing.T) {
	o := []order.Order{line("O-1", 3)}
	whole := jobs(t, o, Floor{}, Decided{})["O-1/L"]
	if got := seconds(whole); got != 600+3*3600+1200 {
		t.Fatalf("the whole line takes %g s", got)
	}
	if whole.Due != time.Date(2031, 3, 10, 16, 0, 0, 0, time.UTC).Unix() || whole.Ops[1].ID == whole.Ops[2].ID {
		t.Errorf("due %d, operations %v", whole.Due, whole.Ops)
	}
	last := seconds(whole)
	for _, c := range []struct {
		left []float64
		want float64
		ops  int
	}{
		{[]float64{1, 1, 1, 1}, 600 + 3*3600 + 1200, 5},
		{[]float64{0, 1, 1, 1}, 3*3600 + 1200, 4},
		{[]float64{0, 0.5, 1, 1}, 1.5*3600 + 1200, 3},
		{[]float64{0, 0, 1, 1}, 120 + 1200, 2},
		{[]float64{0, 0, 0, 0.25}, 300, 1},
	} {
		j := jobs(t, o, Floor{Lines: map[string]Line{"O-1/L": {Left: c.left, Making: 1}}}, Decided{})["O-1/L"]
		got := seconds(j)
		if math.Abs(got-c.want) > 1e-6 || len(j.Ops) != c.ops {
			t.Errorf("%v: %g s in %d operations, want %g in %d", c.left, got, len(j.Ops), c.want, c.ops)
		}
		if got > last {
			t.Errorf("%v: more is left than before", c.left)
		}
		last = got
	}
	if js := jobs(t, o, Floor{Lines: map[string]Line{"O-1/L": {Left: []float64{0, 0, 0, 0}, Making: 1}}}, Decided{}); len(js) != 0 {
		t.Errorf("nothing is left, and yet %v", js)
	}
}

// Pieces in a build of the floor wait for it, whoever else rides in it; what is under way takes what is left of it; pieces not in it are made beside.
func TestInBuild(t *testing.T) {
	o := []order.Order{line("O-1", 1), line("O-2", 1)}
	f := Floor{Lines: map[string]Line{
		"O-1/L": {Left: []float64{0, 1, 1, 1}, Making: 1, InBuilds: 1},
		"O-2/L": {Left: []float64{0, 1, 1, 1}, Making: 1, InBuilds: 0.75},
	}, Builds: []Build{{ID: "B-1", Machine: "m", Material: "abs", PlannedS: 7200, ActiveS: 3600, Begun: true, Lines: []string{"O-1/L", "O-2/L"}}}}
	js := jobs(t, o, f, Decided{})
	b := js["B-1"].Ops[0]
	if b.RunningOn != "m" || b.Seconds < 3400 || b.Seconds > 4300 { // a late run is expected to be somewhat longer
		t.Errorf("the build has %g s left, on %q", b.Seconds, b.RunningOn)
	}
	if js["B-1"].Due == 0 {
		t.Error("the build does not know how soon it is waited for")
	}
	one, two := js["O-1/L"], js["O-2/L"]
	if len(one.Ops) != 1 || one.Ops[0].ID != "finish" || len(one.After) != 1 || one.After[0] != "B-1" {
		t.Errorf("the first line: %+v", one)
	}
	if rest := js["O-2/L make"]; math.Abs(seconds(rest)-900) > 1e-6 || len(two.After) != 2 {
		t.Errorf("the second line: rest %+v, then %+v", rest, two)
	}
}

// Lines that share a build take its time once, prepare each for themselves, and go on when it is over. A join of which a line has begun is none.
func TestShared(t *testing.T) {
	o := []order.Order{line("O-1", 1), line("O-2", 1)}
	d := Decided{Joins: []Join{{ID: "shared", Lines: []string{"O-1/L", "O-2/L"}}}}
	js := jobs(t, o, Floor{}, d)
	if got := js["shared"].Ops[0].Seconds; got != 6600 { // roads of both, the rest once
		t.Errorf("the shared build takes %g s", got)
	}
	if len(js) != 5 || len(js["shared"].After) != 2 || js["O-1/L"].After[0] != "shared" {
		t.Errorf("%v", js)
	}
	if _, err := capacity.Run(t.Context(), capacity.Load{Jobs: Jobs(o, Floor{}, d, cat, time.UTC, now)},
		capacity.Shop{Resources: []capacity.Resource{{ID: "m"}}, People: []capacity.Person{{ID: "p", Skills: []string{"operate", "finish"}}}}, now.Unix(), capacity.Options{}); err != nil {
		t.Error(err)
	}
	begun := Floor{Lines: map[string]Line{"O-1/L": {Left: []float64{0, 0.5, 1, 1}, Making: 1}}}
	if js := jobs(t, o, begun, d); len(js) != 2 {
		t.Errorf("a join with a line that has begun: %v", js)
	}
}

// What was pinned stays on its machine and does not begin before its time, by the line's name as by its making's.
func TestDecided(t *testing.T) {
	o := []order.Order{line("O-1", 1)}
	for _, task := range []string{"O-1/L", "O-1/L make"} {
		j := jobs(t, o, Floor{}, Decided{Pins: []Pin{{Task: task, Op: "build", Resource: "m", Start: 77}}})["O-1/L"]
		if b := j.Ops[1]; b.NotBefore != 77 || len(b.Resource) != 1 {
			t.Errorf("%s: %+v", task, b)
		}
	}
}

// The backlog is left as far as the plan says it has come.
func TestBacklog(t *testing.T) {
	j := capacity.Job{ID: "W", Ops: []capacity.Op{{ID: "build", Resource: []string{"m"}, Seconds: 1000}, {ID: "finish", Seconds: 200}}}
	at := func(now int64) []capacity.Job {
		return Backlog([]capacity.Job{j}, Decided{Backlog: map[string][]Slot{"W": {{Op: "build", Resource: "m", Begin: 100, End: 1100, Free: 1150}, {Op: "finish", Begin: 1150, End: 1350, Free: 1350}}}}, now)
	}
	for _, c := range []struct {
		now  int64
		left float64
		ops  int
		on   string
	}{{50, 1200, 2, ""}, {600, 700, 2, "m"}, {1120, 201, 2, "m"}, {1160, 190, 1, ""}} {
		js := at(c.now)
		if len(js) != 1 || len(js[0].Ops) != c.ops || js[0].Ops[0].RunningOn != c.on || math.Abs(seconds(js[0])-c.left) > 1 {
			t.Errorf("at %d: %+v", c.now, js)
		}
	}
	j.Release = 900 // it comes in later than the plan was made
	if js := at(50); js[0].Release != 900 {
		t.Errorf("what is still to come in is released at %d", js[0].Release)
	}
	if js := at(2000); len(js) != 0 {
		t.Errorf("it is done, and yet %v", js)
	}
}
