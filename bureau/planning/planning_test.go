package planning_test

import (
	"context"
	"encoding/json"
	"path/filepath"
	"testing"
	"time"

	"firstoff/bureau"
	"firstoff/bureau/planning"
	"firstoff/demo"
	"firstoff/fault"
	"firstoff/shop"
	"firstoff/shopfloor/schedule"
	"firstoff/store"
)

// desk is planning over the made-up shop and a real database; its clock stands until it is moved.
type desk struct {
	*planning.House
	store *store.Store
	now   time.Time
	load  bureau.Load
}

func open(t *testing.T) *desk {
	t.Helper()
	d := &desk{now: time.Date(2026, 9, 7, 6, 0, 0, 0, time.UTC)}
	var err error
	if d.store, err = store.Open(t.Context(), filepath.Join(t.TempDir(), "records.db")); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = d.store.Close() })
	if err := d.store.Migrate(t.Context()); err != nil {
		t.Fatal(err)
	}
	cat := *demo.Shop()
	cat.WorkloadAsOf = d.now.Format(time.RFC3339)
	d.House, err = planning.New(planning.Ports{Records: d.store, Clock: func() time.Time { return d.now }, Catalogue: func() *shop.Catalogue { return &cat },
		InHand: func(context.Context) (bureau.Load, error) { return d.load, nil }})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func (d *desk) plan(t *testing.T) planning.Kept {
	t.Helper()
	k, err := d.InForce(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// same compares what would be kept.
func same(t *testing.T, a, b any) bool {
	t.Helper()
	x, err := json.Marshal(a)
	if err != nil {
		t.Fatal(err)
	}
	y, err := json.Marshal(b)
	if err != nil {
		t.Fatal(err)
	}
	return string(x) == string(y)
}

// movable is a build that has not begun.
func movable(t *testing.T, k planning.Kept) schedule.Entry {
	t.Helper()
	for _, e := range k.Plan.Board.Entries {
		if e.Resource == "heron" && !e.Running && e.Start > k.Plan.Now+6*3600 {
			return e
		}
	}
	t.Fatal("nothing can be moved")
	return schedule.Entry{}
}

// The plan of an unchanged shop stays, and is not made again.
func TestStays(t *testing.T) {
	d := open(t)
	a := d.plan(t)
	d.now = d.now.Add(5 * time.Minute)
	if b := d.plan(t); !same(t, a, b) {
		t.Error("five minutes later it is another plan")
	}
	d.now = d.now.Add(time.Hour)
	b := d.plan(t)
	if b.ID != a.ID || b.Version == a.Version || b.Plan.Now != d.now.Unix() || len(b.Plan.Past) == 0 && len(b.Plan.Board.Entries) == len(a.Plan.Board.Entries) {
		t.Errorf("an hour later: %s version %d, made for %d", b.ID, b.Version, b.Plan.Now)
	}
}

// Trying changes nothing; deciding does, and says what it moved; another who saw the plan before is told.
func TestTry(t *testing.T) {
	d := open(t)
	k := d.plan(t)
	e := movable(t, k)
	c := planning.Change{Kind: planning.Move, Task: e.Task, Op: e.Op, Start: e.Start + 6*86400, On: k.ID}
	p, err := d.Try(t.Context(), c)
	if err != nil || len(p.Changes.Moved) == 0 || p.What == "" {
		t.Fatalf("%v %+v", err, p)
	}
	// What a person changes moves what it must, not what could be better anyway.
	if n := p.Changes.Far(); n > len(k.Plan.Board.Entries)/5 {
		t.Errorf("one build a week later moves %d of %d operations", n, len(k.Plan.Board.Entries))
	}
	if again := d.plan(t); !same(t, again, k) {
		t.Error("trying changed the plan")
	}
	done, err := d.Decide(t.Context(), "vera", c)
	if err != nil {
		t.Fatal(err)
	}
	now := d.plan(t)
	if now.ID != done.Kept.ID || now.ID == k.ID || len(now.Decisions) != 1 || now.Decisions[0].Who != "vera" || now.Back != k.ID || now.Moved != p.Changes.Far() {
		t.Errorf("decided: %+v", now.Decisions)
	}
	if _, err := d.Decide(t.Context(), "ole", c); fault.Of(err).Code != "plan_moved_on" {
		t.Errorf("decided on an old plan: %v", err)
	}
	dec, err := d.Decided(t.Context())
	if err != nil || len(dec.Pins) != 1 || len(dec.Backlog) == 0 {
		t.Errorf("what promises count with: %+v, %v", dec, err)
	}
	events, err := d.store.Trail(t.Context(), now.ID, 10)
	if err != nil || len(events) != 1 || events[0].What != "plan.move" || events[0].Who != "vera" {
		t.Errorf("the trail: %+v, %v", events, err)
	}
}

// What is taken back is as it was, decision by decision, until none is left.
func TestTakeBack(t *testing.T) {
	d := open(t)
	k := d.plan(t)
	var states []planning.Kept
	for i := range 3 {
		states = append(states, d.plan(t))
		_, err := d.Decide(t.Context(), "vera", planning.Change{Kind: planning.Away, Resource: "heron", Start: d.now.Unix() + int64(i+2)*86400, End: d.now.Unix() + int64(i+2)*86400 + 7200, Why: "service"})
		if err != nil {
			t.Fatal(err)
		}
	}
	for i := 2; i >= 0; i-- {
		b, err := d.TakeBack(t.Context(), "vera", "")
		if err != nil {
			t.Fatal(err)
		}
		if !same(t, b.Plan, states[i].Plan) || len(b.Decisions) != i {
			t.Errorf("back to state %d: %d decisions", i, len(b.Decisions))
		}
	}
	if _, err := d.TakeBack(t.Context(), "vera", ""); fault.Of(err).Code != "nothing_to_take_back" {
		t.Errorf("before the first decision: %v", err)
	}
	if got := d.plan(t); !same(t, got.Plan, k.Plan) {
		t.Error("the plan is not the first one")
	}
}

// What is over loses its decisions, the others stay.
func TestGone(t *testing.T) {
	d := open(t)
	k := d.plan(t)
	e := movable(t, k)
	for _, c := range []planning.Change{
		{Kind: planning.Move, Task: e.Task, Op: e.Op, Resource: e.Resource},
		{Kind: planning.Away, Person: demo.Shop().People[0].ID, Start: d.now.Unix() + 3600, End: d.now.Unix() + 7200},
		{Kind: planning.Away, Resource: "wren", Start: d.now.Unix() + 40*86400, End: d.now.Unix() + 41*86400},
	} {
		if _, err := d.Decide(t.Context(), "vera", c); err != nil {
			t.Fatal(err)
		}
	}
	// Following the plan day by day, so that the backlog is worked off as it says.
	for range 30 {
		d.now = d.now.Add(24 * time.Hour)
		k = d.plan(t)
	}
	if len(k.Decisions) != 1 || k.Decisions[0].Away == nil || k.Decisions[0].Away.Resource != "wren" {
		t.Errorf("after a month: %+v", k.Decisions)
	}
	if n := len(k.Plan.Board.Entries); n != 0 {
		t.Errorf("after a month %d operations of the backlog are still to come", n)
	}
}

// What cannot be is said in a sentence with a code.
func TestRefused(t *testing.T) {
	d := open(t)
	k := d.plan(t)
	e := movable(t, k)
	running := schedule.Entry{}
	for _, x := range k.Plan.Board.Entries {
		if x.Running {
			running = x
		}
	}
	now := d.now.Unix()
	for code, c := range map[string]planning.Change{
		"change_kind":          {Kind: "paint"},
		"task_unknown":         {Kind: planning.Move, Task: "W-99", Op: "build", Start: now + 100},
		"operation_unknown":    {Kind: planning.Move, Task: e.Task, Op: "dance", Start: now + 100},
		"pin_resource":         {Kind: planning.Move, Task: e.Task, Op: e.Op, Resource: "wren"},
		"times":                {Kind: planning.Move, Task: e.Task, Op: e.Op, Start: now - 86400},
		"operation_running":    {Kind: planning.Move, Task: running.Task, Op: running.Op, Start: now + 100},
		"not_pinned":           {Kind: planning.Release, Task: e.Task, Op: e.Op},
		"resource_unknown":     {Kind: planning.Away, Resource: "dodo", Start: now, End: now + 100},
		"person_unknown":       {Kind: planning.Away, Person: "nobody", Start: now, End: now + 100},
		"share":                {Kind: planning.Share, Lines: []string{"O-1/L-1", "O-2/L-1"}},
		"decision_unknown":     {Kind: planning.Drop, Decision: "x"},
		"nothing_to_take_back": {},
	} {
		var err error
		if c.Kind == "" {
			_, err = d.TakeBack(t.Context(), "vera", "")
		} else {
			_, err = d.Try(t.Context(), c)
		}
		if f := fault.Of(err); err == nil || f.Code != code || f.Kind == fault.Internal {
			t.Errorf("%s: %v", code, err)
		}
	}
	if got := d.plan(t); got.ID != k.ID {
		t.Error("a refused change changed the plan")
	}
}
