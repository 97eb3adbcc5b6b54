package pose

import (
	"math"

	"firstoff/geom/r3"
)

// Directions are n directions spread evenly over the sphere on a golden spiral (as in Saff & Kuijlaars 1997, from memory).
func Directions(n int) []r3.Vec {
	d := make([]r3.Vec, n)
	turn := math.Pi * (3 - math.Sqrt(5))
	for i := range d {
		z := 1 - (2*float64(i)+1)/float64(n)
		r := math.Sqrt(1 - z*z)
		s, c := math.Sincos(turn * float64(i))
		d[i] = r3.Vec{X: r * c, Y: r * s, Z: z}
	}
	return d
}
