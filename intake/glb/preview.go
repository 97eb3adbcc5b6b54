package glb

import (
	"context"
	"io"
	"math"

	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/intake/content"
)

// WriteStreamed writes parts as WriteParts does, with a coarse picture of them all ahead of their own data: scene 1, node
// "preview", of about facets triangles. Its numbers are the first in the file, so a viewer that reads along has something to show
// long before the end; scene 0 and the numbering of nodes below the frame are as in WriteParts. Parts together not larger
// than twice the preview get none.
func WriteStreamed(w io.Writer, parts []Part, facets int) error {
	return write(w, parts, coarse(parts, facets))
}

// coarse gathers the vertices of all parts into the cells of a grid, one vertex at the mean of each (vertex clustering: Rossignac and
// Borrel 1993), and keeps the facets that still have three corners. Nil where it would not help. It is for looking at
// only: neither closed nor free of crossings.
func coarse(parts []Part, facets int) *mesh.Mesh {
	total, area := 0, 0.0
	box := r3.EmptyBox()
	for _, p := range parts {
		if p.Mesh == nil || p.Mesh.Facets() == 0 {
			continue
		}
		total += p.Mesh.Facets()
		for f := range p.Mesh.Facets() {
			area += p.Mesh.FacetArea(f)
		}
		box = box.Union(p.Mesh.Box())
	}
	if facets <= 0 || total <= 2*facets || !(area > 0) {
		return nil
	}
	// On a surface of small facets each cell it passes through leaves about two.
	cell := math.Sqrt(2 * area / float64(facets))
	key := func(v r3.Vec) [3]int32 {
		q := v.Sub(box.Min).Mul(1 / cell)
		return [3]int32{int32(q.X), int32(q.Y), int32(q.Z)}
	}
	out := &mesh.Mesh{}
	number := make(map[[3]int32]uint32)
	var sum []r3.Vec
	var count []float64
	seen := make(map[[3]uint32]bool)
	for _, p := range parts {
		if p.Mesh == nil || p.Mesh.Facets() == 0 {
			continue
		}
		to := make([]uint32, p.Mesh.Vertices())
		for i := range to {
			v := p.Mesh.Vertex(uint32(i))
			k := key(v)
			n, ok := number[k]
			if !ok {
				n = uint32(len(sum))
				number[k] = n
				sum, count = append(sum, r3.Vec{}), append(count, 0)
			}
			sum[n], count[n] = sum[n].Add(v), count[n]+1
			to[i] = n
		}
		for t := p.Mesh.Tri; len(t) >= 3; t = t[3:] {
			a, b, c := to[t[0]], to[t[1]], to[t[2]]
			if a == b || b == c || c == a {
				continue
			}
			for a > b || a > c { // the least first, so that the same facet is known again
				a, b, c = b, c, a
			}
			if f := [3]uint32{a, b, c}; !seen[f] {
				seen[f] = true
				out.Tri = append(out.Tri, a, b, c)
			}
		}
	}
	if len(out.Tri) == 0 {
		return nil
	}
	for i, v := range sum {
		v = v.Mul(1 / count[i])
		out.Pos = append(out.Pos, float32(v.X), float32(v.Y), float32(v.Z))
	}
	return out
}

// ReadView reads a file of ours back: bodies in mm, Z up, as they were given to Write. Faults as Read; Invalid "glb_not_ours" for a
// file that was not written here.
func ReadView(ctx context.Context, data []byte) ([]content.Body, error) {
	c, err := Read(ctx, data, nil, content.Limits{})
	if err != nil {
		return nil, err
	}
	if c.Generator != generator {
		return nil, fault.New(fault.Invalid, "glb_not_ours", "", "The file was not written by this program.")
	}
	for _, b := range c.Bodies {
		for p := b.Mesh.Pos; len(p) >= 3; p = p[3:] {
			p[0], p[1], p[2] = 1000*p[0], -1000*p[2], 1000*p[1]
		}
	}
	return c.Bodies, nil
}
