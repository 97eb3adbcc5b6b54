package estimate

import (
	"fmt"
	"math"
)

// Units of this file where they differ: laser power mW, critical exposure mJ/cm², depths and spots mm (any one unit of
// length in the pure ratios).

// OverlapSum is the exposure of a hatched plane over that of one line, E_p/E_max = 1 + 2·Σ exp(−2(n·h/W0)²), n = 1..4
// (Gibson 2e eq. 4.27).
func OverlapSum(hatch, w0 float64) float64 {
	s := 1.0
	for n := 1.0; n <= 4; n++ {
		s += 2 * math.Exp(-2*(n*hatch/w0)*(n*hatch/w0))
	}
	return s
}

// HatchCure is the cure depth one vector must reach so that the overlapped plane reaches cd1 (Gibson eq. 4.29).
func HatchCure(cd1, dp, hatch, w0 float64) float64 { return cd1 - dp*math.Log(OverlapSum(hatch, w0)) }

// VectorMMS is the scan speed for cure depth cd (Gibson eq. 4.16 inverted): √(2/π)·P_L/(W0·E_c)·exp(−C_d/D_p).
// P in mW, W0 in mm, Ec in mJ/cm²: 1 mJ/cm² is 0.01 mJ/mm².
func VectorMMS(powerMW, w0, ec, cd, dp float64) float64 {
	return math.Sqrt(2/math.Pi) * powerMW / (w0 * ec / 100) * math.Exp(-cd/dp)
}

// CuredWidth is the line width W0·√(2·C_d/D_p) (Jacobs).
func CuredWidth(w0, cd, dp float64) float64 { return w0 * math.Sqrt(2*cd/dp) }

// MaskS is the exposure of a masked layer, t = (E_c/I)·exp(C_d/D_p); I in mW/cm².
func MaskS(ec, intensity, cd, dp float64) float64 { return ec / intensity * math.Exp(cd/dp) }

// MaskBuildS is N_b·(t_b + t_m) + (N − N_b)·(t_e + t_m).
func MaskBuildS(layers, base int, baseS, exposeS, mechS float64) float64 {
	base = min(base, layers)
	return float64(base)*(baseS+mechS) + float64(layers-base)*(exposeS+mechS)
}

func vat(l *Line) Estimate {
	var e Estimate
	l.frame(&e)
	m, v, s := l.Machine, l.Machine.VPP, l.Stack
	layers := Count(s.SizeMM.Z, l.LayerMM)
	e.Layers = layers
	full, last := builds(l.Qty, e.PerBuild)
	cd := l.LayerMM + v.OvercureMM
	pct, drain := v.SupportPct, v.DrainPct
	if pct == 0 {
		pct = 12 // share of the support columns that is resin: posts and tips, common practice
	}
	if drain == 0 {
		drain = 7 // 5–10 % drains off with the parts, common practice
	}
	sup := s.SupportMM3 * pct / 100
	if sup > 0 {
		e.SupportKind = "post"
	}
	fixed := (m.WarmUpH+m.CoolDownH)*3600 + l.Factor.FixedS
	var what string
	var buildOf func(n int) float64
	if v.Mask {
		expose := MaskS(v.EcMJCM2, v.MaskMWCM2, cd, v.DpMM)
		what = fmt.Sprintf("%d layers, %.2f s exposure + %.1f s mechanics, %d base layers at %.0f s", layers, expose, v.MechS, v.BaseLayers, v.BaseS)
		buildOf = func(n int) float64 {
			if n == 0 {
				return 0
			}
			return MaskBuildS(layers, v.BaseLayers, v.BaseS, expose, v.MechS)*one(l.Factor.Roads) + fixed
		}
	} else {
		hatch := v.HatchMM
		if hatch <= 0 {
			hatch = v.SpotMM
		}
		speed := VectorMMS(v.PowerMW, v.SpotMM, v.EcMJCM2, HatchCure(cd, v.DpMM, hatch, v.SpotMM), v.DpMM) * one(v.SpeedShare)
		what = fmt.Sprintf("%d layers, %.0f mm/s on %.3f mm hatch in x and y, recoat %.0f s", layers, speed, hatch, v.RecoatS)
		contour := ContourMM(s, l.LayerMM)
		buildOf = func(n int) float64 {
			if n == 0 {
				return 0
			}
			k := float64(n)
			draw := 2*(s.VolumeMM3+sup)/l.LayerMM/(speed*hatch) + contour/speed
			return (k*draw+float64(layers)*v.RecoatS)*one(l.Factor.Roads) + fixed
		}
	}
	total := float64(full)*buildOf(e.PerBuild) + buildOf(last)
	e.LongestS = buildOf(min(l.Qty, e.PerBuild))
	e.BuildS = Within(total, l.spreadPct())
	e.ChargedS = e.BuildS
	q := float64(l.Qty)
	e.PartG = Within(s.VolumeMM3*density(l.Material)*one(l.Factor.Grams), l.gramsPct())
	e.SupportG = Within(sup*density(l.Material), 15)
	e.StockG = e.PartG.Along(e.SupportG).Times(q * (1 + drain/100)).Along(Sure(m.PurgeG * float64(e.Builds)))
	e.SupportMM2 = s.ContactMM2
	nb := float64(e.Builds)
	e.Parts = []Why{
		hours("exposure and recoat", what, total-nb*fixed, string(m.Origin)),
		hours("warm-up and cool-down", fmt.Sprintf("%.2f h + %.2f h × %d builds", m.WarmUpH, m.CoolDownH, e.Builds), nb*(m.WarmUpH+m.CoolDownH)*3600, string(m.Origin)),
	}
	return e
}
