package plane

import (
	"math"
	"slices"
)

// PerMM is the number of grid steps in a millimetre: a step is 3.8 nm.
const PerMM = 1 << 18

// Point is a place on the grid.
type Point struct{ X, Y int64 }

// Path is a closed polygon; the first point is not repeated.
type Path []Point

// Region is a set of paths.
type Region []Path

// MM is the grid point nearest to a place in mm. Places beyond ±1e9 mm, and what is not a number, become the nearest
// place within or zero.
func MM(x, y float64) Point { return Point{steps(x), steps(y)} }

func steps(x float64) int64 {
	if x != x {
		return 0
	}
	return int64(math.Round(max(-1e9, min(1e9, x)) * PerMM))
}

// XMM and YMM are the coordinates in mm.
func (p Point) XMM() float64 { return float64(p.X) / PerMM }

// YMM is the y coordinate in mm.
func (p Point) YMM() float64 { return float64(p.Y) / PerMM }

// Area is the signed area of a path, positive counter-clockwise, mm².
func (p Path) Area() float64 {
	if len(p) < 3 {
		return 0
	}
	var sum float64
	o := p[0]
	ax, ay := p[1].X-o.X, p[1].Y-o.Y
	for _, q := range p[2:] {
		bx, by := q.X-o.X, q.Y-o.Y
		sum += float64(ax)*float64(by) - float64(bx)*float64(ay)
		ax, ay = bx, by
	}
	return sum / (2 * PerMM * PerMM)
}

// Length is the length of the closed path, mm.
func (p Path) Length() float64 {
	var sum float64
	for i, q := range p {
		r := p[(i+1)%len(p)]
		dx, dy := float64(r.X-q.X), float64(r.Y-q.Y)
		sum += math.Sqrt(dx*dx + dy*dy)
	}
	return sum / PerMM
}

// Area is the sum of the paths' areas: the covered area of a clean region, mm².
func (r Region) Area() float64 {
	var sum float64
	for _, p := range r {
		sum += p.Area()
	}
	return sum
}

// Length is the sum of the paths' lengths, mm.
func (r Region) Length() float64 {
	var sum float64
	for _, p := range r {
		sum += p.Length()
	}
	return sum
}

// Points is the number of points of all paths.
func (r Region) Points() int {
	n := 0
	for _, p := range r {
		n += len(p)
	}
	return n
}

// Box is the smallest upright rectangle around the region; ok is false when it is empty.
func (r Region) Box() (low, high Point, ok bool) {
	low, high = Point{math.MaxInt64, math.MaxInt64}, Point{math.MinInt64, math.MinInt64}
	for _, p := range r {
		for _, q := range p {
			low = Point{min(low.X, q.X), min(low.Y, q.Y)}
			high = Point{max(high.X, q.X), max(high.Y, q.Y)}
			ok = true
		}
	}
	return low, high, ok
}

// Moved is the region moved by d.
func (r Region) Moved(d Point) Region {
	out := make(Region, len(r))
	for i, p := range r {
		out[i] = slices.Clone(p)
		for j := range out[i] {
			out[i][j].X += d.X
			out[i][j].Y += d.Y
		}
	}
	return out
}

// Turned is the region turned counter-clockwise about the origin by an angle in degrees, rounded to the grid.
func (r Region) Turned(deg float64) Region {
	s, c := math.Sincos(deg * math.Pi / 180)
	switch math.Mod(math.Mod(deg, 360)+360, 360) { // exact quarters
	case 0:
		s, c = 0, 1
	case 90:
		s, c = 1, 0
	case 180:
		s, c = 0, -1
	case 270:
		s, c = -1, 0
	}
	out := make(Region, len(r))
	for i, p := range r {
		out[i] = make(Path, len(p))
		for j, q := range p {
			x, y := float64(q.X), float64(q.Y)
			out[i][j] = Point{int64(math.Round(x*c - y*s)), int64(math.Round(x*s + y*c))}
		}
	}
	return out
}

// Winding is how often the paths run around a point, counter-clockwise counted positive, and whether the point lies on
// one of them. Exact.
func (r Region) Winding(at Point) (n int, on bool) {
	for _, p := range r {
		for i, b := range p {
			a := p[(i+len(p)-1)%len(p)]
			if a == at || b == at {
				return n, true
			}
			up := b.Y > at.Y
			if (a.Y > at.Y) == up {
				if a.Y == at.Y && b.Y == at.Y && (a.X > at.X) != (b.X > at.X) {
					return n, true
				}
				continue
			}
			s := side(a, b, at)
			if s == 0 {
				return n, true
			}
			if s > 0 == up {
				if up {
					n++
				} else {
					n--
				}
			}
		}
	}
	return n, false
}

// Contains says whether a point lies in the region (winding number above zero) or on its border.
func (r Region) Contains(at Point) bool {
	n, on := r.Winding(at)
	return on || n > 0
}

// side is positive when c lies to the left of a→b. Exact for paths within 2^31 steps (8 m) of each other; beyond, in
// floating point.
func side(a, b, c Point) int {
	ux, uy, vx, vy := b.X-a.X, b.Y-a.Y, c.X-a.X, c.Y-a.Y
	const most = 1 << 31
	if max(ux, -ux, uy, -uy, vx, -vx, vy, -vy) < most {
		d := ux*vy - uy*vx
		switch {
		case d > 0:
			return 1
		case d < 0:
			return -1
		}
		return 0
	}
	d := float64(ux)*float64(vy) - float64(uy)*float64(vx)
	switch {
	case d > 0:
		return 1
	case d < 0:
		return -1
	}
	return 0
}
