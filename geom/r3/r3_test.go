package r3

import (
	"flag"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// The random rotations are the same in every run; -rapid.seed overrides it.
func init() { _ = flag.Set("rapid.seed", "20261201") }

func TestQuatMatRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := func(n string) float64 { return rapid.Float64Range(-1, 1).Draw(t, n) }
		q := Quat{f("w"), f("x"), f("y"), f("z")}.Unit()
		v := Vec{f("a"), f("b"), f("c")}
		a, b := q.Rotate(v), q.Mat().Quat().Rotate(v)
		if a.Dist(b) > 1e-12 || math.Abs(a.Norm()-v.Norm()) > 1e-12 {
			t.Fatalf("%v against %v", a, b)
		}
		if back := q.Inverse().Rotate(a); back.Dist(v) > 1e-12 {
			t.Fatalf("inverse gives %v, not %v", back, v)
		}
		to := Vec{f("d"), f("e"), f("g")}
		u, w := to.Unit(), v.Unit()
		if to.Norm() > 1e-100 && v.Norm() > 1e-100 { // below, squares leave the range of numbers
			if got := Between(w, u).Rotate(w); got.Dist(u) > 1e-6 {
				t.Fatalf("Between takes %v to %v, not %v", w, got, u)
			}
		}
	})
}
