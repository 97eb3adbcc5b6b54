package mesh

import (
	"math"
	"slices"

	"firstoff/geom/exact"
	"firstoff/geom/r3"
)

// ConvexHull is the convex hull of the vertices that facets use (of all vertices if there are no facets). Every side is decided
// exactly, so the result is convex for any input; facets that lie in one plane stay triangles.
//
// Flat input gives the polygon twice, once from each side. Points in line or less give no facets; Pos then holds the
// one or two end points. Quickhull: Barber, Dobkin, Huhdanpaa, ACM TOMS 22(4), 1996.
func ConvexHull(m *Mesh) *Mesh {
	h := &huller{m: m}
	h.used()
	if !h.simplex() {
		return h.flat()
	}
	h.run()
	return h.result()
}

type face struct {
	v    [3]uint32
	nb   [3]int32 // face beyond the edge from v[i] to v[i+1]
	n    r3.Vec   // normal, not unit
	o    r3.Vec
	err  float64 // below this distance (times |n|) rounding may decide
	out  []uint32
	far  uint32
	farD float64
	gone bool
	mark int32
}

type huller struct {
	m     *Mesh
	pts   []uint32
	faces []face
	scale float64
	base  [4]uint32
	rank  int // affine dimension found
}

func (h *huller) at(i uint32) r3.Vec { return h.m.Vertex(i) }

func (h *huller) used() {
	nv := h.m.Vertices()
	if len(h.m.Tri) == 0 {
		h.pts = all(nv)
		return
	}
	seen := make([]bool, nv)
	for _, v := range h.m.Tri {
		if !seen[v] {
			seen[v] = true
			h.pts = append(h.pts, v)
		}
	}
}

// simplex finds four points that are not in a plane, well apart.
func (h *huller) simplex() bool {
	if len(h.pts) == 0 {
		return false
	}
	// Extreme along x, then y, z.
	var lo, hi [3]uint32
	for x := range 3 {
		lo[x], hi[x] = h.pts[0], h.pts[0]
		for _, p := range h.pts {
			c := h.at(p).Axis(x)
			if c < h.at(lo[x]).Axis(x) {
				lo[x] = p
			}
			if c > h.at(hi[x]).Axis(x) {
				hi[x] = p
			}
		}
		h.scale = max(h.scale, math.Abs(h.at(lo[x]).Axis(x)), math.Abs(h.at(hi[x]).Axis(x)))
	}
	best := -1.0
	for x := range 3 {
		if d := h.at(lo[x]).Dist(h.at(hi[x])); d > best {
			best, h.base[0], h.base[1] = d, lo[x], hi[x]
		}
	}
	if best == 0 {
		return false
	}
	h.rank = 1
	a, b := h.at(h.base[0]), h.at(h.base[1])
	best = 0
	for _, p := range h.pts {
		if d := h.at(p).Sub(a).Cross(b.Sub(a)).Norm2(); d > best && !collinear(a, b, h.at(p)) {
			best, h.base[2] = d, p
		}
	}
	if best == 0 {
		return false
	}
	h.rank = 2
	c := h.at(h.base[2])
	n := b.Sub(a).Cross(c.Sub(a))
	best = -1
	for _, p := range h.pts {
		if d := math.Abs(h.at(p).Sub(a).Dot(n)); d > best && exact.Orient3D(a, b, c, h.at(p)) != 0 {
			best, h.base[3] = d, p
		}
	}
	if best < 0 {
		return false
	}
	h.rank = 3
	if exact.Orient3D(a, b, c, h.at(h.base[3])) > 0 {
		h.base[1], h.base[2] = h.base[2], h.base[1]
	}
	return true
}

// collinear is exact: three points are in line when they are in line in all three projections.
func collinear(a, b, c r3.Vec) bool {
	return exact.Orient2D(a.X, a.Y, b.X, b.Y, c.X, c.Y) == 0 &&
		exact.Orient2D(a.Y, a.Z, b.Y, b.Z, c.Y, c.Z) == 0 &&
		exact.Orient2D(a.Z, a.X, b.Z, b.X, c.Z, c.X) == 0
}

func (h *huller) newFace(a, b, c uint32) int32 {
	p, q, r := h.at(a), h.at(b), h.at(c)
	f := face{v: [3]uint32{a, b, c}, o: p, n: q.Sub(p).Cross(r.Sub(p)), far: None}
	// Differences and products of values up to 2·scale, each rounded once: a generous bound.
	l := q.Sub(p).Norm() * r.Sub(p).Norm()
	f.err = 32 * (1.0 / (1 << 53)) * l * h.scale
	h.faces = append(h.faces, f)
	return int32(len(h.faces) - 1)
}

// side is the exact side of p, and its rough distance times |n|.
func (f *face) side(h *huller, p uint32) (int, float64) {
	d := h.at(p).Sub(f.o).Dot(f.n)
	if d > f.err {
		return 1, d
	}
	if d < -f.err {
		return -1, d
	}
	return exact.Orient3D(h.at(f.v[0]), h.at(f.v[1]), h.at(f.v[2]), h.at(p)), d
}

// hand gives the points to the first of the faces that sees them.
func (h *huller) hand(pts []uint32, faces []int32) {
	for _, p := range pts {
		for _, i := range faces {
			f := &h.faces[i]
			s, d := f.side(h, p)
			if s <= 0 {
				continue
			}
			f.out = append(f.out, p)
			if f.far == None || d > f.farD {
				f.far, f.farD = p, d
			}
			break
		}
	}
}

func (h *huller) run() {
	b := h.base
	fs := []int32{h.newFace(b[0], b[1], b[2]), h.newFace(b[0], b[3], b[1]), h.newFace(b[1], b[3], b[2]), h.newFace(b[2], b[3], b[0])}
	for _, i := range fs {
		for e := range 3 {
			u, v := h.faces[i].v[e], h.faces[i].v[(e+1)%3]
			for _, j := range fs {
				for g := range 3 {
					if h.faces[j].v[g] == v && h.faces[j].v[(g+1)%3] == u {
						h.faces[i].nb[e] = j
					}
				}
			}
		}
	}
	h.hand(h.pts, fs)
	todo := slices.Clone(fs)
	round := int32(0)
	type rim struct {
		face int32 // beyond the horizon
		edge int   // its edge there
	}
	var seen, fresh []int32
	var horizon []rim
	var pts []uint32
	for len(todo) > 0 {
		i := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		if h.faces[i].gone || h.faces[i].far == None {
			continue
		}
		p := h.faces[i].far
		round++
		// All faces that p sees, and the horizon around them in order.
		seen, horizon = seen[:0], horizon[:0]
		h.faces[i].mark = round
		type visit struct {
			face int32
			edge int // entered through
			next int
		}
		seen = append(seen, i)
		stack := []visit{{i, -1, 0}}
		for len(stack) > 0 {
			t := &stack[len(stack)-1]
			if t.next == 3 || t.edge >= 0 && t.next == 2 {
				stack = stack[:len(stack)-1]
				continue
			}
			e := t.next
			if t.edge >= 0 {
				e = (t.edge + 1 + t.next) % 3
			}
			t.next++
			j := h.faces[t.face].nb[e]
			u, v := h.faces[t.face].v[e], h.faces[t.face].v[(e+1)%3]
			back := 0
			for back < 3 && (h.faces[j].v[back] != v || h.faces[j].v[(back+1)%3] != u) {
				back++
			}
			if h.faces[j].mark == round {
				continue
			}
			if s, _ := h.faces[j].side(h, p); s > 0 {
				h.faces[j].mark = round
				seen = append(seen, j)
				stack = append(stack, visit{j, back, 0})
			} else {
				horizon = append(horizon, rim{j, back})
			}
		}
		// A cone of new faces over the horizon, which comes in order.
		fresh = fresh[:0]
		for _, r := range horizon {
			u, v := h.faces[r.face].v[(r.edge+1)%3], h.faces[r.face].v[r.edge]
			n := h.newFace(u, v, p)
			h.faces[n].nb[0] = r.face
			h.faces[r.face].nb[r.edge] = n
			fresh = append(fresh, n)
		}
		for k, n := range fresh {
			after, before := fresh[(k+1)%len(fresh)], fresh[(k+len(fresh)-1)%len(fresh)]
			h.faces[n].nb[1], h.faces[n].nb[2] = after, before
		}
		pts = pts[:0]
		for _, j := range seen {
			for _, q := range h.faces[j].out {
				if q != p {
					pts = append(pts, q)
				}
			}
			h.faces[j].gone, h.faces[j].out = true, nil
		}
		h.hand(pts, fresh)
		todo = append(todo, fresh...)
	}
}

func (h *huller) result() *Mesh {
	var tri []uint32
	for i := range h.faces {
		if !h.faces[i].gone {
			tri = append(tri, h.faces[i].v[:]...)
		}
	}
	return (&Mesh{Pos: h.m.Pos, Tri: tri}).Pick(all(len(tri) / 3))
}

// flat is the hull of points in a plane, in line, or fewer.
func (h *huller) flat() *Mesh {
	out := &Mesh{}
	add := func(v uint32) { out.Pos = append(out.Pos, h.m.Pos[3*v:3*v+3]...) }
	switch {
	case len(h.pts) == 0:
		return out
	case h.rank == 0:
		add(h.pts[0])
		return out
	case h.rank == 1:
		add(h.base[0])
		add(h.base[1])
		return out
	}
	a, b, c := h.at(h.base[0]), h.at(h.base[1]), h.at(h.base[2])
	n := b.Sub(a).Cross(c.Sub(a))
	i, j := 0, 1 // project along the normal's largest component
	if ax, ay, az := math.Abs(n.X), math.Abs(n.Y), math.Abs(n.Z); ax >= ay && ax >= az {
		i, j = 1, 2
	} else if ay >= az {
		i, j = 2, 0
	}
	pts := make([]point, len(h.pts))
	for k, v := range h.pts {
		p := h.at(v)
		pts[k] = point{p.Axis(i), p.Axis(j), v}
	}
	ring := hull2(pts)
	for _, p := range ring {
		add(p.v)
	}
	for k := 2; k < len(ring); k++ {
		out.Tri = append(out.Tri, 0, uint32(k-1), uint32(k), 0, uint32(k), uint32(k-1))
	}
	return out
}

// hull2 is the convex hull of points in the plane, running left, without points in line (Andrew's monotone chain, exact turns).
func hull2(p []point) []point {
	slices.SortFunc(p, func(a, b point) int {
		switch {
		case a.x < b.x || a.x == b.x && a.y < b.y:
			return -1
		case a.x == b.x && a.y == b.y:
			return 0
		}
		return 1
	})
	p = slices.CompactFunc(p, func(a, b point) bool { return a.x == b.x && a.y == b.y })
	if len(p) < 3 {
		return p
	}
	var out []point
	half := func(from, to, step int) {
		base := len(out)
		for i := from; i != to; i += step {
			for len(out) >= base+2 && turnOf(out[len(out)-2], out[len(out)-1], p[i]) <= 0 {
				out = out[:len(out)-1]
			}
			out = append(out, p[i])
		}
		out = out[:len(out)-1]
	}
	half(0, len(p), 1)
	half(len(p)-1, -1, -1)
	return out
}
