package offer

import (
	"math"

	"firstoff/desk/estimate"
	"firstoff/geom/r3"
	"firstoff/shop"
)

// choose finds the pose in which a machine makes the part cheapest, from what candidates are known by: box, overhang, columns to
// the plate. The layers of the winner are cut afterwards.
func (e *Evaluator) choose(m *shop.Machine, p *shop.Process, cat *shop.Catalogue) *posed {
	k := poseKey{m.ID, p.Code, m.Room(), m.EdgeMM}
	e.mu.Lock()
	defer e.mu.Unlock()
	if got := e.poses[k]; got != nil {
		return got
	}
	best, at := math.Inf(1), -1
	for i := range e.cands {
		c := &e.cands[i]
		if !c.fits(m.Room(), m.EdgeMM) {
			continue
		}
		if v := e.roughCost(c, m, p, cat); v < best*(1-1e-9) {
			best, at = v, i
		}
	}
	got := &posed{}
	if at >= 0 {
		got.pose, got.ok = e.cands[at], true
		if a, ok := got.turnToFit(m.Room(), m.EdgeMM); ok && a != 0 {
			q := r3.AxisAngle(r3.Vec{Z: 1}, a).Times(got.q).Unit()
			got.pose = e.out.as(q)
		}
		got.side = estimate.SideMM2(e.mesh, got.q)
	}
	e.poses[k] = got
	return got
}

// roughCost is a quick cost of a pose in minor units: machine time, support and its removal.
func (e *Evaluator) roughCost(c *pose, m *shop.Machine, p *shop.Process, cat *shop.Catalogue) float64 {
	rate := m.Capital.HourRate(cat.Rates.EnergyPerKWh) / 3600
	if rate <= 0 {
		rate = 0.3 // no capital stated: time still counts
	}
	hands := float64(cat.Rates.FinisherPerH) / 3600
	vol := math.Abs(e.meas.VolumeMM3)
	var over, columns float64
	if p.NeedsSupport {
		over, columns = e.out.overhang(*c, p.SelfSupportDeg)
	}
	supPrice := 0.02 // minor units per mm³, when the catalogue has no support for this machine
	for _, id := range m.Supports {
		if s := cat.Material(id); s != nil {
			supPrice = s.DensityGCM3 / 1e6 * float64(s.PricePerKg)
			break
		}
	}
	removal := over / 100 * 0.09 * 60 * hands // 0.09 min/cm², common practice
	t := 0.2
	if n := len(m.LayersMM); n > 0 {
		t = m.LayersMM[n/2]
	}
	layers := math.Ceil(c.size.Z / t)
	switch {
	case m.MEX != nil:
		x := estimate.NewExtrusion(m.MEX, t, 100)
		flow := x.WidthMM * t * x.VFill
		sup := columns * m.MEX.SupportPct / 100
		sec := (vol+sup)/flow*1.15 + layers*m.MEX.LayerS
		if columns > 0 {
			sec += layers * m.MEX.SwitchS * 0.5
		}
		return sec*rate + sup*supPrice + removal
	case m.MJT != nil:
		a, _, _ := estimate.JetS(m.MJT, c.size.X, c.size.Y, c.size.Z, t)
		b, _, _ := estimate.JetS(m.MJT, c.size.Y, c.size.X, c.size.Z, t)
		return math.Min(a, b)*rate + columns*m.MJT.GridPct/100*supPrice + removal*0.2
	case m.PBF != nil && !m.PBF.Metal, m.BJT != nil:
		return c.size.X*c.size.Y*c.size.Z + 0.1*c.size.Z*c.size.Z // least box in the bed, then low
	case m.PBF != nil:
		return layers*m.PBF.RecoatS*rate + columns*0.15*supPrice + removal*4
	case m.VPP != nil:
		sec := layers * (m.VPP.RecoatS + m.VPP.MechS)
		return sec*rate + columns*0.12*supPrice + removal
	}
	return c.size.Z
}
