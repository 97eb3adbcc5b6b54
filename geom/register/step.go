package register

import (
	"math"

	"firstoff/geom/r3"
)

// system gathers one Gauss-Newton step: the small turn ω about center and move v that best bring the points onto
// their partners. Turns are measured in units of the scale, so that all six unknowns are lengths.
type system struct {
	center r3.Vec
	scale  float64
	a      [21]float64 // upper triangle of JᵀWJ, row by row
	b      [6]float64  // −JᵀWd
	n      float64
}

func newSystem(center r3.Vec, scale float64) *system { return &system{center: center, scale: scale} }

// plane adds the wish that point x come onto the plane through q with unit normal n.
func (s *system) plane(x, q, n r3.Vec, w float64) {
	r := x.Sub(s.center).Cross(n).Mul(1 / s.scale)
	s.row([6]float64{r.X, r.Y, r.Z, n.X, n.Y, n.Z}, -n.Dot(x.Sub(q)), w)
}

// point adds the wish that point x come to q, weakly: it is what decides where planes leave a motion free.
func (s *system) point(x, q r3.Vec, w float64) {
	d, r := x.Sub(q), x.Sub(s.center).Mul(1/s.scale)
	s.row([6]float64{0, r.Z, -r.Y, 1, 0, 0}, -d.X, w)
	s.row([6]float64{-r.Z, 0, r.X, 0, 1, 0}, -d.Y, w)
	s.row([6]float64{r.Y, -r.X, 0, 0, 0, 1}, -d.Z, w)
}

func (s *system) row(j [6]float64, d, w float64) {
	k := 0
	for i := range 6 {
		wi := w * j[i]
		for l := i; l < 6; l++ {
			s.a[k] += wi * j[l]
			k++
		}
		s.b[i] += wi * d
	}
	s.n += w
}

// add sums another system over the same center and scale into s.
func (s *system) add(o *system) {
	for i := range s.a {
		s.a[i] += o.a[i]
	}
	for i := range s.b {
		s.b[i] += o.b[i]
	}
	s.n += o.n
}

// matrix is JᵀWJ in full.
func (s *system) matrix() [36]float64 {
	var m [36]float64
	k := 0
	for i := range 6 {
		for j := i; j < 6; j++ {
			m[6*i+j], m[6*j+i] = s.a[k], s.a[k]
			k++
		}
	}
	return m
}

// solve is the motion of the step, damped by the given share of the mean diagonal; false if there is none.
func (s *system) solve(damp float64) (Rigid, bool) {
	m, x := s.matrix(), s.b
	tr := 0.0
	for i := range 6 {
		tr += m[7*i]
	}
	if !(tr > 0) {
		return Stay, false
	}
	for i := range 6 {
		m[7*i] += damp * tr / 6
	}
	// Cholesky in place
	for i := range 6 {
		for j := 0; j <= i; j++ {
			v := m[6*i+j]
			for k := range j {
				v -= m[6*i+k] * m[6*j+k]
			}
			if i == j {
				if !(v > 0) {
					return Stay, false
				}
				m[7*i] = math.Sqrt(v)
			} else {
				m[6*i+j] = v / m[7*j]
			}
		}
	}
	for i := range 6 {
		for k := range i {
			x[i] -= m[6*i+k] * x[k]
		}
		x[i] /= m[7*i]
	}
	for i := 5; i >= 0; i-- {
		for k := i + 1; k < 6; k++ {
			x[i] -= m[6*k+i] * x[k]
		}
		x[i] /= m[7*i]
	}
	w := r3.Vec{X: x[0], Y: x[1], Z: x[2]}.Mul(1 / s.scale)
	v := r3.Vec{X: x[3], Y: x[4], Z: x[5]}
	angle := w.Norm()
	if math.IsNaN(angle) || math.IsNaN(v.Norm()) {
		return Stay, false
	}
	q := r3.Identity
	if angle > 0 {
		q = r3.AxisAngle(w, math.Min(angle, 0.5))
	}
	return Rigid{q, s.center.Add(v).Sub(q.Rotate(s.center))}, true
}
