package solid

import (
	"math"
	"math/bits"
	"sync"

	"firstoff/fault"
	"firstoff/geom/cores"
	"firstoff/geom/mesh"
	"firstoff/geom/plane"
	"firstoff/geom/r3"
	"firstoff/geom/section"
)

// Options say how a part is built, for Summarise. The zero value means: no supports, no skins, cells chosen.
type Options struct {
	SelfSupportDeg  float64 // a facet whose slope from the horizontal is at least this needs no support; 0: nothing does; 90: everything that looks down does
	SkinLayers      int     // a layer is skin where any of that many layers above (top) or below (bottom) is missing
	InterfaceLayers int     // support this many layers under or over the part counts as interface; 0 means 1
	Cell            float64 // width of the bit cells, mm; 0: chosen from the part's size (AutoCell)
	Coarser         float64 // chosen cells are this much wider; 0 means 1
	// Look is shown every layer whose number Shown says: part, all supports, and those within the interface layers, as planes of bits that hold
	// only during the call. Several layers may be shown at once by different goroutines. Only asked when supports are.
	Look  func(k int, part, support, iface []uint64, g *Grid)
	Shown func(k, layers int) bool
}

// LayerSummary is what an estimator needs of one layer. Contour figures are exact: of the region enclosed by the winding
// rule, whose overlaps are united (Overlap says where). What is taken from bits is scaled so that the bits' area of the
// layer equals the exact one. Top and bottom skin do not overlap: what is both counts as top.
type LayerSummary struct {
	ZMM                  float64 // top of the layer above the plate: (i+1)·h
	AreaMM2              float64
	PerimeterMM          float64 // of all contours
	Loops                int     // contours
	Islands              int     // outer contours
	Open                 int     // contours for which a gap of the surface was bridged
	Points               int     // contour vertices
	Corners              int     // contour vertices that turn by 30° or more
	Bends                int     // contour vertices that turn by 10° to 30°
	TopSkinMM2           float64 // solid area near the layer's own top surfaces
	BottomSkinMM2        float64 // the same near bottom surfaces (and the plate)
	SupportMM2           float64 // column supports, interface included
	SupportInterfaceMM2  float64 // of which within InterfaceLayers under or over the part
	SupportPerimeterMM   float64 // outline of the supports (by counting crossings in four directions, within about 5 %)
	SupportContactMM2    float64 // where supports end under the part: this layer carries part right above
	SupportLandingMM2    float64 // where supports stand on the part
	BoxMinXMM, BoxMinYMM float64 // of the layer's contours in the posed part's own coordinates
	BoxMaxXMM, BoxMaxYMM float64
	Overlap              bool // shells overlap here
}

// Summary is a posed part in layers.
type Summary struct {
	LayerMM, CellMM float64
	Box             r3.Box // of the posed part, mm
	Layers          []LayerSummary

	VolumeMM3         float64 // sum of areas times layer height
	OverhangMM2       float64 // facets that cannot carry themselves, exact, those on the plate included
	SupportVolumeMM3  float64
	SupportContactMM2 float64 // under the part
	SupportLandingMM2 float64 // on the part
	SupportPlateMM2   float64 // on the plate
	BaseMM2           float64 // first layer
}

// AutoCell is the cell width for a part of a given box when none is asked: the longer side in 384 cells, between 0.1
// and 0.5 mm; more than that only for parts over 8 m.
func AutoCell(b r3.Box) float64 {
	s := b.Size()
	long := math.Max(s.X, s.Y)
	return math.Max(0.1, math.Max(math.Min(0.5, long/384), long/16384))
}

// slabLayers is how many layers are held at a time, slabWords how many words of them at most (64 MB, once for the part
// and once for its supports).
const (
	slabLayers = 128
	slabWords  = 8 << 20
	leastSlab  = 8
	mostWords  = 1 << 31 // in all layers together: four times the largest envelopes of the trade at 0.25 mm
)

// Summarise cuts a posed mesh into layers of height layer (mm) and says what each is made of. Errors are those of
// section.New and of a cell width that is not positive or far too small for the part.
func Summarise(m *mesh.Mesh, pose r3.Quat, layer float64, o Options) (*Summary, error) {
	all, err := SummariseAll(m, pose, []float64{layer}, o)
	if err != nil {
		return nil, err
	}
	return all[0], nil
}

// SummariseAll is Summarise for several layer heights, sharing what does not depend on them.
func SummariseAll(m *mesh.Mesh, pose r3.Quat, layers []float64, o Options) ([]*Summary, error) {
	out := make([]*Summary, len(layers))
	var over *overhang
	for i, h := range layers {
		s, err := section.New(m, pose, h)
		if err != nil {
			return nil, err
		}
		cell := o.Cell
		if cell == 0 {
			cell = AutoCell(s.Box) * max(1, o.Coarser)
		}
		if !(cell > 0) || math.IsInf(cell, 0) {
			return nil, fault.New(fault.Invalid, "cell_size", "", "the cell width is %g mm; it must be more than zero", cell)
		}
		g := gridFor(s.Box, cell, h, s.Layers(), 0)
		for o.Cell == 0 && float64(g.PlaneWords())*float64(max(leastSlab, g.NZ)) > mostWords {
			cell *= 1.5
			g = gridFor(s.Box, cell, h, s.Layers(), 0)
		}
		if float64(g.PlaneWords())*float64(max(leastSlab, g.NZ)) > mostWords {
			return nil, fault.New(fault.TooLarge, "too_many_cells", "", "%d x %d cells of %.4g mm in %d layers are more than one part may take; use larger cells", g.NX, g.NY, cell, g.NZ)
		}
		if over == nil && o.SelfSupportDeg > 0 && s.Layers() > 0 {
			if over, err = overhangs(s.Positions(), m.Tri, &g, o.SelfSupportDeg); err != nil {
				return nil, err
			}
		}
		out[i] = summarise(s, g, over, o)
	}
	return out, nil
}

// planes are buffers of bits used again: one part after another is summarised in many layer heights.
var planes sync.Pool

// take gives n words, not cleared.
func take(n int) []uint64 {
	if p, _ := planes.Get().(*[]uint64); p != nil && cap(*p) >= n {
		return (*p)[:n]
	}
	return make([]uint64, n)
}

func give(used ...[]uint64) {
	for _, u := range used {
		planes.Put(&u)
	}
}

// slab is a run of layers held as bits: part planes low..high-1 and support planes of the layers being worked on.
type slab struct {
	g         *Grid
	low, high int // part planes held
	part      []uint64
	rows      []filled // per held plane
	support   []uint64 // planes from..to, the last being the one above
	from, to  int
	empty     []uint64
}

// plane gives a part plane; below the plate and above the part it is empty.
func (b *slab) plane(k int) []uint64 {
	if k < b.low || k >= b.high {
		return b.empty
	}
	n := b.g.PlaneWords()
	return b.part[(k-b.low)*n : (k-b.low+1)*n : (k-b.low+1)*n]
}

func (b *slab) supports(k int) []uint64 {
	n := b.g.PlaneWords()
	return b.support[(k-b.from)*n : (k-b.from+1)*n : (k-b.from+1)*n]
}

// tally counts cells of one layer.
type tally struct {
	part, top, bottom                int
	support, iface, contact, landing int
	crossX, crossY, crossD           int // support outline
	overlap                          bool
}

func summarise(s *section.Slicer, g Grid, over *overhang, o Options) *Summary {
	L := s.Layers()
	sum := &Summary{LayerMM: g.Layer, CellMM: g.Cell, Box: s.Box, Layers: make([]LayerSummary, L)}
	if L == 0 {
		return sum
	}
	skin, iface := max(0, o.SkinLayers), max(1, o.InterfaceLayers)
	reach := max(skin, iface, 1) // neighbours needed on each side
	b := &slab{g: &g, empty: make([]uint64, g.PlaneWords())}
	n := g.PlaneWords()
	per := min(L, max(leastSlab, min(slabLayers, slabWords/n)))
	b.part = take((per + 2*reach) * n) // cleared by shift
	b.rows = make([]filled, per+2*reach)
	b.support = take((per + 1) * n) // cleared by columns
	defer give(b.part, b.support)
	var off, seeds []int32
	if over != nil {
		off, seeds = over.byLayer(L, g.Layer)
	}
	exact := make([]section.Layer, L)
	tallies := make([]tally, L)
	lowest := L // part planes already filled, from the last slab
	for to := L; to > 0; to -= per {
		from := max(0, to-per)
		b.shift(max(0, from-reach), min(L, to+reach), lowest)
		s.EachOf(b.low, min(lowest, b.high), func(i int, c *section.Contours) {
			f := fillers.Get().(*filler)
			r := f.fill(c, &g, b.plane(i))
			fillers.Put(f)
			b.rows[i-b.low] = r
			exact[i] = c.Measure()
			if r.overlap || exact[i].Area < 0 {
				u, ok := united(c)
				if !ok { // by bits, then
					x, y, d := outline(b.plane(i), &g, r.low, r.high)
					u = exact[i]
					u.Area = float64(count(b.plane(i))) * g.Cell * g.Cell
					u.Perimeter = math.Min(u.Perimeter, outlineLength(x, y, d, g.Cell))
				}
				exact[i] = u
			}
			tallies[i].overlap = r.overlap
		})
		lowest = b.low
		cores.Each(to-from, 4, func(_, lo, hi int) {
			for k := from + lo; k < from+hi; k++ {
				b.skins(k, skin, &tallies[k])
			}
		})
		if over != nil {
			b.columns(from, to, L, off, seeds, islandReach(g, o.SelfSupportDeg))
			cores.Each(to-from, 4, func(_, lo, hi int) {
				for k := from + lo; k < from+hi; k++ {
					b.measureSupport(k, iface, &tallies[k], o.Look != nil && o.Shown(k, L), o.Look)
				}
			})
		}
	}
	sum.total(exact, tallies, b, over, g)
	return sum
}

// shift makes the slab hold part planes low..high-1, keeping those from filled on that it already has.
func (b *slab) shift(low, high, filledFrom int) {
	n := b.g.PlaneWords()
	keepTo := min(high, b.high)
	if filledFrom < keepTo && b.high > 0 {
		copy(b.part[(filledFrom-low)*n:(keepTo-low)*n], b.part[(filledFrom-b.low)*n:(keepTo-b.low)*n])
		copy(b.rows[filledFrom-low:keepTo-low], b.rows[filledFrom-b.low:keepTo-b.low])
		clear(b.part[:(filledFrom-low)*n])
		clear(b.part[(keepTo-low)*n:])
	} else {
		clear(b.part)
	}
	b.low, b.high = low, high
}

// skins counts a layer's cells and those near a surface above or below.
func (b *slab) skins(k, depth int, t *tally) {
	p := b.plane(k)
	r := b.rows[k-b.low]
	w := b.g.Stride
	lo, hi := r.low*w, r.high*w
	p = p[lo:hi]
	if depth == 0 {
		t.part = count(p)
		return
	}
	above, below := make([][]uint64, depth), make([][]uint64, depth)
	for d := range depth {
		above[d], below[d] = b.plane(k + d + 1)[lo:hi], b.plane(k - d - 1)[lo:hi]
	}
	part, top, bottom := 0, 0, 0
	for i, x := range p {
		if x == 0 {
			continue
		}
		up, down := x, x
		for d := range depth {
			up &= above[d][i]
			down &= below[d][i]
		}
		part += bits.OnesCount64(x)
		top += bits.OnesCount64(x &^ up)
		bottom += bits.OnesCount64(up &^ down)
	}
	t.part, t.top, t.bottom = part, top, bottom
}

// islandReach is how many cells away the layer below may end and still carry a new cell: what the self-support angle
// allows in one layer, and one more for rounding.
func islandReach(g Grid, selfSupportDeg float64) int {
	t := math.Tan(math.Min(selfSupportDeg, 90) * math.Pi / 180)
	return min(31, int(math.Ceil(g.Layer/t/g.Cell-1e-9))+1)
}

// columns grows supports downwards through layers to-1..from: what was supported above, what hangs over here and what
// starts in the air right above, as long as there is no part. Rows are independent.
func (b *slab) columns(from, to, layers int, off, seeds []int32, reach int) {
	g, n := b.g, b.g.PlaneWords()
	if b.from > 0 || b.to > 0 { // the lowest plane of the last slab carries on
		copy(b.support[(to-from)*n:(to-from+1)*n], b.support[:n])
	} else {
		clear(b.support[(to-from)*n : (to-from+1)*n])
	}
	clear(b.support[:(to-from)*n])
	b.from, b.to = from, to
	for k := from; k < to; k++ {
		s := b.supports(k)
		for _, at := range seeds[off[k]:off[k+1]] {
			j, i := int(at)/g.NX, int(at)%g.NX
			s[j*g.Stride+i>>6] |= 1 << (i & 63)
		}
	}
	cores.Each(g.NY, 64, func(_, rowFrom, rowTo int) {
		a, z := rowFrom*g.Stride, rowTo*g.Stride
		for k := to - 1; k >= from; k-- {
			s, up, p := b.supports(k)[a:z], b.supports(k + 1)[a:z], b.plane(k)[a:z]
			over := b.plane(k + 1)
			r := filled{}
			if k+1 < b.high {
				r = b.rows[k+1-b.low]
			}
			if r.low < r.high {
				b.islands(k, over, p, s, max(r.low, rowFrom), min(r.high, rowTo), rowFrom, reach)
			}
			for i, x := range s {
				s[i] = (x | up[i]) &^ p[i]
			}
		}
	})
}

// islands adds to the supports of layer k the cells of the layer above that have no part within reach below: tips and
// ledges whose facets are too small or too steep to have been sampled.
func (b *slab) islands(k int, over, p, s []uint64, rowLow, rowHigh, base, reach int) {
	w := b.g.Stride
	below := b.plane(k)
	for j := rowLow; j < rowHigh; j++ {
		o := over[j*w : (j+1)*w]
		q := p[(j-base)*w : (j-base+1)*w]
		for i, x := range o {
			d := x &^ q[i]
			if d == 0 {
				continue
			}
			if d &^= near(q, i, reach); d == 0 {
				continue
			}
			for dj := 1; dj <= reach && d != 0; dj++ {
				if j-dj >= 0 {
					d &^= near(below[(j-dj)*w:(j-dj+1)*w], i, reach)
				}
				if j+dj < b.g.NY {
					d &^= near(below[(j+dj)*w:(j+dj+1)*w], i, reach)
				}
			}
			s[(j-base)*w+i] |= d
		}
	}
}

// near is word i of a row widened by reach cells to both sides; reach under 32.
func near(row []uint64, i, reach int) uint64 {
	x := row[i]
	var l, r uint64
	if i > 0 {
		l = row[i-1]
	}
	if i+1 < len(row) {
		r = row[i+1]
	}
	out := x
	for done := 0; done < reach; {
		step := min(done+1, reach-done) // widths double: done, then 2·done+1, …
		out |= out<<step | out>>step
		done += step
	}
	// what comes in from the neighbouring words, at most reach cells deep
	if l>>(64-reach) != 0 {
		top := 63 - bits.LeadingZeros64(l) // its highest cell is 64-top cells left of ours
		out |= 1<<(reach-(63-top)) - 1
	}
	if r<<(64-reach) != 0 {
		out |= ^uint64(0) << (64 - (reach - bits.TrailingZeros64(r)))
	}
	return out
}

// measureSupport counts a layer's support cells and shows them if asked.
func (b *slab) measureSupport(k, iface int, t *tally, show bool, look func(k int, part, support, iface []uint64, g *Grid)) {
	s := b.supports(k)
	whole := s
	g := b.g
	lo, hi := 0, len(s)
	for lo < hi && s[lo] == 0 {
		lo++
	}
	for hi > lo && s[hi-1] == 0 {
		hi--
	}
	if lo == hi {
		if show {
			look(k, b.plane(k), whole, whole, g)
		}
		return
	}
	rl, rh := lo/g.Stride, (hi-1)/g.Stride+1
	lo, hi = rl*g.Stride, rh*g.Stride
	t.crossX, t.crossY, t.crossD = outline(s, g, rl, rh)
	s = s[lo:hi]
	up, down := b.plane(k + 1)[lo:hi], b.plane(k - 1)[lo:hi]
	var more [][]uint64
	for d := 2; d <= iface; d++ {
		more = append(more, b.plane(k + d)[lo:hi], b.plane(k - d)[lo:hi])
	}
	var near []uint64
	if show {
		near = make([]uint64, len(whole))
	}
	for i, x := range s {
		if x == 0 {
			continue
		}
		close := up[i] | down[i]
		for _, m := range more {
			close |= m[i]
		}
		t.support += bits.OnesCount64(x)
		t.contact += bits.OnesCount64(x & up[i])
		t.landing += bits.OnesCount64(x & down[i])
		t.iface += bits.OnesCount64(x & close)
		if show {
			near[lo+i] = x & close
		}
	}
	if show {
		look(k, b.plane(k), whole, near, g)
	}
}

// mostCrossings is how often the contours of a layer may cross each other for their union to be taken.
const mostCrossings = 1 << 19

// united measures the contours of a layer in which shells overlap, after taking their union by the winding rule. ok is
// false when they cross too often.
func united(c *section.Contours) (l section.Layer, ok bool) {
	r := make(plane.Region, c.Len())
	for i := range r {
		for _, q := range c.Contour(i) {
			r[i] = append(r[i], plane.MM(q.X, q.Y))
		}
	}
	u := section.Contours{Z: c.Z}
	all, ok := plane.UnionWithin(r, plane.Positive, mostCrossings)
	if !ok {
		return l, false
	}
	for _, p := range all {
		for _, q := range p {
			u.Points = append(u.Points, section.Point{X: q.XMM(), Y: q.YMM()})
		}
		u.End = append(u.End, int32(len(u.Points)))
	}
	u.Open = min(c.Open, u.Len())
	return u.Measure(), true
}

// outline counts where a plane changes between neighbouring cells along x, along y and along both diagonals.
func outline(p []uint64, g *Grid, rowLow, rowHigh int) (x, y, d int) {
	w := g.Stride
	zero := make([]uint64, w)
	last := zero
	spare := g.NX&63 == 0 // cells end with the word: its right edge has no bit to fall on
	for j := rowLow; j <= rowHigh; j++ {
		row := zero
		if j < rowHigh {
			row = p[j*w : (j+1)*w]
		}
		var rowCarry, lastCarry uint64
		for i, a := range row {
			c := last[i]
			if a|c|rowCarry|lastCarry == 0 {
				continue
			}
			x += bits.OnesCount64(a ^ (a<<1 | rowCarry))
			y += bits.OnesCount64(a ^ c)
			d += bits.OnesCount64(a ^ (c<<1 | lastCarry))
			d += bits.OnesCount64((a<<1 | rowCarry) ^ c)
			rowCarry, lastCarry = a>>63, c>>63
		}
		if spare {
			x += int(rowCarry)
			d += int(lastCarry) + int(rowCarry)
		}
		last = row
	}
	return x, y, d
}

// outlineLength turns crossing counts into a length by Cauchy and Crofton's formula in four directions.
func outlineLength(x, y, d int, cell float64) float64 {
	return math.Pi / 8 * cell * (float64(x+y) + float64(d)/math.Sqrt2)
}

// total turns counts into areas.
func (sum *Summary) total(exact []section.Layer, tallies []tally, b *slab, over *overhang, g Grid) {
	cell2 := g.Cell * g.Cell
	scale := 1.0 // of supports: exact plan area of the overhangs over their samples
	if over != nil && len(over.seeds) > 0 {
		scale = math.Max(0.8, math.Min(1.25, over.projected/(float64(len(over.seeds))*cell2)))
	}
	for k := range exact {
		e, t, l := &exact[k], &tallies[k], &sum.Layers[k]
		raster := float64(t.part) * cell2
		*l = LayerSummary{
			ZMM: float64(k+1) * g.Layer, AreaMM2: e.Area, PerimeterMM: e.Perimeter,
			Overlap: t.overlap, Open: e.Open,
			Loops: e.Loops, Islands: e.Outer, Points: e.Points, Corners: e.Corners(), Bends: e.Turns[0],
			BoxMinXMM: e.MinX, BoxMinYMM: e.MinY, BoxMaxXMM: e.MaxX, BoxMaxYMM: e.MaxY,
		}
		if t.part > 0 {
			f := l.AreaMM2 / raster * cell2
			l.TopSkinMM2, l.BottomSkinMM2 = float64(t.top)*f, float64(t.bottom)*f
		} else {
			l.TopSkinMM2 = math.Max(0, l.AreaMM2) // thinner than a cell: all skin
		}
		f := cell2 * scale
		l.SupportMM2, l.SupportInterfaceMM2 = float64(t.support)*f, float64(t.iface)*f
		l.SupportContactMM2, l.SupportLandingMM2 = float64(t.contact)*f, float64(t.landing)*f
		l.SupportPerimeterMM = outlineLength(t.crossX, t.crossY, t.crossD, g.Cell)
		sum.VolumeMM3 += l.AreaMM2 * g.Layer
		sum.SupportVolumeMM3 += l.SupportMM2 * g.Layer
		sum.SupportContactMM2 += l.SupportContactMM2
		if k == 0 {
			sum.SupportPlateMM2 = l.SupportMM2
		} else {
			sum.SupportLandingMM2 += l.SupportLandingMM2
		}
	}
	if over != nil {
		sum.OverhangMM2 = over.area
	}
	if len(sum.Layers) > 0 {
		sum.BaseMM2 = sum.Layers[0].AreaMM2
	}
}
