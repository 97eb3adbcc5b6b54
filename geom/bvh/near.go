package bvh

import (
	"math"

	"firstoff/geom/cores"
	"firstoff/geom/r3"
)

// Near is the nearest place of the surface.
type Near struct {
	Facet uint32
	Point r3.Vec
	Dist  float64
}

// Nearest finds the nearest point of the surface within the given distance (infinity for any). Where several facets are nearest,
// the lowest counts.
func (t *Tree) Nearest(p r3.Vec, within float64) (Near, bool) {
	if len(t.nodes) == 0 || !(within >= 0) {
		return Near{}, false
	}
	t.discs()
	q := query{hit: -1}
	q.set(t, p, within*within)
	t.closer(&q, 0)
	return q.answer(t)
}

// NearestAll finds the nearest place for every point, in parallel, and puts it into out, which must be as long. Points are taken
// in space-filling order, each search beginning where the last one ended.
func (t *Tree) NearestAll(pts []r3.Vec, out []Near) {
	if len(t.nodes) == 0 {
		return
	}
	t.discs()
	order := hilbert(pts, t.box)
	cores.Each(len(pts), 1<<13, func(_, from, to int) {
		seed := 0
		for k := from; k < to; k++ {
			i := order[k]
			var q query
			q.hit = -1
			q.set(t, pts[i], math.Inf(1))
			if k > from {
				t.closerFrom(&q, seed)
			} else {
				t.closer(&q, 0)
			}
			seed = q.hit
			out[i], _ = q.answer(t)
		}
	})
}

// Order is the facets in the tree's own order, in which neighbours in the list are neighbours in space.
func (t *Tree) Order() []uint32 { return t.id }

// Middle is the centroid and unit normal of the facet at the given place of Order; false if it has no area.
func (t *Tree) Middle(place int) (centroid, normal r3.Vec, ok bool) { return t.tri[place].middle() }

// NearestFrom is Nearest for a point close to the facet at the given place of Order: the same answer, found upwards from there.
func (t *Tree) NearestFrom(place int, p r3.Vec, within float64) (Near, bool) {
	if !(within >= 0) {
		return Near{}, false
	}
	t.discs()
	q := query{hit: -1}
	q.set(t, p, within*within)
	t.closerFrom(&q, place)
	return q.answer(t)
}

// Cone leaves out of a search what is seen from its point within the angle of cosine Cos about Axis (unit).
type Cone struct {
	Axis r3.Vec
	Cos  float64
}

// NearestOutside is NearestFrom without the facets whose nearest point is seen within the cone; a negative place means that nothing
// near is known.
func (t *Tree) NearestOutside(place int, p r3.Vec, within float64, c Cone) (Near, bool) {
	if len(t.nodes) == 0 || !(within >= 0) {
		return Near{}, false
	}
	t.discs()
	q := query{hit: -1, cone: c, cut: true}
	q.set(t, p, within*within)
	if place < 0 {
		t.closer(&q, 0)
	} else {
		t.closerFrom(&q, place)
	}
	return q.answer(t)
}

type query struct {
	cone    Cone
	cut     bool // the cone counts
	p       r3.Vec
	x, y, z float32
	best    float64 // squared distance
	fbest   float32 // the same for boxes, rounded up
	slack   float32 // what rounding the point may do
	hit     int
	on      r3.Vec
}

func (q *query) set(t *Tree, p r3.Vec, best float64) {
	q.p = p
	q.x, q.y, q.z = float32(p.X), float32(p.Y), float32(p.Z)
	// The padding covers rounding of a point near the surface; one far away may round by more.
	if far := max(math.Abs(p.X), math.Abs(p.Y), math.Abs(p.Z)); far > 4*t.size {
		q.slack = float32(math.Ldexp(far, -22))
	}
	q.best = best
	q.limit()
}

func (q *query) limit() {
	d := q.best * (1 + 2e-6)
	if q.slack > 0 {
		s := math.Sqrt(q.best) + float64(q.slack)
		d = s * s * (1 + 2e-6)
	}
	q.fbest = float32(d) * (1 + 1.0/(1<<22))
}

func (q *query) answer(t *Tree) (Near, bool) {
	if q.hit < 0 {
		return Near{}, false
	}
	return Near{Facet: t.id[q.hit], Point: q.on, Dist: math.Sqrt(q.best)}, true
}

// closer searches the subtree at.
func (t *Tree) closer(q *query, at int32) {
	var stack [maxDepth]entry
	sp := 0
	nodes := t.nodes
	x, y, z := q.x, q.y, q.z
	for {
		if at >= 0 && (q.fbest <= t.far || t.capOf[at] == 0 || !t.disc[t.capOf[at]].beyond(q)) {
			n := &nodes[at]
			ax, ay, az := min(x-n.x[0], n.x[1]-x, 0), min(y-n.y[0], n.y[1]-y, 0), min(z-n.z[0], n.z[1]-z, 0)
			bx, by, bz := min(x-n.x[2], n.x[3]-x, 0), min(y-n.y[2], n.y[3]-y, 0), min(z-n.z[2], n.z[3]-z, 0)
			a, b := ax*ax+ay*ay+az*az, bx*bx+by*by+bz*bz
			if a <= q.fbest {
				at = n.child[0]
				if b <= q.fbest {
					if b < a {
						stack[sp%maxDepth] = entry{at, a}
						at = n.child[1]
					} else {
						stack[sp%maxDepth] = entry{n.child[1], b}
					}
					sp++
				}
				continue
			}
			if b <= q.fbest {
				at = n.child[1]
				continue
			}
		} else if at < 0 {
			first, count := leafOf(at)
			if !t.disc[t.discOf[first]].beyond(q) {
				t.measure(q, first, count)
			}
		}
		for {
			if sp == 0 {
				return
			}
			sp--
			if e := &stack[sp%maxDepth]; e.near <= q.fbest {
				at = e.at
				break
			}
		}
	}
}

// closerFrom searches upwards from the leaf of tri number seed until the ball of what was found lies where no other subtree reaches.
func (t *Tree) closerFrom(q *query, seed int) {
	at := t.leaf[seed]
	n := &t.nodes[at]
	side := 0
	if c := n.child[1]; c < 0 {
		if first, count := leafOf(c); seed >= first && seed < first+count {
			side = 1
		}
	}
	first, count := leafOf(n.child[side])
	t.measure(q, first, count)
	for {
		// The other child, unless it is too far.
		o := 1 - side
		x, y, z := min(q.x-n.x[2*o], n.x[2*o+1]-q.x, 0), min(q.y-n.y[2*o], n.y[2*o+1]-q.y, 0), min(q.z-n.z[2*o], n.z[2*o+1]-q.z, 0)
		if x*x+y*y+z*z <= q.fbest {
			if c := n.child[o]; c >= 0 {
				t.closer(q, c)
			} else {
				first, count := leafOf(c)
				if !t.disc[t.discOf[first]].beyond(q) {
					t.measure(q, first, count)
				}
			}
		}
		// Room between the point and the sides of the box that only this subtree reaches into.
		k := &t.own[at]
		if room := min(q.x-k[0], k[3]-q.x, q.y-k[1], k[4]-q.y, q.z-k[2], k[5]-q.z); room > 0 && room*room > q.fbest {
			return
		}
		up := n.parent
		if up < 0 {
			return
		}
		n = &t.nodes[up]
		side = 0
		if n.child[1] == at {
			side = 1
		}
		at = up
	}
}

// measure tries the facets of a leaf.
func (t *Tree) measure(q *query, first, count int) {
	for i := first; i < first+count; i++ {
		f := &t.tri[i]
		d, on := f.nearest(q.p, q.best)
		if q.cut && on.Sub(q.p).Dot(q.cone.Axis) > q.cone.Cos*math.Sqrt(d) {
			continue
		}
		if d < q.best || d == q.best && (q.hit < 0 || t.id[i] < t.id[q.hit]) {
			q.best, q.hit, q.on = d, i, on
			q.limit()
		}
	}
}

// nearest is the squared distance of p and the point of the facet nearest to it; infinity when it is surely beyond best.
func (f *tri) nearest(p r3.Vec, best float64) (float64, r3.Vec) {
	ax, ay, az := float64(f.x[0]), float64(f.y[0]), float64(f.z[0])
	ux, uy, uz := float64(f.x[1])-ax, float64(f.y[1])-ay, float64(f.z[1])-az
	vx, vy, vz := float64(f.x[2])-ax, float64(f.y[2])-ay, float64(f.z[2])-az
	px, py, pz := p.X-ax, p.Y-ay, p.Z-az
	at := func(s, t float64) (float64, r3.Vec) {
		dx, dy, dz := s*ux+t*vx, s*uy+t*vy, s*uz+t*vz
		ex, ey, ez := px-dx, py-dy, pz-dz
		return ex*ex + ey*ey + ez*ez, r3.Vec{X: ax + dx, Y: ay + dy, Z: az + dz}
	}
	d1, d2 := ux*px+uy*py+uz*pz, vx*px+vy*py+vz*pz
	if d1 <= 0 && d2 <= 0 {
		return at(0, 0)
	}
	uu, uv, vv := ux*ux+uy*uy+uz*uz, ux*vx+uy*vy+uz*vz, vx*vx+vy*vy+vz*vz
	d3, d4 := d1-uu, d2-uv // the same from the second corner
	if d3 >= 0 && d4 <= d3 {
		return at(1, 0)
	}
	vc := d1*d4 - d3*d2
	if vc <= 0 && d1 >= 0 && d3 <= 0 {
		return at(d1/uu, 0)
	}
	d5, d6 := d1-uv, d2-vv // and from the third
	if d6 >= 0 && d5 <= d6 {
		return at(0, 1)
	}
	vb := d5*d2 - d1*d6
	if vb <= 0 && d2 >= 0 && d6 <= 0 {
		return at(0, d2/vv)
	}
	va := d3*d6 - d5*d4
	if e, g := d4-d3, d5-d6; va <= 0 && e >= 0 && g >= 0 {
		k := 0.5
		if e+g > 0 {
			k = e / (e + g)
		}
		return at(1-k, k)
	}
	s := 1 / (va + vb + vc)
	return at(vb*s, vc*s)
}
