package estimate

import "math"

// AreaFactor is Gibson eq. 16.10: gamma·e^{alpha(1−gamma)} of the fill ratio gamma = v/(bx·by·bz); uncapped as in the book.
func AreaFactor(gamma, alpha float64) float64 { return gamma * math.Exp(alpha*(1-gamma)) }

// Textbook is the whole-build model of Gibson 16.6.2 for when only box and volume are known. The scan-length equation
// is from memory: N·A·(n_st/(h_r·d) + supfac/d).
type Textbook struct {
	BoxMM     [3]float64
	VolumeMM3 float64
	Parts     int
	LayerMM   float64
	SpotMM    float64 // d
	HatchPart float64 // h_r, as a share of d
	Strokes   float64 // n_st, 2 for x and y
	SupFactor float64
	ScanMMS   float64
	PartLayer float64 // s of transition a layer of the part
	BaseLayer float64 // s of transition a layer of support below
	Base      int     // layers below
	DelayS    float64
	Alpha     float64
}

// TextbookTime is the model's answer.
type TextbookTime struct {
	Gamma, AreaMM2, LengthMM     float64
	Layers                       int
	ScanS, TransitionS, WholeS   float64
	AreaFactor, CappedAreaFactor float64
}

// Time computes the model.
func (b Textbook) Time() TextbookTime {
	var t TextbookTime
	alpha := b.Alpha
	if alpha == 0 {
		alpha = 1.5
	}
	t.Gamma = b.VolumeMM3 / (b.BoxMM[0] * b.BoxMM[1] * b.BoxMM[2])
	t.AreaFactor = AreaFactor(t.Gamma, alpha)
	t.CappedAreaFactor = math.Min(1, t.AreaFactor)
	t.AreaMM2 = b.BoxMM[0] * b.BoxMM[1] * t.CappedAreaFactor
	t.Layers = Count(b.BoxMM[2], b.LayerMM)
	t.LengthMM = float64(b.Parts) * t.AreaMM2 * (b.Strokes/(b.HatchPart*b.SpotMM) + b.SupFactor/b.SpotMM)
	t.ScanS = float64(t.Layers) * t.LengthMM / b.ScanMMS
	t.TransitionS = float64(b.Base)*b.BaseLayer + float64(t.Layers)*b.PartLayer
	t.WholeS = t.ScanS + t.TransitionS + b.DelayS
	return t
}
