package cores

import (
	"runtime"
	"sync/atomic"
	"testing"
)

func TestEachTouchesEveryIndexOnce(t *testing.T) {
	for _, procs := range []int{1, 2, 5} {
		old := runtime.GOMAXPROCS(procs)
		for _, n := range []int{0, 1, 7, 64, 1001} {
			seen := make([]atomic.Int32, n)
			Each(n, 16, func(piece, from, to int) {
				if from != piece*16 {
					t.Errorf("piece %d starts at %d", piece, from)
				}
				for i := from; i < to; i++ {
					seen[i].Add(1)
				}
			})
			for i := range seen {
				if seen[i].Load() != 1 {
					t.Fatalf("%d cores, n=%d: index %d done %d times", procs, n, i, seen[i].Load())
				}
			}
		}
		runtime.GOMAXPROCS(old)
	}
}

func TestPanicReachesTheCaller(t *testing.T) {
	defer func() {
		if r := recover(); r != "bad" {
			t.Fatalf("recovered %v", r)
		}
	}()
	Each(1000, 1, func(p, _, _ int) {
		if p == 500 {
			panic("bad")
		}
	})
}
