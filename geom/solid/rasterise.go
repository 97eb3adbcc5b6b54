package solid

import (
	"math"
	"sync"

	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/geom/section"
)

var fillers = sync.Pool{New: func() any { return new(filler) }}

// Rasterise fills a posed mesh into cells of width cell and height layer (mm), with a margin of empty cells around it
// along x and y. It refuses sizes that are not positive and grids of more than MaxCells.
func Rasterise(m *mesh.Mesh, pose r3.Quat, cell, layer float64, margin int) (*Solid, error) {
	st, err := Stream(m, pose, cell, layer, margin)
	if err != nil {
		return nil, err
	}
	if err := st.Grid.check(); err != nil {
		return nil, err
	}
	s := Empty(st.Grid)
	st.Fill(0, s.NZ, s.Bits)
	return s, nil
}

// Streamer makes the planes of a part when asked, so that parts too large to hold can be worked through in slabs.
type Streamer struct {
	Grid
	Slicer *section.Slicer
}

// Stream prepares a posed mesh for filling slab by slab.
func Stream(m *mesh.Mesh, pose r3.Quat, cell, layer float64, margin int) (*Streamer, error) {
	if !(cell > 0) || math.IsInf(cell, 0) || margin < 0 {
		return nil, fault.New(fault.Invalid, "cell_size", "", "the cell width is %g mm; it must be more than zero", cell)
	}
	s, err := section.New(m, pose, layer)
	if err != nil {
		return nil, err
	}
	g := gridFor(s.Box, cell, layer, s.Layers(), margin)
	flat := g
	flat.NZ = 1
	if err := flat.check(); err != nil {
		return nil, err
	}
	return &Streamer{g, s}, nil
}

// Fill sets the cells of layers from..to-1 in bits, which holds those planes one after another and must be zero.
func (st *Streamer) Fill(from, to int, bits []uint64) {
	n := st.PlaneWords()
	st.Slicer.EachOf(from, to, func(i int, c *section.Contours) {
		f := fillers.Get().(*filler)
		f.fill(c, &st.Grid, bits[(i-from)*n:(i-from+1)*n])
		fillers.Put(f)
	})
}

// Measured fills all layers and gives what their raw contours come to as well. The grid must be one that Rasterise
// would accept.
func (st *Streamer) Measured() (*Solid, []section.Layer) {
	s := Empty(st.Grid)
	layers := make([]section.Layer, st.NZ)
	st.Slicer.Each(func(i int, c *section.Contours) {
		f := fillers.Get().(*filler)
		f.fill(c, &st.Grid, s.Plane(i))
		fillers.Put(f)
		layers[i] = c.Measure()
	})
	return s, layers
}
