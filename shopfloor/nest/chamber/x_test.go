package chamber

import (
	"context"
	"testing"
	"time"
)

func TestX(t *testing.T) {
	for _, c := range []struct {
		name   string
		nx, ny int
		r int
	}{{"chess", 49, 49, 20000}, {"shapes", 20, 20, 40000}} {
		kinds, order, _ := readSet(t, c.name)
		box := Box{NX: c.nx, NY: c.ny}
		t0 := time.Now()
		p, _ := Pack(context.Background(), kinds, order, box, Limits{Rounds: c.r, Searchers: 1, Seed: 1})
		checkPacking(t, kinds, order, box, p)
		t.Log(c.name, p.Height, time.Since(t0))
	}
}
