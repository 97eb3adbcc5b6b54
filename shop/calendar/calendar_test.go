package calendar

import (
	"testing"
	"time"

	"firstoff/shop"
)

func test(t *testing.T, zone string) *Calendar {
	t.Helper()
	c := &shop.Catalogue{
		Firm:     shop.Firm{TimeZone: zone, CutOff: "12:00"},
		Shifts:   []shop.Shift{{ID: "day", Week: map[string][]string{"mon": {"07:00-12:00", "12:30-16:00"}, "tue": {"07:00-16:00"}, "wed": {"07:00-16:00"}, "thu": {"07:00-16:00"}, "fri": {"07:00-14:00"}}}, {ID: "sunday", Week: map[string][]string{"sun": {"00:00-06:00"}}}},
		People:   []shop.Person{{ID: "a", Shift: "day"}},
		Holidays: []shop.Holiday{{Date: "2026-12-25", Name: "closed"}},
	}
	cal, err := Of(c)
	if err != nil {
		t.Fatal(err)
	}
	return cal
}

// Handbook L07 (common practice): docs/handbook/tables/worked_examples.csv.
func TestReceiptAndCounting(t *testing.T) {
	c := test(t, "Europe/Vienna")
	at := func(s string) time.Time {
		v, err := time.ParseInLocation("2006-01-02 15:04", s, c.Location())
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	for _, x := range []struct {
		received string
		n        int
		want     string
	}{
		{"2026-12-04 14:00", 3, "Thu 10 Dec"}, // Friday after the cut-off
		{"2026-12-04 11:00", 3, "Wed 09 Dec"}, // Friday before it
		{"2026-12-05 09:00", 1, "Tue 08 Dec"}, // Saturday counts as Monday
		{"2026-12-24 11:00", 1, "Mon 28 Dec"}, // over a holiday and a weekend
		{"2026-12-24 12:00", 1, "Tue 29 Dec"}, // at the cut-off is after it
	} {
		if got := c.ShipDay(at(x.received), x.n).Format("Mon 02 Jan"); got != x.want {
			t.Errorf("received %s, %d days: %s, want %s", x.received, x.n, got, x.want)
		}
	}
	if n := c.DaysBetween(at("2026-12-04 14:00"), at("2026-12-10 00:00")); n != 4 {
		t.Errorf("business days from Fri to Thu = %d, want 4", n)
	}
}

// The last Sunday of March has 23 hours in Vienna: 00:00-06:00 on the wall is five hours of work.
func TestClockChange(t *testing.T) {
	c := test(t, "Europe/Vienna")
	from := time.Date(2026, 3, 28, 0, 0, 0, 0, c.Location()).Unix()
	sp := c.Spans("sunday", from, from+3*86400)
	if len(sp) != 1 || sp[0].To-sp[0].From != 5*3600 {
		t.Fatalf("spans over the clock change: %v", sp)
	}
	var total int64
	for _, s := range c.Spans("day", time.Date(2026, 3, 30, 0, 0, 0, 0, c.Location()).Unix(), time.Date(2026, 4, 6, 0, 0, 0, 0, c.Location()).Unix()) {
		total += s.To - s.From
	}
	if want := int64(3600 * (8.5 + 9*3 + 7)); total != want {
		t.Fatalf("a week has %d s of work, want %d", total, want)
	}
}

func TestSpansClip(t *testing.T) {
	c := test(t, "UTC")
	mon := time.Date(2026, 12, 7, 0, 0, 0, 0, time.UTC).Unix()
	got := c.Spans("day", mon+8*3600, mon+13*3600)
	want := []Span{{mon + 8*3600, mon + 12*3600}, {mon + 12*3600 + 1800, mon + 13*3600}}
	if len(got) != 2 || got[0] != want[0] || got[1] != want[1] {
		t.Fatalf("got %v, want %v", got, want)
	}
	if got := c.Spans("always", 5, 10); len(got) != 1 || got[0] != (Span{5, 10}) {
		t.Fatalf("always: %v", got)
	}
}
