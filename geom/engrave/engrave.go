// Package engrave draws a part as an engraver would: outline, creases, and hatching by slope, in one ink on no ground.
//
// The part is seen without perspective from a corner (or any direction), filled into a depth buffer, and inked where
// depth or slope breaks; darker slopes get denser hatching. The picture is made of whole pixels at twice the size and
// then halved, so that it prints.
//
// Units: pixels. The same mesh gives the same picture (TestSamePicture). O(facets + pixels).
// Source of the ink rule: breaks of depth and normal in a buffer, Saito and Takahashi, SIGGRAPH 1990.
package engrave

import (
	"image"
	"image/color"
	"math"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// Options of a picture. The zero value gives 480 × 360 in dark ink, seen from the front right above.
type Options struct {
	Width, Height int
	From          r3.Vec // direction from the part to the eye
	Ink           color.NRGBA
}

func (o Options) orDefault() Options {
	if o.Width <= 0 {
		o.Width = 480
	}
	if o.Height <= 0 {
		o.Height = 360
	}
	if o.From == (r3.Vec{}) {
		o.From = r3.Vec{X: 0.75, Y: -1, Z: 0.7}
	}
	if o.Ink.A == 0 {
		o.Ink = color.NRGBA{0x20, 0x26, 0x2B, 0xFF}
	}
	return o
}

// buffer is what the eye meets at each pixel.
type buffer struct {
	w, h  int
	depth []float32 // along the view, larger is nearer; -Inf is nothing
	nx    []float32 // unit normal seen from the eye
	ny    []float32
	nz    []float32
}

// Draw draws meshes together into one picture with a clear ground. No meshes, or none with facets, give a clear picture.
func Draw(meshes []*mesh.Mesh, o Options) *image.NRGBA {
	o = o.orDefault()
	b := &buffer{w: 2 * o.Width, h: 2 * o.Height}
	n := b.w * b.h
	b.depth, b.nx, b.ny, b.nz = make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n)
	for i := range b.depth {
		b.depth[i] = float32(math.Inf(-1))
	}
	right, up, eye := frame(o.From)
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, m := range meshes {
		for _, v := range m.Tri {
			p := m.Vertex(v)
			for k, a := range [2]float64{p.Dot(right), p.Dot(up)} {
				lo[k], hi[k] = math.Min(lo[k], a), math.Max(hi[k], a)
			}
		}
	}
	out := image.NewNRGBA(image.Rect(0, 0, o.Width, o.Height))
	if lo[0] > hi[0] {
		return out
	}
	const margin = 12
	scale := math.Min(float64(b.w-2*margin)/math.Max(hi[0]-lo[0], 1e-9), float64(b.h-2*margin)/math.Max(hi[1]-lo[1], 1e-9))
	cx, cy := (lo[0]+hi[0])/2, (lo[1]+hi[1])/2
	to := func(p r3.Vec) (x, y, z float64) {
		return float64(b.w)/2 + scale*(p.Dot(right)-cx), float64(b.h)/2 - scale*(p.Dot(up)-cy), scale * p.Dot(eye)
	}
	for _, m := range meshes {
		for f := range m.Facets() {
			p, q, r := m.Corners(f)
			nn := q.Sub(p).Cross(r.Sub(p)).Unit()
			if nn == (r3.Vec{}) {
				continue
			}
			if nn.Dot(eye) < 0 {
				nn = nn.Mul(-1) // seen from inside (open parts): the other face
			}
			b.fill(to, p, q, r, [3]float32{float32(nn.Dot(right)), float32(nn.Dot(up)), float32(nn.Dot(eye))})
		}
	}
	b.ink(out, o.Ink)
	return out
}

// frame makes the picture's axes for an eye in direction from, z up where possible.
func frame(from r3.Vec) (right, up, eye r3.Vec) {
	eye = from.Unit()
	z := r3.Vec{Z: 1}
	if math.Abs(eye.Z) > 0.999 {
		z = r3.Vec{Y: 1}
	}
	right = z.Cross(eye).Unit()
	return right, eye.Cross(right), eye
}

func (b *buffer) fill(to func(r3.Vec) (x, y, z float64), p, q, r r3.Vec, n [3]float32) {
	x0, y0, z0 := to(p)
	x1, y1, z1 := to(q)
	x2, y2, z2 := to(r)
	area := (x1-x0)*(y2-y0) - (x2-x0)*(y1-y0)
	if math.Abs(area) < 1e-12 {
		return
	}
	ya, yb := max(0, int(math.Floor(min(y0, y1, y2)))), min(b.h-1, int(math.Ceil(max(y0, y1, y2))))
	xa, xb := max(0, int(math.Floor(min(x0, x1, x2)))), min(b.w-1, int(math.Ceil(max(x0, x1, x2))))
	inv := 1 / area
	for y := ya; y <= yb; y++ {
		py := float64(y) + 0.5
		for x := xa; x <= xb; x++ {
			px := float64(x) + 0.5
			w0 := ((x1-px)*(y2-py) - (x2-px)*(y1-py)) * inv
			w1 := ((x2-px)*(y0-py) - (x0-px)*(y2-py)) * inv
			w2 := 1 - w0 - w1
			if w0 < -1e-9 || w1 < -1e-9 || w2 < -1e-9 {
				continue
			}
			z := float32(w0*z0 + w1*z1 + w2*z2)
			if i := y*b.w + x; z > b.depth[i] {
				b.depth[i], b.nx[i], b.ny[i], b.nz[i] = z, n[0], n[1], n[2]
			}
		}
	}
}

// light falls from the upper left over the eye's shoulder.
var light = r3.Vec{X: -0.45, Y: 0.7, Z: 0.55}.Unit()

// tone is how dark the engraver hatches a pixel: 0 paper … 1 dense.
func (b *buffer) tone(i int) float64 {
	l := float64(b.nx[i])*light.X + float64(b.ny[i])*light.Y + float64(b.nz[i])*light.Z
	return math.Max(0, math.Min(1, (0.86-l)/1.3))
}

// hatched says whether a pixel of this tone lies on a line of the hatching; lines lean and cross where it is dark.
func hatched(x, y int, tone float64) bool {
	period := 0
	switch {
	case tone < 0.18:
		return false
	case tone < 0.42:
		period = 14
	case tone < 0.62:
		period = 9
	default:
		period = 6
	}
	if (x+y)%period == 0 || period == 14 && (x+y)%14 == 1 {
		return true
	}
	return tone > 0.8 && (x-y+4096)%9 == 0
}

// crease is the cosine of the angle between slopes from which on an edge is drawn (about 20°).
const crease = 0.94

func (b *buffer) ink(out *image.NRGBA, ink color.NRGBA) {
	line := func(x, y int) bool {
		i := y*b.w + x
		here := b.depth[i]
		nothing := math.IsInf(float64(here), -1)
		for _, d := range [4][2]int{{1, 0}, {0, 1}, {-1, 0}, {0, -1}} {
			xx, yy := x+d[0], y+d[1]
			if xx < 0 || yy < 0 || xx >= b.w || yy >= b.h {
				continue
			}
			j := yy*b.w + xx
			there := math.IsInf(float64(b.depth[j]), -1)
			if nothing != there {
				return !nothing
			}
			if nothing {
				continue
			}
			dot := b.nx[i]*b.nx[j] + b.ny[i]*b.ny[j] + b.nz[i]*b.nz[j]
			if d[0]+d[1] > 0 && dot < crease {
				return true
			}
			// A step in depth larger than the steeper of the two slopes explains; drawn on the nearer side.
			slope := 4 + 3/math.Max(0.08, math.Min(float64(b.nz[i]), float64(b.nz[j])))
			if float64(here-b.depth[j]) > slope {
				return true
			}
		}
		return false
	}
	for y := range b.h / 2 {
		for x := range b.w / 2 {
			sum := 0.0
			for k := range 4 {
				px, py := 2*x+k&1, 2*y+k>>1
				i := py*b.w + px
				switch {
				case line(px, py):
					sum++
				case math.IsInf(float64(b.depth[i]), -1):
				case hatched(px, py, b.tone(i)):
					sum += 0.55
				}
			}
			if sum > 0 {
				out.SetNRGBA(x, y, color.NRGBA{ink.R, ink.G, ink.B, uint8(math.Min(1, sum/3) * float64(ink.A))})
			}
		}
	}
}
