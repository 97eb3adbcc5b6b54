package bureau

import (
	"context"
	"sync"
	"time"

	"firstoff/desk/request"
)

// board passes news about files to those who watch in this process.
type board struct {
	mu       sync.Mutex
	watchers map[string]map[chan Progress]bool // by request
}

func newBoard() *board { return &board{watchers: map[string]map[chan Progress]bool{}} }

func (n *board) watch(requestID string) (<-chan Progress, func()) {
	c := make(chan Progress, 64)
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.watchers[requestID] == nil {
		n.watchers[requestID] = map[chan Progress]bool{}
	}
	n.watchers[requestID][c] = true
	return c, func() {
		n.mu.Lock()
		defer n.mu.Unlock()
		delete(n.watchers[requestID], c)
		if len(n.watchers[requestID]) == 0 {
			delete(n.watchers, requestID)
		}
	}
}

// tell never waits: whoever reads too slowly misses a step and sees the next one, or the record.
func (n *board) tell(p Progress) {
	n.mu.Lock()
	defer n.mu.Unlock()
	for c := range n.watchers[p.RequestID] {
		select {
		case c <- p:
		default:
		}
	}
}

func progressOf(f request.File) Progress {
	return Progress{RequestID: f.RequestID, FileID: f.ID, Name: f.Name, State: f.State, Percent: f.Percent, Step: f.Step, Problem: f.Problem}
}

// lookAgain is how often a watcher looks at the records for what other processes did.
const lookAgain = time.Second

// Progress reports how far the files of a request have come: first as they stand, then each change. The channel is closed
// when nothing of the request is waiting or being analysed any more, or when ctx ends. The records are the
// truth: work done by another process shows within a second, and who leaves and returns misses nothing.
func (b *Bureau) Progress(ctx context.Context, requestID string) (<-chan Progress, error) {
	if _, err := b.p.Records.Request(ctx, requestID); err != nil {
		return nil, err
	}
	news, leave := b.news.watch(requestID) // before looking, so that nothing falls between
	files, err := b.p.Records.Files(ctx, requestID)
	if err != nil {
		leave()
		return nil, err
	}
	out := make(chan Progress, 16)
	go func() {
		defer close(out)
		defer leave()
		told := map[string]Progress{}
		tell := func(p Progress) bool {
			if old, ok := told[p.FileID]; ok && same(old, p) {
				return true
			}
			told[p.FileID] = p
			select {
			case out <- p:
				return true
			case <-ctx.Done():
				return false
			}
		}
		t := time.NewTicker(lookAgain)
		defer t.Stop()
		for {
			busy := false
			for _, f := range files {
				if !tell(progressOf(f)) {
					return
				}
				busy = busy || !f.State.Done()
			}
			if !busy {
				return
			}
			for look := false; !look; {
				select {
				case <-ctx.Done():
					return
				case p := <-news:
					if !tell(p) {
						return
					}
					look = p.State.Done()
				case <-t.C:
					look = true
				}
			}
			if files, err = b.p.Records.Files(ctx, requestID); err != nil {
				return
			}
		}
	}()
	return out, nil
}

func same(a, b Progress) bool {
	return a.State == b.State && a.Percent == b.Percent && a.Step == b.Step && (a.Problem == nil) == (b.Problem == nil)
}
