package capacity

import "slices"

// Absence is a resource in repair or a person away, from Start to End, s since 1970.
type Absence struct {
	Resource string `json:"resource,omitempty"`
	Person   string `json:"person,omitempty"`
	Start    int64  `json:"start_s"`
	End      int64  `json:"end_s"`
}

// Without is the shop while some of it is not there: the absences are taken out of its calendars. What always runs
// gets a calendar from the instant from on, open again after the last absence. Names the shop does not know count for nothing.
func (s Shop) Without(away []Absence, from int64) Shop {
	if len(away) == 0 {
		return s
	}
	s.Resources, s.People = slices.Clone(s.Resources), slices.Clone(s.People)
	for i := range s.Resources {
		r := &s.Resources[i]
		r.Calendar = r.Calendar.without(away, func(a Absence) bool { return a.Resource == r.ID }, from)
	}
	for i := range s.People {
		p := &s.People[i]
		p.Calendar = p.Calendar.without(away, func(a Absence) bool { return a.Person == p.ID }, from)
	}
	return s
}

func (c Calendar) without(away []Absence, concerns func(Absence) bool, from int64) Calendar {
	var out []Interval
	for _, a := range away {
		if a.End > a.Start && concerns(a) {
			out = append(out, Interval{a.Start, a.End})
		}
	}
	if len(out) == 0 {
		return c
	}
	slices.SortFunc(out, func(a, b Interval) int { return int(a.Start - b.Start) })
	last := from
	for _, o := range out {
		last = max(last, o.End)
	}
	if len(c) == 0 {
		c = Calendar{{min(from, out[0].Start), last + 2*week}}
	}
	var left Calendar
	for _, iv := range c {
		t := iv.Start
		for _, o := range out {
			if o.End <= t || o.Start >= iv.End {
				continue
			}
			if o.Start > t {
				left = append(left, Interval{t, o.Start})
			}
			t = max(t, o.End)
		}
		if t < iv.End {
			left = append(left, Interval{t, iv.End})
		}
	}
	return left
}
