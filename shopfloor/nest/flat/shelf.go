package flat

import (
	"math"
	"math/bits"
)

// Bed is the rectangle that pieces are laid in, with its lower left corner at the origin.
type Bed struct {
	W, H    float64 // mm, usable
	Spacing float64 // between pieces, not to the border
	Cells   int     // cells along the longer side of the bit rows; 0 takes 256
	Trays   int     // most trays to open; 0 means as many as needed
}

// Shelf lays the pieces in the order given (indices into shapes), each in the first tray that has room, as far down and then
// as far left as it goes. Tray −1 says that a piece fits into no tray. The work grows with distinct shapes, not with pieces:
// places once found taken are never looked at again for the same shape and turn.
func Shelf(shapes []Shape, order []int, bed Bed) []Spot {
	s := newShelf(shapes, bed)
	out := make([]Spot, len(order))
	for i, k := range order {
		if i > 0 && order[i-1] == k && out[i-1].Tray < 0 {
			out[i] = out[i-1]
			continue
		}
		out[i] = s.put(k)
	}
	return out
}

// shelf is the state while filling.
type shelf struct {
	shapes []Shape
	bed    Bed
	cell   float64
	nx, ny int
	words  int
	masks  [][]mask // per shape and turn
	trays  []*shelfTray
	fits   map[[4]int][]convex // displacements at which two turned shapes collide
	ring   Poly                // disc for the spacing, or nil
	hit    []uint64
	run    []uint64
}

// mask is a turned shape on bit rows, its box's corner at a grid corner.
type mask struct {
	ok   bool
	w, h int
	runs [][][2]int // per row: cells from..to (inclusive)
}

type shelfTray struct {
	occ    []uint64
	from   [][]int // per shape and turn: the first row that may still have room; ny means none
	placed []shelfPiece
}

type shelfPiece struct {
	shape, turn int
	at          Pt // of the outline's origin
}

func newShelf(shapes []Shape, bed Bed) *shelf {
	if bed.Cells <= 0 {
		bed.Cells = 256
	}
	s := &shelf{shapes: shapes, bed: bed, fits: map[[4]int][]convex{}}
	s.cell = math.Max(bed.W, bed.H) / float64(bed.Cells)
	if bed.Spacing > 0 && s.cell < bed.Spacing { // whole cells in the spacing waste least
		s.cell = bed.Spacing / math.Round(bed.Spacing/s.cell)
	}
	s.nx, s.ny = int(bed.W/s.cell+1e-9), int(bed.H/s.cell+1e-9)
	s.words = (s.nx + 63) / 64
	s.hit, s.run = make([]uint64, s.words), make([]uint64, s.words+1)
	if bed.Spacing > 0 {
		s.ring = disc(bed.Spacing)
	}
	s.masks = make([][]mask, len(shapes))
	for i, sh := range shapes {
		s.masks[i] = make([]mask, len(sh.Turns))
		for j, t := range sh.Turns {
			s.masks[i][j] = s.mask(t)
		}
	}
	return s
}

// mask rasterises a turned shape; every cell it touches is set.
func (s *shelf) mask(t Turned) mask {
	m := mask{ok: t.Box.W() <= s.bed.W+1e-9 && t.Box.H() <= s.bed.H+1e-9}
	if !m.ok {
		return m
	}
	m.w, m.h = s.up(t.Box.W()), s.up(t.Box.H())
	m.runs = make([][][2]int, m.h)
	for _, p := range t.Pieces {
		s.cover(p, Pt{-t.Box.MinX, -t.Box.MinY}, func(row, a, b int) {
			if row >= 0 && row < m.h {
				m.runs[row] = addRun(m.runs[row], max(a, 0), min(b, m.w-1))
			}
		})
	}
	return m
}

func (s *shelf) up(l float64) int { return max(1, int(math.Ceil(l/s.cell-1e-9))) }

// addRun joins a..b into a list of disjoint runs.
func addRun(rs [][2]int, a, b int) [][2]int {
	if a > b {
		return rs
	}
	out := rs[:0:0]
	for _, r := range rs {
		if r[1] < a-1 || r[0] > b+1 {
			out = append(out, r)
			continue
		}
		a, b = min(a, r[0]), max(b, r[1])
	}
	return append(out, [2]int{a, b})
}

// cover calls row with the cells that convex p, moved by d, touches with more than an edge.
func (s *shelf) cover(p Poly, d Pt, row func(y, a, b int)) {
	b := p.Box()
	y0 := int(math.Floor((b.MinY+d.Y)/s.cell + 1e-9))
	y1 := int(math.Ceil((b.MaxY+d.Y)/s.cell-1e-9)) - 1
	for y := y0; y <= y1; y++ {
		lo, hi := slab(p, float64(y)*s.cell-d.Y, float64(y+1)*s.cell-d.Y)
		if lo > hi {
			continue
		}
		row(y, int(math.Floor((lo+d.X)/s.cell+1e-9)), int(math.Ceil((hi+d.X)/s.cell-1e-9))-1)
	}
}

// slab is the extent in x of the part of convex p between y0 and y1.
func slab(p Poly, y0, y1 float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	n := len(p)
	for i, a := range p {
		b := p[(i+1)%n]
		if a.Y >= y0 && a.Y <= y1 {
			lo, hi = math.Min(lo, a.X), math.Max(hi, a.X)
		}
		for _, y := range [2]float64{y0, y1} {
			if (a.Y < y) != (b.Y < y) {
				x := a.X + (b.X-a.X)*(y-a.Y)/(b.Y-a.Y)
				lo, hi = math.Min(lo, x), math.Max(hi, x)
			}
		}
	}
	return lo, hi
}

// put lays one piece of shape k.
func (s *shelf) put(k int) Spot {
	for i := 0; ; i++ {
		if i == len(s.trays) {
			fits := false
			for _, m := range s.masks[k] {
				fits = fits || m.ok
			}
			if !fits || s.bed.Trays > 0 && i >= s.bed.Trays {
				return Spot{Tray: -1}
			}
			t := &shelfTray{occ: make([]uint64, s.words*s.ny), from: make([][]int, len(s.shapes))}
			for j := range t.from {
				t.from[j] = make([]int, len(s.masks[j]))
			}
			s.trays = append(s.trays, t)
		}
		if sp, ok := s.putIn(s.trays[i], k); ok {
			sp.Tray = i
			return sp
		}
	}
}

func (s *shelf) putIn(t *shelfTray, k int) (Spot, bool) {
	best, bestTop, bestRight, bestAt := -1, math.Inf(1), math.Inf(1), Pt{}
	for j, m := range s.masks[k] {
		if !m.ok {
			continue
		}
		box := s.shapes[k].Turns[j].Box
		if len(t.placed) == 0 { // an empty tray: the corner, whatever the grid says
			if box.H() < bestTop || box.H() == bestTop && box.W() < bestRight {
				best, bestTop, bestRight, bestAt = j, box.H(), box.W(), Pt{-box.MinX, -box.MinY}
			}
			continue
		}
		y, x, ok := s.find(t, m, t.from[k][j])
		if !ok {
			t.from[k][j] = s.ny
			continue
		}
		t.from[k][j] = y
		at := Pt{float64(x)*s.cell - box.MinX, float64(y)*s.cell - box.MinY}
		top, right := at.Y+box.MaxY, at.X+box.MaxX
		if top < bestTop-1e-9 || top < bestTop+1e-9 && right < bestRight {
			best, bestTop, bestRight, bestAt = j, top, right, at
		}
	}
	if best < 0 {
		return Spot{}, false
	}
	if len(t.placed) > 0 {
		bestAt = s.home(t, k, best, bestAt)
	}
	t.placed = append(t.placed, shelfPiece{k, best, bestAt})
	for _, p := range s.shapes[k].Turns[best].Pieces {
		if s.ring != nil {
			p = minkowski(p, s.ring)
		}
		s.cover(p, bestAt, func(y, a, b int) {
			if y < 0 || y >= s.ny {
				return
			}
			setRun(t.occ[y*s.words:(y+1)*s.words], max(a, 0), min(b, s.nx-1))
		})
	}
	return Spot{Turn: best, X: bestAt.X, Y: bestAt.Y}, true
}

// setRun sets the bits a..b.
func setRun(row []uint64, a, b int) {
	for a <= b {
		w, o := a>>6, a&63
		n := min(b-a+1, 64-o)
		row[w] |= (^uint64(0) >> (64 - n)) << o
		a += n
	}
}

// find looks for the lowest row from y0 on, and in it the leftmost column, where m meets no taken cell.
func (s *shelf) find(t *shelfTray, m mask, y0 int) (y, x int, ok bool) {
	last := s.nx - m.w
	for y = y0; y <= s.ny-m.h; y++ {
		for i := range s.hit {
			s.hit[i] = 0
		}
		full := false
		for r := 0; r < m.h && !full; r++ {
			occ := t.occ[(y+r)*s.words : (y+r+1)*s.words]
			any := uint64(0)
			for _, w := range occ {
				any |= w
			}
			if any == 0 {
				continue
			}
			for _, run := range m.runs[r] {
				s.smear(occ, run[0], run[1])
			}
			full = allSet(s.hit, last+1)
		}
		if full {
			continue
		}
		if x = firstClear(s.hit, last+1); x >= 0 {
			return y, x, true
		}
	}
	return 0, 0, false
}

// smear adds to hit every x for which one of the cells x+a..x+b is taken.
func (s *shelf) smear(occ []uint64, a, b int) {
	run := s.run[:len(occ)]
	copy(run, occ)
	n := b - a + 1
	for have := 1; have < n; {
		step := min(have, n-have)
		orShifted(run, run, step)
		have += step
	}
	orShifted(s.hit, run, a)
}

// orShifted sets dst |= src >> by, where lower bits are smaller x. dst may be src: words are taken in rising order and only
// words at or above the one written are read.
func orShifted(dst, src []uint64, by int) {
	w, o := by>>6, uint(by&63)
	n := len(src)
	if o == 0 {
		for i := 0; i+w < n; i++ {
			dst[i] |= src[i+w]
		}
		return
	}
	for i := 0; i+w < n; i++ {
		v := src[i+w] >> o
		if i+w+1 < n {
			v |= src[i+w+1] << (64 - o)
		}
		dst[i] |= v
	}
}

func allSet(row []uint64, n int) bool { return firstClear(row, n) < 0 }

// firstClear is the first bit below n that is not set, or −1.
func firstClear(row []uint64, n int) int {
	for i := 0; i*64 < n; i++ {
		if row[i] != ^uint64(0) {
			if x := i*64 + bits.TrailingZeros64(^row[i]); x < n {
				return x
			}
			return -1
		}
	}
	return -1
}

// home slides a piece from a free place down and left, exactly, until it touches.
func (s *shelf) home(t *shelfTray, k, j int, at Pt) Pt {
	box := s.shapes[k].Turns[j].Box
	for i := 0; i < 4; i++ {
		before := at
		at.Y -= s.slide(t, k, j, at, Pt{0, -1}, at.Y+box.MinY)
		at.X -= s.slide(t, k, j, at, Pt{-1, 0}, at.X+box.MinX)
		if before.Sub(at).Len() < 1e-6*s.cell {
			break
		}
	}
	return at
}

// slide is how far a piece may move from at along dir (a unit step along an axis), at most room.
func (s *shelf) slide(t *shelfTray, k, j int, at, dir Pt, room float64) float64 {
	if room <= 0 {
		return room // back onto the border after rounding
	}
	box := s.shapes[k].Turns[j].Box
	swept := Box{at.X + box.MinX + math.Min(0, dir.X*room), at.Y + box.MinY + math.Min(0, dir.Y*room),
		at.X + box.MaxX, at.Y + box.MaxY}
	far := room
	gap := s.bed.Spacing
	for _, q := range t.placed {
		qb := s.shapes[q.shape].Turns[q.turn].Box
		if q.at.X+qb.MinX-gap >= swept.MaxX || q.at.X+qb.MaxX+gap <= swept.MinX ||
			q.at.Y+qb.MinY-gap >= swept.MaxY || q.at.Y+qb.MaxY+gap <= swept.MinY {
			continue
		}
		d := at.Sub(q.at)
		for i, ms := 0, s.between(q.shape, q.turn, k, j); i < len(ms); i++ {
			far = ms[i].entry(d, dir, far)
		}
	}
	return math.Max(0, far-1e-9*s.cell)
}

// between gives the displacements at which shape b would collide with shape a.
func (s *shelf) between(a, ta, b, tb int) []convex {
	key := [4]int{a, ta, b, tb}
	if m, ok := s.fits[key]; ok {
		return m
	}
	m := collisions(s.shapes[a].Turns[ta].Pieces, s.shapes[b].Turns[tb].Pieces, s.ring)
	s.fits[key] = m
	return m
}
