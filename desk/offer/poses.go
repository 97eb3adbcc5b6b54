package offer

import (
	"math"
	"sort"

	"firstoff/geom/cores"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/shop"
)

// pose is a candidate way to lay the part, with what can be known of it without cutting layers.
type pose struct {
	q    r3.Quat
	size r3.Vec // box as laid, the turn about z of least footprint
	// per slope limit asked: overhanging surface and the columns under it down to the plate
	hull []r3.Vec // extreme points as laid
}

// outline is what the poses are judged from: the surface's normals in bins and its extreme points.
type outline struct {
	bins    []bin
	extreme []r3.Vec
	centre  r3.Vec
}

// bin is a patch of like normals.
type bin struct {
	n    r3.Vec // mean normal, unit
	area float64
	at   r3.Vec // mean position
}

const octa = 48 // bins along each side of the octahedral map

// octaBin is the bin of a direction on the octahedral map (Cigolla et al. 2014 survey such maps).
func octaBin(n r3.Vec) int {
	s := math.Abs(n.X) + math.Abs(n.Y) + math.Abs(n.Z)
	if s == 0 {
		return -1
	}
	u, v := n.X/s, n.Y/s
	if n.Z < 0 {
		u, v = (1-math.Abs(v))*math.Copysign(1, u), (1-math.Abs(u))*math.Copysign(1, v)
	}
	i := min(octa-1, int((u+1)/2*octa))
	j := min(octa-1, int((v+1)/2*octa))
	return j*octa + i
}

func outlineOf(m *mesh.Mesh) *outline {
	box := m.Box()
	o := &outline{centre: box.Center()}
	nf := m.Facets()
	grain := max(1<<14, (nf+7)/8)
	type acc struct {
		n, at r3.Vec
		area  float64
	}
	sums := make([][]acc, cores.Pieces(nf, grain))
	cores.Each(nf, grain, func(piece, from, to int) {
		t := make([]acc, octa*octa)
		for f := from; f < to; f++ {
			a, b, c := m.Corners(f)
			x := b.Sub(a).Cross(c.Sub(a))
			k := octaBin(x)
			if k < 0 {
				continue
			}
			area := x.Norm() / 2
			e := &t[k]
			e.area += area
			e.n = e.n.Add(x)
			e.at = e.at.Add(a.Add(b).Add(c).Mul(area / 3))
		}
		sums[piece] = t
	})
	for k := 0; k < octa*octa; k++ {
		var e acc
		for _, t := range sums {
			e.area += t[k].area
			e.n = e.n.Add(t[k].n)
			e.at = e.at.Add(t[k].at)
		}
		if e.area > 0 {
			o.bins = append(o.bins, bin{e.n.Unit(), e.area, e.at.Mul(1 / e.area)})
		}
	}
	// extreme points: the farthest vertex in each bin of directions from the middle, then those that are extreme in some direction
	nv := m.Vertices()
	vgrain := max(1<<14, (nv+7)/8)
	far := make([][]int32, cores.Pieces(nv, vgrain))
	const fine = octa
	cores.Each(nv, vgrain, func(piece, from, to int) {
		best := make([]int32, fine*fine)
		dist := make([]float64, fine*fine)
		for k := range best {
			best[k] = -1
		}
		for v := from; v < to; v++ {
			d := m.Vertex(uint32(v)).Sub(o.centre)
			k := octaBin(d)
			if k < 0 {
				continue
			}
			if r := d.Norm2(); best[k] < 0 || r > dist[k] {
				best[k], dist[k] = int32(v), r
			}
		}
		far[piece] = best
	})
	var pts []r3.Vec
	for _, best := range far {
		for _, v := range best {
			if v >= 0 {
				pts = append(pts, m.Vertex(uint32(v)))
			}
		}
	}
	pts = append(pts, axisExtremes(m)...)
	keep := map[int]bool{}
	dirs := sphere(512)

	found := make([]int, len(dirs))
	cores.Each(len(dirs), 32, func(_, from, to int) {
		for k := from; k < to; k++ {
			bi, bd := 0, math.Inf(-1)
			for i, p := range pts {
				if d := p.Dot(dirs[k]); d > bd {
					bi, bd = i, d
				}
			}
			found[k] = bi
		}
	})
	for _, i := range found {
		keep[i] = true
	}
	for i := len(pts) - 6; i < len(pts); i++ {
		if i >= 0 {
			keep[i] = true
		}
	}
	idx := make([]int, 0, len(keep))
	for i := range keep {
		idx = append(idx, i)
	}
	sort.Ints(idx)
	for _, i := range idx {
		o.extreme = append(o.extreme, pts[i])
	}
	return o
}

func axisExtremes(m *mesh.Mesh) []r3.Vec {
	out := make([]r3.Vec, 6)
	if m.Vertices() == 0 {
		return nil
	}
	for k := range out {
		out[k] = m.Vertex(0)
	}
	for v := 1; v < m.Vertices(); v++ {
		p := m.Vertex(uint32(v))
		for a := 0; a < 3; a++ {
			if p.Axis(a) < out[2*a].Axis(a) {
				out[2*a] = p
			}
			if p.Axis(a) > out[2*a+1].Axis(a) {
				out[2*a+1] = p
			}
		}
	}
	return out
}

// sphere spreads n directions evenly (Fibonacci lattice, Swinbank & Purser 2006).
func sphere(n int) []r3.Vec {
	out := make([]r3.Vec, n)
	golden := math.Pi * (3 - math.Sqrt(5))
	for i := range out {
		z := 1 - 2*(float64(i)+0.5)/float64(n)
		r := math.Sqrt(1 - z*z)
		s, c := math.Sincos(golden * float64(i))
		out[i] = r3.Vec{X: r * c, Y: r * s, Z: z}
	}
	return out
}

// candidates are about n ways to lay the part: on its axes, on its large flats and their opposites, on an even spread of directions.
func (o *outline) candidates(n int) []pose {
	var downs []r3.Vec
	near := math.Cos(4 * math.Pi / 180)
	add := func(d r3.Vec) {
		if len(downs) >= n {
			return
		}
		for _, e := range downs {
			if e.Dot(d) > near {
				return
			}
		}
		downs = append(downs, d)
	}
	for _, a := range []r3.Vec{{Z: -1}, {Z: 1}, {Y: -1}, {Y: 1}, {X: -1}, {X: 1}} {
		add(a)
	}
	flats := append([]bin(nil), o.bins...)
	sort.SliceStable(flats, func(i, j int) bool { return flats[i].area > flats[j].area })
	for i := range flats {
		if i >= n/3 {
			break
		}
		add(flats[i].n)
		add(flats[i].n.Mul(-1))
	}
	for _, d := range sphere(n) {
		add(d)
	}
	out := make([]pose, len(downs))
	cores.Each(len(downs), 8, func(_, from, to int) {
		for i := from; i < to; i++ {
			out[i] = o.lay(r3.Between(downs[i], r3.Vec{Z: -1}))
		}
	})
	return out
}

// lay turns the part by q and then about z to its smallest rectangle.
func (o *outline) lay(q r3.Quat) pose {
	pts := make([]r3.Vec, len(o.extreme))
	for i, p := range o.extreme {
		pts[i] = q.Rotate(p)
	}
	flat := convexHull(pts)
	best, angle := math.Inf(1), 0.0
	for i := range flat {
		j := (i + 1) % len(flat)
		a := -math.Atan2(flat[j].Y-flat[i].Y, flat[j].X-flat[i].X)
		w, d := spanAt(flat, a)
		// a tie goes to the smaller turn, and the pose as sent to none at all
		if s := w * d; s < best*(1-1e-6) {
			best, angle = s, a
		}
	}
	if w, d := spanAt(flat, 0); w*d <= best*(1+1e-4) {
		angle = 0
	}
	if w, d := spanAt(flat, angle); w < d { // the long side along x
		angle += math.Pi / 2
		if w, d := spanAt(flat, 0); angle == math.Pi/2 && w*d <= best*(1+1e-4) && w >= d {
			angle = 0
		}
	}
	turned := r3.AxisAngle(r3.Vec{Z: 1}, angle).Times(q).Unit()
	b := r3.EmptyBox()
	for i, p := range o.extreme {
		pts[i] = turned.Rotate(p)
		b = b.Add(pts[i])
	}
	return pose{q: turned, size: b.Size(), hull: convexHull(pts)}
}

// as is the pose of a given turn, taken as it is.
func (o *outline) as(q r3.Quat) pose {
	pts := make([]r3.Vec, len(o.extreme))
	b := r3.EmptyBox()
	for i, p := range o.extreme {
		pts[i] = q.Rotate(p)
		b = b.Add(pts[i])
	}
	return pose{q: q, size: b.Size(), hull: convexHull(pts)}
}

// spanAt is the box of points turned by a about z.
func spanAt(p []r3.Vec, a float64) (w, d float64) {
	s, c := math.Sincos(a)
	lox, loy, hix, hiy := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, v := range p {
		x, y := c*v.X-s*v.Y, s*v.X+c*v.Y
		lox, hix, loy, hiy = math.Min(lox, x), math.Max(hix, x), math.Min(loy, y), math.Max(hiy, y)
	}
	return hix - lox, hiy - loy
}

// convexHull is the hull of the points' plan view, counter-clockwise (Andrew 1979).
func convexHull(pts []r3.Vec) []r3.Vec {
	p := append([]r3.Vec(nil), pts...)
	sort.Slice(p, func(i, j int) bool { return p[i].X < p[j].X || p[i].X == p[j].X && p[i].Y < p[j].Y })
	if len(p) < 3 {
		return p
	}
	turn := func(a, b, c r3.Vec) float64 { return (b.X-a.X)*(c.Y-a.Y) - (b.Y-a.Y)*(c.X-a.X) }
	h := make([]r3.Vec, 0, 2*len(p))
	for _, v := range p {
		for len(h) >= 2 && turn(h[len(h)-2], h[len(h)-1], v) <= 0 {
			h = h[:len(h)-1]
		}
		h = append(h, v)
	}
	lower := len(h) + 1
	for i := len(p) - 2; i >= 0; i-- {
		for len(h) >= lower && turn(h[len(h)-2], h[len(h)-1], p[i]) <= 0 {
			h = h[:len(h)-1]
		}
		h = append(h, p[i])
	}
	return h[:len(h)-1]
}

// overhang is the surface that cannot carry itself at a slope limit and the columns from it down to the plate: more than what
// stands, since columns may land on the part.
func (o *outline) overhang(p pose, selfSupportDeg float64) (areaMM2, columnsMM3 float64) {
	up := p.q.Inverse().Rotate(r3.Vec{Z: 1})
	zmin := math.Inf(1)
	for _, v := range o.extreme {
		zmin = math.Min(zmin, v.Dot(up))
	}
	limit := math.Cos(selfSupportDeg * math.Pi / 180)
	if selfSupportDeg >= 90 {
		limit = 0
	}
	for i := range o.bins {
		b := &o.bins[i]
		c := -b.n.Dot(up)
		if c <= limit || c <= 1e-9 {
			continue
		}
		h := b.at.Dot(up) - zmin
		if h < 0.05 {
			continue // on the plate
		}
		areaMM2 += b.area
		columnsMM3 += b.area * c * h
	}
	return areaMM2, columnsMM3
}

// fits says whether a pose goes into an envelope in some turn about z, the edge kept free on each side.
func (p *pose) fits(env shop.Envelope, edge float64) bool {
	const slack = 1e-6
	x, y := env.X-2*edge+slack, env.Y-2*edge+slack
	if p.size.Z > env.Z+slack {
		return false
	}
	w, d := p.size.X, p.size.Y
	if w <= x && d <= y || d <= x && w <= y {
		return true
	}
	// askew: a long thin part lies on the diagonal
	if math.Min(w, d) > math.Min(x, y) {
		return false
	}
	for k := 1; k < 60; k++ {
		if w, d := spanAt(p.hull, float64(k)*math.Pi/60); w <= x && d <= y {
			return true
		}
	}
	return false
}

// turnToFit is the turn about z, rad, that makes a pose fit straight or askew; ok false when none does.
func (p *pose) turnToFit(env shop.Envelope, edge float64) (angle float64, ok bool) {
	const slack = 1e-6
	x, y := env.X-2*edge+slack, env.Y-2*edge+slack
	if p.size.Z > env.Z+slack {
		return 0, false
	}
	if p.size.X <= x && p.size.Y <= y || p.size.Y <= x && p.size.X <= y {
		return 0, true // the packer turns by quarters itself
	}
	for k := 1; k < 60; k++ {
		a := float64(k) * math.Pi / 60
		if w, d := spanAt(p.hull, a); w <= x && d <= y {
			return a, true
		}
	}
	return 0, false
}
