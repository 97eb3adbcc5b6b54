package unit_test

import (
	"math"
	"testing"

	"firstoff/checks"
	"firstoff/shop"
	"firstoff/unit"
)

// TestWorkedExamples computes rows U01 and U02 of the trade's worked examples: inches, litres and diagonals of envelopes, one temperature (no code
// of ours takes Fahrenheit; the definition is checked so that the row stands).
func TestWorkedExamples(t *testing.T) {
	u01 := checks.WorkedRow(t, "U01")
	in, out := checks.Alternatives(u01.Inputs), checks.Alternatives(u01.Outputs)
	for i := range 2 {
		got, want := checks.Numbers(" " + in[i])[0]*unit.Inch.MM(), checks.Numbers(" " + out[i])[0]
		if math.Abs(got-want) > u01.Tol() {
			t.Errorf("U01: %.5f mm, the row says %.5f", got, want)
		}
	}
	if got, want := (checks.Numbers(" " + in[2])[0]-32)*5/9, checks.Numbers(" " + out[2])[0]; math.Abs(got-want) > 0.005 {
		t.Errorf("U01: %.3f °C, the row says %.2f", got, want)
	}
	u02 := checks.WorkedRow(t, "U02")
	in, out = checks.Alternatives(u02.Inputs), checks.Alternatives(u02.Outputs)
	seen := 0
	for i, s := range in {
		var inch [3]float64
		n := numbersBetween(s)
		copy(inch[:], n)
		e := shop.Envelope{X: inch[0] * unit.Inch.MM(), Y: inch[1] * unit.Inch.MM(), Z: inch[2] * unit.Inch.MM()}
		w := numbersBetween(out[i]) // sides (one for a cube), litres, diagonal
		if len(w) == 3 {
			w = []float64{w[0], w[0], w[0], w[1], w[2]}
		}
		litres, diagonal := e.X*e.Y*e.Z/1e6, math.Sqrt(e.X*e.X+e.Y*e.Y+e.Z*e.Z)
		for k, got := range []float64{e.X, e.Y, e.Z, litres, diagonal} {
			tol := 0.05 // a tenth in sides and diagonals
			if k == 3 {
				tol = u02.Tol()
			}
			if math.Abs(got-w[k]) > tol {
				t.Errorf("U02 %s: %.4f, the row says %.4f", s, got, w[k])
			}
			seen++
		}
	}
	if seen != 20 {
		t.Errorf("%d figures of U02 compared, twenty are wanted", seen)
	}
}

// numbersBetween are the numbers of a text in which sizes are written 36x24x36.
func numbersBetween(s string) (out []float64) {
	at := 0
	for at < len(s) {
		if s[at] < '0' || s[at] > '9' {
			at++
			continue
		}
		v, scale, dot := 0.0, 1.0, false
		for ; at < len(s) && (s[at] >= '0' && s[at] <= '9' || s[at] == '.' && !dot); at++ {
			if s[at] == '.' {
				dot = true
				continue
			}
			v = v*10 + float64(s[at]-'0')
			if dot {
				scale *= 10
			}
		}
		out = append(out, v/scale)
	}
	return out
}
