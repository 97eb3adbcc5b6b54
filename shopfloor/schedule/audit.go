package schedule

import (
	"sort"

	"firstoff/fault"
	"firstoff/shop/capacity"
)

// Audit checks a board against its work from the rules of the shop alone; it shares no code with Plan but the types and the
// calendars. A nil error means: every operation once, in order, not before its task's release and what it comes
// after; no unit and no person does two things at once, or works outside its calendar or while it is down; runs last as long
// as said; changeovers are done; ovens hold one family and no more than they take; pins of a resource are kept.
func Audit(w *Work, b *Board) error {
	wrong := func(e Entry, format string, args ...any) error {
		return fault.New(fault.Internal, "board_wrong", "task "+e.Task+", operation "+e.Op, "The plan is not valid: "+format+".", args...)
	}
	resources, people := map[string]capacity.Resource{}, map[string]capacity.Person{}
	for _, r := range w.Shop.Resources {
		resources[r.ID] = r
	}
	for _, p := range w.Shop.People {
		people[p.ID] = p
	}
	entries := map[string]map[string]Entry{}
	for _, e := range b.Entries {
		if entries[e.Task] == nil {
			entries[e.Task] = map[string]Entry{}
		}
		if _, twice := entries[e.Task][e.Op]; twice {
			return wrong(e, "it is on the board twice")
		}
		entries[e.Task][e.Op] = e
	}
	pins := map[[2]string]Pin{}
	for _, p := range w.Pins {
		pins[[2]string{p.Task, p.Op}] = p
	}
	type use struct {
		from, to int64
		e        Entry
	}
	units := map[string]map[int][]use{}
	hands := map[string][]use{}
	finished := map[string]int64{}
	for _, t := range w.Tasks {
		last := t.Ops[len(t.Ops)-1]
		finished[t.ID] = entries[t.ID][OpName(&last, len(t.Ops)-1)].Free
	}
	for _, t := range w.Tasks {
		ready := max(t.Release, w.Now)
		for _, a := range t.After {
			ready = max(ready, finished[a])
		}
		for i := range t.Ops {
			o := &t.Ops[i]
			e, ok := entries[t.ID][OpName(o, i)]
			if !ok {
				return wrong(Entry{Task: t.ID, Op: OpName(o, i)}, "it is missing")
			}
			if e.Start < ready && o.RunningOn == "" {
				return wrong(e, "it starts %d s before it can", ready-e.Start)
			}
			if !(e.Start <= e.Begin && e.Begin <= e.End && e.End <= e.Unload && e.Unload <= e.Free) {
				return wrong(e, "its times are out of order")
			}
			ready = e.Free
			if p, ok := pins[[2]string{t.ID, e.Op}]; ok && p.Resource != "" && p.Resource != e.Resource && o.RunningOn == "" {
				return wrong(e, "it is pinned to %q but stands on %q", p.Resource, e.Resource)
			}
			secs := round(o.Seconds)
			switch {
			case len(o.Resource) > 0:
				found := false
				for a, id := range o.Resource {
					if id == e.Resource {
						found = true
						if o.Each != nil {
							secs = round(o.Each[a])
						}
					}
				}
				if !found {
					return wrong(e, "it cannot run on %q", e.Resource)
				}
				r := resources[e.Resource]
				if e.Unit < 0 || e.Unit >= max(1, r.Units) {
					return wrong(e, "there is no unit %d of %q", e.Unit, e.Resource)
				}
				if !r.Unlimited {
					if units[e.Resource] == nil {
						units[e.Resource] = map[int][]use{}
					}
					units[e.Resource][e.Unit] = append(units[e.Resource][e.Unit], use{e.Start, e.Free, e})
				}
				attended := o.People != "" && !o.Unattended
				ran := r.Calendar.Between(e.Begin, e.End)
				if attended {
					if o.RunningOn == "" || e.Person != "" {
						ran = people[e.Person].Calendar.Between(e.Start, e.End) - e.ChangeS
					}
				}
				if ran != secs && !(r.Batch > 1 && ran > secs) {
					return wrong(e, "it runs %d s instead of %d", ran, secs)
				}
			case o.People == "":
				if e.Free-e.Start != secs {
					return wrong(e, "it lasts %d s instead of %d", e.Free-e.Start, secs)
				}
			default:
				if o.Seconds == 0 {
					secs = round(o.PeopleSeconds)
				}
				if got := people[e.Person].Calendar.Between(e.Start, e.End); got != secs {
					return wrong(e, "the hand work takes %d s instead of %d", got, secs)
				}
			}
			skilled := func(who string) bool {
				for _, s := range people[who].Skills {
					if s == o.People {
						return true
					}
				}
				return false
			}
			if e.Person != "" {
				if !skilled(e.Person) {
					return wrong(e, "%q has not the skill %q", e.Person, o.People)
				}
				to := e.Begin
				if !o.Unattended {
					to = e.End
				}
				hands[e.Person] = append(hands[e.Person], use{e.Start, to, e})
				if o.Unattended && len(o.Resource) > 0 {
					if got := people[e.Person].Calendar.Between(e.Start, e.Begin); got != e.ChangeS+round(o.PeopleSeconds) {
						return wrong(e, "changing and loading take %d s instead of %d", got, e.ChangeS+round(o.PeopleSeconds))
					}
				}
			} else if o.People != "" && o.RunningOn == "" && resources[e.Resource].Batch <= 1 {
				return wrong(e, "nobody does it")
			}
			if e.Unloader != "" {
				if !skilled(e.Unloader) {
					return wrong(e, "%q has not the skill %q", e.Unloader, o.People)
				}
				hands[e.Unloader] = append(hands[e.Unloader], use{e.Unload, e.Free, e})
				if got := people[e.Unloader].Calendar.Between(e.Unload, e.Free); got != round(o.UnloadSeconds) {
					return wrong(e, "taking out takes %d s instead of %d", got, round(o.UnloadSeconds))
				}
			}
		}
	}
	for _, d := range w.Down {
		if d.Resource != "" {
			for _, list := range units[d.Resource] {
				for _, u := range list {
					if u.from < d.End && u.to > d.Start && u.e.Start > w.Now {
						return wrong(u.e, "%q is down then", d.Resource)
					}
				}
			}
		}
		for _, u := range hands[d.Person] {
			if u.from < d.End && u.to > d.Start && u.to > u.from {
				return wrong(u.e, "%q is away then", d.Person)
			}
		}
	}
	for who, list := range hands {
		sort.SliceStable(list, func(a, b int) bool { return list[a].from < list[b].from })
		var last use
		for _, u := range list {
			if u.to <= u.from {
				continue
			}
			if u.from < last.to {
				return wrong(u.e, "%q is busy with task %s then", who, last.e.Task)
			}
			last = u
		}
	}
	for id, byUnit := range units {
		r := resources[id]
		for _, list := range byUnit {
			sort.SliceStable(list, func(a, b int) bool {
				if list[a].from != list[b].from {
					return list[a].from < list[b].from
				}
				return list[a].e.ChangeS > list[b].e.ChangeS
			})
			loaded := r.Family
			together := 0
			for i, u := range list {
				if i > 0 && u.from < list[i-1].to {
					p := list[i-1]
					if r.Batch <= 1 || p.e.Begin != u.e.Begin || p.e.End != u.e.End || p.e.Family != u.e.Family {
						return wrong(u.e, "%q is taken by task %s then", id, p.e.Task)
					}
					if together++; together >= r.Batch {
						return wrong(u.e, "%q holds more than %d", id, r.Batch)
					}
					continue
				}
				together = 0
				needs := int64(0)
				if u.e.Family != "" && loaded != "" && u.e.Family != loaded {
					needs = int64(r.ChangeSeconds)
					for _, c := range r.Changes {
						if c.From == loaded && c.To == u.e.Family {
							needs = int64(c.Seconds)
						}
					}
				}
				if u.e.ChangeS < needs && u.e.Start > w.Now {
					return wrong(u.e, "changing %q from %s to %s takes %d s and gets %d", id, loaded, u.e.Family, needs, u.e.ChangeS)
				}
				if u.e.Family != "" {
					loaded = u.e.Family
				}
			}
		}
	}
	return nil
}
