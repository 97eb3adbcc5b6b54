package demo

import "testing"

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
