package pose

import (
	"cmp"
	"math"
	"slices"

	"firstoff/geom/cores"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// Wishes say what a good pose is. Weights multiply each quantity over its mean among the candidates; the lower sum wins.
// The zero value means DefaultWishes.
type Wishes struct {
	SelfSupportDeg float64 // as solid.Options; 0: nothing needs support
	Height         float64 // weights from here
	Support        float64 // support volume
	Contact        float64 // area that supports touch or the part shows supported
	Roughness      float64 // mean stair step
	Footprint      float64 // area of the smallest rectangle around the part's plan
	Stability      float64 // how readily it tips over
	RestingOnly    bool    // only poses in which the part stands by itself
	// the space to fit, mm; 0 means no limit
	WidthMM, DepthMM, HeightMM float64
}

// DefaultWishes weigh height and support, the bulk of build time on most machines, before looks.
func DefaultWishes() Wishes {
	return Wishes{SelfSupportDeg: 45, Height: 1, Support: 1, Contact: 0.5, Roughness: 0.3, Footprint: 0.1, Stability: 0.2}
}

// Pose is one way to lay the part.
type Pose struct {
	Turn        r3.Quat // takes the part's coordinates to the build's: z up, the longer side of the footprint along x unless only another angle fits
	Up          r3.Vec  // build direction in the part's coordinates
	Resting     bool    // the part stands so by itself
	Fits        bool    // within the space asked
	HeightMM    float64
	WidthMM     float64 // footprint as laid: along x
	DepthMM     float64 // along y
	OverhangMM2 float64 // facets that cannot carry themselves, those on the plate included
	ContactMM2  float64 // of which not on the plate
	BaseMM2     float64 // facets lying on the plate
	SupportMM3  float64 // columns down to the part or the plate where Landed, else straight to the plate
	PlateMM3    float64 // columns straight down to the plate, exact
	Landed      bool
	StairStep   float64 // mean stair step over the surface as a part of the layer height: mean |n·up|, level facets left out
	TipDeg      float64 // tilt at which it tips over; 0 when it does not stand
	Score       float64 // sum of weighted ratios, lower is better; comparable within one search only
}

// sampled is how many directions are tried beside the resting poses and the six axes.
const sampled = 200

// minApartDeg is how far apart the build directions of a result are, so that it offers choices.
const minApartDeg = 8

// Search prepares a mesh and gives its n best poses, best first. The answer depends on the mesh and the wishes only.
func Search(m *mesh.Mesh, w Wishes, n int) []Pose { return Prepare(m).Search(w, n) }

// Candidates are the build directions a search looks at: the six axes, resting poses, and an even spread; ups within a
// degree of an earlier one are left out. The first return counts how many lead as resting.
func (p *Part) Candidates() (ups []r3.Vec, resting []bool) {
	add := func(u r3.Vec, rests bool) {
		for i, v := range ups {
			if v.Dot(u) > math.Cos(math.Pi/180) {
				resting[i] = resting[i] || rests
				if rests {
					ups[i] = u
				}
				return
			}
		}
		ups, resting = append(ups, u), append(resting, rests)
	}
	axes := []r3.Vec{{Z: 1}, {Z: -1}, {X: 1}, {X: -1}, {Y: 1}, {Y: -1}}
	for _, a := range axes {
		add(a, false)
	}
	spread := Directions(sampled)
	for _, u := range p.resting(append(axes, spread...)) {
		add(u, true)
	}
	for _, u := range spread {
		add(u, false)
	}
	return ups, resting
}

// Search gives the n best poses by the wishes, best first, at least minApartDeg apart. Poses that do not fit the space
// asked come only after those that do.
func (p *Part) Search(w Wishes, n int) []Pose {
	if w == (Wishes{}) {
		w = DefaultWishes()
	}
	if len(p.Extremes.used) == 0 || n <= 0 {
		return nil
	}
	ups, resting := p.Candidates()
	all := p.Survey(ups, w)
	for i := range all {
		all[i].Resting = resting[i] && all[i].TipDeg >= 1
	}
	if w.RestingOnly {
		all = slices.DeleteFunc(all, func(q Pose) bool { return !q.Resting })
	}
	if len(all) == 0 {
		return nil
	}
	p.rank(all, w)
	short := apart(all, max(2*n, 12))
	if w.SelfSupportDeg > 0 && (w.Support > 0 || n > 0) {
		size := p.mesh.Box().Size()
		cell := math.Max(size.X, math.Max(size.Y, size.Z)) / 256
		cores.Each(len(short), 1, func(_, from, to int) {
			l := lines{area: p.Normals.area}
			for i := from; i < to; i++ {
				q := &short[i]
				q.SupportMM3 = math.Min(q.PlateMM3, l.landing(p.mesh, q.Turn, w.SelfSupportDeg, cell).SupportMM3)
				q.Landed = true
			}
		})
		p.rank(short, w)
	}
	return short[:min(n, len(short))]
}

// Survey measures the part in given build directions (unit vectors, up in the part's coordinates).
func (p *Part) Survey(ups []r3.Vec, w Wishes) []Pose {
	out := make([]Pose, len(ups))
	loads := p.Loads(ups, w.SelfSupportDeg)
	area := math.Max(p.Normals.area, 1e-300)
	level := -math.Cos(math.Pi / 180)
	cores.Each(len(ups), 8, func(_, from, to int) {
		var stack []int32
		for i := from; i < to; i++ {
			u, l := ups[i], loads[i]
			q := Pose{Up: u, OverhangMM2: l.OverhangMM2, PlateMM3: math.Max(0, l.SupportMM3)}
			if w.SelfSupportDeg <= 0 {
				q.OverhangMM2, q.PlateMM3 = 0, 0
			}
			q.SupportMM3 = q.PlateMM3
			_, top := p.Extremes.Farthest(u, nil)
			q.HeightMM = top - l.LowestMM
			tol := 1e-4 * math.Max(1, q.HeightMM)
			p.Normals.facing(u, level, func(of uint32, a float64) {
				x, y, z := p.mesh.Corners(int(of))
				if max(x.Dot(u), y.Dot(u), z.Dot(u)) <= l.LowestMM+tol {
					q.BaseMM2 += a
				}
			})
			q.ContactMM2 = math.Max(0, q.OverhangMM2-q.BaseMM2)
			for _, v := range [2]r3.Vec{u, u.Mul(-1)} {
				var all, flat sums
				all, stack = p.Normals.cone(v, 0, stack)
				flat, stack = p.Normals.cone(v, level, stack)
				_, planAll, _ := all.support(v, 0)
				_, planFlat, _ := flat.support(v, 0)
				q.StairStep += (planAll - planFlat) / area
			}
			x, y := frame(u)
			hull := p.outlineOf(x, y)
			var angle float64
			if w.WidthMM > 0 && w.DepthMM > 0 {
				angle, q.Fits = lay(hull, w.WidthMM, w.DepthMM)
			} else {
				angle, _, _ = leastRectangle(hull)
				q.Fits = true
			}
			if w.HeightMM > 0 && q.HeightMM > w.HeightMM {
				q.Fits = false
			}
			s, c := math.Sincos(angle)
			ex, ey := x.Mul(c).Add(y.Mul(s)), y.Mul(c).Sub(x.Mul(s))
			q.WidthMM, q.DepthMM = p.Extremes.span(ex), p.Extremes.span(ey)
			q.Turn = r3.Mat3{ex.X, ex.Y, ex.Z, ey.X, ey.Y, ey.Z, u.X, u.Y, u.Z}.Quat()
			q.TipDeg = p.tip(u, l.LowestMM, tol)
			out[i] = q
		}
	})
	return out
}

// span is the part's extent along d.
func (e *Extremes) span(d r3.Vec) float64 {
	_, hi := e.Farthest(d, nil)
	_, lo := e.Farthest(d.Mul(-1), nil)
	return hi + lo
}

// tip is the tilt, in degrees, at which the part on its lowest vertices tips over; 0 when the centroid is not above them.
func (p *Part) tip(u r3.Vec, lowest, tol float64) float64 {
	x, y := frame(u)
	var base []flat
	p.Extremes.Near(u.Mul(-1), -lowest-tol, func(v uint32) {
		w := p.Extremes.at(v)
		base = append(base, flat{w.Dot(x), w.Dot(y)})
	})
	hull := convex(base)
	if len(hull) < 3 {
		return 0
	}
	cx, cy := p.Centroid.Dot(x), p.Centroid.Dot(y)
	least := math.Inf(1)
	for i, a := range hull {
		b := hull[(i+1)%len(hull)]
		l := math.Hypot(b.x-a.x, b.y-a.y)
		least = math.Min(least, ((b.x-a.x)*(cy-a.y)-(b.y-a.y)*(cx-a.x))/l)
	}
	h := p.Centroid.Dot(u) - lowest
	if least <= 0 || h <= 0 {
		return 0
	}
	return math.Atan2(least, h) * 180 / math.Pi
}

// rank scores poses against their own means and sorts them: fitting ones first, then by score, then by direction.
func (p *Part) rank(all []Pose, w Wishes) {
	var mean [5]float64
	value := func(q *Pose) [5]float64 {
		return [5]float64{q.HeightMM, q.SupportMM3, q.ContactMM2, q.StairStep, q.WidthMM * q.DepthMM}
	}
	for i := range all {
		for k, x := range value(&all[i]) {
			mean[k] += x / float64(len(all))
		}
	}
	weight := [5]float64{w.Height, w.Support, w.Contact, w.Roughness, w.Footprint}
	for i := range all {
		q := &all[i]
		q.Score = w.Stability * (1 - q.TipDeg/90)
		for k, x := range value(q) {
			if mean[k] > 0 {
				q.Score += weight[k] * x / mean[k]
			}
		}
	}
	slices.SortStableFunc(all, func(a, b Pose) int {
		if a.Fits != b.Fits {
			if a.Fits {
				return -1
			}
			return 1
		}
		return cmp.Or(cmp.Compare(a.Score, b.Score), cmp.Compare(b.Up.Z, a.Up.Z), cmp.Compare(a.Up.X, b.Up.X), cmp.Compare(a.Up.Y, b.Up.Y))
	})
}

// apart takes the best n poses whose build directions are minApartDeg apart from all better ones.
func apart(all []Pose, n int) []Pose {
	near := math.Cos(minApartDeg * math.Pi / 180)
	var out []Pose
	for _, q := range all {
		if len(out) == n {
			break
		}
		if !slices.ContainsFunc(out, func(o Pose) bool { return o.Up.Dot(q.Up) > near }) {
			out = append(out, q)
		}
	}
	return out
}
