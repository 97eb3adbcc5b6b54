// Package decimal reads numbers out of the bytes of a text file, in place and without allocating.
//
// Promise: Float32 gives the float32 nearest to the decimal number as written (ties to even), the same bits as
// strconv.ParseFloat(s, 32), and Float64 likewise: TestAgreesWithStrconv, FuzzFloat32.
//
// Method of Float32: digits are gathered in a 64-bit integer m, the value is m·10^e in float64 with an error below two units
// in its last place, and float32 has 29 bits less. Rounding that float64 to float32 can differ from rounding the
// true value only if a midpoint between two float32 lies inside the error; those rare cases, subnormals and
// overlong numbers go through strconv.
package decimal

import (
	"math"
	"strconv"
)

// margin is the error bound in units of the last place of the float64: ½ for m, ½ for the power of ten, ½ for the
// product, rounded up generously.
const margin = 4

// Float32 reads the decimal number that starts at s[i] and gives it with the index after it.
// next == i means that no number starts there ("nan" and "inf" are no numbers). Too large a number gives ±Inf.
func Float32(s []byte, i int) (v float32, next int) {
	start, n := i, len(s)
	var sign uint32
	if i < n && (s[i] == '-' || s[i] == '+') {
		if s[i] == '-' {
			sign = 1 << 31
		}
		i++
	}
	var m uint64
	first := i
	for i < n {
		c := s[i] - '0'
		if c > 9 {
			break
		}
		m = m*10 + uint64(c)
		i++
	}
	digits, exp := i-first, 0
	if i < n && s[i] == '.' {
		i++
		first = i
		for i < n {
			c := s[i] - '0'
			if c > 9 {
				break
			}
			m = m*10 + uint64(c)
			i++
		}
		exp = first - i
		digits += i - first
	}
	if digits == 0 {
		return 0, start
	}
	if i < n && s[i]|0x20 == 'e' {
		e, after := exponent(s, i+1)
		exp += e
		i = max(i, after)
	}
	if digits > 19 || exp < -len(tens)+1 || exp >= len(tens) {
		return slow(s, start, i)
	}
	d := float64(m)
	if exp < 0 {
		d /= tens[-exp]
	} else if exp > 0 {
		d *= tens[exp]
	}
	bits := math.Float64bits(d)
	if low := int64(bits&(1<<29-1)) - 1<<28; low >= -margin && low <= margin || d < 0x1p-126 && m != 0 || d > math.MaxFloat32 {
		return slow(s, start, i)
	}
	return math.Float32frombits(math.Float32bits(float32(d)) | sign), i
}

// exponent reads [+-]digits at s[i]; after == 0 when there are no digits, and then nothing of it belongs to the number.
func exponent(s []byte, i int) (e, after int) {
	neg := false
	if i < len(s) && (s[i] == '-' || s[i] == '+') {
		neg = s[i] == '-'
		i++
	}
	first := i
	for i < len(s) {
		c := s[i] - '0'
		if c > 9 {
			break
		}
		if e < 100_000 {
			e = e*10 + int(c)
		}
		i++
	}
	if i == first {
		return 0, 0
	}
	if neg {
		e = -e
	}
	return e, i
}

func slow(s []byte, from, to int) (float32, int) {
	v, err := strconv.ParseFloat(string(s[from:to]), 32)
	if err != nil && v == 0 {
		return 0, from
	}
	return float32(v), to
}

// Float64 reads the decimal number at s[i] as Float32 does, to the nearest float64. Up to 2^53 and 10^±22 digits and power of ten
// are exact in float64, so one operation rounds once; the rest goes through strconv.
func Float64(s []byte, i int) (v float64, next int) {
	start, n := i, len(s)
	neg := false
	if i < n && (s[i] == '-' || s[i] == '+') {
		neg = s[i] == '-'
		i++
	}
	var m uint64
	first := i
	for i < n {
		c := s[i] - '0'
		if c > 9 {
			break
		}
		m = m*10 + uint64(c)
		i++
	}
	digits, exp := i-first, 0
	if i < n && s[i] == '.' {
		i++
		first = i
		for i < n {
			c := s[i] - '0'
			if c > 9 {
				break
			}
			m = m*10 + uint64(c)
			i++
		}
		exp = first - i
		digits += i - first
	}
	if digits == 0 {
		return 0, start
	}
	if i < n && s[i]|0x20 == 'e' {
		e, after := exponent(s, i+1)
		exp += e
		i = max(i, after)
	}
	if digits > 19 || m > 1<<53 || exp < -22 || exp > 22 {
		v, err := strconv.ParseFloat(string(s[start:i]), 64)
		if err != nil && v == 0 {
			return 0, start
		}
		return v, i
	}
	v = float64(m)
	if exp < 0 {
		v /= tens[-exp]
	} else {
		v *= tens[exp]
	}
	if neg {
		v = -v
	}
	return v, i
}

// Uint reads the digits at s[i]. next == i when there are none or the number passes 2^53.
func Uint(s []byte, i int) (v uint64, next int) {
	j := i
	for j < len(s) {
		c := s[j] - '0'
		if c > 9 {
			break
		}
		if v >= 1<<53/10 {
			return 0, i
		}
		v = v*10 + uint64(c)
		j++
	}
	return v, j
}

// Finite says whether v is neither infinite nor NaN.
func Finite(v float32) bool { return math.Float32bits(v)&0x7f800000 != 0x7f800000 }

// AllFinite gives the index of the first value that is infinite or NaN, or -1.
func AllFinite(v []float32) int {
	for i, x := range v {
		if !Finite(x) {
			return i
		}
	}
	return -1
}

var tens = func() (t [60]float64) {
	for i := range t {
		t[i], _ = strconv.ParseFloat("1e"+strconv.Itoa(i), 64)
	}
	return
}()
