package roads

import (
	"math"

	"firstoff/desk/estimate"
)

// pt is a point of a layer, mm.
type pt struct{ x, y float64 }

func (a pt) sub(b pt) pt         { return pt{a.x - b.x, a.y - b.y} }
func (a pt) add(b pt) pt         { return pt{a.x + b.x, a.y + b.y} }
func (a pt) mul(s float64) pt    { return pt{a.x * s, a.y * s} }
func (a pt) dot(b pt) float64    { return a.x*b.x + a.y*b.y }
func (a pt) cross(b pt) float64  { return a.x*b.y - a.y*b.x }
func (a pt) norm() float64       { return math.Hypot(a.x, a.y) }
func (a pt) dist(b pt) float64   { return a.sub(b).norm() }
func lerp(a, b pt, t float64) pt { return pt{a.x + t*(b.x-a.x), a.y + t*(b.y-a.y)} }
func length(loop []pt) (l float64) {
	for i := range loop {
		l += loop[i].dist(loop[(i+1)%len(loop)])
	}
	return l
}

// area of a loop, positive counter-clockwise.
func area(loop []pt) (s float64) {
	for i := 2; i < len(loop); i++ {
		s += loop[i-1].sub(loop[0]).cross(loop[i].sub(loop[0]))
	}
	return s / 2
}

// loopS drives around a closed loop from rest to rest, starting where it turns most: corner speeds by junction deviation, reachable
// speeds by one pass forward and one back, then every move integrated.
func loopS(loop []pt, v, a, junction float64) float64 {
	n := len(loop)
	if n < 2 {
		return 0
	}
	at := func(i int) pt { return loop[((i%n)+n)%n] }
	turn := make([]float64, n) // at vertex i
	best, start := -1.0, 0
	for i := range loop {
		d, e := at(i).sub(at(i-1)), at(i+1).sub(at(i))
		l := d.norm() * e.norm()
		if l == 0 {
			continue
		}
		t := math.Abs(math.Atan2(d.cross(e), d.dot(e)))
		turn[i] = t
		if t > best+1e-9 {
			best, start = t, i
		}
	}
	speed := make([]float64, n+1)
	ls := make([]float64, n)
	for k := 0; k < n; k++ {
		ls[k] = at(start + k).dist(at(start + k + 1))
	}
	for k := 1; k < n; k++ {
		speed[k] = math.Min(v, estimate.CornerMMS(turn[(start+k)%n], junction, a))
	}
	if a > 0 {
		for k := 0; k < n; k++ {
			speed[k+1] = math.Min(speed[k+1], math.Sqrt(speed[k]*speed[k]+2*a*ls[k]))
		}
		for k := n - 1; k >= 0; k-- {
			speed[k] = math.Min(speed[k], math.Sqrt(speed[k+1]*speed[k+1]+2*a*ls[k]))
		}
	}
	var t float64
	for k := 0; k < n; k++ {
		t += estimate.MoveS(ls[k], v, a, speed[k], speed[k+1])
	}
	return t
}
