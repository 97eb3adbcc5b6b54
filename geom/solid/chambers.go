package solid

import (
	"cmp"
	"math"
	"slices"

	"firstoff/geom/r3"
)

// Chamber is a hollow of the part that powder, resin or support material cannot leave through openings of a given size.
type Chamber struct {
	VolumeMM3 float64
	At        r3.Vec    // its widest place
	WidestMM  float64   // diameter of the largest ball that fits
	GateMM    float64   // diameter of the largest ball that gets out; 0 when sealed
	Sealed    bool      // no way out at all
	Openings  []Opening // where it meets the space that the gate can reach
}

// Opening is one way out of a chamber.
type Opening struct {
	At         r3.Vec
	DiameterMM float64 // of the largest ball that fits there
}

// mostChambers bounds the answer; parts with more hollows than this have a lattice, not chambers.
const mostChambers = 256

// Chambers finds the hollows of s that a ball of diameter gate (mm) cannot leave. With gate 0 only sealed ones. What a
// ball of that size does not fit into at all (creases, thin gaps open to the outside) is no chamber. Largest first.
//
// The void is narrowed by half the gate with the exact distance transform, flooded from outside, widened again; what the
// flood did not reach and where a ball would fit, or what no flood reaches, is a chamber.
func Chambers(s *Solid, gate float64) []Chamber {
	half := math.Max(0, gate/2)
	m, mz := int(math.Ceil((half+s.Cell)/s.Cell))+1, int(math.Ceil((half+s.Cell)/s.Layer))+1
	p := s.Padded(m, mz)
	void := p.Not()
	if half > 0 && plainlyOpen(p, void, half) {
		return nil
	}
	clear := Distances(void, false)
	// A passage's axis lies up to 0.7 cells from the nearest cell's centre, a wall up to half a cell before its first cell:
	// the two errors oppose each other. Gates are known to about a cell and a half, and rather too small than too large.
	reach := void.fromEdge()
	sealed := void.AndNot(reach)
	passable := reach
	if half > 0 {
		passable = clear.Over(half - 1e-6)
		inner := passable.fromEdge()
		reach = inner.Dilate(half).And(void)
		passable = passable.AndNot(inner)
	} else {
		passable = Empty(p.Grid)
	}
	left := void.AndNot(reach).Or(sealed)
	seeds := passable.And(left).Or(sealed)
	var out []Chamber
	for _, body := range left.Flooded(seeds).Pieces(mostChambers) {
		c := Chamber{VolumeMM3: body.Volume()}
		mm, at, _ := clear.Most(body)
		c.WidestMM = 2 * mm
		c.At = p.Center(at[0], at[1], at[2])
		c.Sealed = body.And(sealed).Count() > 0
		if !c.Sealed {
			c.GateMM = gateOf(clear, at, gate)
			c.Openings = openings(body, reach, clear)
		}
		out = append(out, c)
	}
	slices.SortStableFunc(out, func(a, b Chamber) int { return cmp.Compare(b.VolumeMM3, a.VolumeMM3) })
	return out
}

// plainlyOpen says that no chamber can be there, by morphology alone, which is quicker than distances: nothing is sealed, and all that a ball of
// radius half fits into lies next to what one of a cell more reaches from outside. Where it says no, a closer look is needed.
func plainlyOpen(p, void *Solid, half float64) bool {
	if void.AndNot(void.fromEdge()).Count() > 0 {
		return false
	}
	wide := void.AndNot(p.Dilate(half + p.Cell)).fromEdge()
	fits := void.AndNot(p.Dilate(math.Max(half-p.Cell, 0)))
	return fits.AndNot(wide.Dilate(3*p.Cell)).Count() == 0
}

// gateOf finds the largest ball that gets from a cell to the outside, by halving.
func gateOf(clear *Field, from [3]int, most float64) float64 {
	low, high := 0.0, most
	for range 12 {
		mid := (low + high) / 2
		way := clear.Over(mid/2 - 1e-6)
		if !way.Has(from[0], from[1], from[2]) {
			high = mid
			continue
		}
		seed := Empty(way.Grid)
		seed.Set(from[0], from[1], from[2])
		if touchesEdge(way.Flooded(seed)) {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

func touchesEdge(s *Solid) bool {
	for k := range s.NZ {
		for j := range s.NY {
			row := s.Row(j, k)
			if row[0]&1 != 0 || row[len(row)-1]>>((s.NX-1)&63)&1 != 0 {
				return true
			}
			if j == 0 || k == 0 || j == s.NY-1 || k == s.NZ-1 {
				for _, x := range row {
					if x != 0 {
						return true
					}
				}
			}
		}
	}
	return false
}

// openings are the separate places where a chamber meets what the outside reaches.
func openings(body, reach *Solid, clear *Field) []Opening {
	meet := body.touching(reach)
	var out []Opening
	for _, o := range meet.grownTogether().Pieces(64) {
		o = o.And(meet)
		mm, at, ok := clear.Most(o)
		if ok {
			out = append(out, Opening{At: body.Center(at[0], at[1], at[2]), DiameterMM: 2 * mm})
		}
	}
	return out
}

// touching is the cells of s with a face to a cell of t.
func (s *Solid) touching(t *Solid) *Solid {
	near := Empty(t.Grid)
	last := t.lastMask()
	for k := range t.NZ {
		for j := range t.NY {
			d := near.Row(j, k)
			row := append([]uint64(nil), t.Row(j, k)...)
			widen(row, last, true)
			copy(d, row)
			for _, q := range [4][2]int{{j - 1, k}, {j + 1, k}, {j, k - 1}, {j, k + 1}} {
				if q[0] < 0 || q[1] < 0 || q[0] >= t.NY || q[1] >= t.NZ {
					continue
				}
				for i, x := range t.Row(q[0], q[1]) {
					d[i] |= x
				}
			}
		}
	}
	return near.And(s)
}

// grownTogether joins cells that touch over edges and corners, for a surface of cells is not joined by faces.
func (s *Solid) grownTogether() *Solid {
	d := s.ball(math.Sqrt(2*s.Cell*s.Cell+s.Layer*s.Layer), true)
	return d
}
