// Package plan arranges a shop's work: what is left of the backlog and of the open orders, on the machines, by the people,
// around what was decided. It forms the builds that lines share and keeps to the plan in force where that costs little.
//
// Promises: what is planned can be done (schedule.Audit accepts it: TestPlanned); what a person pinned stands where it was pinned,
// or later when something is in the way (TestPinned); with nothing new nothing moves (TestNothingNew); lines that fit one platform and
// gain by it share a build, and none is made later than its date for it (TestTogether).
// Units: s, instants in s since 1970. Nothing reads a clock.
package plan

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"firstoff/desk/promise"
	"firstoff/fault"
	"firstoff/shop"
	"firstoff/shop/calendar"
	"firstoff/shop/capacity"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/schedule"
	"firstoff/shopfloor/work"
)

// Situation is what is to be planned and what with.
type Situation struct {
	Catalogue *shop.Catalogue
	Calendar  *calendar.Calendar
	Backlog   []capacity.Job // of the catalogue, what is left
	Orders    []order.Order
	Floor     work.Floor
	Loaded    map[string]string // what machines have loaded where it is not what the catalogue says
	Now       time.Time
}

// Situate says what there is to plan at now: what is left of the backlog when the plan in force has been kept to (nil: when it went by due
// dates since it was taken down), and of the orders by the floor's own record.
func Situate(ctx context.Context, cat *shop.Catalogue, orders []order.Order, floor work.Floor, before *Plan, now time.Time) (Situation, error) {
	s := Situation{Catalogue: cat, Orders: orders, Floor: floor, Now: now, Loaded: map[string]string{}}
	var err error
	if s.Calendar, err = calendar.Of(cat); err != nil {
		return s, fault.Because(err, fault.Internal, "calendar", "shop", "The shop's calendar cannot be made.")
	}
	asOf := now
	if t, err := time.Parse(time.RFC3339, cat.WorkloadAsOf); err == nil && t.Before(now) {
		asOf = t
	}
	var left capacity.Load
	if before == nil {
		var has map[string]string
		left, has, err = promise.Backlogged(ctx, cat, s.Calendar, asOf, now)
		maps.Copy(s.Loaded, has)
	} else if left, err = promise.Backlog(cat, s.Calendar, asOf); err == nil {
		left.Jobs = work.Backlog(left.Jobs, work.Decided{Backlog: before.Backlog(cat)}, now.Unix())
		for _, e := range slices.Concat(before.Past, before.Board.Entries) {
			if e.Family != "" && e.Begin <= now.Unix() {
				s.Loaded[e.Resource] = e.Family
			}
		}
	}
	if err != nil {
		return s, err
	}
	s.Backlog = left.Jobs
	for i := range s.Backlog {
		s.Backlog[i].Release = max(s.Backlog[i].Release, now.Unix())
	}
	maps.Copy(s.Loaded, floor.Loaded)
	return s, nil
}

// Decisions are people's.
type Decisions struct {
	Pins  []work.Pin         `json:"pins,omitempty"`
	Away  []capacity.Absence `json:"away,omitempty"`
	Joins []work.Join        `json:"joins,omitempty"` // lines that shall share a build
	Apart []string           `json:"apart,omitempty"` // lines that shall have builds of their own
}

// Plan is an arrangement.
type Plan struct {
	Now         int64            `json:"now_s"`
	FrozenUntil int64            `json:"frozen_until_s"`
	Joins       []work.Join      `json:"joins"` // decided and found
	Board       schedule.Board   `json:"board"`
	Past        []schedule.Entry `json:"past"` // of earlier plans, what should be over by Now
}

// FrozenS is the frozen horizon: what begins within it stays as it is. Two hours, common practice: it is being prepared.
const FrozenS = 2 * 3600

// stay is what it is worth to leave an operation where the plan in force has it, in seconds of lateness: people have made themselves ready for
// it. A promise an hour later is worse, an hour won somewhere is not worth it.
const stay = 1800

// pastS is how long what is over is kept; of the backlog always, since nothing else remembers it.
const pastS = 15 * 86400

// Effort of the search: rounds, the same on every machine.
type Effort struct {
	Rounds  int // 0 is 12
	Threads int
	// StayS is what it is worth to leave an operation where the plan in force has it, in seconds of lateness; 0 is half an hour.
	StayS float64
}

// Make plans. before is the plan in force; nil: none. The changes are against it, nil without one. Faults: those of schedule.Plan.
func Make(ctx context.Context, s Situation, d Decisions, before *Plan, e Effort) (*Plan, *schedule.Changes, error) {
	now := s.Now.Unix()
	p := &Plan{Now: now, FrozenUntil: now + FrozenS}
	p.Joins = s.compose(ctx, d, before)
	w := s.Work(d, p.Joins)
	opt := schedule.BoardOptions{Rounds: e.Rounds, Threads: max(1, e.Threads), Seed: 1}
	if opt.Rounds <= 0 {
		opt.Rounds = 12
	}
	var b *schedule.Board
	var c *schedule.Changes
	var err error
	if before == nil {
		opt.Rounds *= 3 // what is found now need not be moved later
		b, err = schedule.Plan(ctx, w, opt)
	} else {
		p.Past = past(before, w, s.Catalogue, now)
		w.Previous, w.FrozenUntil, opt.Stay = &before.Board, p.FrozenUntil, cmp.Or(e.StayS, stay)
		b, c, err = schedule.Replan(ctx, w, opt)
	}
	if err != nil {
		return nil, nil, err
	}
	if check != nil {
		check(&w, b)
	}
	p.Board = *b
	if before != nil {
		p.begun(before, now)
	}
	return p, c, nil
}

// check is set by tests.
var check func(w *schedule.Work, b *schedule.Board)

// begun gives what runs on from an earlier plan its true beginning.
func (p *Plan) begun(before *Plan, now int64) {
	was := map[[2]string]schedule.Entry{}
	for _, e := range before.Board.Entries {
		if e.Start < now {
			was[[2]string{e.Task, e.Op}] = e
		}
	}
	for i := range p.Board.Entries {
		e := &p.Board.Entries[i]
		if o, ok := was[[2]string{e.Task, e.Op}]; ok && e.Start == now && e.Running && o.Resource == e.Resource {
			e.Start, e.Begin = o.Start, min(o.Begin, e.End)
		}
	}
}

// Work is the question the plan answers.
func (s Situation) Work(d Decisions, joins []work.Join) schedule.Work {
	now := s.Now.Unix()
	w := schedule.Work{Now: now, Down: d.Away, Tasks: s.Tasks(joins)}
	w.Shop = promise.AsItIs(promise.Model(s.Catalogue, s.Calendar, now-86400), s.Loaded)
	for _, p := range d.Pins {
		w.Pins = append(w.Pins, schedule.Pin{Task: p.Task, Op: p.Op, Resource: p.Resource, Start: p.Start})
	}
	return w
}

// Tasks are the jobs taken apart at their builds, so that builds and what follows them stand on the board by themselves.
func (s Situation) Tasks(joins []work.Join) []schedule.Task {
	jobs := slices.Concat(s.Backlog, work.Jobs(s.Orders, s.Floor, work.Decided{Joins: joins}, s.Catalogue, s.Calendar.Location(), s.Now))
	awaited := map[string]bool{}
	for _, j := range jobs {
		for _, a := range j.After {
			awaited[a] = true
		}
	}
	var out []schedule.Task
	for _, j := range jobs {
		if awaited[j.ID] {
			j.Due = 0 // who waits for it has the date
			out = append(out, schedule.Task{Job: j})
			continue
		}
		cut := s.lastBuild(j)
		if cut < 0 || cut == len(j.Ops)-1 {
			out = append(out, schedule.Task{Job: j})
			continue
		}
		first, rest := j, j
		first.ID, first.Due, first.Ops = work.Make(j.ID), 0, j.Ops[:cut+1:cut+1]
		rest.Ops, rest.After = j.Ops[cut+1:], []string{first.ID}
		out = append(out, schedule.Task{Job: first}, schedule.Task{Job: rest})
	}
	return out
}

// lastBuild is the last operation of a job that holds a machine of ours; -1: none.
func (s Situation) lastBuild(j capacity.Job) int {
	for k := len(j.Ops) - 1; k >= 0; k-- {
		if r := j.Ops[k].Resource; len(r) > 0 && s.Catalogue.Machine(r[0]) != nil {
			return k
		}
	}
	return -1
}

// past is what of a plan should be over or under way by now. What has been made good by a later plan is not in it twice.
func past(before *Plan, w schedule.Work, cat *shop.Catalogue, now int64) []schedule.Entry {
	backlog := map[string]bool{}
	for _, x := range cat.Workload {
		backlog[x.ID] = true
	}
	left := map[[2]string]bool{}
	for _, t := range w.Tasks {
		for k := range t.Ops {
			left[[2]string{t.ID, schedule.OpName(&t.Ops[k], k)}] = true
		}
	}
	var out []schedule.Entry
	for _, e := range before.Past {
		if e.Free > now-pastS || backlog[work.LineOf(e.Task)] {
			out = append(out, e)
		}
	}
	for _, e := range before.Board.Entries {
		if e.Start < now && !left[[2]string{e.Task, e.Op}] {
			e.Free, e.Unload, e.End = min(e.Free, max(now, e.Start)), min(e.Unload, max(now, e.Start)), min(e.End, max(now, e.Start))
			e.Begin = min(e.Begin, e.End)
			out = append(out, e)
		}
	}
	slices.SortStableFunc(out, func(a, b schedule.Entry) int { return cmp.Compare(a.Start, b.Start) })
	return out
}

// Backlog is how the plan has the catalogue's work: for working out what is left of it later.
func (p *Plan) Backlog(cat *shop.Catalogue) map[string][]work.Slot {
	out := map[string][]work.Slot{}
	for _, w := range cat.Workload {
		out[w.ID] = nil
	}
	for _, e := range slices.Concat(p.Past, p.Board.Entries) {
		for _, id := range []string{e.Task, work.LineOf(e.Task)} {
			if _, ours := out[id]; ours {
				out[id] = append(out[id], work.Slot{Op: e.Op, Resource: e.Resource, Begin: e.Begin, End: e.End, Free: e.Free})
				break
			}
		}
	}
	return out
}

// Title names a task as people know it: a line by its order and part, a build several share by its soonest line, the backlog by its title.
func (s Situation) Title(task string, joins []work.Join) string {
	key, more := work.LineOf(task), 0
	for _, j := range joins {
		if j.ID == task {
			key, more = j.Lines[0], len(j.Lines)-1
		}
	}
	for _, b := range s.Floor.Builds {
		if b.ID == task {
			return "build " + task
		}
	}
	for _, w := range s.Catalogue.Workload {
		if w.ID == key {
			return w.Title
		}
	}
	for _, o := range s.Orders {
		for _, l := range o.Lines {
			if work.Key(o.ID, l.LineID) == key {
				t := o.ID + " " + l.Name
				if more > 0 {
					t += fmt.Sprintf(" and %d more", more)
				}
				return t
			}
		}
	}
	return task
}
