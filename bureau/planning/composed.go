package planning

import (
	"context"
	"slices"

	"firstoff/fault"
	"firstoff/shop"
	"firstoff/shopfloor/plan"
	"firstoff/shopfloor/schedule"
	"firstoff/shopfloor/work"
)

// Composed is a build of the plan: which lines are in it, and which could be.
type Composed struct {
	Plan    string // the state of the plan
	Task    string
	Op      string
	Machine shop.Machine
	Entry   schedule.Entry
	Lines   []plan.Whole // in it
	Others  []plan.Whole // of the same machine, material and layer, not in it
	Shared  bool
	Decided bool // a person joined them, or wanted the line by itself
	// AloneS is what the lines would take in builds of their own, s; TogetherS what this build takes.
	AloneS, TogetherS float64
}

// Full is the share of a full platform the lines fill, by the count of pieces a platform was estimated to hold.
func (c Composed) Full() float64 {
	f := 0.0
	for _, l := range c.Lines {
		f += l.Share
	}
	return f
}

// Composed shows a build of the plan. Faults: NotFound "build_unknown"; Conflict "build_begun" for lines that are under way.
func (h *House) Composed(ctx context.Context, task string) (Composed, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	k, s, err := h.inForce(ctx)
	if err != nil {
		return Composed{}, err
	}
	c := Composed{Plan: k.ID, Task: task}
	keys := []string{work.LineOf(task)}
	for _, j := range k.Plan.Joins {
		if j.ID == task {
			keys, c.Shared = j.Lines, true
		}
	}
	whole := s.Wholes()
	for _, key := range keys {
		i := slices.IndexFunc(whole, func(w plan.Whole) bool { return w.Key == key })
		if i < 0 {
			for _, e := range k.Plan.Board.Entries {
				if e.Task == task {
					return c, fault.New(fault.Conflict, "build_begun", key, "This line fills several builds, or has been laid into one already; look at the floor.")
				}
			}
			return c, fault.New(fault.NotFound, "build_unknown", task, "The plan holds no such build any more; look at the board again.")
		}
		c.Lines = append(c.Lines, whole[i])
	}
	first := c.Lines[0].Line.Option
	m := s.Catalogue.Machine(first.Machine)
	if m == nil {
		return c, fault.New(fault.NotFound, "machine_unknown", first.Machine, "The shop has no machine %q any more.", first.Machine)
	}
	c.Machine = *m
	for _, w := range whole {
		if !slices.Contains(keys, w.Key) && plan.Alike(c.Lines[0], w) {
			c.Others = append(c.Others, w)
		}
	}
	for _, e := range k.Plan.Board.Entries {
		if e.Resource == m.ID && e.Task == task && (c.Entry.Task == "" || e.Start < c.Entry.Start) {
			c.Entry, c.Op = e, e.Op
		}
	}
	for _, d := range k.Decisions {
		c.Decided = c.Decided || d.Join != nil && d.Join.ID == task || d.Apart != "" && d.Apart == keys[0]
	}
	for _, w := range c.Lines {
		c.AloneS += work.Batch(w.Line).Terms.S()
	}
	c.TogetherS = plan.TogetherS(c.Lines, m)
	return c, nil
}
