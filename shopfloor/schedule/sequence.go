package schedule

import "firstoff/shop/capacity"

// time gives start and end of each operation, from base, when the plan's order is carried out as early as possible.
func (in *instance) time(s *plan) (start, end []int64) {
	start, end = make([]int64, in.n), make([]int64, in.n)
	hours := make([]*capacity.Hours, in.mach)
	for m := range hours {
		hours[m] = capacity.NewHours(in.p.Machines[m].Calendar)
	}
	last := make([]int32, in.mach)
	for m := range last {
		last[m] = -1
	}
	for _, i := range s.order {
		j, m := in.job[i], s.mach[i]
		t := int64(in.release[j])
		if i > in.first[j] {
			t = end[i-1]
		}
		d := int64(in.duration(i, m))
		h := hours[m]
		if l := last[m]; l >= 0 {
			su := int64(in.setup(m, l, i))
			if h == nil {
				t = max(t, end[l]+su)
			} else if su > 0 {
				t = max(t, h.After(end[l]+in.base, su)-in.base)
			} else {
				t = max(t, end[l])
			}
		}
		if h == nil {
			start[i], end[i] = t, t+d
		} else {
			s, _ := h.Next(t + in.base)
			start[i] = s - in.base
			end[i] = h.After(s, d) - in.base
		}
		last[m] = i
	}
	return start, end
}

func (c *control) sequences() { c.take(c.in.dispatch(leastSlack, 0, newChance(1))) }
func (c *control) lines()     { c.relink() }
