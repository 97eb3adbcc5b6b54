package inspect

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"firstoff/fault"
)

// FewParts: with fewer values than this no index is stated, only the values (common practice).
const FewParts = 10

// Sample is a set of values summed up.
type Sample struct {
	N      int     `json:"n"`
	Mean   float64 `json:"mean"`
	S      float64 `json:"s"`      // overall
	Within float64 `json:"within"` // pooled over subgroups; 0 where there were none
	Min    float64 `json:"min"`
	Max    float64 `json:"max"`
}

// Summed sums values up in two passes. Subgroups, if more than one is given, also give the spread within.
func Summed(groups ...[]float64) (Sample, error) {
	s := Sample{Min: math.Inf(1), Max: math.Inf(-1)}
	for _, g := range groups {
		for _, v := range g {
			if !finite(v) {
				return Sample{}, fault.New(fault.Invalid, "sample_not_number", "", "every value must be a number; measure again")
			}
			s.N++
			s.Mean += v
			s.Min, s.Max = math.Min(s.Min, v), math.Max(s.Max, v)
		}
	}
	if s.N < 2 {
		return Sample{}, fault.New(fault.Invalid, "sample_too_small", "", "%d values have no spread; measure at least 2", s.N)
	}
	s.Mean /= float64(s.N)
	// A second pass takes the rounding out of mean and squares.
	d1, d2, ss, free := 0.0, 0.0, 0.0, 0
	for _, g := range groups {
		for _, v := range g {
			d1 += v - s.Mean
		}
	}
	s.Mean += d1 / float64(s.N)
	d1 = 0
	for _, g := range groups {
		m := 0.0
		for _, v := range g {
			d := v - s.Mean
			d1 += d
			d2 += d * d
			m += d
		}
		if len(g) > 1 && len(groups) > 1 {
			m /= float64(len(g))
			for _, v := range g {
				ss += (v - s.Mean - m) * (v - s.Mean - m)
			}
			free += len(g) - 1
		}
	}
	s.S = math.Sqrt(math.Max(0, d2-d1*d1/float64(s.N)) / float64(s.N-1))
	if free > 0 {
		s.Within = math.Sqrt(ss / float64(free))
	}
	return s, nil
}

// Interval is a confidence interval.
type Interval struct {
	Lo float64 `json:"lo"`
	Hi float64 `json:"hi"`
}

// Capability says how a process lies in its limits. Cp and Cpk use the spread within subgroups where subgroups were
// given, else the overall spread (ShortTerm says which); Pp and Ppk always the overall spread.
type Capability struct {
	Sample
	Index     bool     `json:"index"`     // false: too few values for an index; only the sample is stated
	ShortTerm bool     `json:"shortTerm"` // Cp and Cpk go by the spread within subgroups
	Cp        float64  `json:"cp"`        // 0 with one limit
	Cpk       float64  `json:"cpk"`
	Cpu       float64  `json:"cpu"`
	Cpl       float64  `json:"cpl"`
	K         float64  `json:"k"` // off-centre share
	Pp        float64  `json:"pp"`
	Ppk       float64  `json:"ppk"`
	CpIn      Interval `json:"cpIn"` // 95 %
	CpkIn     Interval `json:"cpkIn"`
	Words     string   `json:"words"`
}

// Capable computes the indices with 95 % intervals: for Cp by the chi-square of the spread; for Cpk by the usual normal
// approximation (from memory). Thresholds 1 and 1.33: Ekvall and Juran 1974.
func Capable(s Sample, l Limits) (Capability, error) {
	c := Capability{Sample: s}
	if l.NoLower && l.NoUpper || !l.NoLower && !l.NoUpper && l.Lower >= l.Upper {
		return c, fault.New(fault.Invalid, "limits_missing", "limits", "capability needs at least one limit, the lower below the upper")
	}
	if s.N < FewParts {
		c.Words = "too few parts for an index; see the values"
		return c, nil
	}
	if !(s.S > 0) {
		return c, fault.New(fault.Invalid, "no_spread", "", "all values are the same; the instrument is too coarse for a capability")
	}
	c.Index = true
	sd := s.S
	if s.Within > 0 {
		sd, c.ShortTerm = s.Within, true
	}
	c.Cp, c.Cpu, c.Cpl, c.Cpk = indices(s.Mean, sd, l)
	c.Pp, _, _, c.Ppk = indices(s.Mean, s.S, l)
	n, z := float64(s.N), distuv.UnitNormal.Quantile(0.975)
	if !l.NoLower && !l.NoUpper {
		mid := (l.Lower + l.Upper) / 2
		c.K = math.Abs(s.Mean-mid) / ((l.Upper - l.Lower) / 2)
		chi := distuv.ChiSquared{K: n - 1}
		c.CpIn = Interval{c.Cp * math.Sqrt(chi.Quantile(0.025)/(n-1)), c.Cp * math.Sqrt(chi.Quantile(0.975)/(n-1))}
	}
	e := z * math.Sqrt(1/(9*n)+c.Cpk*c.Cpk/(2*(n-1)))
	c.CpkIn = Interval{c.Cpk - e, c.Cpk + e}
	switch {
	case c.Cpk < 1:
		c.Words = "not adequate"
	case c.Cpk <= 1.33:
		c.Words = "adequate under close control"
	default:
		c.Words = "good"
	}
	return c, nil
}

func indices(mean, s float64, l Limits) (cp, cpu, cpl, cpk float64) {
	cpk = math.Inf(1)
	if !l.NoUpper {
		cpu = (l.Upper - mean) / (3 * s)
		cpk = math.Min(cpk, cpu)
	}
	if !l.NoLower {
		cpl = (mean - l.Lower) / (3 * s)
		cpk = math.Min(cpk, cpl)
	}
	if !l.NoLower && !l.NoUpper {
		cp = (l.Upper - l.Lower) / (6 * s)
	}
	return cp, cpu, cpl, cpk
}
