package chamber

import (
	"fmt"
	"math"
	"math/bits"
	"slices"
)

// fit answers how far two posed bodies overlap at a displacement: 0 free, else the distance to the nearest free
// displacement in quarter cells, 255 at most.
type fit struct {
	// displacement = corner of moving − corner of lying, from lo; n along each axis
	lox, loy, loz int
	nx, ny, nz    int
	depth         []uint8
}

// newFit makes the table of a moving body m against a lying body l. Free displacements that cannot be reached from far away by steps
// along the axes count as taken.
func newFit(m, l *Bits) *fit {
	f := &fit{lox: 1 - m.NX, loy: 1 - m.NY, loz: 1 - m.NZ, nx: m.NX + l.NX - 1, ny: m.NY + l.NY - 1, nz: m.NZ + l.NZ - 1}
	stride := (f.nx + 63) / 64
	taken := make([]uint64, stride*f.ny*f.nz)
	// A cell of m at mx meets a cell of l at lx when d = lx − mx, index d − lox = lx + (m.NX−1−mx): rows of l shifted up.
	var rs [][2]int
	var lists [][][2]int
	var ys, zs []int
	for z := 0; z < m.NZ; z++ {
		for y := 0; y < m.NY; y++ {
			rs = runs(m.row(y, z), rs)
			if len(rs) > 0 {
				lists = append(lists, append([][2]int(nil), rs...))
				ys, zs = append(ys, y), append(zs, z)
			}
		}
	}
	// Rows of parts are alike: every different row of m against a row of l is spread once.
	alike := map[string]int{}
	which := make([]int, len(lists))
	var kinds [][][2]int
	for k, list := range lists {
		key := fmt.Sprint(list)
		n, ok := alike[key]
		if !ok {
			n = len(kinds)
			alike[key] = n
			kinds = append(kinds, list)
		}
		which[k] = n
	}
	wide := make([]uint64, stride*len(kinds))
	one := make([]uint64, stride)
	var before []uint64
	for lz := 0; lz < l.NZ; lz++ {
		for ly := 0; ly < l.NY; ly++ {
			row := l.row(ly, lz)
			if empty(row) {
				continue
			}
			if !slices.Equal(row, before) {
				before = row
				for n, list := range kinds {
					w := wide[n*stride : (n+1)*stride]
					clear(w)
					for _, r := range list {
						clear(one)
						orUp(one, row, m.NX-r[0]-r[1])
						spread(one, r[1])
						for i, v := range one {
							w[i] |= v
						}
					}
				}
			}
			base := ((lz-f.loz)*f.ny + ly - f.loy) * stride
			for k, n := range which {
				out := taken[base-(zs[k]*f.ny+ys[k])*stride:][:stride]
				for i, v := range wide[n*stride:][:stride] {
					out[i] |= v
				}
			}
		}
	}
	f.closeUp(taken, stride)
	f.measure(taken, stride)
	return f
}

// closeUp marks as taken what cannot be reached from outside.
func (f *fit) closeUp(taken []uint64, stride int) {
	n := f.nx * f.ny * f.nz
	seen := make([]uint64, stride*f.ny*f.nz)
	at := func(x, y, z int) (int, uint64) { return (z*f.ny+y)*stride + x>>6, 1 << (x & 63) }
	var stack []int32
	push := func(x, y, z int) {
		w, b := at(x, y, z)
		if (taken[w]|seen[w])&b == 0 {
			seen[w] |= b
			stack = append(stack, int32((z*f.ny+y)*f.nx+x))
		}
	}
	for z := 0; z < f.nz; z++ {
		for y := 0; y < f.ny; y++ {
			edge := z == 0 || z == f.nz-1 || y == 0 || y == f.ny-1
			for x := 0; x < f.nx; x++ {
				if edge || x == 0 || x == f.nx-1 {
					push(x, y, z)
				}
			}
		}
	}
	for len(stack) > 0 {
		c := int(stack[len(stack)-1])
		stack = stack[:len(stack)-1]
		x, y, z := c%f.nx, c/f.nx%f.ny, c/f.nx/f.ny
		if x > 0 {
			push(x-1, y, z)
		}
		if x < f.nx-1 {
			push(x+1, y, z)
		}
		if y > 0 {
			push(x, y-1, z)
		}
		if y < f.ny-1 {
			push(x, y+1, z)
		}
		if z > 0 {
			push(x, y, z-1)
		}
		if z < f.nz-1 {
			push(x, y, z+1)
		}
	}
	_ = n
	for r := 0; r < f.ny*f.nz; r++ {
		for i := 0; i < stride; i++ {
			mask := ^uint64(0)
			if i == stride-1 && f.nx&63 != 0 {
				mask = 1<<(f.nx&63) - 1
			}
			taken[r*stride+i] |= ^seen[r*stride+i] & mask
		}
	}
}

// measure fills depth by the exact distance transform, one axis after the other (Meijster, Roerdink, Hesselink 2000 in
// plain form: lower envelopes of parabolas, Felzenszwalb and Huttenlocher 2012). Outside the table all is free.
func (f *fit) measure(taken []uint64, stride int) {
	const far = math.MaxInt32 / 4
	d := make([]int32, f.nx*f.ny*f.nz)
	for r := 0; r < f.ny*f.nz; r++ {
		row := d[r*f.nx : (r+1)*f.nx]
		since := int32(1) // column −1 is free
		for x := range row {
			if taken[r*stride+x>>6]>>(x&63)&1 == 0 {
				since = 0
			}
			row[x] = since
			since++
		}
		since = 1
		for x := len(row) - 1; x >= 0; x-- {
			if row[x] == 0 {
				since = 0
			}
			row[x] = min(row[x], since)
			since++
		}
		for x := range row {
			row[x] *= row[x]
		}
	}
	n := max(f.ny, f.nz) + 2
	line, v, cut := make([]int32, n), make([]int32, n), make([]float64, n+1)
	pass := func(base, step, count int) {
		line[0], line[count+1] = 0, 0 // free beyond both ends
		any := int32(0)
		for i := 0; i < count; i++ {
			c := d[base+i*step]
			line[i+1] = c
			any |= c
		}
		if any == 0 {
			return
		}
		k := 0
		v[0] = 0
		cut[0], cut[1] = math.Inf(-1), math.Inf(1)
		for q := int32(1); q < int32(count+2); q++ {
			if line[q] >= far {
				continue
			}
			var s float64
			for {
				p := v[k]
				s = float64((line[q]+q*q)-(line[p]+p*p)) / float64(2*(q-p))
				if s > cut[k] {
					break
				}
				k--
			}
			k++
			v[k] = q
			cut[k], cut[k+1] = s, math.Inf(1)
		}
		k = 0
		for q := int32(0); q < int32(count+2); q++ {
			for cut[k+1] < float64(q) {
				k++
			}
			if q > 0 && q <= int32(count) {
				p := v[k]
				d[base+int(q-1)*step] = (q-p)*(q-p) + line[p]
			}
		}
	}
	for z := 0; z < f.nz; z++ {
		for x := 0; x < f.nx; x++ {
			pass(z*f.ny*f.nx+x, f.nx, f.ny)
		}
	}
	for y := 0; y < f.ny; y++ {
		for x := 0; x < f.nx; x++ {
			pass(y*f.nx+x, f.ny*f.nx, f.nz)
		}
	}
	f.depth = make([]uint8, len(d))
	for i, s := range d {
		if s > 0 {
			f.depth[i] = uint8(min(255, int(4*math.Sqrt(float64(s))+0.5)))
		}
	}
}

// at is the depth at displacement (x, y, z) of corners.
func (f *fit) at(x, y, z int) uint8 {
	x, y, z = x-f.lox, y-f.loy, z-f.loz
	if uint(x) >= uint(f.nx) || uint(y) >= uint(f.ny) || uint(z) >= uint(f.nz) {
		return 0
	}
	return f.depth[(z*f.ny+y)*f.nx+x]
}

// Meet says plainly whether two bodies share a cell with b displaced by (x, y, z) from a.
func Meet(a, b *Bits, x, y, z int) bool {
	for bz := max(0, -z); bz < b.NZ && bz+z < a.NZ; bz++ {
		for by := max(0, -y); by < b.NY && by+y < a.NY; by++ {
			for i, w := range b.row(by, bz) {
				for ; w != 0; w &= w - 1 {
					if a.Has(i*64+bits.TrailingZeros64(w)+x, by+y, bz+z) {
						return true
					}
				}
			}
		}
	}
	return false
}
