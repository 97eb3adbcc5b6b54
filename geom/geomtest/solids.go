package geomtest

import (
	"math"

	"firstoff/geom/level"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// Solid is a mesh with what is known about it. Unknown totals are NaN.
type Solid struct {
	Name      string
	Mesh      *mesh.Mesh
	VolumeMM3 float64 // of the faceted solid
	AreaMM2   float64
	RoundMM3  float64 // volume of the round body it stands for
	RoundMM2  float64
	Shells    int
	Genus     int // handles, summed over shells
}

var nan = math.NaN()

// Box is a block from the origin to (x, y, z).
func Box(x, y, z float64) Solid {
	m := &mesh.Mesh{Tri: []uint32{0, 2, 1, 0, 3, 2, 4, 5, 6, 4, 6, 7, 0, 1, 5, 0, 5, 4, 1, 2, 6, 1, 6, 5, 2, 3, 7, 2, 7, 6, 3, 0, 4, 3, 4, 7}}
	for _, c := range [8][3]float64{{0, 0, 0}, {1, 0, 0}, {1, 1, 0}, {0, 1, 0}, {0, 0, 1}, {1, 0, 1}, {1, 1, 1}, {0, 1, 1}} {
		m.Pos = append(m.Pos, float32(c[0]*x), float32(c[1]*y), float32(c[2]*z))
	}
	v, a := x*y*z, 2*(x*y+y*z+z*x)
	return Solid{"box", m, v, a, v, a, 1, 0}
}

// Wedge is a ramp over the rectangle (0,0)-(x,y), of height 0 at x = 0 and z at the other end.
func Wedge(x, y, z float64) Solid {
	m := &mesh.Mesh{Tri: []uint32{0, 3, 2, 0, 2, 1, 1, 2, 5, 1, 5, 4, 0, 4, 5, 0, 5, 3, 0, 1, 4, 3, 5, 2}}
	for _, c := range [6][3]float64{{0, 0, 0}, {1, 0, 0}, {1, 1, 0}, {0, 1, 0}, {1, 0, 1}, {1, 1, 1}} {
		m.Pos = append(m.Pos, float32(c[0]*x), float32(c[1]*y), float32(c[2]*z))
	}
	v, a := x*y*z/2, x*y+y*z+x*z+y*math.Hypot(x, z)
	return Solid{"wedge", m, v, a, v, a, 1, 0}
}

// Revolve turns a profile of points (radius, z) about the z axis in n flat steps. An open profile must begin and end on the axis;
// a closed one (first point not repeated) must stay off it. Seen with the radius to the right and z up, material lies on the left of the walk.
//
// Each step between two rings is a trapezoid, so the totals of the facets are exact: n/2·sin(2π/n)·∮r²dz and the sum of trapezoids.
func Revolve(name string, n int, closed bool, profile ...[2]float64) Solid {
	s := Solid{Name: name, Mesh: &mesh.Mesh{}, Shells: 1}
	m := s.Mesh
	ring := make([]uint32, len(profile)) // first vertex of each ring
	for i, p := range profile {
		ring[i] = uint32(m.Vertices())
		if p[0] == 0 {
			m.Pos = append(m.Pos, 0, 0, float32(p[1]))
			continue
		}
		for k := range n {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(n))
			m.Pos = append(m.Pos, float32(p[0]*cos), float32(p[0]*sin), float32(p[1]))
		}
	}
	at := func(i, k int) uint32 {
		if profile[i][0] == 0 {
			return ring[i]
		}
		return ring[i] + uint32(k%n)
	}
	tri := func(a, b, c uint32) {
		if a != b && b != c && c != a {
			m.Tri = append(m.Tri, a, b, c)
		}
	}
	last := len(profile) - 1
	if closed {
		last++
		s.Genus = 1
	}
	half, sin, cos := float64(n)/2*math.Sin(2*math.Pi/float64(n)), math.Sin(math.Pi/float64(n)), math.Cos(math.Pi/float64(n))
	for i := range last {
		j := (i + 1) % len(profile)
		for k := range n {
			a, b, c, d := at(i, k), at(i, k+1), at(j, k+1), at(j, k)
			tri(a, b, c)
			tri(a, c, d)
		}
		r, q, dz := profile[i][0], profile[j][0], profile[j][1]-profile[i][1]
		s.VolumeMM3 += half * dz * (r*r + r*q + q*q) / 3
		s.AreaMM2 += float64(n) * (r + q) * sin * math.Hypot(dz, (q-r)*cos)
		s.RoundMM3 += math.Pi * dz * (r*r + r*q + q*q) / 3
		s.RoundMM2 += math.Pi * (r + q) * math.Hypot(dz, q-r)
	}
	return s
}

// Cylinder stands on the origin along z, with n sides.
func Cylinder(r, h float64, n int) Solid {
	return Revolve("cylinder", n, false, [2]float64{0, 0}, [2]float64{r, 0}, [2]float64{r, h}, [2]float64{0, h})
}

// Cone stands on the origin, its tip at height h.
func Cone(r, h float64, n int) Solid {
	return Revolve("cone", n, false, [2]float64{0, 0}, [2]float64{r, 0}, [2]float64{0, h})
}

// Tube is a cylinder with a bore along z.
func Tube(outer, inner, h float64, n int) Solid {
	return Revolve("tube", n, true, [2]float64{inner, 0}, [2]float64{outer, 0}, [2]float64{outer, h}, [2]float64{inner, h})
}

// Sphere is centred on the origin, of n meridians and n/2 bands.
func Sphere(r float64, n int) Solid {
	bands := max(n/2, 2)
	var p [][2]float64
	for i := range bands + 1 {
		sin, cos := math.Sincos(math.Pi * float64(i) / float64(bands))
		if i == 0 || i == bands {
			sin = 0
		}
		p = append(p, [2]float64{r * sin, -r * cos})
	}
	s := Revolve("sphere", n, false, p...)
	s.RoundMM3, s.RoundMM2 = 4*math.Pi*r*r*r/3, 4*math.Pi*r*r
	return s
}

// Torus lies in the plane z = 0 about the origin: the circle of radius r is carried round at radius big.
func Torus(big, r float64, n, around int) Solid {
	var p [][2]float64
	for i := range around {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(around))
		p = append(p, [2]float64{big + r*cos, r * sin})
	}
	s := Revolve("torus", n, true, p...)
	s.RoundMM3, s.RoundMM2 = 2*math.Pi*math.Pi*big*r*r, 4*math.Pi*math.Pi*big*r
	return s
}

// Hollow is outer with inner, moved by at, taken out of it; inner must lie within.
func Hollow(outer, inner Solid, at r3.Vec) Solid {
	in := inner.Mesh.Transformed(r3.Identity, 1, at)
	for t := in.Tri; len(t) >= 3; t = t[3:] {
		t[1], t[2] = t[2], t[1]
	}
	return Solid{
		Name: outer.Name + " with a cavity", Mesh: mesh.Merge(outer.Mesh, in), Shells: outer.Shells + inner.Shells, Genus: outer.Genus + inner.Genus,
		VolumeMM3: outer.VolumeMM3 - inner.VolumeMM3, AreaMM2: outer.AreaMM2 + inner.AreaMM2,
		RoundMM3: outer.RoundMM3 - inner.RoundMM3, RoundMM2: outer.RoundMM2 + inner.RoundMM2,
	}
}

// Rib is a bar of rectangular section (w across, h along z) wound about the z axis at mean radius r: turns times round,
// rising pitch each turn, steps facets to a turn. Every section lies in a plane through the axis, so the round body has the volume
// w·h·r·2π·turns whatever the pitch (Pappus; the rise only shears it).
func Rib(r, w, h, pitch, turns float64, steps int) Solid {
	m := &mesh.Mesh{}
	n := int(math.Ceil(turns * float64(steps)))
	for i := range n + 1 {
		t := turns * float64(i) / float64(n)
		sin, cos := math.Sincos(2 * math.Pi * t)
		for _, c := range [4][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}} {
			rr, z := r+c[0]*w/2, pitch*t+c[1]*h/2
			m.Pos = append(m.Pos, float32(rr*cos), float32(rr*sin), float32(z))
		}
	}
	for i := range uint32(n) {
		for j := range uint32(4) {
			a, b := 4*i+j, 4*i+(j+1)%4
			c, d := b+4, a+4
			m.Tri = append(m.Tri, a, c, b, a, d, c)
		}
	}
	e := uint32(4 * n)
	m.Tri = append(m.Tri, 0, 1, 2, 0, 2, 3, e, e+2, e+1, e, e+3, e+2)
	return Solid{"helical rib", m, nan, nan, w * h * r * 2 * math.Pi * turns, nan, 1, 0}
}

// Gyroid is a sheet of thickness about t of the triply periodic surface sin x cos y + sin y cos z + sin z cos x = 0 with the given
// period, within a cube of edge size, of about the given number of facets if that is enough to resolve the sheet: a large
// mesh of many handles. Contoured on a grid of tetrahedra, so that it is always closed.
func Gyroid(size, period, t float64, facets int) Solid {
	// About 7 facets for each h² of surface; its two sides have about 6.2·size³/period.
	n := int(max(8, math.Sqrt(float64(facets)/(43*size/period))))
	h := size / float64(n)
	k := 2 * math.Pi / period
	level := t * k / 2 * 1.1
	at := func(i, j, l int) float64 { // positive in the material; the grid has one layer of air around it
		x, y, z := float64(i)*h*k, float64(j)*h*k, float64(l)*h*k
		g := math.Sin(x)*math.Cos(y) + math.Sin(y)*math.Cos(z) + math.Sin(z)*math.Cos(x)
		return min(level-math.Abs(g), k*h*(float64(min(i, j, l, n-i, n-j, n-l))-0.37))
	}
	return Contour("gyroid", n, h, at)
}

// Contour is the surface field = 0, material where it is positive, of a field on the grid of n³ cells of edge h at the
// origin. The field must be negative on the outside of the grid.
func Contour(name string, n int, h float64, field func(i, j, l int) float64) Solid {
	return Solid{name, level.Surface([3]int{n, n, n}, h, r3.Vec{}, field), nan, nan, nan, nan, -1, -1}
}
