package web

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"firstoff/appraise"
	"firstoff/bureau/planning"
	"firstoff/fault"
)

// Wall answers for the wall board.
type Wall interface {
	// Board is the plan in force.
	Board(ctx context.Context) (appraise.Board, planning.Kept, error)
	// Try draws the board as a change would make it, and keeps nothing; Decide makes the change, TakeBack the last one undone.
	Try(ctx context.Context, c planning.Change) (appraise.Board, planning.Proposal, error)
	Decide(ctx context.Context, who string, c planning.Change) (planning.Proposal, error)
	TakeBack(ctx context.Context, who, on string) (planning.Kept, error)
	WhatIf(ctx context.Context, q appraise.WhatIf) (appraise.Expected, error)
}

// Measures of the drawn board, in its own units (px at full width).
const (
	boardDays   = 14
	boardLabel  = 212
	boardWidth  = 1600
	boardHead   = 44
	boardRow    = 30
	boardGroup  = 26
	boardLetter = 6.3 // mean width of a letter at 12 px
)

// drawing is a board ready to be drawn.
type drawing struct {
	from, to      time.Time
	before, after string
	height        float64
	days          []drawnDay
	dark          []drawnSpan // nobody is in
	groups        []drawnGroup
	now           float64 // x; 0: not on these days
	nowWord       string
	asOf          string
	level         int // %, of the cases a promise counts with
	empty         bool
	counts        map[appraise.Standing]int
	trouble       []appraise.BoardJob // late first, then at risk
	promised      []appraise.BoardJob
	unpromised    []appraise.BoardJob
	machines      []choice
	materials     []choice
	ask           asked
	plan          planned
	here          string // this page without what is asked
	scale         string // beginnings of the days, s
	nowS          int64
	zone          string
}

type choice struct {
	ID, Name string
	Chosen   bool
}

// asked is the "what if" form with its answer.
type asked struct {
	hours, hands string
	answer       *appraise.Expected
	problem      string
}

type drawnDay struct {
	x, w   float64
	word   string
	closed string
	today  bool
}

type drawnSpan struct{ x, w float64 }

type drawnGroup struct {
	name string
	y    float64
	rows []drawnRow
}

type drawnRow struct {
	name string
	y    float64
	open []drawnSpan
	bars []drawnBar
}

type drawnBar struct {
	x, w     float64
	run      drawnSpan // the run itself within the bar
	words    string    // what it says, from wordsX for wordsW
	wordsX   float64
	wordsW   float64
	full     string // all it stands for
	link     string
	task, op string // where it can be moved
	standing appraise.Standing
	kind     string // build, hands, other
	running  bool
	bar      appraise.Bar
}

func (k *desk) board(w http.ResponseWriter, r *http.Request) error {
	b, p, err := k.seen(r)
	if err != nil {
		return err
	}
	d, err := draw(b, r.URL.Query().Get("from"))
	if err != nil {
		return err
	}
	d.plan, d.here = p, "/board"
	if s := r.URL.Query().Get("from"); s != "" {
		d.here += "?from=" + url.QueryEscape(s)
	}
	if k.Compose != nil {
		d.linkBuilds()
	}
	k.whatIf(r, &d)
	f := k.frame(r, "Board", "board", "plan.entry.js")
	f.wide = true
	k.show(w, r, http.StatusOK, boardPage(f, d))
	return nil
}

func (k *desk) wall(ctx context.Context) (appraise.Board, error) {
	if k.Wall == nil {
		return appraise.Board{}, fault.New(fault.NotFound, "board_missing", "", "This desk has no wall board: it was started without the work in hand.")
	}
	b, _, err := k.Wall.Board(ctx)
	return b, err
}

// whatIf fills the form, and the answer when something was asked.
func (k *desk) whatIf(r *http.Request, d *drawing) {
	q := r.URL.Query()
	cat := k.Catalogue()
	for _, m := range cat.Machines {
		d.machines = append(d.machines, choice{m.ID, m.Name, q.Get("machine") == m.ID})
	}
	for _, m := range cat.Materials {
		if m.Support == "" {
			d.materials = append(d.materials, choice{m.ID, m.Name, q.Get("material") == m.ID})
		}
	}
	d.ask.hours, d.ask.hands = q.Get("hours"), q.Get("hands")
	if !q.Has("hours") && !q.Has("hands") {
		return
	}
	hours, err := number(r, "hours")
	hands, err2 := number(r, "hands")
	if err == nil {
		err = err2
	}
	if err == nil {
		var e appraise.Expected
		e, err = k.Wall.WhatIf(r.Context(), appraise.WhatIf{Machine: q.Get("machine"), Material: q.Get("material"), Hours: hours, Hands: hands})
		if err == nil {
			d.ask.answer = &e
			return
		}
	}
	if f := fault.Of(err); f.Kind == fault.Internal {
		k.Log.Error("what if failed", "err", err)
		d.ask.problem = "The load could not be played; the log says why."
	} else {
		d.ask.problem = f.Message
	}
}

// draw lays the board out from a date on, by default the Monday of the week that is now. Fault: Invalid "board_from".
func draw(b appraise.Board, from string) (drawing, error) {
	loc := b.Now.Location()
	y, m, day := b.Now.Date()
	start := time.Date(y, m, day-(int(b.Now.Weekday())+6)%7, 0, 0, 0, 0, loc)
	if from != "" {
		t, err := time.ParseInLocation(time.DateOnly, from, loc)
		if err != nil || t.Year() < 1970 || t.Year() > 9000 {
			return drawing{}, fault.New(fault.Invalid, "board_from", "from", "%q is not a date; write it as 2026-01-31.", from)
		}
		start = t
	}
	d := drawing{from: start, asOf: b.AsOf.Format("Mon 2 Jan 15:04"), level: int(b.Level*100 + 0.5), counts: map[appraise.Standing]int{}}
	mids := make([]time.Time, boardDays+1)
	for i := range mids {
		mids[i] = start.AddDate(0, 0, i)
	}
	d.to = mids[boardDays]
	d.nowS, d.zone = b.Now.Unix(), loc.String()
	for i, m := range mids {
		if i > 0 {
			d.scale += " "
		}
		d.scale += strconv.FormatInt(m.Unix(), 10)
	}
	d.before, d.after = "/board?from="+start.AddDate(0, 0, -7).Format(time.DateOnly), "/board?from="+start.AddDate(0, 0, 7).Format(time.DateOnly)
	wide := float64(boardWidth-boardLabel) / boardDays
	// A day is one column even when the clocks change in it.
	x := func(t time.Time) float64 {
		if !t.After(start) {
			return boardLabel
		}
		for i := range boardDays {
			if t.Before(mids[i+1]) {
				return boardLabel + wide*(float64(i)+t.Sub(mids[i]).Seconds()/mids[i+1].Sub(mids[i]).Seconds())
			}
		}
		return boardWidth
	}
	span := func(s appraise.Stretch) (drawnSpan, bool) {
		a, z := x(s.From), x(s.To)
		return drawnSpan{a, z - a}, z > a
	}
	today := b.Now.Format(time.DateOnly)
	for i := range boardDays {
		key := mids[i].Format(time.DateOnly)
		d.days = append(d.days, drawnDay{x: boardLabel + wide*float64(i), w: wide, word: mids[i].Format("Mon 2 Jan"), closed: b.Closed[key], today: key == today})
	}
	last := start
	for _, s := range append(b.Staffed, appraise.Stretch{From: d.to, To: d.to}) {
		if g, ok := span(appraise.Stretch{From: last, To: s.From}); ok && s.From.After(last) {
			d.dark = append(d.dark, g)
		}
		if s.To.After(last) {
			last = s.To
		}
	}
	if b.Now.After(start) && b.Now.Before(d.to) {
		d.now, d.nowWord = x(b.Now), "now "+b.Now.Format("15:04")
	}

	standing, order := map[string]appraise.Standing{}, map[string]string{}
	for _, j := range b.Jobs {
		standing[j.ID], order[j.ID] = j.Standing, j.Order
		d.counts[j.Standing]++
		switch j.Standing {
		case appraise.Unpromised:
			d.unpromised = append(d.unpromised, j)
		default:
			d.promised = append(d.promised, j)
		}
	}
	for _, s := range []appraise.Standing{appraise.Late, appraise.AtRisk} {
		for _, j := range b.Jobs {
			if j.Standing == s {
				d.trouble = append(d.trouble, j)
			}
		}
	}
	d.empty = len(b.Jobs) == 0

	at := float64(boardHead)
	for _, g := range []struct {
		kind appraise.RowKind
		name string
	}{{appraise.MachineRow, "Machines"}, {appraise.ResourceRow, "Baths, ovens, cabinets"}, {appraise.PersonRow, "People"}} {
		group := drawnGroup{name: g.name, y: at}
		at += boardGroup
		for _, row := range b.Rows {
			// A cabinet that nothing needs is no news.
			if row.Kind != g.kind || row.Kind == appraise.ResourceRow && len(row.Bars) == 0 {
				continue
			}
			dr := drawnRow{name: row.Name, y: at}
			if row.Unit > 0 {
				dr.name += " " + strconv.Itoa(row.Unit)
			}
			for _, h := range row.Hours {
				if s, ok := span(h); ok {
					dr.open = append(dr.open, s)
				}
			}
			for _, bar := range row.Bars {
				s, ok := span(bar.Stretch)
				if !ok {
					continue
				}
				n := drawnBar{x: s.x, w: max(s.w, 2), bar: bar, standing: standing[bar.Job], running: bar.Running, kind: "hands", link: jobLink(bar.Job, order[bar.Job])}
				if row.Kind != appraise.PersonRow {
					n.kind = "other"
					if row.Kind == appraise.MachineRow {
						n.kind = "build"
					}
					n.run, _ = span(appraise.Stretch{From: bar.Run, To: bar.Over})
				}
				if bar.Planned && !bar.Running && row.Kind != appraise.PersonRow {
					n.task, n.op = bar.Task, bar.Op
				}
				room := n.w - 8
				n.wordsX = n.x + 4
				if n.marked() {
					room -= 16
					n.wordsX += 16
				}
				if n.kind == "build" && n.running {
					room = min(room, n.run.x+n.run.w-n.x-8) // light letters only stand on the run
				}
				name := bar.Title
				if row.Kind == appraise.PersonRow {
					name = bar.Doing + " " + name
				}
				// The words are cut by the bar's edge; in a stub there are none.
				if n.wordsW = room; room > 3*boardLetter {
					n.words = name
				}
				n.full = barWords(dr.name, name, n)
				dr.bars = append(dr.bars, n)
			}
			group.rows = append(group.rows, dr)
			at += boardRow
		}
		if len(group.rows) == 0 {
			at -= boardGroup
			continue
		}
		d.groups = append(d.groups, group)
		at += 8
	}
	d.height = at
	return d, nil
}

// linkBuilds leads from builds of order lines to what is in them.
func (d *drawing) linkBuilds() {
	for _, g := range d.groups {
		for _, r := range g.rows {
			for i := range r.bars {
				n := &r.bars[i]
				switch {
				case n.kind != "build" || !strings.HasPrefix(n.link, "/orders/"):
				case strings.HasPrefix(n.bar.Task, "B-"):
					n.link = "/b/" + url.PathEscape(n.bar.Task)
				case n.task != "":
					n.link = buildLink(n.bar.Task)
				}
			}
		}
	}
}

// marked says whether the bar carries a shape.
func (n drawnBar) marked() bool {
	return n.w > 18 && (n.standing == appraise.Late || n.standing == appraise.AtRisk)
}

// jobLink is where a bar leads: its order, or its line in the list below.
func jobLink(job, order string) string {
	if order != "" {
		return "/orders/" + url.PathEscape(order)
	}
	return "#job-" + url.PathEscape(job)
}

// barWords is everything a bar stands for, in a sentence.
func barWords(row, name string, n drawnBar) string {
	b := n.bar
	s := row + ": " + name
	if n.kind == "build" {
		s += ", build"
		if b.Material != "" {
			s += ", " + b.Material
		}
	}
	s += ", " + b.From.Format("Mon 2 Jan 15:04") + " to " + b.To.Format("Mon 2 Jan 15:04")
	if b.Change > 0 {
		s += fmt.Sprintf(", changeover %.0f min first", b.Change.Minutes())
	}
	if n.kind == "build" && b.To.Sub(b.Over) > 2*time.Hour && !b.Over.IsZero() {
		s += ", done " + b.Over.Format("Mon 15:04") + " and waiting to be unloaded"
	}
	if n.running {
		s += ", running now"
	}
	if b.Pinned {
		s += ", pinned"
	}
	if n.standing == appraise.Late || n.standing == appraise.AtRisk {
		s += "; promise " + string(n.standing)
	}
	return s
}

// fit cuts words of 12 px to a width; nothing when not even a few letters fit.
func fit(s string, room float64) string {
	n := int(room / boardLetter)
	switch {
	case n < 3:
		return ""
	case utf8.RuneCountInString(s) <= n:
		return s
	}
	r := []rune(s)
	return strings.TrimRight(string(r[:n-1]), " ,") + "…"
}

func standingTone(s appraise.Standing) string {
	switch s {
	case appraise.Late:
		return "stop"
	case appraise.AtRisk:
		return "look"
	case appraise.OnTime:
		return "done"
	}
	return ""
}

func standingShape(s appraise.Standing) string {
	switch s {
	case appraise.Late:
		return "hatch"
	case appraise.AtRisk:
		return "half"
	case appraise.OnTime:
		return "disc"
	}
	return "ring"
}

// boardSentence sums the promises up.
func boardSentence(d drawing) string {
	n := len(d.promised)
	s := fmt.Sprintf("%d %s: %d on time", n, plural(n, "promise", "promises"), d.counts[appraise.OnTime])
	if c := d.counts[appraise.AtRisk]; c > 0 {
		s += fmt.Sprintf(", %d at risk", c)
	}
	if c := d.counts[appraise.Late]; c > 0 {
		s += fmt.Sprintf(", %d late", c)
	}
	return s + "."
}

// timeIn is an instant in a zone.
func timeIn(s int64, loc *time.Location) time.Time { return time.Unix(s, 0).In(loc) }

func dayWord(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format("Mon 2 Jan")
}

func momentWord(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format("Mon 2 Jan 15:04")
}

func dateWord(t time.Time) string { return t.Format(time.DateOnly) }
