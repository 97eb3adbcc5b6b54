package promise_test

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"firstoff/demo"
	"firstoff/desk/promise"
	"firstoff/shop/capacity"
)

// What is left of a run is what is left of many lognormal durations that lasted longer.
func TestRestOfRun(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 9))
	const mean, cv = 36000.0, 0.3
	s := math.Sqrt(math.Log1p(cv * cv))
	for _, ran := range []float64{9000, 30000, 45000} {
		n, sum, square := 0.0, 0.0, 0.0
		for range 400_000 {
			if x := mean*math.Exp(s*rnd.NormFloat64()-s*s/2) - ran; x > 0 {
				n, sum, square = n+1, sum+x, square+x*x
			}
		}
		j := capacity.Job{ID: "j", Ops: []capacity.Op{{ID: "a", People: "pack", Seconds: 60}, {ID: "b", Resource: []string{"wren"}, Seconds: mean, CV: cv, Unattended: true}, {ID: "c", People: "pack", Seconds: 60}}}
		got := promise.Rest(j, promise.Progress{Op: 1, Begun: 1000, Resource: "wren"}, 1000+int64(ran))
		op := got.Ops[0]
		sd := math.Sqrt(square/n - sum/n*sum/n)
		if len(got.Ops) != 2 || op.RunningOn != "wren" || math.Abs(op.Seconds/(sum/n)-1) > 0.02 || math.Abs(op.CV*op.Seconds/sd-1) > 0.04 {
			t.Errorf("after %.0f s: %.0f ± %.0f s left on %q, sampled %.0f ± %.0f", ran, op.Seconds, op.CV*op.Seconds, op.RunningOn, sum/n, sd)
		}
	}
	if j := (capacity.Job{Ops: []capacity.Op{{Seconds: 5}}}); promise.Rest(j, promise.Progress{}, 9).Ops[0].Seconds != 5 {
		t.Error("work that waits has lost some of itself")
	}
}

// New work waits for who is away as the load does.
func TestAbsenceDelaysNewWork(t *testing.T) {
	c := demo.Shop()
	c.People[0].Skills = []string{"estimate"}
	p, _ := planner(t, c, capacity.Load{}, 1)
	// Twenty hours of hand work, three days, of the only inspector: about one replication in seventeen meets an absence.
	j := capacity.Job{ID: "new", Ops: []capacity.Op{{ID: "measure", People: "inspect", Seconds: 20 * 3600}}}
	a := p.Date(j)
	if len(a.Ends) != 80 || a.Ends[79] <= a.Ends[0] {
		t.Errorf("work of 20 h without any spread of its own always ends at %d: nobody is ever away", a.Ends[0])
	}
	later := 0
	for _, e := range a.Ends {
		if e > a.Ends[0] {
			later++
		}
	}
	if later > 30 {
		t.Errorf("%d of 80 replications are delayed by absence at 2 %% a day", later)
	}
}

// A resource with hours of its own does not run outside them for new work either.
func TestResourceHours(t *testing.T) {
	c := demo.AllRound()
	p, cal := planner(t, c, capacity.Load{}, 1)
	a := p.Date(capacity.Job{ID: "new", Ops: []capacity.Op{{ID: "cast", Resource: []string{"mould-shop"}, Seconds: 12 * 3600, People: "operate", PeopleSeconds: 900, Unattended: true}}})
	s := promise.Model(c, cal, at.Unix()-86400)
	for _, r := range s.Resources {
		if r.ID != "mould-shop" {
			continue
		}
		for _, e := range a.Ends {
			if open := r.Calendar.Between(at.Unix(), e); open < 12*3600 {
				t.Fatalf("12 h of casting are done after %.1f open hours", float64(open)/3600)
			}
		}
		return
	}
	t.Fatal("no mould shop")
}

// The floor seen at an arrival agrees with what comes of it, and the date given then orders the work.
func TestFloorView(t *testing.T) {
	op := capacity.Op{ID: "run", Resource: []string{"m"}, Seconds: 1000}
	load := capacity.Load{Jobs: []capacity.Job{{ID: "a", Release: 10, Ops: []capacity.Op{op}}, {ID: "b", Release: 20, Ops: []capacity.Op{op}}, {ID: "c", Release: 30, Ops: []capacity.Op{op}}, {ID: "d", Release: 5000, Ops: []capacity.Op{op}}}}
	due := []int64{100, 900, 800, 100}
	calls := 0
	r, err := capacity.Run(context.Background(), load, capacity.Shop{Resources: []capacity.Resource{{ID: "m"}}}, 0, capacity.Options{Arrive: func(f capacity.Floor, j int) int64 {
		calls++
		switch j {
		case 2:
			at, ok := f.Standing(0)
			if !ok || at.Begun != 10 || at.Resource != "m" || f.Now() != 30 {
				t.Errorf("a stands %+v", at)
			}
			if at, ok = f.Standing(1); !ok || at.Begun != 0 {
				t.Errorf("b stands %+v", at)
			}
			if _, ok = f.Standing(3); ok {
				t.Error("d is seen before it came")
			}
		case 3:
			if f.End(0) != 1010 {
				t.Errorf("a ended at %d", f.End(0))
			}
		}
		return due[j]
	}})
	if err != nil || calls != 4 {
		t.Fatal(calls, err)
	}
	if b, c := r.Jobs[1].Ends[0], r.Jobs[2].Ends[0]; b != 3010 || c != 2010 {
		t.Errorf("b due 900 ends at %d, c due 800 at %d; want c first", b, c)
	}
	if _, err := capacity.Run(context.Background(), load, capacity.Shop{Resources: []capacity.Resource{{ID: "m"}}}, 0, capacity.Options{Replications: 2, Arrive: func(capacity.Floor, int) int64 { return 0 }}); err == nil {
		t.Error("two replications with dates given at arrival")
	}
}
