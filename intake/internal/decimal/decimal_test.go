package decimal

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"testing"
)

// same holds our reading of s against the standard library's.
func same(t *testing.T, s string) {
	t.Helper()
	want, err := strconv.ParseFloat(s, 32)
	if err != nil && !math.IsInf(want, 0) {
		t.Fatalf("%q is no number for strconv", s)
	}
	got, next := Float32([]byte(s+" "), 0)
	if next != len(s) || math.Float32bits(got) != math.Float32bits(float32(want)) {
		t.Errorf("%q: got %v to %d, want %v", s, got, next, float32(want))
	}
	want64, _ := strconv.ParseFloat(s, 64)
	got64, next := Float64([]byte("x"+s+"x"), 1)
	if next != len(s)+1 || math.Float64bits(got64) != math.Float64bits(want64) {
		t.Errorf("%q: got %v to %d, want %v", s, got64, next, want64)
	}
}

func TestAgreesWithStrconv(t *testing.T) {
	for _, s := range []string{"0", "-0", "1", "+1", "1.", ".5", "-.5e2", "1e5", "1E+005", "-1.34230289E-014", "16777217", "16777219",
		"33554435", "3.4028235e38", "3.4028236e38", "1e39", "1e400", "-1e400", "1e-45", "1e-46", "1e-400", "1.1754943e-38", "1.1754944e-38",
		"0.000000000000000000000000000001", "123456789012345678901234567890", "9007199254740993", "18446744073709551615", "18446744073709551616",
		"0.1", "0.30000001192092896", "00000000000000000001.5", "0e99999999"} {
		same(t, s)
	}
	const seed = 20240917
	r := rand.New(rand.NewPCG(seed, 1))
	for range 50_000 {
		f := math.Float32frombits(r.Uint32())
		if !Finite(f) {
			continue
		}
		same(t, strconv.FormatFloat(float64(f), 'g', -1, 32))
		// Halfway between two neighbours, exactly and one step of float64 beside it: the hard cases.
		next := math.Nextafter32(f, float32(math.Inf(1)))
		mid := (float64(f) + float64(next)) / 2
		for _, x := range []float64{mid, math.Nextafter(mid, 0), math.Nextafter(mid, 1e300)} {
			same(t, strconv.FormatFloat(x, 'e', r.IntN(20), 64))
			same(t, strconv.FormatFloat(x, 'g', -1, 64))
		}
		same(t, fmt.Sprintf("%.*f", r.IntN(8), r.NormFloat64()*1000))
		if t.Failed() {
			t.Fatalf("seed %d", seed)
		}
	}
}

func TestNoNumber(t *testing.T) {
	for _, s := range []string{"", "nan", "inf", "-", "+", ".", "e5", "-.", "abc"} {
		if v, next := Float32([]byte(s), 0); next != 0 || v != 0 {
			t.Errorf("%q: read %v to %d", s, v, next)
		}
	}
	for s, end := range map[string]int{"1e": 1, "1e+": 1, "1ex": 1, "2.5,3": 3, "1.5.5": 3, "1-2": 1} {
		if _, next := Float32([]byte(s), 0); next != end {
			t.Errorf("%q: number ends at %d, want %d", s, next, end)
		}
		if _, next := Float64([]byte(s), 0); next != end {
			t.Errorf("%q: number ends at %d in Float64, want %d", s, next, end)
		}
	}
	if _, next := Uint([]byte("99999999999999999999"), 0); next != 0 {
		t.Error("an index beyond 2^53 was taken")
	}
	if v, next := Uint([]byte("120/7"), 0); v != 120 || next != 3 {
		t.Errorf("120: %d to %d", v, next)
	}
}

func FuzzFloat32(f *testing.F) {
	f.Add("1.5e3")
	f.Add("-0.000123 4")
	f.Fuzz(func(t *testing.T, s string) {
		v, next := Float32([]byte(s), 0)
		if next == 0 {
			return
		}
		want, err := strconv.ParseFloat(s[:next], 32)
		if err != nil && !math.IsInf(want, 0) || math.Float32bits(v) != math.Float32bits(float32(want)) {
			t.Fatalf("%q: got %v, strconv says %v (%v)", s[:next], v, want, err)
		}
		v64, next64 := Float64([]byte(s), 0)
		want, err = strconv.ParseFloat(s[:next], 64)
		if next64 != next || err != nil && !math.IsInf(want, 0) || math.Float64bits(v64) != math.Float64bits(want) {
			t.Fatalf("%q: got %v to %d, strconv says %v (%v)", s[:next], v64, next64, want, err)
		}
	})
}

func BenchmarkFloat32(b *testing.B) {
	s := []byte("-12.3456789 ")
	for b.Loop() {
		Float32(s, 0)
	}
}
