package chamber

import (
	"math"
	"sort"
	"sync/atomic"

	"firstoff/shopfloor/nest/board"
)

// mover is one search: a packing with overlaps, its weights, its random stream.
type mover struct {
	t                 *table
	box               Box
	high              int
	kind              []int32
	po                []int32
	x, y, z           []int32
	over              []float32 // n × n
	weight            []float32 // n × n
	total             float64
	r                 rng
	stop              *atomic.Bool
	rounds            int
	limit             int
	patience, strikes int // as the constants, but while rushing
	obs               []lying
	bins              [binsX * binsY * binsZ][]int32
	order             []int
	saved             spots

	who      int // number among the searchers
	board    *board.Board[*spots]
	best     *spots // the lowest packing free of overlap
	incoming *spots // the best of all searchers at the last meeting
}

const binsX, binsY, binsZ = 5, 5, 10

// meetEvery is the number of rounds between two meetings of the searchers.
const meetEvery = 100

type lying struct {
	lo, hi  [3]int32 // its cells, grown by the gap
	x, y, z int32
	w       float32
	po      int32
}

func newMover(t *table, kind []int32, box Box, seed uint64, stop *atomic.Bool, limit int) *mover {
	n := len(kind)
	return &mover{t: t, box: box, kind: kind, po: make([]int32, n), x: make([]int32, n), y: make([]int32, n), z: make([]int32, n),
		over: make([]float32, n*n), weight: make([]float32, n*n), r: newRNG(seed), stop: stop, limit: limit, patience: patience, strikes: strikes}
}

func (m *mover) done() bool { return m.stop.Load() || m.limit > 0 && m.rounds >= m.limit }

func (m *mover) save(s *spots) {
	s.po = append(s.po[:0], m.po...)
	s.x, s.y, s.z = append(s.x[:0], m.x...), append(s.y[:0], m.y...), append(s.z[:0], m.z...)
	s.high = m.high
}

func (m *mover) load(s *spots) {
	copy(m.po, s.po)
	copy(m.x, s.x)
	copy(m.y, s.y)
	copy(m.z, s.z)
	m.high = s.high
	m.measure()
}

func (m *mover) pairOver(i, j int) float32 {
	a, b := &m.t.posed[m.po[i]].size, &m.t.posed[m.po[j]].size
	dx, dy, dz := int(m.x[i]-m.x[j]), int(m.y[i]-m.y[j]), int(m.z[i]-m.z[j])
	g := m.t.pad
	if dx >= b[0]+g || -dx >= a[0]+g || dy >= b[1]+g || -dy >= a[1]+g || dz >= b[2]+g || -dz >= a[2]+g {
		return 0
	}
	return m.t.pair(m.po[i], m.po[j]).at(dx, dy, dz)
}

// measure clamps every body into the box and fills over and total.
func (m *mover) measure() {
	n := len(m.kind)
	for i := range n {
		s := &m.t.posed[m.po[i]].size
		if s[2] > m.high { // too tall below this lid: the first pose that fits
			k := int(m.kind[i])
			for po := m.t.first[k]; po < m.t.first[k]+m.t.count[k]; po++ {
				if q := &m.t.posed[po].size; q[0] <= m.box.NX && q[1] <= m.box.NY && q[2] <= m.high {
					m.po[i], s = int32(po), q
					break
				}
			}
		}
		m.x[i] = max(0, min(m.x[i], int32(m.box.NX-s[0])))
		m.y[i] = max(0, min(m.y[i], int32(m.box.NY-s[1])))
		m.z[i] = max(0, min(m.z[i], int32(m.high-s[2])))
	}
	m.total = 0
	for i := range n {
		m.over[i*n+i] = 0
		for j := i + 1; j < n; j++ {
			d := m.pairOver(i, j)
			m.over[i*n+j], m.over[j*n+i] = d, d
			m.total += float64(d)
		}
	}
}

func (m *mover) rowOver(i int) (s float32) {
	n := len(m.kind)
	for _, d := range m.over[i*n : i*n+n] {
		s += d
	}
	return s
}

// top is how high the packing reaches.
func (m *mover) top() (h int) {
	for i, z := range m.z {
		h = max(h, int(z)+m.t.posed[m.po[i]].size[2])
	}
	return h
}

// around gathers what body i must avoid, binned by the cell its corner may take.
func (m *mover) around(i int) {
	n := len(m.kind)
	for k := range m.bins {
		m.bins[k] = m.bins[k][:0]
	}
	m.obs = m.obs[:0]
	var u [3]int // largest size over the poses
	k := int(m.kind[i])
	for po := m.t.first[k]; po < m.t.first[k]+m.t.count[k]; po++ {
		for a, s := range m.t.posed[po].size {
			u[a] = max(u[a], s)
		}
	}
	g := int32(m.t.pad)
	for j := range n {
		if j == i {
			continue
		}
		s := &m.t.posed[m.po[j]].size
		o := lying{x: m.x[j], y: m.y[j], z: m.z[j], w: m.weight[i*n+j], po: m.po[j]}
		o.lo = [3]int32{o.x - g, o.y - g, o.z - g}
		o.hi = [3]int32{o.x + int32(s[0]) + g, o.y + int32(s[1]) + g, o.z + int32(s[2]) + g}
		at := int32(len(m.obs))
		m.obs = append(m.obs, o)
		x0, y0, z0 := m.bin(int(o.lo[0])-u[0], int(o.lo[1])-u[1], int(o.lo[2])-u[2])
		x1, y1, z1 := m.bin(int(o.hi[0]), int(o.hi[1]), int(o.hi[2]))
		for z := z0; z <= z1; z++ {
			for y := y0; y <= y1; y++ {
				for x := x0; x <= x1; x++ {
					b := (z*binsY+y)*binsX + x
					m.bins[b] = append(m.bins[b], at)
				}
			}
		}
	}
}

func (m *mover) bin(x, y, z int) (int, int, int) {
	f := func(v, n, of int) int { return max(0, min(n-1, v*n/of)) }
	return f(x, binsX, m.box.NX), f(y, binsY, m.box.NY), f(z, binsZ, max(1, m.high))
}

// cost is the weighted overlap of posed body po with its corner at (x, y, z); counting stops beyond limit.
func (m *mover) cost(po int32, x, y, z int, limit float32) float32 {
	t := m.t
	s := &t.posed[po].size
	x0, y0, z0 := int32(x), int32(y), int32(z)
	x1, y1, z1 := x0+int32(s[0]), y0+int32(s[1]), z0+int32(s[2])
	bx, by, bz := m.bin(x, y, z)
	row := t.pairs[int(po)*len(t.posed):]
	var sum float32
	for _, k := range m.bins[(bz*binsY+by)*binsX+bx] {
		q := &m.obs[k]
		if x0 >= q.hi[0] || x1 <= q.lo[0] || y0 >= q.hi[1] || y1 <= q.lo[1] || z0 >= q.hi[2] || z1 <= q.lo[2] {
			continue
		}
		p := row[q.po].Load()
		if p == nil {
			p = t.pair(po, q.po)
		}
		if d := p.at(x-int(q.x), y-int(q.y), z-int(q.z)); d > 0 {
			sum += q.w * d
			if sum >= limit {
				return sum
			}
		}
	}
	return sum
}

type try struct {
	po      int32
	x, y, z int
	cost    float32
}

const (
	tryWide, tryClose, tryKeep = 60, 20, 3
	patience, strikes          = 50, 3
)

// move looks for a better place for body i.
func (m *mover) move(i int) bool {
	m.around(i)
	k := int(m.kind[i])
	first, count := m.t.first[k], m.t.count[k]
	now := try{m.po[i], int(m.x[i]), int(m.y[i]), int(m.z[i]), 0}
	inf := float32(math.Inf(1))
	now.cost = m.cost(now.po, now.x, now.y, now.z, inf)
	var top [tryKeep]try
	have := 0
	offer := func(t try) {
		at := have
		if have < tryKeep {
			have++
		} else if at = tryKeep - 1; t.cost >= top[at].cost {
			return
		}
		for ; at > 0 && top[at-1].cost > t.cost; at-- {
			top[at] = top[at-1]
		}
		top[at] = t
	}
	limit := func() float32 {
		if have < tryKeep {
			return inf
		}
		return top[tryKeep-1].cost
	}
	reach := max(2, min(m.t.posed[now.po].size[0], min(m.t.posed[now.po].size[1], m.t.posed[now.po].size[2]))/2)
	// Often a small step is enough.
	near := m.descend(now, max(1, reach/2))
	if near.cost == 0 {
		m.place(i, near)
		return true
	}
	offer(near)
	for range tryWide {
		if top[0].cost == 0 {
			break
		}
		t := try{po: int32(first)}
		if count > 1 {
			t.po += int32(m.r.intn(count))
		}
		s := &m.t.posed[t.po].size
		rx, ry, rz := m.box.NX-s[0], m.box.NY-s[1], m.high-s[2]
		if rx < 0 || ry < 0 || rz < 0 {
			continue
		}
		t.x, t.y, t.z = m.r.intn(rx+1), m.r.intn(ry+1), m.r.intn(rz+1)
		t.cost = m.cost(t.po, t.x, t.y, t.z, limit())
		offer(t)
	}
	for c := range tryClose {
		if top[0].cost == 0 {
			break
		}
		t := now
		if count > 1 && c&1 == 1 {
			t.po = int32(first + m.r.intn(count))
		}
		s := &m.t.posed[t.po].size
		rx, ry, rz := m.box.NX-s[0], m.box.NY-s[1], m.high-s[2]
		if rx < 0 || ry < 0 || rz < 0 {
			continue
		}
		t.x = max(0, min(rx, t.x+m.r.intn(2*reach+1)-reach))
		t.y = max(0, min(ry, t.y+m.r.intn(2*reach+1)-reach))
		t.z = max(0, min(rz, t.z+m.r.intn(2*reach+1)-reach))
		t.cost = m.cost(t.po, t.x, t.y, t.z, limit())
		offer(t)
	}
	best := now
	if near.cost < best.cost {
		best = near
	}
	for c := range have {
		if top[c] == near { // is down already
			continue
		}
		t := m.descend(top[c], max(1, reach/2))
		if t.cost < best.cost {
			best = t
		}
		if best.cost == 0 {
			break
		}
	}
	if best.cost >= now.cost {
		return false
	}
	m.place(i, best)
	return true
}

// descend refines a place by halving steps along the axes and across the faces' diagonals.
func (m *mover) descend(t try, step int) try {
	s := &m.t.posed[t.po].size
	room := [3]int{m.box.NX - s[0], m.box.NY - s[1], m.high - s[2]}
	for step > 0 && t.cost > 0 {
		moved := false
		k := m.r.intn(len(steps))
		for a := 0; a < len(steps) && t.cost > 0; a++ {
			d := &steps[(k+a)%len(steps)]
			x := max(0, min(room[0], t.x+step*d[0]))
			y := max(0, min(room[1], t.y+step*d[1]))
			z := max(0, min(room[2], t.z+step*d[2]))
			if x == t.x && y == t.y && z == t.z {
				continue
			}
			if c := m.cost(t.po, x, y, z, t.cost); c < t.cost {
				t.x, t.y, t.z, t.cost = x, y, z, c
				moved = true
			}
		}
		if !moved {
			step /= 2
		}
	}
	return t
}

var steps = func() (out [][3]int) {
	for z := -1; z <= 1; z++ {
		for y := -1; y <= 1; y++ {
			for x := -1; x <= 1; x++ {
				if n := x*x + y*y + z*z; n == 1 || n == 2 {
					out = append(out, [3]int{x, y, z})
				}
			}
		}
	}
	return out
}()

func (m *mover) place(i int, t try) {
	m.po[i], m.x[i], m.y[i], m.z[i] = t.po, int32(t.x), int32(t.y), int32(t.z)
	n := len(m.kind)
	for j := range n {
		if j != i {
			d := m.pairOver(i, j)
			m.over[i*n+j], m.over[j*n+i] = d, d
		}
	}
}

// pass moves every overlapping body once, in random order, and lets the weights grow.
func (m *mover) pass() {
	m.rounds++
	if m.board != nil && m.rounds%meetEvery == 0 {
		_, m.incoming = m.board.Meet(m.who, float64(m.best.high), m.best.clone())
	}
	n := len(m.kind)
	m.order = m.order[:0]
	for i := range n {
		if m.rowOver(i) > 0 {
			m.order = append(m.order, i)
		}
	}
	m.r.shuffle(m.order)
	for _, i := range m.order {
		if m.rowOver(i) > 0 {
			m.move(i)
		}
	}
	var most float32
	m.total = 0
	for k, d := range m.over {
		most = max(most, d)
		if k/n < k%n {
			m.total += float64(d)
		}
	}
	if most == 0 {
		return
	}
	for k, d := range m.over {
		if d > 0 {
			m.weight[k] *= 1.2 + 0.8*d/most
		} else if m.weight[k] > 1 {
			m.weight[k] = max(1, m.weight[k]*0.95)
		}
	}
}

// separate removes all overlaps or gives up with the packing of least overlap it saw.
func (m *mover) separate() bool {
	for i := range m.weight {
		m.weight[i] = 1
	}
	m.measure()
	best := m.total
	m.save(&m.saved)
	for strike := 0; strike < m.strikes; strike++ {
		start := best
		for idle := 0; idle < m.patience; idle++ {
			if m.total == 0 {
				return true
			}
			if m.done() {
				m.load(&m.saved)
				return false
			}
			m.pass()
			if m.total < best {
				if m.total < 0.98*best {
					idle = -1
				}
				best = m.total
				m.save(&m.saved)
			}
		}
		if m.total == 0 {
			return true
		}
		m.load(&m.saved)
		if best < 0.98*start {
			strike = -1
		}
	}
	return false
}

// lower brings the lid of the best packing down by so many cells; what lies above a random cut moves along.
func (m *mover) lower(cells int) {
	m.load(m.best)
	m.high = m.best.high - cells
	cut := int32(m.r.intn(m.high + 1))
	for i, z := range m.z {
		if z > cut {
			m.z[i] -= int32(cells)
		}
	}
}

// rush lowers the lid in large steps, with little patience, halving the step where it fails, down to one cell.
func (m *mover) rush(floor int) {
	m.patience, m.strikes = 20, 1
	for step := m.best.high / 50; step > 1 && !m.done(); {
		if m.best.high-step < floor {
			step /= 2
			continue
		}
		m.lower(step)
		if m.separate() {
			m.high = m.top()
			m.save(m.best)
			continue
		}
		step /= 2
	}
	m.patience, m.strikes = patience, strikes
}

// explore lowers the lid as long as it can; where it cannot, it goes on from a disturbed former attempt.
func (m *mover) explore() {
	type attempt struct {
		s     spots
		total float64
	}
	var pool []attempt
	floor := m.floor()
	m.rush(floor)
	if m.best.high <= floor {
		return
	}
	m.lower(1)
	for !m.done() {
		if m.separate() {
			m.high = m.top()
			m.save(m.best)
			if m.best.high <= floor {
				return
			}
			pool = pool[:0]
			m.lower(1)
			continue
		}
		if m.done() {
			return
		}
		if m.incoming != nil && m.incoming.high < m.best.high {
			m.best = m.incoming.clone()
			if m.best.high <= floor {
				return
			}
			pool = pool[:0]
			m.lower(1)
			m.swapLarge()
			continue
		}
		a := attempt{total: m.total}
		m.save(&a.s)
		at := sort.Search(len(pool), func(k int) bool { return pool[k].total > a.total })
		pool = append(pool, attempt{})
		copy(pool[at+1:], pool[at:])
		pool[at] = a
		if len(pool) > 30 {
			pool = pool[:30]
		}
		g := math.Abs(math.Sqrt(-2*math.Log(1-m.r.float()))*math.Cos(2*math.Pi*m.r.float())) * 0.25
		m.load(&pool[min(len(pool)-1, int(g*float64(len(pool))))].s)
		m.swapLarge()
	}
}

// floor is a height no packing can go below: the tallest body lying flattest, or the solid cells over the area.
func (m *mover) floor() (h int) {
	cells := 0
	for _, k := range m.kind {
		cells += m.t.cells[k]
		flat := math.MaxInt
		for po := m.t.first[k]; po < m.t.first[k]+m.t.count[k]; po++ {
			s := m.t.posed[po].size
			if s[0] <= m.box.NX && s[1] <= m.box.NY {
				flat = min(flat, s[2])
			}
		}
		h = max(h, flat)
	}
	return max(h, (cells+m.box.NX*m.box.NY-1)/(m.box.NX*m.box.NY))
}

// swapLarge lets two large unlike bodies change places.
func (m *mover) swapLarge() {
	n := len(m.kind)
	if n < 2 {
		return
	}
	by := make([]int, n)
	all, sum := 0, 0
	for i := range by {
		by[i] = i
		all += m.t.cells[m.kind[i]]
	}
	sort.SliceStable(by, func(a, b int) bool { return m.t.cells[m.kind[by[a]]] > m.t.cells[m.kind[by[b]]] })
	k := 0
	for k < n && (4*sum < 3*all || k < 2) {
		sum += m.t.cells[m.kind[by[k]]]
		k++
	}
	a := by[m.r.intn(k)]
	b := a
	for try := 0; try < 50 && (b == a || m.kind[a] == m.kind[b]); try++ {
		b = by[m.r.intn(k)]
	}
	if a == b {
		return
	}
	sa, sb := &m.t.posed[m.po[a]].size, &m.t.posed[m.po[b]].size
	swap := func(p []int32, axis int) {
		ca, cb := 2*int(p[a])+sa[axis], 2*int(p[b])+sb[axis]
		p[a], p[b] = int32((cb-sa[axis])/2), int32((ca-sb[axis])/2)
	}
	swap(m.x, 0)
	swap(m.y, 1)
	swap(m.z, 2)
}
