package printability

import (
	"math/bits"

	"firstoff/geom/r3"
	"firstoff/geom/solid"
	"firstoff/part"
)

// island: regions that begin in the air in this pose, and the surface that hangs over: what supports have to carry.
func island(q *Question) []part.Finding {
	p := q.Process
	if q.Geometry == nil || q.Pose == nil || !p.NeedsSupport || p.SelfSupportDeg >= 90 {
		return nil
	}
	s, ok := q.Geometry.bits(*q.Pose, 200, 0)
	if !ok {
		return nil
	}
	n, at := islands(s)
	if n == 0 {
		return nil
	}
	at = q.Pose.Inverse().Rotate(at)
	f := finding(Note, practice, float64(n), 0, "", "In this pose the part begins in the air in %s; supports go there and leave marks.", many(n, "place"))
	f.At = &at
	return one(f)
}

// islands counts the regions of a layer with nothing of the part under them in the layer below, not counting the plate.
func islands(s *solid.Solid) (count int, at r3.Vec) {
	seen := make([]uint64, s.PlaneWords())
	front := make([]int32, 0, 1024)
	for k := 1; k < s.NZ; k++ {
		p, below := s.Plane(k), s.Plane(k-1)
		clear(seen)
		for w := range p {
			for word := p[w] &^ seen[w]; word != 0; word = p[w] &^ seen[w] {
				i, j := (w%s.Stride)*64+bits.TrailingZeros64(word), w/s.Stride
				// flood the region
				front = append(front[:0], int32(j*s.NX+i))
				seen[w] |= 1 << (i & 63)
				held, size := false, 0
				for len(front) > 0 {
					c := int(front[len(front)-1])
					front = front[:len(front)-1]
					x, y := c%s.NX, c/s.NX
					size++
					if below[y*s.Stride+x>>6]>>(x&63)&1 == 1 {
						held = true
					}
					for _, d := range [4][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
						u, v := x+d[0], y+d[1]
						if u < 0 || v < 0 || u >= s.NX || v >= s.NY {
							continue
						}
						at := v*s.Stride + u>>6
						if m := uint64(1) << (u & 63); p[at]&m != 0 && seen[at]&m == 0 {
							seen[at] |= m
							front = append(front, int32(v*s.NX+u))
						}
					}
				}
				if !held && float64(size)*s.Cell*s.Cell > 0.25 {
					if count == 0 {
						at = s.Center(i, j, k)
					}
					count++
				}
			}
		}
	}
	return count, at
}
