package bvh

import (
	"math"

	"firstoff/geom/r3"
)

// Hit is where a ray meets a facet.
type Hit struct {
	Facet uint32
	Dist  float64 // along the direction, in units of its length
	Front bool    // the ray comes from outside: it meets the side from which the corners run counter-clockwise
}

// Ray finds the nearest facet that the ray from o along d meets at a distance in [0, max]. d need not be a unit vector; the
// zero vector meets nothing. A ray through an edge or vertex meets one of the facets there; a facet seen exactly edge on is not met.
func (t *Tree) Ray(o, d r3.Vec, max float64) (Hit, bool) {
	var r ray
	if !r.set(t, o, d, max) {
		return Hit{}, false
	}
	t.descend(&r, 0)
	return r.answer(t)
}

// Crossings calls visit for every facet the line from o along d crosses at a distance in [0, max], in no order, until it says false. A line
// through a shared edge may cross both facets there.
func (t *Tree) Crossings(o, d r3.Vec, max float64, visit func(Hit) bool) {
	var r ray
	if !r.set(t, o, d, max) {
		return
	}
	r.every = visit
	t.descend(&r, 0)
}

type ray struct {
	o          [3]float64
	kx, ky, kz int     // kz: the axis along which the ray runs farthest
	sx, sy, sz float64 // shear that puts the direction onto that axis
	begin, end float64 // part of the ray still of interest; end shrinks to the nearest hit

	// The same for boxes.
	ox, oy, oz, ix, iy, iz float32
	nx, ny, nz             uint32  // 1 where the direction is negative: there the high side comes first
	shift                  float64 // boxes see the ray from this distance on
	fend                   float32

	hit   int
	front bool
	every func(Hit) bool
	stop  bool
}

// tiny stands for a direction component too small to divide by.
const tiny = 1e-30

func (r *ray) set(t *Tree, o, d r3.Vec, end float64) bool {
	if len(t.nodes) == 0 || !(end >= 0) {
		return false
	}
	ax, ay, az := math.Abs(d.X), math.Abs(d.Y), math.Abs(d.Z)
	if !(ax+ay+az > 0) || math.IsInf(ax+ay+az, 0) {
		return false
	}
	// Only the stretch within the box of everything matters. Starting the float32 part there keeps its rounding below the padding.
	in, out := 0.0, end
	for x := range 3 {
		p, v := o.Axis(x), d.Axis(x)
		lo, hi := t.box.Min.Axis(x), t.box.Max.Axis(x)
		if v == 0 {
			if p < lo || p > hi {
				return false
			}
			continue
		}
		a, b := (lo-p)/v, (hi-p)/v
		if a > b {
			a, b = b, a
		}
		in, out = math.Max(in, a), math.Min(out, b)
	}
	if in > out*(1+1e-12) {
		return false
	}
	r.aim(o, d)
	r.begin, r.end, r.hit = 0, end, -1
	r.start(o, d, in)
	return true
}

// aim prepares the facet test.
func (r *ray) aim(o, d r3.Vec) {
	r.o = [3]float64{o.X, o.Y, o.Z}
	v := [3]float64{d.X, d.Y, d.Z}
	kz := 0
	if math.Abs(v[1]) > math.Abs(v[0]) {
		kz = 1
	}
	if math.Abs(v[2]) > math.Abs(v[kz]) {
		kz = 2
	}
	kx := kz + 1
	if kx == 3 {
		kx = 0
	}
	ky := kx + 1
	if ky == 3 {
		ky = 0
	}
	if v[kz] < 0 {
		kx, ky = ky, kx
	}
	r.kx, r.ky, r.kz = kx, ky, kz
	r.sz = 1 / v[kz]
	r.sx, r.sy = v[kx]*r.sz, v[ky]*r.sz
}

// start prepares the box test from distance in on.
func (r *ray) start(o, d r3.Vec, in float64) {
	r.shift = in
	r.ox, r.oy, r.oz = float32(o.X+in*d.X), float32(o.Y+in*d.Y), float32(o.Z+in*d.Z)
	r.ix, r.nx = inverse(d.X)
	r.iy, r.ny = inverse(d.Y)
	r.iz, r.nz = inverse(d.Z)
	r.limit()
}

func inverse(v float64) (float32, uint32) {
	neg := uint32(0)
	if v < 0 {
		neg = 1
		v = min(v, -tiny)
	} else {
		v = max(v, tiny) // and minus zero
	}
	return float32(1 / v), neg
}

// limit carries end over to the box test, rounded up.
func (r *ray) limit() {
	e := r.end - r.shift
	r.fend = float32(e + math.Abs(e)*1e-6)
}

func (r *ray) answer(t *Tree) (Hit, bool) {
	if r.hit < 0 {
		return Hit{}, false
	}
	return Hit{Facet: t.id[r.hit], Dist: r.end, Front: r.front}, true
}

type entry struct {
	at   int32
	near float32 // minus the distance of its box
}

// descend searches the subtree at.
func (t *Tree) descend(r *ray, at int32) {
	var stack [maxDepth]entry
	sp := 0
	nodes := t.nodes
	nx, ny, nz := r.nx, r.ny, r.nz
	ox, oy, oz, ix, iy, iz := r.ox, r.oy, r.oz, r.ix, r.iy, r.iz
	for {
		if at >= 0 {
			n := &nodes[at]
			// Minus the distance to the near sides, and the distance to the far ones.
			a := min((ox-n.x[nx&1])*ix, (oy-n.y[ny&1])*iy, (oz-n.z[nz&1])*iz, 0)
			b := min((n.x[nx&1^1]-ox)*ix, (n.y[ny&1^1]-oy)*iy, (n.z[nz&1^1]-oz)*iz, r.fend)
			c := min((ox-n.x[nx&1|2])*ix, (oy-n.y[ny&1|2])*iy, (oz-n.z[nz&1|2])*iz, 0)
			d := min((n.x[nx&1^3]-ox)*ix, (n.y[ny&1^3]-oy)*iy, (n.z[nz&1^3]-oz)*iz, r.fend)
			if a+b >= 0 {
				at = n.child[0]
				if c+d >= 0 {
					if c > a {
						stack[sp%maxDepth] = entry{at, a}
						at = n.child[1]
					} else {
						stack[sp%maxDepth] = entry{n.child[1], c}
					}
					sp++
				}
				continue
			}
			if c+d >= 0 {
				at = n.child[1]
				continue
			}
		} else {
			first, count := leafOf(at)
			t.facets(r, first, count)
			if r.stop {
				return
			}
		}
		for {
			if sp == 0 {
				return
			}
			sp--
			e := &stack[sp%maxDepth]
			if e.near+r.fend >= 0 {
				at = e.at
				break
			}
		}
	}
}

// facets tries the facets of a leaf. The products of an edge's two ends are the same numbers, with opposite sign, for both facets at the
// edge (the conversions keep them from being fused), so what lies exactly on it is never outside of both.
func (t *Tree) facets(r *ray, first, count int) {
	kx, ky, kz := r.kx, r.ky, r.kz
	ox, oy, oz := r.o[kx], r.o[ky], r.o[kz]
	for i := first; i < first+count; i++ {
		f := &t.tri[i]
		px, py, pz := f.axis(kx), f.axis(ky), f.axis(kz)
		az, bz, cz := float64(pz[0])-oz, float64(pz[1])-oz, float64(pz[2])-oz
		ax, ay := float64(px[0])-ox-float64(r.sx*az), float64(py[0])-oy-float64(r.sy*az)
		bx, by := float64(px[1])-ox-float64(r.sx*bz), float64(py[1])-oy-float64(r.sy*bz)
		cx, cy := float64(px[2])-ox-float64(r.sx*cz), float64(py[2])-oy-float64(r.sy*cz)
		u := float64(cx*by) - float64(cy*bx)
		v := float64(ax*cy) - float64(ay*cx)
		if u < 0 && v > 0 || u > 0 && v < 0 {
			continue
		}
		w := float64(bx*ay) - float64(by*ax)
		if (u < 0 || v < 0 || w < 0) && (u > 0 || v > 0 || w > 0) {
			continue
		}
		det := u + v + w
		if det == 0 {
			continue
		}
		dist := (u*az + v*bz + w*cz) * r.sz / det
		if !(dist >= r.begin && dist <= r.end) {
			continue
		}
		if r.every != nil {
			if !r.every(Hit{t.id[i], dist, det > 0}) {
				r.stop = true
				return
			}
			continue
		}
		if dist == r.end && r.hit >= 0 && t.id[i] > t.id[r.hit] {
			continue // of facets met at the same place the first one counts
		}
		r.end, r.hit, r.front = dist, i, det > 0
		r.limit()
	}
}

func (f *tri) axis(k int) *[3]float32 {
	switch k {
	case 0:
		return &f.x
	case 1:
		return &f.y
	}
	return &f.z
}
