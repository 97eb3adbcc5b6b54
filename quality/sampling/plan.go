package sampling

import (
	"fmt"
	"math"
	"strings"

	"firstoff/fault"
)

// Severity is how hard the inspection is; Switch moves between them.
type Severity string

const (
	Normal    Severity = "normal"
	Tightened Severity = "tightened"
	Reduced   Severity = "reduced"
)

// Plan is a single sampling plan for one lot: take N parts, accept the lot at up to Ac nonconforming ones, do not
// accept it at Re or more.
type Plan struct {
	Lot      int      `json:"lot"`
	Level    Level    `json:"level,omitempty"`
	AQL      float64  `json:"aql"` // per 100 items
	Severity Severity `json:"severity"`
	Letter   string   `json:"letter,omitempty"` // of the lot
	Use      string   `json:"use,omitempty"`    // the letter the arrows lead to
	N        int      `json:"n"`
	Ac       int      `json:"ac"`
	Re       int      `json:"re"`
	Whole    bool     `json:"whole"` // the plan's sample is not smaller than the lot: every part is inspected
}

// aqls are the preferred AQLs, each about 1.6 times the one before.
var aqls = []float64{0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10, 15, 25, 40, 65, 100, 150, 250, 400, 650, 1000}

// AQLs are the preferred acceptance quality limits, per 100 items.
func AQLs() []float64 { return append([]float64(nil), aqls...) }

// What a cell of the table says when it is not a plan.
const (
	down = -1 // use the first plan below
	up   = -2 // use the first plan above
)

// cell is one cell of the single plans: the acceptance number, or down or up.
//
// All cells follow one diagonal. Along it stand 0, two arrows, then the acceptance numbers of the severity, each
// sample size 1.6 times the one before matching an AQL 1.6 times smaller; the last two numbers exist for the
// letters A to E only. Three cells at the corners are drawn otherwise.
func cell(s Severity, row, col int) int {
	if s == Reduced {
		return reduced(row, col)
	}
	k := col - (14 - row)
	second, ac := up, []int{1, 2, 3, 5, 7, 10, 14, 21, 30, 44}
	if s == Tightened {
		k = col - (15 - row)
		second, ac = down, []int{1, 2, 3, 5, 8, 12, 18, 27, 41}
	}
	const a, e, r = 0, 4, 15
	long := len(ac) - 2
	switch {
	case s == Normal && row == a && k == 1, s == Tightened && row == a && k == 0:
		return down // nothing stands above A
	case s == Normal && row == r && k == 2, s == Tightened && row == r && k == 1:
		return up // nothing stands below R
	case k < 0:
		return down
	case k == 0:
		return 0
	case k == 1:
		return second
	case k == 2:
		return down
	case k-3 < long, k-3 < len(ac) && row <= e:
		return ac[k-3]
	}
	return up
}

// reduced is cell for reduced inspection: along the diagonal 0, an arrow up, two down, then the acceptance numbers. The letters A and B, whose
// sample is C's, have the numbers of normal inspection.
func reduced(row, col int) int {
	const a, b, c, e, q, r = 0, 1, 2, 4, 14, 15
	k := col - (14 - row)
	ac := []int{1, 2, 3, 5, 6, 8, 10, 14, 21}
	long := 7
	switch {
	case k < 0:
		return down
	case k == 0:
		return 0
	case row <= b:
		ac = []int{1, 2, 3, 5, 7, 10, 14, 21, 30}
		if row == a {
			k++ // nothing stands above A: its numbers begin beside B's
			if k <= 3 {
				return down
			}
		}
		long = len(ac)
	case row >= c && row <= e:
		long = len(ac)
	}
	switch {
	case k == 1:
		return up
	case k == 2 && row >= q, k == 3 && row == r:
		return up // nothing stands below R
	case k <= 3:
		return down
	case k-4 < long:
		return ac[k-4]
	}
	return up
}

// size is the sample of a letter.
func size(s Severity, row int) int {
	if s == Reduced {
		return reducedSizes[row]
	}
	return sizes[row]
}

// Single is the single sampling plan of a lot. Where the table has an arrow, the plan it points to is taken with
// its own sample size; where that is not smaller than the lot, every part is inspected.
func Single(lot int, level Level, aql float64, s Severity) (Plan, error) {
	if s != Normal && s != Tightened && s != Reduced {
		return Plan{}, fault.New(fault.Invalid, "severity_unknown", "severity", "there are plans for normal, tightened and reduced inspection, not for %q", s)
	}
	col := -1
	for i, v := range aqls {
		if math.Abs(aql-v) <= 1e-9*v {
			col = i
		}
	}
	if col < 0 {
		return Plan{}, fault.New(fault.Invalid, "aql_not_preferred", "aql", "%g is not one of the standard's acceptance quality limits; use %s", aql, nearestAQLs(aql))
	}
	if lot == 1 {
		return Plan{Lot: 1, Level: level, AQL: aql, Severity: s, N: 1, Ac: 0, Re: 1, Whole: true}, nil
	}
	letter, err := Letter(lot, level)
	if err != nil {
		return Plan{}, err
	}
	p := Plan{Lot: lot, Level: level, AQL: aql, Severity: s, Letter: letter}
	row, ac := follow(s, strings.Index(letters, letter), col)
	p.Use, p.N, p.Ac, p.Re = letters[row:row+1], size(s, row), ac, ac+1
	if p.N >= lot {
		p.N, p.Whole = lot, true
	}
	return p, nil
}

// follow walks along the arrows from a cell to a plan.
func follow(s Severity, row, col int) (int, int) {
	for {
		switch c := cell(s, row, col); c {
		case down:
			row++
		case up:
			row--
		default:
			return row, c
		}
	}
}

func nearestAQLs(aql float64) string {
	for i, v := range aqls {
		if v > aql {
			if i == 0 {
				return fmt.Sprintf("%g", v)
			}
			return fmt.Sprintf("%g or %g", aqls[i-1], v)
		}
	}
	return fmt.Sprintf("at most %g", aqls[len(aqls)-1])
}

// Accepts says whether the plan accepts a sample with that many nonconforming parts.
func (p Plan) Accepts(nonconforming int) bool { return nonconforming <= p.Ac }

// Accept is the chance that the plan accepts when share p of the process is nonconforming (binomial): what the
// plan does over many lots.
func (p Plan) Accept(share float64) float64 { return Binomial(p.N, p.Ac, share) }

// AcceptLot is the chance that the plan accepts this very lot when it holds that many nonconforming parts
// (hypergeometric).
func (p Plan) AcceptLot(bad int) float64 { return Hypergeometric(p.Lot, bad, p.N, p.Ac) }

// String is the plan in a line for a traveller.
func (p Plan) String() string {
	if p.Whole {
		return fmt.Sprintf("inspect all %d, accept at %d, refuse at %d", p.N, p.Ac, p.Re)
	}
	return fmt.Sprintf("inspect %d of %d, accept at %d, refuse at %d (letter %s, AQL %g, %s)", p.N, p.Lot, p.Ac, p.Re, p.Use, p.AQL, p.Severity)
}
