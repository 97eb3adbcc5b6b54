package board

import (
	"fmt"
	"runtime"
	"slices"
	"sync"
	"testing"
)

// Three searchers of unlike pace, one of which leaves early, see the same at every meeting, run after run.
func TestMeetingsRepeat(t *testing.T) {
	run := func(idle int) []string {
		b := New(3, 100, "start", true)
		out := make([]string, 3)
		var wg sync.WaitGroup
		for k := range 3 {
			wg.Add(1)
			go func() {
				defer wg.Done()
				mine, what := 100.0, "start"
				for r := range 5 {
					if k == 1 && r == 3 {
						break
					}
					for range idle * (k + r) {
						runtime.Gosched()
					}
					if v := float64(90 - 7*r - (k*r)%4); v < mine {
						mine, what = v, fmt.Sprintf("%d@%d", k, r)
					}
					v, w := b.Meet(k, mine, what)
					out[k] += fmt.Sprint(v, w, ";")
				}
				b.Leave(k, mine, what)
			}()
		}
		wg.Wait()
		v, w := b.Best()
		return append(out, fmt.Sprint(v, " ", w))
	}
	first := run(0)
	for idle := range 20 {
		if again := run(idle); !slices.Equal(first, again) {
			t.Fatalf("%v\n%v", first, again)
		}
	}
	if first[3] != "62 0@4" { // searcher 0 at its last round: 90 − 28; searcher 2 has the same, the smaller number wins
		t.Error(first[3])
	}
}

// Without waiting, the best so far is seen at once.
func TestNotes(t *testing.T) {
	b := New(2, 10, "start", false)
	if v, w := b.Meet(0, 8, "a"); v != 8 || w != "a" {
		t.Error(v, w)
	}
	if v, w := b.Meet(1, 9, "b"); v != 8 || w != "a" {
		t.Error(v, w)
	}
	if v, w := b.Meet(1, 8, "c"); v != 8 || w != "a" {
		t.Error("an equal note of a later searcher wins", v, w)
	}
	b.Leave(1, 7, "d")
	if v, w := b.Best(); v != 7 || w != "d" {
		t.Error(v, w)
	}
}
