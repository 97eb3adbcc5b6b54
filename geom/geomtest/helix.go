package geomtest

import (
	"math"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// HelicalRib is a rib of rectangular section (radial r0 to r1, t high along the axis) that winds around the z axis: pitch p, so many turns, in
// perTurn pieces a turn and across pieces across. Its flanks are t·cos α apart, its turns (p − t)·cos α, tan α = p/(2πr), up to the twist of the
// flanks.
func HelicalRib(r0, r1, t, p float64, turns, perTurn, across int) *mesh.Mesh {
	var s []float32
	n := turns * perTurn
	at := func(i, j int, up float64) r3.Vec {
		a := 2 * math.Pi * float64(i) / float64(perTurn)
		r := r0 + (r1-r0)*float64(j)/float64(across)
		return r3.Vec{X: r * math.Cos(a), Y: r * math.Sin(a), Z: p*float64(i)/float64(perTurn) + up}
	}
	quad := func(a, b, c, d r3.Vec) {
		for _, v := range [6]r3.Vec{a, b, c, a, c, d} {
			s = append(s, float32(v.X), float32(v.Y), float32(v.Z))
		}
	}
	for i := range n {
		for j := range across {
			quad(at(i, j, t), at(i, j+1, t), at(i+1, j+1, t), at(i+1, j, t))
			quad(at(i, j, 0), at(i+1, j, 0), at(i+1, j+1, 0), at(i, j+1, 0))
		}
		quad(at(i, across, 0), at(i+1, across, 0), at(i+1, across, t), at(i, across, t))
		quad(at(i, 0, 0), at(i, 0, t), at(i+1, 0, t), at(i+1, 0, 0))
	}
	for j := range across { // the two ends
		quad(at(0, j, 0), at(0, j+1, 0), at(0, j+1, t), at(0, j, t))
		quad(at(n, j, 0), at(n, j, t), at(n, j+1, t), at(n, j+1, 0))
	}
	return mesh.FromSoup(s)
}
