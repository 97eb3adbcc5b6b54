package solid

import (
	"firstoff/geom/plane"
	"firstoff/geom/section"
)

// Footprint is the OR of all layers: what the part covers seen from above. One layer.
func (s *Solid) Footprint() *Solid {
	g := s.Grid
	g.NZ = 1
	d := Empty(g)
	for k := range s.NZ {
		for i, x := range s.Plane(k) {
			d.Bits[i] |= x
		}
	}
	return d
}

// Outline gives the contours of layer k along cell edges, material to the left, mm, corners only. Cells that touch at a
// corner only are kept apart.
func (s *Solid) Outline(k int) [][]section.Point {
	has := func(i, j int) bool { return s.Has(i, j, k) }
	// directions: +x, +y, -x, -y; the cell ahead on the left and on the right of corner (x, y), as offsets
	dx, dy := [4]int{1, 0, -1, 0}, [4]int{0, 1, 0, -1}
	leftX, leftY := [4]int{0, -1, -1, 0}, [4]int{0, 0, -1, -1}
	rightX, rightY := [4]int{0, 0, -1, -1}, [4]int{-1, 0, 0, -1}
	seen := make([]bool, s.NX*s.NY) // left sides of cells already walked (heading down)
	var out [][]section.Point
	for j := range s.NY {
		for i := range s.NX {
			if !has(i, j) || has(i-1, j) || seen[j*s.NX+i] {
				continue
			}
			// the cell's left side is walked downwards: material (the cell) on the left
			var loop []section.Point
			x, y, d := i, j+1, 3
			x0, y0 := x, y
			turned := false
			for {
				if d == 3 {
					seen[(y-1)*s.NX+x] = true
				}
				x, y = x+dx[d], y+dy[d]
				e := d
				switch {
				case !has(x+leftX[d], y+leftY[d]):
					e = (d + 1) & 3
				case has(x+rightX[d], y+rightY[d]):
					e = (d + 3) & 3
				}
				if e != d {
					loop = append(loop, section.Point{X: s.Origin.X + float64(x)*s.Cell, Y: s.Origin.Y + float64(y)*s.Cell})
					turned = true
				}
				d = e
				if turned && x == x0 && y == y0 && d == 3 {
					break
				}
			}
			out = append(out, loop)
		}
	}
	return out
}

// Region is the contours of layer k as a planar region, for offsets and nesting.
func (s *Solid) Region(k int) plane.Region {
	var r plane.Region
	for _, loop := range s.Outline(k) {
		p := make(plane.Path, len(loop))
		for i, q := range loop {
			p[i] = plane.MM(q.X, q.Y)
		}
		r = append(r, p)
	}
	return r
}

// Collides says whether s and t, moved by whole cells (di, dj, dk), have a cell in common. Both must have cells of the
// same size; their grids' origins play no part.
func Collides(s, t *Solid, di, dj, dk int) bool {
	for k := max(0, dk); k < min(s.NZ, t.NZ+dk); k++ {
		for j := max(0, dj); j < min(s.NY, t.NY+dj); j++ {
			if rowsMeet(s.Row(j, k), t.Row(j-dj, k-dk), di) {
				return true
			}
		}
	}
	return false
}

// rowsMeet says whether row a and row b moved by n cells share a bit.
func rowsMeet(a, b []uint64, n int) bool {
	words, by := n>>6, n&63
	for i := max(0, words); i < min(len(a), len(b)+words+1); i++ {
		var x uint64
		if k := i - words; k < len(b) {
			x = b[k] << by
		}
		if k := i - words - 1; by > 0 && k >= 0 {
			x |= b[k] >> (64 - by)
		}
		if a[i]&x != 0 {
			return true
		}
	}
	return false
}
