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
	crossings []lineCrossing
	from      []int32
	sorted    []uint32
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
	inv := 1 / cell
	const steps = 1 << 30
	scale := (steps - 1) / size.Z
	l.crossings = l.crossings[:0]
	l.from = append(l.from[:0], make([]int32, nx*ny+1)...)
	var plan, sampled float64
	for t := m.Tri; len(t) >= 3; t = t[3:] {
		a, b, c := pos[3*t[0]:][:3:3], pos[3*t[1]:][:3:3], pos[3*t[2]:][:3:3]
		ax, ay := (a[0]-box.Min.X)*inv, (a[1]-box.Min.Y)*inv
		bx, by := (b[0]-box.Min.X)*inv, (b[1]-box.Min.Y)*inv
		cx, cy := (c[0]-box.Min.X)*inv, (c[1]-box.Min.Y)*inv
		nz := (bx-ax)*(cy-ay) - (by-ay)*(cx-ax) // in cells
		if nz == 0 {
			continue
		}
		uz, vz := (b[2]-a[2])*inv, (c[2]-a[2])*inv
		nx3, ny3 := (by-ay)*vz-uz*(cy-ay), uz*(cx-ax)-(bx-ax)*vz
		flags := uint32(0)
		if nz < 0 {
			flags = looksDown
			if n := math.Sqrt(nx3*nx3 + ny3*ny3 + nz*nz); -nz > limit*n {
				flags |= overhangs
				plan -= nz / 2
			}
		}
		j0, j1 := int(min(ay, by, cy)+0.5), min(int(max(ay, by, cy)+0.5), ny)
		if j0 == j1 || int(min(ax, bx, cx)+0.5) == int(max(ax, bx, cx)+0.5) {
			continue
		}
		gx, gy := nx3/nz*cell, ny3/nz*cell // fall of height by cell
		for j := j0; j < j1; j++ {
			y := float64(j) + 0.5
			x0, x1 := math.Inf(1), math.Inf(-1)
			if (ay <= y) != (by <= y) {
				x := cross(ax, ay, bx, by, y)
				x0, x1 = min(x0, x), max(x1, x)
			}
			if (by <= y) != (cy <= y) {
				x := cross(bx, by, cx, cy, y)
				x0, x1 = min(x0, x), max(x1, x)
			}
			if (cy <= y) != (ay <= y) {
				x := cross(cx, cy, ax, ay, y)
				x0, x1 = min(x0, x), max(x1, x)
			}
			if x0 > x1 {
				continue
			}
			z := a[2] - box.Min.Z - gy*(y-ay)
			for i, end := int(x0+0.5), min(int(x1+0.5), nx); i < end; i++ {
				h := (z - gx*(float64(i)+0.5-ax)) * scale
				k := uint32(max(0, min(h, steps-1)))<<2 | flags
				line := uint32(j*nx + i)
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
