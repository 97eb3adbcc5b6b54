package pose

import (
	"math"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/geom/section"
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
	var l lines
	return l.landing(m, pose, selfSupportDeg, cell)
}

// lines is the scratch for one posed part: crossings of plumb lines with the surface.
type lines struct {
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

func (l *lines) place(pos []float64, low r3.Vec, inv, scale float64) {
	if n := len(pos) / 3; cap(l.at) < n {
		l.at = make([]placed, n)
	}
	l.at = l.at[:len(pos)/3]
	for i := range l.at {
		p := pos[3*i:][:3:3]
		x, y := (p[0]-low.X)*inv, (p[1]-low.Y)*inv
		l.at[i] = placed{x, y, (p[2] - low.Z) * scale, int32(y + 0.5), int32(x + 0.5)}
	}
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
	pos, box := section.Posed(m, pose)
	var out Landing
	size := box.Size()
	if box.Empty() || size.Z == 0 || !(cell > 0) {
		return out
	}
	const mostLines = 1 << 24
	for size.X/cell*size.Y/cell > mostLines {
		cell *= 2
	}
	nx, ny := int(size.X/cell)+1, int(size.Y/cell)+1
	limit := math.Cos(math.Min(90, selfSupportDeg) * math.Pi / 180)
	if selfSupportDeg >= 90 {
		limit = 0
	}
	const steps = 1 << 30
	l.place(pos, box.Min, 1/cell, (steps-1)/size.Z)
	scale := (steps - 1) / size.Z
	stretch := cell * scale // a cell's width in height steps: slopes are measured in true proportion
	l.crossings = l.crossings[:0]
	l.from = append(l.from[:0], make([]int32, nx*ny+1)...)
	var plan, sampled float64
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
		j0, j1 := min(a.row, b.row, c.row), min(max(a.row, b.row, c.row), int32(ny))
		gx, gy := nx3/nz, ny3/nz // fall of height by cell
		for j := j0; j < j1; j++ {
			y := float64(j) + 0.5
			x0, x1 := math.Inf(1), math.Inf(-1)
			if (a.row <= j) != (b.row <= j) {
				x := cross(a.x, a.y, b.x, b.y, y)
				x0, x1 = x, x
			}
			if (b.row <= j) != (c.row <= j) {
				x := cross(b.x, b.y, c.x, c.y, y)
				x0, x1 = min(x0, x), max(x1, x)
			}
			if (c.row <= j) != (a.row <= j) {
				x := cross(c.x, c.y, a.x, a.y, y)
				x0, x1 = min(x0, x), max(x1, x)
			}
			z := a.z - gy*(y-a.y)
			for i, end := int(x0+0.5), min(int(x1+0.5), nx); i < end; i++ {
				h := z - gx*(float64(i)+0.5-a.x)
				k := uint32(max(0, min(h, steps-1)))<<2 | flags
				line := uint32(int(j)*nx + i)
				l.crossings = append(l.crossings, lineCrossing{line, k})
				l.from[line+1]++
				if flags&overhangs != 0 {
					sampled++
				}
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
		var floor uint32
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
		fix = math.Max(0.5, math.Min(2, plan/sampled))
	}
	out.SupportMM3 = height / scale * cell2 * fix
	out.PlateMM2, out.PartMM2 = float64(plate)*cell2*fix, float64(part)*cell2*fix
	return out
}

// cross is where an edge meets the line y, from its lower end always.
func cross(ax, ay, bx, by, y float64) float64 {
	if ay > by {
		ax, ay, bx, by = bx, by, ax, ay
	}
	return ax + (y-ay)*((bx-ax)/(by-ay))
}
