package printability

import (
	"firstoff/geom/r3"
	"firstoff/geom/solid"
	"firstoff/part"
)

// cup: a hollow that a vat process closes against its film while it grows: resin is sucked in and out of it at every layer. Looked for in the
// pose of the question; a vent of 3 mm opens it (handbook 2.4).
func cup(q *Question) []part.Finding {
	if q.Geometry == nil || q.Pose == nil || q.Process.Code != "VPP" {
		return nil
	}
	c, ok := q.Geometry.cuppedIn(*q.Pose, fineness(q, 144, 80))
	if !ok || c.area < 20 {
		return nil
	}
	area, volume, at := c.area, c.volume, c.at
	at = q.Pose.Inverse().Rotate(at)
	f := finding(Warning, "handbook 2.4: cup or suction, vent 3 mm", area, 20, "mm2", "In this pose a cup of %.0f mm² and %.2f cm³ closes against the vat: vent it by 3 mm or turn the part.", area, volume/1000)
	f.At = &at
	return one(f)
}

// cupped is what cups finds in a pose.
type cupped struct {
	area, volume float64
	at           r3.Vec
}

func (g *Geometry) cuppedIn(pose r3.Quat, across int) (cupped, bool) {
	k := rasterKey{pose, across, 3}
	g.mu.Lock()
	c, ok := g.cups[k]
	g.mu.Unlock()
	if ok {
		return c, true
	}
	s, ok := g.bits(pose, across, 3)
	if !ok {
		return cupped{}, false
	}
	c.area, c.volume, c.at = cups(s)
	g.mu.Lock()
	defer g.mu.Unlock()
	g.cups[k] = c
	return c, true
}

// cups finds the largest area of a layer that is closed off from the outside by what lies in and below it, with the volume under it: layers are
// gone through upwards, the void reached from outside growing with each.
func cups(s *solid.Solid) (area, volume float64, at r3.Vec) {
	n := s.NX * s.NY
	void := make([]bool, n*s.NZ)
	for k := 0; k < s.NZ; k++ {
		for j := 0; j < s.NY; j++ {
			for i := 0; i < s.NX; i++ {
				void[(k*s.NY+j)*s.NX+i] = !s.Has(i, j, k)
			}
		}
	}
	reached := make([]bool, n*s.NZ)
	var stack []int32
	cell2 := s.Cell * s.Cell
	for k := 0; k < s.NZ; k++ {
		push := func(c int) {
			if void[c] && !reached[c] {
				reached[c] = true
				stack = append(stack, int32(c))
			}
		}
		base := k * n
		for i := 0; i < s.NX; i++ {
			push(base + i)
			push(base + n - s.NX + i)
		}
		for j := 0; j < s.NY; j++ {
			push(base + j*s.NX)
			push(base + j*s.NX + s.NX - 1)
		}
		for c := 0; c < n; c++ {
			if k == 0 || reached[base-n+c] {
				push(base + c) // from below: the plate side is open, parts stand on supports
			}
		}
		for len(stack) > 0 {
			c := int(stack[len(stack)-1])
			stack = stack[:len(stack)-1]
			z, r := c/n, c%n
			x, y := r%s.NX, r/s.NX
			if x > 0 {
				push(c - 1)
			}
			if x < s.NX-1 {
				push(c + 1)
			}
			if y > 0 {
				push(c - s.NX)
			}
			if y < s.NY-1 {
				push(c + s.NX)
			}
			if z > 0 {
				push(c - n)
			}
			if z < k {
				push(c + n)
			}
		}
		shut := 0
		var sx, sy float64
		for c := 0; c < n; c++ {
			if void[base+c] && !reached[base+c] {
				shut++
				p := s.Center(c%s.NX, c/s.NX, k)
				sx, sy = sx+p.X, sy+p.Y
			}
		}
		if a := float64(shut) * cell2; a > area {
			area = a
			at = r3.Vec{X: sx / float64(shut), Y: sy / float64(shut), Z: s.Center(0, 0, k).Z}
			volume = 0
			for c := 0; c < base+n; c++ {
				if void[c] && !reached[c] {
					volume += s.CellVolume()
				}
			}
		}
	}
	return area, volume, at
}
