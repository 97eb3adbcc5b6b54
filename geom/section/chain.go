package section

// Point is a place in a layer, mm.
type Point struct{ X, Y float64 }

// Work is the scratch of one goroutine cutting layers. The zero value is ready. Layers cut in rising order with the
// same Work go faster where no vertex lies between two planes: then the chains are the same and only move.
type Work struct {
	in, out    []uint64 // per piece of contour: the mesh edges it enters and leaves by, lower end in the high half
	at         []Point  // where it leaves
	next, prev []int32
	table      []uint32 // open addressing on in: piece+1
	order      []uint64 // the edges of the contour points, in chain order
	loose      int      // pieces that nothing goes on from
	got        Contours
	of         *Slicer
	layer      int
}

// sides tells for each pattern of corners above the plane (bit i: corner i) which corners make the falling edge the
// contour enters by and the rising edge it leaves by: low and up corner of each.
var sides = [8][4]uint8{
	1: {1, 0, 2, 0}, // corner 0 above: enters by 0->1, leaves by 2->0
	2: {2, 1, 0, 1},
	4: {0, 2, 1, 2},
	3: {2, 1, 2, 0}, // corner 2 below: enters by 1->2, leaves by 2->0
	6: {0, 2, 0, 1},
	5: {1, 0, 1, 2},
}

// Layer cuts layer i. The contours belong to w and hold until its next use.
func (s *Slicer) Layer(i int, w *Work) *Contours {
	c := &w.got
	c.Z = s.z[i]
	if w.of == s && w.layer == i-1 && !s.fresh[i] {
		w.layer = i
		w.move(s)
		return c
	}
	w.of, w.layer = s, i
	w.cut(s, i)
	w.link()
	w.walk(s)
	return c
}

// edgePoint is where the mesh edge meets the plane: computed from its lower end always, so both facets of an edge
// get the same bits.
func edgePoint(pos []float64, edge uint64, z float64) Point {
	p := pos[3*(edge>>32):][:3:3]
	q := pos[3*(edge&0xffffffff):][:3:3]
	t := (z - p[2]) / (q[2] - p[2])
	return Point{p[0] + t*(q[0]-p[0]), p[1] + t*(q[1]-p[1])}
}

// cut makes one piece of contour for each facet crossed.
func (w *Work) cut(s *Slicer, layer int) {
	z, pos, tri := s.z[layer], s.pos, s.tri
	facets := s.list[s.off[layer/s.share]:s.off[layer/s.share+1]]
	w.in, w.out, w.at = grown(w.in, len(facets)), grown(w.out, len(facets)), grown(w.at, len(facets))
	n := 0
	for _, f := range facets {
		t := tri[3*uint(f):][:3:3]
		corner := [4]uint32{t[0], t[1], t[2]}
		pattern := 0
		if pos[3*uint(t[0])+2] >= z {
			pattern |= 1
		}
		if pos[3*uint(t[1])+2] >= z {
			pattern |= 2
		}
		if pos[3*uint(t[2])+2] >= z {
			pattern |= 4
		}
		if pattern == 0 || pattern == 7 {
			continue
		}
		k := &sides[pattern]
		w.in[n] = uint64(corner[k[0]&3])<<32 | uint64(corner[k[1]&3])
		e := uint64(corner[k[2]&3])<<32 | uint64(corner[k[3]&3])
		if e == w.in[n] {
			continue // a facet with a corner used twice
		}
		w.out[n] = e
		w.at[n] = edgePoint(pos, e, z)
		n++
	}
	w.in, w.out, w.at = w.in[:n], w.out[:n], w.at[:n]
}

// link finds for each piece the one that goes on where it ends: the facet beyond the edge it leaves by. Where more
// than two facets share the edge, they are paired in facet order.
func (w *Work) link() {
	n := len(w.in)
	size := 16
	for size < 2*n {
		size *= 2
	}
	w.table = grown(w.table, size)
	clear(w.table)
	w.next, w.prev = grown(w.next, n), grown(w.prev, n)
	table, mask := w.table, uint64(size-1)
	for i, e := range w.in {
		k := mix(e) & mask
		for table[k] != 0 {
			k = (k + 1) & mask
		}
		table[k] = uint32(i + 1)
		w.prev[i] = -1
	}
	in, prev := w.in, w.prev
	w.loose = n
	for i, e := range w.out {
		w.next[i] = -1
		for k := mix(e) & mask; table[k] != 0; k = (k + 1) & mask {
			if j := table[k] - 1; in[j] == e && prev[j] < 0 {
				prev[j] = int32(i)
				w.next[i] = int32(j)
				w.loose--
				break
			}
		}
	}
}

func mix(e uint64) uint64 {
	e = (e ^ e>>32) * 0x9e3779b97f4a7c15
	e = (e ^ e>>29) * 0xd6e8feb86659fd93
	return e >> 32
}

// walk follows the links and lays the contours out one after another.
func (w *Work) walk(s *Slicer) {
	c := &w.got
	c.Points, c.End, c.Open, w.order = c.Points[:0], c.End[:0], 0, w.order[:0]
	if w.loose > 0 {
		w.walkOpen(s)
		w.of = nil // how gaps are bridged may differ from layer to layer: cut afresh
		return
	}
	for i := range w.in {
		if w.prev[i] < 0 {
			continue
		}
		for j := int32(i); w.prev[j] >= 0; j = w.next[j] {
			w.prev[j] = -1
			w.order = append(w.order, w.out[j])
			c.Points = append(c.Points, w.at[j])
		}
		c.End = append(c.End, int32(len(c.Points)))
	}
}

// move puts the points of unchanged chains onto the next plane.
func (w *Work) move(s *Slicer) {
	c := &w.got
	for i, e := range w.order {
		c.Points[i] = edgePoint(s.pos, e, c.Z)
	}
}

func grown[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n, n+n/2)
	}
	return s[:n]
}
