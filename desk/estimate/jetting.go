package estimate

import (
	"fmt"
	"math"

	"firstoff/shop"
)

// JetS is the time in s of a jetting build that covers x by y mm of the tray, z mm high, at layer t (handbook 3.2):
// T = N·(S·P·((X + x_over)/v + t_turn) + t_layer) + ⌊N/n_m⌋·t_maint, S = ⌈Y/swath⌉.
func JetS(m *shop.MJT, x, y, z, t float64) (sec float64, layers, swaths int) {
	layers = Count(z, t)
	if m.SwathMM <= 0 || m.PassMMS <= 0 {
		return 0, layers, 0
	}
	swaths = int(math.Ceil(y/m.SwathMM - 1e-9))
	passes := m.Passes
	if passes <= 0 {
		passes = 1
	}
	layer := float64(swaths)*passes*((x+m.OverrunMM)/m.PassMMS+m.TurnS) + m.LayerS
	sec = float64(layers) * layer
	if m.MaintEvery > 0 {
		sec += float64(layers/m.MaintEvery) * m.MaintS
	}
	return sec, layers, swaths
}

func jetting(l *Line) Estimate {
	var e Estimate
	l.frame(&e)
	m, j, s := l.Machine, l.Machine.MJT, l.Stack
	f := l.Factor
	full, last := builds(l.Qty, e.PerBuild)
	var lays, swFull int
	one1 := func(n int) float64 {
		if n == 0 {
			return 0
		}
		x, y := l.Packing.Used(n, s.SizeMM)
		sec, ls, sw := JetS(j, x, y, s.SizeMM.Z, l.LayerMM)
		lays, swFull = ls, sw
		return sec*one(f.Roads) + (m.WarmUpH+m.CoolDownH)*3600 + f.FixedS
	}
	lastS := one1(last)
	fullS := 0.0
	if full > 0 {
		fullS = one1(e.PerBuild)
	}
	total := float64(full)*fullS + lastS
	e.Layers = lays
	e.LongestS = math.Max(fullS, lastS)
	e.BuildS = Within(total, l.spreadPct())
	e.ChargedS = e.BuildS
	q, nb := float64(l.Qty), float64(e.Builds)
	g := one(f.Grams)
	e.PartG = Within(s.VolumeMM3*density(l.Material)*g, l.gramsPct())
	skin := j.SkinG * s.ContactMM2 / 100
	sup := s.SupportMM3*j.GridPct/100*density(l.Support) + skin
	if l.Support == nil {
		sup = 0
	}
	e.SupportG = Within(sup*g, 8)
	waste := 1 + j.WastePct/100
	e.StockG = e.PartG.Times(q * waste).Along(Sure(nb * m.PurgeG))
	e.SupportStockG = e.SupportG.Times(q * waste).Along(Sure(nb * m.PurgeG))
	e.SupportMM2 = s.ContactMM2
	o := string(m.Origin)
	e.Parts = []Why{
		hours("passes", fmt.Sprintf("%d layers of %.3f mm, %d swaths × %.0f passes at %.0f mm/s, %d builds", lays, l.LayerMM, swFull, j.Passes, j.PassMMS, e.Builds),
			total-nb*((m.WarmUpH+m.CoolDownH)*3600+f.FixedS), o),
		hours("warm-up and cool-down", fmt.Sprintf("%.2f h + %.2f h × %d builds", m.WarmUpH, m.CoolDownH, e.Builds), nb*(m.WarmUpH+m.CoolDownH)*3600, o),
	}
	return e
}
