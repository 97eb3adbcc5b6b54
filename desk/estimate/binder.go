package estimate

import "math"

// BinderJet is a binder-jetted metal part on its way: printed layer by layer, cured, depowdered, debound and sintered.
type BinderJet struct {
	LayerMM   float64
	LayerS    float64 // recoat, jet and dry, constant a layer
	CureH     float64
	DepowderS float64 // hands, a part
	FurnaceH  float64 // debind and sinter, one charge
	Charge    int     // parts a furnace charge holds
	ShrinkPct float64 // linear, 15–20 % (common practice)
}

// GreenMM is the length to print for a sintered length.
func (b BinderJet) GreenMM(sintered float64) float64 { return sintered / (1 - b.ShrinkPct/100) }

// ElapsedS is the elapsed time of qty parts of sintered height h, per of them in one bed.
func (b BinderJet) ElapsedS(h float64, qty, per int) float64 {
	if qty <= 0 || per <= 0 {
		return 0
	}
	n := Count(b.GreenMM(h), b.LayerMM)
	beds := math.Ceil(float64(qty) / float64(per))
	charges := math.Ceil(float64(qty) / float64(max(1, b.Charge)))
	return beds*(float64(n)*b.LayerS+b.CureH*3600) + float64(qty)*b.DepowderS + charges*b.FurnaceH*3600
}
