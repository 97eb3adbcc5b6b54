package trail

import (
	"testing"
	"time"
)

func chain(n int) []Event {
	var out []Event
	prev := First
	for i := range n {
		e := Event{At: time.Date(2031, 3, 3, 9, i, 0, 999, time.UTC), Who: "estimator", What: "line.quantity", About: "L-1001", In: "R-1001", Was: "1", Is: "2", Why: "phone"}.Seal(int64(i+1), prev)
		prev = e.Hash
		out = append(out, e)
	}
	return out
}

func check(events []Event, seq int64) error {
	var c Check
	for _, e := range events {
		if err := c.Next(e); err != nil {
			return err
		}
	}
	last := First
	if len(events) > 0 {
		last = events[len(events)-1].Hash
	}
	return c.End(seq, last)
}

// TestOneFlippedByte: any change of any field, any loss, swap or insertion is found.
func TestOneFlippedByte(t *testing.T) {
	if err := check(chain(4), 4); err != nil {
		t.Fatal(err)
	}
	if err := check(nil, 0); err != nil {
		t.Fatal(err)
	}
	for name, harm := range map[string]func(e []Event) []Event{
		"at":       func(e []Event) []Event { e[1].At = e[1].At.Add(time.Microsecond); return e },
		"who":      func(e []Event) []Event { e[1].Who = "Estimator"; return e },
		"what":     func(e []Event) []Event { e[1].What += " "; return e },
		"about":    func(e []Event) []Event { e[1].About = "L-1002"; return e },
		"in":       func(e []Event) []Event { e[1].In = ""; return e },
		"was":      func(e []Event) []Event { e[1].Was = "0"; return e },
		"is":       func(e []Event) []Event { e[1].Is = "3"; return e },
		"why":      func(e []Event) []Event { e[1].Why = "mail"; return e },
		"moved":    func(e []Event) []Event { e[1].Was, e[1].Is = "", "12"; return e }, // same bytes, other fields
		"prev":     func(e []Event) []Event { e[1].Prev = First; return e },
		"hash":     func(e []Event) []Event { e[1].Hash = e[0].Hash; return e },
		"resealed": func(e []Event) []Event { e[1].Is = "3"; e[1] = e[1].Seal(2, e[0].Hash); return e },
		"lost":     func(e []Event) []Event { return append(e[:1], e[2:]...) },
		"end lost": func(e []Event) []Event { return e[:3] },
		"swapped":  func(e []Event) []Event { e[1], e[2] = e[2], e[1]; return e },
		"twice":    func(e []Event) []Event { return append(e[:2], e[1:]...) },
	} {
		if check(harm(chain(4)), 4) == nil {
			t.Errorf("%s: not found", name)
		}
	}
}
