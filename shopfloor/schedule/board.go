package schedule

import (
	"context"
	"fmt"
	"math"
	"sort"

	"firstoff/fault"
	"firstoff/shop/capacity"
)

// Work is everything Plan arranges: the tasks, the shop they run in, and what is already decided.
type Work struct {
	Tasks []Task
	Shop  capacity.Shop
	Now   int64  // nothing starts before it
	Pins  []Pin  // decisions of a person
	Down  []Down // when a resource or a person is not there, beyond the calendar

	// Previous is the plan in force and FrozenUntil its frozen horizon: what it has starting before that instant stays
	// as it is, as long as its resource and people are there.
	Previous    *Board
	FrozenUntil int64
}

// Task is a job for the board: a build with what it needs before and after, or what follows for one order once its
// builds are done (Job.After). Operations are capacity.Op with the same meaning as there; the plan counts with their means.
type Task struct{ capacity.Job }

// Pin fixes an operation to a resource, or to an instant, or to both. Start 0 leaves the instant open, Resource "" the
// resource.
type Pin struct {
	Task     string `json:"task"`
	Op       string `json:"op"`
	Resource string `json:"resource,omitempty"`
	Start    int64  `json:"start_s,omitempty"`
}

// Down is an absence: a machine in repair or a person ill, from Start to End.
type Down = capacity.Absence

// Board is a plan of the shop.
type Board struct {
	Entries []Entry   `json:"entries"` // by task in the order of Work, by operation within
	Dates   []Promise `json:"dates"`   // by task

	// What the plan was judged by: weighted tardiness first, then the rest.
	WeightedTardinessS float64 `json:"weighted_tardiness_s"`
	ChangeoverS        int64   `json:"changeover_s"`
	Changeovers        int     `json:"changeovers"`
	MachineS           int64   `json:"machine_s"` // taken time of all resources
	LateTasks          int     `json:"late_tasks"`
	// LowerBoundS is a weighted tardiness no plan can be below: each task alone in an empty shop.
	LowerBoundS float64 `json:"lower_bound_s"`
	Rounds      int     `json:"-"`
}

// Entry is one operation on the board.
type Entry struct {
	Task     string `json:"task"`
	Op       string `json:"op"`
	Index    int    `json:"index"`
	Resource string `json:"resource,omitempty"`
	Unit     int    `json:"unit,omitempty"`   // which of like units, from 0
	Person   string `json:"person,omitempty"` // who starts it, or does it
	Unloader string `json:"unloader,omitempty"`
	Family   string `json:"family,omitempty"`
	// Start: changeover and loading begin (for hand work: the work). Begin: the resource runs. End: the run is over.
	// Unload: somebody begins to take it out. Free: done and the resource free.
	Start   int64 `json:"start_s"`
	Begin   int64 `json:"begin_s"`
	End     int64 `json:"end_s"`
	Unload  int64 `json:"unload_s"`
	Free    int64 `json:"free_s"`
	ChangeS int64 `json:"change_s,omitempty"`
	Pinned  bool  `json:"pinned,omitempty"`
	Frozen  bool  `json:"frozen,omitempty"`
	Running bool  `json:"running,omitempty"` // it was under way when the plan was made
}

// Promise is what the plan means for a task's date.
type Promise struct {
	Task string `json:"task"`
	End  int64  `json:"end_s"`
	Due  int64  `json:"due_s,omitempty"` // 0: none
	// SpreadS is the standard deviation of the task's own remaining operations, taken as independent.
	SpreadS float64 `json:"spread_s"`
	Risk    string  `json:"risk"` // "none", "tight" (due within 1.28 spreads of the end), "late"
	WaitS   int64   `json:"wait_s"`
}

// Risks of a promise.
const (
	NoRisk = "none"
	Tight  = "tight"
	Late   = "late"
)

// BoardOptions of Plan and Replan.
type BoardOptions struct {
	Seconds float64 // as in Options
	Rounds  int     // rounds of improvement; with neither, 20
	Seed    uint64
	Threads int
	// ChangeCost is how many weighted seconds late one second of changeover is worth, MachineCost one second of a
	// resource taken; 0 is 0.05 and 0.005. Negative is none.
	ChangeCost, MachineCost float64
	// SoonCost is how many weighted seconds late one second to the end of a task is worth, whatever its date: work that could be done
	// now and is not is a risk. 0 is 0.02; negative is none.
	SoonCost float64
	// Stay is how many weighted seconds late it is worth to leave one operation of the previous plan on its resource and
	// within an hour of its start; 0 is 300 in Replan and none in Plan. Negative is none.
	Stay float64
}

// Plan arranges the work from what is decided and the rest from nothing.
func Plan(ctx context.Context, w Work, opt BoardOptions) (*Board, error) {
	b, _, err := arrange(ctx, w, opt, false)
	return b, err
}

// Changes says what a new plan does to the one in force.
type Changes struct {
	Moved []Move    `json:"moved"`
	Risks []AtRisk  `json:"risks"` // promises that are late or tight now, worst first
	Freed []Promise `json:"freed"` // those that were and no longer are
}

// Move is an operation that changed its resource or its start.
type Move struct {
	Task         string `json:"task"`
	Op           string `json:"op"`
	FromResource string `json:"from_resource,omitempty"`
	ToResource   string `json:"to_resource,omitempty"`
	FromStart    int64  `json:"from_start_s"`
	ToStart      int64  `json:"to_start_s"`
}

// Far says that an operation goes to another resource or by more than half a shift: what people want to be told. The rest shifts within the day.
func (m Move) Far() bool {
	return m.FromResource != m.ToResource || max(m.ToStart-m.FromStart, m.FromStart-m.ToStart) > farS
}

const farS = 4 * 3600

// Far counts the moves that are.
func (c *Changes) Far() int {
	n := 0
	for _, m := range c.Moved {
		if m.Far() {
			n++
		}
	}
	return n
}

// AtRisk is a promise in danger.
type AtRisk struct {
	Promise
	Before int64 `json:"before_s,omitempty"` // end in the plan in force; 0: not in it
	New    bool  `json:"new"`                // it was not at risk before
}

// Replan arranges the work anew after something happened (a failure, a rush order, an illness, a pinned decision), keeping
// to the plan in force where that costs little, and says what moved and which promises are at risk.
func Replan(ctx context.Context, w Work, opt BoardOptions) (*Board, *Changes, error) {
	if w.Previous == nil {
		return nil, nil, fault.New(fault.Invalid, "replan_previous", "", "There is no plan to change yet; make one first.")
	}
	return arrange(ctx, w, opt, true)
}

// sameS is how far a start may shift without anybody calling it moved.
const sameS = 600

// difference compares two plans.
func difference(before, after *Board) *Changes {
	type key struct{ task, op string }
	c := &Changes{}
	old := map[key]Entry{}
	for _, e := range before.Entries {
		old[key{e.Task, e.Op}] = e
	}
	for _, e := range after.Entries {
		o, ok := old[key{e.Task, e.Op}]
		if ok && !e.Running && (o.Resource != e.Resource || max(o.Start-e.Start, e.Start-o.Start) > sameS) {
			c.Moved = append(c.Moved, Move{e.Task, e.Op, o.Resource, e.Resource, o.Start, e.Start})
		}
	}
	was := map[string]Promise{}
	for _, d := range before.Dates {
		was[d.Task] = d
	}
	for _, d := range after.Dates {
		o, known := was[d.Task]
		switch {
		case d.Risk != NoRisk:
			r := AtRisk{Promise: d, New: !known || o.Risk == NoRisk || o.Risk == Tight && d.Risk == Late}
			if known {
				r.Before = o.End
			}
			c.Risks = append(c.Risks, r)
		case known && o.Risk != NoRisk:
			c.Freed = append(c.Freed, d)
		}
	}
	sort.SliceStable(c.Risks, func(a, b int) bool {
		return c.Risks[a].End-c.Risks[a].Due > c.Risks[b].End-c.Risks[b].Due
	})
	return c
}

// promiseOf judges a task's end against its date.
func promiseOf(t *Task, end int64) Promise {
	p := Promise{Task: t.ID, End: end, Due: t.Due, Risk: NoRisk}
	v := 0.0
	for _, o := range t.Ops {
		s := o.CV * o.Seconds
		v += s * s
		if o.FailProb > 0 { // a repeat with that chance
			v += o.FailProb * (1 - o.FailProb) * o.Seconds * o.Seconds
		}
	}
	p.SpreadS = math.Sqrt(v)
	if t.Due > 0 {
		switch {
		case end > t.Due:
			p.Risk = Late
		case float64(end)+1.28*p.SpreadS > float64(t.Due):
			p.Risk = Tight
		}
	}
	return p
}

// OpName is how the plan calls an operation: its id, or its index where it has none.
func OpName(o *capacity.Op, index int) string {
	if o.ID != "" {
		return o.ID
	}
	return fmt.Sprint(index)
}
