package register

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"firstoff/fault"
	"firstoff/geom/bvh"
	"firstoff/geom/cores"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// Options steer Align. The zero value is right for a clean scan.
type Options struct {
	Trim   float64 // share of the worst pairs left out, 0..0.9; 0 means 0.15 (common practice 0.10 to 0.20); negative leaves none out
	Start  *Rigid  // a known start; nil searches for one
	Points int     // how many points the last rounds use; 0 means 30,000
	Rounds int     // most rounds of the last stage; 0 means 60
}

// Fit is how an alignment came out.
type Fit struct {
	RMS       float64 `json:"rms"`       // of the pairs kept, point to nearest surface
	Used      int     `json:"used"`      // points the last rounds looked at
	Trim      float64 `json:"trim"`      // share of them left out
	Rounds    int     `json:"rounds"`    // of the last stage
	Still     bool    `json:"still"`     // it came to rest before the last round
	Rivals    int     `json:"rivals"`    // clearly different poses found that fit as well: the part is symmetric, or the points do not tell
	Free      int     `json:"free"`      // motions along which the surface lets the points slide (round parts 1, balls 3, a lone plane 3)
	SizeRatio float64 `json:"sizeRatio"` // diagonal of the points' box over the part's: far from 1 for a wrong unit or a partial scan
}

// Unique says whether the alignment is the only one these points allow.
func (f Fit) Unique() bool { return f.Rivals == 0 && f.Free == 0 }

// The stages of the search: how many points, how many poses go on.
const (
	startTurns   = 560  // turns spread over all rotations; neighbours about 30° apart
	startPoints  = 120  // points a start is judged by
	coarseKept   = 240  // starts that go on to the second grid stage
	coarsePoints = 300  // its points
	treeKept     = 40   // distinct poses that go on to the true surface
	treePoints   = 400  // their points
	finalKept    = 8    // poses compared in the end
	finalMoved   = 1000 // the points they are moved by
	finalPoints  = 3000 // the points they are compared by
)

// pose is a candidate with what it costs.
type pose struct {
	Rigid
	cost  float64
	index int
}

func byCost(a, b pose) int { return cmp.Or(cmp.Compare(a.cost, b.cost), cmp.Compare(a.index, b.index)) }

// aligner is one alignment under way.
type aligner struct {
	tree    *bvh.Tree
	normals []r3.Vec
	size    float64 // diagonal of the surface's box
	trim    float64
	center  r3.Vec // middle of the points as they came
	radius  float64
}

// Align finds the motion that lays the points onto the surface. tree must have been built from m.
func Align(points []r3.Vec, tree *bvh.Tree, m *mesh.Mesh, o Options) (Rigid, Fit, error) {
	if tree == nil || m == nil || tree.Facets() == 0 || m.Facets() != tree.Facets() {
		return Stay, Fit{}, fault.New(fault.Invalid, "register_no_surface", "", "there is no surface to lay the points on; open the part again")
	}
	if o.Trim == 0 {
		o.Trim = 0.15
	}
	if o.Points <= 0 {
		o.Points = 30_000
	}
	if o.Rounds <= 0 {
		o.Rounds = 60
	}
	if math.IsNaN(o.Trim) || o.Trim > 0.9 {
		return Stay, Fit{}, fault.New(fault.Invalid, "register_trim", "trim", "a share of %g of the points cannot be left out; give 0 to 0.9", o.Trim)
	}
	box := r3.EmptyBox()
	for i, p := range points {
		if s := p.X + p.Y + p.Z; math.IsNaN(s) || math.IsInf(s, 0) {
			return Stay, Fit{}, fault.New(fault.Invalid, "register_point", "", "point %d has a coordinate that is no number; clean the scan", i)
		}
		box = box.Add(p)
	}
	if len(points) < 6 {
		return Stay, Fit{}, fault.New(fault.Invalid, "register_few_points", "", "%d points do not fix a pose; measure at least 6", len(points))
	}
	a := &aligner{tree: tree, size: m.Box().Size().Norm(), trim: math.Max(0, o.Trim), center: box.Center(), radius: box.Size().Norm() / 2}
	if !(a.radius > 0) {
		return Stay, Fit{}, fault.New(fault.Invalid, "register_flat_points", "", "all points lie in one place; clean the scan")
	}
	if !(a.size > 0) {
		return Stay, Fit{}, fault.New(fault.Invalid, "register_no_surface", "", "the surface has no extent; open the part again")
	}
	a.normals = make([]r3.Vec, m.Facets())
	cores.Each(m.Facets(), 4096, func(_, from, to int) {
		for f := from; f < to; f++ {
			a.normals[f] = m.FacetNormal(f)
		}
	})
	sample := thin(points, o.Points)
	fit := Fit{SizeRatio: 2 * a.radius / a.size, Trim: a.trim}
	best := Stay
	if o.Start != nil {
		best = Rigid{o.Start.Turn.Unit(), o.Start.Move}
	} else {
		best, fit.Rivals = a.search(sample, m)
	}
	best, fit.Rounds, fit.Still = a.refine(best, sample, o.Rounds, 1e-7)
	fit.RMS, fit.Free = a.judge(best, sample)
	fit.Used = len(sample)
	return best, fit, nil
}

// head is at most the first n of pts.
func head(pts []r3.Vec, n int) []r3.Vec { return pts[:min(n, len(pts))] }

// search finds a start: the best pose, and how many clearly different ones fit as well.
func (a *aligner) search(sample []r3.Vec, m *mesh.Mesh) (Rigid, int) {
	g := layGround(a.tree, m.Box(), a.normals)
	few, some, many, most := head(sample, startPoints), head(sample, coarsePoints), head(sample, treePoints), head(sample, finalPoints)

	poses := a.starts(head(sample, finalPoints), m)
	a.each(poses, 16, func(p *pose) { a.slide(g, p, few, 10) })
	poses = a.distinct(poses, coarseKept, 0.02)
	a.each(poses, 4, func(p *pose) { a.slide(g, p, some, 25) })
	poses = a.distinct(poses, treeKept, 0.02)
	a.each(poses, 1, func(p *pose) { a.settle(p, many, many, 12) })
	poses = a.distinct(poses, finalKept, 0.01)
	a.each(poses, 1, func(p *pose) { a.settle(p, head(sample, finalMoved), most, 20) })
	poses = a.distinct(poses, finalKept, 0.01)
	rivals := 0
	for _, p := range poses[1:] {
		if math.Sqrt(p.cost) <= 1.05*math.Sqrt(poses[0].cost)+2e-4*a.size {
			rivals++
		}
	}
	return poses[0].Rigid, rivals
}

// each works on all poses, spread over the cores; each pose depends on itself alone.
func (a *aligner) each(poses []pose, grain int, f func(*pose)) {
	cores.Each(len(poses), grain, func(_, from, to int) {
		for i := from; i < to; i++ {
			f(&poses[i])
		}
	})
}

// distinct are the cheapest poses that differ from every cheaper one by more than the given share of the size.
func (a *aligner) distinct(poses []pose, most int, share float64) []pose {
	slices.SortFunc(poses, byCost)
	var out []pose
next:
	for _, p := range poses {
		for _, o := range out {
			if apart(p.Rigid, o.Rigid, a.center, a.radius) < share*a.size {
				continue next
			}
		}
		if out = append(out, p); len(out) == most {
			break
		}
	}
	return out
}

// starts are the poses to begin with: the points' principal axes laid on the surface's, every way round, then turns
// spread over all rotations; each with the middles together, and with the boxes flush on one side of one axis, as a
// scan from one side would lie.
func (a *aligner) starts(sample []r3.Vec, m *mesh.Mesh) []pose {
	var turns []r3.Quat
	from, okA := axes(sample)
	surface := make([]r3.Vec, 0, len(sample))
	for _, f := range spread(m, 4000) {
		p, q, r := m.Corners(f)
		surface = append(surface, p.Add(q).Add(r).Mul(1.0/3))
	}
	to, okB := axes(surface)
	if okA && okB {
		for _, perm := range [][3]int{{0, 1, 2}, {1, 2, 0}, {2, 0, 1}, {0, 2, 1}, {2, 1, 0}, {1, 0, 2}} {
			for signs := range 4 {
				x, y := to[perm[0]], to[perm[1]]
				if signs&1 != 0 {
					x = x.Mul(-1)
				}
				if signs&2 != 0 {
					y = y.Mul(-1)
				}
				z := x.Cross(y)
				// columns of the target times rows of the source
				s := from
				turns = append(turns, r3.Mat3{
					x.X*s[0].X + y.X*s[1].X + z.X*s[2].X, x.X*s[0].Y + y.X*s[1].Y + z.X*s[2].Y, x.X*s[0].Z + y.X*s[1].Z + z.X*s[2].Z,
					x.Y*s[0].X + y.Y*s[1].X + z.Y*s[2].X, x.Y*s[0].Y + y.Y*s[1].Y + z.Y*s[2].Y, x.Y*s[0].Z + y.Y*s[1].Z + z.Y*s[2].Z,
					x.Z*s[0].X + y.Z*s[1].X + z.Z*s[2].X, x.Z*s[0].Y + y.Z*s[1].Y + z.Z*s[2].Y, x.Z*s[0].Z + y.Z*s[1].Z + z.Z*s[2].Z,
				}.Quat().Unit())
			}
		}
	}
	for i := range startTurns {
		turns = append(turns, spiral(i, startTurns))
	}
	target := m.Box()
	middle := m.Measure().SurfaceMM
	mean := r3.Vec{}
	for _, p := range sample {
		mean = mean.Add(p.Mul(1 / float64(len(sample))))
	}
	var out []pose
	add := func(q r3.Quat, move r3.Vec) {
		out = append(out, pose{Rigid: Rigid{q, move}, index: len(out)})
	}
	turned := make([]r3.Vec, len(sample))
	for _, q := range turns {
		add(q, middle.Sub(q.Rotate(mean)))
		Rigid{Turn: q}.ApplyAll(sample, turned)
		box := r3.EmptyBox()
		for _, p := range turned {
			box = box.Add(p)
		}
		flush := target.Center().Sub(box.Center())
		add(q, flush)
		slack := target.Size().Sub(box.Size()).Mul(0.5)
		for i := range 3 {
			s := slack.Axis(i)
			if math.Abs(s) < 0.03*a.size {
				continue
			}
			var d [3]float64
			d[i] = s
			add(q, flush.Add(r3.FromArray(d)))
			add(q, flush.Sub(r3.FromArray(d)))
		}
	}
	return out
}

// spread are n facets spread over the surface by area, the same at every call.
func spread(m *mesh.Mesh, n int) []int {
	total := 0.0
	for f := range m.Facets() {
		total += m.FacetArea(f)
	}
	var out []int
	sum, at := 0.0, 0.5
	for f := range m.Facets() {
		sum += m.FacetArea(f)
		for ; at*total/float64(n) < sum && len(out) < n; at++ {
			out = append(out, f)
		}
	}
	return out
}

// axes are the principal axes of a set of points, right-handed, longest first.
func axes(pts []r3.Vec) ([3]r3.Vec, bool) {
	if len(pts) < 3 {
		return [3]r3.Vec{}, false
	}
	mean := r3.Vec{}
	for _, p := range pts {
		mean = mean.Add(p)
	}
	mean = mean.Mul(1 / float64(len(pts)))
	c := mat.NewSymDense(3, nil)
	for _, p := range pts {
		d := p.Sub(mean).Array()
		for i := range 3 {
			for j := i; j < 3; j++ {
				c.SetSym(i, j, c.At(i, j)+d[i]*d[j])
			}
		}
	}
	var e mat.EigenSym
	if !e.Factorize(c, true) {
		return [3]r3.Vec{}, false
	}
	var v mat.Dense
	e.VectorsTo(&v)
	col := func(j int) r3.Vec { return r3.Vec{X: v.At(0, j), Y: v.At(1, j), Z: v.At(2, j)} }
	x, y := col(2), col(1)
	return [3]r3.Vec{x, y, x.Cross(y)}, true
}

// slide moves a pose downhill over the grid and leaves the mean squared distance of the pairs kept as its cost.
func (a *aligner) slide(g *ground, p *pose, pts []r3.Vec, rounds int) {
	at, d := make([]r3.Vec, len(pts)), make([]float64, len(pts))
	node := make([]int, len(pts))
	lay := func() float64 {
		p.ApplyAll(pts, at)
		for i, x := range at {
			node[i] = g.at(x)
			d[i] = x.Sub(g.nearest[node[i]]).Norm2()
		}
		return a.limit(d)
	}
	for range rounds {
		limit := lay()
		s := newSystem(p.Apply(a.center), a.radius)
		for i, x := range at {
			if d[i] <= limit {
				q := g.nearest[node[i]]
				s.plane(x, q, g.normal[node[i]], 1)
				s.point(x, q, 0.2)
			}
		}
		step, ok := s.solve(1e-3)
		if !ok {
			break
		}
		next := step.After(p.Rigid)
		still := apart(next, p.Rigid, a.center, a.radius) < 0.002*a.size
		p.Rigid = next
		if still {
			break
		}
	}
	limit := lay()
	p.cost = capped(d, limit)
}

// limit is the squared distance above which pairs are left out.
func (a *aligner) limit(d []float64) float64 {
	keep := len(d) - int(a.trim*float64(len(d)))
	if keep >= len(d) {
		return math.Inf(1)
	}
	c := slices.Clone(d)
	slices.Sort(c)
	return c[max(0, keep-1)]
}

// capped is the mean squared distance, none counted for more than the limit: a pose is not forgiven what is left out.
func capped(d []float64, limit float64) float64 {
	sum := 0.0
	for _, v := range d {
		sum += math.Min(v, 4*limit)
	}
	return sum / float64(len(d))
}

// settle moves a pose downhill over the true surface by some points; its cost is then the mean squared distance of all
// pts, none counted for more than a hundredth of the size: what makes the difference between poses that are almost alike may be
// among the pairs left out.
func (a *aligner) settle(p *pose, some, pts []r3.Vec, rounds int) {
	at, near := make([]r3.Vec, len(pts)), make([]bvh.Near, len(pts))
	p.Rigid, _, _ = a.walk(p.Rigid, some, at[:len(some)], near[:len(some)], rounds, 1e-4, true)
	p.ApplyAll(pts, at)
	a.nearest(at, near, true)
	cap2, sum := (0.01*a.size)*(0.01*a.size), 0.0
	for _, n := range near {
		sum += math.Min(n.Dist*n.Dist, cap2)
	}
	p.cost = sum / float64(len(pts))
}

// nearest finds the partners; alone does it on this goroutine, for callers that are spread over the cores already.
func (a *aligner) nearest(at []r3.Vec, near []bvh.Near, alone bool) {
	if !alone {
		a.tree.NearestAll(at, near)
		return
	}
	for i, p := range at {
		near[i], _ = a.tree.Nearest(p, math.Inf(1))
	}
}

// refine is walk with all cores.
func (a *aligner) refine(g Rigid, pts []r3.Vec, rounds int, still float64) (Rigid, int, bool) {
	return a.walk(g, pts, make([]r3.Vec, len(pts)), make([]bvh.Near, len(pts)), rounds, still, false)
}

// walk is the trimmed point-to-plane iteration until the points move by less than the share still of the size.
func (a *aligner) walk(g Rigid, pts, at []r3.Vec, near []bvh.Near, rounds int, still float64, alone bool) (Rigid, int, bool) {
	d := make([]float64, len(pts))
	for round := 1; round <= rounds; round++ {
		g.ApplyAll(pts, at)
		a.nearest(at, near, alone)
		for i := range near {
			d[i] = near[i].Dist
		}
		limit := a.limit(d)
		// Far from the surface the point itself says where to go, near it only the plane does.
		s := newSystem(g.Apply(a.center), a.radius)
		weak := 0.0
		for _, v := range d {
			if v <= limit {
				weak += v
			}
		}
		weak = math.Max(1e-6, math.Min(0.1, 10*weak/float64(len(d))/a.size))
		for i, x := range at {
			if d[i] <= limit {
				s.plane(x, near[i].Point, a.normals[near[i].Facet], 1)
				s.point(x, near[i].Point, weak)
			}
		}
		step, ok := s.solve(1e-9)
		if !ok {
			return g, round, false
		}
		next := step.After(g)
		moved := apart(next, g, a.center, a.radius)
		g = next
		if moved < still*a.size {
			return g, round, true
		}
	}
	return g, rounds, false
}

// slack is the share of a motion that may cross the surface for the motion still to count as free.
const slack = 0.005

// judge is the root mean square distance of the pairs kept at a pose, and the number of free motions: those of which
// hardly any part is across the surface (the least eigenvalues of normal motion against all motion).
func (a *aligner) judge(g Rigid, pts []r3.Vec) (rms float64, free int) {
	at, near := make([]r3.Vec, len(pts)), make([]bvh.Near, len(pts))
	g.ApplyAll(pts, at)
	a.tree.NearestAll(at, near)
	d := make([]float64, len(pts))
	for i := range near {
		d[i] = near[i].Dist
	}
	limit := a.limit(d)
	across, all := newSystem(g.Apply(a.center), a.radius), newSystem(g.Apply(a.center), a.radius)
	sum, n := 0.0, 0
	for i, x := range at {
		if d[i] <= limit {
			across.plane(x, x, a.normals[near[i].Facet], 1)
			all.point(x, x, 1)
			sum += d[i] * d[i]
			n++
		}
	}
	rms = math.Sqrt(sum / float64(n))
	ma, mb := across.matrix(), all.matrix()
	var chol mat.Cholesky
	if !chol.Factorize(mat.NewSymDense(6, mb[:])) {
		return rms, 6
	}
	// L⁻¹·A·L⁻ᵀ has the shares as eigenvalues.
	var l mat.TriDense
	chol.LTo(&l)
	var inv mat.TriDense
	if inv.InverseTri(&l) != nil {
		return rms, 6
	}
	var t, w mat.Dense
	t.Mul(&inv, mat.NewSymDense(6, ma[:]))
	w.Mul(&t, inv.T())
	sym := mat.NewSymDense(6, nil)
	for i := range 6 {
		for j := i; j < 6; j++ {
			sym.SetSym(i, j, (w.At(i, j)+w.At(j, i))/2)
		}
	}
	var e mat.EigenSym
	if !e.Factorize(sym, false) {
		return rms, 6
	}
	for _, v := range e.Values(nil) {
		if v < slack {
			free++
		}
	}
	return rms, free
}
