package appraise

import (
	"context"
	"fmt"
	"slices"
	"sort"
	"strings"
	"time"

	"firstoff/bureau"
	"firstoff/desk/promise"
	"firstoff/fault"
	"firstoff/shop"
	"firstoff/shop/calendar"
	"firstoff/shop/capacity"
	"firstoff/shopfloor/plan"
	"firstoff/shopfloor/work"
)

// Board is the plan: who and what is taken when, and which promises that keeps. Every run takes its mean time and nothing
// fails; the odds are in the expected days of the jobs.
type Board struct {
	Now   time.Time // in the shop's zone
	Level float64   // of the promise, e.g. 0.9
	AsOf  time.Time // when the plan was made; before it the board says what was planned, not what happened
	Rows  []BoardRow
	Jobs  []BoardJob // soonest promise first, work without one last
	// Staffed is when anybody is in, merged and sorted; outside it machines run alone.
	Staffed []Stretch
	Closed  map[string]string // 2006-01-02 → why the shop is closed that day: a weekday's or the holiday's name
}

// RowKind is what a row of the board stands for.
type RowKind string

const (
	MachineRow  RowKind = "machine"
	ResourceRow RowKind = "resource" // baths, ovens, cabinets
	PersonRow   RowKind = "person"
)

// Stretch is a span of time, To not included.
type Stretch struct{ From, To time.Time }

// BoardRow is one unit of a machine or resource, or one person.
type BoardRow struct {
	Kind  RowKind
	ID    string
	Name  string
	Unit  int // from 1 where there are several alike, else 0
	Hours []Stretch
	Bars  []Bar
}

// Bar is a stretch during which a row is taken by one operation.
type Bar struct {
	Job      string   // the job it is about; of a shared build the one promised soonest
	Shared   []string // all jobs of a shared build
	Task, Op string   // in the plan
	Title    string
	Material string // its name, where one is known
	Doing    string // "build", or what the operation or the person does
	Pinned   bool
	Planned  bool // it can still be moved
	Stretch
	Change    time.Duration // machines: changeover at the beginning
	Run, Over time.Time     // machines: the run itself; before it set-up, after it waiting for hands and unloading
	Running   bool          // holds the row at Now
}

// Standing says whether a promise is expected to hold.
type Standing string

const (
	Unpromised Standing = "no promise"
	OnTime     Standing = "on time"
	AtRisk     Standing = "at risk" // the day at the shop's promise level is after the promised one
	Late       Standing = "late"    // so is the day reached in half of the cases
)

// BoardJob is one order line, or one job of the catalogue's work in hand.
type BoardJob struct {
	ID       string
	Order    string // empty: work that came before the program
	Title    string
	Qty      int
	Material string
	Machine  string // or partner
	Due      time.Time
	P50, P90 time.Time // expected days; P90 at the shop's promise level
	Start    time.Time // planned start of the build; zero when nothing is built here
	BuildEnd time.Time // when that machine is free again
	End      time.Time // planned end of all work
	Standing Standing
	Waits    []string // what it waits for, longest first, in words
}

// Board is the plan as it stands, with the odds of every promise under the load it is made of.
func (d *Desk) Board(ctx context.Context, cat *shop.Catalogue, load bureau.Load, p plan.Plan, now time.Time, seed uint64) (Board, error) {
	odds, cal, err := d.planner(ctx, cat, load, now, seed)
	if err != nil {
		return Board{}, err
	}
	w := wall{cat: cat, cal: cal, loc: cal.Location(), now: now, jobs: map[string]*BoardJob{}, shared: map[string][]string{}}
	b := Board{Now: now.In(w.loc), AsOf: time.Unix(p.Now, 0).In(w.loc), Level: odds.Level().Use}
	for _, x := range load.Floor.Builds {
		w.shared[x.ID] = x.Lines
	}
	for _, x := range p.Joins {
		w.shared[x.ID] = x.Lines
	}
	b.Jobs = w.list(load, p, odds)
	for i := range b.Jobs {
		w.jobs[b.Jobs[i].ID] = &b.Jobs[i]
	}
	b.Rows = w.rows(p)
	sort.SliceStable(b.Jobs, func(i, j int) bool {
		x, y := b.Jobs[i].Due, b.Jobs[j].Due
		if x.IsZero() != y.IsZero() {
			return y.IsZero()
		}
		return x.Before(y)
	})
	b.Staffed, b.Closed = w.days(b.AsOf)
	return b, nil
}

// wall is a board in the making.
type wall struct {
	cat  *shop.Catalogue
	cal  *calendar.Calendar
	loc  *time.Location
	now  time.Time
	jobs map[string]*BoardJob
	// shared are the lines in builds of the floor and in builds the plan has formed.
	shared map[string][]string
}

func (w *wall) at(s int64) time.Time {
	if s == 0 {
		return time.Time{}
	}
	return time.Unix(s, 0).In(w.loc)
}

// list makes the jobs with their promises: the catalogue's, then the order lines, as far as anything of them is on the board.
func (w *wall) list(load bureau.Load, p plan.Plan, odds *promise.Planner) []BoardJob {
	ends := map[string]int64{}
	for _, e := range slices.Concat(p.Past, p.Board.Entries) {
		for _, id := range w.linesOf(e.Task) {
			ends[id] = max(ends[id], e.Free)
		}
	}
	var out []BoardJob
	add := func(id string, j BoardJob, due time.Time) {
		end, here := ends[id]
		if !here {
			return
		}
		j.ID, j.End, j.Due = id, w.at(end), due
		if j.Title == "" {
			j.Title = id
		}
		j.Material = materialName(w.cat, j.Material)
		if q := w.cat.Partner(j.Machine); q != nil {
			j.Machine = q.Name
		} else {
			j.Machine = bindingName(w.cat, j.Machine)
		}
		j.P50, j.P90 = odds.Expected(id)
		j.Standing = Unpromised
		if !j.Due.IsZero() {
			switch {
			case j.P50.After(j.Due):
				j.Standing = Late
			case j.P90.After(j.Due):
				j.Standing = AtRisk
			default:
				j.Standing = OnTime
			}
		}
		for _, wait := range odds.Waits(id) {
			if len(j.Waits) < 3 && wait.Seconds >= 1800 {
				j.Waits = append(j.Waits, waitWords(w.cat, wait))
			}
		}
		out = append(out, j)
	}
	asOf := w.now
	if t, err := time.Parse(time.RFC3339, w.cat.WorkloadAsOf); err == nil && t.Before(w.now) {
		asOf = t
	}
	for _, x := range w.cat.Workload {
		var due time.Time
		if x.DueDays > 0 {
			d := w.cal.After(asOf, x.DueDays).In(w.loc)
			due = time.Date(d.Year(), d.Month(), d.Day(), 0, 0, 0, 0, w.loc)
		}
		add(x.ID, BoardJob{Title: x.Title, Material: x.Material, Machine: x.Machine}, due)
	}
	for _, o := range load.Orders {
		if !o.State.Open() {
			continue
		}
		for _, l := range o.Lines {
			due, err := time.ParseInLocation(time.DateOnly, l.Promised, w.loc)
			if err != nil {
				due = time.Time{}
			}
			add(work.Key(o.ID, l.LineID), BoardJob{Order: o.ID, Title: l.Name, Qty: l.Qty, Material: l.Option.Material, Machine: l.Option.Machine + l.Option.Partner}, due)
		}
	}
	return out
}

// linesOf are the jobs a task of the plan is about.
func (w *wall) linesOf(task string) []string {
	if lines, ok := w.shared[task]; ok {
		return lines
	}
	return []string{work.LineOf(task)}
}

func materialName(cat *shop.Catalogue, id string) string {
	if m := cat.Material(id); m != nil {
		return m.Name
	}
	return id
}

// waitWords says what a job waits for and how long, in the mean.
func waitWords(cat *shop.Catalogue, x capacity.Wait) string {
	long := fmt.Sprintf("%.0f h", x.Seconds/3600)
	if x.Seconds < 3600 {
		long = "under an hour"
	}
	switch x.Kind {
	case capacity.ForResource:
		return bindingName(cat, x.ID) + " to be free, " + long
	case capacity.ForPeople:
		return "people who " + x.ID + ", " + long
	}
	if x.ID == "" {
		return "working hours, " + long
	}
	return "working hours of people who " + x.ID + ", " + long
}

// rows makes the rows of the board in the order of the catalogue: machines, shared resources, people.
func (w *wall) rows(p plan.Plan) []BoardRow {
	type unit struct {
		resource string
		unit     int
	}
	byUnit, byPerson := map[unit][]Bar{}, map[string][]Bar{}
	hours := map[string][]Stretch{}
	shift := map[string]capacity.Calendar{}
	asOf := time.Unix(p.Now, 0)
	for _, x := range w.cat.People {
		hours["person "+x.ID] = w.hours(x.Shift, asOf)
		for _, s := range hours["person "+x.ID] {
			shift[x.ID] = append(shift[x.ID], capacity.Interval{Start: s.From.Unix(), End: s.To.Unix()})
		}
	}
	for _, e := range slices.Concat(p.Past, p.Board.Entries) {
		b := Bar{Job: work.LineOf(e.Task), Task: e.Task, Op: e.Op, Doing: "in it", Stretch: Stretch{w.at(e.Start), w.at(e.Free)},
			Change: time.Duration(e.ChangeS) * time.Second, Run: w.at(e.Begin), Over: w.at(e.End), Pinned: e.Pinned, Planned: e.Start >= p.Now}
		if lines := w.shared[e.Task]; len(lines) > 0 {
			b.Shared = lines
			b.Job = w.soonest(lines)
		}
		if m := w.cat.Machine(e.Resource); m != nil {
			b.Doing, b.Material = "build", materialName(w.cat, e.Family)
			for _, id := range w.linesOf(e.Task) {
				if j := w.jobs[id]; j != nil && (j.Start.IsZero() || b.From.Before(j.Start)) {
					j.Start = b.From
				}
				if j := w.jobs[id]; j != nil && b.To.After(j.BuildEnd) {
					j.BuildEnd = b.To
				}
			}
		}
		if e.Resource != "" && w.cat.Partner(e.Resource) == nil && e.Free > e.Start {
			k := unit{e.Resource, e.Unit}
			byUnit[k] = append(byUnit[k], w.named(b))
		}
		hand := func(who, doing string, from, to int64) {
			if who == "" || to <= from {
				return
			}
			h := b
			h.Doing, h.Material, h.Change, h.Run, h.Over = doing, "", 0, time.Time{}, time.Time{}
			// Work is broken off at the end of a shift: the bar is only the time at it.
			for _, at := range within(shift[who], from, to) {
				h.Stretch = Stretch{w.at(at.Start), w.at(at.End)}
				byPerson[who] = append(byPerson[who], w.named(h))
			}
		}
		switch {
		case e.Resource == "":
			hand(e.Person, w.task(work.LineOf(e.Task), e.Op), e.Start, e.Free)
		case e.Unloader != "" || w.cat.Machine(e.Resource) != nil:
			hand(e.Person, capacity.Starting, e.Start, e.Begin)
			hand(e.Unloader, capacity.Unloading, e.Unload, e.Free)
		default:
			hand(e.Person, w.task(work.LineOf(e.Task), e.Op), e.Start, e.Begin)
		}
	}
	sorted := func(bars []Bar) []Bar {
		sort.SliceStable(bars, func(i, j int) bool { return bars[i].From.Before(bars[j].From) })
		return bars
	}
	var out []BoardRow
	row := func(kind RowKind, id, name, calendar string, count int) {
		for u := range max(1, count) {
			r := BoardRow{Kind: kind, ID: id, Name: name, Hours: w.hours(calendar, asOf), Bars: sorted(byUnit[unit{id, u}])}
			if count > 1 {
				r.Unit = u + 1
			}
			out = append(out, r)
		}
	}
	for _, m := range w.cat.Machines {
		name, _, _ := strings.Cut(m.Name, ",")
		row(MachineRow, m.ID, name, m.Calendar, m.Count)
	}
	for _, x := range w.cat.Resources {
		row(ResourceRow, x.ID, x.Name, x.Calendar, x.Count)
	}
	for _, x := range w.cat.People {
		out = append(out, BoardRow{Kind: PersonRow, ID: x.ID, Name: x.Name, Hours: hours["person "+x.ID], Bars: sorted(byPerson[x.ID])})
	}
	return out
}

// soonest is the line of a shared build whose promise is nearest.
func (w *wall) soonest(lines []string) string {
	best := lines[0]
	for _, id := range lines {
		a, b := w.jobs[id], w.jobs[best]
		if a != nil && (b == nil || !a.Due.IsZero() && (b.Due.IsZero() || a.Due.Before(b.Due))) {
			best = id
		}
	}
	return best
}

// task names hand work: the operation's name in the catalogue, or what follows the job's name.
func (w *wall) task(job, op string) string {
	for _, o := range w.cat.Operations {
		if o.ID == op {
			return o.Name
		}
	}
	return strings.TrimSpace(strings.TrimPrefix(op, job))
}

// named completes a bar with what is known of its job.
func (w *wall) named(b Bar) Bar {
	if j := w.jobs[b.Job]; j != nil {
		b.Title = j.Title
		if n := len(b.Shared); n > 1 {
			b.Title += fmt.Sprintf(" and %d more", n-1)
		}
		if b.Material == "" {
			b.Material = j.Material
		}
	}
	b.Running = !b.From.After(w.now) && b.To.After(w.now)
	return b
}

// within cuts [from, to) by a calendar; an empty one is always open.
func within(c capacity.Calendar, from, to int64) []capacity.Interval {
	if len(c) == 0 || to > c[len(c)-1].End {
		return []capacity.Interval{{Start: from, End: to}}
	}
	var out []capacity.Interval
	for _, iv := range c {
		a, b := max(iv.Start, from), min(iv.End, to)
		if a >= b {
			continue
		}
		// A short break between two halves of a shift is not drawn as two bars.
		if n := len(out); n > 0 && a-out[n-1].End <= 3600 {
			out[n-1].End = b
			continue
		}
		out = append(out, capacity.Interval{Start: a, End: b})
	}
	return out
}

// boardDays is how far the board's calendars are written out.
const boardDays = 120

// hours is a shift written out from the day before asOf; nil for round the clock.
func (w *wall) hours(shift string, asOf time.Time) []Stretch {
	if shift == "" || shift == "always" {
		return nil
	}
	var out []Stretch
	from := asOf.Unix() - 14*86400
	for _, s := range w.cal.Spans(shift, from, from+(boardDays+14)*86400) {
		out = append(out, Stretch{w.at(s.From), w.at(s.To)})
	}
	return out
}

// days says when anybody is in and on which days nobody works.
func (w *wall) days(asOf time.Time) ([]Stretch, map[string]string) {
	var all []Stretch
	seen := map[string]bool{}
	for _, p := range w.cat.People {
		if !seen[p.Shift] {
			seen[p.Shift] = true
			all = append(all, w.hours(p.Shift, asOf)...)
		}
	}
	sort.Slice(all, func(i, j int) bool { return all[i].From.Before(all[j].From) })
	var merged []Stretch
	for _, s := range all {
		if n := len(merged); n > 0 && !s.From.After(merged[n-1].To) {
			if s.To.After(merged[n-1].To) {
				merged[n-1].To = s.To
			}
			continue
		}
		merged = append(merged, s)
	}
	names := map[string]string{}
	for _, h := range w.cat.Holidays {
		names[h.Date] = h.Name
	}
	closed := map[string]string{}
	y, m, day := asOf.In(w.loc).Date()
	for i := -14; i < boardDays; i++ {
		t := time.Date(y, m, day+i, 12, 0, 0, 0, w.loc)
		if w.cal.Business(t) {
			continue
		}
		key := t.Format(time.DateOnly)
		if closed[key] = names[key]; closed[key] == "" {
			closed[key] = t.Weekday().String()
		}
	}
	return merged, closed
}

// WhatIf is work one might take on.
type WhatIf struct {
	Machine  string  // id; empty: hand work only
	Material string  // id
	Hours    float64 // on the machine
	Hands    float64 // h of finishing after it
}

// Expected is when that work would be shipped, behind everything already accepted.
type Expected struct {
	P50, P90 time.Time
	LeadDays int    // business days from receipt to P90
	Waits    string // what it would wait for longest; empty: nothing
}

// WhatIf asks when work would be shipped, without accepting it: it is put into the gaps of machines and people that
// accepted work leaves, so nobody's promise moves. Faults: Invalid "machine_unknown", "material_unknown", "what_if".
func (d *Desk) WhatIf(ctx context.Context, cat *shop.Catalogue, load bureau.Load, now time.Time, seed uint64, q WhatIf) (Expected, error) {
	if !(q.Hours >= 0 && q.Hours <= 1000 && q.Hands >= 0 && q.Hands <= 1000) {
		return Expected{}, fault.New(fault.Invalid, "what_if", "hours", "Hours on the machine and of hands must lie between 0 and 1000.")
	}
	if q.Hours == 0 && q.Hands == 0 || q.Machine == "" && q.Hours > 0 {
		return Expected{}, fault.New(fault.Invalid, "what_if", "hours", "There is nothing to ask about; give hours on a machine, hours of hands, or both.")
	}
	work := shop.Work{ID: "what if", BuildH: q.Hours, FinishMin: q.Hands * 60}
	if q.Hours > 0 {
		m := cat.Machine(q.Machine)
		if m == nil {
			return Expected{}, fault.New(fault.Invalid, "machine_unknown", "machine", "The machine %q is not in the catalogue; choose one of the list.", q.Machine)
		}
		runs := false
		for _, id := range m.Materials {
			runs = runs || id == q.Material
		}
		if !runs && q.Material != "" {
			return Expected{}, fault.New(fault.Invalid, "material_unknown", "material", "%s does not run %s; choose one of %s.", m.Name, q.Material, strings.Join(m.Materials, ", "))
		}
		work.Machine, work.Material = m.ID, q.Material
	}
	p, cal, err := d.planner(ctx, cat, load, now, seed)
	if err != nil {
		return Expected{}, err
	}
	one := *cat
	one.Workload = []shop.Work{work}
	jobs, err := promise.Backlog(&one, cal, now)
	if err != nil {
		return Expected{}, err
	}
	a := p.Date(jobs.Jobs[0])
	return Expected{P50: a.P50, P90: a.P90, LeadDays: a.LeadDays, Waits: bindingName(cat, a.Binding)}, nil
}
