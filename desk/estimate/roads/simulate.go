package roads

import (
	"math"

	"firstoff/desk/estimate"
	"firstoff/geom/mesh"
	"firstoff/geom/plane"
	"firstoff/geom/r3"
	"firstoff/geom/section"
	"firstoff/geom/solid"
)

// Result is a simulated part.
type Result struct {
	estimate.Roads
	Opens int // inset chains that did not close: geometry the offset could not follow
}

// road is a straight line or a loop to be laid. Raster lines carry the number of their line, in ascending order.
type road struct {
	a, b pt
	line int
	loop bool
}

// Simulate lays and drives every road of a posed part. e holds machine, layer height and infill; selfSupportDeg 0 means no supports.
func Simulate(m *mesh.Mesh, pose r3.Quat, e estimate.Extrusion, selfSupportDeg float64) (Result, error) {
	var res Result
	sl, err := section.New(m, pose, e.LayerMM)
	if err != nil {
		return res, err
	}
	n := sl.Layers()
	contours := make([][][]pt, n)
	sl.Each(func(i int, c *section.Contours) {
		contours[i] = outlines(c)
	})
	var sup, bits *solid.Solid
	if selfSupportDeg > 0 {
		sum, err := section.New(m, pose, e.LayerMM)
		if err != nil {
			return res, err
		}
		s, err := solid.Rasterise(m, pose, solid.AutoCell(sum.Box), e.LayerMM, 0)
		if err != nil {
			return res, err
		}
		sup, bits = solid.Supports(s, m, pose, selfSupportDeg), s
		layerSupport(&res, e, sup, s)
	}
	head := pt{}
	skin := int(math.Ceil(e.M.SkinMM/e.LayerMM - 1e-9))
	for i := 0; i < n; i++ {
		lay(&res, e, contours, i, skin, &head)
	}
	res.Layers = n
	if sup != nil && e.M.BaseLayers > 0 && n > 0 {
		base(&res, e, sup, bits)
	}
	res.StartS = res.Starts * e.M.StartS
	return res, nil
}

// outlines are a layer's contours, simplified; where shells run into each other, the outline of their union.
func outlines(c *section.Contours) (out [][]pt) {
	keep := func(l []pt) {
		if l = simplify(l, 0.004); len(l) >= 3 {
			out = append(out, l)
		}
	}
	if c.Len() > 1 {
		r := make(plane.Region, c.Len())
		for k := range r {
			for _, q := range c.Contour(k) {
				r[k] = append(r[k], plane.MM(q.X, q.Y))
			}
		}
		if u, ok := plane.UnionWithin(r, plane.Positive, 1<<19); ok && math.Abs(u.Area()-r.Area()) > 1e-6*math.Abs(r.Area()) {
			for _, p := range u {
				l := make([]pt, len(p))
				for j, q := range p {
					l[j] = pt{q.XMM(), q.YMM()}
				}
				keep(l)
			}
			return out
		}
	}
	for k := 0; k < c.Len(); k++ {
		src := c.Contour(k)
		l := make([]pt, len(src))
		for j, p := range src {
			l[j] = pt{p.X, p.Y}
		}
		keep(l)
	}
	return out
}

// lay builds one layer's own roads.
func lay(res *Result, e estimate.Extrusion, contours [][][]pt, i, skin int, head *pt) {
	w := e.WidthMM
	c := contours[i]
	if len(c) == 0 {
		return
	}
	var total float64
	for _, l := range c {
		total += area(l)
	}
	left := total
	for k := 1; k <= e.M.Contours; k++ {
		loops, opens := inset(c, (2*float64(k)-1)*w/2)
		res.Opens += opens
		var laid float64
		todo := make([]road, len(loops))
		for j, l := range loops {
			laid += length(l)
			todo[j] = road{a: l[0], b: l[0], loop: true}
			res.ContourS += loopS(l, e.VContour, e.Accel, e.M.JunctionMM)
		}
		res.ContourMM += laid
		res.ModelMM3 += math.Min(left, laid*w) * e.LayerMM
		left = math.Max(0, left-laid*w)
		res.drive(todo, head, e)
		if len(loops) == 0 {
			break
		}
	}
	inner, opens := inset(c, float64(e.M.Contours)*w)
	res.Opens += opens
	var fillArea float64
	for _, l := range inner {
		fillArea += area(l)
	}
	fillArea = math.Max(0, fillArea)
	if gap := left - fillArea; gap > 0 && gap < left+1e-9 { // slivers between outline roads: laid along them
		res.ContourMM += gap / w
		res.ContourS += gap / w / e.VContour
		res.ModelMM3 += gap * e.LayerMM
	}
	if len(inner) == 0 {
		return
	}
	deg := e.RasterDeg(i)
	rot := turned(inner, deg)
	lo, hi := extentY(rot)
	cut := func(pitch float64, keep func(spans [][]span, y0 float64, n int) [][]span, v float64, mm, sec *float64) {
		n := int(math.Round((hi - lo) / pitch))
		if n < 1 {
			n = 1
		}
		y0 := lo + ((hi-lo)-float64(n)*pitch)/2
		spans := lines(rot, y0, pitch, n)
		if keep != nil {
			spans = keep(spans, y0, n)
		}
		var todo []road
		for j, s := range spans {
			y := y0 + (float64(j)+0.5)*pitch
			for _, x := range s {
				if x.b-x.a < 1e-6 {
					continue
				}
				*mm += x.b - x.a
				*sec += estimate.RestS(x.b-x.a, v, e.Accel)
				res.ModelMM3 += (x.b - x.a) * w * e.LayerMM
				todo = append(todo, road{a: pt{x.a, y}, b: pt{x.b, y}, line: j})
			}
		}
		// the head is kept in the part's own frame
		h := spin(*head, -deg)
		res.drive(todo, &h, e)
		*head = spin(h, deg)
	}
	if e.Solid {
		cut(w, nil, e.VFill, &res.SkinMM, &res.SkinS)
		return
	}
	core := func(y0, pitch float64, n int) [][]span { // inside every layer within the skin's reach
		var all [][]span
		for k := i - skin; k <= i+skin; k++ {
			if k < 0 || k >= len(contours) {
				return make([][]span, n)
			}
			if k == i {
				continue
			}
			s := lines(turned(contours[k], deg), y0, pitch, n)
			if all == nil {
				all = s
				continue
			}
			for j := range all {
				all[j] = and(all[j], s[j])
			}
		}
		return all
	}
	cut(w, func(s [][]span, y0 float64, n int) [][]span {
		c := core(y0, w, n)
		for j := range s {
			s[j] = without(s[j], c[j])
		}
		return s
	}, e.VFill, &res.SkinMM, &res.SkinS)
	pitch := w / e.Infill
	cut(pitch, func(s [][]span, y0 float64, n int) [][]span {
		c := core(y0, pitch, n)
		for j := range s {
			s[j] = and(s[j], c[j])
		}
		return s
	}, e.VFill, &res.SparseMM, &res.SparseS)
}

// drive orders roads and adds the travels between them: on from a raster line to its neighbour that lies beside it as long as there is one, else to
// the nearest road, which costs a start.
func (res *Result) drive(todo []road, head *pt, e estimate.Extrusion) {
	if len(todo) == 0 {
		return
	}
	g := newFinder(todo)
	last := -1
	for range todo {
		i, flip := -1, false
		if last >= 0 && !todo[last].loop {
			i, flip = g.beside(last, *head)
		}
		if i < 0 {
			i, flip = g.nearest(*head)
			res.Starts++
		}
		r := todo[i]
		if flip {
			r.a, r.b = r.b, r.a
		}
		if e.M.TravelMMS > 0 {
			res.TravelS += estimate.RestS(head.dist(r.a), e.M.TravelMMS, e.Accel)
		}
		*head = r.b
		g.remove(i)
		last = i
	}
}
