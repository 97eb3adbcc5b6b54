package offer

import (
	"math"
	"strings"
	"testing"

	"firstoff/part"
)

// A thick block made hollow: powder and resin take what is kept and no more (a cube of 60 with walls of 3 keeps 58,536 of 216,000 mm³), the others
// stay as they were and say why, and nothing is cheaper solid than hollow.
func TestHollow(t *testing.T) {
	cube := block(60, 60, 60)
	solid := ask(t, cube, 2, part.Requirement{}, Settings{})
	hollow := ask(t, cube, 2, part.Requirement{HollowMM: 3}, Settings{})
	was := map[string]Option{}
	for _, o := range solid.Options {
		was[o.ID] = o
	}
	made, left := 0, 0
	for _, o := range hollow.Options {
		w, ok := was[o.ID]
		if !ok {
			t.Errorf("%s is new", o.ID)
			continue
		}
		notes := strings.Join(o.Notes, "; ")
		switch {
		case strings.Contains(notes, "hollow, walls of 3 mm"):
			made++
			if share := o.PartG / w.PartG; math.Abs(share-58536.0/216000) > 0.02 {
				t.Errorf("%s keeps %.3f of its mass", o.ID, share)
			}
			if o.Total > w.Total || !strings.Contains(notes, "2 drain holes") {
				t.Errorf("%s: %d hollow, %d solid: %s", o.ID, o.Total, w.Total, notes)
			}
		case o.Partner == "":
			left++
			if !strings.Contains(notes, "solid") && !strings.Contains(notes, "not made hollow") || math.Abs(o.PartG-w.PartG) > 1e-6*w.PartG {
				t.Errorf("%s says nothing of staying solid: %s", o.ID, notes)
			}
		}
	}
	if made == 0 || left == 0 {
		t.Errorf("%d made hollow, %d left solid", made, left)
	}
	// Holding water, or too thin for it, it stays as it is.
	for _, o := range ask(t, block(60, 60, 5), 1, part.Requirement{HollowMM: 3}, Settings{}).Options {
		if n := strings.Join(o.Notes, "; "); strings.Contains(n, "hollow, walls") {
			t.Errorf("a plate of 5 mm with walls of 3: %s", n)
		}
	}
	for _, o := range ask(t, cube, 1, part.Requirement{HollowMM: 3, Watertight: true}, Settings{}).Options {
		if n := strings.Join(o.Notes, "; "); strings.Contains(n, "hollow, walls") {
			t.Errorf("it shall hold water: %s", n)
		}
	}
	// The desk speaks of it itself.
	promise := func(a Ask) Dated { return Dated{P50: "2026-03-03", P90: "2026-03-05", LeadDays: 4} }
	tab := ask(t, cube, 1, part.Requirement{Process: "PBF-LB/P"}, Settings{Promise: promise})
	found := false
	for _, h := range tab.Hints {
		if h.Code == "hollow" {
			found = true
			if h.HollowMM < 2 || h.Mass > -0.3 || h.Mass < -0.9 {
				t.Errorf("%+v", h)
			}
		}
	}
	if !found {
		t.Errorf("no word of hollowing: %+v", tab.Hints)
	}
}
