package inspect

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"firstoff/fault"
)

// GaugeStudy is a crossed study: Values[operator][part][trial], every operator measuring every part as often.
type GaugeStudy struct {
	Values [][][]float64 `json:"values"`
}

// Gauge is how much of what is seen comes from measuring. Spreads are standard deviations.
type Gauge struct {
	Method     string  `json:"method"`
	RBar       float64 `json:"rBar,omitempty"`
	XDiff      float64 `json:"xDiff,omitempty"`
	RPart      float64 `json:"rPart,omitempty"`
	EV         float64 `json:"ev"` // repeatability
	AV         float64 `json:"av"` // reproducibility
	GRR        float64 `json:"grr"`
	PV         float64 `json:"pv"`
	TV         float64 `json:"tv"`
	Percent    float64 `json:"percent"`  // GRR of TV
	Category   float64 `json:"category"` // 1.41·PV/GRR
	Categories int     `json:"categories"`
	Words      string  `json:"words"`
	Anova      *Anova  `json:"anova,omitempty"`
}

// Anova is the two-way analysis of a gauge study.
type Anova struct {
	SSPart, SSOperator, SSInteraction, SSError, SSTotal float64
	DFPart, DFOperator, DFInteraction, DFError          int
	FPart, FOperator, FInteraction                      float64 // parts and operators against the interaction
	PPart, POperator, PInteraction                      float64
	Pooled                                              bool // interaction joined with error
	VarRepeat, VarOperator, VarInteraction              float64
	VarReproduce, VarPart, VarGRR, VarTotal             float64
}

// Constants of the average and range method (from memory; confirmed by reproducing a published study).
var (
	k1 = map[int]float64{2: 0.8862, 3: 0.5908}                                                                      // by trials
	k2 = map[int]float64{2: 0.7071, 3: 0.5231}                                                                      // by operators
	k3 = map[int]float64{2: .7071, 3: .5231, 4: .4467, 5: .4030, 6: .3742, 7: .3534, 8: .3375, 9: .3249, 10: .3146} // by parts
)

func (g GaugeStudy) shape() (o, p, r int, err error) {
	o = len(g.Values)
	if o > 0 {
		p = len(g.Values[0])
	}
	if p > 0 {
		r = len(g.Values[0][0])
	}
	if o < 2 || p < 2 || r < 2 {
		return 0, 0, 0, fault.New(fault.Invalid, "gauge_too_small", "", "a gauge study needs at least 2 operators, 2 parts and 2 trials")
	}
	for _, op := range g.Values {
		if len(op) != p {
			return 0, 0, 0, fault.New(fault.Invalid, "gauge_uneven", "", "every operator must measure the same parts; fill the gaps or leave the part out")
		}
		for _, part := range op {
			if len(part) != r {
				return 0, 0, 0, fault.New(fault.Invalid, "gauge_uneven", "", "every part must be measured as often by everyone; fill the gaps or leave the trial out")
			}
			for _, v := range part {
				if !finite(v) {
					return 0, 0, 0, fault.New(fault.Invalid, "gauge_not_number", "", "every reading must be a number; measure again")
				}
			}
		}
	}
	return o, p, r, nil
}

// AverageRange is the average and range method: 2 or 3 operators and trials, 2 to 10 parts.
func (g GaugeStudy) AverageRange() (Gauge, error) {
	o, p, r, err := g.shape()
	if err != nil {
		return Gauge{}, err
	}
	if k1[r] == 0 || k2[o] == 0 || k3[p] == 0 {
		return Gauge{}, fault.New(fault.Unsupported, "gauge_constants", "", "the average and range method has constants for 2 or 3 operators and trials and up to 10 parts, not %d, %d and %d; use the analysis of variance", o, r, p)
	}
	out := Gauge{Method: "average and range"}
	lo, hi := math.Inf(1), math.Inf(-1)
	part := make([]float64, p)
	for _, op := range g.Values {
		mean := 0.0
		for j, vs := range op {
			l, h := math.Inf(1), math.Inf(-1)
			for _, v := range vs {
				l, h = math.Min(l, v), math.Max(h, v)
				mean += v / float64(p*r)
				part[j] += v / float64(o*r)
			}
			out.RBar += (h - l) / float64(o*p)
		}
		lo, hi = math.Min(lo, mean), math.Max(hi, mean)
	}
	out.XDiff = hi - lo
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, v := range part {
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	out.RPart = hi - lo
	out.EV = out.RBar * k1[r]
	out.AV = math.Sqrt(math.Max(0, sqr(out.XDiff*k2[o])-sqr(out.EV)/float64(p*r)))
	out.PV = out.RPart * k3[p]
	out.finish()
	return out, nil
}

// ByVariance is the analysis of variance, for any balanced study. The interaction is joined with the error when its
// probability is above alpha; 0 means 0.25 (common practice).
func (g GaugeStudy) ByVariance(alpha float64) (Gauge, error) {
	o, p, r, err := g.shape()
	if err != nil {
		return Gauge{}, err
	}
	if alpha <= 0 {
		alpha = 0.25
	}
	n := float64(o * p * r)
	grand := 0.0
	part, oper := make([]float64, p), make([]float64, o)
	cell := make([][]float64, o)
	for i, op := range g.Values {
		cell[i] = make([]float64, p)
		for j, vs := range op {
			for _, v := range vs {
				grand += v / n
				part[j] += v / float64(o*r)
				oper[i] += v / float64(p*r)
				cell[i][j] += v / float64(r)
			}
		}
	}
	a := &Anova{DFPart: p - 1, DFOperator: o - 1, DFInteraction: (p - 1) * (o - 1), DFError: o * p * (r - 1)}
	for j := range part {
		a.SSPart += float64(o*r) * sqr(part[j]-grand)
	}
	for i := range oper {
		a.SSOperator += float64(p*r) * sqr(oper[i]-grand)
		for j := range part {
			a.SSInteraction += float64(r) * sqr(cell[i][j]-part[j]-oper[i]+grand)
			for _, v := range g.Values[i][j] {
				a.SSError += sqr(v - cell[i][j])
				a.SSTotal += sqr(v - grand)
			}
		}
	}
	msP, msO := a.SSPart/float64(a.DFPart), a.SSOperator/float64(a.DFOperator)
	msI, msE := a.SSInteraction/float64(a.DFInteraction), a.SSError/float64(a.DFError)
	if msE == 0 || a.SSTotal == 0 {
		return Gauge{}, fault.New(fault.Invalid, "gauge_no_spread", "", "repeated readings never differ; the instrument is too coarse for a study")
	}
	a.FInteraction = msI / msE
	a.PInteraction = tail(a.FInteraction, a.DFInteraction, a.DFError)
	base, dfBase := msI, a.DFInteraction
	a.VarRepeat = msE
	if a.PInteraction > alpha {
		a.Pooled = true
		dfBase = a.DFInteraction + a.DFError
		base = (a.SSInteraction + a.SSError) / float64(dfBase)
		a.VarRepeat = base
	} else {
		a.VarInteraction = math.Max(0, (msI-msE)/float64(r))
	}
	if base > 0 {
		a.FPart, a.FOperator = msP/base, msO/base
		a.PPart, a.POperator = tail(a.FPart, a.DFPart, dfBase), tail(a.FOperator, a.DFOperator, dfBase)
	}
	a.VarOperator = math.Max(0, (msO-base)/float64(p*r))
	a.VarPart = math.Max(0, (msP-base)/float64(o*r))
	a.VarReproduce = a.VarOperator + a.VarInteraction
	a.VarGRR = a.VarRepeat + a.VarReproduce
	a.VarTotal = a.VarGRR + a.VarPart
	out := Gauge{Method: "analysis of variance", EV: math.Sqrt(a.VarRepeat), AV: math.Sqrt(a.VarReproduce), PV: math.Sqrt(a.VarPart), Anova: a}
	out.finish()
	return out, nil
}

// tail is the chance of an F at least as large.
func tail(f float64, d1, d2 int) float64 {
	return distuv.F{D1: float64(d1), D2: float64(d2)}.Survival(f)
}

// finish sums up. Up to 10 % is good, to 30 % conditional, above not acceptable; at least 5 categories are wanted
// (common practice).
func (g *Gauge) finish() {
	g.GRR = math.Hypot(g.EV, g.AV)
	g.TV = math.Hypot(g.GRR, g.PV)
	if g.TV > 0 {
		g.Percent = 100 * g.GRR / g.TV
	}
	if g.GRR > 0 {
		g.Category = 1.41 * g.PV / g.GRR
		g.Categories = int(g.Category)
	}
	switch {
	case g.Percent <= 10:
		g.Words = "good"
	case g.Percent <= 30:
		g.Words = "conditional: weigh what a wrong decision costs"
	default:
		g.Words = "not acceptable"
	}
}

func sqr(v float64) float64 { return v * v }

// ReadGauge reads a study from a table with the columns operator, trial, part and value (comma or semicolon between fields). Every operator
// must have measured every part as often. Faults: those of reading tables; Invalid "study_uneven".
func ReadGauge(data []byte) (GaugeStudy, error) {
	t, err := readTable(data, []string{"operator", "trial", "part", "value"}, "operator", "part", "value")
	if err != nil {
		return GaugeStudy{}, err
	}
	var g GaugeStudy
	operators, parts := map[string]int{}, map[string]int{}
	for i := range t.rows {
		o, p := t.text(i, "operator"), t.text(i, "part")
		if _, ok := operators[o]; !ok {
			operators[o] = len(operators)
			g.Values = append(g.Values, nil)
		}
		if _, ok := parts[p]; !ok {
			parts[p] = len(parts)
		}
		v, has, err := t.number(i, "value")
		if err != nil {
			return GaugeStudy{}, err
		}
		if !has {
			return GaugeStudy{}, fault.New(fault.Invalid, "study_uneven", t.where(i), "a value is missing; every operator measures every part as often")
		}
		of := g.Values[operators[o]]
		for len(of) <= parts[p] {
			of = append(of, nil)
		}
		of[parts[p]] = append(of[parts[p]], v)
		g.Values[operators[o]] = of
	}
	if _, _, _, err := g.shape(); err != nil {
		return GaugeStudy{}, err
	}
	return g, nil
}
