package schedule

import (
	"math"
	"sort"

	"firstoff/shop/capacity"
)

// span is a stretch for which a unit or a person is taken. tag is the family loaded in it (units), or −1.
type span struct {
	from, to int64
	tag      int32
	change   int64 // changeover at its beginning
	op       int32 // whose it is; −1: not available
}

// timeline is what one unit or person is taken for, in order of time.
type timeline struct {
	hours *capacity.Hours
	busy  []span
}

// after is the index of the first span that ends after t.
func (l *timeline) after(t int64) int {
	b := l.busy
	// Most questions are about the end.
	if n := len(b); n == 0 || b[n-1].to <= t {
		return n
	}
	return sort.Search(len(b), func(i int) bool { return b[i].to > t })
}

func (l *timeline) add(s span) {
	i := sort.Search(len(l.busy), func(i int) bool { return l.busy[i].from > s.from || l.busy[i].from == s.from && l.busy[i].to >= s.to })
	l.busy = append(l.busy, span{})
	copy(l.busy[i+1:], l.busy[i:])
	l.busy[i] = s
}

func (l *timeline) drop(op int32) {
	for i := 0; i < len(l.busy); {
		if l.busy[i].op == op {
			l.busy = append(l.busy[:i], l.busy[i+1:]...)
			continue
		}
		i++
	}
}

const never = int64(math.MaxInt64 / 8)

// work is the earliest stretch from t on in which a person can do d seconds of work in one go: not broken by other
// work, and, when whole is set and some shift is long enough, not by the end of a shift.
func (l *timeline) work(t, d int64, whole bool) (from, to int64) {
	k := l.after(t)
	for range 100_000 {
		if k < len(l.busy) && l.busy[k].from <= t {
			t = l.busy[k].to
			k++
			continue
		}
		start, end := l.hours.Next(t)
		if start >= never {
			return never, never
		}
		if k < len(l.busy) && l.busy[k].from <= start && d > 0 {
			t = l.busy[k].to
			k++
			continue
		}
		stop := start + d
		if stop > end {
			if whole && l.fits(end, d) {
				t = end
				for k < len(l.busy) && l.busy[k].to <= t {
					k++
				}
				continue
			}
			stop = l.hours.After(start, d)
		}
		if k < len(l.busy) && l.busy[k].from < stop {
			t = l.busy[k].to
			k++
			continue
		}
		return start, stop
	}
	return never, never
}

// fits says whether the next opening after t is at least d long: then it is worth waiting for.
func (l *timeline) fits(t, d int64) bool {
	start, end := l.hours.Next(t)
	return end-start >= d
}
