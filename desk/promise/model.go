package promise

import (
	"context"
	"fmt"
	"slices"
	"time"

	"firstoff/fault"
	"firstoff/shop"
	"firstoff/shop/calendar"
	"firstoff/shop/capacity"
)

// horizonDays is how far calendars are written out. capacity repeats the last week after that.
const horizonDays = 190

// absent is the chance of a person staying away on a day: one day in fifty, common practice for unplanned absence.
const absent = 0.02

// What is taken of every order for want of the shop's own figures, both common practice: the estimates of one order are
// off together by this much (their spreads apart come on top), and this share is found bad at the end and made again.
const (
	OrderCV  = 0.05
	Rejected = 0.02
)

// Model makes the simulated shop of a catalogue: machines (with their count), shared resources, people with shifts,
// partners (never a queue; they work on business days).
func Model(c *shop.Catalogue, cal *calendar.Calendar, from int64) capacity.Shop {
	return ModelUntil(c, cal, from, from+horizonDays*86400)
}

// ModelUntil writes the calendars out up to the instant to.
func ModelUntil(c *shop.Catalogue, cal *calendar.Calendar, from, to int64) capacity.Shop {
	hours := func(shift string) capacity.Calendar {
		if shift == "always" {
			return nil
		}
		return intervals(cal.Spans(shift, from, to))
	}
	var s capacity.Shop
	for _, m := range c.Machines {
		family := ""
		for _, id := range m.Loaded {
			if mat := c.Material(id); mat != nil && mat.Support == "" {
				family = id
				break
			}
		}
		change := m.ChangeoverMin * 60
		if m.MJT != nil && m.MJT.Slots > 1 {
			// Several materials are loaded at once; only what is not loaded costs a changeover.
			family = ""
		}
		s.Resources = append(s.Resources, capacity.Resource{ID: m.ID, Units: m.Count, Calendar: hours(m.Calendar), Family: family, ChangeSeconds: change})
	}
	for _, r := range c.Resources {
		s.Resources = append(s.Resources, capacity.Resource{ID: r.ID, Units: r.Count, Calendar: hours(r.Calendar)})
	}
	days := businessDays(cal, from, to)
	for _, p := range c.Partners {
		s.Resources = append(s.Resources, capacity.Resource{ID: p.ID, Unlimited: true, Calendar: days})
	}
	for _, p := range c.People {
		s.People = append(s.People, capacity.Person{ID: p.ID, Skills: p.Skills, Calendar: hours(p.Shift), AbsentProb: absent})
	}
	return s
}

func intervals(spans []calendar.Span) capacity.Calendar {
	out := make(capacity.Calendar, len(spans))
	for i, s := range spans {
		out[i] = capacity.Interval{Start: s.From, End: s.To}
	}
	return out
}

// businessDays writes every business day out as a span from midnight to midnight.
func businessDays(cal *calendar.Calendar, from, to int64) capacity.Calendar {
	var out capacity.Calendar
	for d := cal.After(time.Unix(from, 0), 0); d.Unix() < to; d = cal.NextBusiness(d) {
		if !cal.Business(d) {
			continue
		}
		end := time.Date(d.Year(), d.Month(), d.Day()+1, 0, 0, 0, 0, d.Location()).Unix()
		out = append(out, capacity.Interval{Start: d.Unix(), End: end})
	}
	return out
}

// Backlog turns the catalogue's work in hand into jobs, counted from asOf.
func Backlog(c *shop.Catalogue, cal *calendar.Calendar, asOf time.Time) (capacity.Load, error) {
	var load capacity.Load
	for _, w := range c.Workload {
		j := capacity.Job{ID: w.ID, Release: asOf.Unix() + int64(w.ReleaseH*3600), Weight: 1}
		if w.DueDays > 0 {
			j.Due = cal.After(asOf, w.DueDays).Unix() + 16*3600
		}
		if w.Machine != "" {
			m := c.Machine(w.Machine)
			if m == nil {
				return load, fault.New(fault.Invalid, "shop_reference", "workload "+w.ID, "The machine %q is not in the catalogue.", w.Machine)
			}
			op := capacity.Op{ID: w.ID + " build", Resource: []string{w.Machine}, Seconds: w.BuildH * 3600, CV: m.SpreadPct / 100,
				People: "operate", PeopleSeconds: m.SetUpMin * 60, UnloadSeconds: m.UnloadMin * 60, Unattended: true, Family: w.Material, FailProb: m.FailPct / 100}
			if w.Running {
				op.RunningOn = w.Machine
			}
			j.Ops = append(j.Ops, op)
		}
		if w.FinishMin > 0 {
			j.Ops = append(j.Ops, capacity.Op{ID: w.ID + " finish", Seconds: w.FinishMin * 60, CV: 0.3, People: "finish"})
		}
		if w.BathH > 0 {
			j.Ops = append(j.Ops, capacity.Op{ID: w.ID + " bath", Resource: []string{"bath"}, Seconds: w.BathH * 3600, CV: 0.25, People: "finish", PeopleSeconds: 360, Unattended: true})
		}
		if w.InspectMin > 0 {
			j.Ops = append(j.Ops, capacity.Op{ID: w.ID + " inspect", Seconds: w.InspectMin * 60, CV: 0.25, People: "inspect"})
		}
		if len(j.Ops) == 0 {
			return load, fault.New(fault.Invalid, "shop_value", "workload "+w.ID, "The work %q holds nothing to do; give it a build or hand work.", w.ID)
		}
		load.Jobs = append(load.Jobs, j)
	}
	return load, nil
}

// AsItIs is the shop with what its machines really have loaded.
func AsItIs(s capacity.Shop, loaded map[string]string) capacity.Shop {
	s.Resources = slices.Clone(s.Resources)
	for i := range s.Resources {
		if f := loaded[s.Resources[i].ID]; f != "" && s.Resources[i].Family != "" {
			s.Resources[i].Family = f
		}
	}
	return s
}

// Backlogged is what is left at the instant now of the catalogue's work in hand, played from asOf as planned, and what the machines
// then have loaded: for a shop that keeps no plan yet.
func Backlogged(ctx context.Context, c *shop.Catalogue, cal *calendar.Calendar, asOf, now time.Time) (capacity.Load, map[string]string, error) {
	load, err := Backlog(c, cal, asOf)
	if err != nil || !asOf.Before(now) {
		return load, nil, err
	}
	probe := capacity.Job{ID: "\x00probe", Release: now.Unix(), Ops: []capacity.Op{{ID: "look"}}}
	var left capacity.Load
	var has map[string]string
	look := func(f capacity.Floor, job int) int64 {
		if job != len(load.Jobs) {
			return 0
		}
		has = f.Loaded()
		for i, j := range load.Jobs {
			at, here := f.Standing(i)
			switch {
			case here:
				j = Rest(j, Progress{Op: at.Op, Begun: at.Begun, Resource: at.Resource, Over: at.Over}, now.Unix())
				j.Release = now.Unix()
			case f.End(i) != 0:
				continue
			}
			left.Jobs = append(left.Jobs, j)
		}
		return 0
	}
	played := capacity.Load{Jobs: append(slices.Clone(load.Jobs), probe)}
	model := ModelUntil(c, cal, asOf.Unix()-86400, now.Unix()+horizonDays*86400)
	if _, err := capacity.Run(ctx, played, model, asOf.Unix(), capacity.Options{Exact: true, Arrive: look}); err != nil {
		return capacity.Load{}, nil, err
	}
	return left, has, nil
}

// String names a wait for people.
func waitName(w capacity.Wait) string {
	switch w.Kind {
	case capacity.ForResource:
		return w.ID
	case capacity.ForPeople:
		return fmt.Sprintf("people who %s", w.ID)
	case capacity.ForHours:
		return fmt.Sprintf("working hours of %s", w.ID)
	}
	return ""
}
