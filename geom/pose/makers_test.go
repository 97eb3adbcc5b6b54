package pose

import (
	"math"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// box is a box between two corners, outward.
func box(lo, hi r3.Vec) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range 8 {
		p := lo
		if i&1 != 0 {
			p.X = hi.X
		}
		if i&2 != 0 {
			p.Y = hi.Y
		}
		if i&4 != 0 {
			p.Z = hi.Z
		}
		m.Pos = append(m.Pos, float32(p.X), float32(p.Y), float32(p.Z))
	}
	m.Tri = []uint32{0, 2, 3, 0, 3, 1, 4, 5, 7, 4, 7, 6, 0, 1, 5, 0, 5, 4, 2, 6, 7, 2, 7, 3, 0, 4, 6, 0, 6, 2, 1, 3, 7, 1, 7, 5}
	return m
}

// lathe turns a closed profile (r, z; counter-clockwise in the r-z half plane, r >= 0) about z with n sides.
func lathe(n int, profile ...[2]float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	k := len(profile)
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		for _, p := range profile {
			m.Pos = append(m.Pos, float32(p[0]*c), float32(p[0]*s), float32(p[1]))
		}
	}
	for i := range n {
		for j := range k {
			a, b := uint32(i*k+j), uint32(i*k+(j+1)%k)
			c, d := uint32((i+1)%n*k+j), uint32((i+1)%n*k+(j+1)%k)
			m.Tri = append(m.Tri, a, c, d, a, d, b)
		}
	}
	return mesh.FromSoup(m.Soup())
}

func torus(R, r float64, n int) *mesh.Mesh {
	p := make([][2]float64, n)
	for i := range p {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		p[i] = [2]float64{R + r*c, r * s}
	}
	return lathe(2*n, p...)
}

func flipped(m *mesh.Mesh) *mesh.Mesh {
	c := m.Clone()
	for i := 0; i < len(c.Tri); i += 3 {
		c.Tri[i], c.Tri[i+1] = c.Tri[i+1], c.Tri[i]
	}
	return c
}

func v(x, y, z float64) r3.Vec { return r3.Vec{X: x, Y: y, Z: z} }

// sphere is a ball of n rings about a centre.
func sphere(c r3.Vec, r float64, n int) *mesh.Mesh {
	p := make([][2]float64, n+1)
	for i := range p {
		s, k := math.Sincos(math.Pi * float64(i) / float64(n))
		p[i] = [2]float64{r * s, -r * k}
	}
	p[0][0], p[n][0] = 0, 0
	return lathe(2*n, p...).Transformed(r3.Identity, 1, c)
}
