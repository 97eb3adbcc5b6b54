package capacity

import (
	"context"
	"testing"

	"firstoff/fault"
)

// Two orders ride in one build: the build runs once, and both go on when it is over, each by its own route.
func TestAfter(t *testing.T) {
	shop := Shop{Resources: []Resource{{ID: "m"}}, People: []Person{{ID: "p", Skills: []string{"finish"}}}}
	load := Load{Jobs: []Job{
		{ID: "a", Ops: []Op{{ID: "finish", People: "finish", Seconds: 100}}, After: []string{"build", "long gone"}},
		{ID: "b", Ops: []Op{{ID: "rest", Seconds: 30}}, After: []string{"build"}, Release: 5000},
		{ID: "build", Ops: []Op{{ID: "build", Resource: []string{"m"}, Seconds: 1000}}},
	}}
	r, err := Run(context.Background(), load, shop, 10, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []int64{1110, 5030, 1010} {
		if got := r.Jobs[i].Ends[0]; got != want {
			t.Errorf("%s ends at %d, not %d", r.Jobs[i].ID, got, want)
		}
	}
	load.Jobs[2].After = []string{"a"}
	if _, err := Run(context.Background(), load, shop, 10, Options{}); fault.Of(err).Code != "job_circle" {
		t.Errorf("a circle: %v", err)
	}
}

// What somebody decided not to begin before an instant waits for it, and lets others go first.
func TestNotBefore(t *testing.T) {
	shop := Shop{Resources: []Resource{{ID: "m"}}}
	load := Load{Jobs: []Job{
		{ID: "held", Due: 1, Ops: []Op{{Seconds: 10}, {Resource: []string{"m"}, Seconds: 100, NotBefore: 500}}},
		{ID: "other", Due: 2, Ops: []Op{{Resource: []string{"m"}, Seconds: 100}}},
	}}
	r, err := Run(context.Background(), load, shop, 0, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if a, b := r.Jobs[0].Ends[0], r.Jobs[1].Ends[0]; a != 600 || b != 100 {
		t.Errorf("held ends at %d, the other at %d; 600 and 100 are wanted", a, b)
	}
}

// A machine in repair and a person away: the work waits, also on what always runs.
func TestWithout(t *testing.T) {
	shop := Shop{Resources: []Resource{{ID: "m"}}, People: []Person{{ID: "p", Skills: []string{"s"}, Calendar: Calendar{{0, 1000}, {2000, 3000}}}}}
	load := Load{Jobs: []Job{
		{ID: "run", Ops: []Op{{Resource: []string{"m"}, Seconds: 300}}},
		{ID: "hands", Ops: []Op{{People: "s", Seconds: 900}}},
	}}
	away := []Absence{{Resource: "m", Start: 100, End: 700}, {Person: "p", Start: 500, End: 2500}, {Person: "nobody", Start: 0, End: 9}}
	r, err := Run(context.Background(), load, shop.Without(away, 0), 0, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if a, b := r.Jobs[0].Ends[0], r.Jobs[1].Ends[0]; a != 900 || b != 2900 {
		t.Errorf("the run ends at %d, the hands at %d; 900 and 2900 are wanted", a, b)
	}
	if len(shop.Resources[0].Calendar) != 0 {
		t.Error("the shop itself was changed")
	}
	// Long after it, everything is as before.
	if got := shop.Without(away, 0).Resources[0].Calendar.After(1e7, 50); got != 1e7+50 {
		t.Errorf("after the repair it runs on: %d", got)
	}
}
