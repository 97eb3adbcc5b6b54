package plane

import (
	"math/bits"
	"slices"
)

// sweepWork is the sweep's scratch.
type sweepWork struct {
	starts, ends []keyed
	tmp          []keyed
	status       []int32 // edges met by the sweep line, from below
	group        []int32 // edges that start at the present vertex, from below
	wa, wb       []int32 // winding numbers above each edge
	kept         []int8  // 0 no, 1 the region lies above, -1 below, 2 merged away
	next         []int32 // the kept edge that follows on the path
	node         []bool  // the path goes on from this edge's beginning at a vertex where other paths pass
	seen         []bool
}

// keyed is an edge by the place of one of its ends, x in the upper bits.
type keyed struct {
	at uint64
	id int32
}

// keptWhere finds the winding numbers on both sides of each edge, keeps the edges that have the region on one side, and
// links them. Edges must meet at their ends only.
func (w *work) keptWhere(inside func(a, b int32) bool) {
	n := len(w.edges)
	w.starts, w.ends, w.tmp = grown(w.starts, n), grown(w.ends, n), grown(w.tmp, n)
	w.wa, w.wb, w.kept, w.next = grown(w.wa, n), grown(w.wb, n), grown(w.kept, n), grown(w.next, n)
	low := uint(bits.Len32(uint32(w.h)))
	total := low + uint(bits.Len32(uint32(w.w)))
	for i := range w.edges {
		e := &w.edges[i]
		w.starts[i] = keyed{uint64(e.ax)<<low | uint64(e.ay), int32(i)}
		w.ends[i] = keyed{uint64(e.bx)<<low | uint64(e.by), int32(i)}
		w.kept[i], w.next[i] = 0, -1
	}
	w.node = grown(w.node, n)
	clear(w.node)
	w.starts, w.tmp = sortKeyed(w.starts, w.tmp, total)
	w.ends, w.tmp = sortKeyed(w.ends, w.tmp, total)
	w.status = w.status[:0]
	outside := inside(0, 0)
	i, j := 0, 0
	for i < n || j < n {
		at := uint64(1)<<63 - 1
		if i < n {
			at = w.starts[i].at
		}
		if j < n && w.ends[j].at < at {
			at = w.ends[j].at
		}
		x, y := int32(at>>low), int32(at&(1<<low-1))
		// the edges that end here lie side by side: find the first that does not pass below
		from, to := 0, len(w.status)
		for from < to {
			mid := int(uint(from+to) / 2)
			if w.edges[w.status[mid]].turn(x, y) > 0 {
				from = mid + 1
			} else {
				to = mid
			}
		}
		slot, ended := from, 0
		for slot+ended < len(w.status) {
			if e := &w.edges[w.status[slot+ended]]; e.bx != x || e.by != y {
				break
			}
			ended++
		}
		for ; j < n && w.ends[j].at == at; j++ {
		}
		g := w.group[:0]
		for ; i < n && w.starts[i].at == at; i++ {
			g = append(g, w.starts[i].id)
		}
		if len(g) > 1 {
			g = w.merge(g)
		}
		w.group = g
		// winding numbers, from below
		var a, b int32
		below := outside
		if slot > 0 {
			under := w.status[slot-1]
			a, b = w.wa[under], w.wb[under]
			below = inside(a, b)
		}
		for _, id := range g {
			e := &w.edges[id]
			a, b = a+e.da, b+e.db
			w.wa[id], w.wb[id] = a, b
			above := inside(a, b)
			switch {
			case above && !below:
				w.kept[id] = 1
			case below && !above:
				w.kept[id] = -1
			}
			below = above
		}
		w.link(g, w.status[slot:slot+ended])
		// replace what ended by what starts
		if ended == len(g) {
			copy(w.status[slot:], g)
		} else {
			w.status = slices.Replace(w.status, slot, slot+ended, g...)
		}
	}
}

// merge orders the edges that start at one vertex from below and makes one of those that coincide; edges that cancel
// each other go altogether.
func (w *work) merge(g []int32) []int32 {
	before := func(p, q int32) int64 {
		e, f := &w.edges[p], &w.edges[q]
		return int64(e.bx-e.ax)*int64(f.by-f.ay) - int64(e.by-e.ay)*int64(f.bx-f.ax)
	}
	for i := 1; i < len(g); i++ {
		for k := i; k > 0 && before(g[k-1], g[k]) < 0; k-- {
			g[k-1], g[k] = g[k], g[k-1]
		}
	}
	n := 0
	for _, id := range g {
		if n > 0 && before(g[n-1], id) == 0 {
			w.edges[g[n-1]].da += w.edges[id].da
			w.edges[g[n-1]].db += w.edges[id].db
			w.kept[id] = 2
			continue
		}
		g[n] = id
		n++
	}
	g = g[:n]
	return slices.DeleteFunc(g, func(id int32) bool {
		e := &w.edges[id]
		if e.da == 0 && e.db == 0 {
			w.kept[id] = 2
			return true
		}
		return false
	})
}

// link joins the kept edges at a vertex: going around it counter-clockwise, each edge that leaves it is preceded on its
// path by the next kept edge around, which must arrive; between the two lies the region. Paths that touch in a vertex
// thus stay apart.
func (w *work) link(started, ended []int32) {
	if len(started) == 1 && len(ended) == 1 { // nearly always
		s, e := started[0], ended[0]
		if w.kept[s] == 1 && w.kept[e] == 1 {
			w.next[e] = s
			return
		}
		if w.kept[s] == -1 && w.kept[e] == -1 {
			w.next[s] = e
			return
		}
	}
	around := 0
	first, last := int32(-1), int32(-1) // kept edges around the vertex; whether each leaves
	firstLeaves, lastLeaves := false, false
	step := func(id int32, leaves bool) {
		around++
		if first < 0 {
			first, firstLeaves = id, leaves
		} else if lastLeaves && !leaves {
			w.next[id] = last
		}
		last, lastLeaves = id, leaves
	}
	for _, id := range started {
		if k := w.kept[id]; k == 1 || k == -1 {
			step(id, k == 1)
		}
	}
	for i := len(ended) - 1; i >= 0; i-- {
		if k := w.kept[ended[i]]; k == 1 || k == -1 {
			step(ended[i], k == -1)
		}
	}
	if first >= 0 && lastLeaves && !firstLeaves {
		w.next[first] = last
	}
	if around > 2 {
		for _, id := range started {
			w.node[id] = w.kept[id] == 1
		}
		for _, id := range ended {
			w.node[id] = w.node[id] || w.kept[id] == -1
		}
	}
}

// paths follows the links. Points in a straight run are left out, unless another path passes there.
func (w *work) paths() Region {
	n := len(w.edges)
	w.seen = grown(w.seen, n)
	clear(w.seen)
	var out Region
	var buf []spot
	for i := range n {
		if k := w.kept[i]; k != 1 && k != -1 || w.seen[i] {
			continue
		}
		buf = buf[:0]
		for id := int32(i); id >= 0 && !w.seen[id]; id = w.next[id] {
			w.seen[id] = true
			e := &w.edges[id]
			p := spot{int64(e.ax), int64(e.ay), w.node[id]}
			if w.kept[id] == -1 {
				p.x, p.y = int64(e.bx), int64(e.by)
			}
			for len(buf) >= 2 && straight(buf[len(buf)-2], buf[len(buf)-1], p) {
				buf = buf[:len(buf)-1]
			}
			buf = append(buf, p)
		}
		for len(buf) >= 3 && straight(buf[len(buf)-2], buf[len(buf)-1], buf[0]) {
			buf = buf[:len(buf)-1]
		}
		from := 0
		for len(buf)-from >= 3 && straight(buf[len(buf)-1], buf[from], buf[from+1]) {
			from++
		}
		if len(buf)-from < 3 {
			continue
		}
		p := make(Path, len(buf)-from)
		for k, q := range buf[from:] {
			p[k] = Point{(q.x + w.x0) << w.shift, (q.y + w.y0) << w.shift}
		}
		out = append(out, p)
	}
	return out
}

// spot is a point of a path being laid out.
type spot struct {
	x, y int64
	node bool
}

// straight says whether b may be left out between a and c.
func straight(a, b, c spot) bool {
	return !b.node && (b.x-a.x)*(c.y-b.y) == (b.y-a.y)*(c.x-b.x)
}

// sortKeyed sorts by place, keeping the order of equals; it uses both slices and gives back (sorted, scratch).
func sortKeyed(a, tmp []keyed, width uint) (sorted, scratch []keyed) {
	if len(a) < 96 {
		slices.SortStableFunc(a, func(p, q keyed) int {
			switch {
			case p.at < q.at:
				return -1
			case p.at > q.at:
				return 1
			}
			return 0
		})
		return a, tmp
	}
	passes := (width + 9) / 10
	digit := (width + passes - 1) / passes
	mask := uint64(1)<<digit - 1
	for shift := uint(0); shift < width; shift += digit {
		var count [1025]int32
		for i := range a {
			count[a[i].at>>shift&mask+1]++
		}
		for i := uint64(1); i <= mask; i++ {
			count[i] += count[i-1]
		}
		for i := range a {
			k := a[i].at >> shift & mask
			tmp[count[k]] = a[i]
			count[k]++
		}
		a, tmp = tmp, a
	}
	return a, tmp
}
