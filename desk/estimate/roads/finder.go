package roads

import "math"

// finder answers which road not yet laid begins (or ends) nearest to a point: a grid that empties.
type finder struct {
	roads  []road
	lo     pt
	cell   float64
	nx, ny int
	at     [][]int32 // 2·road + (0 start, 1 end)
	gone   []bool
}

func newFinder(r []road) *finder {
	f := &finder{roads: r, gone: make([]bool, len(r))}
	lo, hi := r[0].a, r[0].a
	for _, x := range r {
		for _, p := range []pt{x.a, x.b} {
			lo, hi = pt{math.Min(lo.x, p.x), math.Min(lo.y, p.y)}, pt{math.Max(hi.x, p.x), math.Max(hi.y, p.y)}
		}
	}
	f.lo = lo
	f.cell = math.Max(1e-3, math.Max((hi.x-lo.x), (hi.y-lo.y))/math.Max(1, math.Sqrt(float64(len(r)))))
	f.nx, f.ny = int((hi.x-lo.x)/f.cell)+1, int((hi.y-lo.y)/f.cell)+1
	f.at = make([][]int32, f.nx*f.ny)
	for i, x := range r {
		k := f.key(x.a)
		f.at[k] = append(f.at[k], int32(2*i))
		if !x.loop {
			k = f.key(x.b)
			f.at[k] = append(f.at[k], int32(2*i+1))
		}
	}
	return f
}

func (f *finder) key(p pt) int {
	return clampi(int((p.y-f.lo.y)/f.cell), f.ny)*f.nx + clampi(int((p.x-f.lo.x)/f.cell), f.nx)
}

// nearest gives the road and whether it is to be laid backwards. Ties go to the lower number.
func (f *finder) nearest(p pt) (int, bool) {
	cx, cy := clampi(int((p.x-f.lo.x)/f.cell), f.nx), clampi(int((p.y-f.lo.y)/f.cell), f.ny)
	best, at := math.Inf(1), int32(-1)
	for ring := 0; ring <= max(f.nx, f.ny); ring++ {
		if at >= 0 && float64(ring-1)*f.cell > math.Sqrt(best) {
			break
		}
		for y := cy - ring; y <= cy+ring; y++ {
			if y < 0 || y >= f.ny {
				continue
			}
			step := 2 * ring
			if y == cy-ring || y == cy+ring || ring == 0 {
				step = 1
			}
			for x := cx - ring; x <= cx+ring; x += step {
				if x < 0 || x >= f.nx {
					continue
				}
				list := f.at[y*f.nx+x]
				w := 0
				for _, k := range list {
					if f.gone[k/2] {
						continue
					}
					list[w] = k
					w++
					q := f.roads[k/2].a
					if k&1 == 1 {
						q = f.roads[k/2].b
					}
					d := q.sub(p)
					if s := d.dot(d); s < best || s == best && k < at {
						best, at = s, k
					}
				}
				f.at[y*f.nx+x] = list[:w]
			}
		}
	}
	return int(at / 2), at&1 == 1
}

func (f *finder) remove(i int) {
	f.gone[i] = true
}

// beside finds the road not yet laid on a neighbouring raster line that overlaps the given one, or nearly (two pitches), nearest to p; −1
// if there is none: the head does not lift for such a step.
func (f *finder) beside(of int, p pt) (int, bool) {
	r := f.roads[of]
	lo, hi, along := r.a.x, r.b.x, true
	if r.a.x == r.b.x && r.a.y != r.b.y {
		lo, hi, along = r.a.y, r.b.y, false
	}
	best, at, flip := math.Inf(1), -1, false
	try := func(i int) {
		if f.gone[i] {
			return
		}
		q := f.roads[i]
		a, b := q.a.x, q.b.x
		if !along {
			a, b = q.a.y, q.b.y
		}
		slack := 2 * math.Abs(q.a.y-r.a.y)
		if !along {
			slack = 2 * math.Abs(q.a.x-r.a.x)
		}
		if b < lo-slack || a > hi+slack {
			return
		}
		if d := q.a.dist(p); d < best {
			best, at, flip = d, i, false
		}
		if d := q.b.dist(p); d < best {
			best, at, flip = d, i, true
		}
	}
	for i := of + 1; i < len(f.roads) && f.roads[i].line <= r.line+1; i++ {
		if f.roads[i].line == r.line+1 {
			try(i)
		}
	}
	for i := of - 1; i >= 0 && f.roads[i].line >= r.line-1; i-- {
		if f.roads[i].line == r.line-1 {
			try(i)
		}
	}
	return at, flip
}
