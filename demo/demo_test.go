package demo

import (
	"math"
	"testing"

	"firstoff/geom/mesh"
)

func TestShopIsValid(t *testing.T) {
	c := Shop()
	n := 0
	for _, m := range c.Machines {
		n += m.Count
	}
	if n != 9 {
		t.Errorf("the fleet has %d machines, not nine", n)
	}
}

// The made-up parts are sound: every shell closed and facing outwards, sizes as their comments say.
func TestPartsAreSound(t *testing.T) {
	for name, x := range map[string]struct {
		m    *mesh.Mesh
		size [3]float64
	}{
		"bracket": {Bracket(), [3]float64{96, 60, 79.5}}, "housing": {Housing(), [3]float64{140, 90, 38}},
		"knob": {Knob(), [3]float64{44, 44, 23}}, "tray": {Tray(), [3]float64{420, 300, 16}},
	} {
		r := mesh.CheckTopology(x.m)
		if !r.Closed || r.Flipped != 0 {
			t.Errorf("%s: closed %v, %d flipped", name, r.Closed, r.Flipped)
		}
		for i, s := range x.m.Box().Size().Array() {
			if math.Abs(s-x.size[i]) > 0.2 {
				t.Errorf("%s measures %v, want %v", name, x.m.Box().Size(), x.size)
				break
			}
		}
	}
	if len(Enquiries()) == 0 {
		t.Error("nobody asks for anything")
	}
}
