package flat

import "math"

// layout is a set of pieces lying in regions, perhaps overlapping, with the overlap of each pair and the weight it has
// gathered.
type layout struct {
	t       *table
	regions []Box   // where pieces may lie; a strip has one
	shape   []int32 // per piece
	or      []int32 // per piece: index into t.turned
	reg     []int32 // per piece: region
	x, y    []float64
	over    []float64 // n × n, symmetric: overlap
	weight  []float64 // n × n, symmetric
	total   float64   // Σ over, pairs once
}

func newLayout(t *table, shape []int32, regions []Box) *layout {
	n := len(shape)
	l := &layout{t: t, regions: append([]Box(nil), regions...), shape: shape, or: make([]int32, n), reg: make([]int32, n),
		x: make([]float64, n), y: make([]float64, n), over: make([]float64, n*n), weight: make([]float64, n*n)}
	for i, s := range shape {
		l.or[i] = int32(t.first[s])
	}
	l.resetWeights()
	return l
}

func (l *layout) n() int { return len(l.shape) }

func (l *layout) resetWeights() {
	for i := range l.weight {
		l.weight[i] = 1
	}
}

// spots is a copy of where everything lies.
type spots struct {
	or, reg []int32
	x, y    []float64
	regions []Box
}

func (l *layout) save(s *spots) {
	s.or, s.reg = append(s.or[:0], l.or...), append(s.reg[:0], l.reg...)
	s.x, s.y = append(s.x[:0], l.x...), append(s.y[:0], l.y...)
	s.regions = append(s.regions[:0], l.regions...)
}

func (l *layout) load(s *spots) {
	copy(l.or, s.or)
	copy(l.reg, s.reg)
	copy(l.x, s.x)
	copy(l.y, s.y)
	l.regions = append(l.regions[:0], s.regions...)
	l.measure()
}

// room is where the origin of oriented shape o may lie in region r; ok is false when it does not fit.
func (l *layout) room(o, r int32) (b Box, ok bool) {
	g, s := l.regions[r], l.t.turned[o].Box
	b = Box{g.MinX - s.MinX, g.MinY - s.MinY, g.MaxX - s.MaxX, g.MaxY - s.MaxY}
	eps := l.t.tol
	if b.MaxX < b.MinX && b.MaxX > b.MinX-eps {
		b.MaxX = b.MinX
	}
	if b.MaxY < b.MinY && b.MaxY > b.MinY-eps {
		b.MaxY = b.MinY
	}
	return b, b.MinX <= b.MaxX && b.MinY <= b.MaxY
}

// clamp brings piece i back into its region.
func (l *layout) clamp(i int) {
	if b, ok := l.room(l.or[i], l.reg[i]); ok {
		l.x[i] = math.Max(b.MinX, math.Min(b.MaxX, l.x[i]))
		l.y[i] = math.Max(b.MinY, math.Min(b.MaxY, l.y[i]))
	}
}

// near says whether the boxes of pieces i and j come nearer than the spacing.
func (l *layout) near(i, j int) bool {
	a, b := &l.t.turned[l.or[i]].Box, &l.t.turned[l.or[j]].Box
	g := l.t.spacing
	dx, dy := l.x[i]-l.x[j], l.y[i]-l.y[j]
	return dx+a.MinX < b.MaxX+g && dx+a.MaxX > b.MinX-g && dy+a.MinY < b.MaxY+g && dy+a.MaxY > b.MinY-g
}

// pairOver measures the overlap of pieces i and j afresh.
func (l *layout) pairOver(i, j int) float64 {
	if l.reg[i] != l.reg[j] || !l.near(i, j) {
		return 0
	}
	return l.t.pair(l.or[i], l.or[j]).depth(l.x[i]-l.x[j], l.y[i]-l.y[j])
}

// measure fills over and total.
func (l *layout) measure() {
	n := l.n()
	l.total = 0
	for i := 0; i < n; i++ {
		l.over[i*n+i] = 0
		for j := i + 1; j < n; j++ {
			d := l.pairOver(i, j)
			l.over[i*n+j], l.over[j*n+i] = d, d
			l.total += d
		}
	}
}

// place moves piece i and measures its pairs.
func (l *layout) place(i int, or, reg int32, x, y float64) {
	l.or[i], l.reg[i], l.x[i], l.y[i] = or, reg, x, y
	n := l.n()
	row := l.over[i*n : i*n+n]
	for j := range row {
		if j == i {
			continue
		}
		d := l.pairOver(i, j)
		if d != row[j] {
			row[j] = d
			l.over[j*n+i] = d
		}
	}
}

// sum refreshes total from over.
func (l *layout) sum() float64 {
	n := l.n()
	l.total = 0
	for i := 0; i < n; i++ {
		for _, d := range l.over[i*n+i+1 : i*n+n] {
			l.total += d
		}
	}
	return l.total
}

// rowOver is the plain overlap of piece i with all others.
func (l *layout) rowOver(i int) (s float64) {
	n := l.n()
	for _, d := range l.over[i*n : i*n+n] {
		s += d
	}
	return s
}
