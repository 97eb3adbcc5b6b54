package feedstock

import (
	"flag"
	"fmt"
	"math"
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"

	"firstoff/fault"
)

var day = time.Date(2031, 3, 3, 8, 0, 0, 0, time.UTC)

// What is drawn is the same in every run; -rapid.seed overrides it.
func init() { _ = flag.Set("rapid.seed", "20261201") }

func spool() Lot {
	return Lot{ID: "M-1001", Material: "ABS", ReceivedG: 1000, Received: "2031-03-01", Expires: "2031-12-31", OpenDays: 10, Made: day, Word: Sealed, LeftG: 1000, Until: "2031-12-31"}
}

func code(t *testing.T, err error, want string) {
	t.Helper()
	if f := fault.Of(err); err == nil || f.Code != want {
		t.Errorf("want %s, got %v", want, err)
	}
}

func TestLotsLife(t *testing.T) {
	l := spool()
	var es []Event
	do := func(k Kind, g float64, reason string) (Stock, error) {
		e := Event{ID: fmt.Sprintf("event-%04d", len(es)), Lot: l.ID, Kind: k, G: g, Reason: reason, At: day}
		s, fresh, err := Admit(l, es, e)
		if fresh {
			es = append(es, e)
		}
		return s, err
	}
	s, err := do(Use, 300, "")
	if err != nil || s.Word != InUse || s.LeftG != 700 || s.Until != "2031-03-13" || s.On("2031-03-13") != InUse || s.On("2031-03-14") != Expired {
		t.Errorf("%v %+v", err, s)
	}
	_, err = do(Use, 701, "")
	code(t, err, "lot_short")
	_, err = do(Release, 0, "fine")
	code(t, err, "lot_not_held")
	if s, err = do(Quarantine, 0, "porous parts"); err != nil || s.Word != Held {
		t.Errorf("%v %+v", err, s)
	}
	_, err = do(Use, 1, "")
	code(t, err, "lot_held")
	_, err = do(Quarantine, 0, "")
	code(t, err, "reason_missing")
	if s, err = do(Release, 0, "measured again"); err != nil || s.Word != InUse {
		t.Errorf("%v %+v", err, s)
	}
	if s, err = do(Weigh, 650, ""); err != nil || s.LostG != 50 {
		t.Errorf("%v %+v", err, s)
	}
	if s, err = do(Throw, 650, "moist"); err != nil || s.Word != Empty {
		t.Errorf("%v %+v", err, s)
	}
	_, _, err = Admit(l, es, Event{ID: "event-mend", Lot: l.ID, Kind: Correct, Voids: "event-0000", Reason: "other lot"})
	if err != nil {
		t.Error(err) // the scales spoke after it, so all else still follows
	}
}

func TestGramsAreConserved(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		l := spool()
		var es []Event
		for n := range rapid.IntRange(0, 30).Draw(r, "n") {
			e := Event{ID: fmt.Sprintf("drawn-%04d", n), Lot: l.ID, Reason: "r", At: day.Add(time.Duration(n) * time.Hour),
				Kind: rapid.SampledFrom([]Kind{Open, Use, Weigh, Throw, Quarantine, Release, Correct}).Draw(r, "kind"), G: rapid.Float64Range(0, 400).Draw(r, "g")}
			if e.Kind == Correct && n > 0 {
				e.Voids = fmt.Sprintf("drawn-%04d", rapid.IntRange(0, n-1).Draw(r, "v"))
			}
			if _, fresh, err := Admit(l, es, e); err == nil && fresh {
				es = append(es, e)
			}
		}
		s := Fold(l, es)
		if math.Abs(l.ReceivedG-s.UsedG-s.ThrownG-s.LostG-s.LeftG) > 1e-6 || s.LeftG < 0 || len(s.misfits) > 0 {
			r.Fatalf("%+v", s)
		}
	})
}

func TestSentTwice(t *testing.T) {
	l := spool()
	es := []Event{{ID: "event-0001", Lot: l.ID, Kind: Use, G: 100, At: day}, {ID: "event-0002", Lot: l.ID, Kind: Use, G: 200, At: day}}
	if a, b := Fold(l, es), Fold(l, append(append([]Event{}, es...), es...)); !reflect.DeepEqual(a, b) {
		t.Errorf("%+v %+v", a, b)
	}
	if _, fresh, err := Admit(l, es, es[0]); fresh || err != nil {
		t.Error(fresh, err)
	}
	_, _, err := Admit(l, es, Event{ID: "event-0001", Lot: l.ID, Kind: Use, G: 101})
	code(t, err, "event_id_reused")
}

func TestGenealogy(t *testing.T) {
	powder := func(id string, parents ...Share) Lot {
		return Lot{ID: id, Material: "PA12", ReceivedG: 10_000, LeftG: 10_000, Word: Sealed, Until: "2031-0" + id[2:3] + "-01", Parents: parents}
	}
	a, b := powder("M-4"), powder("M-5")
	c, err := Blend("M-6", "2031-03-03", 30, []Lot{a, b}, []Share{{"M-4", 3000, true}, {"M-5", 7000, false}}, day)
	if err != nil || c.RefreshPct != 30 || c.ReceivedG != 10_000 || c.Expires != "2031-04-01" {
		t.Fatalf("%v %+v", err, c)
	}
	d := powder("M-7", Share{"M-6", 100, false})
	if got := Descendants("M-4", []Lot{a, b, c, d, powder("M-8")}); !reflect.DeepEqual(got, []string{"M-4", "M-6", "M-7"}) {
		t.Error(got)
	}
	_, err = Blend("M-9", "2031-03-03", 31, []Lot{a, b}, []Share{{"M-4", 3000, true}, {"M-5", 7000, false}}, day)
	code(t, err, "blend_refresh")
	_, err = Blend("M-9", "2031-04-02", 30, []Lot{a}, []Share{{"M-4", 3000, true}}, day)
	code(t, err, "lot_expired")
	_, err = Blend("M-9", "2031-03-03", 30, []Lot{a}, []Share{{"M-4", 30_000, true}}, day)
	code(t, err, "lot_short")
	_, err = Blend("M-9", "2031-03-03", 0, nil, nil, day)
	code(t, err, "blend_shares")
	held := powder("M-2")
	held.Word = Held
	_, err = Blend("M-9", "2031-01-03", 0, []Lot{held}, []Share{{"M-2", 1, true}}, day)
	code(t, err, "lot_held")
	_, err = Blend("M-9", "2031-03-03", 0, []Lot{a, {ID: "M-3", Material: "PA11", LeftG: 5, Word: Sealed}}, []Share{{"M-4", 1, true}, {"M-3", 1, true}}, day)
	code(t, err, "blend_material")
}

func TestLotCheck(t *testing.T) {
	for want, change := range map[string]func(*Lot){
		"lot_material": func(l *Lot) { l.Material = "" },
		"lot_weight":   func(l *Lot) { l.ReceivedG = math.NaN() },
		"lot_date":     func(l *Lot) { l.Expires = "soon" },
	} {
		l := spool()
		change(&l)
		code(t, l.Check(), want)
	}
	if err := spool().Check(); err != nil {
		t.Error(err)
	}
}
