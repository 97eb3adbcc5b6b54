package printability

import "math"

// Cusp is the height of the stair edge of layers t on a face whose slope from the horizontal is a (rad): t·cos a. The saw-tooth's
// Ra is a quarter of it (handbook 2.3).
func Cusp(t, slope float64) float64 { return t * math.Abs(math.Cos(slope)) }

// pandeyK is the mean of the coefficients 69.28 to 72.36 of Pandey, Reddy & Dhande 2003, from memory.
const pandeyK = 70.82

// ExtrudedRaUM is the Ra in µm of an extruded face after Pandey, Reddy & Dhande 2003 (coefficients from memory): t in mm, theta
// the angle of the face to the build axis in degrees; between 70° and 90° a line; supported faces come out 1.2 times as rough.
func ExtrudedRaUM(t, theta float64, supported bool) float64 {
	ra := func(k, th float64) float64 { return k * t / math.Cos(th*math.Pi/180) }
	var v float64
	switch {
	case theta <= 70:
		v = ra(pandeyK, theta)
	case theta >= 90:
		v = 117.6 * t
	default:
		r70, r90 := ra(pandeyK, 70), 117.6*t
		v = (90*r70 - 70*r90 + theta*(r90-r70)) / 20
	}
	if supported {
		v *= 1.2
	}
	return v
}

// TotalRaUM adds the process's floor to the stair: √(stair² + process²).
func TotalRaUM(stair, process float64) float64 { return math.Hypot(stair, process) }
