// Package board is where searches for the same thing show each other the best they have found.
//
// Searches that count rounds meet at the board: each waits for the others, so that what is seen does not depend on who is faster
// (TestMeetingsRepeat). Searches ended by time only leave and read notes.
package board

import "sync"

// Board holds the best note; smaller values are better. T must not be changed once noted.
type Board[T any] struct {
	mu      sync.Mutex
	turn    *sync.Cond
	wait    bool
	active  int
	arrived int
	epoch   int
	best    note[T] // of all notes so far
	shown   note[T] // what the last meeting published
}

type note[T any] struct {
	value float64
	by    int
	what  T
}

// New is a board for so many searchers that all begin with start; wait makes them meet.
func New[T any](searchers int, value float64, start T, wait bool) *Board[T] {
	b := &Board[T]{wait: wait, active: searchers, best: note[T]{value, -1, start}}
	b.shown = b.best
	b.turn = sync.NewCond(&b.mu)
	return b
}

// put keeps a note when it is the best so far; of equals that of the searcher with the smaller number.
func (b *Board[T]) put(by int, value float64, what T) {
	if value < b.best.value || value == b.best.value && by < b.best.by {
		b.best = note[T]{value, by, what}
	}
}

// Meet shows searcher by's best and gives the best of all.
func (b *Board[T]) Meet(by int, value float64, what T) (float64, T) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.put(by, value, what)
	if !b.wait {
		return b.best.value, b.best.what
	}
	b.arrived++
	if b.arrived == b.active {
		b.publish()
	} else {
		for e := b.epoch; b.epoch == e; {
			b.turn.Wait()
		}
	}
	return b.shown.value, b.shown.what
}

func (b *Board[T]) publish() {
	b.shown, b.arrived = b.best, 0
	b.epoch++
	b.turn.Broadcast()
}

// Leave shows a last best; the others no longer wait for this searcher.
func (b *Board[T]) Leave(by int, value float64, what T) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.put(by, value, what)
	b.active--
	if b.wait && b.active > 0 && b.arrived == b.active {
		b.publish()
	}
}

// Best is the best note of all.
func (b *Board[T]) Best() (float64, T) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.best.value, b.best.what
}
