// Package hollow makes a part hollow: everything that lies deeper under its surface than a wall is taken out.
//
// The room is where the distance to the surface is more than the wall: distances are exact near its border (geom/bvh) and coarse elsewhere
// (geom/solid), and the border is drawn through them to a fraction of a cell. The outer surface is the part's own, untouched.
//
// Units: mm, mm³. Promises: what is kept of a cube, a ball and a plate is as their closed forms say within 0.5 % (TestClosedForms); the result is
// closed when the part is, and no wall is thinner than asked by more than a tenth of a cell on flat ground (TestWalls).
// Not here: holes to empty it, which the client must agree to; they are counted by printability and drilled at file work.
package hollow

import (
	"math"

	"firstoff/fault"
	"firstoff/geom/bvh"
	"firstoff/geom/cores"
	"firstoff/geom/level"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/geom/solid"
)

// Part is a hollow part.
type Part struct {
	Mesh    *mesh.Mesh // the part's surface and the rooms', the latter looking inwards
	RoomMM3 float64    // taken out
	Rooms   int
	CellMM  float64
}

// Cells along the longer side at most, and cells to a wall at least where that leaves them.
const (
	mostCells = 120
	toWall    = 3.0
)

// least is the smallest room worth its holes, mm³.
const least = 500

// Out takes everything out that lies deeper than wall. Faults: Invalid "hollow_wall"; Unsupported "hollow_nothing" when nothing worth a hole lies that deep.
func Out(m *mesh.Mesh, wall float64) (*Part, error) {
	box := m.Box()
	size := box.Size()
	longest := max(size.X, size.Y, size.Z)
	if !(wall > 0) || wall > longest {
		return nil, fault.New(fault.Invalid, "hollow_wall", "wall", "A wall of %g mm makes no hollow part; give a thickness in mm below the part's size.", wall)
	}
	nothing := fault.New(fault.Unsupported, "hollow_nothing", "wall", "Nothing worth a drain hole lies deeper than %g mm under the surface; it stays solid.", wall)
	if min(size.X, size.Y, size.Z) <= 2*wall {
		return nil, nothing
	}
	h := max(wall/toWall, longest/mostCells)
	s, err := solid.Rasterise(m, r3.Identity, h, h, 1)
	if err != nil {
		return nil, err
	}
	d := solid.Distances(s, true)
	// Nodes are the cells' centres, with one layer of air around.
	n := [3]int{s.NX + 1, s.NY + 1, s.NZ + 1}
	at := func(i, j, k int) float64 { // of node (i, j, k), the bit solid's distance to the outside; 0 outside
		i, j, k = i-1, j-1, k-1
		if i < 0 || j < 0 || k < 0 || i >= s.NX || j >= s.NY || k >= s.NZ || !s.Has(i, j, k) {
			return 0
		}
		return d.At(i, j, k)
	}
	w := [3]int{n[0] + 1, n[1] + 1, n[2] + 1}
	field := make([]float64, w[0]*w[1]*w[2])
	tree := bvh.Build(m)
	cores.Each(w[0], 1, func(i, _, _ int) {
		for j := range w[1] {
			for k := range w[2] {
				x := at(i, j, k)
				v := x - wall
				if x > 0 && math.Abs(v) < 3*h { // here it counts
					p := s.Center(i-1, j-1, k-1)
					if q, ok := tree.Nearest(p, wall+5*h); ok {
						v = q.Dist - wall
					}
				}
				if x == 0 {
					v = -wall
				}
				field[(i*w[1]+j)*w[2]+k] = v
			}
		}
	})
	origin := s.Center(0, 0, 0).Sub(r3.Vec{X: h, Y: h, Z: h})
	room := level.Surface(n, h, origin, func(i, j, k int) float64 { return field[(i*w[1]+j)*w[2]+k] })
	if room.Facets() == 0 {
		return nil, nothing
	}
	out := &Part{CellMM: h}
	var keep []uint32
	count, of := room.Components()
	by := make([][]uint32, count)
	for f := range room.Facets() {
		by[of[f]] = append(by[of[f]], uint32(f))
	}
	for _, list := range by {
		if v := math.Abs(room.Pick(list).Measure().VolumeMM3); v >= least {
			out.RoomMM3 += v
			out.Rooms++
			keep = append(keep, list...)
		}
	}
	if out.Rooms == 0 {
		return nil, nothing
	}
	room = room.Pick(keep)
	out.Mesh = m.Clone()
	base := uint32(m.Vertices())
	out.Mesh.Pos = append(out.Mesh.Pos, room.Pos...)
	for f := range room.Facets() {
		out.Mesh.Tri = append(out.Mesh.Tri, base+room.Tri[3*f], base+room.Tri[3*f+2], base+room.Tri[3*f+1])
	}
	return out, nil
}
