package appraise

import (
	"context"
	"fmt"
	"sort"
	"strings"
	"time"

	"firstoff/bureau"
	"firstoff/desk/promise"
	"firstoff/fault"
	"firstoff/shop"
	"firstoff/shop/calendar"
	"firstoff/shop/capacity"
)

// Board is the present load as it is planned to go: who and what is taken when, and which promises that keeps. Every
// run takes its mean time and nothing fails; the odds are in the expected days of the jobs.
type Board struct {
	Now   time.Time // in the shop's zone
	Level float64   // of the promise, e.g. 0.9
	AsOf  time.Time // when the load was as given; up to Now the board says what was planned, not what happened
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
	Job, Op  string
	Title    string
	Material string // its name, where one is known
	Task     string // "build", or what the operation or the person does
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

// Board plays the load once as planned and asks the odds of every promise.
func (d *Desk) Board(ctx context.Context, cat *shop.Catalogue, load bureau.Load, now time.Time, seed uint64) (Board, error) {
	p, cal, err := d.planner(ctx, cat, load, now, seed)
	if err != nil {
		return Board{}, err
	}
	work, asOf, err := Load(cat, cal, load, now.Truncate(nowStep))
	if err != nil {
		return Board{}, err
	}
	model := promise.Model(cat, cal, asOf.Unix()-86400)
	r, err := capacity.Run(ctx, work, model, asOf.Unix(), capacity.Options{Seed: seed, Exact: true, Record: true, Detail: true})
	if err != nil {
		return Board{}, err
	}
	w := wall{cat: cat, cal: cal, loc: cal.Location(), now: now, jobs: map[string]*BoardJob{}}
	b := Board{Now: now.In(w.loc), AsOf: asOf.In(w.loc), Level: cat.Firm.PromiseLevel}
	if b.Level == 0 {
		b.Level = 0.9 // as promise.New
	}
	b.Jobs = w.list(work, load, r, p)
	for i := range b.Jobs {
		w.jobs[b.Jobs[i].ID] = &b.Jobs[i]
	}
	b.Rows = w.rows(r.Tapes[0], model, asOf)
	sort.SliceStable(b.Jobs, func(i, j int) bool {
		x, y := b.Jobs[i].Due, b.Jobs[j].Due
		if x.IsZero() != y.IsZero() {
			return y.IsZero()
		}
		return x.Before(y)
	})
	b.Staffed, b.Closed = w.days(asOf)
	return b, nil
}

// wall is a board in the making.
type wall struct {
	cat  *shop.Catalogue
	cal  *calendar.Calendar
	loc  *time.Location
	now  time.Time
	jobs map[string]*BoardJob
}

func (w *wall) at(s int64) time.Time {
	if s == 0 {
		return time.Time{}
	}
	return time.Unix(s, 0).In(w.loc)
}

// list makes the jobs with their promises. work lists the catalogue's jobs first, then the order lines.
func (w *wall) list(work capacity.Load, load bureau.Load, r *capacity.Result, p *promise.Planner) []BoardJob {
	about := map[string]BoardJob{}
	for _, x := range w.cat.Workload {
		about[x.ID] = BoardJob{Title: x.Title, Material: x.Material, Machine: x.Machine}
	}
	for _, o := range load.Orders {
		for _, l := range o.Lines {
			about[o.ID+"/"+l.LineID] = BoardJob{Order: o.ID, Title: l.Name, Qty: l.Qty, Material: l.Option.Material, Machine: l.Option.Machine + l.Option.Partner}
		}
	}
	var out []BoardJob
	for i, x := range work.Jobs {
		j := about[x.ID]
		j.ID, j.End = x.ID, w.at(r.Jobs[i].Ends[0])
		if j.Title == "" {
			j.Title = x.ID
		}
		j.Material, j.Machine = materialName(w.cat, j.Material), bindingName(w.cat, j.Machine)
		if q := w.cat.Partner(j.Machine); q != nil {
			j.Machine = q.Name
		}
		j.P50, j.P90 = p.Expected(x.ID)
		j.Standing = Unpromised
		if x.Due != 0 {
			due := w.at(x.Due)
			j.Due = time.Date(due.Year(), due.Month(), due.Day(), 0, 0, 0, 0, w.loc)
			switch {
			case j.P50.After(j.Due):
				j.Standing = Late
			case j.P90.After(j.Due):
				j.Standing = AtRisk
			default:
				j.Standing = OnTime
			}
		}
		for _, wait := range p.Waits(x.ID) {
			if len(j.Waits) < 3 && wait.Seconds >= 1800 {
				j.Waits = append(j.Waits, waitWords(w.cat, wait))
			}
		}
		out = append(out, j)
	}
	return out
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
func (w *wall) rows(t capacity.Tape, model capacity.Shop, asOf time.Time) []BoardRow {
	var out []BoardRow
	counts := map[string]int{}
	for _, tk := range t.Resources {
		counts[tk.ID]++
	}
	hours := map[string][]Stretch{}
	for _, m := range w.cat.Machines {
		hours[m.ID] = w.hours(m.Calendar, asOf)
	}
	for _, x := range w.cat.Resources {
		hours[x.ID] = w.hours(x.Calendar, asOf)
	}
	for _, tk := range t.Resources {
		row := BoardRow{Kind: ResourceRow, ID: tk.ID, Name: bindingName(w.cat, tk.ID), Hours: hours[tk.ID]}
		if w.cat.Machine(tk.ID) != nil {
			row.Kind = MachineRow
			row.Name, _, _ = strings.Cut(row.Name, ",")
		}
		if counts[tk.ID] > 1 {
			row.Unit = tk.Unit + 1
		}
		for _, sp := range tk.Spans {
			d := sp.Detail
			b := Bar{Job: d.Job, Op: d.Op, Task: "in it", Stretch: Stretch{w.at(sp.From), w.at(sp.To)},
				Change: time.Duration(d.Change) * time.Second, Run: w.at(d.Run), Over: w.at(d.Over)}
			if row.Kind == MachineRow {
				b.Task, b.Material = "build", materialName(w.cat, sp.Family)
				if j := w.jobs[d.Job]; j != nil && j.Start.IsZero() {
					j.Start, j.BuildEnd = b.From, b.To
				}
			}
			row.Bars = append(row.Bars, w.named(b))
		}
		out = append(out, row)
	}
	for i, tk := range t.People {
		p := w.cat.People[i]
		row := BoardRow{Kind: PersonRow, ID: p.ID, Name: p.Name, Hours: w.hours(p.Shift, asOf)}
		for _, sp := range tk.Spans {
			b := Bar{Job: sp.Detail.Job, Op: sp.Detail.Op, Task: sp.Detail.Task}
			if b.Task == capacity.HandWork {
				b.Task = w.task(b.Job, b.Op)
			}
			// Work is broken off at the end of a shift: the bar is only the time at it.
			for _, at := range within(model.People[i].Calendar, sp.From, sp.To) {
				b.Stretch = Stretch{w.at(at.Start), w.at(at.End)}
				row.Bars = append(row.Bars, w.named(b))
			}
		}
		out = append(out, row)
	}
	return out
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
