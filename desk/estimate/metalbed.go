package estimate

import "fmt"

// metalBed is N·recoat + V/(v·h·t) (handbook B24) with the machine's lasers and real share.
func metalBed(l *Line) Estimate {
	var e Estimate
	l.frame(&e)
	m, p, s := l.Machine, l.Machine.PBF, l.Stack
	layers := Count(s.SizeMM.Z, l.LayerMM)
	e.Layers = layers
	full, last := builds(l.Qty, e.PerBuild)
	sup := 0.0
	if l.Process == nil || l.Process.NeedsSupport {
		pct := p.SupportPct
		if pct == 0 {
			pct = 15 // anchors: thin walls and pins, common practice
		}
		sup = s.SupportMM3 * pct / 100
		if s.ContactMM2 > 0 || s.SupportMM3 > 0 {
			e.SupportKind = "anchor"
		}
	}
	contour := ContourMM(s, l.LayerMM)
	buildOf := func(n int) float64 {
		if n == 0 {
			return 0
		}
		k := float64(n)
		return BedS(p, layers, (s.VolumeMM3+sup)/l.LayerMM*k, contour*k)*one(l.Factor.Roads) + (m.WarmUpH+p.InertH+m.CoolDownH)*3600 + l.Factor.FixedS
	}
	total := float64(full)*buildOf(e.PerBuild) + buildOf(last)
	e.LongestS = buildOf(min(l.Qty, e.PerBuild))
	e.BuildS = Within(total, l.spreadPct())
	e.ChargedS = e.BuildS
	e.UnloadS += p.UnpackMin * 60 * float64(e.Builds)
	q := float64(l.Qty)
	e.PartG = Within(s.VolumeMM3*density(l.Material)*one(l.Factor.Grams), l.gramsPct())
	e.SupportG = Within(sup*density(l.Material), 15)
	e.StockG = e.PartG.Along(e.SupportG).Times(q).Along(Sure(m.PurgeG * float64(e.Builds))) // sieved powder goes back
	e.SupportMM2 = s.ContactMM2
	nb := float64(e.Builds)
	e.Parts = []Why{
		hours("recoat and melt", fmt.Sprintf("%d layers of %.3f mm, recoat %.1f s", layers, l.LayerMM, p.RecoatS), total-nb*(m.WarmUpH+p.InertH+m.CoolDownH)*3600, string(m.Origin)),
		hours("inert gas, warm-up and cool-down", fmt.Sprintf("%.2f + %.2f + %.2f h × %d builds", p.InertH, m.WarmUpH, m.CoolDownH, e.Builds), nb*(m.WarmUpH+p.InertH+m.CoolDownH)*3600, string(m.Origin)),
	}
	return e
}
