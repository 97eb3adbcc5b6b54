package register

import (
	"math"

	"firstoff/geom/r3"
)

// thin picks about n points spread evenly over the surface however densely it was scanned, in an order of which every
// beginning is spread evenly too. The points themselves stay as they are.
func thin(pts []r3.Vec, n int) []r3.Vec {
	step := max(1, len(pts)/(10*n))
	var some []r3.Vec
	for i := 0; i < len(pts); i += step {
		some = append(some, pts[i])
	}
	box := r3.EmptyBox()
	for _, p := range some {
		box = box.Add(p)
	}
	// Halve the cell until enough cells are met: the number met grows about fourfold each time.
	var kept []r3.Vec
	size := box.Size()
	for cell := math.Max(size.X, math.Max(size.Y, size.Z)) / 8; ; cell /= math.Sqrt2 {
		kept = kept[:0]
		seen := make(map[[3]int32]struct{}, 2*n)
		for _, p := range some {
			d := p.Sub(box.Min)
			k := [3]int32{int32(d.X / cell), int32(d.Y / cell), int32(d.Z / cell)}
			if _, ok := seen[k]; !ok {
				seen[k] = struct{}{}
				kept = append(kept, p)
			}
		}
		if len(kept) >= n || len(kept) == len(some) || len(kept) > len(some)*9/10 || cell < 1e-6*size.Norm() {
			break
		}
	}
	// A fixed shuffle (splitmix64).
	seed := uint64(len(kept))
	for i := len(kept) - 1; i > 0; i-- {
		seed += 0x9e3779b97f4a7c15
		z := seed
		z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
		z = (z ^ z>>27) * 0x94d049bb133111eb
		z ^= z >> 31
		j := int(z % uint64(i+1))
		kept[i], kept[j] = kept[j], kept[i]
	}
	if len(kept) > n {
		kept = kept[:n]
	}
	return kept
}
