package estimate

import (
	"math/bits"
	"sync"

	"firstoff/geom/solid"
)

// Supports are laid as rows of bits: what their raster lines come to is found at a sample of layers, as for the part itself.

// sampleProps is at how many layers supports are looked at.
const sampleProps = 14

// props are the supports of a sample of layers of one stack.
type props struct {
	cell   float64
	layers int
	mu     sync.Mutex
	at     []propLayer
	foot   [2][][]run // part and support of the first layer, along x and along y: what the base lies under
	done   map[propKey][2]*sampled
}

type propKey struct {
	width, pct float64
	pace       pace
}

// propLayer is one layer's supports as runs of cells: along x in even layers, along y in odd ones. Rows are counted across.
type propLayer struct {
	layer        int
	dense, inner [][]run
}

type run struct{ from, to int16 }

// shown picks the layers to look at: evenly, even and odd ones in turn.
func shown(k, layers int) bool { return k%(max(1, layers/sampleProps)|1) == 0 }

// look keeps a layer's supports.
func (p *props) look(k int, part, support, iface []uint64, g *solid.Grid) {
	if k == 0 {
		foot := make([]uint64, len(part))
		for i, x := range part {
			foot[i] = x | support[i]
		}
		f := [2][][]run{runs(foot, g, false), runs(foot, g, true)}
		p.mu.Lock()
		p.cell, p.foot = g.Cell, f
		p.mu.Unlock()
	}
	inner := make([]uint64, len(support))
	for i, x := range support {
		inner[i] = x &^ iface[i]
	}
	l := propLayer{layer: k, dense: runs(iface, g, k&1 == 1), inner: runs(inner, g, k&1 == 1)}
	p.mu.Lock()
	p.cell = g.Cell
	p.at = append(p.at, l)
	p.mu.Unlock()
}

// runs are the runs of set cells of each row, or of each column.
func runs(plane []uint64, g *solid.Grid, columns bool) [][]run {
	if !columns {
		out := make([][]run, g.NY)
		for j := range out {
			row := plane[j*g.Stride : (j+1)*g.Stride]
			var carry uint64
			from := -1
			for i, x := range row {
				for d := x ^ (x<<1 | carry); d != 0; d &= d - 1 {
					at := i*64 + bits.TrailingZeros64(d)
					if from < 0 {
						from = at
					} else {
						out[j] = append(out[j], run{int16(from), int16(at)})
						from = -1
					}
				}
				carry = x >> 63
			}
			if from >= 0 {
				out[j] = append(out[j], run{int16(from), int16(g.NX)})
			}
		}
		return out
	}
	out := make([][]run, g.NX)
	from := make([]int16, g.Stride*64)
	zero := make([]uint64, g.Stride)
	last := zero
	for j := 0; j <= g.NY; j++ {
		row := zero
		if j < g.NY {
			row = plane[j*g.Stride : (j+1)*g.Stride]
		}
		for i, x := range row {
			for d := x ^ last[i]; d != 0; d &= d - 1 {
				b := bits.TrailingZeros64(d)
				c := i*64 + b
				if x>>b&1 == 1 {
					from[c] = int16(j)
				} else {
					out[c] = append(out[c], run{from[c], int16(j)})
				}
			}
		}
		last = row
	}
	return out
}

// ways drives over the supports of the sampled layers: the dense ones and the sparse ones.
func (p *props) ways(e Extrusion) (dense, inner *sampled) {
	k := propKey{e.WidthMM, e.M.SupportPct, pace{e.VSupport, e.M.TravelMMS, e.Accel}}
	p.mu.Lock()
	defer p.mu.Unlock()
	if w, ok := p.done[k]; ok {
		return w[0], w[1]
	}
	r := rasters.Get().(*raster)
	defer rasters.Put(r)
	out := [2]*sampled{{span: float64(p.layers)}, {span: float64(p.layers)}}
	for i := range p.at {
		l := &p.at[i]
		for n, rows := range [2][][]run{l.dense, l.inner} {
			pitch := e.WidthMM
			if n == 1 {
				pitch = e.WidthMM / max(1e-6, e.M.SupportPct/100)
			}
			if w := p.drive(r, rows, pitch, k.pace); w.lengthMM > 0 {
				dir := 2 * (l.layer & 1)
				out[n].z[dir] = append(out[n].z[dir], float64(l.layer))
				out[n].ways[dir] = append(out[n].ways[dir], w)
			}
		}
	}
	if p.done == nil {
		p.done = map[propKey][2]*sampled{}
	}
	p.done[k] = out
	return out[0], out[1]
}

// base is one layer of the base along x and one along y, laid solid.
func (p *props) base(e Extrusion) (along [2]way) {
	r := rasters.Get().(*raster)
	defer rasters.Put(r)
	p.mu.Lock()
	defer p.mu.Unlock()
	for i, rows := range p.foot {
		along[i] = p.drive(r, rows, e.WidthMM, pace{e.VSupport, e.M.TravelMMS, e.Accel})
	}
	return along
}

// drive lays every line of a pitch over rows of cells; lengths are scaled to the cells' whole area.
func (p *props) drive(r *raster, rows [][]run, pitch float64, at pace) way {
	cells := 0
	for _, row := range rows {
		for _, x := range row {
			cells += int(x.to - x.from)
		}
	}
	if cells == 0 {
		return way{}
	}
	n := int(float64(len(rows))*p.cell/pitch + 1)
	for len(r.rows[0]) < n {
		r.rows[0] = append(r.rows[0], nil)
	}
	lines := r.rows[0][:n]
	laid := 0.0
	for j := range lines {
		s := lines[j][:0]
		if k := int((float64(j) + 0.5) * pitch / p.cell); k < len(rows) {
			for _, x := range rows[k] {
				s = append(s, stretch{float64(x.from) * p.cell, float64(x.to) * p.cell})
				laid += float64(x.to-x.from) * p.cell
			}
		}
		lines[j] = s
	}
	if laid == 0 {
		return way{}
	}
	w := r.drive(lines, 0, pitch, at, 0, 0)
	// lines that happened to be hit stand for the whole area
	f := float64(cells) * p.cell * p.cell / pitch / laid
	w.sec = 0
	for i := range r.roads {
		w.sec += RestS((r.roads[i].b-r.roads[i].a)*f, at.lay, at.accel)
	}
	w.lengthMM *= f
	return w
}
