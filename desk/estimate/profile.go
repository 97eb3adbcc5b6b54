package estimate

import (
	"cmp"
	"math"
	"slices"
	"sort"
	"sync"

	"firstoff/geom/cores"
	"firstoff/geom/mesh"
	"firstoff/geom/plane"
	"firstoff/geom/r3"
	"firstoff/geom/section"
)

// Profile is what a posed part's outlines are like over its height, from contours cut at an even sample of heights. It does not depend on
// the layer height or the machine, so one serves all stacks of a pose. It may be used by several goroutines at once.
type Profile struct {
	z     []float64 // above the part's lowest point, ascending
	marks []mark
	mesh  *mesh.Mesh
	pose  r3.Quat

	mu    sync.Mutex
	fine  map[float64]*fineCuts // by skin thickness
	known map[wayKey]*sampled
}

// fineCuts are the outlines at a sample of heights and a skin's thickness above and below each.
type fineCuts struct {
	z     []float64
	cuts  [][3]outlines // below, at, above; nil: outside the part
	base  []outlineSums // of the one in the middle
	turns map[[3]int]cut
}

// outlineSums are area, length and turn of a cut: what an inset of d leaves of it is about area − length·d + turn·d²/2.
type outlineSums struct{ area, length, turn float64 }

func (o outlineSums) inset(d float64) float64 { return o.area - o.length*d + o.turn*d*d/2 }

// outlines are the closed outlines of one height, thinned out.
type outlines struct {
	points []section.Point
	ends   []int32
}

// mark is one cut.
type mark struct {
	turn   float64     // Layer.TurnMM
	corner [13]float64 // Layer.Corners
	loops  float64
	spread float64 // Layer.SpreadMM
	jumpMM float64 // from outline to outline, each time the nearest next, on the mean
}

// sampleCuts is how many heights a profile is taken at.
const sampleCuts = 48

// thinMM is how near to each other points of an outline count as one, mm: a tenth of a road.
const thinMM = 0.05

// ProfileOf cuts a posed part.
func ProfileOf(m *mesh.Mesh, pose r3.Quat) (*Profile, error) {
	up := pose.Inverse().Rotate(r3.Vec{Z: 1})
	lo, hi := math.Inf(1), math.Inf(-1)
	for v := 0; v < m.Vertices(); v++ {
		d := m.Vertex(uint32(v)).Dot(up)
		lo, hi = math.Min(lo, d), math.Max(hi, d)
	}
	p := &Profile{mesh: m, pose: pose, fine: map[float64]*fineCuts{}, known: map[wayKey]*sampled{}}
	if !(hi > lo) {
		return p, nil
	}
	s, err := section.New(m, pose, (hi-lo)/sampleCuts)
	if err != nil {
		return nil, err
	}
	k := s.Layers()
	p.z, p.marks = make([]float64, k), make([]mark, k)
	s.Each(func(i int, c *section.Contours) {
		p.z[i] = s.Z(i) - s.Box.Min.Z
		p.marks[i] = markOf(united(c))
	})
	return p, nil
}

// thinned are a cut's outlines without points nearer than thinMM to the one before.
func thinned(c *section.Contours) outlines {
	var out []section.Point
	var ends []int32
	out = make([]section.Point, 0, len(c.Points))
	for i := range c.Len() {
		l := c.Contour(i)
		from := len(out)
		for _, p := range l {
			if n := len(out); n > from {
				if dx, dy := p.X-out[n-1].X, p.Y-out[n-1].Y; dx*dx+dy*dy < thinMM*thinMM {
					continue
				}
			}
			out = append(out, p)
		}
		if len(out)-from < 3 {
			out = out[:from]
			continue
		}
		ends = append(ends, int32(len(out)))
	}
	return outlines{out, ends}
}

// axes across raster lines at 0, 45, 90 and 135°.
var axes = [4][2]float64{{0, 1}, {-math.Sqrt2 / 2, math.Sqrt2 / 2}, {-1, 0}, {-math.Sqrt2 / 2, -math.Sqrt2 / 2}}

// finely gives a thickness's cuts, made once. The lock is held.
func (p *Profile) finely(skinMM float64, samples int) *fineCuts {
	if f := p.fine[skinMM]; f != nil {
		return f
	}
	f := &fineCuts{turns: map[[3]int]cut{}}
	p.fine[skinMM] = f
	spacing, reach := skinMM, 1
	if skinMM <= 0 {
		spacing = math.Max(0.05, p.z[len(p.z)-1]/sampleCuts)
		reach = 0
	}
	height := p.z[len(p.z)-1] + p.z[0]
	for spacing > 0.3 && height/spacing < float64(samples) { // flat parts: nearer together
		spacing, reach = spacing/2, reach*2
	}
	s, err := section.New(p.mesh, p.pose, spacing)
	if err != nil {
		return f
	}
	n := s.Layers()
	picks := min(n, samples)
	f.z, f.cuts, f.base = make([]float64, picks), make([][3]outlines, picks), make([]outlineSums, picks)
	cores.Each(picks, 4, func(_, from, to int) {
		var w section.Work
		for k := from; k < to; k++ {
			i := min(n-1, int((float64(k)+0.5)*float64(n)/float64(picks)))
			f.z[k] = s.Z(i) - s.Box.Min.Z
			for side, d := range [3]int{-reach, 0, reach} {
				if j := i + d; j >= 0 && j < n && (side == 1 || reach > 0) {
					c := united(s.Layer(j, &w))
					f.cuts[k][side] = thinned(c)
					if side == 1 {
						l, m := c.Measure(), markOf(c)
						f.base[k] = outlineSums{l.Area, l.Perimeter, m.turn}
					}
				}
			}
		}
	})
	return f
}

// turned is a cut with the raster lines of a direction along x; nil where there is nothing.
func (f *fineCuts) turned(k, side, dir int) cut {
	o := &f.cuts[k][side]
	if len(o.ends) == 0 {
		return nil
	}
	c, ok := f.turns[[3]int{k, side, dir}]
	if !ok {
		a := axes[dir] // y; x is a quarter turn before it
		pts := make([]plan2, len(o.points))
		for i, q := range o.points {
			pts[i] = plan2{a[1]*q.X - a[0]*q.Y, a[0]*q.X + a[1]*q.Y}
		}
		from := int32(0)
		for _, end := range o.ends {
			c = append(c, pts[from:end])
			from = end
		}
		f.turns[[3]int{k, side, dir}] = c
	}
	return c
}

func markOf(c *section.Contours) mark {
	var k mark
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, p := range c.Points {
		lo[0], lo[1] = math.Min(lo[0], p.X), math.Min(lo[1], p.Y)
		hi[0], hi[1] = math.Max(hi[0], p.X), math.Max(hi[1], p.Y)
	}
	if len(c.Points) > 0 {
		k.spread = math.Sqrt((hi[0] - lo[0]) * (hi[1] - lo[1]))
	}
	for i := 0; i < c.Len(); i++ {
		p := c.Contour(i)
		if len(p) < 3 {
			continue
		}
		k.loops++
		k.turning(p)
	}
	k.jumpMM = outlineJumps(c)
	return k
}

// mostCrossings is how often the outlines of a cut may cross each other for their union to be taken.
const mostCrossings = 1 << 17

// united are the outlines of a cut in which shells may run into each other: those of their union where some do.
func united(c *section.Contours) *section.Contours {
	if c.Len() < 2 || !deep(c) {
		return c
	}
	r := make(plane.Region, c.Len())
	for i := range r {
		for _, q := range c.Contour(i) {
			r[i] = append(r[i], plane.MM(q.X, q.Y))
		}
	}
	all, ok := plane.UnionWithin(r, plane.Positive, mostCrossings)
	if !ok {
		return c
	}
	u := &section.Contours{Z: c.Z}
	for _, p := range all {
		for _, q := range p {
			u.Points = append(u.Points, section.Point{X: q.XMM(), Y: q.YMM()})
		}
		u.End = append(u.End, int32(len(u.Points)))
	}
	return u
}

// deep says whether a few lines across a cut meet points that two outlines enclose.
func deep(c *section.Contours) bool {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range c.Points {
		lo, hi = math.Min(lo, p.Y), math.Max(hi, p.Y)
	}
	const n = 32
	type hit struct {
		x float64
		w int
	}
	var hits [n][]hit
	pitch := (hi - lo) / n
	if !(pitch > 0) {
		return false
	}
	for i := range c.Len() {
		l := c.Contour(i)
		for k, a := range l {
			b := l[0]
			if k+1 < len(l) {
				b = l[k+1]
			}
			w := 1
			if a.Y > b.Y {
				a, b, w = b, a, -1
			}
			if a.Y == b.Y {
				continue
			}
			for j := max(0, int(math.Ceil((a.Y-lo)/pitch-0.5))-1); j < n; j++ {
				y := lo + (float64(j)+0.5)*pitch
				if y >= b.Y {
					break
				}
				if y >= a.Y {
					hits[j] = append(hits[j], hit{a.X + (y-a.Y)/(b.Y-a.Y)*(b.X-a.X), w})
				}
			}
		}
	}
	for _, h := range hits {
		slices.SortFunc(h, func(p, q hit) int { return cmp.Compare(p.x, q.x) })
		w, last := 0, math.Inf(-1)
		for _, x := range h {
			if (w > 1 || w < -1) && x.x-last > 0.01 {
				return true
			}
			w += x.w
			last = x.x
		}
	}
	return false
}

// outlineJumps is the mean way from the start of one outline to the nearest not yet laid.
func outlineJumps(c *section.Contours) float64 {
	n := c.Len()
	if n < 2 || n > 200 {
		return 0
	}
	left := make([]section.Point, n)
	for i := range left {
		left[i] = c.Contour(i)[0]
	}
	at := left[0]
	left = left[1:]
	var sum float64
	for len(left) > 0 {
		best, near := 0, math.Inf(1)
		for i, p := range left {
			if d := math.Hypot(p.X-at.X, p.Y-at.Y); d < near {
				best, near = i, d
			}
		}
		sum += near
		at = left[best]
		left[best] = left[len(left)-1]
		left = left[:len(left)-1]
	}
	return sum / float64(n-1)
}

// shortPiece is the length under which a piece of outline is facet noise when corners are counted, mm.
const shortPiece = 0.02

// turning adds an outline's corners: the sum of 2·tan(turn/2), left turns positive, and their number by angle.
func (k *mark) turning(p []section.Point) {
	n := len(p)
	var dx, dy float64
	for i := 1; i < n; i++ { // last direction before the first point
		dx, dy = p[0].X-p[n-i].X, p[0].Y-p[n-i].Y
		if dx*dx+dy*dy > shortPiece*shortPiece {
			break
		}
	}
	from := p[0]
	for i := range p {
		q := p[(i+1)%n]
		ex, ey := q.X-from.X, q.Y-from.Y
		if ex*ex+ey*ey < shortPiece*shortPiece {
			continue
		}
		a := math.Atan2(dx*ey-dy*ex, dx*ex+dy*ey)
		k.turn += 2 * math.Tan(math.Max(-2.4, math.Min(2.4, a))/2)
		if c := int(math.Round(math.Abs(a) * 12 / math.Pi)); c > 0 {
			k.corner[c]++
		}
		dx, dy, from = ex, ey, q
	}
}

// at is the mark nearest to a height.
func (p *Profile) at(z float64) *mark {
	n := len(p.z)
	if n == 0 {
		return nil
	}
	i := sort.SearchFloat64s(p.z, z)
	if i == n || i > 0 && z-p.z[i-1] < p.z[i]-z {
		i--
	}
	return &p.marks[i]
}

// apply gives a stack's layers their turns.
func (p *Profile) apply(s *Stack) {
	for i := range s.Layers {
		l := &s.Layers[i]
		k := p.at(l.ZMM - s.LayerMM/2)
		if k == nil || l.AreaMM2 == 0 {
			continue
		}
		l.SpreadMM, l.OutlineJumpMM = k.spread, k.jumpMM
		if k.loops == l.Loops {
			l.TurnMM, l.Corners = k.turn, k.corner
		}
	}
}

// wayKey is what a sample of ways depends on besides the part.
type wayKey struct {
	region      int // 0 all inside, 1 skin, 2 core
	width       float64
	pitch       float64
	inset, skin float64
	dirs        [4]bool
	pace        pace
}

// sampled are the ways of one region at a sample of heights, by direction.
type sampled struct {
	z    [4][]float64
	ways [4][]way
	base [4][]outlineSums
	span float64   // of all heights
	gone []float64 // heights at which there is none of the region
}

// none says whether the sampled height next to z has nothing of the region.
func (s *sampled) none(z float64) bool {
	near, none := math.Inf(1), false
	for _, g := range s.gone {
		if d := math.Abs(g - z); d < near {
			near, none = d, true
		}
	}
	for d := range s.z {
		for _, g := range s.z[d] {
			if math.Abs(g-z) < near {
				return false
			}
		}
	}
	return none
}

// insetLeft is how much of what the formula leaves inside the outline roads is really there: under 1 where walls are thinner than the roads
// on both their sides. left is the formula's answer for the layer, area the layer's.
func (s *sampled) insetLeft(dir int, z, area, left, inset, width float64) float64 {
	best, at := math.Inf(1), -1
	for i := range s.z[dir] {
		d := 3*math.Abs(z-s.z[dir][i])/math.Max(s.span, 1e-9) + math.Abs(math.Log(math.Max(area, 1e-9)/math.Max(s.base[dir][i].area, 1e-9)))
		if d < best {
			best, at = d, i
		}
	}
	if at < 0 {
		if len(s.gone) > 0 {
			return 0
		}
		return left
	}
	b, inner := s.base[dir][at], s.ways[dir][at].lengthMM*width
	if f := b.inset(inset); f > 0.02*b.area && left > 0.02*area {
		return left * inner / f
	}
	return area * inner / b.area
}

// sampleWays is how many heights are sampled for each direction.
const sampleWays = 5

// at is the sampled way that suits a layer best: near in height and of about the length of road that the layer takes (at pitch spacing).
func (s *sampled) at(dir int, z, length float64) way {
	zs, ws := s.z[dir], s.ways[dir]
	best, at := math.Inf(1), -1
	span := math.Max(s.span, 1e-9)
	for i := range zs {
		d := 3*math.Abs(z-zs[i])/span + math.Abs(math.Log(math.Max(length, 1e-9)/ws[i].lengthMM))
		if d < best {
			best, at = d, i
		}
	}
	if at < 0 {
		return way{}
	}
	return ws[at]
}

// regionWays gives the ways of the regions asked for; what is known is not laid again.
func (p *Profile) regionWays(e Extrusion, skinMM float64) (inner, skin, core *sampled) {
	n := len(p.z)
	if n == 0 {
		return nil, nil, nil
	}
	k := wayKey{width: e.WidthMM, inset: float64(e.M.Contours) * e.WidthMM, pace: pace{e.VFill, e.M.TravelMMS, e.Accel}}
	var dirs []int
	for i := range max(2, len(e.M.RasterDeg)) {
		if d := e.direction(i); !k.dirs[d] {
			k.dirs[d] = true
			dirs = append(dirs, d)
		}
	}
	inKey, skinKey, coreKey := k, k, k
	inKey.pitch = e.WidthMM
	skinKey.region, skinKey.pitch, skinKey.skin = 1, e.WidthMM, skinMM
	coreKey.region, coreKey.pitch, coreKey.skin = 2, e.WidthMM/e.Infill, skinMM
	p.mu.Lock()
	defer p.mu.Unlock()
	inner, skin, core = p.known[inKey], p.known[skinKey], p.known[coreKey]
	wantIn, wantSkin, wantCore := inner == nil, skin == nil && !e.Solid, core == nil && !e.Solid
	if !wantIn && !wantSkin && !wantCore {
		return inner, skin, core
	}
	if wantIn {
		inner = &sampled{span: p.z[n-1]}
		p.known[inKey] = inner
	}
	if wantSkin {
		skin = &sampled{span: p.z[n-1]}
		p.known[skinKey] = skin
	}
	if wantCore {
		core = &sampled{span: p.z[n-1]}
		p.known[coreKey] = core
	}
	r := rasters.Get().(*raster)
	defer rasters.Put(r)
	cuts := p.finely(skinMM, sampleWays*len(dirs))
	for i := range cuts.z {
		d := dirs[i%len(dirs)]
		c := cuts.turned(i, 1, d)
		if len(c) == 0 {
			continue
		}
		pitch := 0.0
		if wantCore {
			pitch = coreKey.pitch
		}
		f := r.fills(c, cuts.turned(i, 0, d), cuts.turned(i, 2, d), e.WidthMM, k.inset, pitch, k.pace, wantIn, wantSkin)
		for _, x := range []struct {
			want bool
			to   *sampled
			w    way
		}{{wantIn, inner, f.inner}, {wantSkin, skin, f.skin}, {wantCore, core, f.core}} {
			if x.want && x.w.lengthMM == 0 {
				x.to.gone = append(x.to.gone, cuts.z[i])
			} else if x.want {
				x.to.base[d] = append(x.to.base[d], cuts.base[i])
				x.to.z[d] = append(x.to.z[d], cuts.z[i])
				x.to.ways[d] = append(x.to.ways[d], x.w)
			}
		}
	}
	return inner, skin, core
}

var rasters = sync.Pool{New: func() any { return new(raster) }}
