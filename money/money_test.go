package money

import (
	"flag"
	"testing"

	"pgregory.net/rapid"
)

// The random sums are the same in every run; -rapid.seed overrides it.
func init() { _ = flag.Set("rapid.seed", "20261201") }

func TestSplitLosesNoCent(t *testing.T) {
	if got := Amount(1000).Split([]float64{1, 1, 1}); got[0]+got[1]+got[2] != 1000 || got[0]-got[2] > 1 {
		t.Fatalf("10.00 in three = %v", got)
	}
	rapid.Check(t, func(t *rapid.T) {
		a := Amount(rapid.Int64Range(0, 1e12).Draw(t, "a"))
		w := rapid.SliceOfN(rapid.Float64Range(0, 100), 1, 20).Draw(t, "w")
		var sum Amount
		for _, p := range a.Split(w) {
			if p < 0 {
				t.Fatalf("negative part %d", p)
			}
			sum += p
		}
		if sum != a {
			t.Fatalf("parts sum to %d, not %d", sum, a)
		}
	})
}

func TestFormat(t *testing.T) {
	for _, c := range []struct {
		a    Amount
		d    int
		want string
	}{{1234567, 2, "12\u2009345.67"}, {5, 2, "0.05"}, {-5, 2, "-0.05"}, {0, 2, "0.00"}, {1500, 0, "1\u2009500"}} {
		if got := Format(c.a, c.d); got != c.want {
			t.Errorf("Format(%d,%d) = %q, want %q", c.a, c.d, got, c.want)
		}
	}
}

func TestRoundHalfEven(t *testing.T) {
	if Round(2.5) != 2 || Round(3.5) != 4 || Round(-2.5) != -2 {
		t.Fatal("Round is not half to even")
	}
}

func TestDecimal(t *testing.T) {
	for _, c := range []struct {
		a      Amount
		digits int
		want   string
	}{{1234567, 2, "12345.67"}, {5, 2, "0.05"}, {-5, 2, "-0.05"}, {0, 2, "0.00"}, {70, 0, "70"}, {-1 << 63, 3, "-9223372036854775.808"}} {
		if got := Decimal(c.a, c.digits); got != c.want {
			t.Errorf("%d, %d: %s, want %s", c.a, c.digits, got, c.want)
		}
	}
}
