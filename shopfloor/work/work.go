package work

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"firstoff/desk/estimate"
	"firstoff/desk/offer"
	"firstoff/desk/promise"
	"firstoff/shop"
	"firstoff/shop/capacity"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/traveller"
)

func mean(o capacity.Op, resource string) float64 {
	for k, id := range o.Resource {
		if id == resource && o.Each != nil {
			return o.Each[k]
		}
	}
	return o.Seconds
}

// Floor is how far open orders have come.
type Floor struct {
	Lines  map[string]Line   // by Key; a line that is not in it has not begun
	Builds []Build           // planned, running and paused
	Loaded map[string]string // material last run, by machine
}

// Still is the floor without what changes by the second, for a digest of what counts.
func (f Floor) Still() Floor {
	f.Builds = slices.Clone(f.Builds)
	for i := range f.Builds {
		f.Builds[i].ActiveS = 0
	}
	return f
}

// Line is one line of an order.
type Line struct {
	// Left is, by operation of its traveller, the share of its pieces that have yet to pass it, 0..1. A piece to be made again counts
	// from the beginning.
	Left []float64
	// InBuilds is the share of its pieces that lie in builds.
	InBuilds float64
	Making   int // operation at which pieces come into being, from 0
}

// Build is a build on the floor that is not over.
type Build struct {
	ID, Machine, Material string
	PlannedS, ActiveS     float64
	Begun                 bool     // it holds its machine
	Lines                 []string // keys of the lines whose pieces are in it
}

// Decided is what people and the plan have fixed.
type Decided struct {
	Pins  []Pin
	Joins []Join
	Away  []capacity.Absence
	// Backlog is when the plan has what came before the program: operations in their order, by job.
	Backlog map[string][]Slot
}

// Slot is when an operation of the plan holds what it needs: it begins at Begin, its run is over at End, all is free at Free.
type Slot struct {
	Op       string `json:"op"`
	Resource string `json:"resource,omitempty"`
	Begin    int64  `json:"begin_s"`
	End      int64  `json:"end_s"`
	Free     int64  `json:"free_s"`
}

// Backlog is what is left of the jobs that came before the program when the plan has been kept to up to now. Jobs the plan does not know
// stay as they are; those that are done are not among the answer.
func Backlog(jobs []capacity.Job, d Decided, now int64) []capacity.Job {
	var out []capacity.Job
	for _, j := range jobs {
		slots, known := d.Backlog[j.ID]
		if !known {
			decide(&j, d.Pins)
			out = append(out, j)
			continue
		}
		at := promise.Progress{Op: len(j.Ops)}
		for k, o := range j.Ops {
			s := slices.IndexFunc(slots, func(s Slot) bool { return s.Op == o.ID })
			if s >= 0 && slots[s].Free <= now {
				continue
			}
			at.Op = k
			if s >= 0 && slots[s].Begin <= now {
				at.Begun, at.Resource, at.Over = slots[s].Begin, slots[s].Resource, slots[s].End <= now
				if at.Resource != "" && !at.Over { // what is left is up to the planned end
					at.Begun = min(now, slots[s].End-int64(mean(o, at.Resource)))
				}
			}
			break
		}
		if at.Op == len(j.Ops) {
			continue
		}
		if release := j.Release; at.Op == 0 && at.Begun == 0 {
			j.Release = max(release, now) // work that is still to come in stays so
		} else {
			j = promise.Rest(j, at, now)
			j.Release = now
		}
		decide(&j, d.Pins)
		out = append(out, j)
	}
	return out
}

// Pin fixes a task's operation to a resource, or to an instant before which it does not begin, or to both.
type Pin struct {
	Task     string `json:"task"`
	Op       string `json:"op"`
	Resource string `json:"resource,omitempty"`
	Start    int64  `json:"start_s,omitempty"`
}

// Join is a build that several lines share; none of their pieces may lie in a build of the floor.
type Join struct {
	ID    string   `json:"id"`
	Lines []string `json:"lines"` // keys
}

// Key names a line of an order among the jobs.
func Key(orderID, lineID string) string { return orderID + "/" + lineID }

// Make names the part of a line's job that ends with its build.
func Make(key string) string { return key + " make" }

// LineOf is the line a job or task belongs to.
func LineOf(task string) string { return strings.TrimSuffix(task, " make") }

// Route turns the steps of an option into a job.
//
// A build holds its machine from set-up until somebody has unloaded it. A machine that holds several materials
// at once costs a changeover only when the wanted one is not among them; others pay by the material that ran before.
func Route(id string, steps []offer.Step, machine *shop.Machine, material string, cat *shop.Catalogue, spreadDays float64) capacity.Job {
	j := capacity.Job{ID: id, Weight: 1, CV: promise.OrderCV, FailProb: promise.Rejected}
	names := map[string]int{}
	for _, s := range steps {
		op := capacity.Op{ID: s.Operation, CV: s.SpreadPct / 100, People: s.Skill}
		switch {
		case s.Operation == "unload" && len(j.Ops) > 0 && j.Ops[len(j.Ops)-1].Unattended:
			j.Ops[len(j.Ops)-1].UnloadSeconds += s.HandsS
			continue
		case machine != nil && s.Resource == machine.ID:
			op.Resource = []string{machine.ID}
			op.Seconds, op.PeopleSeconds, op.Unattended = s.ElapsedS, s.HandsS, true
			op.FailProb = machine.FailPct / 100
			if j.RedoFrom == 0 {
				j.RedoFrom = len(j.Ops) // a rejected order is built again, not prepared again
			}
			if machine.MJT != nil && machine.MJT.Slots > 1 {
				if !loaded(machine, material) {
					op.PeopleSeconds += machine.ChangeoverMin * 60
				}
			} else {
				op.Family = material
			}
		case cat.Partner(s.Resource) != nil:
			op.Resource, op.People = []string{s.Resource}, ""
			op.Seconds = s.ElapsedS
			if s.ElapsedS > 0 && spreadDays > 0 {
				op.CV = spreadDays * 86400 / s.ElapsedS
			}
		case s.Resource != "" && s.ElapsedS > 0:
			op.Resource = []string{s.Resource}
			op.Seconds, op.PeopleSeconds, op.Unattended = s.ElapsedS, s.HandsS, true
		case s.Resource != "":
			op.Resource = []string{s.Resource}
			op.Seconds = s.HandsS
		default:
			op.Seconds = s.HandsS
		}
		if op.Seconds <= 0 && op.PeopleSeconds <= 0 {
			continue
		}
		if names[op.ID]++; names[op.ID] > 1 {
			op.ID += " " + strconv.Itoa(names[op.ID])
		}
		j.Ops = append(j.Ops, op)
	}
	return j
}

func loaded(m *shop.Machine, material string) bool {
	for _, l := range m.Loaded {
		if l == material {
			return true
		}
	}
	return false
}

// Jobs are what is left of the open orders at the instant now: builds of the floor and shared builds first, then line by line, each due
// on its promised day at four in the afternoon. Lines with nothing left are not among them.
func Jobs(orders []order.Order, f Floor, d Decided, cat *shop.Catalogue, loc *time.Location, now time.Time) []capacity.Job {
	var lines []capacity.Job
	all := map[string]*order.Line{}
	due := map[string]int64{} // by build: the soonest date that waits for it
	joined := map[string]string{}
	before := map[string][]string{} // builds by line
	for _, b := range f.Builds {
		for _, k := range b.Lines {
			before[k] = append(before[k], b.ID)
		}
	}
	joins := sound(d.Joins, f, orders)
	for _, x := range joins {
		for _, k := range x.Lines {
			joined[k] = x.ID
		}
	}
	for i := range orders {
		o := &orders[i]
		if !o.State.Open() {
			continue
		}
		for n := range o.Lines {
			l := &o.Lines[n]
			key := Key(o.ID, l.LineID)
			all[key] = l
			js := lineJobs(key, l, f.Lines[key], before[key], joined[key], cat)
			if len(js) == 0 {
				continue
			}
			last := int64(0)
			if t, err := time.ParseInLocation(time.DateOnly, l.Promised, loc); err == nil {
				last = t.Add(16 * time.Hour).Unix()
			}
			for k := range js {
				js[k].Due, js[k].Release = last, now.Unix()
				for _, b := range js[k].After {
					if last != 0 && (due[b] == 0 || last < due[b]) {
						due[b] = last
					}
				}
			}
			lines = append(lines, js...)
		}
	}
	var out []capacity.Job
	for _, b := range f.Builds {
		out = append(out, buildJob(b, cat, due[b.ID], now))
	}
	for _, x := range joins {
		if j := joinJob(x, all, cat); len(j.Ops) > 0 {
			j.Due, j.Release = due[x.ID], now.Unix()
			out = append(out, j)
		}
	}
	out = append(out, lines...)
	for i := range out {
		decide(&out[i], d.Pins)
	}
	return out
}

// Whole says that none of a line's pieces has passed its making or lies in a build.
func (f Floor) Whole(key string) bool {
	l, begun := f.Lines[key]
	if !begun {
		return true
	}
	for _, left := range l.Left { // whatever comes first: what is whole has all of its operations from some point on
		if left > 0 && left < 1-1e-9 {
			return false
		}
	}
	return l.InBuilds == 0 && len(l.Left) > 0 && l.Making < len(l.Left) && l.Left[l.Making] > 1-1e-9
}

// sound are the joins that can still be kept: all lines open and whole, each in one join.
func sound(joins []Join, f Floor, orders []order.Order) []Join {
	open := map[string]bool{}
	for _, o := range orders {
		for _, l := range o.Lines {
			if k := Key(o.ID, l.LineID); o.State.Open() && f.Whole(k) {
				open[k] = true
			}
		}
	}
	var out []Join
	for _, x := range joins {
		ok := true
		for _, k := range x.Lines {
			ok = ok && open[k]
		}
		if !ok {
			continue
		}
		for _, k := range x.Lines {
			open[k] = false
		}
		out = append(out, x)
	}
	return out
}

// lineJobs is what is left of a line: its job; before it, when some of its pieces lie in builds and some do not, the making of the rest.
func lineJobs(key string, l *order.Line, at Line, builds []string, join string, cat *shop.Catalogue) []capacity.Job {
	spread := 0.0
	if p := cat.Partner(l.Option.Partner); p != nil {
		for _, of := range p.Offers {
			if of.Process == l.Option.Process {
				spread = of.SpreadDays
			}
		}
	}
	machine := cat.Machine(l.Option.Machine)
	steps, making := Remaining(l.Option.Steps, at)
	route := func(id string, s []offer.Step) capacity.Job {
		return Route(id, s, machine, l.Option.Material, cat, spread)
	}
	if join == "" && at.InBuilds == 0 {
		j := route(key, steps)
		if len(j.Ops) == 0 {
			return nil
		}
		return []capacity.Job{j}
	}
	// What follows the making waits for the builds.
	follow := route(key, steps[making:])
	follow.RedoFrom = 0
	if len(follow.Ops) == 0 {
		follow.Ops, follow.FailProb = []capacity.Op{{ID: "made"}}, 0
	}
	follow.After = builds
	var out []capacity.Job
	if join != "" {
		// Only what comes before the build is the line's own.
		first := 0
		for first < making && !makes(steps[first]) {
			first++
		}
		follow.After = append([]string{join}, builds...)
		if own := route(Make(key), steps[:first]); len(own.Ops) > 0 {
			own.FailProb = 0
			out = append(out, own)
		}
		return append(out, follow)
	}
	if own := route(Make(key), steps[:making]); len(own.Ops) > 0 {
		own.FailProb = 0
		follow.After = append([]string{own.ID}, builds...)
		out = append(out, own)
	}
	return append(out, follow)
}

func makes(s offer.Step) bool { return traveller.Operation{Code: s.Operation}.Makes() }

// Remaining are the steps that are left, shortened by the share of the pieces that have passed them, and how many of them come before or
// are the making. Pieces in builds are not in the making any more. Of a quantity that takes several builds the last ones are left.
func Remaining(steps []offer.Step, at Line) (left []offer.Step, making int) {
	numbers := traveller.Numbers(steps)
	group := map[int]int{}
	last := -1
	for i, n := range numbers {
		group[n]++
		if makes(steps[i]) && (last < 0 || numbers[last] == n) {
			last = i
		}
	}
	if last >= 0 && last+1 < len(steps) && steps[last+1].Operation == "unload" {
		last++ // taking out belongs to the build
	}
	seen := map[int]int{}
	for i, s := range steps {
		n := numbers[i]
		share := 1.0
		if n < len(at.Left) {
			share = at.Left[n]
		}
		if i <= last && (makes(s) || i == last) {
			if share -= at.InBuilds; share < 1e-9 {
				share = 0
			}
		}
		k := group[n]
		keep := int(math.Ceil(share*float64(k) - 1e-9))
		nth := seen[n]
		seen[n]++
		if nth < k-keep || share <= 0 {
			continue
		}
		f := share * float64(k) / float64(keep)
		s.HandsS, s.ElapsedS = s.HandsS*f, s.ElapsedS*f
		left = append(left, s)
		if i <= last {
			making = len(left)
		}
	}
	return left, making
}

// build is the operation of a build whose time is known.
func build(id, machine, material string, seconds float64, cat *shop.Catalogue) capacity.Op {
	op := capacity.Op{ID: "build", Resource: []string{machine}, Seconds: seconds}
	m := cat.Machine(machine)
	if m == nil {
		op.Resource = nil
		return op
	}
	op.CV, op.FailProb, op.People, op.Unattended = m.SpreadPct/100, m.FailPct/100, "operate", true
	op.PeopleSeconds, op.UnloadSeconds = m.SetUpMin*60, m.UnloadMin*60
	if m.MJT != nil && m.MJT.Slots > 1 {
		if !loaded(m, material) {
			op.PeopleSeconds += m.ChangeoverMin * 60
		}
	} else {
		op.Family = material
	}
	return op
}

func buildJob(b Build, cat *shop.Catalogue, due int64, now time.Time) capacity.Job {
	j := capacity.Job{ID: b.ID, Weight: 1, Due: due, Release: now.Unix(), Ops: []capacity.Op{build(b.ID, b.Machine, b.Material, math.Max(60, b.PlannedS), cat)}}
	if !b.Begun || len(j.Ops[0].Resource) == 0 {
		return j
	}
	j = promise.Rest(j, promise.Progress{Begun: now.Unix() - int64(math.Max(1, b.ActiveS)), Resource: b.Machine}, now.Unix())
	return j
}

// joinJob is a build several lines share; it has no operation when none of them is left to be made.
func joinJob(x Join, lines map[string]*order.Line, cat *shop.Catalogue) capacity.Job {
	j := capacity.Job{ID: x.ID, Weight: 1}
	var in []estimate.Batch
	var first *order.Line
	for _, k := range x.Lines {
		l := lines[k]
		if l == nil {
			continue
		}
		if first == nil {
			first = l
		}
		in = append(in, Batch(l))
		j.After = append(j.After, Make(k))
	}
	if first == nil {
		return j
	}
	m := cat.Machine(first.Option.Machine)
	j.Ops = []capacity.Op{build(x.ID, first.Option.Machine, first.Option.Material, math.Max(60, estimate.Together(in, m != nil && m.PBF != nil).S()), cat)}
	return j
}

// Batch is what a line puts into a build when all of it goes in. Options kept before terms were have their build's time as roads.
func Batch(l *order.Line) estimate.Batch {
	t := l.Option.Terms
	if t.S() <= 0 {
		t = estimate.Terms{RoadsS: l.Option.BuildS}
	}
	return estimate.Batch{Terms: t, Share: 1, Builds: l.Option.Builds}
}

// decide puts the pins into a job. A pin of the part that is made counts for the line's whole job as well.
func decide(j *capacity.Job, pins []Pin) {
	for _, p := range pins {
		if p.Task != j.ID && p.Task != Make(j.ID) {
			continue
		}
		for k := range j.Ops {
			o := &j.Ops[k]
			if o.ID != p.Op || o.RunningOn != "" {
				continue
			}
			if p.Start > 0 {
				o.NotBefore = p.Start
			}
			for a, id := range o.Resource {
				if id == p.Resource {
					if o.Each != nil {
						o.Each = []float64{o.Each[a]}
					}
					o.Resource = []string{id}
					break
				}
			}
		}
	}
}
