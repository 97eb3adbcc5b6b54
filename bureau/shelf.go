package bureau

import (
	"container/list"
	"sync"

	"firstoff/digest"
	"firstoff/unit"
)

// Parts that were read stay at hand for a while, so that asking again with another quantity or infill need not read the
// file again. Memory is bounded by the files' sizes: read geometry takes a few times the file's bytes.
const (
	shelfFiles = 8
	shelfBytes = 192 << 20
)

type shelfKey struct {
	d digest.Digest
	u unit.Length
}

type shelved struct {
	key    shelfKey
	pieces []Piece
	bytes  int64
}

type shelf struct {
	mu    sync.Mutex
	order *list.List // of *shelved, freshest first
	by    map[shelfKey]*list.Element
	bytes int64
}

func newShelf() *shelf { return &shelf{order: list.New(), by: map[shelfKey]*list.Element{}} }

func (s *shelf) take(k shelfKey) ([]Piece, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	e, ok := s.by[k]
	if !ok {
		return nil, false
	}
	s.order.MoveToFront(e)
	return e.Value.(*shelved).pieces, true
}

func (s *shelf) put(k shelfKey, pieces []Piece, bytes int64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if e, ok := s.by[k]; ok {
		s.drop(e)
	}
	if bytes > shelfBytes {
		return
	}
	s.by[k] = s.order.PushFront(&shelved{k, pieces, bytes})
	s.bytes += bytes
	for s.order.Len() > shelfFiles || s.bytes > shelfBytes {
		s.drop(s.order.Back())
	}
}

func (s *shelf) drop(e *list.Element) {
	v := s.order.Remove(e).(*shelved)
	delete(s.by, v.key)
	s.bytes -= v.bytes
}
