package bvh

import (
	"math"

	"firstoff/geom/cores"
	"firstoff/geom/r3"
)

// Side is the side of a facet from which its own ray leaves.
type Side int

const (
	Inward  Side = -1 // into the material
	Outward Side = 1  // into the air
)

// OwnRays sends a ray from the middle of every facet along its normal, inwards or outwards, beginning skin mm off the facet,
// and puts the distance from the facet to what it meets into out, by facet: +Inf where it meets nothing within max, NaN for a facet without
// area. Searched upwards from each facet's own leaf, in parallel. out must hold Facets values.
func (t *Tree) OwnRays(side Side, skin, max float64, out []float32) {
	cores.Each(len(t.tri), 1<<12, func(_, from, to int) {
		var r ray
		for i := from; i < to; i++ {
			o, n, ok := t.tri[i].middle()
			if !ok {
				out[t.id[i]] = float32(math.NaN())
				continue
			}
			d := n.Mul(float64(side))
			out[t.id[i]] = float32(math.Inf(1))
			if t.from(&r, i, o.Add(d.Mul(skin)), d, max-skin) {
				out[t.id[i]] = float32(r.end + skin)
			}
		}
	})
}

// middle is the centroid and the unit normal.
func (f *tri) middle() (c, n r3.Vec, ok bool) {
	ax, ay, az := float64(f.x[0]), float64(f.y[0]), float64(f.z[0])
	bx, by, bz := float64(f.x[1]), float64(f.y[1]), float64(f.z[1])
	cx, cy, cz := float64(f.x[2]), float64(f.y[2]), float64(f.z[2])
	ux, uy, uz := bx-ax, by-ay, bz-az
	vx, vy, vz := cx-ax, cy-ay, cz-az
	n = r3.Vec{X: uy*vz - uz*vy, Y: uz*vx - ux*vz, Z: ux*vy - uy*vx}
	l := n.Norm()
	if l == 0 {
		return c, n, false
	}
	return r3.Vec{X: (ax + bx + cx) / 3, Y: (ay + by + cy) / 3, Z: (az + bz + cz) / 3}, n.Mul(1 / l), true
}

// from is Ray for a ray that begins at tri number i: it searches upwards until the part of the ray before the nearest hit lies where no
// other subtree reaches.
func (t *Tree) from(r *ray, i int, o, d r3.Vec, end float64) bool {
	if !(end >= 0) {
		return false
	}
	r.aim(o, d)
	r.begin, r.end, r.hit = 0, end, -1
	r.start(o, d, 0)
	at := t.leaf[i]
	n := &t.nodes[at]
	side := 0
	if c := n.child[1]; c < 0 {
		if first, count := leafOf(c); i >= first && i < first+count {
			side = 1
		}
	}
	first, count := leafOf(n.child[side])
	t.facets(r, first, count)
	for {
		s := uint32(2 * (1 - side))
		a := min((r.ox-n.x[r.nx|s])*r.ix, (r.oy-n.y[r.ny|s])*r.iy, (r.oz-n.z[r.nz|s])*r.iz, 0)
		b := min((n.x[r.nx^1|s]-r.ox)*r.ix, (n.y[r.ny^1|s]-r.oy)*r.iy, (n.z[r.nz^1|s]-r.oz)*r.iz, r.fend)
		if a+b >= 0 {
			if c := n.child[1-side]; c >= 0 {
				t.descend(r, c)
			} else {
				first, count := leafOf(c)
				t.facets(r, first, count)
			}
		}
		if r.hit >= 0 {
			k := &t.own[at]
			if r.ox > k[0] && r.ox < k[3] && r.oy > k[1] && r.oy < k[4] && r.oz > k[2] && r.oz < k[5] {
				x, y, z := k[3-3*r.nx], k[4-3*r.ny], k[5-3*r.nz]
				if min((x-r.ox)*r.ix, (y-r.oy)*r.iy, (z-r.oz)*r.iz) > r.fend {
					return true
				}
			}
		}
		up := n.parent
		if up < 0 {
			return r.hit >= 0
		}
		n = &t.nodes[up]
		side = 0
		if n.child[1] == at {
			side = 1
		}
		at = up
	}
}
