// Package exact decides on which side of a line or a plane a point lies, without rounding error.
//
// A floating-point filter answers nearly always; where it cannot, the determinant is expanded into an exact sum of
// float64 terms and its sign is the sign of the largest term.
//
// Promise: the sign is right for all finite inputs whose products neither overflow nor underflow, in particular for all
// coordinates that came from float32 (TestSignsAgainstRationals).
// Source: Shewchuk, "Adaptive precision floating-point arithmetic and fast robust geometric predicates", DCG 18, 1997;
// the filter constants are his ccwerrboundA and o3derrboundA.
package exact

import (
	"math"

	"firstoff/geom/r3"
)

const (
	eps       = 1.0 / (1 << 53)
	line2Err  = (3 + 16*eps) * eps
	plane3Err = (7 + 56*eps) * eps
)

// Orient2D is the sign of (b-a)×(c-a): positive when a, b, c turn left.
func Orient2D(ax, ay, bx, by, cx, cy float64) int {
	l, r := (ax-cx)*(by-cy), (ay-cy)*(bx-cx)
	det := l - r
	if e := line2Err * (math.Abs(l) + math.Abs(r)); det > e || -det > e {
		return sign(det)
	} else if e == 0 {
		return 0
	}
	var b1, b2, b3 [16]float64
	dax, day := diff(ax, cx), diff(ay, cy)
	dbx, dby := diff(bx, cx), diff(by, cy)
	p := mul2(b1[:0], dax, dby)
	q := mul2(b2[:0], day, dbx)
	for i := range q {
		q[i] = -q[i]
	}
	return top(add(b3[:0], p, q))
}

// Orient3D is the sign of ((b-a)×(c-a))·(d-a): positive when d lies on the side from which a, b, c turn left.
func Orient3D(a, b, c, d r3.Vec) int {
	ux, uy, uz := a.X-d.X, a.Y-d.Y, a.Z-d.Z
	vx, vy, vz := b.X-d.X, b.Y-d.Y, b.Z-d.Z
	wx, wy, wz := c.X-d.X, c.Y-d.Y, c.Z-d.Z
	vw1, vw2 := vx*wy, wx*vy
	wu1, wu2 := wx*uy, ux*wy
	uv1, uv2 := ux*vy, vx*uy
	det := uz*(vw1-vw2) + vz*(wu1-wu2) + wz*(uv1-uv2)
	e := plane3Err * ((math.Abs(vw1)+math.Abs(vw2))*math.Abs(uz) + (math.Abs(wu1)+math.Abs(wu2))*math.Abs(vz) + (math.Abs(uv1)+math.Abs(uv2))*math.Abs(wz))
	if det > e || -det > e {
		return -sign(det)
	} else if e == 0 {
		return 0
	}
	return -orient3(a, b, c, d)
}

// orient3 is the sign of the determinant with rows a-d, b-d, c-d.
func orient3(a, b, c, d r3.Vec) int {
	u := [3]two{diff(a.X, d.X), diff(a.Y, d.Y), diff(a.Z, d.Z)}
	v := [3]two{diff(b.X, d.X), diff(b.Y, d.Y), diff(b.Z, d.Z)}
	w := [3]two{diff(c.X, d.X), diff(c.Y, d.Y), diff(c.Z, d.Z)}
	var b1, b2, b3 [64]float64
	s := minor(b1[:0], v, w, u[2])
	s2 := minor(b2[:0], w, u, v[2])
	s = add(b3[:0], s, s2)
	s2 = minor(b2[:0], u, v, w[2])
	var b4 [192]float64
	return top(add(b4[:0], s, s2))
}

// minor is (p.x·q.y - q.x·p.y)·z.
func minor(out []float64, p, q [3]two, z two) []float64 {
	var b1, b2 [8]float64
	var b3 [16]float64
	l := mul2(b1[:0], p[0], q[1])
	r := mul2(b2[:0], q[0], p[1])
	for i := range r {
		r[i] = -r[i]
	}
	m := add(b3[:0], l, r)
	var b4, b5 [32]float64
	h := scale(b4[:0], m, z.hi)
	if z.lo == 0 {
		return append(out, h...)
	}
	return add(out, h, scale(b5[:0], m, z.lo))
}

// two is an exact sum of a rounded value and its rounding error.
type two struct{ hi, lo float64 }

func diff(a, b float64) two {
	x := a - b
	v := a - x
	return two{x, (a - (x + v)) + (v - b)}
}

func sum2(a, b float64) two {
	x := a + b
	v := x - a
	return two{x, (a - (x - v)) + (b - v)}
}

func prod(a, b float64) two {
	x := a * b
	return two{x, math.FMA(a, b, -x)}
}

// mul2 is the product of two exact pairs: up to eight terms, growing, without zeros.
func mul2(out []float64, a, b two) []float64 {
	p := prod(a.hi, b.hi)
	if a.lo == 0 && b.lo == 0 {
		return pair(out, p)
	}
	var b1, b2, b3, b4 [8]float64
	s := pair(b1[:0], p)
	s = add(b2[:0], s, pair(b3[:0], prod(a.hi, b.lo)))
	s = add(b1[:0], s, pair(b3[:0], prod(a.lo, b.hi)))
	s = add(b4[:0], s, pair(b3[:0], prod(a.lo, b.lo)))
	return append(out, s...)
}

func pair(out []float64, p two) []float64 {
	if p.lo != 0 {
		out = append(out, p.lo)
	}
	if p.hi != 0 {
		out = append(out, p.hi)
	}
	return out
}

// add is the sum of two expansions whose terms grow and do not overlap: Shewchuk's fast expansion sum, zeros left out.
// out must not share memory with e or f.
func add(out, e, f []float64) []float64 {
	if len(e) == 0 {
		return append(out, f...)
	}
	if len(f) == 0 {
		return append(out, e...)
	}
	i, j := 0, 0
	take := func() float64 {
		if j >= len(f) || i < len(e) && math.Abs(e[i]) < math.Abs(f[j]) {
			i++
			return e[i-1]
		}
		j++
		return f[j-1]
	}
	q := take()
	for i < len(e) || j < len(f) {
		s := sum2(q, take())
		if s.lo != 0 {
			out = append(out, s.lo)
		}
		q = s.hi
	}
	if q != 0 {
		out = append(out, q)
	}
	return out
}

// scale is e times b.
func scale(out, e []float64, b float64) []float64 {
	if len(e) == 0 || b == 0 {
		return out
	}
	p := prod(e[0], b)
	q := p.hi
	if p.lo != 0 {
		out = append(out, p.lo)
	}
	for _, x := range e[1:] {
		p = prod(x, b)
		s := sum2(q, p.lo)
		if s.lo != 0 {
			out = append(out, s.lo)
		}
		s = sum2(p.hi, s.hi)
		if s.lo != 0 {
			out = append(out, s.lo)
		}
		q = s.hi
	}
	if q != 0 {
		out = append(out, q)
	}
	return out
}

// top is the sign of an expansion: that of its last, largest term.
func top(e []float64) int {
	if len(e) == 0 {
		return 0
	}
	return sign(e[len(e)-1])
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
