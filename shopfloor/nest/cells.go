package nest

import (
	"math"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/shopfloor/nest/chamber"
)

// cells is a mesh, turned by q, as bits: every cell that a facet touches or that lies behind facets on every way in. So the bits
// hold the part, closed hollows included, and are at most a cell larger; a mesh with holes smaller than a cell is closed by it.
type cells struct {
	bits   *chamber.Bits
	origin r3.Vec // of the turned mesh's frame: low corner of cell 0, 0, 0
	q      r3.Quat
}

// cellsOf fills a mesh turned by q into cubes of the given edge, mm. Nil when the mesh has no facets.
func cellsOf(m *mesh.Mesh, q r3.Quat, edge float64) *cells {
	rot := q.Mat()
	box := r3.EmptyBox()
	for f := range m.Facets() {
		a, b, c := m.Corners(f)
		box = box.Add(rot.Apply(a)).Add(rot.Apply(b)).Add(rot.Apply(c))
	}
	if box.Empty() {
		return nil
	}
	s := box.Size()
	count := func(l float64) int { return max(1, int(math.Ceil(l/edge-1e-9))) }
	nx, ny, nz := count(s.X), count(s.Y), count(s.Z)
	shell := chamber.New(nx, ny, nz)
	for f := range m.Facets() {
		a, b, c := m.Corners(f)
		var p [3]r3.Vec
		for i, v := range [3]r3.Vec{a, b, c} {
			p[i] = rot.Apply(v).Sub(box.Min).Mul(1 / edge)
		}
		touch(shell, p)
	}
	shell.FillIn()
	return &cells{shell, box.Min, q}
}

// touch sets every cell that triangle p, in cells, touches: cut into slabs along z, and each slab into rows along y.
func touch(b *chamber.Bits, p [3]r3.Vec) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range p {
		lo, hi = math.Min(lo, v.Z), math.Max(hi, v.Z)
	}
	low := func(v float64) int { return int(math.Floor(v + 1e-7)) }   // a face lying on a cell side counts for the cell above …
	high := func(v float64) int { return int(math.Ceil(v-1e-7)) - 1 } // … and below only when it reaches in
	z0, z1 := low(lo), max(low(lo), high(hi))
	if z0 >= b.NZ { // the top face of the box
		z0, z1 = b.NZ-1, b.NZ-1
	}
	var in, out []r3.Vec
	for z := max(0, z0); z <= min(b.NZ-1, z1); z++ {
		in = append(in[:0], p[:]...)
		in, out = clip(in, out, 2, float64(z), 1), in
		in, out = clip(in, out, 2, float64(z+1), -1), in
		if len(in) == 0 {
			continue
		}
		ylo, yhi := math.Inf(1), math.Inf(-1)
		for _, v := range in {
			ylo, yhi = math.Min(ylo, v.Y), math.Max(yhi, v.Y)
		}
		y0, y1 := min(low(ylo), b.NY-1), max(min(low(ylo), b.NY-1), high(yhi))
		for y := max(0, y0); y <= min(b.NY-1, y1); y++ {
			row := append([]r3.Vec(nil), in...)
			var spare []r3.Vec
			row, spare = clip(row, spare, 1, float64(y), 1), row
			row, _ = clip(row, spare, 1, float64(y+1), -1), row
			if len(row) == 0 {
				continue
			}
			xlo, xhi := math.Inf(1), math.Inf(-1)
			for _, v := range row {
				xlo, xhi = math.Min(xlo, v.X), math.Max(xhi, v.X)
			}
			x0 := min(low(xlo), b.NX-1)
			for x := max(0, x0); x <= min(b.NX-1, max(x0, high(xhi))); x++ {
				b.Set(x, y, z)
			}
		}
	}
}

// clip cuts a convex ring by the plane axis = at, keeping the side where sign·(axis − at) ≥ 0, into spare.
func clip(p, spare []r3.Vec, axis int, at, sign float64) []r3.Vec {
	out := spare[:0]
	for i, a := range p {
		b := p[(i+1)%len(p)]
		da, db := sign*(a.Axis(axis)-at), sign*(b.Axis(axis)-at)
		if da >= 0 {
			out = append(out, a)
		}
		if (da > 0 && db < 0) || (da < 0 && db > 0) {
			out = append(out, a.Add(b.Sub(a).Mul(da/(da-db))))
		}
	}
	return out
}
