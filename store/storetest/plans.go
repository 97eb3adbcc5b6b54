package storetest

import (
	"fmt"
	"testing"

	"firstoff/bureau/planning"
	"firstoff/fault"
	"firstoff/shopfloor/schedule"
	"firstoff/store"
)

// plans: the highest number is in force, a stale writer is told, old states are forgotten and the newest never.
func plans(t *testing.T, s *store.Store) {
	c := ctx(t)
	if _, err := s.LatestPlan(c); fault.KindOf(err) != fault.NotFound {
		t.Errorf("before the first plan: %v", err)
	}
	var first planning.Kept
	for i := range 12 { // past nine: numbers are compared as numbers
		k := planning.Kept{ID: fmt.Sprint("PLAN-", 995+i), What: fmt.Sprint("state ", i)}
		k.Plan.Board.Entries = []schedule.Entry{{Task: "O-1/L make", Op: "build", Start: int64(i)}}
		must(t, s.AddPlan(c, &k))
		if i == 0 {
			first = k
		}
	}
	k, err := s.LatestPlan(c)
	must(t, err)
	if k.ID != "PLAN-1006" || k.Plan.Board.Entries[0].Start != 11 || k.Version != 1 {
		t.Errorf("in force: %s version %d", k.ID, k.Version)
	}
	stale := k
	k.What = "followed the floor"
	must(t, s.SavePlan(c, &k))
	code(t, s.SavePlan(c, &stale), fault.Conflict, "changed_meanwhile")
	must(t, s.PrunePlans(c, 3))
	if _, err := s.Plan(c, first.ID); fault.KindOf(err) != fault.NotFound {
		t.Errorf("the oldest is still there: %v", err)
	}
	for _, id := range []string{"PLAN-1004", "PLAN-1005", "PLAN-1006"} {
		_, err := s.Plan(c, id)
		must(t, err)
	}
}
