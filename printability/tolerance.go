package printability

import (
	"math"

	"firstoff/part"
	"firstoff/shop"
)

// Holds is the ± a process holds over a length: the larger of a fixed part and a share of the length.
func Holds(p *shop.Process, overMM float64) float64 {
	return math.Max(p.TolFixedMM, p.TolPerLength*overMM)
}

// tolerance: asked against achievable, ratio < 1 not without machining, up to 1.33 first article (handbook 6.4).
func tolerance(q *Question) []part.Finding {
	t := q.Requirement.ToleranceMM
	if t <= 0 {
		return nil
	}
	l := q.Requirement.OverMM
	if l <= 0 {
		s := q.Facts.Max.Sub(q.Facts.Min)
		l = math.Max(s.X, math.Max(s.Y, s.Z))
	}
	can := Holds(q.Process, l)
	if can <= 0 {
		return nil
	}
	switch r := t / can; {
	case r < 1-1e-9:
		return one(finding(Stop, string(q.Process.Origin), t, can, "mm", "±%.3f mm over %.0f mm are asked; %s holds ±%.3f mm. Machine those faces afterwards.", t, l, q.Process.Name, can))
	case r < 1.33:
		return one(finding(Warning, "handbook 6.4", t, can, "mm", "±%.3f mm over %.0f mm is just what %s holds (±%.3f mm): a first article first.", t, l, q.Process.Name, can))
	}
	return nil
}

// gradeUnits are the tolerance units of IT5 to IT18 (ISO 286-1).
var gradeUnits = []float64{7, 10, 16, 25, 40, 64, 100, 160, 250, 400, 640, 1000, 1600, 2500}

// Unit is the standard tolerance unit i in µm of a size in mm: 0.45·∛D + 0.001·D to 500 mm, 0.004·D + 2.1 above.
func Unit(d float64) float64 {
	if d > 500 {
		return 0.004*d + 2.1
	}
	return 0.45*math.Cbrt(d) + 0.001*d
}

// Grade is the IT grade that a deviation (mm) on a size (mm) comes to: the first whose units are not fewer than
// 1000·|dev|/i (method of the grade studies, handbook 2.2); 19 when beyond IT18.
func Grade(size, dev float64) (units float64, it int) {
	units = 1000 * math.Abs(dev) / Unit(size)
	for k, u := range gradeUnits {
		if units <= u {
			return units, k + 5
		}
	}
	return units, 19
}
