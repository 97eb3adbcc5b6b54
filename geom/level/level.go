// Package level makes the surface on which a field on a grid is zero.
//
// Units: mm. Source: marching tetrahedra, six to a cell (Kuhn's division): Doi and Koide, IEICE Trans. E74(1), 1991. The surface is closed,
// and its facets look out of the material (TestClosed through geomtest.Contour's users).
package level

import (
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// Surface is the surface field = 0, material where it is positive, of a field on a grid of n[0] × n[1] × n[2] cells of edge h whose first node
// lies at origin. The field is asked once for every node and must not be positive on the outside of the grid. O(nodes).
func Surface(n [3]int, h float64, origin r3.Vec, field func(i, j, l int) float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	w := [3]int{n[0] + 1, n[1] + 1, n[2] + 1}
	f := make([]float64, w[0]*w[1]*w[2])
	for i := range w[0] {
		for j := range w[1] {
			for l := range w[2] {
				v := field(i, j, l)
				if v == 0 {
					v = -1e-9
				}
				f[(i*w[1]+j)*w[2]+l] = v
			}
		}
	}
	steps := [3]int{w[1] * w[2], w[2], 1}
	seen := map[[2]int]uint32{} // vertex on each grid edge that is crossed
	start := [3]float64{origin.X, origin.Y, origin.Z}
	vertex := func(a, b int) uint32 {
		if a > b {
			a, b = b, a
		}
		if v, ok := seen[[2]int{a, b}]; ok {
			return v
		}
		v := uint32(m.Vertices())
		seen[[2]int{a, b}] = v
		s := f[a] / (f[a] - f[b])
		s = min(max(s, 0.02), 0.98) // no slivers
		for x := range 3 {
			p, q := float64(a/steps[x]%w[x]), float64(b/steps[x]%w[x])
			m.Pos = append(m.Pos, float32(start[x]+h*(p+s*(q-p))))
		}
		return v
	}
	for i := range n[0] {
		for j := range n[1] {
			for l := range n[2] {
				o := (i*w[1]+j)*w[2] + l
				far := o + steps[0] + steps[1] + steps[2]
				if in := f[o] > 0; in == (f[far] > 0) && in == (f[o+steps[0]] > 0) && in == (f[o+steps[1]] > 0) && in == (f[o+steps[2]] > 0) &&
					in == (f[far-steps[0]] > 0) && in == (f[far-steps[1]] > 0) && in == (f[far-steps[2]] > 0) {
					continue
				}
				for _, p := range [6][3]int{{0, 1, 2}, {1, 2, 0}, {2, 0, 1}, {0, 2, 1}, {2, 1, 0}, {1, 0, 2}} {
					c := [4]int{o, o + steps[p[0]], o + steps[p[0]] + steps[p[1]], far}
					even := p == [3]int{0, 1, 2} || p == [3]int{1, 2, 0} || p == [3]int{2, 0, 1}
					tetra(m, f, c, even, vertex)
				}
			}
		}
	}
	return m
}

// tetra adds the one or two facets of one tetrahedron; even says that c runs counter-clockwise.
func tetra(m *mesh.Mesh, f []float64, c [4]int, even bool, vertex func(a, b int) uint32) {
	var in, out []int
	for i, v := range c {
		if f[v] > 0 {
			in = append(in, i)
		} else {
			out = append(out, i)
		}
	}
	tri := func(a, b, d uint32, right bool) {
		if right {
			b, d = d, b
		}
		m.Tri = append(m.Tri, a, b, d)
	}
	odd := func(p ...int) bool { // parity of a permutation of 0..3
		n := 0
		for i := range p {
			for j := range i {
				if p[j] > p[i] {
					n++
				}
			}
		}
		return n%2 == 1
	}
	switch len(in) {
	case 1:
		a, p := in[0], out
		tri(vertex(c[a], c[p[0]]), vertex(c[a], c[p[1]]), vertex(c[a], c[p[2]]), odd(a, p[0], p[1], p[2]) == even)
	case 3:
		a, p := out[0], in
		tri(vertex(c[a], c[p[0]]), vertex(c[a], c[p[1]]), vertex(c[a], c[p[2]]), odd(a, p[0], p[1], p[2]) != even)
	case 2:
		a, b, p, q := in[0], in[1], out[0], out[1]
		w, x, y, z := vertex(c[a], c[p]), vertex(c[a], c[q]), vertex(c[b], c[q]), vertex(c[b], c[p])
		right := odd(a, b, p, q) == even
		tri(w, x, y, right)
		tri(w, y, z, right)
	}
}
