package register

import (
	"math"

	"firstoff/geom/r3"
)

// Rigid is a motion: p -> Turn·p + Move. The zero value is not a motion; Stay is.
type Rigid struct {
	Turn r3.Quat `json:"turn"`
	Move r3.Vec  `json:"move"`
}

// Stay moves nothing.
var Stay = Rigid{Turn: r3.Identity}

// Apply is where the motion takes p.
func (g Rigid) Apply(p r3.Vec) r3.Vec { return g.Turn.Rotate(p).Add(g.Move) }

// ApplyAll is Apply for every point, into out, which must be as long.
func (g Rigid) ApplyAll(pts, out []r3.Vec) {
	m := g.Turn.Mat()
	for i, p := range pts {
		out[i] = m.Apply(p).Add(g.Move)
	}
}

// After is the motion that first does h, then g.
func (g Rigid) After(h Rigid) Rigid {
	return Rigid{g.Turn.Times(h.Turn).Unit(), g.Turn.Rotate(h.Move).Add(g.Move)}
}

// Inverse undoes g.
func (g Rigid) Inverse() Rigid {
	q := g.Turn.Inverse()
	return Rigid{q, q.Rotate(g.Move).Mul(-1)}
}

// Angle is how far the motion turns, 0..π.
func (g Rigid) Angle() float64 {
	v := math.Sqrt(g.Turn.X*g.Turn.X + g.Turn.Y*g.Turn.Y + g.Turn.Z*g.Turn.Z)
	return 2 * math.Atan2(v, math.Abs(g.Turn.W))
}

// apart is the largest distance between where two motions take the points of a ball.
func apart(a, b Rigid, center r3.Vec, radius float64) float64 {
	d := a.Apply(center).Dist(b.Apply(center))
	turn := Rigid{Turn: a.Turn.Times(b.Turn.Inverse())}.Angle()
	return d + 2*radius*math.Sin(turn/2)
}

// spiral is the i-th of n rotations spread evenly over all of them (a super-Fibonacci spiral).
func spiral(i, n int) r3.Quat {
	const phi, psi = math.Sqrt2, 1.533751168755204288118041
	s := float64(i) + 0.5
	t, d := s/float64(n), 2*math.Pi*s
	r, big := math.Sqrt(t), math.Sqrt(1-t)
	sa, ca := math.Sincos(d / phi)
	sb, cb := math.Sincos(d / psi)
	return r3.Quat{W: big * cb, X: r * sa, Y: r * ca, Z: big * sb}
}
