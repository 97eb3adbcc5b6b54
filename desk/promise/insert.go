package promise

import (
	"math"
	"sort"

	"firstoff/shop/capacity"
)

// gap is free time of one unit of a resource, [from, to), with what was loaded before it.
type gap struct {
	from, to int64
	family   string
}

// free is one replication turned inside out: what nobody holds.
type free struct {
	units  map[string][][]gap // by resource, by unit
	people map[string][]int   // skill → indices into hands
	hands  [][]capacity.Interval
	hours  map[string]*capacity.Hours // by resource; nil: always open
}

// turn makes the free time of a tape, from the instant from to until. Whoever stayed away in that replication is not
// there for new work either.
func turn(t capacity.Tape, s capacity.Shop, hours map[string]*capacity.Hours, seed uint64, rep int, from, until int64) *free {
	f := &free{units: map[string][][]gap{}, people: map[string][]int{}, hours: hours}
	res := map[string]*capacity.Resource{}
	for i := range s.Resources {
		res[s.Resources[i].ID] = &s.Resources[i]
	}
	for _, tk := range t.Resources {
		r := res[tk.ID]
		f.units[tk.ID] = append(f.units[tk.ID], gaps(tk.Spans, r, from, until))
	}
	for i, tk := range t.People {
		p := &s.People[i]
		h := subtract(p.Calendar, tk.Spans, from, until)
		if p.AbsentProb > 0 && len(p.Calendar) > 0 {
			h = present(h, p.Calendar, func(start int64) bool { return capacity.Away(seed, rep, i, start, p.AbsentProb) })
		}
		f.hands = append(f.hands, h)
		for _, k := range s.People[i].Skills {
			f.people[k] = append(f.people[k], i)
		}
	}
	return f
}

func gaps(spans []capacity.Span, r *capacity.Resource, from, until int64) []gap {
	var out []gap
	t, family := from, r.Family
	for _, sp := range spans {
		if sp.From > t {
			out = append(out, gap{t, sp.From, family})
		}
		t = max(t, sp.To)
		if sp.Family != "" {
			family = sp.Family
		}
	}
	return append(out, gap{t, until, family})
}

// subtract is the working time of a calendar less what is taken.
func subtract(c capacity.Calendar, taken []capacity.Span, from, until int64) []capacity.Interval {
	if len(c) == 0 {
		c = capacity.Calendar{{Start: from, End: until}}
	}
	out := make([]capacity.Interval, 0, len(c)+len(taken))
	i := 0
	for _, iv := range c {
		a, b := max(iv.Start, from), min(iv.End, until)
		for i < len(taken) && taken[i].To <= a {
			i++
		}
		for k := i; k < len(taken) && taken[k].From < b && a < b; k++ {
			if taken[k].From > a {
				out = append(out, capacity.Interval{Start: a, End: taken[k].From})
			}
			a = max(a, taken[k].To)
		}
		if a < b {
			out = append(out, capacity.Interval{Start: a, End: b})
		}
	}
	return out
}

// present drops from h, pieces of the calendar's shifts, those of shifts missed. It works in place.
func present(h []capacity.Interval, c capacity.Calendar, away func(start int64) bool) []capacity.Interval {
	out := h[:0]
	k, asked, gone := 0, -1, false
	for _, iv := range h {
		for k < len(c) && c[k].End <= iv.Start {
			k++
		}
		if k < len(c) && k != asked {
			asked, gone = k, away(c[k].Start)
		}
		if !gone {
			out = append(out, iv)
		}
	}
	return out
}

// never is later than any horizon.
const never = int64(math.MaxInt64 / 4)

// whole finds the first stretch of one person's free time, at or after t, that holds need seconds in one piece. Work longer
// than any stretch is taken up in pieces instead.
func (f *free) whole(skill string, t, need int64) (start, end int64) {
	start, end = never, never
	for _, p := range f.people[skill] {
		h := f.hands[p]
		for i := sort.Search(len(h), func(i int) bool { return h[i].End > t }); i < len(h); i++ {
			s := max(h[i].Start, t)
			if s >= start {
				break
			}
			if s+need <= h[i].End {
				start, end = s, s+need
				break
			}
		}
	}
	if start == never {
		return f.pieces(skill, t, need)
	}
	return start, end
}

// pieces finds who would be done first with need seconds of work begun at or after t, broken off whenever the person is
// taken or off shift.
func (f *free) pieces(skill string, t, need int64) (start, end int64) {
	start, end = never, never
	for _, p := range f.people[skill] {
		h := f.hands[p]
		left, first := need, never
		for i := sort.Search(len(h), func(i int) bool { return h[i].End > t }); i < len(h); i++ {
			s := max(h[i].Start, t)
			if s >= end {
				break
			}
			first = min(first, s)
			if s+left <= h[i].End {
				if s+left < end {
					start, end = first, s+left
				}
				break
			}
			left -= h[i].End - s
		}
	}
	return start, end
}

// place is where an operation was put.
type place struct {
	start, end int64
	wait       capacity.Wait // why it did not start at once
}

// put finds the earliest end for op, ready at t, with duration d on resource alternative k (durations differ by alternative).
func (f *free) put(op *capacity.Op, t int64, d []int64, changeOf map[string]float64, partner map[string]capacity.Calendar) place {
	hands := int64(op.PeopleSeconds)
	if len(op.Resource) == 0 {
		if op.People == "" {
			return place{start: t, end: t + d[0]}
		}
		s, e := f.pieces(op.People, t, d[0])
		return place{s, e, capacity.Wait{Kind: capacity.ForPeople, ID: op.People, Seconds: float64(s - t)}}
	}
	best := place{start: never, end: never}
	for k, id := range op.Resource {
		if c, ok := partner[id]; ok {
			if e := c.After(t, d[k]); e < best.end {
				best = place{start: t, end: e}
			}
			continue
		}
		for _, unit := range f.units[id] {
			p := f.onUnit(op, id, unit, t, hands, d[k], int64(changeOf[id]), best.end)
			if p.end < best.end {
				best = p
			}
		}
	}
	return best
}

// onUnit tries one unit of a resource; it gives up as soon as it cannot end before limit.
func (f *free) onUnit(op *capacity.Op, id string, gs []gap, t, hands, d, change, limit int64) place {
	none := place{start: never, end: never}
	for i := sort.Search(len(gs), func(i int) bool { return gs[i].to > t }); i < len(gs); i++ {
		g := gs[i]
		s := max(g.from, t)
		h := f.hours[id]
		if h != nil {
			s, _ = h.Next(s)
		}
		if s+d >= limit {
			return none
		}
		prep := hands
		run := d
		if op.Family != "" && g.family != "" && g.family != op.Family {
			if op.People != "" && op.Unattended {
				prep += change
			} else {
				run += change
			}
		}
		why := capacity.Wait{Kind: capacity.ForResource, ID: id, Seconds: float64(s - t)}
		var begin, end int64
		switch {
		case op.People == "":
			begin, end = s, h.After(s, run)
		case op.Unattended:
			var ready int64
			begin, ready = f.whole(op.People, s, max(prep, 1))
			end = never
			if ready < never {
				end = h.After(ready, run)
			}
			if op.UnloadSeconds > 0 && begin < never {
				_, end = f.whole(op.People, end, int64(op.UnloadSeconds))
			}
		default:
			begin, end = f.pieces(op.People, s, run)
		}
		if begin-s > int64(why.Seconds) {
			why = capacity.Wait{Kind: capacity.ForPeople, ID: op.People, Seconds: float64(begin - t)}
		}
		if end <= g.to && end < never {
			return place{begin, end, why}
		}
	}
	return none
}
