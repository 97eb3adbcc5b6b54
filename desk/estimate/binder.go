package estimate

import (
	"fmt"
	"math"

	"firstoff/shop"
)

// GreenMM is the length to build for a finished length at linear shrinkage pct.
func GreenMM(finished, shrinkPct float64) float64 { return finished / (1 - shrinkPct/100) }

// BinderLayerS is one layer of a binder bed that is jetted over x by y mm: recoat, ⌈y/swath⌉ passes of x and the overrun, drying.
func BinderLayerS(b *shop.BJT, x, y float64) float64 {
	passes := math.Ceil(y/b.SwathMM - 1e-9)
	return b.RecoatS + passes*(x+b.OverrunMM)/b.PassMMS + b.DryS
}

// binderBed: green parts in levels of a bed filled to the height they take. Curing, depowdering, debinding and sintering are operations.
func binderBed(l *Line) Estimate {
	var e Estimate
	l.frame(&e)
	m, b, s := l.Machine, l.Machine.BJT, l.Stack
	g := b.Growth()
	green := s.SizeMM.Mul(g)
	f := l.Factor
	full, last := builds(l.Qty, e.PerBuild)
	fixed := (m.WarmUpH+m.CoolDownH)*3600 + f.FixedS
	layers := 0
	one1 := func(n int) float64 {
		if n == 0 {
			return 0
		}
		per := max(1, l.Packing.Columns*l.Packing.Rows)
		levels := float64((n + per - 1) / per)
		x, y := l.Packing.Used(min(n, per), green)
		k := Count(levels*green.Z+(levels-1)*m.SpacingMM, l.LayerMM)
		layers = max(layers, k)
		return float64(k)*BinderLayerS(b, x, y)*one(f.Roads) + fixed
	}
	lastS, fullS := one1(last), 0.0
	if full > 0 {
		fullS = one1(e.PerBuild)
	}
	total := float64(full)*fullS + lastS
	e.Layers, e.LongestS = layers, math.Max(fullS, lastS)
	e.BuildS = Spread{Mean: total}
	e.ChargedS = e.BuildS
	q, nb := float64(l.Qty), float64(e.Builds)
	e.PartG = Within(s.VolumeMM3*density(l.Material)*one(f.Grams), l.gramsPct())
	e.StockG = e.PartG.Times(q * (1 + b.LossPct/100)).Along(Sure(nb * m.PurgeG))
	// baths and ovens hold green parts
	e.BoxL = green.X * green.Y * green.Z / 1e6
	pores := s.VolumeMM3 * g * g * g * (1 - b.PackPct/100)
	binderL := q * pores * b.SaturatePct / 100 / 1e6
	o := string(m.Origin)
	e.Extra = []Extra{{Name: "binder", Formula: fmt.Sprintf("%d × %.2f cm³ of pores × %.0f %%, × %.2f/l", l.Qty, pores/1000, b.SaturatePct, b.BinderPerL/100), Value: binderL, Unit: "l", Minor: binderL * b.BinderPerL, Origin: o}}
	e.Parts = []Why{
		hours("recoat, jet and dry", fmt.Sprintf("%d layers of %.3f mm of green parts (%.1f × %.1f × %.1f mm at %.1f %% shrinkage), %d builds", layers, l.LayerMM, green.X, green.Y, green.Z, b.ShrinkPct, e.Builds), total-nb*fixed, o),
		hours("warm-up and cool-down", fmt.Sprintf("%.2f h + %.2f h × %d builds", m.WarmUpH, m.CoolDownH, e.Builds), nb*fixed, o),
	}
	return e
}
