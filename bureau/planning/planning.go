// Package planning is the walk with the shop's plan: it keeps the one in force, brings it up to date with the floor, tries what a
// person wants changed and says what that moves, keeps the decision, and takes it back. Like bureau it holds no rule of its own
// (shopfloor/plan and shopfloor/schedule hold them), and declares what it needs.
//
// Promises: trying changes nothing (TestTry); what is taken back is as it was (TestTakeBack); what is done or gone loses its decisions
// and nothing else (TestGone); the plan of an unchanged shop stays (TestStays).
// Not here: pages (web), odds of a date (appraise), what happened (making).
package planning

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"slices"
	"strconv"
	"sync"
	"time"

	"firstoff/bureau"
	"firstoff/digest"
	"firstoff/fault"
	"firstoff/shop"
	"firstoff/shop/capacity"
	"firstoff/shopfloor/plan"
	"firstoff/shopfloor/schedule"
	"firstoff/shopfloor/work"
	"firstoff/trail"
)

// Records is the memory of plans; faults as those of bureau.Records.
type Records interface {
	InTx(ctx context.Context, do func(ctx context.Context) error) error
	Next(ctx context.Context, series string) (int64, error)
	Log(ctx context.Context, events ...trail.Event) error

	AddPlan(ctx context.Context, k *Kept) error
	SavePlan(ctx context.Context, k *Kept) error
	Plan(ctx context.Context, id string) (Kept, error)
	// LatestPlan is the one in force; NotFound before there is one.
	LatestPlan(ctx context.Context) (Kept, error)
	// PrunePlans forgets all but the newest.
	PrunePlans(ctx context.Context, keep int) error
}

// Ports is what planning stands on.
type Ports struct {
	Records   Records
	Clock     func() time.Time
	Catalogue func() *shop.Catalogue
	// InHand is the open orders and how far they have come; its Decided is not looked at.
	InHand  func(ctx context.Context) (bureau.Load, error)
	Threads int
	Log     *slog.Logger // nil = none
}

// Kept is one state of the plan. A decision makes a new one; what only follows the floor and the clock replaces it.
type Kept struct {
	ID        string        `json:"id"` // "PLAN-1001"
	Made      time.Time     `json:"made"`
	Who       string        `json:"who"`
	What      string        `json:"what"` // what was decided, in words
	Load      digest.Digest `json:"load"` // what it was made from
	AsOf      string        `json:"as_of"`
	Decisions []Decision    `json:"decisions"`
	Plan      plan.Plan     `json:"plan"`
	Back      string        `json:"back,omitempty"` // the state before the last decision
	Moved     int           `json:"moved"`          // operations the last decision moved
	Version   int           `json:"version"`
}

// Decision is one thing a person fixed. Exactly one of Pin, Away, Join and Apart is set.
type Decision struct {
	ID    string            `json:"id"`
	Who   string            `json:"who"`
	At    time.Time         `json:"at"`
	Why   string            `json:"why,omitempty"`
	Pin   *work.Pin         `json:"pin,omitempty"`
	Away  *capacity.Absence `json:"away,omitempty"`
	Join  *work.Join        `json:"join,omitempty"`
	Apart string            `json:"apart,omitempty"`
}

// House is planning at work. Safe for concurrent use.
type House struct {
	p  Ports
	mu sync.Mutex
}

// New stands planning on its ports. Fault: Internal "port_missing".
func New(p Ports) (*House, error) {
	if p.Records == nil || p.Clock == nil || p.Catalogue == nil || p.InHand == nil {
		return nil, fault.New(fault.Internal, "port_missing", "planning", "Planning needs records, a clock, a catalogue and the work in hand.")
	}
	if p.Log == nil {
		p.Log = slog.New(slog.DiscardHandler)
	}
	return &House{p: p}, nil
}

// stale is how old a plan may be before it follows the clock.
const stale = 10 * time.Minute

// The plan searches longer when it follows the floor than when somebody waits for what a change would move; and what a person changes moves what it must,
// not what could be better anyway: an operation stays where it is unless that costs six hours of lateness.
const (
	following = 40
	asked     = 6 * 3600
)

// keep is how many states of the plan can be gone back to.
const keep = 200

// situation is what there is to plan now, and its digest.
func (h *House) situation(ctx context.Context, before *Kept) (plan.Situation, digest.Digest, error) {
	cat := h.p.Catalogue()
	s := plan.Situation{Catalogue: cat, Now: h.p.Clock().Truncate(time.Second)}
	load, err := h.p.InHand(ctx)
	if err != nil {
		return s, "", err
	}
	var was *plan.Plan
	if before != nil && before.AsOf == cat.WorkloadAsOf {
		was = &before.Plan
	}
	if s, err = plan.Situate(ctx, cat, load.Orders, load.Floor, was, s.Now); err != nil {
		return s, "", err
	}
	type mark struct {
		ID      string
		Version int
	}
	marks := []mark{}
	for _, o := range load.Orders {
		marks = append(marks, mark{o.ID, o.Version})
	}
	text, err := json.Marshal(struct {
		Orders    []mark
		Floor     work.Floor
		Catalogue digest.Digest
	}{marks, load.Floor.Still(), cat.Revision})
	return s, digest.Of(text), err
}

func folded(ds []Decision) plan.Decisions {
	var d plan.Decisions
	for _, x := range ds {
		switch {
		case x.Pin != nil:
			d.Pins = append(d.Pins, *x.Pin)
		case x.Away != nil:
			d.Away = append(d.Away, *x.Away)
		case x.Join != nil:
			d.Joins = append(d.Joins, *x.Join)
		case x.Apart != "":
			d.Apart = append(d.Apart, x.Apart)
		}
	}
	return d
}

// InForce is the plan, brought up to date with the floor and the clock, and what there is to do.
func (h *House) InForce(ctx context.Context) (Kept, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	k, _, err := h.inForce(ctx)
	return k, err
}

func (h *House) inForce(ctx context.Context) (Kept, plan.Situation, error) {
	k, err := h.p.Records.LatestPlan(ctx)
	first := err != nil && fault.KindOf(err) == fault.NotFound
	if err != nil && !first {
		return k, plan.Situation{}, err
	}
	before := &k
	if first {
		before = nil
	}
	s, now, err := h.situation(ctx, before)
	if err != nil {
		return k, s, err
	}
	if !first && k.Load == now && s.Now.Unix()-k.Plan.Now < int64(stale/time.Second) && s.Now.Unix() >= k.Plan.Now {
		return k, s, nil
	}
	at := h.p.Clock().UTC().Truncate(time.Microsecond)
	if first {
		k = Kept{Made: at, Who: "desk", What: "The first plan", Decisions: []Decision{}}
	}
	k.Decisions = h.living(k.Decisions, s)
	var old *plan.Plan
	if !first {
		old = &k.Plan
	}
	p, _, err := plan.Make(ctx, s, folded(k.Decisions), old, plan.Effort{Rounds: following, Threads: h.p.Threads})
	if err != nil {
		return k, s, err
	}
	k.Plan, k.Load, k.AsOf = *p, now, s.Catalogue.WorkloadAsOf
	err = h.p.Records.InTx(ctx, func(ctx context.Context) error {
		if !first {
			return h.p.Records.SavePlan(ctx, &k)
		}
		return h.add(ctx, &k)
	})
	if err != nil && fault.Of(err).Code == "changed_meanwhile" { // another process did
		k, err = h.p.Records.LatestPlan(ctx)
	}
	return k, s, err
}

func (h *House) add(ctx context.Context, k *Kept) error {
	n, err := h.p.Records.Next(ctx, "PLAN")
	if err != nil {
		return err
	}
	k.ID, k.Version = "PLAN-"+strconv.FormatInt(n, 10), 0
	if err := h.p.Records.AddPlan(ctx, k); err != nil {
		return err
	}
	return h.p.Records.PrunePlans(ctx, keep)
}

// living are the decisions that still mean something: about work that is left, absences not over, builds that can still be shared.
func (h *House) living(ds []Decision, s plan.Situation) []Decision {
	ops := map[[2]string]bool{}
	whole := map[string]bool{}
	for _, t := range s.Tasks(folded(ds).Joins) {
		for k := range t.Ops {
			ops[[2]string{t.ID, schedule.OpName(&t.Ops[k], k)}] = true
		}
	}
	for _, w := range s.Wholes() {
		whole[w.Key] = true
	}
	return slices.DeleteFunc(slices.Clone(ds), func(d Decision) bool {
		switch {
		case d.Pin != nil:
			return !ops[[2]string{d.Pin.Task, d.Pin.Op}]
		case d.Away != nil:
			return d.Away.End <= s.Now.Unix()
		case d.Join != nil:
			return slices.ContainsFunc(d.Join.Lines, func(k string) bool { return !whole[k] })
		}
		return !whole[d.Apart]
	})
}

// Decided is what the promises count with: the decisions, the builds formed, and how the plan has the backlog. It does not bring the plan up to date.
func (h *House) Decided(ctx context.Context) (work.Decided, error) {
	k, err := h.p.Records.LatestPlan(ctx)
	if err != nil && fault.KindOf(err) == fault.NotFound {
		return work.Decided{}, nil
	}
	if err != nil {
		return work.Decided{}, err
	}
	return h.DecidedBy(k), nil
}

// DecidedBy is what promises would count with under a state of the plan.
func (h *House) DecidedBy(k Kept) work.Decided {
	d := folded(k.Decisions)
	out := work.Decided{Pins: d.Pins, Joins: k.Plan.Joins, Away: d.Away}
	if cat := h.p.Catalogue(); k.AsOf == cat.WorkloadAsOf {
		out.Backlog = k.Plan.Backlog(cat)
	}
	return out
}

// Change is what a person wants. Kind says which fields count.
type Change struct {
	Kind     string   `json:"kind"` // move, release, away, share, apart, drop
	Task     string   `json:"task,omitempty"`
	Op       string   `json:"op,omitempty"`
	Resource string   `json:"resource,omitempty"`
	Person   string   `json:"person,omitempty"`
	Start    int64    `json:"start_s,omitempty"`
	End      int64    `json:"end_s,omitempty"`
	Lines    []string `json:"lines,omitempty"`
	Decision string   `json:"decision,omitempty"`
	Why      string   `json:"why,omitempty"`
	// On is the state of the plan the person saw; "": whatever is in force.
	On string `json:"on,omitempty"`
}

// Kinds of change.
const (
	Move    = "move"    // an operation to a resource, or to begin at Start, or both
	Release = "release" // an operation the plan may place again
	Away    = "away"    // a machine in repair, a person not there, from Start to End
	Share   = "share"   // Lines into one build
	Apart   = "apart"   // Lines into builds of their own
	Drop    = "drop"    // Decision
)

// Proposal is what a change would come to.
type Proposal struct {
	What    string            `json:"what"`
	Kept    Kept              `json:"-"`
	Changes *schedule.Changes `json:"changes"`
}

// Try says what a change would come to and keeps nothing.
// Faults: Invalid "change_kind", "task_unknown", "operation_done", "resource_unknown", "person_unknown", "times", "pin_resource"; Conflict "plan_moved_on", "share".
func (h *House) Try(ctx context.Context, c Change) (Proposal, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.propose(ctx, "", c)
}

// Decide makes a change. Faults as of Try.
func (h *House) Decide(ctx context.Context, who string, c Change) (Proposal, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	p, err := h.propose(ctx, who, c)
	if err != nil {
		return p, err
	}
	err = h.p.Records.InTx(ctx, func(ctx context.Context) error {
		if err := h.add(ctx, &p.Kept); err != nil {
			return err
		}
		raw, err := json.Marshal(c)
		if err != nil {
			return err
		}
		return h.p.Records.Log(ctx, trail.Event{At: p.Kept.Made, Who: who, What: "plan." + c.Kind, About: p.Kept.ID, In: "plan", Was: p.Kept.Back, Is: string(raw), Why: c.Why})
	})
	return p, err
}

func (h *House) propose(ctx context.Context, who string, c Change) (Proposal, error) {
	k, s, err := h.inForce(ctx)
	if err != nil {
		return Proposal{}, err
	}
	if c.On != "" && c.On != k.ID {
		return Proposal{}, fault.New(fault.Conflict, "plan_moved_on", c.On, "Somebody changed the plan meanwhile; look at it again and repeat your change.")
	}
	next := Kept{Made: h.p.Clock().UTC().Truncate(time.Microsecond), Who: who, Load: k.Load, AsOf: k.AsOf, Back: k.ID}
	if next.Decisions, next.What, err = h.apply(k, s, who, c); err != nil {
		return Proposal{}, err
	}
	p, changes, err := plan.Make(ctx, s, folded(next.Decisions), &k.Plan, plan.Effort{Threads: h.p.Threads, StayS: asked})
	if err != nil {
		return Proposal{}, err
	}
	next.Plan, next.Moved = *p, changes.Far()
	return Proposal{What: next.What, Kept: next, Changes: changes}, nil
}

// TakeBack goes back to before the last decision. Fault: Conflict "nothing_to_take_back".
func (h *House) TakeBack(ctx context.Context, who, on string) (Kept, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	k, s, err := h.inForce(ctx)
	if err != nil {
		return k, err
	}
	if on != "" && on != k.ID {
		return k, fault.New(fault.Conflict, "plan_moved_on", on, "Somebody changed the plan meanwhile; look at it again.")
	}
	nothing := fault.New(fault.Conflict, "nothing_to_take_back", k.ID, "There is no decision to take back.")
	if k.Back == "" {
		return k, nothing
	}
	was, err := h.p.Records.Plan(ctx, k.Back)
	if err != nil && fault.KindOf(err) == fault.NotFound {
		return k, nothing
	}
	if err != nil {
		return k, err
	}
	next := was
	next.Made, next.Who, next.What = h.p.Clock().UTC().Truncate(time.Microsecond), who, "Taken back: "+k.What
	next.Decisions, next.Load, next.Moved = h.living(was.Decisions, s), k.Load, 0
	if was.Load != k.Load || s.Now.Unix()-was.Plan.Now >= int64(stale/time.Second) {
		p, _, err := plan.Make(ctx, s, folded(next.Decisions), &was.Plan, plan.Effort{Threads: h.p.Threads})
		if err != nil {
			return k, err
		}
		p.Past = k.Plan.Past
		next.Plan = *p
	}
	err = h.p.Records.InTx(ctx, func(ctx context.Context) error {
		if err := h.add(ctx, &next); err != nil {
			return err
		}
		return h.p.Records.Log(ctx, trail.Event{At: next.Made, Who: who, What: "plan.taken_back", About: next.ID, In: "plan", Was: k.ID, Is: was.ID})
	})
	return next, err
}

// apply puts a change to the decisions.
func (h *House) apply(k Kept, s plan.Situation, who string, c Change) ([]Decision, string, error) {
	bad := func(code, where, format string, args ...any) ([]Decision, string, error) {
		return nil, "", fault.New(fault.Invalid, code, where, format, args...)
	}
	d := Decision{ID: decisionID(k, c), Who: who, At: h.p.Clock().UTC().Truncate(time.Microsecond), Why: c.Why}
	ds := slices.Clone(k.Decisions)
	without := func(same func(Decision) bool) { ds = slices.DeleteFunc(ds, same) }
	now := s.Now.Unix()
	name := func(id string) string {
		if m := s.Catalogue.Machine(id); m != nil {
			return m.Name
		}
		if r := s.Catalogue.Resource(id); r != nil {
			return r.Name
		}
		return id
	}
	title := func(task string) string { return s.Title(task, k.Plan.Joins) }
	clock := func(t int64) string { return time.Unix(t, 0).In(s.Calendar.Location()).Format("Mon 2 Jan 15:04") }
	switch c.Kind {
	case Move, Release:
		var task *schedule.Task
		for _, t := range s.Tasks(k.Plan.Joins) {
			if t.ID == c.Task {
				task = &t
				break
			}
		}
		if task == nil {
			return bad("task_unknown", c.Task, "There is no such work in the plan any more; look at the board again.")
		}
		at := slices.IndexFunc(task.Ops, func(o capacity.Op) bool { return o.ID == c.Op })
		if at < 0 {
			return bad("operation_unknown", c.Op, "This work has no operation %q left.", c.Op)
		}
		o := task.Ops[at]
		without(func(x Decision) bool { return x.Pin != nil && x.Pin.Task == c.Task && x.Pin.Op == c.Op })
		if c.Kind == Release {
			if len(ds) == len(k.Decisions) {
				return bad("not_pinned", c.Task, "It is not pinned; there is nothing to release.")
			}
			return ds, title(c.Task) + " released", nil
		}
		if o.RunningOn != "" {
			return bad("operation_running", c.Task, "It runs already on %s; what runs cannot be moved.", name(o.RunningOn))
		}
		if c.Resource != "" && !slices.Contains(o.Resource, c.Resource) {
			var may []string
			for _, r := range o.Resource {
				may = append(may, name(r))
			}
			if len(may) == 0 {
				return bad("pin_resource", c.Resource, "It is hand work and stands on no machine; give it a time instead.")
			}
			return bad("pin_resource", c.Resource, "It was quoted for %s and cannot run on %s; quote another option to change the machine.", may[0], name(c.Resource))
		}
		if c.Resource == "" && c.Start == 0 {
			return bad("times", c.Task, "Say where it shall go or when it shall begin.")
		}
		if c.Start != 0 && c.Start < now-60 {
			return bad("times", c.Task, "%s is over; choose a time to come.", clock(c.Start))
		}
		if c.Start > now+120*86400 {
			return bad("times", c.Task, "%s is more than 120 days off; choose a nearer time.", clock(c.Start))
		}
		d.Pin = &work.Pin{Task: c.Task, Op: c.Op, Resource: c.Resource, Start: c.Start}
		what := title(c.Task) + " pinned"
		if c.Resource != "" {
			what += " to " + name(c.Resource)
		}
		if c.Start != 0 {
			what += ", not before " + clock(c.Start)
		}
		return append(ds, d), what, nil
	case Away:
		if c.End <= c.Start || c.End <= now {
			return bad("times", "end", "The absence must end after it begins, and not be over.")
		}
		if c.End > now+120*86400 {
			return bad("times", "end", "Absences are planned for up to 120 days; change the catalogue for longer ones.")
		}
		who := name(c.Resource)
		switch {
		case c.Resource != "":
			if s.Catalogue.Machine(c.Resource) == nil && s.Catalogue.Resource(c.Resource) == nil {
				return bad("resource_unknown", c.Resource, "The shop has no machine, bath or oven %q.", c.Resource)
			}
		default:
			i := slices.IndexFunc(s.Catalogue.People, func(p shop.Person) bool { return p.ID == c.Person })
			if i < 0 {
				return bad("person_unknown", c.Person, "Nobody called %q works here; choose a machine or a person.", c.Person)
			}
			who = s.Catalogue.People[i].Name
		}
		d.Away = &capacity.Absence{Resource: c.Resource, Person: c.Person, Start: c.Start, End: c.End}
		return append(ds, d), fmt.Sprintf("%s not there from %s to %s", who, clock(c.Start), clock(c.End)), nil
	case Share, Apart:
		var in []plan.Whole
		whole := s.Wholes()
		for _, key := range c.Lines {
			i := slices.IndexFunc(whole, func(w plan.Whole) bool { return w.Key == key })
			if i < 0 {
				return nil, "", fault.New(fault.Conflict, "share", key, "%s is not free to be put into a build: it is made already, lies in a build, or fills more than one.", key)
			}
			in = append(in, whole[i])
			without(func(x Decision) bool {
				return x.Apart == key || x.Join != nil && slices.Contains(x.Join.Lines, key)
			})
		}
		if c.Kind == Apart {
			if len(in) == 0 {
				return bad("share", "lines", "Say which line shall have a build of its own.")
			}
			for i, w := range in {
				x := d
				x.ID, x.Apart = d.ID+strconv.Itoa(i), w.Key
				ds = append(ds, x)
			}
			return ds, "A build of its own for " + title(in[0].Key), nil
		}
		if len(in) < 2 {
			return bad("share", "lines", "A shared build needs at least two lines.")
		}
		if why := plan.Together(in); why != "" {
			return nil, "", fault.New(fault.Conflict, "share", c.Lines[0], "These lines cannot share a build. %s", why)
		}
		j := plan.NewJoin(c.Lines)
		d.Join = &j
		return append(ds, d), fmt.Sprintf("One build for %d lines", len(in)), nil
	case Drop:
		n := len(ds)
		without(func(x Decision) bool { return x.ID == c.Decision })
		if len(ds) == n {
			return bad("decision_unknown", c.Decision, "This decision is not in force any more.")
		}
		return ds, "A decision dropped", nil
	}
	return bad("change_kind", "kind", "%q is not something the plan can do.", c.Kind)
}

func decisionID(k Kept, c Change) string {
	raw, _ := json.Marshal(c)
	return "d" + string(digest.Of(append(raw, k.ID...)))[:10]
}
