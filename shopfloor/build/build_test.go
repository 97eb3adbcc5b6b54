package build

import (
	"flag"
	"fmt"
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"firstoff/fault"
	"firstoff/shop"
)

var day = time.Date(2031, 3, 3, 8, 0, 0, 0, time.UTC)

// What is drawn is the same in every run; -rapid.seed overrides it.
func init() { _ = flag.Set("rapid.seed", "20261201") }

func tray() Build {
	cat := &shop.Catalogue{
		Processes: []shop.Process{{Code: "MEX", Cautions: []string{"Hot.", "Fumes."}}},
		Materials: []shop.Material{{ID: "ABS", Name: "ABS natural", DryingH: 4}},
		Machines:  []shop.Machine{{ID: "m-1", Process: "MEX", MEX: &shop.MEX{}}},
	}
	return Build{ID: "B-1001", Machine: "m-1", Material: "ABS", Checks: CheckList(cat, "m-1", "ABS"),
		Slots: []Slot{{Traveller: "T-1", Op: 2, Pieces: []string{"a", "b", "c"}}, {Traveller: "T-2", Op: 2, Pieces: []string{"d"}}}}
}

func ticks(b Build) (out []string) {
	for _, c := range b.Checks {
		out = append(out, c.Code)
	}
	return
}

func code(t *testing.T, err error, want string) {
	t.Helper()
	if f := fault.Of(err); err == nil || f.Code != want {
		t.Errorf("want %s, got %v", want, err)
	}
}

func TestCheckList(t *testing.T) {
	b := tray()
	if got := ticks(b); !reflect.DeepEqual(got, []string{"platform", "file", "material", "dry", "tips", "caution", "caution-2"}) {
		t.Errorf("the list is %v", got)
	}
	for i := range b.Checks {
		some := slices.Delete(ticks(b), i, i+1)
		_, _, err := Admit(b, nil, Event{ID: "event-0001", Build: b.ID, Kind: Start, Ticked: some})
		code(t, err, "checklist_open")
	}
	s, fresh, err := Admit(b, nil, Event{ID: "event-0001", Build: b.ID, Kind: Start, Ticked: ticks(b), At: day})
	if err != nil || !fresh || s.Word != Running {
		t.Errorf("%v %+v", err, s)
	}
	code(t, Build{ID: "B-1", Machine: "m-1"}.Plan(), "build_empty")
	b.Slots[1].Pieces = []string{"a"}
	code(t, b.Plan(), "build_twice")
}

func TestFailed(t *testing.T) {
	b := tray()
	es := []Event{
		{ID: "event-0001", Build: b.ID, Kind: Start, Ticked: ticks(b), At: day},
		{ID: "event-0002", Build: b.ID, Kind: Pause, Reason: "spool", At: day.Add(time.Hour)},
		{ID: "event-0003", Build: b.ID, Kind: Resume, At: day.Add(2 * time.Hour)},
		{ID: "event-0004", Build: b.ID, Kind: Lot, Lot: "M-1001"},
		{ID: "event-0005", Build: b.ID, Kind: Fail, Reason: "shifted layer", Lost: []string{"d", "b"}, At: day.Add(4 * time.Hour)},
	}
	for i, e := range es {
		if _, _, err := Admit(b, es[:i], e); err != nil {
			t.Fatal(err)
		}
	}
	s := Fold(b, es)
	if s.Word != Failed || s.ActiveS != 3*3600 || !reflect.DeepEqual(s.Lost, []string{"b", "d"}) || !reflect.DeepEqual(s.Whole, []string{"a", "c"}) || s.Lots[0] != "M-1001" {
		t.Errorf("%+v", s)
	}
	all := Fold(b, append(es[:4:4], Event{ID: "event-0005", Kind: Fail, Reason: "power"}))
	if len(all.Lost) != 4 || all.Whole != nil {
		t.Errorf("%+v", all)
	}
	_, _, err := Admit(b, es, Event{ID: "event-0006", Kind: Finish})
	code(t, err, "build_state")
	_, _, err = Admit(b, es[:3], Event{ID: "event-0006", Kind: Fail, Reason: "r", Lost: []string{"z"}})
	code(t, err, "piece_elsewhere")
	_, _, err = Admit(b, es[:3], Event{ID: "event-0006", Kind: Fail})
	code(t, err, "reason_missing")
	_, _, err = Admit(b, es, Event{ID: "event-0001", Build: b.ID, Kind: Pause, Reason: "r"})
	code(t, err, "event_id_reused")
}

func TestSentTwice(t *testing.T) {
	b := tray()
	rapid.Check(t, func(r *rapid.T) {
		var es, twice []Event
		for n := range rapid.IntRange(0, 20).Draw(r, "n") {
			e := Event{ID: fmt.Sprintf("drawn-%04d", n), Build: b.ID, Ticked: ticks(b), Reason: "r", Lot: "M-1", At: day.Add(time.Duration(n) * time.Minute),
				Kind: rapid.SampledFrom([]Kind{Start, Pause, Resume, Lot, Finish, Fail, Drop}).Draw(r, "kind")}
			if e.Kind == Fail && rapid.Bool().Draw(r, "some") {
				e.Lost = []string{"c"}
			}
			if _, fresh, err := Admit(b, es, e); err == nil && fresh {
				es = append(es, e)
				twice = append(twice, e, es[rapid.IntRange(0, len(es)-1).Draw(r, "again")])
			}
		}
		a := Fold(b, es)
		if !reflect.DeepEqual(a, Fold(b, twice)) {
			r.Fatalf("%+v", a)
		}
		if a.Word == Done || a.Word == Failed {
			p := append(append([]string{}, a.Lost...), a.Whole...)
			slices.Sort(p)
			if !reflect.DeepEqual(p, []string{"a", "b", "c", "d"}) {
				r.Fatalf("%+v", a)
			}
		}
	})
}
