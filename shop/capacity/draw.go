package capacity

import "math"

// Draws are functions of (seed, replication, name, attempt): see the package comment for why.

func mix(x uint64) uint64 { // splitmix64 finaliser (Steele, Lea, Flood 2014)
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

func hashString(h uint64, s string) uint64 {
	for i := 0; i < len(s); i++ {
		h = (h ^ uint64(s[i])) * 0x100000001b3 // FNV-1a
	}
	return mix(h + uint64(len(s)))
}

// unit is uniform in (0, 1), never an end.
func unit(x uint64) float64 { return (float64(x>>11) + 0.5) / (1 << 53) }

func normal(x uint64) float64 { return math.Sqrt2 * math.Erfinv(2*unit(x)-1) }

// lognormal parameters for mean 1 and the given CV.
func sigma(cv float64) float64 { return math.Sqrt(math.Log1p(cv * cv)) }
