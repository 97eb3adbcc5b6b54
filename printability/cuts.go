package printability

import (
	"math"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/geom/section"
)

// Cut is a plane that takes a part apart: all points p with p·Normal = AtMM, in the part's coordinates.
type Cut struct {
	Normal  r3.Vec
	AtMM    float64
	AreaMM2 float64 // of material cut: the joint
}

// Split is the least set of planar cuts found that makes pieces of a part fit a space.
type Split struct {
	Space    Space
	Turn     r3.Quat // takes the part to the frame whose axes the cuts are square to
	Cuts     []Cut
	Pieces   int
	JointMM2 float64
	HandsS   float64 // to fit, bond and blend the joints
}

// Hands for a bonded joint: dowels, glue, clamp and blend, common practice.
const (
	jointMin       = 20.0 // a joint
	jointMinPerCM2 = 0.25
)

// stations is how many places along an axis a cut is tried at.
const stations = 160

// Splits finds for each space that does not take the part whole the fewest pieces by cuts square to the axes of the part as sent or of its
// smallest box, and among these the places where least material is cut (dynamic programming over the section areas). The space of
// fewest pieces, then of the smallest joints, comes back.
func (g *Geometry) Splits(spaces []Space) (Split, bool) {
	var best Split
	found := false
	frames := []r3.Quat{r3.Identity, mesh.SmallestBox(g.hull()).Turn}
	for _, q := range frames {
		size, areas, at := g.sections(q)
		for _, s := range spaces {
			room := [3]float64{s.Envelope.X - 2*s.EdgeMM, s.Envelope.Y - 2*s.EdgeMM, s.Envelope.Z}
			for _, p := range [6][3]int{{0, 1, 2}, {0, 2, 1}, {1, 0, 2}, {1, 2, 0}, {2, 0, 1}, {2, 1, 0}} {
				pieces := 1
				sp := Split{Space: s, Turn: q}
				ok := true
				for i := 0; i < 3 && ok; i++ {
					r := room[p[i]]
					if r <= 0 {
						ok = false
						break
					}
					n := int(math.Ceil(size.Axis(i)/r - 1e-9))
					pieces *= n
					if n < 2 {
						continue
					}
					cuts, good := leastCuts(areas[i], size.Axis(i), r, n-1)
					ok = good
					for _, k := range cuts {
						sp.Cuts = append(sp.Cuts, Cut{Normal: axisOf(q, i), AtMM: at[i] + (float64(k)+0.5)/stations*size.Axis(i), AreaMM2: areas[i][k]})
						sp.JointMM2 += areas[i][k]
					}
				}
				if !ok || pieces < 2 || pieces > 64 {
					continue
				}
				sp.Pieces = pieces
				if !found || sp.Pieces < best.Pieces || sp.Pieces == best.Pieces && sp.JointMM2 < best.JointMM2*(1-1e-9) {
					best, found = sp, true
				}
			}
		}
	}
	for _, c := range best.Cuts {
		best.HandsS += 60 * (jointMin + jointMinPerCM2*c.AreaMM2/100)
	}
	return best, found
}

// axisOf is the i-th axis of a frame in the part's own coordinates.
func axisOf(q r3.Quat, i int) r3.Vec {
	return q.Inverse().Rotate([3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}[i])
}

// sections gives the extent of the part along the axes of a frame and the area of material at stations along each.
func (g *Geometry) sections(q r3.Quat) (size r3.Vec, areas [3][]float64, at [3]float64) {
	// turns that bring each axis of the frame upright
	ups := [3]r3.Quat{r3.Between(r3.Vec{X: 1}, r3.Vec{Z: 1}), r3.Between(r3.Vec{Y: 1}, r3.Vec{Z: 1}), r3.Identity}
	var ext [3]float64
	for i := range ups {
		pose := ups[i].Times(q)
		_, box := section.Posed(g.Mesh, pose)
		ext[i], at[i] = box.Size().Z, box.Min.Z
		areas[i] = make([]float64, stations)
		st := section.Slice(g.Mesh, pose, ext[i]/stations)
		for k := range min(stations, len(st.Layers)) {
			areas[i][k] = math.Max(0, st.Layers[k].Area)
		}
	}
	return r3.Vec{X: ext[0], Y: ext[1], Z: ext[2]}, areas, at
}

// leastCuts chooses n stations so that no piece is longer than room and the areas cut sum to the least.
func leastCuts(area []float64, length, room float64, n int) ([]int, bool) {
	m := len(area)
	pitch := length / float64(m)
	pos := func(k int) float64 { return (float64(k) + 0.5) * pitch }
	const inf = math.MaxFloat64
	cost := make([][]float64, n)
	from := make([][]int, n)
	for c := range cost {
		cost[c], from[c] = make([]float64, m), make([]int, m)
		for k := range cost[c] {
			cost[c][k], from[c][k] = inf, -1
			if c == 0 {
				if pos(k) <= room+1e-9 {
					cost[0][k] = area[k]
				}
				continue
			}
			for j := 0; j < k; j++ {
				if cost[c-1][j] < inf && pos(k)-pos(j) <= room+1e-9 && cost[c-1][j]+area[k] < cost[c][k] {
					cost[c][k], from[c][k] = cost[c-1][j]+area[k], j
				}
			}
		}
	}
	best, at := inf, -1
	for k := range m {
		if cost[n-1][k] < best && length-pos(k) <= room+1e-9 {
			best, at = cost[n-1][k], k
		}
	}
	if at < 0 {
		return nil, false
	}
	out := make([]int, n)
	for c := n - 1; c >= 0; c-- {
		out[c] = at
		at = from[c][at]
	}
	return out, true
}
