package solid

import (
	"math"
	"sync/atomic"

	"firstoff/fault"
	"firstoff/geom/cores"
)

// overhang is where a part cannot carry itself: down-facing facets that lie flatter than the self-support angle,
// sampled at the cells' centre lines.
type overhang struct {
	seeds     []seed
	area      float64 // of those facets, mm², exact
	projected float64 // their plan area, mm², exact; without those that lie on the plate
}

// seed is one column's cell under an overhanging facet.
type seed struct {
	at int32   // row*NX + column
	z  float32 // of the facet at the column's middle, mm above the grid's origin
}

const seedGrain = 1 << 15

// mostSeeds bounds the samples (8 bytes each): a solid's overhangs rarely have more than twice its plan's cells, a heap of
// crossing sheets may have any number.
const mostSeeds = 1 << 27

// overhangs finds the facets of a posed part whose slope from the horizontal is under selfSupportDeg.
func overhangs(pos []float64, tri []uint32, g *Grid, selfSupportDeg float64) (*overhang, error) {
	limit := math.Cos(selfSupportDeg * math.Pi / 180)
	if selfSupportDeg >= 90 {
		limit = 0
	}
	nf := len(tri) / 3
	parts := make([]overhang, cores.Pieces(nf, seedGrain))
	inv := 1 / g.Cell
	var all atomic.Int64
	cores.Each(nf, seedGrain, func(piece, from, to int) {
		o := &parts[piece]
		told := 0
		for f := from; f < to; f++ {
			t := tri[3*f : 3*f+3 : 3*f+3]
			a, b, c := pos[3*t[0]:][:3:3], pos[3*t[1]:][:3:3], pos[3*t[2]:][:3:3]
			ux, uy, uz := b[0]-a[0], b[1]-a[1], b[2]-a[2]
			vx, vy, vz := c[0]-a[0], c[1]-a[1], c[2]-a[2]
			nz := ux*vy - uy*vx
			if nz >= 0 {
				continue
			}
			nx, ny := uy*vz-uz*vy, uz*vx-ux*vz
			n := math.Sqrt(nx*nx + ny*ny + nz*nz)
			if -nz <= limit*n {
				continue
			}
			o.area += n / 2
			if max(a[2], b[2], c[2]) <= g.Origin.Z {
				continue // lies on the plate
			}
			o.projected -= nz / 2
			o.sample(g, inv, a, b, c, nx/nz, ny/nz)
			if n := len(o.seeds); n > told+1<<16 {
				if all.Add(int64(n-told)) > mostSeeds {
					return
				}
				told = n
			}
		}
	})
	if all.Load() > mostSeeds {
		return nil, fault.New(fault.TooLarge, "too_many_overhangs", "", "the overhanging facets lie over one another so often that more than %d columns of %.4g mm would be needed; use larger cells or mend the part", mostSeeds, g.Cell)
	}
	sum := &overhang{}
	n := 0
	for i := range parts {
		n += len(parts[i].seeds)
	}
	sum.seeds = make([]seed, 0, n)
	for i := range parts {
		sum.area += parts[i].area
		sum.projected += parts[i].projected
		sum.seeds = append(sum.seeds, parts[i].seeds...)
	}
	return sum, nil
}

// sample notes the cells whose middle lies under a facet, half-open so that neighbours share none and miss none.
// gx, gy: normal over its z component, so that the facet's height falls by gx along x.
func (o *overhang) sample(g *Grid, inv float64, a, b, c []float64, gx, gy float64) {
	ox, oy := g.Origin.X, g.Origin.Y
	ay, by, cy := (a[1]-oy)*inv, (b[1]-oy)*inv, (c[1]-oy)*inv
	lo, hi := clamp(int(min(ay, by, cy)+0.5), g.NY), clamp(int(max(ay, by, cy)+0.5), g.NY)
	if lo == hi {
		return
	}
	ax, bx, cx := (a[0]-ox)*inv, (b[0]-ox)*inv, (c[0]-ox)*inv
	if clamp(int(min(ax, bx, cx)+0.5), g.NX) == clamp(int(max(ax, bx, cx)+0.5), g.NX) {
		return
	}
	z0 := a[2] - g.Origin.Z
	for j := lo; j < hi; j++ {
		y := float64(j) + 0.5
		x0, x1 := math.Inf(1), math.Inf(-1)
		for _, e := range [3][4]float64{{ax, ay, bx, by}, {bx, by, cx, cy}, {cx, cy, ax, ay}} {
			if (e[1] <= y) == (e[3] <= y) {
				continue
			}
			// from the lower end always: both facets of an edge get the same bits
			if e[1] > e[3] {
				e = [4]float64{e[2], e[3], e[0], e[1]}
			}
			x := e[0] + (y-e[1])*((e[2]-e[0])/(e[3]-e[1]))
			x0, x1 = min(x0, x), max(x1, x)
		}
		if x0 > x1 {
			continue
		}
		for i, end := clamp(int(x0+0.5), g.NX), clamp(int(x1+0.5), g.NX); i < end; i++ {
			z := z0 - gx*(float64(i)+0.5-ax)*g.Cell - gy*(y-ay)*g.Cell
			o.seeds = append(o.seeds, seed{int32(j*g.NX + i), float32(z)})
		}
	}
}

// byLayer sorts seeds by the highest layer plane below them; those below the first plane stand on the plate.
func (o *overhang) byLayer(layers int, h float64) (off []int32, at []int32) {
	off = make([]int32, layers+1)
	key := make([]int32, len(o.seeds))
	inv := 1 / h
	for i, s := range o.seeds {
		k := min(int(float64(s.z)*inv+0.5), layers) - 1
		key[i] = int32(k)
		if k >= 0 {
			off[k]++
		}
	}
	var sum int32
	for i, n := range off {
		off[i] = sum
		sum += n
	}
	at = make([]int32, sum)
	fill := append([]int32(nil), off...)
	for i, k := range key {
		if k >= 0 {
			at[fill[k]] = o.seeds[i].at
			fill[k]++
		}
	}
	return off, at
}
