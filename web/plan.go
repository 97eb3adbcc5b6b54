package web

import (
	"fmt"
	"net/http"
	"net/url"
	"sort"
	"strconv"
	"strings"
	"time"

	"firstoff/appraise"
	"firstoff/bureau/planning"
	"firstoff/fault"
	"firstoff/shop"
	"firstoff/shopfloor/schedule"
	"firstoff/shopfloor/work"
)

// planned is what the board page says of the plan: what was decided, and what a change would come to.
type planned struct {
	id        string // the state of the plan on show
	tasks     []movable
	resources []choice
	people    []choice
	decisions []decided
	last      string // what the last decision was; "": nothing to take back
	lastWho   string
	lastMoved int
	tried     *trial
	problem   string
	form      url.Values // as given
}

// movable is an operation that can be pinned.
type movable struct {
	Value string // task and operation
	Words string
}

// decided is a decision in force.
type decided struct {
	ID, Words, Who, Why string
	At                  time.Time
}

// trial is what a change would come to.
type trial struct {
	What   string
	Moved  []movedRow // by more than half a shift
	Shifts int        // within the day
	Worse  []riskRow  // promises in danger by it
	Still  int        // promises in danger as before
	Freed  []string
	Fields [][2]string // what is sent to keep it
}

type movedRow struct{ Title, Op, From, To string }

type riskRow struct {
	Title    string
	Late     bool
	Due, End time.Time
	Before   time.Time
}

// changeOf reads a change from a form; ok is false when there is none. Instants come as seconds, or as local times of the shop.
// Fault: Invalid "times".
func changeOf(form url.Values, loc *time.Location) (c planning.Change, ok bool, err error) {
	if form.Get("kind") == "" {
		return c, false, nil
	}
	c = planning.Change{Kind: form.Get("kind"), Task: form.Get("task"), Op: form.Get("op"), Resource: form.Get("resource"), Person: form.Get("person"),
		Decision: form.Get("decision"), Why: strings.TrimSpace(form.Get("why")), On: form.Get("on")}
	for _, l := range form["lines"] {
		if l != "" {
			c.Lines = append(c.Lines, l)
		}
	}
	if t, o, cut := strings.Cut(form.Get("work"), "|"); cut && c.Task == "" {
		c.Task, c.Op = t, o
	}
	if who, cut := strings.CutPrefix(c.Resource, "person "); cut && c.Kind == planning.Away {
		c.Resource, c.Person = "", who
	}
	instant := func(seconds, local string) (int64, error) {
		if s := form.Get(seconds); s != "" {
			n, err := strconv.ParseInt(s, 10, 64)
			if err != nil {
				return 0, fault.New(fault.Invalid, "times", seconds, "%q is not a time.", s)
			}
			return n, nil
		}
		s := form.Get(local)
		if s == "" {
			return 0, nil
		}
		for _, layout := range []string{"2006-01-02T15:04", "2006-01-02T15:04:05", time.DateOnly} {
			if t, err := time.ParseInLocation(layout, s, loc); err == nil {
				return t.Unix(), nil
			}
		}
		return 0, fault.New(fault.Invalid, "times", local, "%q is not a time; write it as 2026-01-31T14:30.", s)
	}
	if c.Start, err = instant("start", "begin"); err != nil {
		return c, true, err
	}
	c.End, err = instant("end", "until")
	return c, true, err
}

// decide keeps a change of the plan.
func (k *desk) decide(w http.ResponseWriter, r *http.Request) error {
	if k.Wall == nil {
		return fault.New(fault.NotFound, "board_missing", "", "This desk has no wall board.")
	}
	if err := r.ParseForm(); err != nil {
		return fault.Because(err, fault.Invalid, "form", "", "The form could not be read.")
	}
	c, ok, err := changeOf(r.Form, k.location())
	if err != nil {
		return err
	}
	if !ok {
		return fault.New(fault.Invalid, "change_kind", "kind", "Say what shall change.")
	}
	if _, err := k.Wall.Decide(r.Context(), who(r), c); err != nil {
		return err
	}
	return seeOther(w, r, boardAgain(r)+"#plan")
}

// takePlanBack goes back to before the last decision.
func (k *desk) takePlanBack(w http.ResponseWriter, r *http.Request) error {
	if k.Wall == nil {
		return fault.New(fault.NotFound, "board_missing", "", "This desk has no wall board.")
	}
	if _, err := k.Wall.TakeBack(r.Context(), who(r), r.FormValue("on")); err != nil {
		return err
	}
	return seeOther(w, r, boardAgain(r)+"#plan")
}

// boardAgain is the page of the board a form came from; the board itself when it names none.
func boardAgain(r *http.Request) string {
	if s := r.FormValue("back"); s == "/board" || strings.HasPrefix(s, "/board?") || strings.HasPrefix(s, "/board/") {
		return s
	}
	return "/board"
}

func (k *desk) location() *time.Location {
	loc, err := time.LoadLocation(k.Catalogue().Firm.TimeZone)
	if err != nil {
		return time.UTC
	}
	return loc
}

// seen is the board with the plan, as it stands or as the change asked for would make it.
func (k *desk) seen(r *http.Request) (appraise.Board, planned, error) {
	if k.Wall == nil {
		return appraise.Board{}, planned{}, fault.New(fault.NotFound, "board_missing", "", "This desk has no wall board: it was started without the work in hand.")
	}
	b, kept, err := k.Wall.Board(r.Context())
	if err != nil {
		return b, planned{}, err
	}
	p := k.plannedAs(b, kept)
	p.form = r.URL.Query()
	c, asked, err := changeOf(p.form, k.location())
	if !asked {
		return b, p, nil
	}
	if err == nil {
		c.On = kept.ID
		var tried appraise.Board
		var pr planning.Proposal
		if tried, pr, err = k.Wall.Try(r.Context(), c); err == nil {
			p.tried = trialOf(tried, pr, c, k.Catalogue())
			return tried, p, nil
		}
	}
	if f := fault.Of(err); f.Kind == fault.Internal {
		k.Log.Error("trying a change of the plan failed", "err", err)
		p.problem = "The plan could not be made; the log says why."
	} else {
		p.problem = f.Message
	}
	return b, p, nil
}

// plannedAs gathers what the page says of the plan in force.
func (k *desk) plannedAs(b appraise.Board, kept planning.Kept) planned {
	cat := k.Catalogue()
	p := planned{id: kept.ID}
	if kept.Back != "" {
		p.last, p.lastWho, p.lastMoved = kept.What, kept.Who, kept.Moved
	}
	for _, m := range cat.Machines {
		p.resources = append(p.resources, choice{ID: m.ID, Name: m.Name})
	}
	for _, x := range cat.Resources {
		p.resources = append(p.resources, choice{ID: x.ID, Name: x.Name})
	}
	for _, x := range cat.People {
		p.people = append(p.people, choice{ID: x.ID, Name: x.Name})
	}
	titles := titlesOf(b)
	seen := map[string]bool{}
	type timed struct {
		movable
		at time.Time
	}
	var all []timed
	for _, row := range b.Rows {
		for _, bar := range row.Bars {
			v := bar.Task + "|" + bar.Op
			if seen[v] || bar.Running || !bar.Planned {
				continue
			}
			seen[v] = true
			what := opWords(cat, bar.Job, bar.Op)
			if row.Kind == appraise.MachineRow {
				what = "build on " + row.Name
			}
			all = append(all, timed{movable{v, bar.Title + ", " + what + ", " + momentWord(bar.From)}, bar.From})
		}
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].at.Before(all[j].at) })
	for _, x := range all {
		p.tasks = append(p.tasks, x.movable)
	}
	loc := b.Now.Location()
	clock := func(s int64) string { return momentWord(time.Unix(s, 0).In(loc)) }
	for _, d := range kept.Decisions {
		x := decided{ID: d.ID, Who: d.Who, Why: d.Why, At: d.At.In(loc)}
		switch {
		case d.Pin != nil:
			x.Words = titles(d.Pin.Task) + ", " + opWords(cat, work.LineOf(d.Pin.Task), d.Pin.Op) + " pinned"
			if d.Pin.Resource != "" {
				x.Words += " to " + resourceName(cat, d.Pin.Resource)
			}
			if d.Pin.Start != 0 {
				x.Words += ", not before " + clock(d.Pin.Start)
			}
		case d.Away != nil:
			x.Words = resourceName(cat, d.Away.Resource)
			for _, q := range cat.People {
				if q.ID == d.Away.Person {
					x.Words = q.Name
				}
			}
			x.Words += " not there from " + clock(d.Away.Start) + " to " + clock(d.Away.End)
		case d.Join != nil:
			var names []string
			for _, l := range d.Join.Lines {
				names = append(names, titles(l))
			}
			x.Words = "One build for " + strings.Join(names, ", ")
		default:
			x.Words = "A build of its own for " + titles(d.Apart)
		}
		p.decisions = append(p.decisions, x)
	}
	return p
}

// titlesOf names tasks as people know them.
func titlesOf(b appraise.Board) func(task string) string {
	jobs := map[string]string{}
	for _, j := range b.Jobs {
		jobs[j.ID] = j.Title
		if j.Order != "" {
			jobs[j.ID] = j.Order + " " + j.Title
		}
	}
	for _, r := range b.Rows {
		for _, bar := range r.Bars {
			if len(bar.Shared) > 0 {
				jobs[bar.Task] = bar.Title
			}
		}
	}
	return func(task string) string {
		if t := jobs[task]; t != "" {
			return t
		}
		if t := jobs[work.LineOf(task)]; t != "" {
			return t
		}
		return task
	}
}

// opWords names an operation.
func opWords(cat *shop.Catalogue, job, op string) string {
	for _, o := range cat.Operations {
		if o.ID == op {
			return o.Name
		}
	}
	return strings.TrimSpace(strings.TrimPrefix(op, job))
}

func resourceName(cat *shop.Catalogue, id string) string {
	if m := cat.Machine(id); m != nil {
		name, _, _ := strings.Cut(m.Name, ",")
		return name
	}
	if x := cat.Resource(id); x != nil {
		return x.Name
	}
	return id
}

// trialOf says what a change would come to, the worst first.
func trialOf(b appraise.Board, pr planning.Proposal, c planning.Change, cat *shop.Catalogue) *trial {
	loc := b.Now.Location()
	titles := titlesOf(b)
	t := &trial{What: pr.What}
	if c.Kind == planning.Move {
		t.What = titles(c.Task) + ", " + opWords(cat, work.LineOf(c.Task), c.Op) + " pinned"
		if c.Resource != "" {
			t.What += " to " + resourceName(cat, c.Resource)
		}
		if c.Start != 0 {
			t.What += ", not before " + momentWord(time.Unix(c.Start, 0).In(loc))
		}
	}
	place := func(resource string, start int64) string {
		s := momentWord(time.Unix(start, 0).In(loc))
		if resource != "" {
			s += " on " + resourceName(cat, resource)
		}
		return s
	}
	for _, m := range pr.Changes.Moved {
		if !m.Far() {
			t.Shifts++
			continue
		}
		t.Moved = append(t.Moved, movedRow{titles(m.Task), opWords(cat, work.LineOf(m.Task), m.Op), place(m.FromResource, m.FromStart), place(m.ToResource, m.ToStart)})
	}
	for _, x := range pr.Changes.Risks {
		if !x.New {
			t.Still++
			continue
		}
		row := riskRow{Title: titles(x.Task), Late: x.Risk == schedule.Late, Due: time.Unix(x.Due, 0).In(loc), End: time.Unix(x.End, 0).In(loc)}
		if x.Before != 0 {
			row.Before = time.Unix(x.Before, 0).In(loc)
		}
		t.Worse = append(t.Worse, row)
	}
	for _, x := range pr.Changes.Freed {
		t.Freed = append(t.Freed, titles(x.Task))
	}
	add := func(k, v string) {
		if v != "" && v != "0" {
			t.Fields = append(t.Fields, [2]string{k, v})
		}
	}
	add("kind", c.Kind)
	add("task", c.Task)
	add("op", c.Op)
	add("resource", c.Resource)
	add("person", c.Person)
	add("start", strconv.FormatInt(c.Start, 10))
	add("end", strconv.FormatInt(c.End, 10))
	for _, l := range c.Lines {
		add("lines", l)
	}
	add("why", c.Why)
	add("on", c.On)
	return t
}

// movedSentence sums a trial up.
func movedSentence(t *trial) string {
	s := fmt.Sprintf("It moves %d operations", len(t.Moved))
	switch len(t.Moved) {
	case 0:
		s = "Nothing moves by more than half a shift"
	case 1:
		s = "It moves one operation"
	}
	if t.Shifts > 0 {
		s += fmt.Sprintf("; %d %s within the day", t.Shifts, plural(t.Shifts, "shifts", "shift"))
	}
	return s + "."
}
