package offer

import (
	"context"
	"math"
	"slices"
	"testing"

	"firstoff/demo"
	"firstoff/geom/geomtest"
	"firstoff/part"
)

// TestEveryFamily: in a shop with a machine of its own for each family, each is offered for a plain part, with hours, grams, the operations that
// follow its build and a price that its tree explains; finishes and inserts asked for come along.
func TestEveryFamily(t *testing.T) {
	cat := demo.AllRound()
	m := geomtest.Sphere(15, 48).Mesh // supports carry it in every pose where the process needs them
	job := Job{Mesh: m, Facts: part.Facts{Bodies: 1, Closed: true, MinWallMM: 12, MedianWallMM: 25}, Requirement: part.Requirement{Finish: "painted", Inserts: 2, Inspect: "dimensions"}, Qty: 30, File: "ball.stl"}
	table, err := Evaluate(context.Background(), job, cat, Settings{})
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []struct {
		machine string
		steps   []string
	}{
		{"plover", []string{"build", "unload", "unpack"}},
		{"avocet", []string{"build", "wash-resin", "clip-posts", "cure-resin"}},
		{"dipper", []string{"build", "wash-resin", "clip-posts", "cure-resin"}},
		{"ouzel", []string{"build", "depowder-metal", "stress-relief", "cut-off", "break-anchors", "blast-metal"}},
		{"sandpiper", []string{"build", "cure-green", "depowder-green", "sinter", "blast-metal"}},
		{"mould-shop", []string{"master", "tools", "build", "trim-castings", "post-cure-castings"}},
	} {
		i := slices.IndexFunc(table.Options, func(o Option) bool { return o.Machine == want.machine })
		if i < 0 {
			t.Errorf("%s is not offered: %+v", want.machine, table.Refused)
			continue
		}
		o := table.Options[i]
		if !(o.BuildS > 0 && o.BuildSD > 0 && o.PartG > 0 && o.Total > 0 && o.HandsS > 0) {
			t.Errorf("%s: %+v", want.machine, o)
		}
		at := -1
		for _, s := range append(want.steps, "paint", "inserts", "measure", "pack") {
			k := slices.IndexFunc(o.Steps, func(x Step) bool { return x.Operation == s })
			if k < 0 || k < at {
				t.Errorf("%s: %s is missing or out of order among %d steps", want.machine, s, len(o.Steps))
				continue
			}
			at = k
			if x := o.Steps[k]; x.HandsS < 0 || x.HandsS == 0 && x.ElapsedS == 0 || math.IsNaN(x.HandsS+x.ElapsedS) {
				t.Errorf("%s: %s takes %g s of hands and %g s", want.machine, s, x.HandsS, x.ElapsedS)
			}
		}
		var sum int64
		for _, p := range o.Why[0].Parts {
			sum += int64(p.Amount)
		}
		if sum != int64(o.Total) {
			t.Errorf("%s: the tree sums to %d of %d", want.machine, sum, o.Total)
		}
	}
	// sinter shrinkage is paid for in envelope: what just fits the bed finished does not fit it green
	big := geomtest.Box(250, 180, 20).Mesh
	table, err = Evaluate(context.Background(), Job{Mesh: big, Facts: part.Facts{Bodies: 1, Closed: true, MinWallMM: 20}, Qty: 1, File: "slab.stl"}, cat, Settings{})
	if err != nil {
		t.Fatal(err)
	}
	if slices.ContainsFunc(table.Options, func(o Option) bool { return o.Machine == "sandpiper" }) {
		t.Error("a slab of 250 mm grows to 301 mm green: more than the bed")
	}
}
