package demo

import (
	"bytes"
	"math"
	"sort"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/intake/stl"
)

// loop is a closed outline in a plane: counter-clockwise for an outside, clockwise for a hole.
type loop [][2]float64

func rect(x, y, w, h float64) loop { return loop{{x, y}, {x + w, y}, {x + w, y + h}, {x, y + h}} }

// rounded is a rectangle with corners of radius r.
func rounded(x, y, w, h, r float64) loop {
	var out loop
	for k, c := range [4][2]float64{{x + w - r, y + r}, {x + w - r, y + h - r}, {x + r, y + h - r}, {x + r, y + r}} {
		for i := range 9 {
			s, co := math.Sincos(math.Pi/2*(float64(k)-1) + math.Pi/16*float64(i))
			out = append(out, [2]float64{c[0] + r*co, c[1] + r*s})
		}
	}
	return out
}

func circle(x, y, r float64, n int) loop {
	out := make(loop, n)
	for i := range out {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		out[i] = [2]float64{x + r*c, y + r*s}
	}
	return out
}

func (l loop) hole() loop {
	out := make(loop, len(l))
	for i, p := range l {
		out[len(l)-1-i] = p
	}
	return out
}

// extrude raises an outline with its holes from z0 to z1.
func extrude(z0, z1 float64, loops ...loop) *mesh.Mesh {
	var c []float32
	add := func(z [3]float64, p ...[2]float64) {
		for i, v := range p {
			c = append(c, float32(v[0]), float32(v[1]), float32(z[i]))
		}
	}
	for _, l := range loops {
		for i := range l {
			a, b := l[i], l[(i+1)%len(l)]
			add([3]float64{z0, z0, z1}, a, b, b)
			add([3]float64{z0, z1, z1}, a, b, a)
		}
	}
	for _, t := range ears(bridged(loops)) {
		add([3]float64{z1, z1, z1}, t[0], t[1], t[2])
		add([3]float64{z0, z0, z0}, t[0], t[2], t[1])
	}
	return mesh.FromSoup(c)
}

func cross(a, b, c [2]float64) float64 {
	return (b[0]-a[0])*(c[1]-a[1]) - (b[1]-a[1])*(c[0]-a[0])
}

// bridged cuts every hole open towards the outline, from the hole's rightmost corner to the nearest corner in sight, so that
// one loop is left. Holes go from right to left.
func bridged(loops []loop) loop {
	out := append(loop{}, loops[0]...)
	holes := append([]loop{}, loops[1:]...)
	right := func(l loop) int {
		k := 0
		for i := range l {
			if l[i][0] > l[k][0] {
				k = i
			}
		}
		return k
	}
	sort.SliceStable(holes, func(i, j int) bool { return holes[i][right(holes[i])][0] > holes[j][right(holes[j])][0] })
	for _, h := range holes {
		k := right(h)
		best, at := math.Inf(1), -1
		for i, p := range out {
			d := math.Hypot(p[0]-h[k][0], p[1]-h[k][1])
			if d < best && p[0] > h[k][0] && times(out, p) == 1 && inSight(h[k], p, out, holes) {
				best, at = d, i
			}
		}
		var next loop
		next = append(next, out[:at+1]...)
		next = append(next, h[k:]...)
		next = append(next, h[:k+1]...)
		next = append(next, out[at:]...)
		out = next
	}
	return out
}

// times is how often a corner is in the loop; those where a bridge stands already are there twice.
func times(l loop, p [2]float64) (n int) {
	for _, q := range l {
		if q == p {
			n++
		}
	}
	return n
}

// inSight says whether no side of any loop crosses the way from a to b.
func inSight(a, b [2]float64, out loop, holes []loop) bool {
	for _, l := range append([]loop{out}, holes...) {
		for i := range l {
			p, q := l[i], l[(i+1)%len(l)]
			if p == a || p == b || q == a || q == b {
				continue
			}
			if cross(a, b, p)*cross(a, b, q) < 0 && cross(p, q, a)*cross(p, q, b) < 0 {
				return false
			}
		}
	}
	return true
}

// ears cuts a simple counter-clockwise loop into triangles (Meisters 1975).
func ears(l loop) (out [][3][2]float64) {
	l = append(loop{}, l...)
	for len(l) > 3 {
		cut := false
		for i := range l {
			a, b, c := l[(i+len(l)-1)%len(l)], l[i], l[(i+1)%len(l)]
			if cross(a, b, c) <= 1e-12 {
				continue
			}
			free := true
			for _, p := range l {
				if p != a && p != b && p != c && cross(a, b, p) >= 0 && cross(b, c, p) >= 0 && cross(c, a, p) >= 0 {
					free = false
					break
				}
			}
			if free {
				out = append(out, [3][2]float64{a, b, c})
				l = append(l[:i:i], l[i+1:]...)
				cut = true
				break
			}
		}
		if !cut { // only corners in one line are left
			l = l[1:]
		}
	}
	return append(out, [3][2]float64{l[0], l[1], l[2]})
}

// turned spins a profile of (radius, height) about z; the profile starts and ends on the axis.
func turned(n int, profile ...[2]float64) *mesh.Mesh {
	var c []float32
	at := func(p [2]float64, i int) [3]float64 {
		s, co := math.Sincos(2 * math.Pi * float64(i%n) / float64(n))
		return [3]float64{p[0] * co, p[0] * s, p[1]}
	}
	add := func(v ...[3]float64) {
		for _, p := range v {
			c = append(c, float32(p[0]), float32(p[1]), float32(p[2]))
		}
	}
	for k := range len(profile) - 1 {
		p, q := profile[k], profile[k+1]
		for i := range n {
			a, b, d, e := at(p, i), at(p, i+1), at(q, i+1), at(q, i)
			if p[0] > 0 {
				add(a, b, d)
			}
			if q[0] > 0 {
				add(a, d, e)
			}
		}
	}
	return mesh.FromSoup(c)
}

// Bracket is a bearing bracket: a slotted foot, an upright with a bore, and two webs. 96 × 60 × 72 mm.
func Bracket() *mesh.Mesh {
	foot := extrude(0, 8, rounded(0, 0, 96, 60, 8), circle(12, 12, 3.3, 40).hole(), circle(84, 12, 3.3, 40).hole(), circle(12, 48, 3.3, 40).hole(), circle(84, 48, 3.3, 40).hole())
	up := extrude(0, 12, append(loop{{20, 0}, {76, 0}, {76, 44}}, arch(48, 44, 28)...), circle(48, 44, 15, 96).hole())
	stand := up.Transformed(r3.AxisAngle(r3.Vec{X: 1}, math.Pi/2), 1, r3.Vec{Y: 36, Z: 7.5})
	var webs []*mesh.Mesh
	for _, x := range []float64{24, 64} {
		w := extrude(0, 8, loop{{0, 0}, {22, 0}, {0, 30}})
		// profile in y and z, thickness along x
		webs = append(webs, w.Transformed(r3.AxisAngle(r3.Vec{X: 1, Y: 1, Z: 1}, 2*math.Pi/3), 1, r3.Vec{X: x, Y: 35.5, Z: 7.5}))
	}
	return mesh.Merge(append([]*mesh.Mesh{foot, stand}, webs...)...)
}

// arch is the upper half of a circle, from right to left.
func arch(x, y, r float64) loop {
	var out loop
	for i := 1; i < 32; i++ {
		s, c := math.Sincos(math.Pi * float64(i) / 32)
		out = append(out, [2]float64{x + r*c, y + r*s})
	}
	return append(out, [2]float64{x - r, y})
}

// Housing is an open case with bosses and a cable slot: 140 × 90 × 38 mm, walls of 2.4 mm.
func Housing() *mesh.Mesh {
	floor := extrude(0, 3, rounded(0, 0, 140, 90, 10), rect(58, 20, 24, 8).hole(), rect(58, 34, 24, 8).hole(), rect(58, 48, 24, 8).hole())
	wall := extrude(2.5, 38, rounded(0, 0, 140, 90, 10), rounded(2.4, 2.4, 135.2, 85.2, 7.6).hole())
	parts := []*mesh.Mesh{floor, wall}
	for _, p := range [][2]float64{{12, 12}, {128, 12}, {12, 78}, {128, 78}} {
		parts = append(parts, extrude(2.5, 30, circle(p[0], p[1], 5, 40), circle(p[0], p[1], 1.6, 24).hole()))
	}
	return mesh.Merge(parts...)
}

// Knob is a control knob with a stepped bore, 44 mm across.
func Knob() *mesh.Mesh {
	return turned(120, [2]float64{0, 8}, [2]float64{4, 8}, [2]float64{4, 0}, [2]float64{22, 0}, [2]float64{22, 3}, [2]float64{19, 6}, [2]float64{18, 20}, [2]float64{15, 23}, [2]float64{0, 23})
}

// Tray is a large carrier plate with pockets: 420 × 300 × 16 mm.
func Tray() *mesh.Mesh {
	loops := []loop{rounded(0, 0, 420, 300, 14)}
	for i := range 5 {
		for j := range 3 {
			loops = append(loops, rounded(24+78*float64(i), 24+88*float64(j), 60, 70, 9).hole())
		}
	}
	return mesh.Merge(extrude(0, 16, loops...), extrude(0, 3, rounded(5, 5, 410, 290, 10)))
}

// file writes a part as a client would send it.
func file(name string, m *mesh.Mesh) []byte {
	var b bytes.Buffer
	if err := stl.Write(&b, name, m); err != nil {
		panic(err) // a buffer takes everything
	}
	return b.Bytes()
}
