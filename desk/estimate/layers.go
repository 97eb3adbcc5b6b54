package estimate

import (
	"math"

	"firstoff/geom/r3"
)

// Layer is what one layer of a posed part holds. Lengths in mm, areas in mm².
type Layer struct {
	ZMM         float64
	AreaMM2     float64
	PerimeterMM float64
	// TurnMM is the sum over contour corners of 2·tan(turning/2), convex positive: an inset of d shortens the contours by TurnMM·d.
	// 8 for a rectangle, 2π for a round disc, about 0 for a disc with one hole.
	TurnMM float64
	// Across is half the contour's total travel normal to raster lines laid at 0, 45, 90 and 135° from x:
	// divided by the line spacing it is the mean number of raster lines (Cauchy's formula for each direction).
	Across [4]float64
	// Steps is what the ways from the end of one raster line to the next come to, by direction: half the sum of √(len·|dn|) over the
	// contour's pieces, so that all steps of rest-to-rest moves at acceleration a take 2·Steps/√(pitch·a). 0 = not measured.
	Steps [4]float64
	// SpreadMM is the side of a square as large as the box around the layer's contours: how far apart its roads lie. 0 = the part's.
	SpreadMM float64
	// OutlineJumpMM is the mean way from one outline to the next; 0 = taken from SpreadMM.
	OutlineJumpMM float64
	// SkinEdgeMM2 is the skin under leaning walls (length × how far the skin reaches in), SkinBandMM2 the part of it under the outline roads.
	SkinEdgeMM2, SkinBandMM2 float64
	// Corners counts contour corners by turning angle: Corners[k] for turns within 7.5° of k·15°; k = 0 (smooth) is not counted.
	Corners             [13]float64
	Loops               float64 // closed contours, holes included
	Islands             float64 // separate regions
	SkinMM2             float64 // within the skin thickness of air above or below
	SupportMM2          float64 // columns in this layer, interface included
	SupportInterfaceMM2 float64 // of which dense, next to the part
	SupportIslands      float64
	SupportAcross       float64 // extent of support across its lines; 0 = taken from its area
}

// Stack is a posed part cut into layers of one thickness.
type Stack struct {
	LayerMM    float64
	SkinMM     float64 // thickness the skins were found for
	Layers     []Layer
	SizeMM     r3.Vec // box of the posed part
	VolumeMM3  float64
	SurfaceMM2 float64
	Pose       r3.Quat
	SupportMM3 float64  // columns under overhangs
	ContactMM2 float64  // part surface that touches support
	DepthMM    float64  // mean height of support columns: what a bath must eat through
	profile    *Profile // of the pose; nil: roads are taken from layer sums alone
	props      *props   // supports at a sample of layers; nil: none
	roads      *roadsMemo
	SideMM2    float64 // the perimeter integrated over height: surface area weighted by the horizontal part of its normal
}

// Height is the posed height in mm.
func (s *Stack) Height() float64 { return s.SizeMM.Z }

// Count is the number of layers of thickness t a height takes: the last one may be thinner in the file but not on the machine.
func Count(height, t float64) int {
	if t <= 0 || height <= 0 {
		return 0
	}
	return int(math.Ceil(height/t - 1e-9))
}

// Prism is the stack of an upright prism: n equal layers. For closed forms and for parts known by their section only.
func Prism(n int, t float64, l Layer, size r3.Vec) *Stack {
	s := &Stack{LayerMM: t, SizeMM: size, VolumeMM3: float64(n) * t * l.AreaMM2,
		SurfaceMM2: 2*l.AreaMM2 + float64(n)*t*l.PerimeterMM, Pose: r3.Identity}
	for i := 0; i < n; i++ {
		l.ZMM = (float64(i) + 0.5) * t
		s.Layers = append(s.Layers, l)
	}
	return s
}

// Block is the layer of a rectangle x by y: area, outline, four square corners.
func Block(x, y float64) Layer {
	d := (x + y) / math.Sqrt2
	l := Layer{AreaMM2: x * y, PerimeterMM: 2 * (x + y), TurnMM: 8, Across: [4]float64{y, d, x, d},
		Steps: [4]float64{y, (x + y) / math.Sqrt(math.Sqrt2), x, (x + y) / math.Sqrt(math.Sqrt2)}, Loops: 1, Islands: 1, SkinMM2: x * y}
	l.Corners[6] = 4
	return l
}
