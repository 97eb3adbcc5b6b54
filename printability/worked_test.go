package printability

import (
	"math"
	"testing"

	"firstoff/checks"
	"firstoff/shop"
)

// TestWorkedExamples computes the tolerance and roughness rows that this package owns: T04, T05, T08, R01–R04.
func TestWorkedExamples(t *testing.T) {
	row := func(id string) checks.Worked { return checks.WorkedRow(t, id) }
	t04 := row("T04")
	d := math.Sqrt(30 * 50)
	if n := checks.Numbers(t04.Outputs); math.Abs(Unit(d)-1.561) > 1e-3 || math.Abs(16*Unit(d)-n[len(n)-2]) > 0.01 {
		t.Errorf("T04: i = %.4f, IT7 %.3f (%v)", Unit(d), 16*Unit(d), n)
	}
	t05 := row("T05")
	n, it := Grade(t05.In(t, "nominal"), 0.1)
	if math.Abs(Unit(50)-1.707814) > 1e-6 || math.Abs(n-58.55) > 0.005 || it != 10 {
		t.Errorf("T05: %.3f units, IT%d (%s)", n, it, t05.Outputs)
	}
	t08 := row("T08") // larger of 0.0035 in and 0.0015 in/in
	p := &shop.Process{TolFixedMM: 0.0035 * 25.4, TolPerLength: 0.0015}
	if a, b := Holds(p, 2*25.4), Holds(p, 12*25.4); math.Abs(a-0.0889) > t08.Tol() || math.Abs(b-0.4572) > t08.Tol() {
		t.Errorf("T08: %.4f, %.4f", a, b)
	}
	if cross := p.TolFixedMM / p.TolPerLength; math.Abs(cross-59.27) > 0.005 {
		t.Errorf("T08: crossover %.3f mm", cross)
	}
	r01 := row("R01")
	c := Cusp(r01.In(t, "t"), r01.Before(t, "deg from horizontal")*math.Pi/180)
	r01.Agree(t, c, c/4*1000)
	r02 := row("R02")
	c = Cusp(r02.In(t, "t"), r02.Before(t, "deg")*math.Pi/180)
	r02.Agree(t, c, c/4*1000)
	if ra := ExtrudedRaUM(row("R03").In(t, "t"), row("R03").In(t, "theta"), false); math.Abs(ra-25.44) > 0.01 || ra < 24.89 || ra > 25.99 {
		t.Errorf("R03: %.3f µm", ra)
	}
	r04 := row("R04")
	th := r04.In(t, "t")
	want := checks.Numbers(r04.Outputs)
	for i, got := range []float64{ExtrudedRaUM(th, 0, false), ExtrudedRaUM(th, 70, false), ExtrudedRaUM(th, 80, false), ExtrudedRaUM(th, 90, false)} {
		if math.Abs(got-want[i]) > r04.Tol() {
			t.Errorf("R04: %.3f, the row says %.2f", got, want[i])
		}
	}
}
