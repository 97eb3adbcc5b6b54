package inspect

import (
	"fmt"
	"math"
	"time"

	"firstoff/fault"
)

// Guard is how wide the guard band is: so many standard uncertainties.
type Guard float64

const (
	Guard95  Guard = 1.65 // ISO 14253-1:2017: 95 % conformance, one-sided
	Guard2u  Guard = 2    // earlier editions: the expanded uncertainty
	NoGuard  Guard = -1   // simple acceptance: must be agreed beforehand
	GuardStd       = Guard95
)

func (g Guard) width(u float64) float64 {
	switch {
	case g < 0:
		return 0
	case g == 0:
		g = GuardStd
	}
	return float64(g) * u
}

// Decision is what a value means for conformity.
type Decision string

const (
	Accept    Decision = "accept"
	Reject    Decision = "reject"
	Undecided Decision = "not decided" // within the uncertainty of a limit: neither side can prove its case
)

// Decide is the decision rule of ISO 14253-1 for a value with standard uncertainty u: conformity is proved within the
// limits drawn in by the guard band, nonconformity outside the limits widened by it. The zero Guard is Guard95.
func Decide(value, u float64, l Limits, g Guard) Decision {
	if math.IsNaN(value) || math.IsNaN(u) || u < 0 {
		return Undecided
	}
	w := g.width(u)
	if !l.NoLower && value < l.Lower-w || !l.NoUpper && value > l.Upper+w {
		return Reject
	}
	lo, hi := AcceptanceZone(l, u, g)
	// The last digits of a sum of decimals decide nothing.
	eps := 1e-12 * (math.Abs(value) + w)
	if value >= lo-eps && value <= hi+eps {
		return Accept
	}
	return Undecided
}

// AcceptanceZone is where a value proves conformity; empty (lo > hi) when the uncertainty is too large for the tolerance.
func AcceptanceZone(l Limits, u float64, g Guard) (lo, hi float64) {
	lo, hi = math.Inf(-1), math.Inf(1)
	w := g.width(u)
	if !l.NoLower {
		lo = l.Lower + w
	}
	if !l.NoUpper {
		hi = l.Upper - w
	}
	return lo, hi
}

// Provable says whether any value at all could prove conformity with this uncertainty.
func Provable(l Limits, u float64, g Guard) bool {
	lo, hi := AcceptanceZone(l, u, g)
	return lo <= hi
}

// ProfileValue is the profile of a surface that signed deviations from least to most show: twice the largest, for a zone
// equal on both sides (ASME Y14.5.1, from memory). It goes against UpTo(t) of a characteristic of kind Profile.
func ProfileValue(least, most float64) float64 {
	return 2 * math.Max(math.Abs(least), math.Abs(most))
}

// MaxRule is a process tolerance of the form "fixed or a share of the length, whichever is more" (common practice).
type MaxRule struct {
	Fixed float64 `json:"fixed"`
	Share float64 `json:"share"`
}

// At is the tolerance at a length, plus and minus.
func (r MaxRule) At(length float64) float64 { return math.Max(r.Fixed, r.Share*length) }

// Crossover is the length above which the share counts.
func (r MaxRule) Crossover() float64 { return r.Fixed / r.Share }

// Reach is how a tolerance asked for compares with the range a process holds, twice plus-and-minus (common practice):
// below 1 not without machining, to 1.33 with a first article, above that as it comes.
func (r MaxRule) Reach(l Limits, length float64) (ratio float64, advice string) {
	ratio = l.Width() / (2 * r.At(length))
	switch {
	case ratio < 1:
		return ratio, "not without machining"
	case ratio <= 4.0/3:
		return ratio, "with a first article"
	}
	return ratio, "as it comes"
}

// Result is one value measured on one piece at one place.
type Result struct {
	Balloon    int       `json:"balloon"`
	Piece      string    `json:"piece"`
	Place      int       `json:"place,omitempty"`
	Value      float64   `json:"value"`
	U          float64   `json:"u"` // standard uncertainty
	Instrument string    `json:"instrument,omitempty"`
	By         string    `json:"by,omitempty"`
	At         time.Time `json:"at,omitzero"`
}

// Judged is a result with its decision.
type Judged struct {
	Result
	Decision Decision `json:"decision"`
	Off      float64  `json:"off"` // from nominal
}

// Verdict sums a set of results up.
type Verdict struct {
	Judged    []Judged `json:"judged"`
	Accepted  int      `json:"accepted"`  // values
	Rejected  int      `json:"rejected"`  // values
	Undecided int      `json:"undecided"` // values
	Bad       []string `json:"bad"`       // pieces with a rejected value, in the order met
	Open      []string `json:"open"`      // pieces with an undecided value and no rejected one
	Missing   []int    `json:"missing"`   // balloons without a result
}

// Conforms says whether every characteristic has a result and every value is accepted.
func (v Verdict) Conforms() bool {
	return v.Rejected == 0 && v.Undecided == 0 && len(v.Missing) == 0 && v.Accepted > 0
}

// Judge decides every result against its characteristic.
func Judge(cs []Characteristic, rs []Result, g Guard) (Verdict, error) {
	if err := CheckAll(cs); err != nil {
		return Verdict{}, err
	}
	by := map[int]Characteristic{}
	for _, c := range cs {
		by[c.Balloon] = c
	}
	var v Verdict
	measured, worst := map[int]bool{}, map[string]Decision{}
	var order []string
	for i, r := range rs {
		c, ok := by[r.Balloon]
		if !ok {
			return Verdict{}, fault.New(fault.Invalid, "result_without_balloon", fmt.Sprintf("result %d", i+1), "no characteristic has balloon %d; correct the number", r.Balloon)
		}
		if !finite(r.Value) || !finite(r.U) || r.U < 0 {
			return Verdict{}, fault.New(fault.Invalid, "result_not_number", fmt.Sprintf("result %d", i+1), "value and uncertainty of balloon %d must be numbers, the uncertainty not negative; measure again", r.Balloon)
		}
		j := Judged{r, Decide(r.Value, r.U, c.Limits, g), r.Value - c.Nominal}
		v.Judged = append(v.Judged, j)
		measured[r.Balloon] = true
		if _, ok := worst[r.Piece]; !ok {
			order = append(order, r.Piece)
			worst[r.Piece] = Accept
		}
		switch j.Decision {
		case Accept:
			v.Accepted++
		case Reject:
			v.Rejected++
			worst[r.Piece] = Reject
		default:
			v.Undecided++
			if worst[r.Piece] == Accept {
				worst[r.Piece] = Undecided
			}
		}
	}
	for _, p := range order {
		switch worst[p] {
		case Reject:
			v.Bad = append(v.Bad, p)
		case Undecided:
			v.Open = append(v.Open, p)
		}
	}
	for _, c := range cs {
		if !measured[c.Balloon] {
			v.Missing = append(v.Missing, c.Balloon)
		}
	}
	return v, nil
}
