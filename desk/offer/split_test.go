package offer

import (
	"math"
	"strings"
	"testing"

	"firstoff/geom/geomtest"
	"firstoff/geom/r3"
	"firstoff/part"
	"firstoff/printability"
	"firstoff/shop"
)

// The pieces of a part are the part: closed, together of its volume, each within the space they were cut for.
func TestCut(t *testing.T) {
	m := geomtest.Tube(60, 40, 500, 64).Mesh.Transformed(r3.Between(r3.Vec{Z: 1}, r3.Vec{X: 1, Y: 0.4, Z: 0.2}), 1, r3.Vec{})
	space := printability.Space{Name: "m", Envelope: shop.Envelope{X: 200, Y: 200, Z: 200}}
	sp, ok := printability.Look(m).Splits([]printability.Space{space})
	if !ok {
		t.Fatal("no cut found")
	}
	pieces, err := cut(m, sp)
	if err != nil || len(pieces) != sp.Pieces || len(pieces) < 3 {
		t.Fatalf("%d pieces of %d: %v", len(pieces), sp.Pieces, err)
	}
	v := 0.0
	for _, p := range pieces {
		if !p.Topology().Closed() {
			t.Error("a piece is not closed")
		}
		v += math.Abs(p.Measure().VolumeMM3)
		size := p.Transformed(sp.Turn, 1, r3.Vec{}).Box().Size()
		if size.X > 200.01 && size.Y > 200.01 && size.Z > 200.01 {
			t.Errorf("a piece of %v", size)
		}
	}
	if want := math.Abs(m.Measure().VolumeMM3); math.Abs(v/want-1) > 1e-5 {
		t.Errorf("the pieces hold %.1f mm³, the part %.1f", v, want)
	}
}

// A rod longer than every machine is offered in pieces where pieces can be bonded: dearer than its material alone, with the joints named, and
// never where it fits whole.
func TestSplits(t *testing.T) {
	promise := func(a Ask) Dated { return Dated{P50: "2026-03-03", P90: "2026-03-05", LeadDays: 4} }
	tab := ask(t, block(1300, 40, 30), 2, part.Requirement{}, Settings{Promise: promise})
	n := 0
	for _, o := range tab.Options {
		if !strings.HasSuffix(o.ID, "/split") {
			continue
		}
		n++
		if len(o.Notes) == 0 || !strings.Contains(o.Notes[0], "bonded") || o.P90 == "" || o.HandsS <= 0 || o.Steps[len(o.Steps)-1].Operation != "assemble" {
			t.Errorf("%+v", o)
		}
		if o.Process == "MEX" && math.Abs(o.PartG/(1300*40*30/1000*1.05)-1) > 0.35 {
			t.Errorf("%s weighs %.0f g", o.ID, o.PartG)
		}
		if o.Process == "PBF-LB/M" || o.Process == "CAST" {
			t.Errorf("%s cannot be glued", o.ID)
		}
	}
	if n == 0 {
		t.Errorf("nothing is offered in pieces; refused: %+v", tab.Refused)
	}
	for _, o := range ask(t, block(100, 40, 30), 2, part.Requirement{}, Settings{Promise: promise}).Options {
		if strings.HasSuffix(o.ID, "/split") {
			t.Errorf("%s fits whole", o.ID)
		}
	}
}
