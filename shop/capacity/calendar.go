package capacity

import (
	"math"
	"sort"

	"firstoff/fault"
)

// Interval is a span of time, End not included, in s since 1970.
type Interval struct {
	Start int64 `json:"start_s"`
	End   int64 `json:"end_s"`
}

// Calendar is the working time of one resource or person: sorted intervals that do not overlap. A nil or empty
// calendar is always open. After its last interval a calendar repeats its last week, so that a short calendar
// never makes work end by magic or never.
type Calendar []Interval

const week = 7 * 86400

// forever is an instant no plan reaches; far from overflow when periods are added.
const forever = int64(math.MaxInt64 / 4)

// Check says whether the intervals are sorted, not empty and apart.
func (c Calendar) Check(where string) error {
	for i, iv := range c {
		if iv.End <= iv.Start {
			return fault.New(fault.Invalid, "calendar_empty_interval", where,
				"Working interval %d ends before it starts; give start and end in order.", i+1)
		}
		if i > 0 && iv.Start < c[i-1].End {
			return fault.New(fault.Invalid, "calendar_not_sorted", where,
				"Working interval %d starts before the one above it ends; sort the intervals and join overlapping ones.", i+1)
		}
	}
	return nil
}

// Next gives the first open instant at or after t and when that opening ends.
func (c Calendar) Next(t int64) (start, end int64) { return NewHours(c).Next(t) }

// After gives the instant at which work s of working time, begun at or after t, is done.
func (c Calendar) After(t, work int64) int64 { return NewHours(c).After(t, work) }

// Between counts the open seconds from a to b.
func (c Calendar) Between(a, b int64) int64 { return NewHours(c).Between(a, b) }

// Hours is a calendar prepared for fast asking. The nil *Hours is always open.
type Hours struct {
	iv     []Interval
	cum    []int64 // working seconds before iv[i]
	total  int64
	last   int64 // end of the last interval
	tail   int   // first interval of the last week
	perWk  int64 // working seconds of the last week
	joined bool  // the last week's end meets its own start
}

// NewHours prepares a calendar; openings that touch are joined.
func NewHours(c Calendar) *Hours { return prepare(c, true) }

// prepare joins intervals that touch, or keeps them apart as shifts that may be missed one by one.
func prepare(c Calendar, join bool) *Hours {
	if len(c) == 0 {
		return nil
	}
	h := &Hours{last: c[len(c)-1].End}
	cut := h.last - week
	for _, iv := range c {
		if n := len(h.iv); n > 0 && join && h.iv[n-1].End == iv.Start && iv.Start != cut {
			h.iv[n-1].End = iv.End
		} else {
			h.iv = append(h.iv, iv)
		}
		// Split at the border of the last week, so that the repeated part is whole intervals.
		if n := len(h.iv) - 1; h.iv[n].Start < cut && h.iv[n].End > cut {
			h.iv = append(h.iv, Interval{cut, h.iv[n].End})
			h.iv[n].End = cut
		}
	}
	h.cum = make([]int64, len(h.iv))
	for i, iv := range h.iv {
		h.cum[i] = h.total
		h.total += iv.End - iv.Start
	}
	h.tail = sort.Search(len(h.iv), func(i int) bool { return h.iv[i].Start >= cut })
	h.perWk = h.total - h.cum[h.tail]
	h.joined = h.iv[h.tail].Start == cut
	return h
}

// fold moves t back by whole weeks into the calendar's own span; the weeks are given back in seconds.
func (h *Hours) fold(t int64) (int64, int64) {
	if t < h.last {
		return t, 0
	}
	k := ((t-h.last)/week + 1) * week
	return t - k, k
}

// find is the first interval that ends after t; t < h.last.
func (h *Hours) find(t int64) int {
	lo, hi := 0, len(h.iv)-1
	for lo < hi {
		m := int(uint(lo+hi) >> 1)
		if h.iv[m].End > t {
			hi = m
		} else {
			lo = m + 1
		}
	}
	return lo
}

// opening is the first interval, as given, that is open at or after t.
func (h *Hours) opening(t int64) (start, end int64) {
	t, k := h.fold(t)
	i := h.find(t)
	return max(t, h.iv[i].Start) + k, h.iv[i].End + k
}

// Next gives the first open instant at or after t and when that opening ends.
func (h *Hours) Next(t int64) (start, end int64) {
	if h == nil {
		return t, forever
	}
	t, k := h.fold(t)
	i := h.find(t)
	start, end = max(t, h.iv[i].Start), h.iv[i].End
	// Openings may touch: at the border of the last week by our own split, and at the seam of its repetition.
	for {
		i++
		if i == len(h.iv) {
			if !h.joined {
				break
			}
			if h.perWk == week {
				return start + k, forever
			}
			i, k = h.tail, k+week
			start -= week
			end -= week
		}
		if h.iv[i].Start != end {
			break
		}
		end = h.iv[i].End
	}
	return start + k, end + k
}

// After gives the instant at which work s of working time, begun at or after t, is done.
func (h *Hours) After(t, work int64) int64 {
	if h == nil {
		return t + work
	}
	t, k := h.fold(t)
	i := h.find(t)
	s := max(t, h.iv[i].Start)
	if work <= 0 {
		return s + k
	}
	if s+work <= h.iv[i].End {
		return s + work + k
	}
	pos := h.cum[i] + s - h.iv[i].Start + work
	if pos > h.total {
		rem := pos - h.total
		n := (rem-1)/h.perWk + 1
		pos = h.cum[h.tail] + rem - (n-1)*h.perWk
		k += n * week
	}
	// The interval in which the pos-th working second ends.
	j := sort.Search(len(h.cum), func(j int) bool { return h.cum[j] >= pos }) - 1
	return h.iv[j].Start + pos - h.cum[j] + k
}

// Between counts the open seconds from a to b.
func (h *Hours) Between(a, b int64) int64 {
	if b <= a {
		return 0
	}
	if h == nil {
		return b - a
	}
	return h.worked(b) - h.worked(a)
}

// worked counts open seconds from the calendar's beginning to t.
func (h *Hours) worked(t int64) int64 {
	t, k := h.fold(t)
	i := h.find(t)
	w := h.cum[i]
	if t > h.iv[i].Start {
		w += t - h.iv[i].Start
	}
	return w + k/week*h.perWk
}
