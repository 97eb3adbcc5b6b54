package estimate

import (
	"math"
	"sort"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/geom/section"
)

// Profile is what a posed part's outlines are like over its height, from contours cut at an even sample of heights. It does not depend on
// the layer height, so one serves all stacks of a pose.
type Profile struct {
	z     []float64 // above the part's lowest point, ascending
	marks []mark
}

// mark is one cut.
type mark struct {
	chains [4]float64  // raster chains in each direction: half the turning points of the outlines across the lines
	turn   float64     // Layer.TurnMM
	corner [13]float64 // Layer.Corners
	loops  float64
	spread float64 // Layer.SpreadMM
}

// sampleCuts is how many heights a profile is taken at.
const sampleCuts = 64

// reversal is how far an outline must swing back to count as turned, mm: under half a road nothing is gained by a new chain.
const reversal = 0.3

// ProfileOf cuts a posed part at sampleCuts heights.
func ProfileOf(m *mesh.Mesh, pose r3.Quat) (*Profile, error) {
	up := pose.Inverse().Rotate(r3.Vec{Z: 1})
	lo, hi := math.Inf(1), math.Inf(-1)
	for v := 0; v < m.Vertices(); v++ {
		d := m.Vertex(uint32(v)).Dot(up)
		lo, hi = math.Min(lo, d), math.Max(hi, d)
	}
	if !(hi > lo) {
		return &Profile{}, nil
	}
	s, err := section.New(m, pose, (hi-lo)/sampleCuts)
	if err != nil {
		return nil, err
	}
	p := &Profile{z: make([]float64, s.Layers()), marks: make([]mark, s.Layers())}
	s.Each(func(i int, c *section.Contours) {
		p.z[i] = s.Z(i) - s.Box.Min.Z
		p.marks[i] = markOf(c)
	})
	return p, nil
}

// axes across raster lines at 0, 45, 90 and 135°.
var axes = [4][2]float64{{0, 1}, {-math.Sqrt2 / 2, math.Sqrt2 / 2}, {1, 0}, {math.Sqrt2 / 2, math.Sqrt2 / 2}}

func markOf(c *section.Contours) mark {
	var k mark
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, p := range c.Points {
		lo[0], lo[1] = math.Min(lo[0], p.X), math.Min(lo[1], p.Y)
		hi[0], hi[1] = math.Max(hi[0], p.X), math.Max(hi[1], p.Y)
	}
	if len(c.Points) > 0 {
		k.spread = math.Sqrt((hi[0] - lo[0]) * (hi[1] - lo[1]))
	}
	for i := 0; i < c.Len(); i++ {
		p := c.Contour(i)
		if len(p) < 3 {
			continue
		}
		k.loops++
		for d, a := range axes {
			k.chains[d] += float64(reversals(p, a)) / 2
		}
		k.turning(p)
	}
	return k
}

// reversals counts how often a closed outline turns back across an axis by more than reversal.
func reversals(p []section.Point, a [2]float64) int {
	s := func(i int) float64 { return p[i].X*a[0] + p[i].Y*a[1] }
	// begin at the lowest point, where the way certainly turns
	at := 0
	for i := range p {
		if s(i) < s(at) {
			at = i
		}
	}
	n, up := 0, true
	best := s(at)
	for i := 1; i <= len(p); i++ {
		v := s((at + i) % len(p))
		if up && v > best || !up && v < best {
			best = v
		} else if up && v < best-reversal || !up && v > best+reversal {
			up = !up
			best = v
			n++
		}
	}
	if n&1 == 1 { // and back at the lowest point
		n++
	}
	return n
}

// shortPiece is the length under which a piece of outline is facet noise when corners are counted, mm.
const shortPiece = 0.02

// turning adds an outline's corners: the sum of 2·tan(turn/2), left turns positive, and their number by angle.
func (k *mark) turning(p []section.Point) {
	n := len(p)
	var dx, dy float64
	for i := 1; i < n; i++ { // last direction before the first point
		dx, dy = p[0].X-p[n-i].X, p[0].Y-p[n-i].Y
		if dx*dx+dy*dy > shortPiece*shortPiece {
			break
		}
	}
	from := p[0]
	for i := range p {
		q := p[(i+1)%n]
		ex, ey := q.X-from.X, q.Y-from.Y
		if ex*ex+ey*ey < shortPiece*shortPiece {
			continue
		}
		a := math.Atan2(dx*ey-dy*ex, dx*ex+dy*ey)
		k.turn += 2 * math.Tan(math.Max(-2.4, math.Min(2.4, a))/2)
		if c := int(math.Round(math.Abs(a) * 12 / math.Pi)); c > 0 {
			k.corner[c]++
		}
		dx, dy, from = ex, ey, q
	}
}

// at is the mark nearest to a height.
func (p *Profile) at(z float64) *mark {
	n := len(p.z)
	if n == 0 {
		return nil
	}
	i := sort.SearchFloat64s(p.z, z)
	if i == n || i > 0 && z-p.z[i-1] < p.z[i]-z {
		i--
	}
	return &p.marks[i]
}

// apply gives a stack's layers their chains and turns.
func (p *Profile) apply(s *Stack) {
	for i := range s.Layers {
		l := &s.Layers[i]
		k := p.at(l.ZMM - s.LayerMM/2)
		if k == nil || l.AreaMM2 == 0 {
			continue
		}
		l.Chains, l.SpreadMM = k.chains, k.spread
		if k.loops == l.Loops {
			l.TurnMM, l.Corners = k.turn, k.corner
		}
	}
}
