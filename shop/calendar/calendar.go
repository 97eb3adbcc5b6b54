// Package calendar is working time: which hours a person, machine or bath works, which days are business days.
//
// Instants are seconds since the Unix epoch (UTC); the shop's own time zone decides what a day and a clock time are,
// so spans are built from dates and wall-clock times and stay right across clock changes (TestClockChange).
// Business-day rules are common practice (handbook 7.1): a complete request received after the cut-off
// counts as received on the next business day; day 1 is the business day after the receipt day.
package calendar

import (
	"sort"
	"time"

	"firstoff/shop"
)

// Span is a stretch of working time, [From, To) in Unix seconds.
type Span struct{ From, To int64 }

// Calendar answers questions about one shop's days.
type Calendar struct {
	loc      *time.Location
	cutOff   int // minutes after midnight
	closed   map[string]string
	shifts   map[string][7][][2]int // by id: weekday (Sunday 0) → spans in minutes
	business [7]bool
}

// Of makes the calendar of a validated catalogue. Business days are the weekdays on which anybody works.
func Of(c *shop.Catalogue) (*Calendar, error) {
	loc, err := time.LoadLocation(c.Firm.TimeZone)
	if err != nil {
		return nil, err
	}
	cal := &Calendar{loc: loc, closed: map[string]string{}, shifts: map[string][7][][2]int{}}
	if t, err := time.Parse("15:04", c.Firm.CutOff); err == nil {
		cal.cutOff = t.Hour()*60 + t.Minute()
	}
	for _, h := range c.Holidays {
		cal.closed[h.Date] = h.Name
	}
	names := map[string]int{"sun": 0, "mon": 1, "tue": 2, "wed": 3, "thu": 4, "fri": 5, "sat": 6}
	for _, s := range c.Shifts {
		var week [7][][2]int
		for d, spans := range s.Week {
			for _, sp := range spans {
				from, to, err := shop.ParseSpan(sp)
				if err != nil {
					return nil, err
				}
				week[names[d]] = append(week[names[d]], [2]int{from, to})
			}
			sort.Slice(week[names[d]], func(i, j int) bool { return week[names[d]][i][0] < week[names[d]][j][0] })
		}
		cal.shifts[s.ID] = week
	}
	for _, p := range c.People {
		for d, spans := range cal.shifts[p.Shift] {
			if len(spans) > 0 {
				cal.business[d] = true
			}
		}
	}
	return cal, nil
}

// Location is the shop's time zone.
func (c *Calendar) Location() *time.Location { return c.loc }

// Business says whether the date of t (in the shop's zone) is a business day.
func (c *Calendar) Business(t time.Time) bool {
	t = t.In(c.loc)
	_, closed := c.closed[t.Format("2006-01-02")]
	return c.business[t.Weekday()] && !closed
}

// date is midnight of t's date in the shop's zone.
func (c *Calendar) date(t time.Time) time.Time {
	t = t.In(c.loc)
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, c.loc)
}

// NextBusiness is the first business day strictly after t's date, as midnight in the shop's zone.
// It gives up after ten years (a catalogue whose every day is closed) and returns that day.
func (c *Calendar) NextBusiness(t time.Time) time.Time {
	d := c.date(t)
	for i := 0; i < 3660; i++ {
		d = c.date(d.AddDate(0, 0, 1).Add(12 * time.Hour)) // noon keeps clear of clock changes
		if c.Business(d) {
			return d
		}
	}
	return d
}

// Received is the business day on which something that arrived at t counts as received.
func (c *Calendar) Received(t time.Time) time.Time {
	l := t.In(c.loc)
	if c.Business(l) && l.Hour()*60+l.Minute() < c.cutOff {
		return c.date(l)
	}
	return c.NextBusiness(l)
}

// After is the n-th business day after the date of day (n = 0 gives the date itself).
func (c *Calendar) After(day time.Time, n int) time.Time {
	d := c.date(day)
	for ; n > 0; n-- {
		d = c.NextBusiness(d)
	}
	return d
}

// ShipDay is the promised day of something that arrived at t and takes n business days.
// Handbook L07: received Fri 14:00, cut-off 12:00, 3 days → Thu; received Fri 11:00 → Wed.
func (c *Calendar) ShipDay(t time.Time, n int) time.Time { return c.After(c.Received(t), n) }

// DaysBetween counts the business days after from's date up to and including to's date; 0 if to is not later.
func (c *Calendar) DaysBetween(from, to time.Time) int {
	n := 0
	for d, end := c.date(from), c.date(to); d.Before(end) && n < 5000; n++ {
		d = c.NextBusiness(d)
		if d.After(end) {
			break
		}
	}
	return n
}

// Spans lists the working time of a shift id ("always" for round the clock) that overlaps [from, to), merged and sorted.
func (c *Calendar) Spans(shift string, from, to int64) []Span {
	if shift == "always" {
		return []Span{{from, to}}
	}
	week := c.shifts[shift]
	var out []Span
	day := c.date(time.Unix(from, 0)).AddDate(0, 0, -1)
	for !day.After(time.Unix(to, 0)) {
		if _, closed := c.closed[day.Format("2006-01-02")]; !closed {
			for _, s := range week[day.Weekday()] {
				a := time.Date(day.Year(), day.Month(), day.Day(), 0, s[0], 0, 0, c.loc).Unix()
				b := time.Date(day.Year(), day.Month(), day.Day(), 0, s[1], 0, 0, c.loc).Unix()
				a, b = max(a, from), min(b, to)
				if a >= b {
					continue
				}
				if n := len(out); n > 0 && out[n-1].To >= a {
					out[n-1].To = max(out[n-1].To, b)
				} else {
					out = append(out, Span{a, b})
				}
			}
		}
		day = c.date(day.AddDate(0, 0, 1).Add(12 * time.Hour))
	}
	return out
}
