// Package survey looks a client's file over: bodies in, facts out, once per content.
//
// Counts describe the file as received; volumes, areas and boxes describe the mended solid. Where shells
// of a body overlap they are made one by the winding rule (geom/unite), and a step of the mending log says so with both volumes; where that
// is refused the volume of the union is taken from the bit solid, which is filled by the same rule. The client's file is never altered: mending works on a copy and its log is part of the result.
//
// Units: mm. Not here: limits of processes (printability), reading (intake).
package survey

import (
	"context"
	"fmt"
	"math"
	"math/bits"
	"slices"
	"sort"

	"firstoff/digest"
	"firstoff/geom/bvh"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/geom/solid"
	"firstoff/geom/thickness"
	"firstoff/geom/unite"
	"firstoff/intake"
	"firstoff/intake/content"
	"firstoff/part"
)

// Survey is a file looked over.
type Survey struct {
	File   *intake.File
	Bodies []Body
	// Whole is all bodies, mended, as one mesh; holes in meaning (bodies that are sheets) are in it as they are.
	Whole *mesh.Mesh
	Facts part.Facts
}

// Body is one body looked over.
type Body struct {
	Name   string
	Color  *content.RGBA
	Report *mesh.Report // of the body as received
	Mended *mesh.Mesh
	Log    mesh.Log
	After  mesh.Measures // of Mended
	// Overlap says that shells of Mended run into each other still; VolumeMM3 is then that of their union.
	Overlap    bool
	VolumeMM3  float64
	TrappedMM3 float64 // closed in, with no way out
}

// Options of a survey.
type Options struct {
	// Crossings looks for facets that cut each other, which takes longer than everything else together.
	Crossings bool
	// Walls looks for the thickness of walls and gaps.
	Walls bool
}

// mostForWalls: above this many facets walls are not looked for. Up to mostForSpheres a sphere is fitted at every facet;
// above, rays are cast at about that many facets spread evenly over the surface.
const (
	mostForWalls   = 4_000_000
	mostForSpheres = 40_000
)

// walls fills in wall and gap thickness: low percentiles and the median by area.
//
// Where shells run into each other, or several bodies may, a wall ends only where the last of them does (winding 0), and
// facets inside another shell's material do not count.
func walls(f *part.Facts, m *mesh.Mesh, size r3.Vec, overlap bool) {
	t := bvh.Build(m)
	limit := size.Norm()
	var w, g []float32
	if overlap {
		w, g = throughAll(t, m, limit)
	} else if m.Facets() <= mostForSpheres {
		w, g = thickness.WallSpheres(t, m, limit), thickness.GapSpheres(t, m, limit)
	} else {
		w, g = sampled(t, m, limit)
	}
	sp := thickness.NewSpread(m, w)
	f.MinWallMM, f.MedianWallMM = finite(sp.Quantile(0.05)), finite(sp.Quantile(0.5))
	gaps := thickness.NewSpread(m, g)
	f.MinGapMM = finite(gaps.Quantile(0.02))
	f.Thin, f.Narrow = place(m, sp, f.MinWallMM), place(m, gaps, f.MinGapMM)
}

// place is where a map of thickness does not exceed limit: the middle of the thinnest facet and an even choice of all of them.
func place(m *mesh.Mesh, s *thickness.Spread, limit float64) *part.Place {
	if limit <= 0 {
		return nil
	}
	_, facets := s.Below(limit * (1 + 1e-6))
	if len(facets) == 0 {
		return nil
	}
	const most = 512
	p := &part.Place{}
	a, b, c := m.Corners(int(facets[0]))
	p.At = a.Add(b).Add(c).Mul(1.0 / 3)
	for i := 0; i < min(most, len(facets)); i++ {
		p.Facets = append(p.Facets, facets[i*len(facets)/min(most, len(facets))])
	}
	return p
}

// sampled casts rays in and out at some facets; the others have no value (NaN).
func sampled(t *bvh.Tree, m *mesh.Mesh, limit float64) (wall, gap []float32) {
	nan, inf := float32(math.NaN()), float32(math.Inf(1))
	wall, gap = make([]float32, m.Facets()), make([]float32, m.Facets())
	for i := range wall {
		wall[i], gap[i] = nan, nan
	}
	step := max(1, m.Facets()/mostForSpheres)
	for i := step / 2; i < m.Facets(); i += step {
		n := m.FacetNormal(i)
		if n == (r3.Vec{}) {
			continue
		}
		a, b, c := m.Corners(i)
		p := a.Add(b).Add(c).Mul(1.0 / 3)
		wall[i], gap[i] = inf, inf
		if h, ok := t.Ray(p.Sub(n.Mul(thickness.Skin)), n.Mul(-1), limit); ok {
			wall[i] = float32(h.Dist + thickness.Skin)
		}
		if h, ok := t.Ray(p.Add(n.Mul(thickness.Skin)), n, limit); ok {
			gap[i] = float32(h.Dist + thickness.Skin)
		}
	}
	return wall, gap
}

// throughAll is sampled for surfaces that run into each other: rays go on until the winding number is 0 again.
func throughAll(t *bvh.Tree, m *mesh.Mesh, limit float64) (wall, gap []float32) {
	nan, inf := float32(math.NaN()), float32(math.Inf(1))
	wall, gap = make([]float32, m.Facets()), make([]float32, m.Facets())
	var hits []bvh.Hit
	along := func(o, d r3.Vec) []bvh.Hit {
		hits = hits[:0]
		t.Crossings(o, d, limit, func(h bvh.Hit) bool {
			hits = append(hits, h)
			return len(hits) < 1000
		})
		sort.Slice(hits, func(i, j int) bool { return hits[i].Dist < hits[j].Dist })
		return hits
	}
	step := max(1, m.Facets()/mostForSpheres)
	for i := range wall {
		wall[i], gap[i] = nan, nan
		n := m.FacetNormal(i)
		if i%step != step/2 || n == (r3.Vec{}) {
			continue
		}
		a, b, c := m.Corners(i)
		p := a.Add(b).Add(c).Mul(1.0 / 3)
		out := along(p.Add(n.Mul(thickness.Skin)), n)
		w := 0
		for _, h := range out {
			if h.Front {
				w--
			} else {
				w++
			}
		}
		if w != 0 {
			continue // inside another shell's material
		}
		gap[i], wall[i] = inf, inf
		if len(out) > 0 {
			gap[i] = float32(out[0].Dist + thickness.Skin)
		}
		w = 1
		for _, h := range along(p.Sub(n.Mul(thickness.Skin)), n.Mul(-1)) {
			if h.Front {
				w++
			} else {
				w--
			}
			if w == 0 {
				wall[i] = float32(h.Dist + thickness.Skin)
				break
			}
		}
	}
	return wall, gap
}

// finite is x, or 0 for "nothing found".
func finite(x float64) float64 {
	if math.IsInf(x, 0) || math.IsNaN(x) {
		return 0
	}
	return x
}

// Of looks a file over. The context ends it early with its error. O(n log n) in triangles.
func Of(ctx context.Context, f *intake.File, o Options) (*Survey, error) {
	s := &Survey{File: f, Bodies: make([]Body, len(f.Bodies))}
	var parts []*mesh.Mesh
	box, overlap := r3.EmptyBox(), false
	facts := part.Facts{Digest: f.SHA256, Kernel: part.KernelVersion, Name: f.Name, Bodies: len(f.Bodies), Triangles: f.Triangles(), Closed: true}
	for _, h := range f.Holes {
		facts.Holes = append(facts.Holes, part.Hole{DiameterMM: h.Diameter, DepthMM: h.Depth, Through: h.Through})
	}
	for i, b := range f.Bodies {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		sb, err := bodyOf(b, o)
		if err != nil {
			return nil, err
		}
		s.Bodies[i] = sb
		parts = append(parts, sb.Mended)
		if bb := sb.Mended.Box(); !bb.Empty() {
			box = box.Union(bb)
		}
		facts.Closed = facts.Closed && sb.Report.Closed
		facts.VolumeMM3 += sb.VolumeMM3
		facts.AreaMM2 += sb.After.AreaMM2
		overlap = overlap || sb.Overlap
		facts.TrappedMM3 += sb.TrappedMM3
		for _, st := range sb.Log.Steps {
			facts.Mended = append(facts.Mended, st.Message)
		}
		if sb.Overlap {
			facts.Mended = append(facts.Mended, fmt.Sprintf("Shells%s run into each other; they were counted as one solid.", of(sb.Name)))
		}
	}
	switch len(parts) {
	case 0:
		s.Whole = &mesh.Mesh{}
	case 1:
		s.Whole = parts[0]
	default:
		s.Whole = mesh.Merge(parts...)
	}
	if !box.Empty() {
		facts.Min, facts.Max = box.Min, box.Max
	}
	size := box.Size()
	facts.OrientedMM = sorted(size)
	if o.Walls && s.Whole.Facets() <= mostForWalls {
		walls(&facts, s.Whole, size, overlap || len(parts) > 1)
	}
	s.Facts = facts
	return s, nil
}

func bodyOf(b content.Body, o Options) (Body, error) {
	s := Body{Name: b.Name, Color: b.Color}
	if o.Crossings {
		s.Report = mesh.Check(b.Mesh)
	} else {
		s.Report = mesh.CheckTopology(b.Mesh)
	}
	if sound(s.Report) {
		s.Mended = b.Mesh
	} else {
		s.Mended, s.Log = mesh.Mend(b.Mesh)
	}
	s.After = s.Mended.Measure()
	s.VolumeMM3 = s.After.VolumeMM3
	if mayOverlap(s.Report) {
		// Shells that only touch stay what they are; where the winding rule could not be applied to the surface the bit solid applies it.
		s.Mended, s.Log = unite.Resolve(s.Mended, s.Log)
		s.After = s.Mended.Measure()
		s.VolumeMM3 = s.After.VolumeMM3
	}
	if s.VolumeMM3 < 0 || s.left() {
		v, err := unionVolume(s.Mended)
		if err != nil {
			return s, err
		}
		// Shells that only lie near each other fill as much as they sum to, within the raster's own error.
		if s.VolumeMM3 < 0 || s.VolumeMM3-v > overlapShare*s.VolumeMM3 {
			s.Overlap, s.VolumeMM3 = true, v
		}
	}
	if s.Overlap {
		v, err := hollows(s.Mended)
		if err != nil {
			return s, err
		}
		s.TrappedMM3 = v
		return s, nil
	}
	shells := s.Report.Shells
	if s.lastStep() == unite.StepUnited {
		shells = mesh.CheckTopology(s.Mended).Shells
	}
	for _, sh := range shells {
		if sh.Role == mesh.Cavity {
			s.TrappedMM3 += math.Abs(sh.VolumeMM3)
		}
	}
	return s, nil
}

// lastStep is the code of the last step of mending, if any.
func (b *Body) lastStep() string {
	if n := len(b.Log.Steps); n > 0 {
		return b.Log.Steps[n-1].Code
	}
	return ""
}

// left says that shells run into each other and could not be made one.
func (b *Body) left() bool { return b.lastStep() == unite.StepLeft }

// of names a body in a sentence, if it has a name.
func of(name string) string {
	if name == "" {
		return ""
	}
	return fmt.Sprintf(" of %q", name)
}

// sound says that a surface needs no mending: closed, agreed, outward, nothing doubled or empty.
func sound(r *mesh.Report) bool {
	return r.Closed && r.Flipped == 0 && r.Degenerate == 0 && r.Duplicates == 0
}

// overlapShare: a smaller difference between the sum of shells and their union is the raster's own error.
const overlapShare = 0.004

// mayOverlap says that summing the shells might count some material twice: one lies inside another's material, the
// boxes of two that hold material meet, or a shell is known to cut itself.
func mayOverlap(r *mesh.Report) bool {
	if slices.Contains(r.Crossings.Touch, false) {
		return true
	}
	var solid []mesh.Shell
	for _, s := range r.Shells {
		if s.Role == mesh.Embedded || len(s.Crosses) > 0 {
			return true
		}
		if s.Role != mesh.Cavity && s.Role != mesh.Open {
			solid = append(solid, s)
		}
	}
	sort.Slice(solid, func(i, j int) bool { return solid[i].Box.Min.X < solid[j].Box.Min.X })
	for i, a := range solid {
		for _, b := range solid[i+1:] {
			if b.Box.Min.X >= a.Box.Max.X {
				break
			}
			if b.Box.Min.Y < a.Box.Max.Y && a.Box.Min.Y < b.Box.Max.Y && b.Box.Min.Z < a.Box.Max.Z && a.Box.Min.Z < b.Box.Max.Z {
				return true
			}
		}
	}
	return false
}

// unionVolume fills the body by the winding rule, a slab of layers at a time; the cell is small enough for about 0.1 %
// on compact bodies.
func unionVolume(m *mesh.Mesh) (float64, error) {
	cell := solid.AutoCell(m.Box())
	st, err := solid.Stream(m, r3.Identity, cell, cell, 1)
	if err != nil {
		return 0, err
	}
	const slab = 64
	buf := make([]uint64, slab*st.PlaneWords())
	cells := 0
	for k := 0; k < st.NZ; k += slab {
		to := min(k+slab, st.NZ)
		part := buf[:(to-k)*st.PlaneWords()]
		clear(part)
		st.Fill(k, to, part)
		for _, w := range part {
			cells += bits.OnesCount64(w)
		}
	}
	return float64(cells) * st.CellVolume(), nil
}

// hollows is the room closed in by shells that run into each other, from a coarse bit solid: cells of a 200th of the part.
func hollows(m *mesh.Mesh) (float64, error) {
	cell := math.Max(solid.AutoCell(m.Box()), m.Box().Size().Norm()/200)
	s, err := solid.Rasterise(m, r3.Identity, cell, cell, 1)
	if err != nil {
		return 0, err
	}
	return s.Trapped().Volume(), nil
}

func sorted(v r3.Vec) [3]float64 {
	a := v.Array()
	if a[0] < a[1] {
		a[0], a[1] = a[1], a[0]
	}
	if a[1] < a[2] {
		a[1], a[2] = a[2], a[1]
	}
	if a[0] < a[1] {
		a[0], a[1] = a[1], a[0]
	}
	return a
}

// Sheet is the answer of "firstoff check --json" for one file (DESIGN §7). Lengths in mm.
type Sheet struct {
	File     string         `json:"file"`
	SHA256   digest.Digest  `json:"sha256"`
	Format   string         `json:"format"`
	Unit     SheetUnit      `json:"unit"`
	Bodies   []SheetBody    `json:"bodies"`
	Total    SheetTotal     `json:"total"`
	Holes    []SheetHole    `json:"holes"`
	Warnings []SheetWarning `json:"warnings,omitempty"`
	Stated   *SheetStated   `json:"stated,omitempty"`
	Findings []part.Finding `json:"findings"`
}

// SheetUnit is the unit the numbers were taken in.
type SheetUnit struct {
	Name       string  `json:"name"`
	Stated     bool    `json:"stated"`
	Confidence float64 `json:"confidence"`
	Question   string  `json:"question,omitempty"`
}

// SheetBody is one body: counts as received, volume and area of the mended solid.
type SheetBody struct {
	Name             string     `json:"name"`
	Triangles        int        `json:"triangles"`
	Vertices         int        `json:"vertices"`
	Closed           bool       `json:"closed"`
	Shells           int        `json:"shells"`
	VolumeMM3        float64    `json:"volume_mm3"`
	AreaMM2          float64    `json:"area_mm2"`
	CentroidMM       [3]float64 `json:"centroid_mm"`
	MinMM            [3]float64 `json:"bbox_min_mm"`
	MaxMM            [3]float64 `json:"bbox_max_mm"`
	BoundaryLoops    int        `json:"boundary_loops"`
	NonManifoldEdges int        `json:"non_manifold_edges"`
	Flipped          int        `json:"flipped_facets"`
	Degenerate       int        `json:"degenerate_facets"`
	Duplicates       int        `json:"duplicate_facets"`
	SelfIntersect    int        `json:"self_intersections"`
	Mended           []string   `json:"mended"`
}

// SheetTotal is the sum over the bodies.
type SheetTotal struct {
	Triangles int        `json:"triangles"`
	VolumeMM3 float64    `json:"volume_mm3"`
	AreaMM2   float64    `json:"area_mm2"`
	MinMM     [3]float64 `json:"bbox_min_mm"`
	MaxMM     [3]float64 `json:"bbox_max_mm"`
	Closed    bool       `json:"closed"`
}

// SheetHole is a cylindrical hole the file's exact faces show.
type SheetHole struct {
	DiameterMM float64    `json:"diameter_mm"`
	DepthMM    float64    `json:"depth_mm"`
	Axis       [3]float64 `json:"axis"`
	AtMM       [3]float64 `json:"at_mm"`
}

// SheetWarning is something the reader passed over or assumed.
type SheetWarning struct {
	Code    string `json:"code"`
	Message string `json:"message"`
	Where   string `json:"where,omitempty"`
}

// SheetStated is what the exporting program says of the whole file.
type SheetStated struct {
	VolumeMM3 float64 `json:"volume_mm3,omitempty"`
	AreaMM2   float64 `json:"area_mm2,omitempty"`
}

// Sheet writes the survey down with what was found.
func (s *Survey) Sheet(findings []part.Finding) Sheet {
	f := s.File
	out := Sheet{File: f.Name, SHA256: f.SHA256, Format: f.Format, Bodies: []SheetBody{}, Holes: []SheetHole{}, Findings: findings,
		Unit: SheetUnit{Name: string(f.Unit.Name), Stated: f.Unit.Stated, Confidence: f.Unit.Confidence, Question: f.Unit.Question}}
	if findings == nil {
		out.Findings = []part.Finding{}
	}
	for _, b := range s.Bodies {
		sb := SheetBody{Name: b.Name, Triangles: b.Report.Facets, Vertices: b.Report.Vertices, Closed: b.Report.Closed, Shells: len(b.Report.Shells),
			VolumeMM3: b.VolumeMM3, AreaMM2: b.After.AreaMM2, CentroidMM: b.After.CentroidMM.Add(f.Offset).Array(),
			BoundaryLoops: len(b.Report.Loops), NonManifoldEdges: b.Report.NonManifoldEdges, Flipped: b.Report.Flipped,
			Degenerate: b.Report.Degenerate, Duplicates: b.Report.Duplicates, SelfIntersect: len(b.Report.Crossings.Pairs), Mended: []string{}}
		if box := b.After.Box; !box.Empty() {
			sb.MinMM, sb.MaxMM = box.Min.Add(f.Offset).Array(), box.Max.Add(f.Offset).Array()
		}
		for _, st := range b.Log.Steps {
			sb.Mended = append(sb.Mended, st.Message)
		}
		out.Bodies = append(out.Bodies, sb)
	}
	out.Total = SheetTotal{Triangles: s.Facts.Triangles, VolumeMM3: s.Facts.VolumeMM3, AreaMM2: s.Facts.AreaMM2, MinMM: s.Facts.Min.Add(f.Offset).Array(), MaxMM: s.Facts.Max.Add(f.Offset).Array(), Closed: s.Facts.Closed}
	for _, h := range f.Holes {
		out.Holes = append(out.Holes, SheetHole{h.Diameter, h.Depth, h.Axis.Array(), h.At.Add(f.Offset).Array()})
	}
	for _, w := range f.Warnings {
		out.Warnings = append(out.Warnings, SheetWarning{w.Code, w.Message, w.Where})
	}
	if f.Stated != nil {
		out.Stated = &SheetStated{f.Stated.Volume, f.Stated.Area}
	}
	return out
}
