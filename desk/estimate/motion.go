package estimate

import "math"

// MoveS is the time in s of a straight move of length l mm with top speed v mm/s and acceleration a mm/s²,
// entered at speed v0 and left at v1 (both reachable: the caller's planner sees to that).
// With v0 = v1 = 0 it is the rest-to-rest move of handbook 3.1. a <= 0 means acceleration takes no time.
func MoveS(l, v, a, v0, v1 float64) float64 {
	if l <= 0 || v <= 0 {
		return 0
	}
	if a <= 0 {
		return l / v
	}
	v0, v1 = math.Min(v0, v), math.Min(v1, v)
	vp := math.Min(v, math.Sqrt((2*a*l+v0*v0+v1*v1)/2))
	ramp := (2*vp*vp - v0*v0 - v1*v1) / (2 * a)
	rest := l - ramp
	if rest < 0 {
		rest = 0
	}
	return (2*vp-v0-v1)/a + rest/vp
}

// RestS is a move from rest to rest.
func RestS(l, v, a float64) float64 { return MoveS(l, v, a, 0, 0) }

// CornerMMS is the speed at which a corner of the given turning angle (rad, 0 = straight on) may be taken
// when the path may stray d mm from it at acceleration a (junction deviation, handbook 3.1). d = 0 stops at every corner.
func CornerMMS(turn, d, a float64) float64 {
	s := math.Cos(turn / 2) // = sin of half the interior angle
	if s >= 1-1e-9 {
		return math.Inf(1)
	}
	if s <= 0 || d <= 0 {
		return 0
	}
	return math.Sqrt(a * d * s / (1 - s))
}

// CornerLossS is how much longer a long path at speed v takes for slowing to vj at a corner and speeding up again:
// (v−vj)²/(a·v).
func CornerLossS(v, vj, a float64) float64 {
	if vj >= v || a <= 0 {
		return 0
	}
	return (v - vj) * (v - vj) / (a * v)
}
