package printability

import (
	"math"
	"slices"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// Cylinder is a round hole or pin found on a surface.
type Cylinder struct {
	DiameterMM float64
	LengthMM   float64
	Axis       r3.Vec
	At         r3.Vec  // middle of the axis
	Hole       bool    // material lies outside
	Round      float64 // share of a full turn that is there
	Facets     []uint32
}

// smoothDeg is the angle between facets up to which they count as one curved face.
const smoothDeg = 31

// Cylinders finds the cylindrical faces of at least three quarters of a turn: patches of facets joined by smooth edges whose normals lie in
// one plane and whose corners lie on a circle. Largest first.
func Cylinders(m *mesh.Mesh, t *mesh.Topology) []Cylinder {
	n := m.Facets()
	normal := make([]r3.Vec, n)
	area := make([]float64, n)
	for f := 0; f < n; f++ {
		a, b, c := m.Corners(f)
		x := b.Sub(a).Cross(c.Sub(a))
		l := x.Norm()
		area[f] = l / 2
		if l > 0 {
			normal[f] = x.Mul(1 / l)
		}
	}
	// patches: facets joined over edges that turn, but not by more than smoothDeg; flat neighbours join too
	patch := make([]int32, n)
	for i := range patch {
		patch[i] = -1
	}
	limit := math.Cos(smoothDeg * math.Pi / 180)
	var out []Cylinder
	var queue []uint32
	for f := 0; f < n; f++ {
		if patch[f] >= 0 || area[f] == 0 {
			continue
		}
		queue = append(queue[:0], uint32(f))
		patch[f] = int32(f)
		for k := 0; k < len(queue); k++ {
			g := queue[k]
			for e := 3 * g; e < 3*g+3; e++ {
				mate := t.Mate[e]
				if mate == mesh.None {
					continue
				}
				h := mate / 3
				if patch[h] < 0 && area[h] > 0 && normal[g].Dot(normal[h]) >= limit {
					patch[h] = int32(f)
					queue = append(queue, h)
				}
			}
		}
		if len(queue) >= 8 {
			if c, ok := cylinder(m, normal, area, queue); ok {
				out = append(out, c)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b Cylinder) int {
		switch {
		case a.DiameterMM > b.DiameterMM:
			return -1
		case a.DiameterMM < b.DiameterMM:
			return 1
		}
		return 0
	})
	return out
}

// cylinder fits a cylinder to a patch: the axis is the direction least present among the normals, the circle by least squares
// (Kåsa 1976) in the plane across it.
func cylinder(m *mesh.Mesh, normal []r3.Vec, area []float64, facets []uint32) (Cylinder, bool) {
	var s [6]float64 // xx yy zz xy yz zx
	var total float64
	for _, f := range facets {
		v, a := normal[f], area[f]
		total += a
		s[0] += a * v.X * v.X
		s[1] += a * v.Y * v.Y
		s[2] += a * v.Z * v.Z
		s[3] += a * v.X * v.Y
		s[4] += a * v.Y * v.Z
		s[5] += a * v.Z * v.X
	}
	for i := range s {
		s[i] /= total
	}
	axis, low, mid := leastAxis(s)
	if low > 1e-3 || mid < 0.1 { // not round about one axis, or flat
		return Cylinder{}, false
	}
	u := axis.Cross(r3.Vec{X: 1})
	if math.Abs(axis.X) > 0.9 {
		u = axis.Cross(r3.Vec{Y: 1})
	}
	u = u.Unit()
	w := axis.Cross(u)
	// circle through the corners
	var n, sx, sy, sxx, syy, sxy, sz, sxz, syz float64
	lo, hi := math.Inf(1), math.Inf(-1)
	o, _, _ := m.Corners(int(facets[0]))
	each := func(visit func(x, y, z float64)) {
		for _, f := range facets {
			a, b, c := m.Corners(int(f))
			for _, p := range [3]r3.Vec{a, b, c} {
				d := p.Sub(o)
				visit(d.Dot(u), d.Dot(w), d.Dot(axis))
			}
		}
	}
	each(func(x, y, z float64) {
		q := x*x + y*y
		n++
		sx, sy, sxx, syy, sxy, sz, sxz, syz = sx+x, sy+y, sxx+x*x, syy+y*y, sxy+x*y, sz+q, sxz+x*q, syz+y*q
		lo, hi = math.Min(lo, z), math.Max(hi, z)
	})
	a11, a12, a22 := sxx-sx*sx/n, sxy-sx*sy/n, syy-sy*sy/n
	b1, b2 := (sxz-sx*sz/n)/2, (syz-sy*sz/n)/2
	det := a11*a22 - a12*a12
	if det <= 1e-12*(a11+a22)*(a11+a22) {
		return Cylinder{}, false
	}
	cx, cy := (b1*a22-b2*a12)/det, (b2*a11-b1*a12)/det
	r := math.Sqrt(math.Max(0, (sz-2*cx*sx-2*cy*sy)/n+cx*cx+cy*cy))
	var worst float64
	each(func(x, y, _ float64) { worst = math.Max(worst, math.Abs(math.Hypot(x-cx, y-cy)-r)) })
	if r <= 0 || worst > 0.02*r+0.01 {
		return Cylinder{}, false
	}
	// how far around, and which side is material
	var seen [72]bool
	inward := 0.0
	for _, f := range facets {
		a, b, c := m.Corners(int(f))
		p := a.Add(b).Add(c).Mul(1.0 / 3).Sub(o)
		x, y := p.Dot(u)-cx, p.Dot(w)-cy
		inward += area[f] * (normal[f].Dot(u)*x + normal[f].Dot(w)*y)
		// the facet covers the angles of its corners
		base := math.Atan2(y, x)
		a0, a1 := 0.0, 0.0
		for _, q := range [3]r3.Vec{a, b, c} {
			d := q.Sub(o)
			t := math.Remainder(math.Atan2(d.Dot(w)-cy, d.Dot(u)-cx)-base, 2*math.Pi)
			a0, a1 = math.Min(a0, t), math.Max(a1, t)
		}
		for t := a0; t <= a1+1e-9; t += math.Pi / 72 {
			k := int(math.Floor((base + t + 4*math.Pi) / (2 * math.Pi) * 72))
			seen[k%72] = true
		}
	}
	round := 0
	for _, b := range seen {
		if b {
			round++
		}
	}
	if round < 54 {
		return Cylinder{}, false
	}
	at := o.Add(u.Mul(cx)).Add(w.Mul(cy)).Add(axis.Mul((lo + hi) / 2))
	return Cylinder{DiameterMM: 2 * r, LengthMM: hi - lo, Axis: axis, At: at, Hole: inward < 0, Round: float64(round) / 72, Facets: slices.Clone(facets)}, true
}

// leastAxis is the eigenvector of the smallest eigenvalue of a symmetric matrix, with the two smaller eigenvalues (Jacobi).
func leastAxis(s [6]float64) (axis r3.Vec, low, mid float64) {
	a := [3][3]float64{{s[0], s[3], s[5]}, {s[3], s[1], s[4]}, {s[5], s[4], s[2]}}
	v := [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}
	for range 30 {
		p, q := 0, 1
		if math.Abs(a[0][2]) > math.Abs(a[p][q]) {
			p, q = 0, 2
		}
		if math.Abs(a[1][2]) > math.Abs(a[p][q]) {
			p, q = 1, 2
		}
		if math.Abs(a[p][q]) < 1e-15 {
			break
		}
		th := (a[q][q] - a[p][p]) / (2 * a[p][q])
		t := math.Copysign(1, th) / (math.Abs(th) + math.Sqrt(th*th+1))
		c := 1 / math.Sqrt(t*t+1)
		sn := t * c
		for k := 0; k < 3; k++ {
			x, y := a[k][p], a[k][q]
			a[k][p], a[k][q] = c*x-sn*y, sn*x+c*y
		}
		for k := 0; k < 3; k++ {
			x, y := a[p][k], a[q][k]
			a[p][k], a[q][k] = c*x-sn*y, sn*x+c*y
			x, y = v[k][p], v[k][q]
			v[k][p], v[k][q] = c*x-sn*y, sn*x+c*y
		}
	}
	i, j, k := 0, 1, 2
	if a[j][j] < a[i][i] {
		i, j = j, i
	}
	if a[k][k] < a[j][j] {
		j, k = k, j
	}
	if a[j][j] < a[i][i] {
		i, j = j, i
	}
	_ = k
	return r3.Vec{X: v[0][i], Y: v[1][i], Z: v[2][i]}.Unit(), a[i][i], a[j][j]
}
