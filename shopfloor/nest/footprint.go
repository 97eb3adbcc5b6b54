package nest

import (
	"math"

	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/shopfloor/nest/chamber"
	"firstoff/shopfloor/nest/flat"
)

// footprintCells is the number of cells along the longer side when a mesh is looked at from above.
const footprintCells = 400

// Footprint is an outline around everything the mesh covers seen from above, in its own frame, never less than true and at most a
// cell (1/400 of its longer side) more; and lift, how far to raise the mesh so that it stands on the platform. Parts whose
// shadow falls into several islands get the hull of all.
func Footprint(m *mesh.Mesh) (outline [][2]float64, lift float64, err error) { return footprint(m) }

func footprint(m *mesh.Mesh) ([][2]float64, float64, error) {
	box := r3.EmptyBox()
	hullOf := make(flat.Poly, 0, m.Vertices())
	for i := range m.Vertices() {
		v := m.Vertex(uint32(i))
		box = box.Add(v)
		hullOf = append(hullOf, flat.Pt{X: v.X, Y: v.Y})
	}
	size := box.Size()
	if m.Facets() == 0 || !(size.X > 0 && size.Y > 0) || math.IsInf(size.X+size.Y, 0) {
		return nil, 0, fault.New(fault.Invalid, "nest_mesh", "", "The mesh covers no area seen from above.")
	}
	hull := flat.Clean(flat.Hull(hullOf))
	if hull == nil {
		return nil, 0, fault.New(fault.Invalid, "nest_mesh", "", "The mesh covers no area seen from above.")
	}
	cell := math.Max(size.X, size.Y) / footprintCells
	s := newShadow(box, cell)
	for f := range m.Facets() {
		a, b, c := m.Corners(f)
		s.facet(flat.Pt{X: a.X, Y: a.Y}, flat.Pt{X: b.X, Y: b.Y}, flat.Pt{X: c.X, Y: c.Y})
	}
	loops := s.outlines()
	out := hull
	if len(loops) == 1 {
		p := flat.Clean(loops[0])
		// stairs are cut off outward, within two cells
		p = flat.Simplify(p, 0.05, 2*cell)
		if p.Area() < 0.98*hull.Area() {
			out = p
		}
	}
	o := make([][2]float64, len(out))
	for i, q := range out {
		o[i] = [2]float64{q.X, q.Y}
	}
	return o, -box.Min.Z, nil
}

// shadow is a plane of cells that facets are thrown on; a cell is dark when a facet touches it.
type shadow struct {
	x0, y0, cell float64
	b            *chamber.Bits
}

func newShadow(box r3.Box, cell float64) *shadow {
	s := box.Size()
	return &shadow{box.Min.X - cell, box.Min.Y - cell, cell, chamber.New(int(s.X/cell)+4, int(s.Y/cell)+4, 1)}
}

// facet darkens every cell that triangle abc touches.
func (s *shadow) facet(a, b, c flat.Pt) {
	p := [3]flat.Pt{a, b, c}
	for i := range p {
		p[i] = flat.Pt{X: (p[i].X - s.x0) / s.cell, Y: (p[i].Y - s.y0) / s.cell}
	}
	y0 := int(math.Floor(math.Min(p[0].Y, math.Min(p[1].Y, p[2].Y))))
	y1 := int(math.Floor(math.Max(p[0].Y, math.Max(p[1].Y, p[2].Y))))
	for y := max(0, y0); y <= min(s.b.NY-1, y1); y++ {
		lo, hi := math.Inf(1), math.Inf(-1)
		for i := range p {
			u, v := p[i], p[(i+1)%3]
			if u.Y >= float64(y) && u.Y <= float64(y+1) {
				lo, hi = math.Min(lo, u.X), math.Max(hi, u.X)
			}
			for _, h := range [2]float64{float64(y), float64(y + 1)} {
				if (u.Y < h) != (v.Y < h) {
					x := u.X + (v.X-u.X)*(h-u.Y)/(v.Y-u.Y)
					lo, hi = math.Min(lo, x), math.Max(hi, x)
				}
			}
		}
		for x := max(0, int(math.Floor(lo))); x <= min(s.b.NX-1, int(math.Floor(hi))); x++ {
			s.b.Set(x, y, 0)
		}
	}
}

// outlines walks around the dark islands, dark to the left; holes are left out, cells that touch at a corner are joined.
func (s *shadow) outlines() (out []flat.Poly) {
	has := func(x, y int) bool { return s.b.Has(x, y, 0) }
	dx, dy := [4]int{1, 0, -1, 0}, [4]int{0, 1, 0, -1}
	leftX, leftY := [4]int{0, -1, -1, 0}, [4]int{0, 0, -1, -1}
	rightX, rightY := [4]int{0, 0, -1, -1}, [4]int{-1, 0, 0, -1}
	seen := make(map[[2]int]bool)
	for y := range s.b.NY {
		for x := range s.b.NX {
			// a bottom side with dark above and light below, walked along +x
			if !has(x, y) || has(x, y-1) || seen[[2]int{x, y}] {
				continue
			}
			var loop flat.Poly
			cx, cy, d := x, y, 0
			for {
				if d == 0 {
					seen[[2]int{cx, cy}] = true
				}
				cx, cy = cx+dx[d], cy+dy[d]
				e := d
				switch {
				case has(cx+rightX[d], cy+rightY[d]): // dark ahead on the right: turn right, which joins corners
					e = (d + 3) & 3
				case !has(cx+leftX[d], cy+leftY[d]):
					e = (d + 1) & 3
				}
				if e != d {
					loop = append(loop, flat.Pt{X: s.x0 + float64(cx)*s.cell, Y: s.y0 + float64(cy)*s.cell})
				}
				d = e
				if cx == x && cy == y && d == 0 {
					break
				}
			}
			if loop.Area() > 0 {
				out = append(out, loop)
			}
		}
	}
	return out
}
