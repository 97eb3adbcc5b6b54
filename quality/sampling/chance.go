package sampling

import (
	"math"

	"firstoff/fault"
)

// Binomial is the chance of at most c nonconforming parts among n drawn from a process that makes share p of them.
func Binomial(n, c int, p float64) float64 {
	switch {
	case c < 0:
		return 0
	case c >= n || p <= 0:
		return 1
	case p >= 1:
		return 0
	}
	sum := 0.0
	lp, lq := math.Log(p), math.Log1p(-p)
	for k := 0; k <= c; k++ {
		sum += math.Exp(choose(n, k) + float64(k)*lp + float64(n-k)*lq)
	}
	return math.Min(1, sum)
}

// Poisson is the chance of at most c nonconformities in n items at a mean of u per item: for AQLs above 10, which
// count nonconformities per 100 items.
func Poisson(n, c int, u float64) float64 {
	if c < 0 {
		return 0
	}
	m := float64(n) * u
	if m <= 0 {
		return 1
	}
	sum := 0.0
	for k := 0; k <= c; k++ {
		lg, _ := math.Lgamma(float64(k) + 1)
		sum += math.Exp(float64(k)*math.Log(m) - m - lg)
	}
	return math.Min(1, sum)
}

// Hypergeometric is the chance of at most c nonconforming parts among n drawn from a lot that holds bad of them:
// for short isolated lots.
func Hypergeometric(lot, bad, n, c int) float64 {
	bad, n = max(0, min(bad, lot)), max(0, min(n, lot))
	sum := 0.0
	for k := max(0, n-(lot-bad)); k <= min(c, n, bad); k++ {
		sum += math.Exp(choose(bad, k) + choose(lot-bad, n-k) - choose(lot, n))
	}
	return math.Min(1, sum)
}

// choose is the logarithm of the number of ways to draw k of n.
func choose(n, k int) float64 {
	a, _ := math.Lgamma(float64(n) + 1)
	b, _ := math.Lgamma(float64(k) + 1)
	c, _ := math.Lgamma(float64(n-k) + 1)
	return a - b - c
}

// QualityAt is the share nonconforming at which a plan (n, c) accepts with the given chance: 0.95 gives the
// producer's point, 0.10 the consumer's.
func QualityAt(n, c int, chance float64) (float64, error) {
	if n < 1 || c < 0 || c >= n || !(chance > 0 && chance < 1) {
		return 0, fault.New(fault.Invalid, "plan_has_no_point", "plan", "a plan of %d with acceptance number %d has no quality accepted with chance %g; the number must lie below the sample and the chance between 0 and 1", n, c, chance)
	}
	lo, hi := 0.0, 1.0
	for range 200 {
		mid := lo + (hi-lo)/2
		if mid == lo || mid == hi {
			break
		}
		if Binomial(n, c, mid) > chance {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo + (hi-lo)/2, nil
}

// Point is one point of an operating characteristic.
type Point struct {
	Share  float64 `json:"share"`
	Accept float64 `json:"accept"`
}

// Curve is the operating characteristic of a plan from no nonconforming parts to where it hardly ever accepts
// (chance 0.001), in steps equal steps.
func (p Plan) Curve(steps int) []Point {
	steps = max(1, min(steps, 10_000))
	end := 1.0
	if q, err := QualityAt(p.N, p.Ac, 0.001); err == nil {
		end = q
	}
	out := make([]Point, steps+1)
	for i := range out {
		s := end * float64(i) / float64(steps)
		out[i] = Point{s, p.Accept(s)}
	}
	return out
}

// MaxSample is the largest sample a searched plan may have.
const MaxSample = 100_000

// ZeroPlan is the sample that accepts on zero nonconforming parts and, once accepted, shows with the given
// confidence that the process makes less than share p of them: ⌈ln(1−confidence)/ln(1−p)⌉.
func ZeroPlan(confidence, p float64) (int, error) {
	if !(confidence > 0 && confidence < 1 && p > 0 && p < 1) {
		return 0, fault.New(fault.Invalid, "zero_plan_range", "plan", "confidence %g and share %g must both lie between 0 and 1", confidence, p)
	}
	n := math.Ceil(math.Log1p(-confidence)/math.Log1p(-p) - 1e-9)
	if n > MaxSample {
		return 0, fault.New(fault.TooLarge, "zero_plan_too_large", "plan", "showing a share below %g needs %.0f parts without a fault, more than %d; ask for less", p, n, MaxSample)
	}
	return int(n), nil
}

// ZeroLot is the smallest sample of a lot that would catch, with the given confidence, at least one of bad
// nonconforming parts in it.
func ZeroLot(lot, bad int, confidence float64) (int, error) {
	if lot < 1 || bad < 1 || bad > lot || !(confidence > 0 && confidence < 1) {
		return 0, fault.New(fault.Invalid, "zero_lot_range", "plan", "a lot of %d cannot hold %d nonconforming parts to be found with confidence %g", lot, bad, confidence)
	}
	lo, hi := 1, lot
	for lo < hi {
		if mid := (lo + hi) / 2; Hypergeometric(lot, bad, mid, 0) <= 1-confidence+1e-12 {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	return lo, nil
}

// Search is the smallest plan that accepts share good with a chance of at least acceptGood and share bad with a
// chance of at most acceptBad (binomial).
func Search(good, acceptGood, bad, acceptBad float64) (n, c int, err error) {
	if !(0 < good && good < bad && bad < 1 && 0 < acceptBad && acceptBad < acceptGood && acceptGood < 1) {
		return 0, 0, fault.New(fault.Invalid, "plan_search_range", "plan", "the good share must lie below the bad one and be accepted more often: got %g at %g, %g at %g", good, acceptGood, bad, acceptBad)
	}
	n = 1
	for c = 0; n <= MaxSample; c++ {
		// The smallest sample that keeps the bad out grows with c; the first whose good still passes is the plan.
		for n = max(n, c+1); n <= MaxSample && Binomial(n, c, bad) > acceptBad; n++ {
		}
		if n <= MaxSample && Binomial(n, c, good) >= acceptGood {
			return n, c, nil
		}
	}
	return 0, 0, fault.New(fault.TooLarge, "plan_too_large", "plan", "telling %g from %g apart with these chances takes more than %d parts; move them apart", good, bad, MaxSample)
}
