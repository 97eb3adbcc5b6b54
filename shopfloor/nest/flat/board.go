package flat

import (
	"sort"
	"sync"
)

// board is where searchers show their best layout to each other. Searches that count rounds meet there: each waits for the
// others, so that what is seen does not depend on who is faster. Searches ended by time only leave and read notes.
type board struct {
	mu      sync.Mutex
	turn    *sync.Cond
	wait    bool
	active  int
	arrived int
	epoch   int
	best    *spots // of all notes so far
	by      int
	shown   *spots // what the last meeting published
}

func newBoard(searchers int, start *spots, wait bool) *board {
	b := &board{wait: wait, active: searchers, best: start.clone(), by: -1}
	b.shown = b.best
	b.turn = sync.NewCond(&b.mu)
	return b
}

func (s *spots) clone() *spots {
	return &spots{append([]int32(nil), s.or...), append([]int32(nil), s.reg...), append([]float64(nil), s.x...), append([]float64(nil), s.y...), append([]Box(nil), s.regions...)}
}

// length of a strip's layout.
func (s *spots) length() float64 { return s.regions[0].MaxX }

// note keeps s when it is the shortest so far; of equals that of the searcher with the smaller number.
func (b *board) note(k int, s *spots) {
	if s.length() < b.best.length() || s.length() == b.best.length() && k < b.by {
		b.best, b.by = s.clone(), k
	}
}

// meet shows searcher k's best and gives the best of all; it must not be changed.
func (b *board) meet(k int, s *spots) *spots {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.note(k, s)
	if !b.wait {
		return b.best
	}
	b.arrived++
	if b.arrived == b.active {
		b.publish()
		return b.shown
	}
	for e := b.epoch; b.epoch == e; {
		b.turn.Wait()
	}
	return b.shown
}

func (b *board) publish() {
	b.shown, b.arrived = b.best, 0
	b.epoch++
	b.turn.Broadcast()
}

// leave shows a last best; the others no longer wait for this searcher.
func (b *board) leave(k int, s *spots) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.note(k, s)
	b.active--
	if b.wait && b.active > 0 && b.arrived == b.active {
		b.publish()
	}
}

func sortStable(p []int, less func(a, b int) bool) {
	sort.SliceStable(p, func(i, j int) bool { return less(p[i], p[j]) })
}
