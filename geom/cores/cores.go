// Package cores spreads loops over the machine's cores without changing their answers.
//
// Work is cut into pieces of a fixed size that does not depend on how many cores there are; whoever sums
// over pieces does so in piece order, and so gets the same bits on one core or on many.
package cores

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// Each calls f(piece, from, to) for every piece of grain indices of 0..n-1, on as many goroutines as the
// program may use. Pieces are numbered from 0 in index order; they run in any order and at the same time.
// A panic in f is raised again in the caller.
func Each(n, grain int, f func(piece, from, to int)) {
	if n <= 0 {
		return
	}
	pieces := (n + grain - 1) / grain
	workers := min(runtime.GOMAXPROCS(0), pieces)
	if workers <= 1 {
		for p := range pieces {
			f(p, p*grain, min(n, (p+1)*grain))
		}
		return
	}
	var next atomic.Int64
	var wg sync.WaitGroup
	var broken atomic.Pointer[any]
	for range workers {
		wg.Go(func() {
			defer func() {
				if r := recover(); r != nil {
					broken.CompareAndSwap(nil, &r)
				}
			}()
			for broken.Load() == nil {
				p := int(next.Add(1)) - 1
				if p >= pieces {
					return
				}
				f(p, p*grain, min(n, (p+1)*grain))
			}
		})
	}
	wg.Wait()
	if r := broken.Load(); r != nil {
		panic(*r)
	}
}

// Pieces is how many pieces Each makes of n indices.
func Pieces(n, grain int) int { return (n + grain - 1) / grain }
