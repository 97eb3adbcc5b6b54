package traveller

import (
	"encoding/json"
	"flag"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"firstoff/desk/offer"
	"firstoff/fault"
	"firstoff/shop"
	"firstoff/shopfloor/order"
)

var day = time.Date(2031, 3, 3, 8, 0, 0, 0, time.UTC)

// What is drawn is the same in every run; -rapid.seed overrides it.
func init() { _ = flag.Set("rapid.seed", "20261201") }

func batch(qty int) Traveller {
	l := order.Line{LineID: "L-1", Position: 2, Name: "bracket", Qty: qty, Option: offer.Option{Machine: "fdm-1", Material: "ABS", Cautions: []string{"Hot."}, Steps: []offer.Step{
		{Operation: "prepare", Name: "file work"}, {Operation: "build", Name: "build", Resource: "fdm-1"}, {Operation: "dissolve", Name: "dissolve", Resource: "bath"}, {Operation: "pack", Name: "pack"}}}}
	for n := 1; n <= qty; n++ {
		l.Pieces = append(l.Pieces, order.Piece{ID: fmt.Sprintf("O-1-2-%02d", n), State: "due"})
	}
	cat := &shop.Catalogue{Operations: []shop.Operation{{ID: "dissolve", Cautions: []string{"Face shield."}}}, Resources: []shop.Resource{{ID: "bath", Cautions: []string{"Caustic."}}}}
	t, err := Open(Opening{ID: "T-1001", Order: order.Order{ID: "O-1", ClientID: "C-1"}, Line: l, Catalogue: cat, Now: day})
	if err != nil {
		panic(err)
	}
	return t
}

// script writes events with ids and times of their own.
func script(es ...Event) []Event {
	for i := range es {
		es[i].ID, es[i].Traveller, es[i].Who = fmt.Sprintf("event-%04d", i+1), "T-1001", "P. Operator"
		if es[i].At.IsZero() {
			es[i].At = day.Add(time.Duration(i) * time.Hour)
		}
	}
	return es
}

// play admits events one by one.
func play(t *testing.T, tr Traveller, es []Event) State {
	t.Helper()
	var s State
	var err error
	for i, e := range es {
		if s, _, err = Admit(tr, es[:i], e); err != nil {
			t.Fatalf("event %d, %s: %v", i+1, e.Kind, err)
		}
	}
	return s
}

func TestOpen(t *testing.T) {
	tr := batch(3)
	if got := tr.Operations[2].Cautions; !reflect.DeepEqual(got, []string{"Face shield.", "Caustic."}) {
		t.Errorf("cautions of the bath: %v", got)
	}
	if tr.Making() != 2 || len(tr.Pieces) != 3 || tr.Pieces[2] != "O-1-2-03" || tr.Cautions[0] != "Hot." {
		t.Errorf("%+v", tr)
	}
	_, err := Open(Opening{ID: "T-1", Line: order.Line{LineID: "L-9"}})
	if f := fault.Of(err); f == nil || f.Code != "traveller_empty" {
		t.Error(err)
	}
}

func TestWholeWay(t *testing.T) {
	tr := batch(5)
	es := script(
		Event{Kind: Start, Op: 1}, Event{Kind: Finish, Op: 1, Good: 5},
		Event{Kind: UseLot, Op: 2, Lot: "M-1001"}, Event{Kind: Start, Op: 2}, Event{Kind: Pause, Op: 2, Reason: "nozzle"}, Event{Kind: Start, Op: 2},
		Event{Kind: Finish, Op: 2, Good: 3, Scrap: 2, Reason: "warped", Pieces: []string{"O-1-2-01", "O-1-2-04"}},
		Event{Kind: Remake}, Event{Kind: UseLot, Op: 2, Lot: "M-1002", Pieces: []string{"O-1-2-01.2", "O-1-2-04.2"}}, Event{Kind: Finish, Op: 2, Good: 2, Machine: "fdm-2"},
		Event{Kind: Finish, Op: 3, Good: 5}, Event{Kind: Finish, Op: 4, Good: 5},
	)
	half := play(t, tr, es[:7])
	if half.Word != InWork || half.Next != 3 || half.Scrap != 2 || half.InWork != 3 || half.Ops[1].ActiveS != 2*3600 || half.Ops[1].Word != Done || half.Ops[3].Word != Ahead {
		t.Errorf("half way: %+v", half)
	}
	s := play(t, tr, es)
	if s.Word != Done || s.Good != 5 || s.Scrap != 2 || s.Remade != 2 || s.Next != 0 {
		t.Errorf("at the end: %+v", s)
	}
	lots, hands := map[string]string{}, map[string]string{}
	for _, x := range s.Touches() {
		if x.Op == 2 {
			lots[x.Piece] += x.Lot + " "
			hands[x.Piece] = x.Machine + " " + x.Who
		}
	}
	// The first lot was given for the whole operation, so it may be in the pieces made again as well.
	if lots["O-1-2-02"] != "M-1001 " || lots["O-1-2-01.2"] != "M-1001 M-1002 " || hands["O-1-2-01.2"] != "fdm-2 P. Operator" || hands["O-1-2-02"] != "fdm-1 P. Operator" {
		t.Errorf("touches: %v %v", lots, hands)
	}
}

// A lot in a machine that still runs is in its parts.
func TestLotInTheMachine(t *testing.T) {
	s := play(t, batch(2), script(Event{Kind: Finish, Op: 1, Good: 2}, Event{Kind: Start, Op: 2}, Event{Kind: UseLot, Op: 2, Lot: "M-7"}))
	n := 0
	for _, x := range s.Touches() {
		if x.Lot == "M-7" && x.Machine == "fdm-1" {
			n++
		}
	}
	if n != 2 {
		t.Errorf("%d pieces hold the lot, want 2", n)
	}
}

// Of which pieces are known by name, those are taken.
func TestNamedPieces(t *testing.T) {
	s := play(t, batch(4), script(Event{Kind: Finish, Op: 1, Good: 2, Scrap: 1, Reason: "r", Goods: []string{"O-1-2-04", "O-1-2-02"}}))
	if s.Pieces[0].At != 1 || s.Pieces[0].Scrap || s.Pieces[1].At != 2 || !s.Pieces[2].Scrap || s.Pieces[3].At != 2 {
		t.Errorf("%+v", s.Pieces)
	}
}

func TestShort(t *testing.T) {
	s := play(t, batch(1), script(Event{Kind: Finish, Op: 1, Scrap: 1, Reason: "wrong file"}))
	if s.Word != Short || s.Next != 0 {
		t.Errorf("%+v", s)
	}
}

func TestRefused(t *testing.T) {
	tr := batch(2)
	before := script(Event{Kind: Start, Op: 1}, Event{Kind: Finish, Op: 1, Good: 2}, Event{Kind: Start, Op: 2})
	for _, c := range []struct {
		code string
		e    Event
	}{
		{"event_id", Event{ID: "x"}},
		{"event_id", Event{ID: "with space ok"}},
		{"event_kind", Event{Kind: "dance"}},
		{"reason_missing", Event{Kind: Pause, Op: 2}},
		{"reason_missing", Event{Kind: Finish, Op: 2, Scrap: 1}},
		{"event_quantity", Event{Kind: Finish, Op: 2}},
		{"event_quantity", Event{Kind: Finish, Op: 2, Good: -1, Scrap: 2, Reason: "r"}},
		{"event_quantity", Event{Kind: Finish, Op: 2, Scrap: 1, Reason: "r", Pieces: []string{"a", "b"}}},
		{"event_quantity", Event{Kind: Finish, Op: 2, Good: 1, Goods: []string{"a", "b"}}},
		{"piece_elsewhere", Event{Kind: Finish, Op: 2, Good: 1, Scrap: 1, Reason: "r", Pieces: []string{"O-1-2-01"}, Goods: []string{"O-1-2-01"}}},
		{"note_missing", Event{Kind: Note}},
		{"lot_missing", Event{Kind: UseLot, Op: 2}},
		{"piece_unknown", Event{Kind: UseLot, Op: 2, Lot: "M-1", Pieces: []string{"O-9"}}},
		{"operation_unknown", Event{Kind: Start, Op: 5}},
		{"nothing_waiting", Event{Kind: Start, Op: 1}},
		{"running_already", Event{Kind: Start, Op: 2}},
		{"not_running", Event{Kind: Pause, Op: 3, Reason: "r"}},
		{"more_than_waiting", Event{Kind: Finish, Op: 2, Good: 3}},
		{"more_than_waiting", Event{Kind: Finish, Op: 3, Good: 1}},
		{"piece_elsewhere", Event{Kind: Finish, Op: 2, Scrap: 1, Reason: "r", Pieces: []string{"O-1-2-09"}}},
		{"nothing_to_remake", Event{Kind: Remake}},
		{"nothing_to_remake", Event{Kind: Remake, Pieces: []string{"O-1-2-01"}}},
		{"event_unknown", Event{Kind: Correct, Voids: "event-9999", Reason: "r"}},
		{"work_stands_on_it", Event{Kind: Correct, Voids: "event-0002", Reason: "r"}},
		{"event_id_reused", Event{ID: "event-0001", Kind: Start, Op: 2}},
		{"text_too_long", Event{Kind: Note, Note: strings.Repeat("x", 3000)}},
	} {
		if c.e.ID == "" {
			c.e.ID = "event-new1"
		}
		if c.e.Kind == "" {
			c.e.Kind = Start
		}
		c.e.Traveller = "T-1001"
		_, fresh, err := Admit(tr, before, c.e)
		if f := fault.Of(err); err == nil || f.Code != c.code || fresh {
			t.Errorf("%+v: want %s, got %v", c.e, c.code, err)
		}
	}
}

// Leaving out the mistake and correcting it come to the same.
func TestCorrection(t *testing.T) {
	tr := batch(6)
	right := script(Event{Kind: Finish, Op: 1, Good: 6}, Event{Kind: Start, Op: 2}, Event{Kind: Finish, Op: 2, Good: 5, Scrap: 1, Reason: "warped"})
	wrong := append(append([]Event{}, right[:2]...),
		Event{ID: "mistake-1", Traveller: "T-1001", Kind: Finish, Op: 2, Good: 6, At: right[2].At},
		Event{ID: "mending-1", Traveller: "T-1001", Kind: Correct, Voids: "mistake-1", Reason: "counted wrong", At: right[2].At}, right[2])
	a, b := play(t, tr, right), play(t, tr, wrong)
	if !reflect.DeepEqual(b.Void, []string{"mistake-1"}) {
		t.Errorf("void: %v", b.Void)
	}
	b.Void = nil
	if !reflect.DeepEqual(a, b) {
		t.Errorf("\n%+v\n%+v", a, b)
	}
	_, _, err := Admit(tr, wrong, Event{ID: "mending-2", Traveller: "T-1001", Kind: Correct, Voids: "mistake-1", Reason: "again"})
	if f := fault.Of(err); f == nil || f.Code != "void_already" {
		t.Error(err)
	}
}

// anEvent draws an event that may or may not make sense.
func anEvent(r *rapid.T, tr Traveller, n int, before []Event) Event {
	e := Event{ID: fmt.Sprintf("drawn-%06d", n), Traveller: tr.ID, Op: rapid.IntRange(1, len(tr.Operations)).Draw(r, "op"), At: day.Add(time.Duration(rapid.IntRange(0, 100000).Draw(r, "s")) * time.Second), Who: "P"}
	e.Kind = rapid.SampledFrom([]Kind{Start, Pause, Finish, Finish, Finish, UseLot, Remake, Correct, Note}).Draw(r, "kind")
	switch e.Kind {
	case Finish:
		e.Good, e.Scrap, e.Reason = rapid.IntRange(0, 6).Draw(r, "good"), rapid.IntRange(0, 2).Draw(r, "scrap"), "r"
	case Pause:
		e.Reason = "r"
	case UseLot:
		e.Lot = rapid.SampledFrom([]string{"M-1", "M-2"}).Draw(r, "lot")
	case Note:
		e.Note = "n"
	case Remake:
		e.Op = 0
	case Correct:
		e.Reason = "r"
		if len(before) > 0 {
			e.Voids = rapid.SampledFrom(before).Draw(r, "voids").ID
		}
	}
	return e
}

func conserved(s State, due int) bool {
	lying := 0
	for _, o := range s.Ops {
		lying += o.Waiting
	}
	return due+s.Remade == s.Good+s.Scrap+s.InWork && lying == s.InWork && s.Remade <= s.Scrap && s.Good <= due && len(s.Pieces) == due+s.Remade
}

func TestPiecesAreConserved(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		tr := batch(rapid.IntRange(1, 8).Draw(r, "qty"))
		var es []Event
		for n := range rapid.IntRange(0, 40).Draw(r, "events") {
			es = append(es, anEvent(r, tr, n, es)) // whether it fits or not
			if s := Fold(tr, es); !conserved(s, len(tr.Pieces)) {
				r.Fatalf("%+v", s)
			}
		}
	})
}

func TestAdmittedIsFolded(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		tr := batch(rapid.IntRange(1, 8).Draw(r, "qty"))
		var es []Event
		for n := range rapid.IntRange(0, 60).Draw(r, "events") {
			e := anEvent(r, tr, n, es)
			s, fresh, err := Admit(tr, es, e)
			if err != nil {
				continue
			}
			if !fresh || len(s.Misfits) > 0 || !conserved(s, len(tr.Pieces)) {
				r.Fatalf("%+v", s)
			}
			es = append(es, e)
		}
		// Every piece that is through went through each operation from where it was made.
		s := Fold(tr, es)
		for _, p := range s.Pieces {
			if p.At > len(tr.Operations) && len(p.passes) < len(tr.Operations)-tr.Making()+1 {
				r.Fatalf("%s is through after %d operations", p.ID, len(p.passes))
			}
		}
	})
}

// A phone sends what it kept as often as it likes and in any later place: nothing is counted twice.
func TestSentTwice(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		tr := batch(rapid.IntRange(1, 6).Draw(r, "qty"))
		var es []Event
		for n := range rapid.IntRange(1, 30).Draw(r, "events") {
			if e := anEvent(r, tr, n, es); true {
				if _, _, err := Admit(tr, es, e); err == nil {
					es = append(es, e)
				}
			}
		}
		again := append([]Event{}, es...)
		for range rapid.IntRange(1, 20).Draw(r, "twice") {
			if len(es) == 0 {
				break
			}
			k := rapid.IntRange(0, len(es)-1).Draw(r, "which")
			// anywhere after its first arrival
			first := 0
			for again[first].ID != es[k].ID {
				first++
			}
			at := rapid.IntRange(first+1, len(again)).Draw(r, "at")
			again = append(again[:at], append([]Event{es[k]}, again[at:]...)...)
		}
		if a, b := Fold(tr, es), Fold(tr, again); !reflect.DeepEqual(a, b) {
			r.Fatalf("\n%+v\n%+v", a, b)
		}
		for _, e := range es {
			if _, fresh, err := Admit(tr, es, e); fresh || err != nil {
				r.Fatalf("sent again: fresh %v, %v", fresh, err)
			}
		}
	})
}

// Whatever a device sends as an event is refused in a sentence or taken; it never breaks the fold.
func FuzzAdmit(f *testing.F) {
	f.Add(`{"id":"event-0001","kind":"finish","op":1,"good":2}`)
	f.Add(`{"id":"event-0001","kind":"finish","op":-1,"good":2,"scrap":1,"pieces":["O-1-2-01"],"reason":"r"}`)
	f.Add(`{"id":"event-0001","kind":"remake","op":99,"pieces":["",""]}`)
	f.Fuzz(func(t *testing.T, text string) {
		var e Event
		if json.Unmarshal([]byte(text), &e) != nil {
			return
		}
		tr := batch(3)
		s, fresh, err := Admit(tr, script(Event{Kind: Finish, Op: 1, Good: 1, Scrap: 1, Reason: "r"}), e)
		if err != nil {
			if fault.Of(err).Kind == fault.Internal || fresh {
				t.Fatal(err)
			}
			return
		}
		if !conserved(s, 3) {
			t.Fatalf("%+v", s)
		}
		s.Touches()
	})
}

// A bad lot shows itself late: good pieces become scrap, are made again, and one that nobody wants any more is withdrawn.
func TestRejectAndWithdraw(t *testing.T) {
	tr := Traveller{ID: "T-1", Operations: []Operation{{No: 1, Code: "build"}, {No: 2, Code: "pack"}}, Pieces: []string{"a", "b", "c"}}
	var es []Event
	say := func(e Event) State {
		t.Helper()
		e.ID, e.Traveller, e.Who = fmt.Sprintf("device-%03d", len(es)), "T-1", "P"
		s, fresh, err := Admit(tr, es, e)
		if err != nil || !fresh {
			t.Fatalf("%+v: %v", e, err)
		}
		es = append(es, e)
		return s
	}
	refused := func(e Event, want string) {
		t.Helper()
		e.ID, e.Traveller = "device-999", "T-1"
		if _, _, err := Admit(tr, es, e); err == nil || fault.Of(err).Code != want {
			t.Errorf("%+v: %v, want %s", e, err, want)
		}
	}
	say(Event{Op: 1, Kind: Finish, Good: 3})
	say(Event{Op: 2, Kind: Finish, Good: 2})
	refused(Event{Kind: Reject, Pieces: []string{"a"}}, "reason_missing")
	refused(Event{Kind: Reject, Pieces: []string{"z"}, Reason: "x"}, "piece_unknown")
	s := say(Event{Kind: Reject, Pieces: []string{"a", "c"}, Reason: "bad lot"})
	if s.Good != 1 || s.Scrap != 2 || s.Word != Short || s.Pieces[0].Reason != "bad lot" || s.Ops[1].Waiting != 0 {
		t.Fatalf("%+v", s)
	}
	refused(Event{Kind: Reject, Pieces: []string{"a"}, Reason: "again"}, "scrap_already")
	s = say(Event{Kind: Remake})
	if s.InWork != 2 || s.Ops[0].Waiting != 2 {
		t.Fatalf("%+v", s)
	}
	s = say(Event{Kind: Withdraw, Pieces: []string{"c"}, Reason: "two will do"}) // its second attempt
	if s.InWork != 1 || s.Away != 1 || s.Pieces[4].ID != "c.2" || !s.Pieces[4].Away {
		t.Fatalf("%+v", s)
	}
	refused(Event{Kind: Withdraw, Pieces: []string{"c"}, Reason: "x"}, "withdrawn_already")
	say(Event{Op: 1, Kind: Finish, Good: 1})
	if s = say(Event{Op: 2, Kind: Finish, Good: 1}); s.Word != Done || s.Good != 2 {
		t.Fatalf("%+v", s)
	}
}

// A quantity that needs full builds and a part one is still built once.
func TestSeveralBuildsAreOneOperation(t *testing.T) {
	l := order.Line{LineID: "L-1", Position: 1, Pieces: []order.Piece{{ID: "O-1-1-01"}}, Option: offer.Option{Machine: "heron", Steps: []offer.Step{
		{Operation: "prepare"}, {Operation: "build", Resource: "heron", HandsS: 60, ElapsedS: 7200}, {Operation: "build", Resource: "heron", HandsS: 60, ElapsedS: 3600}, {Operation: "pack"}}}}
	tr, err := Open(Opening{ID: "T-1", Order: order.Order{ID: "O-1"}, Line: l})
	if err != nil || len(tr.Operations) != 3 || tr.Operations[1].ElapsedS != 10800 || tr.Operations[1].HandsS != 120 || tr.Operations[2].No != 3 {
		t.Fatalf("%v %+v", err, tr.Operations)
	}
}
