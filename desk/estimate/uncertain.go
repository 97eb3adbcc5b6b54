package estimate

import (
	"cmp"
	"math"
	"slices"

	"firstoff/shop"
)

// Uncertain is a quantity whose error has sources: what it shares with everything from the same machine or material, and what is its own.
// Sums keep the sources apart: errors of one source add up, own ones add in quadrature. So a hundred builds of one machine are not a hundred
// times surer than one, and builds of two machines are surer than two of one.
type Uncertain struct {
	Mean   float64 `json:"mean"`
	Own    float64 `json:"own_sd"`           // one sd, independent of all else
	Shared []Share `json:"shared,omitempty"` // by source, in order of their names
}

// Share is the part of an error that comes from one source, as one sd; its sign says in which direction it acts.
type Share struct {
	Source string  `json:"source"` // "machine:heron", "material:ABS"
	SD     float64 `json:"sd"`
}

// SharedVariance is how much of the variance of one build's error belongs to its machine (or material) and not to the build: common practice
// until actuals of a machine tell (Factors.SharedPct).
const SharedVariance = 0.5

// MachineSource and MaterialSource name the sources.
func MachineSource(m *shop.Machine) string {
	if m == nil || m.ID == "" {
		return ""
	}
	return "machine:" + m.ID
}

// MaterialSource names a material as a source of error.
func MaterialSource(m *shop.Material) string {
	if m == nil || m.ID == "" {
		return ""
	}
	return "material:" + m.ID
}

// From is a quantity made of n like pieces of mean each, with a relative error of pct per cent a piece, of whose variance a share belongs to
// source. No source: all of it is the pieces' own.
func From(mean float64, n int, pct, share float64, source string) Uncertain {
	n = max(1, n)
	u := Uncertain{Mean: mean * float64(n)}
	sd := math.Abs(mean) * pct / 100
	if source == "" {
		share = 0
	}
	u.Own = sd * math.Sqrt((1-share)*float64(n))
	if share > 0 && sd > 0 {
		u.Shared = []Share{{source, sd * math.Sqrt(share) * float64(n)}}
	}
	return u
}

// SD is one standard deviation of the whole.
func (u Uncertain) SD() float64 {
	v := u.Own * u.Own
	for _, s := range u.Shared {
		v += s.SD * s.SD
	}
	return math.Sqrt(v)
}

// Spread forgets the sources.
func (u Uncertain) Spread() Spread { return Spread{u.Mean, u.SD()} }

// Plus adds.
func (u Uncertain) Plus(v Uncertain) Uncertain {
	out := Uncertain{Mean: u.Mean + v.Mean, Own: math.Hypot(u.Own, v.Own), Shared: slices.Clone(u.Shared)}
	for _, s := range v.Shared {
		i, ok := slices.BinarySearchFunc(out.Shared, s, func(a, b Share) int { return cmp.Compare(a.Source, b.Source) })
		if ok {
			out.Shared[i].SD += s.SD
		} else {
			out.Shared = slices.Insert(out.Shared, i, s)
		}
	}
	return out
}

// Times scales; a negative factor turns the shared errors round.
func (u Uncertain) Times(f float64) Uncertain {
	out := Uncertain{Mean: u.Mean * f, Own: math.Abs(u.Own * f), Shared: slices.Clone(u.Shared)}
	for i := range out.Shared {
		out.Shared[i].SD *= f
	}
	return out
}

// Sum adds quantities, sources kept.
func Sum(of ...Uncertain) (u Uncertain) {
	for _, v := range of {
		u = u.Plus(v)
	}
	return u
}

// Correlation of two quantities' errors: 0 where they share nothing.
func Correlation(u, v Uncertain) float64 {
	su, sv := u.SD(), v.SD()
	if su == 0 || sv == 0 {
		return 0
	}
	var c float64
	for _, a := range u.Shared {
		for _, b := range v.Shared {
			if a.Source == b.Source {
				c += a.SD * b.SD
			}
		}
	}
	return c / (su * sv)
}

// settle gives an estimate its spreads: by component, for hours by machine, for grams by material.
func (l *Line) settle(e *Estimate) {
	share := SharedVariance
	if l.Factor.SharedPct > 0 {
		share = math.Min(1, l.Factor.SharedPct/100)
	}
	pct := l.spreadPct()
	if e.Builds > 0 {
		e.Hours = From(e.BuildS.Mean/float64(e.Builds), e.Builds, pct, share, MachineSource(l.Machine)).Times(1.0 / 3600)
		e.BuildS.SD = e.Hours.SD() * 3600
		if e.BuildS.Mean > 0 {
			e.ChargedS.SD = e.ChargedS.Mean * e.BuildS.SD / e.BuildS.Mean
		}
	}
	if e.PartG.Mean > 0 {
		g := From(e.PartG.Mean, l.Qty, l.gramsPct(), share, MaterialSource(l.Material))
		s := From(e.SupportG.Mean, l.Qty, 100*e.SupportG.SD/math.Max(1e-12, e.SupportG.Mean), share, MaterialSource(l.Support))
		e.Grams = g.Plus(s)
	}
	// the components of a build err together: their sds add up to the whole's
	if e.ChargedS.Mean > 0 {
		rel := e.ChargedS.SD / e.ChargedS.Mean
		for i := range e.Parts {
			e.Parts[i].SD = e.Parts[i].Value * rel
		}
	}
}
