package cad

import "math"

// How fine to mesh.
//
// The chord (largest distance between facets and surface) is a 5,000th of the part's longest edge, at most
// 0.05 mm, at most a fifth of the tightest tolerance asked; but never under a 20,000th of the part nor
// 0.001 mm, where facets would outnumber what any process resolves. Common practice wants the gauge ten times
// finer than the tolerance; the facets' own share is kept to two tenths.
//
// The angle between neighbouring chords is at most 0.2 rad (32 to a circle). For thin round parts neither may
// be enough: a prism of n sides misses 1 - sin θ/θ of its cylinder, θ = 2π/n, 0.67 % at 0.2 rad. So the
// missing volume is estimated from the mesh, and where it passes gapLimit the file is meshed again as much
// finer as it takes to reach gapAim; the gap goes with the chord and with the square of the angle.
const (
	chordShare  = 1. / 5000
	chordMost   = 0.05 // mm
	chordFinest = 1. / 20000
	chordLeast  = 0.001 // mm
	angleMost   = 0.2   // rad
	angleLeast  = 0.04
	gapLimit    = 0.0008
	gapAim      = 0.0005
	// firstRatio is the first chord of a file whose size is not known beforehand, as a share of the mean edge.
	firstRatio = chordShare
)

// Chord is the largest distance between facets and surface (mm) for a part whose longest edge is size, when
// tolerance is the tightest asked of it (0: not known).
func Chord(size, tolerance float64) float64 {
	c := math.Min(size*chordShare, chordMost)
	if tolerance > 0 {
		c = math.Min(c, tolerance/5)
	}
	return math.Max(c, math.Max(size*chordFinest, chordLeast))
}

// finer says whether a mesh made with chord and angle must be made again, and how: size is what the part
// turned out to measure, gap the share of its volume the mesh misses.
func finer(chord, angle, size, tolerance, gap float64) (c, a float64, again bool) {
	c, a = chord, angle
	if want := Chord(size, tolerance); chord > 1.5*want {
		c, again = want, true
		gap *= math.Max(want/chord, 0.1)
	}
	if gap > gapLimit {
		f := gapAim / gap
		c, a, again = math.Max(c*f, size*chordFinest/10), math.Max(a*math.Sqrt(f), angleLeast), true
	}
	return c, a, again
}
