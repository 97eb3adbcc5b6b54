package flat

import (
	"math"
	"sync"
	"sync/atomic"
)

// table holds the fit maps of a set of shapes, made when first asked for and shared by all searches. What it answers does not
// depend on who asked first.
type table struct {
	shapes  []Shape
	turned  []oriented // all shapes in all turns, flat
	first   []int      // index in turned of each shape's first turn
	spacing float64
	grown   Poly
	tol     float64
	pairs   []atomic.Pointer[pair]
	mu      sync.Mutex
	maps    map[mapKey]*fitMap
}

// oriented is a shape in one of its turns.
type oriented struct {
	*Turned
	shape, turn int
}

// mapKey names two shapes and the angle between their turns, so that a map serves every common turn.
type mapKey struct {
	a, b int
	nano int64 // relative turn in 1e-9 degrees, 2e-11 of a piece's size
}

// pair is the map for a moving piece against a lying one, with the rotation that takes the displacement moving − lying
// into the map's frame.
type pair struct {
	m     fitMap // a copy, which shares the cells: one step less on the way to them
	c, s  float64
	scale float64 // what a mm of overlap of these two is worth, see worth
}

func newTable(shapes []Shape, spacing, tol float64) *table {
	t := &table{shapes: shapes, spacing: spacing, tol: tol, maps: map[mapKey]*fitMap{}}
	if spacing > 0 {
		t.grown = disc(spacing)
	}
	for i := range shapes {
		t.first = append(t.first, len(t.turned))
		for j := range shapes[i].Turns {
			t.turned = append(t.turned, oriented{&shapes[i].Turns[j], i, j})
		}
	}
	t.pairs = make([]atomic.Pointer[pair], len(t.turned)*len(t.turned))
	return t
}

// pair is the answerer for oriented shape moving against oriented shape lying.
func (t *table) pair(moving, lying int32) *pair {
	at := &t.pairs[int(moving)*len(t.turned)+int(lying)]
	if p := at.Load(); p != nil {
		return p
	}
	mo, ly := t.turned[moving], t.turned[lying]
	a, b := ly, mo
	flip := false
	if mo.shape < ly.shape {
		a, b = mo, ly
		flip = true
	}
	rel := math.Mod(b.Deg-a.Deg, 360)
	if rel < 0 {
		rel += 360
	}
	// The angle is rounded so that the map does not depend on which of several pairs at the same angle asked first.
	nano := int64(math.Round(rel*1e9)) % 360e9
	rel = float64(nano) / 1e9
	key := mapKey{a.shape, b.shape, nano}
	t.mu.Lock()
	m := t.maps[key]
	t.mu.Unlock()
	if m == nil {
		pa := turnPieces(t.shapes[a.shape].Turns[0].Pieces, -t.shapes[a.shape].Turns[0].Deg)
		pb := turnPieces(t.shapes[b.shape].Turns[0].Pieces, rel-t.shapes[b.shape].Turns[0].Deg)
		m = newFitMap(pa, pb, t.grown, t.tol)
		t.mu.Lock()
		if have := t.maps[key]; have != nil {
			m = have
		} else {
			t.maps[key] = m
		}
		t.mu.Unlock()
	}
	c, s := Turn(-a.Deg)
	if flip { // the map wants b − a = −(moving − lying)
		c, s = -c, -s
	}
	p := &pair{m: *m, c: c, s: s, scale: worth(t.shapes[mo.shape].Area, t.shapes[ly.shape].Area)}
	at.Store(p)
	return p
}

// worth is what a mm of overlap of two pieces counts. A mm between two large pieces is much harder to remove than one under a
// small piece, which can go elsewhere; the smaller of the two decides. With a = √area: a_small² / √a_large, by trial on the open
// strip sets: against plain depth it saves one point of density, and exponents nearby do no better.
func worth(areaA, areaB float64) float64 {
	return min(areaA, areaB) / math.Sqrt(math.Sqrt(max(areaA, areaB)))
}

func turnPieces(ps []Poly, deg float64) []Poly {
	if deg == 0 {
		return ps
	}
	out := make([]Poly, len(ps))
	for i, p := range ps {
		out[i] = p.Rotate(deg)
	}
	return out
}

// depth is the overlap of a moving piece displaced by (dx, dy) from a lying one.
func (p *pair) depth(dx, dy float64) float64 {
	return p.scale * p.m.depth(p.c*dx-p.s*dy, p.s*dx+p.c*dy)
}

// way is depth and the direction (unit, times scale) in which it falls.
func (p *pair) way(dx, dy float64) (d, ux, uy float64) {
	d, x, y := p.m.way(p.c*dx-p.s*dy, p.s*dx+p.c*dy)
	return p.scale * d, p.scale * (p.c*x + p.s*y), p.scale * (p.c*y - p.s*x)
}
