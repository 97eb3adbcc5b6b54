package nest

import (
	"context"
	"math"
	"sort"

	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/shopfloor/nest/chamber"
)

// Body is a part to lay in a chamber.
type Body struct {
	ID       string
	Quantity int
	Mesh     *mesh.Mesh // mm
	Turns    Turns      // Free: all 24 turns onto the axes; a list: about z only
	Priority int
}

// Chamber lays bodies into chambers of width × depth × height (0: as high as needed), at least spacing apart and margin from all
// walls, as low as it can, by Solve.
func Chamber(ctx context.Context, bodies []Body, width, depth, height, spacing, margin float64, o Options) (Result, error) {
	p := Problem{Container: Container{InChambers, width, depth, height, margin}, SpacingMM: spacing}
	for _, b := range bodies {
		p.Items = append(p.Items, Item{ID: b.ID, Quantity: b.Quantity, Mesh: b.Mesh, Turns: b.Turns, Priority: b.Priority})
	}
	return Solve(ctx, p, o)
}

// Bounds on the fineness of the cells: the tables of displacements of all pairs of kinds and poses together hold at most
// mostCells cells (bytes), and no part is more than mostAcross cells long.
const (
	mostCells  = 24 << 20
	mostAcross = 56
)

// voxelised is a chamber problem in the search's terms.
type voxelised struct {
	items   []Item
	edge    float64
	kinds   []chamber.Kind
	bodies  [][]*cells // per kind
	trimmed [][]r3.Vec
	order   []int
	volume  []float64 // per item, mm³
	box     chamber.Box
	margin  float64
}

func solveChambers(ctx context.Context, p Problem, o Options) (Result, error) {
	v, err := voxelise(p)
	if err != nil {
		return Result{}, err
	}
	if len(v.order) == 0 {
		return Result{Placements: []Placement{}}, nil
	}
	end, flatLim, cancel := o.limits(ctx)
	defer cancel()
	lim := chamber.Limits{Rounds: flatLim.Rounds, Searchers: flatLim.Searchers, Seed: flatLim.Seed}
	boxes := make([]int, len(v.order))
	var spots []chamber.Spot
	rounds := 0
	one := false
	if v.box.NZ == 0 || float64(v.cells()) <= float64(v.box.NX)*float64(v.box.NY)*float64(v.box.NZ) {
		first := end
		if v.box.NZ > 0 && o.Seconds > 0 { // half the time to get all below one lid
			half, stop := context.WithTimeout(end, seconds(o.Seconds/2))
			defer stop()
			first = half
		}
		pk, ok := chamber.Pack(first, v.kinds, v.order, v.box, lim)
		rounds += pk.Rounds
		if ok {
			spots, one = pk.Spots, true
		}
	}
	if !one {
		var n int
		boxes, spots, n = chamber.Fill(end, v.kinds, v.order, v.box, lim)
		rounds += n
		for i, b := range boxes {
			if b < 0 {
				return Result{}, fault.New(fault.Invalid, "nest_too_large", v.items[v.order[i]].ID, "The part fits the chamber in none of its poses.")
			}
		}
	}
	return v.result(p, boxes, spots, rounds), nil
}

func (v *voxelised) cells() (n int) {
	for _, k := range v.order {
		n += v.kinds[k].Bodies[0].Count()
	}
	return n
}

// voxelise chooses the size of cells and fills every mesh with them.
func voxelise(p Problem) (*voxelised, error) {
	c := p.Container
	v := &voxelised{items: p.Items, margin: c.MarginMM}
	w, d, h := c.WidthMM-2*c.MarginMM, c.DepthMM-2*c.MarginMM, c.HeightMM-2*c.MarginMM
	if c.HeightMM > 0 && h <= 0 {
		return nil, fault.New(fault.Invalid, "nest_margin", "container.margin_mm", "A margin of %g mm leaves no height.", c.MarginMM)
	}
	type frame struct {
		turns []r3.Quat
		poses []chamber.Pose
		sizes []r3.Vec
	}
	frames := make([]frame, len(p.Items))
	longest := 0.0
	v.volume = make([]float64, len(p.Items))
	for i, it := range p.Items {
		if it.Mesh == nil {
			return nil, fault.New(fault.Invalid, "nest_mesh", it.ID, "The mesh of this item was not read.")
		}
		f := &frames[i]
		f.turns, f.poses = posesOf(it.Turns)
		for _, q := range f.turns {
			s := extent(it.Mesh, q)
			if !(s.X+s.Y+s.Z > 0) || math.IsInf(s.X+s.Y+s.Z, 0) {
				return nil, fault.New(fault.Invalid, "nest_mesh", it.ID, "The mesh has no facets or no size.")
			}
			f.sizes = append(f.sizes, s)
			longest = math.Max(longest, math.Max(s.X, math.Max(s.Y, s.Z)))
		}
		v.volume[i] = math.Abs(volume(it.Mesh))
		for range it.Quantity {
			v.order = append(v.order, i)
		}
	}
	if len(v.order) == 0 {
		return v, nil
	}
	v.edge = math.Max(longest/mostAcross, math.Min(w, d)/1024)
	for {
		total := 0.0
		for i := range frames {
			for j := i; j < len(frames); j++ {
				for _, a := range frames[i].sizes {
					for _, b := range frames[j].sizes {
						n := math.Max(1, float64(max(len(frames[i].poses), len(frames[j].poses))))
						// the longer of two sides on each axis stands for all relative poses
						la, lb := a, b
						if n > 1 {
							m := math.Cbrt(a.X * a.Y * a.Z)
							la = r3.Vec{X: m, Y: m, Z: m}
							m = math.Cbrt(b.X * b.Y * b.Z)
							lb = r3.Vec{X: m, Y: m, Z: m}
						}
						g := 2 * p.SpacingMM
						s := la.Add(lb).Add(r3.Vec{X: g, Y: g, Z: g}).Mul(1 / v.edge)
						total += n * (s.X + 2) * (s.Y + 2) * (s.Z + 2)
					}
				}
			}
		}
		if total <= mostCells {
			break
		}
		v.edge *= 1.15
	}
	v.box = chamber.Box{NX: int(w/v.edge + 1e-9), NY: int(d/v.edge + 1e-9), Gap: p.SpacingMM / v.edge}
	if c.HeightMM > 0 {
		v.box.NZ = int(h/v.edge + 1e-9)
	}
	for i, it := range p.Items {
		var k chamber.Kind
		var cs []*cells
		var offs []r3.Vec
		k.Poses = frames[i].poses
		for _, q := range frames[i].turns {
			c := cellsOf(it.Mesh, q, v.edge)
			bits, x, y, z := c.bits.Trim()
			k.Bodies = append(k.Bodies, bits)
			cs = append(cs, c)
			offs = append(offs, c.origin.Add(r3.Vec{X: float64(x), Y: float64(y), Z: float64(z)}.Mul(v.edge)))
		}
		fits := it.Quantity == 0
		for _, b := range k.Bodies {
			for _, pose := range allowed(k) {
				t := pose.Size(b)
				fits = fits || t[0] <= v.box.NX && t[1] <= v.box.NY && (v.box.NZ == 0 || t[2] <= v.box.NZ)
			}
		}
		if !fits {
			s := frames[i].sizes[0]
			return nil, fault.New(fault.Invalid, "nest_too_large", it.ID, "The part, %.4g × %.4g × %.4g mm, fits the chamber in none of its poses.", s.X, s.Y, s.Z)
		}
		v.kinds, v.bodies, v.trimmed = append(v.kinds, k), append(v.bodies, cs), append(v.trimmed, offs)
	}
	sort.SliceStable(v.order, func(x, y int) bool {
		i, j := v.order[x], v.order[y]
		if p.Items[i].Priority != p.Items[j].Priority {
			return p.Items[i].Priority < p.Items[j].Priority
		}
		return v.volume[i] > v.volume[j]
	})
	return v, nil
}

func allowed(k chamber.Kind) []chamber.Pose {
	if len(k.Poses) == 0 {
		return chamber.Poses[:1]
	}
	return k.Poses
}

// posesOf splits turns into turns that need cells of their own and turns of cells.
func posesOf(t Turns) (turns []r3.Quat, poses []chamber.Pose) {
	if t.Free {
		return []r3.Quat{r3.Identity}, chamber.Poses
	}
	if len(t.Deg) == 0 {
		return []r3.Quat{r3.Identity}, nil
	}
	quarters := true
	for _, d := range t.Deg {
		quarters = quarters && math.Mod(d, 90) == 0
	}
	if !quarters {
		for _, d := range t.Deg {
			turns = append(turns, r3.AxisAngle(r3.Vec{Z: 1}, d*math.Pi/180))
		}
		return turns, nil
	}
	for _, d := range t.Deg {
		k := (int(math.Round(d/90))%4 + 4) % 4
		for _, u := range chamber.Upright {
			m := u.Matrix()
			if c := [4][2]float64{{1, 0}, {0, 1}, {-1, 0}, {0, -1}}[k]; m[0] == c[0] && m[3] == c[1] {
				poses = append(poses, u)
			}
		}
	}
	return []r3.Quat{r3.Identity}, poses
}

// extent is the size of the mesh turned by q.
func extent(m *mesh.Mesh, q r3.Quat) r3.Vec {
	rot := q.Mat()
	b := r3.EmptyBox()
	for f := range m.Facets() {
		x, y, z := m.Corners(f)
		b = b.Add(rot.Apply(x)).Add(rot.Apply(y)).Add(rot.Apply(z))
	}
	return b.Size()
}

// volume is the signed volume behind the facets, mm³.
func volume(m *mesh.Mesh) (s float64) {
	var o r3.Vec
	for f := range m.Facets() {
		a, b, c := m.Corners(f)
		if f == 0 {
			o = a
		}
		s += a.Sub(o).Dot(b.Sub(o).Cross(c.Sub(o)))
	}
	return s / 6
}

func (v *voxelised) result(p Problem, boxes []int, spots []chamber.Spot, rounds int) Result {
	r := Result{Rounds: rounds}
	c := p.Container
	var solid, filled float64
	tops := map[int]float64{}
	for i, k := range v.order {
		s := spots[i]
		turn := s.Pose.Matrix()
		rot := r3.Mat3(turn)
		size := s.Pose.Size(v.kinds[k].Bodies[s.Body])
		var flip r3.Vec
		if s.Pose.Flip[0] {
			flip.X = float64(size[0])
		}
		if s.Pose.Flip[1] {
			flip.Y = float64(size[1])
		}
		if s.Pose.Flip[2] {
			flip.Z = float64(size[2])
		}
		at := r3.Vec{X: float64(s.X), Y: float64(s.Y), Z: float64(s.Z)}.Add(flip).Mul(v.edge).Sub(rot.Apply(v.trimmed[k][s.Body]))
		at = at.Add(r3.Vec{X: v.margin, Y: v.margin, Z: v.margin})
		pose := rot.Quat().Times(v.bodies[k][s.Body].q).Array()
		r.Placements = append(r.Placements, Placement{ID: v.items[k].ID, Container: boxes[i], XMM: at.X, YMM: at.Y, ZMM: at.Z, Pose: &pose})
		r.Containers = max(r.Containers, boxes[i]+1)
		tops[boxes[i]] = math.Max(tops[boxes[i]], float64(s.Z+size[2])*v.edge+2*v.margin)
		solid += v.volume[k]
	}
	for b := range r.Containers {
		h := tops[b]
		if b < r.Containers-1 {
			h = c.HeightMM
		}
		filled += h * c.WidthMM * c.DepthMM
	}
	r.LengthMM = tops[r.Containers-1]
	r.Density = solid / filled
	sort.SliceStable(r.Placements, func(i, j int) bool { return r.Placements[i].Container < r.Placements[j].Container })
	r.LowerBound = v.floor(p)
	if c.HeightMM > 0 {
		r.Gap = math.Max(0, float64(r.Containers)/r.LowerBound-1)
	} else {
		r.Gap = math.Max(0, r.LengthMM/r.LowerBound-1)
	}
	return r
}

// floor is a height (or, under a lid, a number of chambers) no layout can go below: by volume, each part taken with half the spacing around
// as a ball would have it (Brunn and Minkowski), or by the part that lies flattest highest.
func (v *voxelised) floor(p Problem) float64 {
	c := p.Container
	g := p.SpacingMM
	w, d := c.WidthMM-2*c.MarginMM+g, c.DepthMM-2*c.MarginMM+g
	var sum, tall float64
	for _, k := range v.order {
		r := math.Cbrt(v.volume[k]) + math.Cbrt(4*math.Pi/3)*g/2
		sum += r * r * r
		low := math.Inf(1)
		for j := range v.bodies[k] {
			s := extent(v.items[k].Mesh, v.bodies[k][j].q)
			for _, pose := range allowed(v.kinds[k]) {
				low = math.Min(low, [3]float64{s.X, s.Y, s.Z}[pose.Axis[2]])
			}
		}
		tall = math.Max(tall, low)
	}
	if c.HeightMM > 0 {
		return math.Max(1, math.Ceil(sum/(w*d*(c.HeightMM-2*c.MarginMM+g))-1e-9))
	}
	return math.Max(tall, sum/(w*d)-g) + 2*c.MarginMM
}
