package mesh

import (
	"cmp"
	"container/heap"
	"math"
	"slices"

	"firstoff/geom/r3"
)

// Fitting is the answer to whether a part fits.
type Fitting struct {
	Turn r3.Quat // takes the part into the envelope; when it does not fit, the turn that comes closest
	Fits bool
	// Over is the largest extent as a share of what the envelope leaves, at Turn: at most 1 if it fits.
	Over float64
	// Proved says that a "no" is certain: no turn at all fits an envelope smaller by FitSlack. A "yes" is always certain.
	Proved bool
}

// FitSlack is the share of the envelope within which a part that fits only just may be told that it does not.
const FitSlack = 0.002

// FitsIn says whether a convex hull fits into a box-shaped envelope with margin left on every side, in any turn, and gives
// one. Turns that keep the part's z upright are preferred, then quarter turns, then the smallest box, then any.
func FitsIn(hull *Mesh, envelope r3.Vec, margin float64) (r3.Quat, bool) {
	f := Fit(hull, envelope, margin)
	return f.Turn, f.Fits
}

// Fit is FitsIn with the reason. The turn is found, or excluded, by branch and bound over all rotations: a cell of rotations
// is given up when for every turn in it some chord of the part is longer, along one axis of the envelope, than the envelope. What remains undecided within
// FitSlack, or after a fixed number of cells, counts as not fitting; Proved tells the two apart.
func Fit(hull *Mesh, envelope r3.Vec, margin float64) Fitting {
	pts := corners(hull)
	room := envelope.Sub(r3.Vec{X: 2 * margin, Y: 2 * margin, Z: 2 * margin})
	if room.X <= 0 || room.Y <= 0 || room.Z <= 0 {
		return Fitting{Turn: r3.Identity, Over: math.Inf(1), Proved: true}
	}
	if len(pts) == 0 {
		return Fitting{Turn: r3.Identity, Fits: true}
	}
	over := func(p []r3.Vec, q r3.Quat) float64 {
		s, _ := extent(p, q)
		return max(s.X/room.X, s.Y/room.Y, s.Z/room.Z)
	}
	best := Fitting{Over: math.Inf(1)}
	try := func(q r3.Quat) bool {
		if o := over(pts, q); o < best.Over {
			best.Turn, best.Over = q, o
			best.Fits = o <= 1
		}
		return best.Fits
	}
	for _, q := range quarterTurns() {
		if try(q) {
			return best
		}
	}
	few := thin(pts, 400)
	cost := func(q r3.Quat) float64 { return over(few, q) }
	// Upright: turned about z only.
	for i := range 90 {
		q := r3.AxisAngle(r3.Vec{Z: 1}, float64(i+1)*math.Pi/180)
		if cost(q) < 1.02 {
			if q, _ = descendAbout(q, r3.Vec{Z: 1}, 0.01, cost); try(q) {
				return best
			}
		}
	}
	small := SmallestBox(hull)
	for _, o := range [][]int{{0, 1, 2}, {1, 0, 2}, {0, 2, 1}, {2, 0, 1}, {1, 2, 0}, {2, 1, 0}} {
		q := axisTurn(o).Times(small.Turn).Unit()
		if try(q) {
			return best
		}
		if c := cost(q); c < 1.3 {
			if q, c = descend(q, 0.1, cost); c <= 1 && try(q) {
				return best
			}
		}
	}
	s := search{pts: few, room: room, cost: cost, try: try}
	best.Proved = s.run()
	if best.Fits {
		best.Proved = false
	}
	return best
}

// quarterTurns is the turns that put axes on axes: the two upright ones first. A half turn about an axis changes no extent, so six suffice.
func quarterTurns() []r3.Quat {
	h := math.Pi / 2
	x, y, z := r3.Vec{X: 1}, r3.Vec{Y: 1}, r3.Vec{Z: 1}
	return []r3.Quat{
		r3.Identity, r3.AxisAngle(z, h), r3.AxisAngle(x, h), r3.AxisAngle(y, h),
		r3.AxisAngle(z, h).Times(r3.AxisAngle(x, h)), r3.AxisAngle(z, h).Times(r3.AxisAngle(y, h)),
	}
}

func descendAbout(q r3.Quat, axis r3.Vec, step float64, cost func(r3.Quat) float64) (r3.Quat, float64) {
	best := cost(q)
	for step > 1e-7 {
		moved := false
		for _, s := range [2]float64{step, -step} {
			t := r3.AxisAngle(axis, s).Times(q).Unit()
			if c := cost(t); c < best {
				q, best, moved = t, c, true
			}
		}
		if !moved {
			step /= 2
		}
	}
	return q, best
}

// search is the branch and bound. Rotations up to half turns about the envelope's axes are the unit quaternions whose w is the
// largest component: the cube (1, x, y, z), |x|,|y|,|z| <= 1. Two of its points at distance d differ by a turn of at most 2d.
type search struct {
	pts  []r3.Vec
	room r3.Vec
	cost func(r3.Quat) float64
	try  func(r3.Quat) bool
	open cells
}

type cell struct {
	c     r3.Vec
	half  float64
	bound float64 // no turn in the cell needs less of the envelope than this
	cost  float64 // at its middle
}

// maxCells bounds the search: about half a second.
const maxCells = 150_000

func (s *search) run() (proved bool) {
	first := s.cell(r3.Vec{}, 1)
	s.open = cells{first}
	best := math.Inf(1)
	for n := 0; len(s.open) > 0; n++ {
		if n == maxCells {
			return false
		}
		k := heap.Pop(&s.open).(cell)
		h := k.half / 2
		for i := range 8 {
			o := r3.Vec{X: -h, Y: -h, Z: -h}
			if i&1 > 0 {
				o.X = h
			}
			if i&2 > 0 {
				o.Y = h
			}
			if i&4 > 0 {
				o.Z = h
			}
			sub := s.cell(k.c.Add(o), h)
			if sub.cost < best { // a better middle: follow it down
				best = sub.cost
				if q, c := descend(turnAt(sub.c), 2*h, s.cost); c <= 1 && s.try(q) {
					return false
				}
			}
			if sub.bound <= 1-FitSlack {
				heap.Push(&s.open, sub)
			}
		}
	}
	return true
}

func turnAt(c r3.Vec) r3.Quat { return r3.Quat{W: 1, X: c.X, Y: c.Y, Z: c.Z}.Unit() }

// cell bounds the need of all turns within a cell: along each axis the chord that is longest at the middle stays at least
// |chord|·cos(its angle to the axis + the largest turn within the cell).
func (s *search) cell(c r3.Vec, half float64) cell {
	q := turnAt(c)
	m := q.Mat()
	// Moving by d in the cube turns by at most 2d/(1+|c|²)½ (the map to unit quaternions only shrinks).
	r := half * math.Sqrt(3)
	near := max(c.Norm()-r, 0)
	turn := 2 * r / math.Sqrt(1+near*near)
	k := cell{c: c, half: half}
	for x := range 3 {
		u := r3.Vec{X: m[3*x], Y: m[3*x+1], Z: m[3*x+2]}
		lo, hi := 0, 0
		l, h := math.Inf(1), math.Inf(-1)
		for i := range s.pts {
			v := s.pts[i].X*u.X + s.pts[i].Y*u.Y + s.pts[i].Z*u.Z
			if v < l {
				l, lo = v, i
			}
			if v > h {
				h, hi = v, i
			}
		}
		chord := s.pts[hi].Sub(s.pts[lo])
		d := chord.Norm()
		room := s.room.Axis(x)
		k.cost = max(k.cost, (h-l)/room)
		if d > 0 {
			a := math.Acos(min(1, (h-l)/d)) + turn
			if a < math.Pi/2 {
				k.bound = max(k.bound, d*math.Cos(a)/room)
			}
		}
	}
	return k
}

// cells is a heap, least bound first, then least cost.
type cells []cell

func (c cells) Len() int { return len(c) }
func (c cells) Less(i, j int) bool {
	if d := cmp.Compare(c[i].bound, c[j].bound); d != 0 {
		return d < 0
	}
	return c[i].cost < c[j].cost
}
func (c cells) Swap(i, j int) { c[i], c[j] = c[j], c[i] }
func (c *cells) Push(x any)   { *c = append(*c, x.(cell)) }
func (c *cells) Pop() any {
	o := *c
	x := o[len(o)-1]
	*c = slices.Delete(o, len(o)-1, len(o))
	return x
}
