package solid

import (
	"firstoff/geom/section"
)

// filler turns the contours of a layer into bits: contour pieces are noted where they cross the middle line of a row,
// sorted along the row, and the cells between are filled where the winding number is above zero. Scratch of one
// goroutine.
type filler struct {
	head  []int32 // per row: its first crossing+1
	cross []crossing
	row   []uint32
}

type crossing struct {
	key  uint32 // column<<1, plus 1 where the winding rises to the right
	next int32
}

// filled says what a filled layer came to.
type filled struct {
	low, high int  // rows that have cells: low <= j < high
	overlap   bool // somewhere the winding number is neither 0 nor 1
}

// fill sets the cells of a layer in plane, which must be zero.
func (f *filler) fill(c *section.Contours, g *Grid, plane []uint64) filled {
	if len(f.head) < g.NY {
		f.head = make([]int32, g.NY)
	}
	head := f.head[:g.NY]
	cross := f.cross[:0]
	inv := 1 / g.Cell
	ox, oy := g.Origin.X, g.Origin.Y
	low, high := g.NY, 0
	from := int32(0)
	for _, end := range c.End {
		p := c.Points[from:end]
		from = end
		if len(p) == 0 {
			continue
		}
		q := p[len(p)-1]
		x0, y0 := (q.X-ox)*inv, (q.Y-oy)*inv
		r0 := clamp(int(y0+0.5), g.NY)
		for _, q := range p {
			x1, y1 := (q.X-ox)*inv, (q.Y-oy)*inv
			r1 := clamp(int(y1+0.5), g.NY)
			if r0 != r1 {
				slope := (x1 - x0) / (y1 - y0)
				a, b, rises := r0, r1, uint32(0)
				if r1 < r0 {
					a, b, rises = r1, r0, 1
				}
				low, high = min(low, a), max(high, b)
				for j := a; j < b; j++ {
					x := x0 + (float64(j)+0.5-y0)*slope
					k := clamp(int(x+0.5), g.NX)
					cross = append(cross, crossing{uint32(k)<<1 | rises, head[j]})
					head[j] = int32(len(cross))
				}
			}
			x0, y0, r0 = x1, y1, r1
		}
	}
	f.cross = cross
	out := filled{low: low, high: high}
	for j := low; j < high; j++ {
		at := head[j]
		if at == 0 {
			continue
		}
		head[j] = 0
		row := f.row[:0]
		for at != 0 {
			x := &cross[at-1]
			at = x.next
			row = append(row, x.key)
			i := len(row) - 1
			for ; i > 0 && row[i-1] > x.key; i-- {
				row[i] = row[i-1]
			}
			row[i] = x.key
		}
		f.row = row
		words := plane[j*g.Stride : (j+1)*g.Stride]
		winding, start := 0, 0
		for _, key := range row {
			k := int(key >> 1)
			if k > start {
				if winding > 0 {
					span(words, start, k)
				}
				if winding&^1 != 0 {
					out.overlap = true
				}
			}
			start = k
			winding += int(key&1)*2 - 1
		}
	}
	if low > high {
		out.low, out.high = 0, 0
	}
	return out
}

func clamp(i, n int) int { return max(0, min(i, n)) }

// span sets bits a..b-1 of a row.
func span(w []uint64, a, b int) {
	i, j := a>>6, (b-1)>>6
	first, last := ^uint64(0)<<(a&63), ^uint64(0)>>(63-(b-1)&63)
	if i == j {
		w[i] |= first & last
		return
	}
	w[i] |= first
	for i++; i < j; i++ {
		w[i] = ^uint64(0)
	}
	w[j] |= last
}
