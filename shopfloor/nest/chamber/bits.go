package chamber

import (
	"math"
	"math/bits"
)

// Bits is a body: NZ planes of NY rows of Stride words, bit x of a row first; spare bits are zero.
type Bits struct {
	NX, NY, NZ, Stride int
	W                  []uint64
}

// New is an empty body.
func New(nx, ny, nz int) *Bits {
	s := (nx + 63) / 64
	return &Bits{nx, ny, nz, s, make([]uint64, s*ny*nz)}
}

// Set makes a cell solid.
func (b *Bits) Set(x, y, z int) { b.W[(z*b.NY+y)*b.Stride+x>>6] |= 1 << (x & 63) }

// Has says whether a cell is solid; nothing is outside.
func (b *Bits) Has(x, y, z int) bool {
	if x < 0 || y < 0 || z < 0 || x >= b.NX || y >= b.NY || z >= b.NZ {
		return false
	}
	return b.W[(z*b.NY+y)*b.Stride+x>>6]>>(x&63)&1 != 0
}

func (b *Bits) row(y, z int) []uint64 {
	at := (z*b.NY + y) * b.Stride
	return b.W[at : at+b.Stride : at+b.Stride]
}

// Count is the number of solid cells.
func (b *Bits) Count() (n int) {
	for _, w := range b.W {
		n += bits.OnesCount64(w)
	}
	return n
}

// Equal says whether two bodies are the same cells.
func (b *Bits) Equal(c *Bits) bool {
	if b.NX != c.NX || b.NY != c.NY || b.NZ != c.NZ {
		return false
	}
	for i := range b.W {
		if b.W[i] != c.W[i] {
			return false
		}
	}
	return true
}

// Trim is the body cut to its solid cells, and how many cells were cut off at the low ends. An empty body gives nil.
func (b *Bits) Trim() (t *Bits, x0, y0, z0 int) {
	x0, y0, z0 = b.NX, b.NY, b.NZ
	x1, y1, z1 := -1, -1, -1
	b.each(func(x, y, z int) {
		x0, x1 = min(x0, x), max(x1, x)
		y0, y1 = min(y0, y), max(y1, y)
		z0, z1 = min(z0, z), max(z1, z)
	})
	if x1 < 0 {
		return nil, 0, 0, 0
	}
	t = New(x1-x0+1, y1-y0+1, z1-z0+1)
	b.each(func(x, y, z int) { t.Set(x-x0, y-y0, z-z0) })
	return t, x0, y0, z0
}

// each calls f for every solid cell, x fastest.
func (b *Bits) each(f func(x, y, z int)) {
	for z := 0; z < b.NZ; z++ {
		for y := 0; y < b.NY; y++ {
			for i, w := range b.row(y, z) {
				for ; w != 0; w &= w - 1 {
					f(i*64+bits.TrailingZeros64(w), y, z)
				}
			}
		}
	}
}

// Grow is the body with every cell nearer than r cell widths to a solid one made solid, cells taken as cubes: a neighbour, even across
// a corner, is at distance 0, the next at 1. It gains shift cells on each side.
func (b *Bits) Grow(r float64) (g *Bits, shift int) {
	if r <= 0 {
		return b, 0
	}
	n := int(math.Ceil(r - 1e-9)) // the farthest offset with n−1 < r
	apart := func(d int) float64 { return float64(max(0, max(d, -d)-1)) }
	g = New(b.NX+2*n, b.NY+2*n, b.NZ+2*n)
	smear := make([]uint64, g.Stride)
	for dz := -n; dz <= n; dz++ {
		for dy := -n; dy <= n; dy++ {
			dx := -1
			for k := 0; k <= n && apart(k)*apart(k)+apart(dy)*apart(dy)+apart(dz)*apart(dz) < r*r-1e-9; k++ {
				dx = k
			}
			if dx < 0 {
				continue
			}
			for z := 0; z < b.NZ; z++ {
				for y := 0; y < b.NY; y++ {
					row := b.row(y, z)
					if empty(row) {
						continue
					}
					for i := range smear {
						smear[i] = 0
					}
					orUp(smear, row, n-dx)
					spread(smear, 2*dx+1)
					for i, w := range smear {
						g.W[((z+n+dz)*g.NY+y+n+dy)*g.Stride+i] |= w
					}
				}
			}
		}
	}
	return g, n
}

func empty(row []uint64) bool {
	for _, w := range row {
		if w != 0 {
			return false
		}
	}
	return true
}

// orUp sets dst |= src << by, as far as dst reaches; dst must not be src.
func orUp(dst, src []uint64, by int) {
	w, o := by>>6, uint(by&63)
	for i, v := range src {
		if v == 0 {
			continue
		}
		if i+w < len(dst) {
			dst[i+w] |= v << o
		}
		if o > 0 && i+w+1 < len(dst) {
			dst[i+w+1] |= v >> (64 - o)
		}
	}
}

// spread makes row the union of itself shifted up by 0 … n−1.
func spread(row []uint64, n int) {
	for have := 1; have < n; {
		step := min(have, n-have)
		w, o := step>>6, uint(step&63)
		for i := len(row) - 1; i >= w; i-- {
			v := row[i-w] << o
			if o > 0 && i-w-1 >= 0 {
				v |= row[i-w-1] >> (64 - o)
			}
			row[i] |= v
		}
		have += step
	}
}

// runs lists the solid stretches of a row as first and length.
func runs(row []uint64, into [][2]int) [][2]int {
	into = into[:0]
	n := len(row) * 64
	for x := 0; x < n; {
		w := row[x>>6] >> (x & 63)
		if w == 0 {
			x = (x>>6 + 1) * 64
			continue
		}
		x += bits.TrailingZeros64(w)
		from := x
		for x < n {
			v := ^(row[x>>6] >> (x & 63))
			k := bits.TrailingZeros64(v)
			k = min(k, 64-x&63)
			x += k
			if x&63 != 0 || k == 0 {
				break
			}
		}
		into = append(into, [2]int{from, x - from})
	}
	return into
}

// FillIn makes solid every cell that cannot be reached from outside by steps along the axes through empty cells.
func (b *Bits) FillIn() {
	seen := New(b.NX, b.NY, b.NZ)
	var stack [][3]int32
	push := func(x, y, z int) {
		if x >= 0 && y >= 0 && z >= 0 && x < b.NX && y < b.NY && z < b.NZ && !b.Has(x, y, z) && !seen.Has(x, y, z) {
			seen.Set(x, y, z)
			stack = append(stack, [3]int32{int32(x), int32(y), int32(z)})
		}
	}
	for z := range b.NZ {
		for y := range b.NY {
			push(0, y, z)
			push(b.NX-1, y, z)
			if z == 0 || y == 0 || z == b.NZ-1 || y == b.NY-1 {
				for x := range b.NX {
					push(x, y, z)
				}
			}
		}
	}
	for len(stack) > 0 {
		c := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		x, y, z := int(c[0]), int(c[1]), int(c[2])
		push(x-1, y, z)
		push(x+1, y, z)
		push(x, y-1, z)
		push(x, y+1, z)
		push(x, y, z-1)
		push(x, y, z+1)
	}
	for z := range b.NZ {
		for y := range b.NY {
			row, out := b.row(y, z), seen.row(y, z)
			for i := range row {
				mask := ^uint64(0)
				if r := b.NX & 63; i == len(row)-1 && r != 0 {
					mask = 1<<r - 1
				}
				row[i] = ^out[i] & mask
			}
		}
	}
}
