package mesh

import (
	"math"

	"firstoff/geom/cores"
	"firstoff/geom/r3"
)

// Measures are the totals of a surface. Lengths in mm, density 1.
type Measures struct {
	VolumeMM3     float64    // signed: positive when facets face outwards
	AreaMM2       float64    // of the surface
	AreaVectorMM2 r3.Vec     // sum of facet normals times area: zero for a closed surface
	CentroidMM    r3.Vec     // of the volume; of the surface when the volume is zero or the surface does not enclose it
	SurfaceMM     r3.Vec     // centroid of the surface itself
	InertiaMM5    [6]float64 // tensor about the centroid: xx yy zz xy yz zx; off-diagonal entries are minus the products
	Box           r3.Box     // of the vertices that facets use
}

// piece is how many facets are summed plainly before their sum joins the compensated total.
const piece = 512

type sums struct {
	vol, area float64
	n         [3]float64 // twice the area vector
	s         [3]float64 // twice the area times three times the centroid
	c         [3]float64
	q         [6]float64
}

// Measure sums the surface up. Sums run in float64 about the middle of the box, plainly within pieces of 512 facets and
// compensated (Neumaier 1974) between them, in an order that does not depend on the number of cores.
// The volume of an open surface is that of the cone closing it from the surface's centroid, which turns and moves with the part.
// Volume integrals by signed tetrahedra, e.g. Lien and Kajiya, IEEE CG&A 4(10), 1984.
func (m *Mesh) Measure() Measures { return m.measure(m.Box()) }

func (m *Mesh) measure(box r3.Box) Measures {
	n := m.Facets()
	r := Measures{Box: box}
	if n == 0 {
		return r
	}
	o := r.Box.Center()
	parts := make([]sums, cores.Pieces(n, piece))
	cores.Each(n, piece*64, func(_, from, to int) {
		for a := from; a < to; a += piece {
			m.sum(&parts[a/piece], a, min(a+piece, to), o)
		}
	})
	var t [17]neumaier
	for i := range parts {
		p := &parts[i]
		t[0].add(p.vol)
		t[1].add(p.area)
		for x := range 3 {
			t[2+x].add(p.n[x])
			t[5+x].add(p.s[x])
			t[8+x].add(p.c[x])
		}
		for x := range 6 {
			t[11+x].add(p.q[x])
		}
	}
	v := func(i int) float64 { return t[i].value() }
	vol := v(0) / 6
	r.AreaMM2 = v(1) / 2
	r.AreaVectorMM2 = r3.Vec{X: v(2) / 2, Y: v(3) / 2, Z: v(4) / 2}
	sc := r3.Vec{}
	if r.AreaMM2 > 0 {
		sc = r3.Vec{X: v(5), Y: v(6), Z: v(7)}.Mul(1 / (6 * r.AreaMM2))
	}
	r.SurfaceMM = sc.Add(o)
	r.VolumeMM3 = vol - sc.Dot(r.AreaVectorMM2)/3
	r.CentroidMM = r.SurfaceMM
	if vol != 0 {
		g := r3.Vec{X: v(8), Y: v(9), Z: v(10)}.Mul(1 / (24 * vol))
		size := r.Box.Size()
		if inside := math.Abs(g.X) <= size.X && math.Abs(g.Y) <= size.Y && math.Abs(g.Z) <= size.Z; inside {
			r.CentroidMM = g.Add(o)
			xx, yy, zz := v(11)/120-vol*g.X*g.X, v(12)/120-vol*g.Y*g.Y, v(13)/120-vol*g.Z*g.Z
			xy, yz, zx := v(14)/120-vol*g.X*g.Y, v(15)/120-vol*g.Y*g.Z, v(16)/120-vol*g.Z*g.X
			r.InertiaMM5 = [6]float64{yy + zz, zz + xx, xx + yy, -xy, -yz, -zx}
		}
	}
	return r
}

func (m *Mesh) sum(s *sums, from, to int, o r3.Vec) {
	var vol, area, nx, ny, nz, sx, sy, sz, cx, cy, cz, qxx, qyy, qzz, qxy, qyz, qzx float64
	// Corners are gathered first, so that where they lie far apart in memory the misses overlap.
	var gathered [3 * piece][3]float32
	pos := m.Pos
	for c, v := range m.Tri[3*from : 3*to] {
		p := pos[3*uint(v) : 3*uint(v)+3 : 3*uint(v)+3]
		gathered[c] = [3]float32{p[0], p[1], p[2]}
	}
	for g := gathered[:3*(to-from)]; len(g) >= 3; g = g[3:] {
		p, q, r := &g[0], &g[1], &g[2]
		ax, ay, az := float64(p[0])-o.X, float64(p[1])-o.Y, float64(p[2])-o.Z
		bx, by, bz := float64(q[0])-o.X, float64(q[1])-o.Y, float64(q[2])-o.Z
		dx, dy, dz := float64(r[0])-o.X, float64(r[1])-o.Y, float64(r[2])-o.Z
		ux, uy, uz := bx-ax, by-ay, bz-az
		wx, wy, wz := dx-ax, dy-ay, dz-az
		mx, my, mz := uy*wz-uz*wy, uz*wx-ux*wz, ux*wy-uy*wx
		a := math.Sqrt(mx*mx + my*my + mz*mz)
		d := ax*mx + ay*my + az*mz
		tx, ty, tz := ax+bx+dx, ay+by+dy, az+bz+dz
		vol += d
		area += a
		nx, ny, nz = nx+mx, ny+my, nz+mz
		sx, sy, sz = sx+a*tx, sy+a*ty, sz+a*tz
		cx, cy, cz = cx+d*tx, cy+d*ty, cz+d*tz
		qxx += d * (tx*tx + ax*ax + bx*bx + dx*dx)
		qyy += d * (ty*ty + ay*ay + by*by + dy*dy)
		qzz += d * (tz*tz + az*az + bz*bz + dz*dz)
		qxy += d * (tx*ty + ax*ay + bx*by + dx*dy)
		qyz += d * (ty*tz + ay*az + by*bz + dy*dz)
		qzx += d * (tz*tx + az*ax + bz*bx + dz*dx)
	}
	s.vol, s.area = vol, area
	s.n, s.s, s.c = [3]float64{nx, ny, nz}, [3]float64{sx, sy, sz}, [3]float64{cx, cy, cz}
	s.q = [6]float64{qxx, qyy, qzz, qxy, qyz, qzx}
}

// Box is the smallest axis-aligned box of the vertices that facets use; empty without facets.
func (m *Mesh) Box() r3.Box {
	if len(m.Tri) == 0 {
		return r3.EmptyBox()
	}
	if m.hasLoose() {
		return m.boxOfFacets()
	}
	lo, hi := emptyCorners()
	for p := m.Pos; len(p) >= 3; p = p[3:] {
		lo[0], hi[0] = min(lo[0], p[0]), max(hi[0], p[0])
		lo[1], hi[1] = min(lo[1], p[1]), max(hi[1], p[1])
		lo[2], hi[2] = min(lo[2], p[2]), max(hi[2], p[2])
	}
	return cornersBox(lo, hi)
}

func (m *Mesh) boxOfFacets() r3.Box {
	lo, hi := emptyCorners()
	for _, v := range m.Tri {
		p := m.Pos[3*v : 3*v+3 : 3*v+3]
		for x := range 3 {
			lo[x], hi[x] = min(lo[x], p[x]), max(hi[x], p[x])
		}
	}
	return cornersBox(lo, hi)
}

func emptyCorners() (lo, hi [3]float32) {
	inf := float32(math.Inf(1))
	return [3]float32{inf, inf, inf}, [3]float32{-inf, -inf, -inf}
}

func cornersBox(lo, hi [3]float32) r3.Box {
	return r3.Box{
		Min: r3.Vec{X: float64(lo[0]), Y: float64(lo[1]), Z: float64(lo[2])},
		Max: r3.Vec{X: float64(hi[0]), Y: float64(hi[1]), Z: float64(hi[2])},
	}
}

// hasLoose says whether some vertex may be used by no facet.
func (m *Mesh) hasLoose() bool {
	n := m.Vertices()
	next := uint32(0) // vertices in order of first use, as welding leaves them, need no table
	for _, v := range m.Tri {
		if v == next {
			next++
		}
	}
	if int(next) == n {
		return false
	}
	used := make([]uint64, (n+63)/64)
	left := n
	for _, v := range m.Tri {
		if used[v>>6]>>(v&63)&1 == 0 {
			used[v>>6] |= 1 << (v & 63)
			left--
		}
	}
	return left > 0
}

// FacetArea is the area of facet f in mm².
func (m *Mesh) FacetArea(f int) float64 {
	a, b, c := m.Corners(f)
	return b.Sub(a).Cross(c.Sub(a)).Norm() / 2
}

// FacetNormal is the outward unit normal of facet f; zero for a facet without area.
func (m *Mesh) FacetNormal(f int) r3.Vec {
	a, b, c := m.Corners(f)
	return b.Sub(a).Cross(c.Sub(a)).Unit()
}

// neumaier is a sum that carries what rounding dropped (Neumaier, ZAMM 54, 1974).
type neumaier struct{ sum, rest float64 }

func (n *neumaier) add(x float64) {
	t := n.sum + x
	if math.Abs(n.sum) >= math.Abs(x) {
		n.rest += (n.sum - t) + x
	} else {
		n.rest += (x - t) + n.sum
	}
	n.sum = t
}

func (n *neumaier) value() float64 { return n.sum + n.rest }
