package offer

import (
	"math"
	"strings"
	"testing"

	"firstoff/geom/geomtest"
	"firstoff/part"
)

// Another pose than the one of least cost is offered where it helps, says what it does, is priced like any option, and stays on offer for whoever chose
// it; where it does not help it is not offered.
func TestOtherPose(t *testing.T) {
	promise := func(a Ask) Dated { return Dated{P50: "2026-03-03", P90: "2026-03-05", LeadDays: 4} }
	seen := 0
	for name, c := range map[string]part.Requirement{"MEX": {Process: "MEX"}, "MJT": {Process: "MJT"}, "VPP": {Process: "VPP"}} {
		for _, m := range []geomtest.Solid{geomtest.Tube(30, 24, 90, 48), {Mesh: angle(60, 40, 4, 30)}, geomtest.Cone(30, 60, 48)} {
			tab := ask(t, m.Mesh, 1, c, Settings{Promise: promise})
			by := map[string]Option{}
			for _, o := range tab.Options {
				if _, twice := by[o.ID]; twice {
					t.Errorf("two options are called %s", o.ID)
				}
				by[o.ID] = o
			}
			for _, h := range tab.Hints {
				if h.Code != "pose" {
					continue
				}
				seen++
				a, b := by[h.From], by[h.Option]
				less := 1.0
				if a.SupportG > 0 {
					less = b.SupportG / a.SupportG
				}
				if b.ID == "" || a.Pose == b.Pose || h.Text == "" || h.Price > -0.05 && h.Time > -0.1 && less > 0.8 && h.Days >= 0 {
					t.Errorf("%s: %+v helps nobody", name, h)
				}
				if math.Abs(b.PartG-a.PartG) > 0.05*a.PartG || b.Why[0].Amount != b.Total {
					t.Errorf("%s: %s weighs %.1f g, %s %.1f g", name, a.ID, a.PartG, b.ID, b.PartG)
				}
				kept := ask(t, m.Mesh, 1, c, Settings{Promise: promise, Keep: []string{h.Option}})
				find(t, kept, h.Option)
			}
		}
	}
	if seen == 0 {
		t.Error("no other pose helps any of these")
	}
	// Of a ball no pose is better than another.
	for _, o := range ask(t, geomtest.Sphere(15, 32).Mesh, 1, part.Requirement{}, Settings{Promise: promise}).Options {
		if strings.HasSuffix(o.ID, lowestSuffix) {
			t.Errorf("%s of a ball", o.ID)
		}
	}
	if !Beside("m/x//0.1/100/rush") || !Beside("m/x//0.1/100/lowest") || Beside("m/x//0.1/100") || Beside("m/x//0.1/split") {
		t.Error("what exists beside another is taken for what does not, or the other way round")
	}
}
