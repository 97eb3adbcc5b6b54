package estimate

import (
	"firstoff/shop"
)

// Line is what is to be estimated: copies of one posed part on one machine with its materials and settings.
type Line struct {
	Stack     *Stack
	Machine   *shop.Machine
	Process   *shop.Process  // may be nil
	Material  *shop.Material // may be nil: then masses are 0
	Support   *shop.Material // nil: none needed or none offered
	LayerMM   float64
	InfillPct float64 // 100 = solid
	Qty       int
	Packing   Packing
	Factor    Factors
}

// Factors are the calibrated part of an estimate, kept apart from the physics: what actuals said about this machine and
// material. The zero value changes nothing.
type Factors struct {
	ID      string  // coefficient set
	Roads   float64 // on deposition or scan time (0 = 1)
	Layers  float64 // on per-layer time (0 = 1)
	FixedS  float64 // added per build
	Grams   float64 // on material (0 = 1)
	SDPct   float64 // replaces the machine's spread if > 0
	GramsSD float64 // per cent
	// SharedPct is the share of the spread's variance that belongs to the machine (or material) and not to the single build; 0 = not known.
	SharedPct float64
}

func one(f float64) float64 {
	if f == 0 {
		return 1
	}
	return f
}

// Estimate is the work of a line. Times in s, masses in g; for the whole line unless the name says part.
type Estimate struct {
	Layers   int
	Builds   int
	PerBuild int
	BuildS   Spread // machine time, elapsed, of all builds the line takes part in
	LongestS float64
	ChargedS Spread // machine time the line pays for: its own, or its share of a shared chamber
	Share    float64
	PartG    Spread // one part
	SupportG Spread // one part
	StockG   Spread // drawn from stock for the line: parts, purge, waste, tail
	SupportStockG,
	FreshG Spread // powders: new powder the line consumes
	SetUpS     float64 // hands, all builds
	UnloadS    float64 // hands, all builds
	ContactMM2 float64 // one part
	SurfaceMM2 float64
	SupportMM2 float64 // surface of support: bath and gel cleaning counts it
	DepthMM    float64 // support thickness a bath eats through
	BoxL       float64 // litres of one part's box, for baths and ovens
	Parts      []Why   // components, h

	Hours       Uncertain // machine hours of the line's builds, errors by source
	Grams       Uncertain // parts and supports of the line, errors by source
	SupportKind string    // what is removed where the support is of the build material: anchor, post
	Before      []Step    // work that comes before the build: masters, tools
	Extra       []Extra   // what the line uses besides material: binder, silicone
	Terms       Terms     // of BuildS, without factors
}

// Extra is something used up besides material, with its cost in minor units.
type Extra struct {
	Name, Formula string
	Value         float64
	Unit          string
	Minor         float64
	Origin        string
}

func (l *Line) spreadPct() float64 {
	if l.Factor.SDPct > 0 {
		return l.Factor.SDPct
	}
	if l.Machine != nil && l.Machine.SpreadPct > 0 {
		return l.Machine.SpreadPct
	}
	return 10 // common practice before any actuals
}

func (l *Line) gramsPct() float64 {
	if l.Factor.GramsSD > 0 {
		return l.Factor.GramsSD
	}
	return 2 // common practice: weighed parts against road volume
}

// density in g/mm³.
func density(m *shop.Material) float64 {
	if m == nil {
		return 0
	}
	return m.DensityGCM3 / 1000
}

// frame fills what all families share: box, surface, support, hands per build.
func (l *Line) frame(e *Estimate) {
	s := l.Stack
	e.PerBuild = l.Packing.PerBuild
	full, last := builds(l.Qty, e.PerBuild)
	e.Builds = full
	if last > 0 {
		e.Builds++
	}
	e.SurfaceMM2, e.ContactMM2, e.DepthMM = s.SurfaceMM2, s.ContactMM2, s.DepthMM
	e.BoxL = s.SizeMM.X * s.SizeMM.Y * s.SizeMM.Z / 1e6
	if l.Machine != nil {
		e.SetUpS = l.Machine.SetUpMin * 60 * float64(e.Builds)
		e.UnloadS = l.Machine.UnloadMin * 60 * float64(e.Builds)
	}
	e.Share = 1
}

// Of estimates the line with the physics of its machine's family; ok is false when the machine states none or the
// part does not go on it.
func Of(l Line) (Estimate, bool) {
	if l.Machine == nil || l.Qty <= 0 || l.Machine.Cast == nil && (l.Packing.PerBuild <= 0 || l.LayerMM <= 0) {
		return Estimate{}, false
	}
	var e Estimate
	switch m := l.Machine; {
	case m.MEX != nil:
		e = extrusion(&l)
	case m.MJT != nil:
		e = jetting(&l)
	case m.PBF != nil && m.PBF.Metal:
		e = metalBed(&l)
	case m.PBF != nil:
		e = powderBed(&l)
	case m.VPP != nil:
		e = vat(&l)
	case m.BJT != nil:
		e = binderBed(&l)
	case m.Cast != nil:
		e = casting(&l)
	default:
		return Estimate{}, false
	}
	if m := l.Machine; m.MEX == nil { // one factor holds for all but warming up and cooling down
		nb := float64(e.Builds)
		if m.Cast == nil {
			e.Terms.OtherS = nb * (m.WarmUpH + m.CoolDownH) * 3600
		}
		if p := m.PBF; p != nil && p.Metal {
			e.Terms.OtherS += nb * p.InertH * 3600
		} else if p != nil {
			e.Terms.OtherS += nb * CoolS((p.CoolTauC0H+p.CoolTauC1HMM*m.Envelope.Z)*3600, p.BedC, p.OpenC, p.RoomC)
		}
		e.Terms.RoadsS = (e.BuildS.Mean - nb*l.Factor.FixedS - e.Terms.OtherS) / one(l.Factor.Roads)
	}
	l.settle(&e)
	return e, true
}

func hours(name, formula string, s float64, origin string) Why {
	return Why{Name: name, Formula: formula, Value: s / 3600, Unit: "h", Origin: origin}
}
