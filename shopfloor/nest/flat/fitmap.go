package flat

import "math"

// fitMap answers how deep two turned shapes overlap at a displacement, in a few nanoseconds: the plane of displacements is cut into
// cells, each known to be free, deep inside, or near the border of the collision region.
//
// Near the border the answer is exact as to yes or no (half-plane tests of the convex pieces that matter in that
// cell), and its depth is that of the deepest convex piece, a lower bound on the true depth. Inside it is the distance to
// the nearest cell that is open, that is, not wholly taken by all pieces together; true within a cell. Only "is it free" must be
// right; depth guides.
type fitMap struct {
	minX, minY float64 // corner of the cells
	cell, inv  float64
	fnx, fny   float64
	nx         int
	// cells: 0 free; > 0 index+1 into lists; < 0 −1 − (dx+128 | (dy+128)<<8), way to the nearest cell not wholly taken
	cells []int32
	lists []int32 // per border cell: way to the nearest open cell as above or 0, number of pieces, then per piece: number of edges, edge indices
	edges []edge
}

const (
	mapCells = 40 // along the longer side; a power of search speed against depth accuracy, by trial
)

// newFitMap rasterises the collision region of b against a. Depths up to tol count as free.
func newFitMap(a, b []Poly, grown Poly, tol float64) *fitMap {
	pieces := collisions(a, b, grown)
	box := Box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for _, p := range pieces {
		box.MinX, box.MaxX = math.Min(box.MinX, p.box.MinX), math.Max(box.MaxX, p.box.MaxX)
		box.MinY, box.MaxY = math.Min(box.MinY, p.box.MinY), math.Max(box.MaxY, p.box.MaxY)
	}
	m := &fitMap{minX: box.MinX, minY: box.MinY}
	m.cell = math.Max(box.W(), box.H()) / (mapCells - 0.01)
	m.inv = 1 / m.cell
	nx, ny := int(box.W()*m.inv)+1, int(box.H()*m.inv)+1
	m.nx, m.fnx, m.fny = nx, float64(nx), float64(ny)
	m.cells = make([]int32, nx*ny)
	const (
		touched = 1
		full    = 2
	)
	state := make([]uint8, nx*ny)
	first := make([]int, len(pieces)+1)
	for i := range pieces {
		first[i] = len(m.edges)
		p := &pieces[i]
		for _, e := range p.edges {
			e.c -= tol
			m.edges = append(m.edges, e)
		}
	}
	first[len(pieces)] = len(m.edges)
	// Row by row: the span a piece touches, and the span it covers wholly.
	type hit struct{ cell, piece int32 }
	var hits []hit
	for i := range pieces {
		es := m.edges[first[i]:first[i+1]]
		p := &pieces[i]
		y0, y1 := max(0, int((p.box.MinY-m.minY)*m.inv)), min(ny-1, int((p.box.MaxY-m.minY)*m.inv))
		x0, x1 := max(0, int((p.box.MinX-m.minX)*m.inv)), min(nx-1, int((p.box.MaxX-m.minX)*m.inv))
		h := m.cell / 2
		for y := y0; y <= y1; y++ {
			cy := m.minY + (float64(y)+0.5)*m.cell
			// cell centres cx touch (cover) when every edge leaves the nearest (farthest) corner inside
			tlo, thi := float64(x0), float64(x1)
			flo, fhi := float64(x0), float64(x1)
			for k := range es {
				e := &es[k]
				r := (math.Abs(e.nx) + math.Abs(e.ny)) * h
				v := e.c - e.ny*cy - e.nx*(m.minX+h) // depth at column 0
				g := e.nx * m.cell                   // loss of depth per column
				if g > 1e-12*m.cell {
					thi = math.Min(thi, math.Floor((v+r)/g))
					fhi = math.Min(fhi, math.Floor((v-r)/g))
				} else if g < -1e-12*m.cell {
					tlo = math.Max(tlo, math.Ceil((v+r)/g))
					flo = math.Max(flo, math.Ceil((v-r)/g))
				} else {
					if v+r <= 0 {
						thi = -1
					}
					if v-r <= 0 {
						fhi = -1
					}
				}
			}
			for x := int(tlo); x <= int(thi); x++ {
				c := y*nx + x
				if x >= int(flo) && x <= int(fhi) {
					state[c] = full
				} else if state[c] != full {
					state[c] = touched
					hits = append(hits, hit{int32(c), int32(i)})
				}
			}
		}
	}
	// Gather border cells.
	count := make([]int32, nx*ny+1)
	for _, h := range hits {
		if state[h.cell] == touched {
			count[h.cell+1]++
		}
	}
	for c := 0; c < nx*ny; c++ {
		count[c+1] += count[c]
	}
	by := make([]int32, count[nx*ny])
	fillAt := append([]int32(nil), count...)
	for _, h := range hits {
		if state[h.cell] == touched {
			by[fillAt[h.cell]] = h.piece
			fillAt[h.cell]++
		}
	}
	open := make([]bool, nx*ny) // has a free point, as far as samples show
	half := m.cell / 2 * math.Sqrt2
	for c := 0; c < nx*ny; c++ {
		switch state[c] {
		case 0:
			open[c] = true
			continue
		case full:
			continue
		}
		x, y := c%nx, c/nx
		cx, cy := m.minX+(float64(x)+0.5)*m.cell, m.minY+(float64(y)+0.5)*m.cell
		list := by[count[c]:count[c+1]]
		at := len(m.lists)
		m.lists = append(m.lists, 0, 0)
		n := int32(0)
		for _, p := range list {
			// An edge whose depth at the centre exceeds the piece's least by more than two half diagonals is never the least here.
			least := math.Inf(1)
			for k := first[p]; k < first[p+1]; k++ {
				e := &m.edges[k]
				least = math.Min(least, e.c-e.nx*cx-e.ny*cy)
			}
			if least <= -half {
				continue
			}
			g := len(m.lists)
			m.lists = append(m.lists, 0)
			for k := first[p]; k < first[p+1]; k++ {
				e := &m.edges[k]
				if e.c-e.nx*cx-e.ny*cy <= least+2*half {
					m.lists = append(m.lists, int32(k))
					m.lists[g]++
				}
			}
			n++
		}
		if n == 0 {
			m.lists = m.lists[:at]
			open[c] = true
			continue
		}
		m.lists[at+1] = n
		m.cells[c] = int32(at + 1)
	samples:
		for sy := -3.0; sy <= 3; sy += 2 {
			for sx := -3.0; sx <= 3; sx += 2 {
				if d, _ := m.border(int32(at), cx+sx*m.cell/8, cy+sy*m.cell/8); d <= 0 {
					open[c] = true
					break samples
				}
			}
		}
	}
	m.deep(state, open, nx, ny)
	return m
}

// deep stores in every wholly taken cell the way to the nearest open one (or the outside), by two sweeps (Danielsson 1980).
func (m *fitMap) deep(state []uint8, open []bool, nx, ny int) {
	type way struct{ x, y int16 }
	w := make([]way, (nx+2)*(ny+2))
	const far = 1 << 12
	id := func(x, y int) int { return (y+1)*(nx+2) + x + 1 }
	for y := 0; y < ny; y++ {
		for x := 0; x < nx; x++ {
			if !open[y*nx+x] {
				w[id(x, y)] = way{far, far}
			}
		}
	}
	relax := func(x, y, dx, dy int) {
		c := &w[id(x, y)]
		o := w[id(x+dx, y+dy)]
		if o.x == far {
			return
		}
		nxt := way{o.x + int16(dx), o.y + int16(dy)}
		if c.x == far || int(nxt.x)*int(nxt.x)+int(nxt.y)*int(nxt.y) < int(c.x)*int(c.x)+int(c.y)*int(c.y) {
			*c = nxt
		}
	}
	for pass := 0; pass < 2; pass++ {
		for y := 0; y < ny; y++ {
			for x := 0; x < nx; x++ {
				relax(x, y, -1, 0)
				relax(x, y, 0, -1)
				relax(x, y, -1, -1)
				relax(x, y, 1, -1)
			}
			for x := nx - 1; x >= 0; x-- {
				relax(x, y, 1, 0)
			}
		}
		for y := ny - 1; y >= 0; y-- {
			for x := nx - 1; x >= 0; x-- {
				relax(x, y, 1, 0)
				relax(x, y, 0, 1)
				relax(x, y, 1, 1)
				relax(x, y, -1, 1)
			}
			for x := 0; x < nx; x++ {
				relax(x, y, -1, 0)
			}
		}
	}
	for y := 0; y < ny; y++ {
		for x := 0; x < nx; x++ {
			c := y*nx + x
			if open[c] {
				continue
			}
			v := w[id(x, y)]
			code := -1 - (int32(v.x) + 128 | (int32(v.y)+128)<<8)
			if state[c] == 2 {
				m.cells[c] = code
			} else {
				m.lists[m.cells[c]-1] = code
			}
		}
	}
}

// border is the depth at (x, y) by the pieces listed at index l, and the edge it comes from; 0 when free.
func (m *fitMap) border(l int32, x, y float64) (depth float64, by int32) {
	by = -1
	lists := m.lists
	n := lists[l+1]
	l += 2
	for ; n > 0; n-- {
		k := lists[l]
		l++
		end := l + k
		least, leastBy := math.MaxFloat64, int32(-1)
		for ; l < end; l++ {
			e := &m.edges[lists[l]]
			v := e.c - e.nx*x - e.ny*y
			if v <= depth {
				goto next
			}
			if v < least {
				least, leastBy = v, lists[l]
			}
		}
		depth, by = least, leastBy
	next:
		l = end
	}
	return depth, by
}

// depth is how deep displacement (x, y) lies inside the collision region, 0 when free.
func (m *fitMap) depth(x, y float64) float64 {
	fx, fy := (x-m.minX)*m.inv, (y-m.minY)*m.inv
	if !(fx >= 0 && fy >= 0 && fx < m.fnx && fy < m.fny) {
		return 0
	}
	ix, iy := int(fx), int(fy)
	c := m.cells[iy*m.nx+ix]
	if c == 0 {
		return 0
	}
	if c > 0 {
		d, _ := m.border(c-1, x, y)
		if d == 0 {
			return 0
		}
		// Where several pieces cover a cell together, their seams are no way out.
		if c = m.lists[c-1]; c == 0 {
			return d
		}
	}
	c = -1 - c
	dx := float64(int32(ix)+(c&255)-128) + 0.5 - fx
	dy := float64(int32(iy)+(c>>8)-128) + 0.5 - fy
	return m.cell * math.Sqrt(dx*dx+dy*dy)
}

// way is depth with the unit direction in which it falls.
func (m *fitMap) way(x, y float64) (depth, ux, uy float64) {
	fx, fy := (x-m.minX)*m.inv, (y-m.minY)*m.inv
	if !(fx >= 0 && fy >= 0 && fx < m.fnx && fy < m.fny) {
		return 0, 0, 0
	}
	ix, iy := int(fx), int(fy)
	c := m.cells[iy*m.nx+ix]
	if c == 0 {
		return 0, 0, 0
	}
	if c > 0 {
		d, by := m.border(c-1, x, y)
		if by < 0 {
			return 0, 0, 0
		}
		if c = m.lists[c-1]; c == 0 {
			return d, m.edges[by].nx, m.edges[by].ny
		}
	}
	c = -1 - c
	dx := float64(int32(ix)+(c&255)-128) + 0.5 - fx
	dy := float64(int32(iy)+(c>>8)-128) + 0.5 - fy
	l := math.Sqrt(dx*dx + dy*dy)
	if l == 0 {
		return 0, 0, 0
	}
	return m.cell * l, dx / l, dy / l
}
