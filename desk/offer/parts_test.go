package offer

import (
	"math"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// prism is an upright prism over a polygon that its first point sees whole, mm.
func prism(h float64, p ...[2]float64) *mesh.Mesh {
	var s []float32
	tri := func(v ...[3]float64) {
		for _, c := range v {
			s = append(s, float32(c[0]), float32(c[1]), float32(c[2]))
		}
	}
	n := len(p)
	at := func(i int, z float64) [3]float64 { return [3]float64{p[i%n][0], p[i%n][1], z} }
	for i := 1; i+1 < n; i++ {
		tri(at(0, h), at(i, h), at(i+1, h))
		tri(at(0, 0), at(i+1, 0), at(i, 0))
	}
	for i := 0; i < n; i++ {
		tri(at(i, 0), at(i+1, 0), at(i+1, h))
		tri(at(i, 0), at(i+1, h), at(i, h))
	}
	return mesh.FromSoup(s)
}

func block(x, y, z float64) *mesh.Mesh {
	return prism(z, [2]float64{0, 0}, [2]float64{x, 0}, [2]float64{x, y}, [2]float64{0, y})
}

// angle is a bracket: an L of the given legs and wall, w wide, laid on its profile.
func angle(a, b, wall, w float64) *mesh.Mesh {
	return prism(w, [2]float64{wall, wall}, [2]float64{wall, b}, [2]float64{0, b}, [2]float64{0, 0}, [2]float64{a, 0}, [2]float64{a, wall})
}

// knot is a wavy torus of about n facets: a part with overhangs, holes and curved walls.
func knot(n int, r float64) *mesh.Mesh {
	v := int(math.Sqrt(float64(n) / 4))
	u := n / 2 / v
	pos := make([]float32, 0, 3*u*v)
	for i := 0; i < u; i++ {
		for k := 0; k < v; k++ {
			a, b := 2*math.Pi*float64(i)/float64(u), 2*math.Pi*float64(k)/float64(v)
			t := r * 0.32 * (1 + 0.15*math.Sin(9*a))
			x := (r + t*math.Cos(b))
			pos = append(pos, float32(x*math.Cos(a)), float32(x*math.Sin(a)), float32(t*math.Sin(b)+0.2*r*math.Sin(3*a)))
		}
	}
	tri := make([]uint32, 0, 6*u*v)
	for i := 0; i < u; i++ {
		for k := 0; k < v; k++ {
			a, b := uint32(i*v+k), uint32((i+1)%u*v+k)
			c, d := uint32((i+1)%u*v+(k+1)%v), uint32(i*v+(k+1)%v)
			tri = append(tri, a, b, c, a, c, d)
		}
	}
	m := &mesh.Mesh{Pos: pos, Tri: tri}
	if m.Measure().VolumeMM3 < 0 {
		for i := 0; i < len(tri); i += 3 {
			tri[i], tri[i+1] = tri[i+1], tri[i]
		}
	}
	return m
}

var _ = r3.Vec{}
