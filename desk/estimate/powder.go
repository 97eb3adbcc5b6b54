package estimate

import (
	"fmt"
	"math"

	"firstoff/shop"
)

// BedS is the time in s of n layers of a powder bed holding a total scanned area (summed over layers, mm²) and a total
// contour length (summed over layers, mm): N·(t_recoat + t_min) + ΣA/(v·h·share·lasers) + ΣP/v_c (handbook 3.4).
// Agent and heat beds take a constant time a layer.
func BedS(p *shop.PBF, layers int, areaMM2, contourMM float64) float64 {
	t := float64(layers) * p.RecoatS
	if p.FusedAgent {
		return t + float64(layers)*p.LayerMinS
	}
	lasers := float64(max(p.Lasers, 1))
	share := one(p.ScanShare)
	var scan float64
	if p.ScanMMS > 0 && p.HatchMM > 0 {
		scan = areaMM2 / (p.ScanMMS * p.HatchMM * share * lasers)
	}
	if p.ContourMMS > 0 {
		scan += contourMM / (p.ContourMMS * share * lasers)
	}
	if p.LayerMinS > 0 { // the bed waits for heat
		scan = math.Max(scan, float64(layers)*p.LayerMinS)
	}
	return t + scan
}

// CoolS is the lumped cool-down tau·ln((T0−Ta)/(T−Ta)), tau in s.
func CoolS(tau, from, to, room float64) float64 {
	if to <= room || from <= to {
		return 0
	}
	return tau * math.Log((from-room)/(to-room))
}

// CoolSlabS is the first term of the slab series: half thickness l m, diffusivity alpha m²/s, theta = (T−Ta)/(T0−Ta) < 0.7.
func CoolSlabS(l, alpha, theta float64) float64 {
	return 4 * l * l / (math.Pi * math.Pi * alpha) * math.Log(4/(math.Pi*theta))
}

// CoolCubeS is the product of three slabs: half side l m.
func CoolCubeS(l, alpha, theta float64) float64 {
	return 4 * l * l / (3 * math.Pi * math.Pi * alpha) * (3*math.Log(4/math.Pi) - math.Log(theta))
}

// AndrewJMM2 is the area energy P/(U·SP) of a laser bed, J/mm² (Gibson eq. 5.1).
func AndrewJMM2(powerW, speed, spacing float64) float64 { return powerW / (speed * spacing) }

// ScanCM3H is the ideal scan rate v·h·t, cm³/h.
func ScanCM3H(v, hatch, t float64) float64 { return v * hatch * t * 3.6 }

// chamber is the elapsed time of a build of n copies, filled to height h.
func chamberS(l *Line, n float64, h float64) (sec, warm, cool float64, layers int) {
	p, m, s := l.Machine.PBF, l.Machine, l.Stack
	layers = Count(h, l.LayerMM)
	area := s.VolumeMM3 / l.LayerMM * n
	contour := ContourMM(s, l.LayerMM) * n
	sec = BedS(p, layers, area, contour)*one(l.Factor.Roads) + l.Factor.FixedS
	warm = m.WarmUpH * 3600
	cool = m.CoolDownH*3600 + CoolS((p.CoolTauC0H+p.CoolTauC1HMM*h)*3600, p.BedC, p.OpenC, p.RoomC)
	return sec, warm, cool, layers
}

// ContourMM is the contour length summed over the layers of thickness t: the integral of the perimeter over height divided by t.
func ContourMM(s *Stack, t float64) float64 {
	var sum float64
	if len(s.Layers) > 0 {
		for i := range s.Layers {
			sum += s.Layers[i].PerimeterMM
		}
		return sum * s.LayerMM / t
	}
	return s.SideMM2 / t
}

// powderBed estimates a polymer bed. A line that fills no build of its own shares one with other orders: the build is a
// usual full one, and the line pays its share of the packing (who pays for empty room is stated: the build is taken as
// usually filled). More than one full build: those are its own.
func powderBed(l *Line) Estimate {
	var e Estimate
	l.frame(&e)
	m, p, s := l.Machine, l.Machine.PBF, l.Stack
	h := m.Envelope.Z
	if e.PerBuild < 1 {
		e.PerBuild = 1
	}
	sec, warm, cool, layers := chamberS(l, float64(e.PerBuild), h)
	whole := sec + warm + cool
	e.Layers = layers
	share := float64(l.Qty) / float64(e.PerBuild)
	e.Share = math.Min(1, share)
	e.LongestS = whole
	e.BuildS = Within(whole*float64(e.Builds), l.spreadPct())
	e.ChargedS = Within(whole*share, l.spreadPct())
	e.SetUpS = m.SetUpMin * 60 * share
	e.UnloadS = (m.UnloadMin + p.UnpackMin) * 60 * share
	q := float64(l.Qty)
	e.PartG = Within(s.VolumeMM3*density(l.Material)*one(l.Factor.Grams), l.gramsPct())
	partG := e.PartG.Times(q)
	refresh, pack := 0.0, p.PackPct/100
	if l.Material != nil {
		refresh = l.Material.RefreshPct / 100
	}
	fresh := 1.0
	if phi := MassShare(pack); phi > 0 && refresh > phi {
		fresh, _ = Refresh(refresh, phi)
	}
	e.StockG = partG
	e.FreshG = partG.Times(fresh)
	o := string(m.Origin)
	e.Parts = []Why{
		hours("recoat and scan", fmt.Sprintf("%d layers of %.2f mm, recoat %.1f s, %d parts of a full bed", layers, l.LayerMM, p.RecoatS, e.PerBuild), sec*share, o),
		hours("warm-up", fmt.Sprintf("%.2f h × share %.3f", m.WarmUpH, share), warm*share, o),
		hours("cool-down", fmt.Sprintf("τ·ln((%.0f−%.0f)/(%.0f−%.0f)), τ = %.2f + %.4f·%.0f h, share %.3f", p.BedC, p.RoomC, p.OpenC, p.RoomC, p.CoolTauC0H, p.CoolTauC1HMM, h, share), cool*share, o),
	}
	return e
}

// looseShare is the density of loose polymer powder over that of the solid: 450 to 500 kg/m³ against about 1000 (handbook 3.5, from memory).
const looseShare = 0.48

// MassShare is the share of a bed's mass that the parts are, for their share of its volume.
func MassShare(volume float64) float64 {
	if volume <= 0 || volume >= 1 {
		return volume
	}
	return volume / (volume + (1-volume)*looseShare)
}

// Refresh is the powder balance of handbook K13: new powder and waste per kg of part at refresh share r and part mass share phi.
func Refresh(r, phi float64) (virgin, waste float64) { return r / phi, (r - phi) / phi }
