package schedule

import (
	"fmt"
	"math"
	"sort"

	"firstoff/fault"
	"firstoff/shop/capacity"
)

// Verify checks a solution against its problem from the contract alone: it shares no code with the solver but
// the types. A nil error means that every operation is done once, on one of its machines, for its duration, after its job
// is released and its predecessor done, that no machine does two things at once or skips a setup or works outside its
// calendar, and that the figures are what the placements give and not below the bound.
func Verify(p *Problem, s *Solution) error {
	wrong := func(format string, args ...any) error {
		return fault.New(fault.Internal, "plan_wrong", "", "The plan is not valid: "+format+".", args...)
	}
	type where struct{ job, index int }
	jobs := map[string]int{}
	for i, j := range p.Jobs {
		jobs[j.ID] = i
	}
	calendars := map[string]capacity.Calendar{}
	for _, m := range p.Machines {
		calendars[m.ID] = m.Calendar
	}
	placed := map[where]Placed{}
	perMachine := map[string][]Placed{}
	for _, o := range s.Operations {
		j, ok := jobs[o.Job]
		if !ok || o.Index < 0 || o.Index >= len(p.Jobs[j].Operations) {
			return wrong("operation %d of job %q does not exist", o.Index, o.Job)
		}
		at := where{j, o.Index}
		if _, twice := placed[at]; twice {
			return wrong("operation %d of job %q is done twice", o.Index, o.Job)
		}
		placed[at] = o
		perMachine[o.Machine] = append(perMachine[o.Machine], o)
		duration := int64(-1)
		for _, a := range p.Jobs[j].Operations[o.Index].Alternatives {
			if a.Machine == o.Machine {
				duration = a.DurationS
			}
		}
		if duration < 0 {
			return wrong("operation %d of job %q is on %q, which is none of its machines", o.Index, o.Job, o.Machine)
		}
		if c := calendars[o.Machine]; len(c) == 0 {
			if o.EndS-o.StartS != duration {
				return wrong("operation %d of job %q takes %d s instead of %d", o.Index, o.Job, o.EndS-o.StartS, duration)
			}
		} else if open := openSeconds(c, o.StartS, o.EndS); open != duration {
			return wrong("operation %d of job %q has %d s of working time instead of %d", o.Index, o.Job, open, duration)
		}
	}
	last, late := int64(math.MinInt64), 0.0
	for ji, j := range p.Jobs {
		ready := j.ReleaseS
		for k := range j.Operations {
			o, ok := placed[where{ji, k}]
			if !ok {
				return wrong("operation %d of job %q is missing", k, j.ID)
			}
			if o.StartS < ready {
				return wrong("operation %d of job %q starts at %d, before %d", k, j.ID, o.StartS, ready)
			}
			ready = o.EndS
		}
		last = max(last, ready)
		if j.DueS != nil && ready > *j.DueS {
			w := 1.0
			if j.Weight != nil {
				w = *j.Weight
			}
			late += w * float64(ready-*j.DueS)
		}
	}
	tables := map[string]map[[2]string]int64{}
	for _, t := range p.Setups {
		m := map[[2]string]int64{}
		for a, before := range t.Families {
			for b, after := range t.Families {
				m[[2]string{before, after}] = t.MatrixS[a][b]
			}
		}
		tables[t.Machine] = m
	}
	for machine, list := range perMachine {
		sort.SliceStable(list, func(a, b int) bool {
			if list[a].StartS != list[b].StartS {
				return list[a].StartS < list[b].StartS
			}
			return list[a].EndS < list[b].EndS
		})
		family := func(o Placed) string { return p.Jobs[jobs[o.Job]].Operations[o.Index].Family }
		gap := func(a, b Placed) (has, needs int64) {
			has = b.StartS - a.EndS
			if c := calendars[machine]; len(c) > 0 && has > 0 {
				has = openSeconds(c, a.EndS, b.StartS)
			}
			return has, tables[machine][[2]string{family(a), family(b)}]
		}
		orderInstants(list, func(a, b Placed) bool { has, needs := gap(a, b); return has >= needs })
		for i := 1; i < len(list); i++ {
			a, b := list[i-1], list[i]
			if has, needs := gap(a, b); has < needs {
				return wrong("on %q operation %d of job %q starts %d s after operation %d of job %q, which needs %d", machine, b.Index, b.Job, has, a.Index, a.Job, needs)
			}
		}
	}
	if s.MakespanS != last {
		return wrong("makespan is %d, not %d", last, s.MakespanS)
	}
	value := float64(last)
	if p.Objective == WeightedTardiness {
		value = late
	}
	if math.Abs(value-s.Objective) > 1e-6*math.Max(1, math.Abs(value)) {
		return wrong("objective is %v, not %v", value, s.Objective)
	}
	if s.LowerBound > value+1e-6*math.Max(1, math.Abs(value)) {
		return wrong("lower bound %v is above the objective %v", s.LowerBound, value)
	}
	return nil
}

// orderInstants puts operations that take no time and stand at one instant into an order in which each may follow the
// one before, where there is one: their times alone do not tell. Up to eight at an instant are tried in every order.
func orderInstants(list []Placed, follows func(a, b Placed) bool) {
	for i := 0; i < len(list); {
		k := i + 1
		for k < len(list) && list[k].StartS == list[i].StartS && list[k-1].EndS == list[k-1].StartS {
			k++
		}
		if n := k - i; n > 1 && n <= 9 {
			group := append([]Placed(nil), list[i:k]...)
			var try func(at int) bool
			try = func(at int) bool {
				if at == n {
					return true
				}
				for x := at; x < n; x++ {
					if group[x].EndS > group[x].StartS && at < n-1 {
						continue // what takes time comes last
					}
					group[at], group[x] = group[x], group[at]
					before := i > 0 || at > 0
					if !before || at == 0 && follows(list[i-1], group[0]) || at > 0 && follows(group[at-1], group[at]) {
						if try(at + 1) {
							return true
						}
					}
					group[at], group[x] = group[x], group[at]
				}
				return false
			}
			if try(0) {
				copy(list[i:k], group)
			}
		}
		i = k
	}
}

// openSeconds counts working seconds from a to b by walking the intervals, the last week repeated after their end.
func openSeconds(c capacity.Calendar, a, b int64) int64 {
	const week = 7 * 86400
	sum, end := int64(0), c[len(c)-1].End
	add := func(from, to int64) {
		from, to = max(from, a), min(to, b)
		if to > from {
			sum += to - from
		}
	}
	for _, iv := range c {
		add(iv.Start, iv.End)
	}
	first := int64(1)
	if a > end {
		first = max(1, (a-end)/week)
	}
	for k := first; end+(k-1)*week < b; k++ {
		for _, iv := range c {
			if iv.End > end-week {
				add(max(iv.Start, end-week)+k*week, iv.End+k*week)
			}
		}
	}
	return sum
}

// String is one line about a solution for logs and tests.
func (s *Solution) String() string {
	return fmt.Sprintf("objective %g, bound %g, makespan %d s, %d operations, %d rounds", s.Objective, s.LowerBound, s.MakespanS, len(s.Operations), s.Rounds)
}
