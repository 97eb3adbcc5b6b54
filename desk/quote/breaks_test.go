package quote

import (
	"testing"

	"firstoff/desk/offer"
)

// TestBreaksGoWithThePick: the quantity table is the pick's; another option has none, a price a person set hides it from the client, and
// the client sees no builds and hours.
func TestBreaksGoWithThePick(t *testing.T) {
	tab := offer.Table{Options: []offer.Option{{ID: "a", UnitPrice: 700, Total: 700}, {ID: "b", UnitPrice: 500, Total: 500}},
		Picks: []offer.Pick{{Tag: "pick", Option: "a"}}, Breaks: []offer.Break{{Qty: 1, Builds: 1, UnitPrice: 700, Total: 700, BuildS: 60}, {Qty: 5, Builds: 2, UnitPrice: 600, Total: 3000, BuildS: 300}}}
	l := Line{LineID: "l", Qty: 1}
	if err := l.Take(tab, "a"); err != nil || len(l.Breaks) != 2 {
		t.Fatalf("%v %+v", err, l.Breaks)
	}
	c := Quotation{Body: Body{Lines: []Line{l}}}.ForClient().Body.Lines[0].Breaks
	if len(c) != 2 || c[1].BuildS != 0 || c[1].Builds != 0 || c[1].UnitPrice != 600 || l.Breaks[1].Builds != 2 {
		t.Errorf("the client sees %+v of %+v", c, l.Breaks)
	}
	l.Set = &SetPrice{UnitPrice: 650}
	if got := (Quotation{Body: Body{Lines: []Line{l}}}).ForClient().Body.Lines[0].Breaks; got != nil {
		t.Errorf("beside a price a person set: %+v", got)
	}
	if err := l.Take(tab, "b"); err != nil || l.Breaks != nil {
		t.Errorf("%v, another option kept %+v", err, l.Breaks)
	}
}
