// Package money is integer arithmetic in the minor units of one currency (cents).
//
// Amounts never become floating point except to be multiplied by a rate, and then they are
// rounded once, half to even, by Round. Splitting loses no cent.
package money

import (
	"math"
	"strconv"
	"strings"
)

// Amount is a sum in minor units (cents, for a currency with two digits).
type Amount int64

// Round turns a computed value in minor units into an Amount, half to even.
func Round(minor float64) Amount { return Amount(math.RoundToEven(minor)) }

// Times is a scaled by f, rounded once.
func (a Amount) Times(f float64) Amount { return Round(float64(a) * f) }

// Split divides a into parts proportional to weights, by largest remainder, so that the parts sum to a
// exactly. Weights must be non-negative; if all are zero the first part takes everything.
func (a Amount) Split(weights []float64) []Amount {
	out := make([]Amount, len(weights))
	if len(weights) == 0 {
		return out
	}
	var sum float64
	for _, w := range weights {
		sum += w
	}
	if sum <= 0 {
		out[0] = a
		return out
	}
	rem := make([]float64, len(weights))
	var given Amount
	for i, w := range weights {
		exact := float64(a) * w / sum
		out[i] = Amount(math.Floor(exact))
		rem[i] = exact - math.Floor(exact)
		given += out[i]
	}
	for given < a {
		best := 0
		for i := range rem {
			if rem[i] > rem[best] {
				best = i
			}
		}
		out[best]++
		rem[best] = -1
		given++
	}
	return out
}

// Decimal writes a for programs: no spaces, a point, a fixed number of fraction digits, e.g. Decimal(1234567, 2) = "12345.67".
func Decimal(a Amount, digits int) string {
	sign, u := "", uint64(a)
	if a < 0 {
		sign, u = "-", uint64(-a)
	}
	s := strconv.FormatUint(u, 10)
	for len(s) <= digits {
		s = "0" + s
	}
	if digits <= 0 {
		return sign + s
	}
	return sign + s[:len(s)-digits] + "." + s[len(s)-digits:]
}

// Format prints a with a fixed number of fraction digits and thousands separated by a thin space,
// e.g. Format(1234567, 2) = "12 345.67". It is locale-free on purpose: papers and pages add the currency code.
func Format(a Amount, digits int) string {
	neg := a < 0
	u := uint64(a)
	if neg {
		u = uint64(-a)
	}
	s := strconv.FormatUint(u, 10)
	for len(s) <= digits {
		s = "0" + s
	}
	whole, frac := s[:len(s)-digits], s[len(s)-digits:]
	var b strings.Builder
	if neg {
		b.WriteByte('-')
	}
	for i, c := range whole {
		if i > 0 && (len(whole)-i)%3 == 0 {
			b.WriteRune('\u2009')
		}
		b.WriteRune(c)
	}
	if digits > 0 {
		b.WriteByte('.')
		b.WriteString(frac)
	}
	return b.String()
}
