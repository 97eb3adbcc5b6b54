package nest

import (
	"fmt"
	"math"
	"sort"

	"firstoff/geom/r3"
)

// Violation is something in a result that its problem forbids.
type Violation struct {
	Code   string  // missing, unknown, turn, outside, overlap, spacing, length
	A, B   int     // placements concerned, −1 for none
	Amount float64 // mm or mm² by which it is violated
	Text   string
}

// tolerance is what rounding may cost, as a share of the size of the pieces.
const tolerance = 1e-7

// Verify judges a result. It is written apart from the search and shares no geometry with it: it works on outlines and meshes as
// given, never on simplified or cut ones. The area two outlines share is measured by slabs between all corner and
// crossing heights, in which edges do not cross, so that the sum of trapezia is exact up to rounding; spacing is the least
// distance between borders, or between facets. Nothing found is nil.
func Verify(p Problem, r Result) []Violation {
	v := &judge{p: p, r: r}
	v.count()
	if p.Container.Kind == InChambers {
		v.space()
	} else {
		v.plane()
	}
	return v.found
}

type judge struct {
	p     Problem
	r     Result
	item  []*Item // per placement
	found []Violation
}

func (v *judge) say(code string, a, b int, amount float64, format string, args ...any) {
	v.found = append(v.found, Violation{code, a, b, amount, fmt.Sprintf(format, args...)})
}

// count matches placements with items and their turns.
func (v *judge) count() {
	left := map[string]int{}
	byID := map[string]*Item{}
	for i := range v.p.Items {
		it := &v.p.Items[i]
		left[it.ID] += it.Quantity
		byID[it.ID] = it
	}
	v.item = make([]*Item, len(v.r.Placements))
	for k, q := range v.r.Placements {
		it := byID[q.ID]
		if it == nil {
			v.say("unknown", k, -1, 0, "%s is no item", q.ID)
			continue
		}
		left[q.ID]--
		if it.Polygon == nil && it.Mesh == nil {
			v.say("unknown", k, -1, 0, "the mesh of %s was not read", q.ID)
			continue
		}
		v.item[k] = it
		if q.Container < 0 || q.Container >= v.r.Containers {
			v.say("outside", k, -1, 0, "%s lies in container %d of %d", q.ID, q.Container, v.r.Containers)
		}
		if q.RotationDeg == nil || it.Turns.Free {
			continue
		}
		turns := it.Turns.Deg
		if len(turns) == 0 {
			turns = []float64{0}
		}
		ok := false
		for _, d := range turns {
			ok = ok || math.Abs(math.Remainder(d-*q.RotationDeg, 360)) < 1e-9
		}
		if !ok {
			v.say("turn", k, -1, *q.RotationDeg, "%s is turned by %g°, which is not among its rotations", q.ID, *q.RotationDeg)
		}
	}
	ids := make([]string, 0, len(left))
	for id := range left {
		ids = append(ids, id)
	}
	sort.Strings(ids)
	for _, id := range ids {
		if left[id] != 0 {
			v.say("missing", -1, -1, float64(left[id]), "%s: %d pieces are missing (negative: too many)", id, left[id])
		}
	}
}

// plane judges outlines; items with meshes are judged by their facets seen from above.
func (v *judge) plane() {
	c := v.p.Container
	x1, y1 := c.WidthMM, c.DepthMM
	if c.Kind == InStrip {
		x1, y1 = v.r.LengthMM, c.WidthMM
	}
	rings := make([]ring, len(v.r.Placements))
	shadows := make([][]ring, len(v.r.Placements)) // of facets, for meshes
	for k, q := range v.r.Placements {
		it := v.item[k]
		if it == nil || q.RotationDeg == nil {
			continue
		}
		if it.Polygon != nil {
			rings[k] = placeRing(it.Polygon, *q.RotationDeg, q.XMM, q.YMM)
		} else {
			for f := range it.Mesh.Facets() {
				a, b, d := it.Mesh.Corners(f)
				t := placeRing([][2]float64{{a.X, a.Y}, {b.X, b.Y}, {d.X, d.Y}}, *q.RotationDeg, q.XMM, q.YMM)
				shadows[k] = append(shadows[k], t)
				rings[k] = append(rings[k], t...) // for its box only
			}
		}
		bx0, by0, bx1, by1 := rings[k].bounds()
		eps := tolerance * math.Max(x1, y1)
		if out := math.Max(math.Max(c.MarginMM-bx0, c.MarginMM-by0), math.Max(bx1-x1+c.MarginMM, by1-y1+c.MarginMM)); out > eps {
			v.say("outside", k, -1, out, "%s reaches %g mm beyond the container or its margin", q.ID, out)
		}
	}
	for a := range rings {
		ax0, ay0, ax1, ay1 := rings[a].bounds()
		for b := a + 1; b < len(rings); b++ {
			if v.r.Placements[a].Container != v.r.Placements[b].Container || rings[a] == nil || rings[b] == nil {
				continue
			}
			bx0, by0, bx1, by1 := rings[b].bounds()
			s := v.p.SpacingMM
			if ax0 >= bx1+s || bx0 >= ax1+s || ay0 >= by1+s || by0 >= ay1+s {
				continue
			}
			v.pair(a, b, parts(rings[a], shadows[a]), parts(rings[b], shadows[b]))
		}
	}
}

func parts(r ring, shadow []ring) []ring {
	if shadow != nil {
		return shadow
	}
	return []ring{r}
}

func (v *judge) pair(a, b int, as, bs []ring) {
	s := v.p.SpacingMM
	var area, least float64
	least = math.Inf(1)
	for _, p := range as {
		px0, py0, px1, py1 := p.bounds()
		for _, q := range bs {
			qx0, qy0, qx1, qy1 := q.bounds()
			if px0 >= qx1+s || qx0 >= px1+s || py0 >= qy1+s || qy0 >= py1+s {
				continue
			}
			area = math.Max(area, shared(p, q))
			if s > 0 {
				least = math.Min(least, gap(p, q))
			}
		}
	}
	size := math.Min(boxArea(as), boxArea(bs))
	if area > tolerance*size {
		v.say("overlap", a, b, area, "%s and %s overlap by %g mm²", v.r.Placements[a].ID, v.r.Placements[b].ID, area)
	} else if least < s-tolerance*math.Sqrt(size)-1e-9 {
		v.say("spacing", a, b, s-least, "%s and %s are %g mm apart, not %g", v.r.Placements[a].ID, v.r.Placements[b].ID, least, s)
	}
}

func boxArea(rs []ring) float64 {
	var all ring
	for _, r := range rs {
		all = append(all, r...)
	}
	x0, y0, x1, y1 := all.bounds()
	return (x1 - x0) * (y1 - y0)
}

// space judges meshes facet against facet.
func (v *judge) space() {
	c := v.p.Container
	type solid struct {
		tri [][3]r3.Vec
		box r3.Box
	}
	ss := make([]solid, len(v.r.Placements))
	for k, q := range v.r.Placements {
		it := v.item[k]
		if it == nil || q.Pose == nil {
			continue
		}
		ss[k] = solid{box: r3.EmptyBox()}
		rot := r3.Quat{W: q.Pose[0], X: q.Pose[1], Y: q.Pose[2], Z: q.Pose[3]}.Unit().Mat()
		at := r3.Vec{X: q.XMM, Y: q.YMM, Z: q.ZMM}
		for f := range it.Mesh.Facets() {
			var t [3]r3.Vec
			t[0], t[1], t[2] = it.Mesh.Corners(f)
			for i := range t {
				t[i] = rot.Apply(t[i]).Add(at)
				ss[k].box = ss[k].box.Add(t[i])
			}
			ss[k].tri = append(ss[k].tri, t)
		}
		top := c.HeightMM
		if top == 0 {
			top = v.r.LengthMM
		}
		b, m := ss[k].box, c.MarginMM
		out := math.Inf(-1)
		for _, d := range []float64{m - b.Min.X, m - b.Min.Y, m - b.Min.Z, b.Max.X + m - c.WidthMM, b.Max.Y + m - c.DepthMM, b.Max.Z + m - top} {
			out = math.Max(out, d)
		}
		if out > tolerance*math.Max(c.WidthMM, top) {
			v.say("outside", k, -1, out, "%s reaches %g mm beyond the chamber or its margin", q.ID, out)
		}
	}
	s := v.p.SpacingMM
	for a := range ss {
		for b := a + 1; b < len(ss); b++ {
			if v.r.Placements[a].Container != v.r.Placements[b].Container || len(ss[a].tri) == 0 || len(ss[b].tri) == 0 || apart(ss[a].box, ss[b].box) >= s && apart(ss[a].box, ss[b].box) > 0 {
				continue
			}
			d := nearest(ss[a].tri, ss[b].tri, math.Max(s, 1e-9))
			eps := 1e-6 * (1 + s)
			switch {
			case d <= 0 && s == 0 && !crossing(ss[a].tri, ss[b].tri):
			case d < s-eps || d <= 0:
				v.say("spacing", a, b, s-d, "%s and %s are %g mm apart, not %g", v.r.Placements[a].ID, v.r.Placements[b].ID, d, s)
			case within(ss[a].tri[0][0], ss[b].tri) || within(ss[b].tri[0][0], ss[a].tri):
				v.say("overlap", a, b, 0, "%s and %s lie one inside the other", v.r.Placements[a].ID, v.r.Placements[b].ID)
			}
		}
	}
}

// ring is a placed outline.
type ring [][2]float64

// placeRing turns r about the origin by deg, then moves it.
func placeRing(r [][2]float64, deg, x, y float64) ring {
	q := int(math.Round(math.Mod(math.Mod(deg, 360)+360, 360) * 1e6))
	s, c := math.Sincos(deg * math.Pi / 180)
	switch q {
	case 0, 360e6:
		s, c = 0, 1
	case 90e6:
		s, c = 1, 0
	case 180e6:
		s, c = 0, -1
	case 270e6:
		s, c = -1, 0
	}
	out := make(ring, len(r))
	for i, p := range r {
		out[i] = [2]float64{c*p[0] - s*p[1] + x, s*p[0] + c*p[1] + y}
	}
	return out
}

func (r ring) bounds() (x0, y0, x1, y1 float64) {
	x0, y0, x1, y1 = math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, p := range r {
		x0, x1 = math.Min(x0, p[0]), math.Max(x1, p[0])
		y0, y1 = math.Min(y0, p[1]), math.Max(y1, p[1])
	}
	return
}

func (r ring) area() float64 {
	var s float64
	for i := range r {
		j := (i + 1) % len(r)
		s += (r[i][0]-r[0][0])*(r[j][1]-r[0][1]) - (r[j][0]-r[0][0])*(r[i][1]-r[0][1])
	}
	return math.Abs(s) / 2
}

// shared is the area that two rings have in common.
func shared(a, b ring) float64 {
	ax0, ay0, ax1, ay1 := a.bounds()
	bx0, by0, bx1, by1 := b.bounds()
	lo, hi := math.Max(ay0, by0), math.Min(ay1, by1)
	if lo >= hi || math.Max(ax0, bx0) >= math.Min(ax1, bx1) {
		return 0
	}
	type seg struct{ x0, y0, x1, y1 float64 } // y0 < y1
	edges := func(r ring) (out []seg) {
		for i, p := range r {
			q := r[(i+1)%len(r)]
			if p[1] > q[1] {
				p, q = q, p
			}
			if p[1] < q[1] && q[1] > lo && p[1] < hi {
				out = append(out, seg{p[0], p[1], q[0], q[1]})
			}
		}
		return
	}
	ea, eb := edges(a), edges(b)
	at := func(s seg, y float64) float64 { return s.x0 + (s.x1-s.x0)*(y-s.y0)/(s.y1-s.y0) }
	ys := []float64{lo, hi}
	add := func(y float64) {
		if y > lo && y < hi {
			ys = append(ys, y)
		}
	}
	for _, s := range append(append([]seg(nil), ea...), eb...) {
		add(s.y0)
		add(s.y1)
	}
	all := append(append([]seg(nil), ea...), eb...)
	for i, s := range all {
		for _, t := range all[i+1:] {
			y0, y1 := math.Max(s.y0, t.y0), math.Min(s.y1, t.y1)
			if y0 >= y1 {
				continue
			}
			d0, d1 := at(s, y0)-at(t, y0), at(s, y1)-at(t, y1)
			if d0*d1 < 0 {
				add(y0 + (y1-y0)*d0/(d0-d1))
			}
		}
	}
	sort.Float64s(ys)
	var sum float64
	var xa, xb []float64
	cross := func(es []seg, y float64, into []float64) []float64 {
		into = into[:0]
		for _, s := range es {
			if s.y0 <= y && y < s.y1 {
				into = append(into, at(s, y))
			}
		}
		sort.Float64s(into)
		return into
	}
	for k := 0; k+1 < len(ys); k++ {
		h := ys[k+1] - ys[k]
		if h <= 0 {
			continue
		}
		mid := ys[k] + h/2
		xa, xb = cross(ea, mid, xa), cross(eb, mid, xb)
		i, j := 0, 0
		for i+1 < len(xa) && j+1 < len(xb) {
			l := math.Max(xa[i], xb[j])
			r := math.Min(xa[i+1], xb[j+1])
			if r > l {
				sum += (r - l) * h
			}
			if xa[i+1] < xb[j+1] {
				i += 2
			} else {
				j += 2
			}
		}
	}
	return sum
}

// gap is the least distance between the borders of two rings.
func gap(a, b ring) float64 {
	best := math.Inf(1)
	for i, p := range a {
		p2 := a[(i+1)%len(a)]
		for j, q := range b {
			q2 := b[(j+1)%len(b)]
			best = math.Min(best, math.Min(
				math.Min(pointSeg(p, q, q2), pointSeg(p2, q, q2)),
				math.Min(pointSeg(q, p, p2), pointSeg(q2, p, p2))))
		}
	}
	return best
}

func pointSeg(p, a, b [2]float64) float64 {
	dx, dy := b[0]-a[0], b[1]-a[1]
	t := 0.0
	if l := dx*dx + dy*dy; l > 0 {
		t = math.Max(0, math.Min(1, ((p[0]-a[0])*dx+(p[1]-a[1])*dy)/l))
	}
	return math.Hypot(p[0]-a[0]-t*dx, p[1]-a[1]-t*dy)
}
