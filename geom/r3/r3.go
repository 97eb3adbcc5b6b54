// Package r3 is three-dimensional space: vectors, boxes, rotations. Lengths in mm, float64.
package r3

import "math"

// Vec is a point or direction.
type Vec struct{ X, Y, Z float64 }

func (a Vec) Add(b Vec) Vec      { return Vec{a.X + b.X, a.Y + b.Y, a.Z + b.Z} }
func (a Vec) Sub(b Vec) Vec      { return Vec{a.X - b.X, a.Y - b.Y, a.Z - b.Z} }
func (a Vec) Mul(s float64) Vec  { return Vec{a.X * s, a.Y * s, a.Z * s} }
func (a Vec) Dot(b Vec) float64  { return a.X*b.X + a.Y*b.Y + a.Z*b.Z }
func (a Vec) Norm() float64      { return math.Sqrt(a.Dot(a)) }
func (a Vec) Norm2() float64     { return a.Dot(a) }
func (a Vec) Dist(b Vec) float64 { return a.Sub(b).Norm() }
func (a Vec) Array() [3]float64  { return [3]float64{a.X, a.Y, a.Z} }
func FromArray(a [3]float64) Vec { return Vec{a[0], a[1], a[2]} }

// Cross is the vector product.
func (a Vec) Cross(b Vec) Vec {
	return Vec{a.Y*b.Z - a.Z*b.Y, a.Z*b.X - a.X*b.Z, a.X*b.Y - a.Y*b.X}
}

// Unit is a scaled to length 1; the zero vector stays zero.
func (a Vec) Unit() Vec {
	n := a.Norm()
	if n == 0 {
		return a
	}
	return a.Mul(1 / n)
}

// Axis gives the i-th coordinate.
func (a Vec) Axis(i int) float64 {
	switch i {
	case 0:
		return a.X
	case 1:
		return a.Y
	}
	return a.Z
}

// Box is an axis-aligned box; EmptyBox contains nothing.
type Box struct{ Min, Max Vec }

// EmptyBox is the box that Add grows from.
func EmptyBox() Box {
	inf := math.Inf(1)
	return Box{Vec{inf, inf, inf}, Vec{-inf, -inf, -inf}}
}

// Empty says whether nothing was added.
func (b Box) Empty() bool { return b.Min.X > b.Max.X }

// Add is the box grown to hold p.
func (b Box) Add(p Vec) Box {
	return Box{Vec{math.Min(b.Min.X, p.X), math.Min(b.Min.Y, p.Y), math.Min(b.Min.Z, p.Z)},
		Vec{math.Max(b.Max.X, p.X), math.Max(b.Max.Y, p.Y), math.Max(b.Max.Z, p.Z)}}
}

// Union is the smallest box holding both.
func (b Box) Union(c Box) Box { return b.Add(c.Min).Add(c.Max) }

// Size is the extent along each axis; zero for an empty box.
func (b Box) Size() Vec {
	if b.Empty() {
		return Vec{}
	}
	return b.Max.Sub(b.Min)
}

// Center is the middle.
func (b Box) Center() Vec { return b.Min.Add(b.Max).Mul(0.5) }

// Quat is a rotation as a unit quaternion w + xi + yj + zk.
type Quat struct{ W, X, Y, Z float64 }

// Identity turns nothing.
var Identity = Quat{W: 1}

// Array is [w x y z].
func (q Quat) Array() [4]float64 { return [4]float64{q.W, q.X, q.Y, q.Z} }

// Unit is q scaled to norm 1; the zero quaternion becomes Identity.
func (q Quat) Unit() Quat {
	n := math.Sqrt(q.W*q.W + q.X*q.X + q.Y*q.Y + q.Z*q.Z)
	if n == 0 {
		return Identity
	}
	return Quat{q.W / n, q.X / n, q.Y / n, q.Z / n}
}

// Times is the rotation that first applies p, then q.
func (q Quat) Times(p Quat) Quat {
	return Quat{
		q.W*p.W - q.X*p.X - q.Y*p.Y - q.Z*p.Z,
		q.W*p.X + q.X*p.W + q.Y*p.Z - q.Z*p.Y,
		q.W*p.Y - q.X*p.Z + q.Y*p.W + q.Z*p.X,
		q.W*p.Z + q.X*p.Y - q.Y*p.X + q.Z*p.W,
	}
}

// Inverse undoes q.
func (q Quat) Inverse() Quat { return Quat{q.W, -q.X, -q.Y, -q.Z} }

// AxisAngle turns by angle (rad) about axis.
func AxisAngle(axis Vec, angle float64) Quat {
	a := axis.Unit()
	s, c := math.Sincos(angle / 2)
	return Quat{c, a.X * s, a.Y * s, a.Z * s}
}

// Between is the shortest rotation that takes direction a to direction b.
func Between(a, b Vec) Quat {
	a, b = a.Unit(), b.Unit()
	d := a.Dot(b)
	if d < -1+1e-12 {
		ortho := Vec{1, 0, 0}
		if math.Abs(a.X) > 0.9 {
			ortho = Vec{0, 1, 0}
		}
		return AxisAngle(a.Cross(ortho), math.Pi)
	}
	c := a.Cross(b)
	return Quat{1 + d, c.X, c.Y, c.Z}.Unit()
}

// Mat3 is a row-major 3x3 matrix.
type Mat3 [9]float64

// Mat is the rotation matrix of a unit quaternion.
func (q Quat) Mat() Mat3 {
	w, x, y, z := q.W, q.X, q.Y, q.Z
	return Mat3{
		1 - 2*(y*y+z*z), 2 * (x*y - w*z), 2 * (x*z + w*y),
		2 * (x*y + w*z), 1 - 2*(x*x+z*z), 2 * (y*z - w*x),
		2 * (x*z - w*y), 2 * (y*z + w*x), 1 - 2*(x*x+y*y),
	}
}

// Apply is m·v.
func (m Mat3) Apply(v Vec) Vec {
	return Vec{m[0]*v.X + m[1]*v.Y + m[2]*v.Z, m[3]*v.X + m[4]*v.Y + m[5]*v.Z, m[6]*v.X + m[7]*v.Y + m[8]*v.Z}
}

// Quat is the unit quaternion (w >= 0) of a rotation matrix (Shepperd 1978).
func (m Mat3) Quat() Quat {
	t := m[0] + m[4] + m[8]
	var q Quat
	switch {
	case t > 0:
		s := math.Sqrt(t+1) * 2
		q = Quat{s / 4, (m[7] - m[5]) / s, (m[2] - m[6]) / s, (m[3] - m[1]) / s}
	case m[0] > m[4] && m[0] > m[8]:
		s := math.Sqrt(1+m[0]-m[4]-m[8]) * 2
		q = Quat{(m[7] - m[5]) / s, s / 4, (m[1] + m[3]) / s, (m[2] + m[6]) / s}
	case m[4] > m[8]:
		s := math.Sqrt(1+m[4]-m[0]-m[8]) * 2
		q = Quat{(m[2] - m[6]) / s, (m[1] + m[3]) / s, s / 4, (m[5] + m[7]) / s}
	default:
		s := math.Sqrt(1+m[8]-m[0]-m[4]) * 2
		q = Quat{(m[3] - m[1]) / s, (m[2] + m[6]) / s, (m[5] + m[7]) / s, s / 4}
	}
	if q.W < 0 {
		q = Quat{-q.W, -q.X, -q.Y, -q.Z}
	}
	return q.Unit()
}

// Rotate turns v by q.
func (q Quat) Rotate(v Vec) Vec { return q.Mat().Apply(v) }
