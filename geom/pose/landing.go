package pose

import (
	"math"

	"firstoff/geom/cores"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// Landing is what column supports come to when they may stand on the part.
type Landing struct {
	SupportMM3 float64
	PlateMM2   float64 // columns standing on the plate, plan area
	PartMM2    float64 // columns standing on the part, plan area
}

// LandingOf drops the columns under a posed part's overhangs on plumb lines cell mm apart: along each line the surface is
// crossed facet by facet and air is told from solid by the winding number. Sums are scaled by the exact plan area of the
// overhanging facets; what remains is sampling error, which shrinks with the cell.
func LandingOf(m *mesh.Mesh, pose r3.Quat, selfSupportDeg, cell float64) Landing {
	l := lines{area: surface(m)}
	return l.landing(m, pose, selfSupportDeg, cell)
}

// lines is the scratch for one posed part: crossings of plumb lines with the surface.
type lines struct {
	area      float64 // of the mesh's facets, mm²
	at        []placed
	crossings []lineCrossing
	from      []int32
	sorted    []uint32
}

// placed is a vertex in cells and height steps, with the lines it lies behind.
type placed struct {
	x, y, z     float64
	row, column int32
}

// place turns and scales all vertices and gives the lowest height step.
func (l *lines) place(pos []float32, r r3.Mat3, low r3.Vec, inv, scale float64) (bottom uint32) {
	if n := len(pos) / 3; cap(l.at) < n {
		l.at = make([]placed, n)
	}
	l.at = l.at[:len(pos)/3]
	for i := range 6 {
		r[i] *= inv
	}
	for i := 6; i < 9; i++ {
		r[i] *= scale
	}
	ox, oy, oz := low.X*inv, low.Y*inv, low.Z*scale
	least := math.Inf(1)
	for i := range l.at {
		p := pos[3*i:][:3:3]
		px, py, pz := float64(p[0]), float64(p[1]), float64(p[2])
		x, y, z := r[0]*px+r[1]*py+r[2]*pz-ox, r[3]*px+r[4]*py+r[5]*pz-oy, r[6]*px+r[7]*py+r[8]*pz-oz
		if z < least {
			least = z
		}
		l.at[i] = placed{x, y, z, int32(y + 0.5), int32(x + 0.5)}
	}
	return uint32(max(0, least))
}

type lineCrossing struct {
	line uint32
	key  uint32 // height in 2^-30 of the part's, two low bits: facet looks down, and overhangs
}

const (
	looksDown = 1
	overhangs = 2
)

func (l *lines) landing(m *mesh.Mesh, pose r3.Quat, selfSupportDeg, cell float64) Landing {
	var out Landing
	r := pose.Unit().Mat()
	box := r3.EmptyBox() // of the turned box: what lies in it is found while placing
	if own := m.Box(); !own.Empty() {
		for i := range 8 {
			c := own.Min
			if i&1 != 0 {
				c.X = own.Max.X
			}
			if i&2 != 0 {
				c.Y = own.Max.Y
			}
			if i&4 != 0 {
				c.Z = own.Max.Z
			}
			box = box.Add(r.Apply(c))
		}
	}
	size := box.Size()
	if box.Empty() || !(size.Z > 0) || math.IsInf(size.Norm(), 0) || !(cell > 0) {
		return out
	}
	const mostLines, mostCrossings = 1 << 24, 1 << 25 // wider apart beyond: a heap of sheets may cross any number of lines
	for size.X/cell*size.Y/cell > mostLines || l.area/cell/cell > mostCrossings {
		cell *= 1.5
	}
	nx, ny := int(size.X/cell)+1, int(size.Y/cell)+1
	limit := math.Cos(math.Min(90, selfSupportDeg) * math.Pi / 180)
	if selfSupportDeg >= 90 {
		limit = 0
	}
	const steps = 1 << 30
	scale := (steps - 1) / size.Z
	bottom := l.place(m.Pos, r, box.Min, 1/cell, scale)
	stretch := cell * scale // a cell's width in height steps: slopes are measured in true proportion
	l.crossings = l.crossings[:0]
	l.from = append(l.from[:0], make([]int32, nx*ny+1)...)
	var plan float64
	sampled := 0
	at := l.at
	for t := m.Tri; len(t) >= 3; t = t[3:] {
		a, b, c := &at[t[0]], &at[t[1]], &at[t[2]]
		nz := (b.x-a.x)*(c.y-a.y) - (b.y-a.y)*(c.x-a.x) // in cells
		missed := a.row == b.row && a.row == c.row || a.column == b.column && a.column == c.column
		if nz > 0 && missed || nz == 0 {
			continue
		}
		uz, vz := b.z-a.z, c.z-a.z
		nx3, ny3 := (b.y-a.y)*vz-uz*(c.y-a.y), uz*(c.x-a.x)-(b.x-a.x)*vz
		flags := uint32(0)
		if nz < 0 {
			flags = looksDown
			if z := nz * stretch; z*z > limit*limit*(nx3*nx3+ny3*ny3+z*z) {
				flags |= overhangs
				plan -= nz / 2
			}
			if missed {
				continue
			}
		}
		gx, gy := nx3/nz, ny3/nz // fall of height by cell
		z0 := a.z + gx*(a.x-0.5) + gy*a.y
		// by rows from below: the long side a-c against a-b, then b-c; each from its lower end, so that both facets of an
		// edge get the same bits
		if a.row > b.row {
			a, b = b, a
		}
		if b.row > c.row {
			b, c = c, b
		}
		if a.row > b.row {
			a, b = b, a
		}
		long := (c.x - a.x) / (c.y - a.y)
		top := min(c.row, int32(ny))
		p := a
		var short float64
		if a.row < b.row {
			short = (b.x - a.x) / (b.y - a.y)
		}
		for j := a.row; j < top; j++ {
			if j >= b.row && p != b {
				p = b
				short = (c.x - b.x) / (c.y - b.y)
			}
			y := float64(j) + 0.5
			x0, x1 := a.x+(y-a.y)*long, p.x+(y-p.y)*short
			i, end := int(x0+0.5), int(x1+0.5)
			if i > end {
				i, end = end, i
			}
			if end > nx {
				end = nx
			}
			line := int(j)*nx + i
			z := z0 - gy*y
			for ; i < end; i++ {
				k := int(z - gx*float64(i))
				if k < 0 {
					k = 0
				} else if k >= steps {
					k = steps - 1
				}
				l.crossings = append(l.crossings, lineCrossing{uint32(line), uint32(k)<<2 | flags})
				l.from[line+1]++
				line++
				sampled += int(flags >> 1)
			}
		}
	}
	for i := 1; i < len(l.from); i++ {
		l.from[i] += l.from[i-1]
	}
	if cap(l.sorted) < len(l.crossings) {
		l.sorted = make([]uint32, len(l.crossings))
	}
	l.sorted = l.sorted[:len(l.crossings)]
	// fill each line from its end, keeping it sorted; afterwards from[i] is again where line i starts
	ends := l.from[1:]
	starts := make([]int32, len(ends))
	copy(starts, l.from)
	fill := append([]int32(nil), starts...)
	for _, x := range l.crossings {
		i := fill[x.line]
		fill[x.line]++
		for ; i > starts[x.line] && l.sorted[i-1] > x.key; i-- {
			l.sorted[i] = l.sorted[i-1]
		}
		l.sorted[i] = x.key
	}
	var height float64 // sum over columns
	var plate, part int
	for i, end := range ends {
		winding := 0
		floor := bottom
		onPart := false
		for _, k := range l.sorted[starts[i]:end] {
			if k&looksDown == 0 {
				if winding--; winding <= 0 {
					floor, onPart = k>>2, true
				}
				continue
			}
			if winding <= 0 && k&overhangs != 0 && k>>2 > floor {
				height += float64(k>>2 - floor)
				if onPart {
					part++
				} else {
					plate++
				}
			}
			winding++
		}
	}
	cell2 := cell * cell
	fix := 1.0
	if sampled > 0 {
		fix = math.Max(0.5, math.Min(2, plan/float64(sampled)))
	}
	out.SupportMM3 = height / scale * cell2 * fix
	out.PlateMM2, out.PartMM2 = float64(plate)*cell2*fix, float64(part)*cell2*fix
	return out
}

// surface is the area of all facets.
func surface(m *mesh.Mesh) float64 {
	var sum float64
	for f := range m.Facets() {
		sum += m.FacetArea(f)
	}
	return sum
}

// Landings is LandingOf for many build directions (unit vectors, up in the part's own coordinates).
func Landings(m *mesh.Mesh, up []r3.Vec, selfSupportDeg, cell float64) []Landing {
	out := make([]Landing, len(up))
	area := surface(m)
	cores.Each(len(up), 4, func(_, from, to int) {
		l := lines{area: area}
		for i := from; i < to; i++ {
			out[i] = l.landing(m, r3.Between(up[i], r3.Vec{Z: 1}), selfSupportDeg, cell)
		}
	})
	return out
}
