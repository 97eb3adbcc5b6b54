package flat

import (
	"sort"
	"sync"
)

// board is where searchers share their best layout.
type board struct {
	mu   sync.Mutex
	top  spots
	have bool
}

func newBoard(n int, start *spots, _ bool) *board {
	b := &board{}
	b.offer(start)
	return b
}

// offer keeps s when it is shorter than what is there.
func (b *board) offer(s *spots) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if !b.have || s.regions[0].MaxX < b.top.regions[0].MaxX {
		b.top = spots{append([]int32(nil), s.or...), append([]int32(nil), s.reg...), append([]float64(nil), s.x...), append([]float64(nil), s.y...), append([]Box(nil), s.regions...)}
		b.have = true
	}
}

func (b *board) best() *spots { return &b.top }

func sortStable(p []int, less func(a, b int) bool) {
	sort.SliceStable(p, func(i, j int) bool { return less(p[i], p[j]) })
}
