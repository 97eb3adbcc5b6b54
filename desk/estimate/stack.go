package estimate

import (
	"math"
	"sort"

	"firstoff/geom/cores"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/geom/section"
	"firstoff/geom/solid"
)

// Cut says how a part is to be cut for the estimator.
type Cut struct {
	SelfSupportDeg  float64
	SkinMM          float64 // skins are found for this thickness
	InterfaceLayers int
	Supported       bool     // find supports at all
	Roads           bool     // roads are wanted: the ways of raster lines
	BandMM          float64  // how far in the outline roads reach
	Profile         *Profile // of this pose; nil: taken here when Roads are wanted
}

// coarser is how much wider than usual the cells are in which skins and supports are found when every layer is cut: half the work, and support
// volumes within 0.1 % on the mean.
const coarser = 1.8

// FromMesh cuts a posed part into stacks, one for each layer height, sharing what does not depend on it.
func FromMesh(m *mesh.Mesh, meas mesh.Measures, pose r3.Quat, layers []float64, c Cut) ([]*Stack, error) {
	if c.Roads && c.Profile == nil {
		p, err := ProfileOf(m, pose)
		if err != nil {
			return nil, err
		}
		c.Profile = p
	}
	out := make([]*Stack, len(layers))
	for i, t := range layers {
		o := solid.Options{InterfaceLayers: c.InterfaceLayers}
		if c.Roads { // every layer is cut
			o.Coarser = coarser
		}
		if c.Supported {
			o.SelfSupportDeg = c.SelfSupportDeg
		}
		if c.SkinMM > 0 {
			o.SkinLayers = int(math.Ceil(c.SkinMM/t - 1e-9))
		}
		var p *props
		if c.Roads && o.SelfSupportDeg > 0 {
			p = &props{}
			o.Look, o.Shown = p.look, shown
		}
		sum, err := solid.Summarise(m, pose, t, o)
		if err != nil {
			return nil, err
		}
		s := FromSummary(sum, meas, pose)
		if p != nil {
			sort.Slice(p.at, func(i, j int) bool { return p.at[i].layer < p.at[j].layer })
			p.layers = len(s.Layers)
			s.props = p
		}
		s.SkinMM = c.SkinMM
		if c.Roads {
			s.measureEdges(m, pose, math.Ceil(c.SkinMM/t-1e-9)*t, c.BandMM)
			c.Profile.apply(s)
			s.profile = c.Profile
		}
		out[i] = s
	}
	return out, nil
}

// FromSummary takes over what geom/solid found. Corners of 30° and more count as square ones, bends of 10 to 30° as 15°.
func FromSummary(sum *solid.Summary, meas mesh.Measures, pose r3.Quat) *Stack {
	s := &Stack{roads: &roadsMemo{}, LayerMM: sum.LayerMM, SizeMM: sum.Box.Size(), VolumeMM3: math.Abs(meas.VolumeMM3), SurfaceMM2: meas.AreaMM2, Pose: pose,
		SupportMM3: sum.SupportVolumeMM3, ContactMM2: sum.SupportContactMM2 + sum.SupportLandingMM2, Layers: make([]Layer, len(sum.Layers))}
	if floor := sum.SupportContactMM2; floor > 0 {
		s.DepthMM = sum.SupportVolumeMM3 / floor
	}
	for i := range sum.Layers {
		u := &sum.Layers[i]
		l := &s.Layers[i]
		*l = Layer{ZMM: u.ZMM, AreaMM2: math.Max(0, u.AreaMM2), PerimeterMM: u.PerimeterMM, Loops: float64(u.Loops), Islands: math.Max(float64(u.Islands), math.Min(1, float64(u.Loops))),
			SkinMM2: u.TopSkinMM2 + u.BottomSkinMM2, SupportMM2: u.SupportMM2, SupportInterfaceMM2: u.SupportInterfaceMM2}
		l.Corners[6], l.Corners[1] = float64(u.Corners), float64(u.Bends)
		// the signed turn of a region is 2π for each island and −2π for each hole; a square corner takes 2·tan(45°) − π/2 more
		holes := l.Loops - l.Islands
		l.TurnMM = 2*math.Pi*(l.Islands-holes) + (2-math.Pi/2)*math.Min(float64(u.Corners), 4*l.Islands)
		if u.SupportMM2 > 0 {
			l.SupportAcross = u.SupportPerimeterMM / math.Pi // Cauchy: mean width of a convex region
		}
		// without a slice at hand: extents as those of a region of this perimeter in any direction
		for k := range l.Across {
			l.Across[k] = l.PerimeterMM / math.Pi
		}
	}
	return s
}

// measureEdges finds, facet by facet, how far skins of the given thickness reach in under leaning walls, beside outline roads of the given band.
func (s *Stack) measureEdges(m *mesh.Mesh, pose r3.Quat, skin, band float64) {
	n := len(s.Layers)
	if n == 0 {
		return
	}
	pos, box := section.Posed(m, pose)
	zmin, h := box.Min.Z, s.LayerMM
	nf := m.Facets()
	grain := max(1<<15, (nf+7)/8)
	sums := make([][][2]float64, cores.Pieces(nf, grain))
	cores.Each(nf, grain, func(piece, from, to int) {
		acc := make([][2]float64, n)
		for f := from; f < to; f++ {
			a, b, c := 3*int(m.Tri[3*f]), 3*int(m.Tri[3*f+1]), 3*int(m.Tri[3*f+2])
			ux, uy, uz := pos[b]-pos[a], pos[b+1]-pos[a+1], pos[b+2]-pos[a+2]
			wx, wy, wz := pos[c]-pos[a], pos[c+1]-pos[a+1], pos[c+2]-pos[a+2]
			nx, ny, nz := uy*wz-uz*wy, uz*wx-ux*wz, ux*wy-uy*wx
			flat := math.Sqrt(nx*nx + ny*ny)
			if flat == 0 || nz == 0 {
				continue
			}
			// lowest first
			if pos[b+2] < pos[a+2] {
				a, b = b, a
			}
			if pos[c+2] < pos[b+2] {
				b, c = c, b
				if pos[b+2] < pos[a+2] {
					a, b = b, a
				}
			}
			za, zb, zc := pos[a+2], pos[b+2], pos[c+2]
			k := max(0, int(math.Ceil((za-zmin)/h-0.5))-1) // one early: the comparisons below decide
			if zmin+(float64(k)+0.5)*h < za {
				k++
			}
			if k >= n || zmin+(float64(k)+0.5)*h >= zc {
				continue
			}
			reach := skin * math.Abs(nz) / flat
			least := math.Min(reach, band)
			for ; k < n; k++ {
				z := zmin + (float64(k)+0.5)*h
				if z >= zc {
					break
				}
				u := (z - za) / (zc - za)
				px, py := pos[a]+u*(pos[c]-pos[a]), pos[a+1]+u*(pos[c+1]-pos[a+1])
				var qx, qy float64
				if z < zb {
					u = (z - za) / (zb - za)
					qx, qy = pos[a]+u*(pos[b]-pos[a]), pos[a+1]+u*(pos[b+1]-pos[a+1])
				} else {
					u = (z - zb) / (zc - zb)
					qx, qy = pos[b]+u*(pos[c]-pos[b]), pos[b+1]+u*(pos[c+1]-pos[b+1])
				}
				l := math.Sqrt((qx-px)*(qx-px) + (qy-py)*(qy-py))
				acc[k][0] += l * reach
				acc[k][1] += l * least
			}
		}
		sums[piece] = acc
	})
	for k := range s.Layers {
		l := &s.Layers[k]
		l.SkinEdgeMM2, l.SkinBandMM2 = 0, 0
		for _, acc := range sums {
			l.SkinEdgeMM2 += acc[k][0]
			l.SkinBandMM2 += acc[k][1]
		}
	}
}

// SideMM2 is the surface weighted by the horizontal part of its normal in a pose: the perimeter integrated over height.
func SideMM2(m *mesh.Mesh, pose r3.Quat) float64 {
	up := pose.Inverse().Rotate(r3.Vec{Z: 1})
	nf := m.Facets()
	const grain = 1 << 15
	sums := make([]float64, cores.Pieces(nf, grain))
	cores.Each(nf, grain, func(piece, from, to int) {
		var t float64
		for f := from; f < to; f++ {
			a, b, c := m.Corners(f)
			n := b.Sub(a).Cross(c.Sub(a)) // twice the area
			z := n.Dot(up)
			if s := n.Norm2() - z*z; s > 0 {
				t += math.Sqrt(s) / 2
			}
		}
		sums[piece] = t
	})
	var t float64
	for _, s := range sums {
		t += s
	}
	return t
}
