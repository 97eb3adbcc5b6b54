package faces

// edges is a table of the undirected edges of a surface.
type edges struct {
	slots []edge
	mask  uint64
}

type edge struct {
	lo, hi uint32
	net    int32    // uses from lo to hi less uses from hi to lo
	n      int32    // uses
	facet  [2]int32 // the first two facets
}

func newEdges(tri []uint32) *edges {
	size := 16
	for size < len(tri) {
		size *= 2
	}
	e := &edges{make([]edge, size), uint64(size - 1)}
	for t := 0; t+2 < len(tri); t += 3 {
		for i := range 3 {
			a, b := tri[t+i], tri[t+(i+1)%3]
			dir := int32(1)
			if a > b {
				a, b, dir = b, a, -1
			}
			s := e.slot(a, b)
			s.lo, s.hi = a, b
			s.net += dir
			if s.n < 2 {
				s.facet[s.n] = int32(t / 3)
			}
			s.n++
		}
	}
	return e
}

// slot is the place of an edge, lo < hi, empty (n = 0) when it is not there yet.
func (e *edges) slot(lo, hi uint32) *edge {
	h := (uint64(lo)*0x9e3779b97f4a7c15 ^ uint64(hi)*0xc2b2ae3d27d4eb4f)
	for i := (h ^ h>>31) * 0xbf58476d1ce4e5b9 >> 17 & e.mask; ; i = (i + 1) & e.mask {
		if s := &e.slots[i]; s.n == 0 || s.lo == lo && s.hi == hi {
			return s
		}
	}
}

// ragged counts the edges that are not used once each way, or the same number of times each way.
func (e *edges) ragged() int {
	n := 0
	for i := range e.slots {
		if e.slots[i].net != 0 {
			n++
		}
	}
	return n
}

// across is the other facet at the edge from a to b of facet f; -1 when there is not exactly one.
func (e *edges) across(a, b uint32, f int32) int32 {
	s := e.slot(min(a, b), max(a, b))
	switch {
	case s.n != 2:
		return -1
	case s.facet[0] == f:
		return s.facet[1]
	}
	return s.facet[0]
}
