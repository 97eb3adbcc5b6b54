package estimate

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"
	"sync"

	"firstoff/shop"
)

// Extrusion is the road model of one machine at one layer height and infill (handbook 3.1). It holds no part.
type Extrusion struct {
	M       *shop.MEX
	LayerMM float64
	WidthMM float64
	Infill  float64 // 0..1
	Solid   bool
	VContour, VFill, VSupport,
	Accel float64
}

// RoadWidth is the road width at a layer height: the machine's ratio, within its tips' limits.
func RoadWidth(m *shop.MEX, layer float64) float64 {
	w := layer * m.RoadPerLayer
	if m.RoadPerLayer <= 0 {
		w = 2 * layer
	}
	if m.RoadMinMM > 0 {
		w = math.Max(w, m.RoadMinMM)
	}
	if m.RoadMaxMM > 0 {
		w = math.Min(w, m.RoadMaxMM)
	}
	return w
}

// NewExtrusion sets the model up; every speed obeys the melt limit v ≤ Q/(w·t).
func NewExtrusion(m *shop.MEX, layer, infillPct float64) Extrusion {
	w := RoadWidth(m, layer)
	limit := math.Inf(1)
	if m.FlowMM3S > 0 {
		limit = m.FlowMM3S / (w * layer)
	}
	or := func(v float64) float64 {
		if v <= 0 {
			v = m.SpeedMMS
		}
		return math.Min(v, limit)
	}
	e := Extrusion{M: m, LayerMM: layer, WidthMM: w, Infill: infillPct / 100,
		VContour: or(m.ContourMMS), VFill: or(m.SpeedMMS), VSupport: or(m.SupportMMS), Accel: m.AccelMMS2}
	if infillPct >= 100 || infillPct <= 0 {
		e.Infill, e.Solid = 1, true
	}
	return e
}

// Roads is what one part takes on an extrusion machine, besides what a tray shares. s, mm, mm³.
type Roads struct {
	ContourS, SkinS, SparseS, SupportS, TravelS, StartS float64
	ContourMM, SkinMM, SparseMM, SupportMM              float64
	ModelMM3, SupportMM3                                float64
	Starts                                              float64
	Switches                                            int // layers that hold both materials
	Layers                                              int // base layers included
}

// PartS is the time one part adds to a tray.
func (r Roads) PartS() float64 {
	return r.ContourS + r.SkinS + r.SparseS + r.SupportS + r.TravelS + r.StartS
}

// RasterDeg is the direction of a layer's raster lines from x, degrees.
func (e Extrusion) RasterDeg(layer int) float64 { return 45 * float64(e.direction(layer)) }

// direction is the index into Layer.Across of a layer's raster lines.
func (e Extrusion) direction(layer int) int {
	if n := len(e.M.RasterDeg); n > 0 {
		return int(math.Round(math.Mod(e.M.RasterDeg[layer%n]+360, 180)/45)) % 4
	}
	return 1 + layer&1*2
}

// roadsMemo keeps the roads of one copy, which no quantity changes.
type roadsMemo struct {
	mu   sync.Mutex
	kept map[roadsKey]Roads
}

type roadsKey struct {
	e         Extrusion
	supported bool
}

// Of sums the layers of a posed part. A stack keeps what it was asked for, so that other quantities cost nothing.
func (e Extrusion) Of(s *Stack, supported bool) Roads {
	if s.roads == nil {
		return e.sum(s, supported)
	}
	k := roadsKey{e, supported}
	s.roads.mu.Lock()
	r, ok := s.roads.kept[k]
	s.roads.mu.Unlock()
	if ok {
		return r
	}
	r = e.sum(s, supported)
	s.roads.mu.Lock()
	defer s.roads.mu.Unlock()
	if s.roads.kept == nil || len(s.roads.kept) > 256 {
		s.roads.kept = map[roadsKey]Roads{}
	}
	s.roads.kept[k] = r
	return r
}

func (e Extrusion) sum(s *Stack, supported bool) Roads {
	var r Roads
	boxDiag := math.Sqrt(s.SizeMM.X * s.SizeMM.Y)
	var ways ways
	if s.profile != nil {
		ways.inner, ways.skin, ways.core = s.profile.regionWays(e, math.Ceil(s.SkinMM/e.LayerMM-1e-9)*e.LayerMM)
	}
	if s.props != nil && supported {
		ways.dense, ways.props = s.props.ways(e)
		if e.M.BaseLayers > 0 {
			ways.foot = s.props.base(e)
		}
	}
	if ways.skin != nil {
		ways.more = e.skinMisses(s, ways)
	}
	for i := range s.Layers {
		e.layer(&r, &s.Layers[i], i, supported, boxDiag, ways)
	}
	r.Layers = len(s.Layers)
	if supported && e.M.BaseLayers > 0 && len(s.Layers) > 0 {
		l := &s.Layers[0]
		a := l.AreaMM2 + l.SupportMM2
		for b := 0; b < e.M.BaseLayers; b++ {
			if s.props != nil && len(s.props.foot[b&1]) > 0 {
				w := ways.foot[b&1]
				r.SupportS += w.sec
				r.SupportMM += w.lengthMM
				r.SupportMM3 += w.lengthMM * e.WidthMM * e.LayerMM
				r.TravelS += w.stepS + w.jumpS
				r.Starts += w.starts
				continue
			}
			e.lines(&r, &r.SupportS, &r.SupportMM, &r.SupportMM3, a, math.Sqrt(a)*math.Max(1, l.Islands), 0, 1, e.VSupport)
			r.Starts += math.Max(1, l.Islands)
		}
		r.Layers += e.M.BaseLayers
		r.StartS = r.Starts * e.M.StartS
	}
	return r
}

// lines adds parallel rest-to-rest lines filling area a whose extent across the lines is across. steps is the layer's measure of the ways
// from line to line for that extent; 0 takes straight ones.
func (e Extrusion) lines(r *Roads, sec, length, vol *float64, a, across, steps, density, v float64) {
	if a <= 0 || density <= 0 {
		return
	}
	w := e.WidthMM
	total := a * density / w
	n := across * density / w
	if n < 1 {
		n = math.Min(1, total/w)
	}
	if n <= 0 {
		return
	}
	*length += total
	*vol += total * w * e.LayerMM
	*sec += n * RestS(total/n, v, e.Accel)
	if e.M.TravelMMS > 0 && n > 1 { // the steps to the next line
		pitch := w / density
		if steps > 0 && e.Accel > 0 {
			// moves short enough not to reach travel speed: 2·√(d/a) each; longer ones are the exception
			mean := steps * steps / (across * across) * pitch
			t := 2 * steps / math.Sqrt(pitch*e.Accel)
			if mean > e.M.TravelMMS*e.M.TravelMMS/e.Accel {
				t = n * RestS(mean, e.M.TravelMMS, e.Accel)
			}
			r.TravelS += t * (n - 1) / n
		} else {
			r.TravelS += (n - 1) * RestS(1.1*pitch, e.M.TravelMMS, e.Accel) // edges lie askew to the lines
		}
	}
}

// contours lays the outline roads and returns the area left inside and how far in it begins.
func (e Extrusion) contours(r *Roads, l *Layer) (left, inset float64) {
	w := e.WidthMM
	left = l.AreaMM2
	for k := 1; k <= e.M.Contours && left > 0; k++ {
		d := (2*float64(k) - 1) * w / 2
		p := l.PerimeterMM - l.TurnMM*d
		if p <= 0 {
			break
		}
		if l.AreaMM2-l.PerimeterMM*d+l.TurnMM*d*d/2 <= 0 && k > 1 {
			break // no wall is thick enough for this road
		}
		took := math.Min(p*w, left) // in walls thinner than two roads both are laid, thinner
		left -= took
		inset = d + w/2
		r.ContourMM += p
		r.ModelMM3 += took * e.LayerMM
		r.ContourS += e.contourS(p, l)
		r.Starts += l.Loops
	}
	return left, inset
}

// contourS is the time of one set of closed loops of total length p.
func (e Extrusion) contourS(p float64, l *Layer) float64 {
	v, a := e.VContour, e.Accel
	t := p / v
	if a <= 0 {
		return t
	}
	var corners, loss, worst float64
	for k := 1; k < len(l.Corners); k++ {
		if l.Corners[k] == 0 {
			continue
		}
		x := CornerLossS(v, CornerMMS(float64(k)*math.Pi/12, e.M.JunctionMM, a), a)
		corners += l.Corners[k]
		loss += l.Corners[k] * x
		worst = math.Max(worst, x)
	}
	// every loop starts and ends at rest, in one of its corners if it has any
	loss += l.Loops * math.Max(0, v/a-worst)
	if n := math.Max(corners, l.Loops); n > 0 {
		return math.Min(t+loss, math.Max(t, n*RestS(p/n, v, a)))
	}
	return t + loss
}

// ways are the sampled ways over a part's raster lines; nil ones are taken from layer sums.
type ways struct {
	inner, skin, core, dense, props *sampled
	foot                            [2]way
	more                            []miss
}

// miss is by how much the skin laid at a sampled height differs from what layer sums say, as a share of what lies inside the outline roads.
type miss struct{ z, share float64 }

// skinMisses holds the layer sums' skin to the sampled ways.
func (e Extrusion) skinMisses(s *Stack, w ways) (out []miss) {
	laid := map[float64]float64{}
	for d := range w.skin.z {
		for i, z := range w.skin.z[d] {
			laid[z] = w.skin.ways[d][i].lengthMM
		}
	}
	for d := range w.inner.z {
		for i, z := range w.inner.z[d] {
			k := int(z / e.LayerMM)
			inner := w.inner.ways[d][i].lengthMM * e.WidthMM
			if k < 0 || k >= len(s.Layers) || inner <= 0 {
				continue
			}
			left := math.Min(inner, s.Layers[k].AreaMM2)
			out = append(out, miss{z, (laid[z]*e.WidthMM - skinOf(&s.Layers[k], left)) / inner})
		}
	}
	slices.SortFunc(out, func(a, b miss) int { return cmp.Compare(a.z, b.z) })
	return out
}

// missAt is the miss of the sampled heights on both sides of z: the smaller where they agree in direction, none where they do not.
func missAt(m []miss, z float64) float64 {
	i := sort.Search(len(m), func(i int) bool { return m[i].z >= z })
	if i == 0 || i == len(m) {
		return 0
	}
	a, b := m[i-1].share, m[i].share
	if a*b <= 0 {
		return 0
	}
	if math.Abs(a) < math.Abs(b) {
		return a
	}
	return b
}

// skinOf is the skin of a layer inside its outline roads, from layer sums: of the skin found, what lies under the outline roads is theirs,
// beside leaning walls first, of flats by their share.
func skinOf(l *Layer, left float64) float64 {
	edge := math.Min(l.SkinEdgeMM2, l.SkinMM2)
	flat := l.SkinMM2 - edge
	band := l.AreaMM2 - left
	under := math.Min(band, math.Min(edge, l.SkinBandMM2)+flat*band/math.Max(l.AreaMM2, 1e-9))
	return math.Max(0, math.Min(left, l.SkinMM2-under))
}

func (e Extrusion) layer(r *Roads, l *Layer, index int, supported bool, box float64, ways ways) {
	if l.AreaMM2 > 0 {
		left, inset := e.contours(r, l)
		if s := ways.inner; s != nil && left > 0 { // what walls too thin for all outline roads leave between them is laid along them
			d := float64(e.M.Contours) * e.WidthMM
			sums := outlineSums{l.AreaMM2, l.PerimeterMM, l.TurnMM}
			in := math.Max(0, math.Min(left, s.insetLeft(e.direction(index), l.ZMM-e.LayerMM/2, l.AreaMM2, sums.inset(d), d, e.WidthMM)))
			if gap := left - in; gap > 0.002*l.AreaMM2 {
				r.ContourMM += gap / e.WidthMM
				r.ContourS += gap / e.WidthMM / e.VContour
				r.ModelMM3 += gap * e.LayerMM
				left = in
			}
		}
		if e.M.TravelMMS > 0 && l.Loops > 0 { // to each contour, then on to its inner ones
			apart := l.SpreadMM
			if apart == 0 {
				apart = box
			}
			jump := 0.45 * apart / math.Sqrt(l.Loops)
			if l.OutlineJumpMM > 0 {
				jump = l.OutlineJumpMM
			}
			r.TravelS += RestS(0.45*apart, e.M.TravelMMS, e.Accel) + (l.Loops-1)*float64(e.M.Contours)*RestS(jump, e.M.TravelMMS, e.Accel)
			r.TravelS += float64(e.M.Contours-1) * RestS(e.WidthMM, e.M.TravelMMS, e.Accel)
		}
		if left > 0 {
			e.fill(r, l, index, left, inset, box, ways)
		}
	}
	if supported && l.SupportMM2 > 0 {
		if l.AreaMM2 > 0 {
			r.Switches++
		}
		n := math.Max(1, l.SupportIslands)
		ragged := 1.0 // outline of the support over that of a square of its area
		if p := l.SupportAcross * math.Pi; l.SupportIslands == 0 && p > 0 {
			ragged = math.Max(1, p/4/math.Sqrt(l.SupportMM2))
			n = math.Pow(ragged, 0.75) // between one body of this outline and as many squares as would have it
		}
		inner := math.Max(0, l.SupportMM2-l.SupportInterfaceMM2)
		across := l.SupportAcross
		if across == 0 {
			across = math.Sqrt(l.SupportMM2 * n)
		}
		// dense and sparse parts of one compact column both reach across most of it, those of a ragged one share it
		part := math.Max(0.3, math.Min(0.55, 0.3+0.15*(ragged-1.5)))
		for _, x := range []struct {
			area, density float64
			way           *sampled
		}{{inner, e.M.SupportPct / 100, ways.props}, {l.SupportInterfaceMM2, 1, ways.dense}} {
			if x.area <= 0 || e.along(r, &r.SupportS, &r.SupportMM, &r.SupportMM3, x.area, x.density, x.way, 2*(index&1), float64(index), e.VSupport) {
				continue
			}
			e.lines(r, &r.SupportS, &r.SupportMM, &r.SupportMM3, x.area, across*math.Pow(x.area/l.SupportMM2, part), 0, x.density, e.VSupport)
			runs := math.Max(1, n*math.Sqrt(x.density)) // wide pitches bridge what lies apart
			r.Starts += runs
			if e.M.TravelMMS > 0 {
				r.TravelS += runs * RestS(0.3*box/math.Sqrt(runs), e.M.TravelMMS, e.Accel)
			}
		}
	}
	r.StartS = r.Starts * e.M.StartS
}

// along adds raster lines of total length area·density/width driven as a sampled way was; false where there is no sample.
func (e Extrusion) along(r *Roads, sec, length, vol *float64, area, density float64, s *sampled, dir int, z, v float64) bool {
	if s == nil {
		return false
	}
	total := area * density / e.WidthMM
	w := s.at(dir, z, total)
	if w.lengthMM <= 0 {
		return false
	}
	f := total / w.lengthMM
	*length += total
	*vol += total * e.WidthMM * e.LayerMM
	// a region larger than the sampled one has longer lines as well as more of them
	g := math.Sqrt(f)
	*sec += total/v + (w.sec-w.lengthMM/v)*g
	r.TravelS += g*w.stepS + math.Min(1, g)*w.jumpS
	r.Starts += math.Min(1, g) * w.starts
	return true
}

// fill lays what lies inside the outline roads: solid skin where air is near above or below, sparse lines elsewhere.
func (e Extrusion) fill(r *Roads, l *Layer, index int, left, inset, box float64, ways ways) {
	k := e.direction(index)
	z := l.ZMM - e.LayerMM/2
	holes := l.Loops - l.Islands
	full := math.Max(l.Across[k]-2*inset*(l.Islands-holes), left/math.Max(box*1.5, 1))
	steps := 0.0
	if l.Across[k] > 0 {
		steps = l.Steps[k] * full / l.Across[k]
	}
	lines := func(sec, length *float64, area, across, density float64, s *sampled) {
		if area <= 0 || e.along(r, sec, length, &r.ModelMM3, area, density, s, k, z, e.VFill) {
			return
		}
		e.lines(r, sec, length, &r.ModelMM3, area, across, steps*across/full, density, e.VFill)
		n := startsMidway + startsBranch*(math.Max(l.Loops, 1)-1) // runs of lines laid without lifting off
		r.Starts += n
		if e.M.TravelMMS > 0 {
			r.TravelS += n * RestS(0.4*math.Sqrt(l.AreaMM2/math.Max(n, l.Islands)), e.M.TravelMMS, e.Accel)
		}
	}
	if e.Solid {
		lines(&r.SkinS, &r.SkinMM, left, full, 1, ways.inner)
		return
	}
	skin := skinOf(l, left)
	if skin < 0.98*left {
		skin = math.Max(0, math.Min(left, skin+missAt(ways.more, z)*left))
	}
	if ways.skin != nil && skin < 0.05*left && ways.skin.none(z) {
		skin = 0
	}
	sparse := left - skin
	if skin > 0.995*left {
		lines(&r.SkinS, &r.SkinMM, left, full, 1, ways.inner)
		return
	}
	lines(&r.SparseS, &r.SparseMM, sparse, full*math.Sqrt(sparse/left), e.Infill, ways.core)
	lines(&r.SkinS, &r.SkinMM, skin, math.Max(full*math.Sqrt(skin/left), skin/math.Max(box*1.5, 1)), 1, ways.skin)
}

// startsMidway: a head that goes to the nearest line begins in the middle of a region as often as at its end, and comes back for the rest.
const startsMidway = 1.6

// startsBranch: each further arm of a region is left and come back to, more than once on the mean (held against desk/estimate/roads).
const startsBranch = 2.2

// SparseMM3 is the solid volume of a body of volume v whose core (what is left inside shell and skins) is filled to phi.
func SparseMM3(v, core, phi float64) float64 { return v - core + phi*core }

// DepositionCM3H is the rate at which a road of width w and height t is laid at speed v, cm³/h.
func DepositionCM3H(t, w, v float64) float64 { return t * w * v * 3.6 }

func extrusion(l *Line) Estimate {
	var e Estimate
	l.frame(&e)
	m, x := l.Machine, NewExtrusion(l.Machine.MEX, l.LayerMM, l.InfillPct)
	r := x.Of(l.Stack, l.Support != nil)
	e.Layers = r.Layers
	f := l.Factor
	full, last := builds(l.Qty, e.PerBuild)
	shared := func(n int) float64 { // of a build of n parts
		if n == 0 {
			return 0
		}
		s := float64(r.Layers)*x.M.LayerS + float64(r.Switches)*x.M.SwitchS
		s = s*one(f.Layers) + m.WarmUpH*3600 + m.CoolDownH*3600 + f.FixedS
		if n > 1 && x.M.TravelMMS > 0 { // from part to part, once around in every layer
			s += float64(r.Layers) * float64(n) * RestS((l.Packing.StepX+l.Packing.StepY)/2, x.M.TravelMMS, x.Accel)
		}
		return s
	}
	part := r.PartS() * one(f.Roads)
	buildOf := func(n int) float64 { return shared(n) + float64(n)*part }
	total := float64(full)*buildOf(e.PerBuild) + buildOf(last)
	if last == 0 {
		total = float64(full) * buildOf(e.PerBuild)
	}
	e.LongestS = buildOf(min(l.Qty, e.PerBuild))
	e.BuildS = Within(total, l.spreadPct())
	e.ChargedS = e.BuildS
	e.Terms = Terms{RoadsS: r.PartS() * float64(l.Qty), LayersS: float64(e.Builds) * (float64(r.Layers)*x.M.LayerS + float64(r.Switches)*x.M.SwitchS)}
	e.Terms.OtherS = total - e.Terms.RoadsS*one(f.Roads) - e.Terms.LayersS*one(f.Layers) - float64(e.Builds)*f.FixedS

	rho, rhoS := density(l.Material), density(l.Support)
	g := one(f.Grams)
	e.PartG = Within(r.ModelMM3*rho*g, l.gramsPct())
	e.SupportG = Within(r.SupportMM3*rhoS*g, 5)
	q, nb := float64(l.Qty), float64(e.Builds)
	purge := nb * (m.PurgeG + x.M.PurgePerLayerG*float64(r.Switches))
	tail := 1 + x.M.SpoolTailPct/100
	e.StockG = e.PartG.Times(q).Along(Sure(purge)).Times(tail)
	if l.Support != nil {
		e.SupportStockG = e.SupportG.Times(q).Along(Sure(nb * x.M.PurgePerLayerG * float64(r.Switches))).Times(tail)
	}
	o := string(m.Origin)
	roads := fmt.Sprintf("road %.3f × %.3f mm", x.WidthMM, x.LayerMM)
	e.Parts = []Why{
		hours("contours", fmt.Sprintf("%s, %.1f m at %.0f mm/s with %.0f mm/s²", roads, r.ContourMM*q/1000, x.VContour, x.Accel), r.ContourS*q*one(f.Roads), o),
		hours("solid fill", fmt.Sprintf("%.1f m at %.0f mm/s", r.SkinMM*q/1000, x.VFill), r.SkinS*q*one(f.Roads), o),
		hours("sparse fill", fmt.Sprintf("%.1f m, %.0f %%", r.SparseMM*q/1000, l.InfillPct), r.SparseS*q*one(f.Roads), o),
		hours("support", fmt.Sprintf("%.1f m at %.0f mm/s", r.SupportMM*q/1000, x.VSupport), r.SupportS*q*one(f.Roads), o),
		hours("travel", fmt.Sprintf("at %.0f mm/s", x.M.TravelMMS), r.TravelS*q*one(f.Roads), o),
		hours("road starts", fmt.Sprintf("%.0f × %.2f s", r.Starts*q, x.M.StartS), r.StartS*q*one(f.Roads), o),
		hours("layer changes", fmt.Sprintf("%d × %.1f s × %d builds", r.Layers, x.M.LayerS, e.Builds), nb*float64(r.Layers)*x.M.LayerS*one(f.Layers), o),
		hours("material switches", fmt.Sprintf("%d × %.1f s × %d builds", r.Switches, x.M.SwitchS, e.Builds), nb*float64(r.Switches)*x.M.SwitchS*one(f.Layers), o),
		hours("warm-up and cool-down", fmt.Sprintf("%.2f h + %.2f h × %d builds", m.WarmUpH, m.CoolDownH, e.Builds), nb*(m.WarmUpH+m.CoolDownH)*3600, o),
	}
	e.SupportMM2 = l.Stack.ContactMM2
	return e
}
