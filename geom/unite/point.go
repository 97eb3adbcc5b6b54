package unite

import (
	"math"
	"math/big"

	"firstoff/geom/exact"
	"firstoff/geom/r3"
)

// point is a place in whole cells or, where planes meet, a quotient of big integers.
type point struct {
	f [3]float64 // rounded; the rounding is monotone, so f says which of two coordinates is larger unless they are equal
	q *quotient  // nil: f is exact
}

// quotient is (x[0], x[1], x[2]) / w, w > 0.
type quotient struct {
	x [3]*big.Int
	w *big.Int
}

func mul(a, b *big.Int) *big.Int { return new(big.Int).Mul(a, b) }
func add(a, b *big.Int) *big.Int { return new(big.Int).Add(a, b) }
func sub(a, b *big.Int) *big.Int { return new(big.Int).Sub(a, b) }

var one = big.NewInt(1)

// whole is a cell coordinate as a big integer.
func whole(f float64) *big.Int { return big.NewInt(int64(f)) }

func (p *point) parts() (x [3]*big.Int, w *big.Int) {
	if p.q != nil {
		return p.q.x, p.q.w
	}
	return [3]*big.Int{whole(p.f[0]), whole(p.f[1]), whole(p.f[2])}, one
}

func (p *point) vec() r3.Vec { return r3.FromArray(p.f) }

// quotientPoint is x/w; w may have either sign but not be 0.
func quotientPoint(x [3]*big.Int, w *big.Int) point {
	if w.Sign() < 0 {
		w = new(big.Int).Neg(w)
		for i := range x {
			x[i] = new(big.Int).Neg(x[i])
		}
	}
	p := point{q: &quotient{x, w}}
	d := new(big.Float).SetInt(w)
	even := true
	for i := range x {
		r := new(big.Float).SetPrec(96).Quo(new(big.Float).SetInt(x[i]), d)
		p.f[i], _ = r.Float64()
		p.f[i] += 0
		even = even && p.f[i] == math.Trunc(p.f[i]) && math.Abs(p.f[i]) < 1<<52 && mul(whole(p.f[i]), w).Cmp(x[i]) == 0
	}
	if even {
		p.q = nil
	}
	return p
}

// compare is the order of two points along an axis.
func compare(a, b *point, axis int) int {
	switch {
	case a.f[axis] < b.f[axis]:
		return -1
	case a.f[axis] > b.f[axis]:
		return 1
	case a.q == nil && b.q == nil:
		return 0
	}
	ax, aw := a.parts()
	bx, bw := b.parts()
	return mul(ax[axis], bw).Cmp(mul(bx[axis], aw))
}

func same(a, b *point) bool {
	return a.f == b.f && (a.q == nil) == (b.q == nil) && (a.q == nil || compare(a, b, 0) == 0 && compare(a, b, 1) == 0 && compare(a, b, 2) == 0)
}

const eps = 1.0 / (1 << 53)

// turn is the sign of (b-a)×(c-a) seen along the third axis: positive when a, b, c turn left in the plane of axes u and v.
func turn(a, b, c *point, u, v int) int {
	if a == c || b == c {
		return 0
	}
	ax, ay, bx, by, cx, cy := a.f[u], a.f[v], b.f[u], b.f[v], c.f[u], c.f[v]
	if a.q == nil && b.q == nil && c.q == nil {
		return exact.Orient2D(ax, ay, bx, by, cx, cy)
	}
	// Each difference is off by the rounding of two coordinates and its own; products and their difference by three roundings more.
	off := 4 * eps * max(math.Abs(ax), math.Abs(ay), math.Abs(bx), math.Abs(by), math.Abs(cx), math.Abs(cy))
	p, q, r, s := bx-ax, cy-ay, by-ay, cx-ax
	l, m := p*q, r*s
	det := l - m
	if e := 2 * (off*(math.Abs(p)+math.Abs(q)+math.Abs(r)+math.Abs(s)+2*off) + 4*eps*(math.Abs(l)+math.Abs(m))); det > e || -det > e {
		return sign(det)
	}
	A, aw := a.parts()
	B, bw := b.parts()
	C, cw := c.parts()
	// The determinant of rows (x, y, w).
	d := mul(A[u], sub(mul(B[v], cw), mul(C[v], bw)))
	d.Sub(d, mul(A[v], sub(mul(B[u], cw), mul(C[u], bw))))
	d.Add(d, mul(aw, sub(mul(B[u], C[v]), mul(C[u], B[v]))))
	return d.Sign()
}

func sign(x float64) int {
	switch {
	case x > 0:
		return 1
	case x < 0:
		return -1
	}
	return 0
}

// side is the side of the plane through whole points a, b, c on which p lies: positive where they turn left.
func side(a, b, c, p *point) int {
	if p.q == nil {
		return exact.Orient3D(a.vec(), b.vec(), c.vec(), p.vec())
	}
	o := a.vec()
	s, t, r := b.vec().Sub(o), c.vec().Sub(o), p.vec().Sub(o)
	size := func(v r3.Vec) float64 { return max(math.Abs(v.X), math.Abs(v.Y), math.Abs(v.Z)) }
	st, off := size(s)*size(t), 2*eps*size(p.vec())
	det := s.Cross(t).Dot(r)
	if e := st * (64*eps*size(r) + 12*off); det > e || -det > e {
		return sign(det)
	}
	return planeOf(a, b, c).of(p)
}

// flat is a plane n·x = d with whole coefficients.
type flat struct {
	n [3]*big.Int
	d *big.Int
}

// planeOf is the plane through three whole points, facing where they turn left.
func planeOf(a, b, c *point) *flat {
	var s, t, o [3]*big.Int
	for i := range 3 {
		o[i] = whole(a.f[i])
		s[i], t[i] = whole(b.f[i]-a.f[i]), whole(c.f[i]-a.f[i])
	}
	p := &flat{}
	p.d = new(big.Int)
	for i := range 3 {
		j, k := (i+1)%3, (i+2)%3
		p.n[i] = sub(mul(s[j], t[k]), mul(s[k], t[j]))
		p.d.Add(p.d, mul(p.n[i], o[i]))
	}
	return p
}

// at is n·p - d, times p's denominator.
func (p *flat) at(x [3]*big.Int, w *big.Int) *big.Int {
	s := new(big.Int).Neg(mul(p.d, w))
	for i := range 3 {
		s.Add(s, mul(p.n[i], x[i]))
	}
	return s
}

func (p *flat) of(q *point) int {
	x, w := q.parts()
	return p.at(x, w).Sign()
}

// through is where the line of the whole points a and b, which lie on different sides, meets the plane.
func (p *flat) through(a, b *point) point {
	ax, w := a.parts()
	bx, _ := b.parts()
	da, db := p.at(ax, w), p.at(bx, w)
	var x [3]*big.Int
	for i := range x {
		x[i] = sub(mul(bx[i], da), mul(ax[i], db))
	}
	return quotientPoint(x, sub(da, db))
}

// corner is the point of three planes, which must have one (Cramer's rule).
func corner(p, q, r *flat) point {
	qr, rp, pq := cross(q.n, r.n), cross(r.n, p.n), cross(p.n, q.n)
	w := new(big.Int)
	var x [3]*big.Int
	for i := range 3 {
		w.Add(w, mul(p.n[i], qr[i]))
		x[i] = add(mul(p.d, qr[i]), add(mul(q.d, rp[i]), mul(r.d, pq[i])))
	}
	return quotientPoint(x, w)
}

func cross(a, b [3]*big.Int) (c [3]*big.Int) {
	for i := range 3 {
		j, k := (i+1)%3, (i+2)%3
		c[i] = sub(mul(a[j], b[k]), mul(a[k], b[j]))
	}
	return c
}

// cloud numbers points by place.
type cloud struct {
	pts  []point
	at   map[[3]float64]int32 // first point that rounds there
	next []int32              // further ones
}

// id is the number of a point at that place, a new one if there is none.
func (c *cloud) id(p point) int32 {
	first, ok := c.at[p.f]
	for i := first; ok && i >= 0; i = c.next[i] {
		if same(&c.pts[i], &p) {
			return i
		}
	}
	n := int32(len(c.pts))
	c.pts = append(c.pts, p)
	if !ok {
		first = -1
	}
	c.next = append(c.next, first)
	c.at[p.f] = n
	return n
}
