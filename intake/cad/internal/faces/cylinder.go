package faces

import (
	"math"

	"firstoff/geom/r3"
)

// Cylinder is an exact face found to be part of one.
type Cylinder struct {
	Face    int
	Radius  float64
	Axis    r3.Vec  // unit
	Point   r3.Vec  // on the axis
	Lo, Hi  float64 // extent along the axis from Point
	Off     float64 // largest distance of a node from it
	Concave bool    // material outside: the wall of a hole, or an inside fillet

	inward bool // as wound, the normals point at the axis
}

const (
	minNodes = 6
	// An arc must stand this many times higher over its chord than its nodes are off, or any shallow patch
	// would pass for a cylinder.
	minRise = 20
)

// fitFace fits a cylinder to the nodes of a face; false when it is none within tol.
func fitFace(b *Body, f Face, tol float64) (Cylinder, bool) {
	first, last := max(f.First, 0), min(f.Last, len(b.Tri)/3-1)
	if last-first < 3 {
		return Cylinder{}, false
	}
	pts := facePoints(b, first, last)
	if len(pts) < minNodes {
		return Cylinder{}, false
	}
	// The triangles' normals avoid the axis: it is the direction in which their spread is least.
	var spread r3.Mat3
	var area, sum = 0.0, r3.Vec{}
	for t := first; t <= last; t++ {
		p := at(b.Pos, b.Tri[3*t])
		n := at(b.Pos, b.Tri[3*t+1]).Sub(p).Cross(at(b.Pos, b.Tri[3*t+2]).Sub(p))
		l := n.Norm()
		if l == 0 {
			continue
		}
		area += l
		sum = sum.Add(n)
		a := n.Array()
		for i := range 3 {
			for j := range 3 {
				spread[3*i+j] += a[i] * a[j] / l
			}
		}
	}
	if area == 0 || sum.Norm() > 0.99999*area { // flat
		return Cylinder{}, false
	}
	axis, least := leastEigen(spread)
	if least > 1e-3*area { // a cone, a sphere, a blend
		return Cylinder{}, false
	}
	c, ok := fit(pts, axis, tol)
	if !ok {
		return c, false
	}
	c.Lo, c.Hi = math.Inf(1), math.Inf(-1)
	for _, p := range pts {
		h := p.Sub(c.Point).Dot(c.Axis)
		c.Lo, c.Hi = math.Min(c.Lo, h), math.Max(c.Hi, h)
	}
	var side float64
	turn := newArcs(c)
	for t := first; t <= last; t++ {
		p, q, r := at(b.Pos, b.Tri[3*t]), at(b.Pos, b.Tri[3*t+1]), at(b.Pos, b.Tri[3*t+2])
		side += q.Sub(p).Cross(r.Sub(p)).Dot(c.radial(p.Add(q).Add(r).Mul(1. / 3)))
		turn.triangle(p, q, r)
	}
	c.inward = side < 0
	half := math.Min(turn.total(), 2*math.Pi) / 2
	if rise := c.Radius * (1 - math.Cos(math.Min(half, math.Pi))); rise < minRise*c.Off || rise < tol/5 {
		return c, false
	}
	return c, true
}

// radial is the vector from the axis to p.
func (c *Cylinder) radial(p r3.Vec) r3.Vec {
	d := p.Sub(c.Point)
	return d.Sub(c.Axis.Mul(d.Dot(c.Axis)))
}

// facePoints are the nodes of triangles first to last, each once. A mesher numbers a face's nodes in one run.
func facePoints(b *Body, first, last int) []r3.Vec {
	lo, hi := uint32(math.MaxUint32), uint32(0)
	for _, i := range b.Tri[3*first : 3*last+3] {
		lo, hi = min(lo, i), max(hi, i)
	}
	seen := make([]bool, hi-lo+1)
	var pts []r3.Vec
	for _, i := range b.Tri[3*first : 3*last+3] {
		if !seen[i-lo] {
			seen[i-lo] = true
			pts = append(pts, at(b.Pos, i))
		}
	}
	return pts
}

// fit improves an axis to the least-squares cylinder (Gauss-Newton on the distances; five unknowns: the point's
// shift and the axis' tilt across it, and the radius).
func fit(pts []r3.Vec, axis r3.Vec, tol float64) (Cylinder, bool) {
	var o r3.Vec
	for _, p := range pts {
		o = o.Add(p)
	}
	c := Cylinder{Axis: axis, Point: o.Mul(1 / float64(len(pts)))}
	if !c.circle(pts) {
		return c, false
	}
	for range 30 {
		e1, e2 := across(c.Axis)
		var m [5][6]float64
		for _, p := range pts {
			h := p.Sub(c.Point).Dot(c.Axis)
			w := c.radial(p)
			l := w.Norm()
			if l == 0 {
				return c, false
			}
			u1, u2 := w.Dot(e1)/l, w.Dot(e2)/l
			j := [5]float64{-u1, -u2, -h * u1, -h * u2, -1}
			for a := range 5 {
				for b := range 5 {
					m[a][b] += j[a] * j[b]
				}
				m[a][5] -= j[a] * (l - c.Radius)
			}
		}
		x, ok := solve5(&m)
		if !ok {
			return c, false
		}
		c.Point = c.Point.Add(e1.Mul(x[0])).Add(e2.Mul(x[1]))
		c.Axis = c.Axis.Add(e1.Mul(x[2])).Add(e2.Mul(x[3])).Unit()
		c.Radius += x[4]
		if math.Abs(x[0])+math.Abs(x[1])+math.Abs(x[4]) < 1e-12*(1+c.Radius) {
			break
		}
	}
	if !(c.Radius > 0) || math.IsInf(c.Radius, 1) {
		return c, false
	}
	for _, p := range pts {
		c.Off = math.Max(c.Off, math.Abs(c.radial(p).Norm()-c.Radius))
	}
	return c, c.Off <= tol
}

// circle sets point and radius to the circle through the points seen along the axis (linear least squares:
// x² + y² = 2ax + 2by + const).
func (c *Cylinder) circle(pts []r3.Vec) bool {
	e1, e2 := across(c.Axis)
	var m [3][4]float64
	for _, p := range pts {
		d := p.Sub(c.Point)
		row := [3]float64{d.Dot(e1), d.Dot(e2), 1}
		z := row[0]*row[0] + row[1]*row[1]
		for i := range 3 {
			for j := range 3 {
				m[i][j] += row[i] * row[j]
			}
			m[i][3] += row[i] * z
		}
	}
	det := func(k int) float64 { // with column k replaced by the right side
		col := func(i, j int) float64 {
			if j == k {
				return m[i][3]
			}
			return m[i][j]
		}
		return col(0, 0)*(col(1, 1)*col(2, 2)-col(1, 2)*col(2, 1)) -
			col(0, 1)*(col(1, 0)*col(2, 2)-col(1, 2)*col(2, 0)) +
			col(0, 2)*(col(1, 0)*col(2, 1)-col(1, 1)*col(2, 0))
	}
	d := det(-1)
	if d == 0 {
		return false
	}
	a, b, k := det(0)/d/2, det(1)/d/2, det(2)/d
	c.Point = c.Point.Add(e1.Mul(a)).Add(e2.Mul(b))
	c.Radius = math.Sqrt(math.Max(0, k+a*a+b*b))
	return true
}

// across gives two unit vectors at right angles to a and each other.
func across(a r3.Vec) (e1, e2 r3.Vec) {
	b := r3.Vec{X: 1}
	if math.Abs(a.X) > 0.7 {
		b = r3.Vec{Y: 1}
	}
	e1 = a.Cross(b).Unit()
	return e1, a.Cross(e1)
}

// solve5 solves five equations by elimination with row exchange.
func solve5(m *[5][6]float64) (x [5]float64, ok bool) {
	for i := range 5 {
		m[i][i] *= 1 + 1e-12
	}
	for c := range 5 {
		p := c
		for i := c + 1; i < 5; i++ {
			if math.Abs(m[i][c]) > math.Abs(m[p][c]) {
				p = i
			}
		}
		if !(math.Abs(m[p][c]) > 1e-300) {
			return x, false
		}
		m[c], m[p] = m[p], m[c]
		for i := c + 1; i < 5; i++ {
			f := m[i][c] / m[c][c]
			for j := c; j < 6; j++ {
				m[i][j] -= f * m[c][j]
			}
		}
	}
	for i := 4; i >= 0; i-- {
		s := m[i][5]
		for j := i + 1; j < 5; j++ {
			s -= m[i][j] * x[j]
		}
		x[i] = s / m[i][i]
	}
	return x, true
}

// leastEigen is the eigenvector of the least eigenvalue of a symmetric matrix, and that value (Jacobi
// rotations; Golub and Van Loan, Matrix Computations, section 8.5).
func leastEigen(s r3.Mat3) (r3.Vec, float64) {
	a := [3][3]float64{{s[0], s[1], s[2]}, {s[3], s[4], s[5]}, {s[6], s[7], s[8]}}
	v := [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}
	for range 60 {
		p, q := 0, 1
		for _, ij := range [][2]int{{0, 2}, {1, 2}} {
			if math.Abs(a[ij[0]][ij[1]]) > math.Abs(a[p][q]) {
				p, q = ij[0], ij[1]
			}
		}
		if math.Abs(a[p][q]) <= 1e-18*(math.Abs(a[0][0])+math.Abs(a[1][1])+math.Abs(a[2][2])) {
			break
		}
		th := (a[q][q] - a[p][p]) / (2 * a[p][q])
		t := 1 / (math.Abs(th) + math.Sqrt(th*th+1))
		if th < 0 {
			t = -t
		}
		c := 1 / math.Sqrt(t*t+1)
		sn := t * c
		for k := range 3 {
			a[k][p], a[k][q] = c*a[k][p]-sn*a[k][q], sn*a[k][p]+c*a[k][q]
		}
		for k := range 3 {
			a[p][k], a[q][k] = c*a[p][k]-sn*a[q][k], sn*a[p][k]+c*a[q][k]
		}
		for k := range 3 {
			v[k][p], v[k][q] = c*v[k][p]-sn*v[k][q], sn*v[k][p]+c*v[k][q]
		}
	}
	m := 0
	for i := range 3 {
		if a[i][i] < a[m][m] {
			m = i
		}
	}
	return r3.Vec{X: v[0][m], Y: v[1][m], Z: v[2][m]}.Unit(), math.Max(a[m][m], 0)
}
