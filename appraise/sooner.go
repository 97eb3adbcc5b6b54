package appraise

import (
	"context"
	"fmt"
	"slices"
	"sort"
	"time"

	"firstoff/bureau"
	"firstoff/desk/offer"
	"firstoff/desk/promise"
	"firstoff/money"
	"firstoff/shop"
	"firstoff/shop/capacity"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/work"
)

// SoonerAsk is a line whose date shall come forward.
type SoonerAsk struct {
	Key     string         // of an order's line (work.Key); empty: not ordered yet
	Now     offer.Option   // how it is, or would be, made
	Options []offer.Option // what else the desk offers for it
	Promise string         // 2006-01-02; empty: none
}

// Sooner says what a line's date is and what would bring it forward.
type Sooner struct {
	P50   time.Time `json:"p50"`
	P90   time.Time `json:"p90"`
	Level float64   `json:"level"`
	Waits []string  `json:"waits"` // what it waits for, longest first
	Ways  []Way     `json:"ways"`  // those that win at least a day, the most first
	Tried int       `json:"tried"` // ways looked at
}

// Way is one way to an earlier day.
type Way struct {
	Kind string       `json:"kind"` // machine, layer, infill, partner, process, overtime, swap
	What string       `json:"what"`
	P90  time.Time    `json:"p90"`
	Days int          `json:"days"`                 // business days won
	Cost money.Amount `json:"cost_minor,omitempty"` // what the line costs more; of another option only
	// Option is the option to choose; empty for overtime and swaps.
	Option string `json:"option,omitempty"`
	// Who is the job that would wait instead, WhoP90 its day then, WhoDue its promise, Kept whether that still holds.
	Who      string    `json:"who,omitempty"`
	WhoTitle string    `json:"who_title,omitempty"`
	WhoP90   time.Time `json:"who_p90,omitzero"`
	WhoDue   time.Time `json:"who_due,omitzero"`
	Kept     bool      `json:"kept,omitempty"`
}

// Overtime that is tried: everybody's last stretch of each of the next days longer by this; common practice, and subject to the law of the place.
const (
	overtimeH    = 2
	overtimeDays = 5
	mostSwaps    = 6
)

// Sooner asks what would bring a line forward: another machine, a coarser layer, a sparser infill, a partner, another process, overtime, or changing
// places with work that goes before it. Each answer is the whole load played again under the same luck.
func (d *Desk) Sooner(ctx context.Context, cat *shop.Catalogue, load bureau.Load, now time.Time, seed uint64, q SoonerAsk) (Sooner, error) {
	base, cal, err := d.planner(ctx, cat, load, now, seed)
	if err != nil {
		return Sooner{}, err
	}
	now = now.Truncate(nowStep)
	left, has, err := Load(ctx, cat, cal, load, now)
	if err != nil {
		return Sooner{}, err
	}
	set := promise.Settings{Replications: d.Replications, Seed: seed, Threads: max(1, d.Threads), Level: load.Level, Loaded: has, Away: load.Decided.Away}
	play := func(l capacity.Load, s promise.Settings) (*promise.Planner, error) {
		return promise.New(ctx, cat, cal, l, now, s)
	}
	dated := func(p *promise.Planner, o offer.Option) (time.Time, time.Time) {
		m := cat.Machine(o.Machine)
		a := p.Date(work.Route("new", o.Steps, m, o.Material, cat, spreadDays(cat, o)))
		return a.P50, a.P90
	}
	out := Sooner{Level: base.Level().Use}
	at := slices.IndexFunc(left.Jobs, func(j capacity.Job) bool { return j.ID == q.Key })
	without := base
	if q.Key == "" {
		out.P50, out.P90 = dated(base, q.Now)
	} else {
		out.P50, out.P90 = base.Expected(q.Key)
		for _, w := range base.Waits(q.Key) {
			if len(out.Waits) < 3 && w.Seconds >= 1800 {
				out.Waits = append(out.Waits, waitWords(cat, w))
			}
		}
		if at < 0 {
			return out, nil // nothing of it is left
		}
	}
	add := func(w Way) {
		out.Tried++
		if w.Days = cal.DaysBetween(w.P90, out.P90); w.Days > 0 {
			out.Ways = append(out.Ways, w)
		}
	}
	// Other options, for a line that has not begun.
	if q.Key == "" || load.Floor.Whole(q.Key) {
		if q.Key != "" {
			l := left
			l.Jobs = slices.DeleteFunc(slices.Clone(left.Jobs), func(j capacity.Job) bool { return work.LineOf(j.ID) == q.Key })
			if without, err = play(l, set); err != nil {
				return out, err
			}
		}
		best := map[string]Way{}
		for _, o := range q.Options {
			kind, words := differs(cat, q.Now, o)
			if kind == "" {
				continue
			}
			_, p90 := dated(without, o)
			w := Way{Kind: kind, What: words, P90: p90, Option: o.ID, Cost: o.CostTotal - q.Now.CostTotal}
			if b, ok := best[kind]; !ok || w.P90.Before(b.P90) || w.P90.Equal(b.P90) && w.Cost < b.Cost {
				best[kind] = w
			}
		}
		for _, kind := range []string{"machine", "layer", "infill", "partner", "process"} {
			if w, ok := best[kind]; ok {
				add(w)
			}
		}
	}
	// Overtime.
	longer := set
	longer.Adjust = func(s capacity.Shop) capacity.Shop {
		return overtime(s, now.Unix(), overtimeH*3600, now.AddDate(0, 0, 7*overtimeDays/5).Unix())
	}
	p, err := play(left, longer)
	if err != nil {
		return out, err
	}
	w := Way{Kind: "overtime", What: fmt.Sprintf("everybody stays %d h longer on the next %d working days", overtimeH, overtimeDays)}
	if q.Key == "" {
		_, w.P90 = dated(p, q.Now)
	} else {
		_, w.P90 = p.Expected(q.Key)
	}
	add(w)
	if q.Key == "" {
		return out, sorted(&out)
	}
	// Changing places with what goes before it on the same machine.
	mine := left.Jobs[at]
	for _, k := range rivals(left.Jobs, at, cat) {
		l := capacity.Load{Jobs: slices.Clone(left.Jobs)}
		other := l.Jobs[k]
		l.Jobs[at].Due, l.Jobs[k].Due = other.Due-1, mine.Due
		p, err := play(l, set)
		if err != nil {
			return out, err
		}
		w := Way{Kind: "swap", Who: other.ID, WhoTitle: jobTitle(cat, load.Orders, other.ID)}
		_, w.P90 = p.Expected(q.Key)
		_, w.WhoP90 = p.Expected(other.ID)
		w.Kept = true
		if other.Due != 0 {
			due := time.Unix(other.Due, 0).In(cal.Location())
			w.WhoDue = time.Date(due.Year(), due.Month(), due.Day(), 0, 0, 0, 0, cal.Location())
			w.Kept = !w.WhoP90.After(w.WhoDue)
		}
		w.What = "before " + w.WhoTitle
		add(w)
	}
	return out, sorted(&out)
}

func sorted(s *Sooner) error {
	sort.SliceStable(s.Ways, func(i, j int) bool {
		a, b := s.Ways[i], s.Ways[j]
		if a.Days != b.Days {
			return a.Days > b.Days
		}
		return a.Cost < b.Cost
	})
	return nil
}

// differs says in which one way an option differs from how the line is made; "" when it does not, or in many.
func differs(cat *shop.Catalogue, a, b offer.Option) (kind, words string) {
	if b.ID == a.ID {
		return "", ""
	}
	name := func(id string) string { return bindingName(cat, id) }
	switch {
	case b.Partner != "" && b.Partner != a.Partner && b.Process == a.Process:
		return "partner", name(partnerName(cat, b.Partner)) + " makes it, in " + materialName(cat, b.Material)
	case b.Partner != "":
		return "", ""
	case b.Process != a.Process:
		return "process", fmt.Sprintf("on %s in %s, another process", name(b.Machine), materialName(cat, b.Material))
	case b.Material != a.Material || b.Support != a.Support:
		return "", ""
	case b.Machine != a.Machine:
		return "machine", fmt.Sprintf("on %s, %g mm layers", name(b.Machine), b.LayerMM)
	case b.LayerMM > a.LayerMM && b.InfillPct == a.InfillPct:
		return "layer", fmt.Sprintf("layers of %g mm instead of %g", b.LayerMM, a.LayerMM)
	case b.InfillPct < a.InfillPct && b.LayerMM == a.LayerMM:
		return "infill", fmt.Sprintf("%.0f %% infill instead of %.0f", b.InfillPct, a.InfillPct)
	}
	return "", ""
}

func partnerName(cat *shop.Catalogue, id string) string {
	if p := cat.Partner(id); p != nil {
		return p.Name
	}
	return id
}

func spreadDays(cat *shop.Catalogue, o offer.Option) float64 {
	if p := cat.Partner(o.Partner); p != nil {
		for _, of := range p.Offers {
			if of.Process == o.Process {
				return of.SpreadDays
			}
		}
	}
	return 0
}

// overtime lengthens everybody's last stretch of each day between from and until by s seconds, as far as the next one begins later.
func overtime(m capacity.Shop, from, s, until int64) capacity.Shop {
	m.People = slices.Clone(m.People)
	for i := range m.People {
		c := slices.Clone(m.People[i].Calendar)
		for k := range c {
			last := k == len(c)-1 || c[k+1].Start-c[k].End > 4*3600 // not the midday break
			if !last || c[k].End <= from || c[k].Start >= until {
				continue
			}
			end := c[k].End + s
			if k < len(c)-1 {
				end = min(end, c[k+1].Start)
			}
			c[k].End = end
		}
		m.People[i].Calendar = c
	}
	return m
}

// rivals are jobs due before the job at index at that hold a machine it needs too, or people with its skill where it needs no machine: those due
// last first, for they can wait best.
func rivals(jobs []capacity.Job, at int, cat *shop.Catalogue) []int {
	needs := map[string]bool{}
	for _, o := range jobs[at].Ops {
		for _, r := range o.Resource {
			if cat.Machine(r) != nil {
				needs[r] = true
			}
		}
	}
	if len(needs) == 0 {
		for _, o := range jobs[at].Ops {
			for _, r := range o.Resource {
				needs[r] = true
			}
			needs["people "+o.People] = o.People != ""
		}
	}
	var out []int
	for k, j := range jobs {
		if k == at {
			continue
		}
		for _, o := range j.Ops {
			shared := needs["people "+o.People]
			for _, r := range o.Resource {
				shared = shared || needs[r]
			}
			if shared && o.RunningOn == "" && j.Due != 0 && (jobs[at].Due == 0 || j.Due < jobs[at].Due) {
				out = append(out, k)
				break
			}
		}
	}
	sort.SliceStable(out, func(a, b int) bool { return jobs[out[a]].Due > jobs[out[b]].Due })
	return out[:min(len(out), mostSwaps)]
}

// jobTitle names a job for people.
func jobTitle(cat *shop.Catalogue, orders []order.Order, id string) string {
	for _, w := range cat.Workload {
		if w.ID == id {
			return w.Title
		}
	}
	for _, o := range orders {
		for _, l := range o.Lines {
			if work.LineOf(id) == work.Key(o.ID, l.LineID) {
				return o.ID + " " + l.Name
			}
		}
	}
	return id
}
