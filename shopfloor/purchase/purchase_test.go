package purchase

import (
	"flag"
	"fmt"
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"

	"firstoff/fault"
)

// What is drawn is the same in every run; -rapid.seed overrides it.
func init() { _ = flag.Set("rapid.seed", "20261201") }

func bought() Purchase {
	return Purchase{ID: "P-1001", Partner: "north", NeedBy: "2031-03-12", Items: []Item{{Traveller: "T-1", Op: 1, Pieces: []string{"a", "b", "c"}}, {Traveller: "T-2", Op: 1, Pieces: []string{"d"}}}}
}

func TestTheWay(t *testing.T) {
	p := bought()
	if err := p.Plan(); err != nil {
		t.Fatal(err)
	}
	var es []Event
	say := func(e Event) State {
		t.Helper()
		e.ID, e.At = fmt.Sprintf("device-%04d", len(es)), time.Date(2031, 3, 3, 9, len(es), 0, 0, time.UTC)
		s, fresh, err := Admit(p, es, e)
		if err != nil || !fresh {
			t.Fatalf("%+v: %v", e, err)
		}
		es = append(es, e)
		if again, fresh, err := Admit(p, es, e); err != nil || fresh || !reflect.DeepEqual(again, s) {
			t.Fatalf("sent twice: %v %v", fresh, err)
		}
		return s
	}
	refused := func(e Event, want string) {
		t.Helper()
		e.ID = "device-9999"
		if _, _, err := Admit(p, es, e); err == nil || fault.Of(err).Code != want {
			t.Errorf("%+v: %v, want %s", e, err, want)
		}
	}
	refused(Event{Kind: Receive, Item: 1, Count: 1}, "purchase_state")
	say(Event{Kind: Send, Reference: "by mail"})
	if s := say(Event{Kind: Promise, Due: "2031-03-11"}); s.Word != Promised || s.Late(p, "2031-03-04") {
		t.Errorf("%+v", s)
	}
	if s := say(Event{Kind: Promise, Due: "2031-03-14", Reason: "machine down"}); s.Moved != 1 || !s.Late(p, "2031-03-04") {
		t.Errorf("%+v", s)
	}
	refused(Event{Kind: Promise, Due: "soon"}, "date_form")
	refused(Event{Kind: Receive, Item: 1, Count: 4}, "more_than_asked")
	refused(Event{Kind: Receive, Item: 3, Count: 1}, "item_unknown")
	say(Event{Kind: Receive, Item: 1, Count: 2})
	refused(Event{Kind: Check, Item: 1, Good: 3}, "more_than_came")
	refused(Event{Kind: Check, Item: 1, Scrap: 1}, "reason_missing")
	refused(Event{Kind: Cancel, Reason: "x"}, "purchase_state")
	say(Event{Kind: Check, Item: 1, Good: 1, Scrap: 1, Reason: "bent"})
	say(Event{Kind: Receive, Item: 1, Count: 1})
	say(Event{Kind: Receive, Item: 2, Count: 1})
	say(Event{Kind: Check, Item: 2, Good: 1})
	if s := say(Event{Kind: Check, Item: 1, Good: 1}); s.Word != Checked || s.Items[0] != (ItemState{3, 2, 1}) {
		t.Errorf("%+v", s)
	}
	refused(Event{Kind: Cancel, Reason: "x"}, "purchase_state")
	if err := (Purchase{Partner: "north"}).Plan(); fault.Of(err).Code != "purchase_empty" {
		t.Error(err)
	}
	p.Items[1].Pieces = []string{"a"}
	if err := p.Plan(); fault.Of(err).Code != "piece_twice" {
		t.Error(err)
	}
}

// TestRandomEvents: whatever is reported, what is admitted never judges more than came nor lets more come than was asked.
func TestRandomEvents(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := bought()
		var es []Event
		for i := range rapid.IntRange(0, 30).Draw(t, "n") {
			e := Event{ID: fmt.Sprintf("device-%04d", i), Kind: rapid.SampledFrom([]Kind{Send, Promise, Receive, Check, Cancel, Note}).Draw(t, "kind"), Item: rapid.IntRange(0, 3).Draw(t, "item"),
				Count: rapid.IntRange(0, 3).Draw(t, "count"), Good: rapid.IntRange(0, 2).Draw(t, "good"), Scrap: rapid.IntRange(0, 2).Draw(t, "scrap"), Due: "2031-03-10", Reason: "r"}
			s, fresh, err := Admit(p, es, e)
			if err != nil {
				continue
			}
			if fresh {
				es = append(es, e)
			}
			if !reflect.DeepEqual(s, Fold(p, es)) {
				t.Fatal("the fold of what is kept differs")
			}
			for k, x := range s.Items {
				if x.Good+x.Scrap > x.Came || x.Came > len(p.Items[k].Pieces) {
					t.Fatalf("%+v", s)
				}
			}
		}
	})
}
