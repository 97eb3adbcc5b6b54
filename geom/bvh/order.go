package bvh

import "firstoff/geom/r3"

// hilbert gives the order of points along a space-filling curve over the box (10 bits an axis; points outside count as on its side).
func hilbert(pts []r3.Vec, box r3.Box) []uint32 {
	n := len(pts)
	key, tmp := make([]uint64, n), make([]uint64, n)
	size := box.Size()
	s := [3]float64{1, 1, 1}
	for x := range 3 {
		if d := size.Axis(x); d > 0 {
			s[x] = 1023.999 / d
		}
	}
	for i, p := range pts {
		c := [3]uint32{
			uint32(min(max((p.X-box.Min.X)*s[0], 0), 1023)),
			uint32(min(max((p.Y-box.Min.Y)*s[1], 0), 1023)),
			uint32(min(max((p.Z-box.Min.Z)*s[2], 0), 1023)),
		}
		key[i] = uint64(index(c))<<32 | uint64(i)
	}
	for sh := 32; sh < 62; sh += 10 { // by digits of ten bits
		var count [1025]int
		for _, k := range key {
			count[k>>sh&1023+1]++
		}
		for i := range 1024 {
			count[i+1] += count[i]
		}
		for _, k := range key {
			c := &count[k>>sh&1023]
			tmp[*c] = k
			*c++
		}
		key, tmp = tmp, key
	}
	out := make([]uint32, n)
	for i, k := range key {
		out[i] = uint32(k)
	}
	return out
}

// index is the place along Hilbert's curve of a cell of 10 bits an axis (Skilling, AIP Conf. Proc. 707, 2004).
func index(c [3]uint32) uint32 {
	for q := uint32(512); q > 1; q >>= 1 {
		p := q - 1
		for i := range c {
			if c[i]&q != 0 {
				c[0] ^= p
			} else {
				t := (c[0] ^ c[i]) & p
				c[0] ^= t
				c[i] ^= t
			}
		}
	}
	c[1] ^= c[0]
	c[2] ^= c[1]
	t := uint32(0)
	for q := uint32(512); q > 1; q >>= 1 {
		if c[2]&q != 0 {
			t ^= q - 1
		}
	}
	for i := range c {
		c[i] ^= t
	}
	return spread(c[0])<<2 | spread(c[1])<<1 | spread(c[2])
}

// spread puts two zero bits before each of the ten bits of v.
func spread(v uint32) uint32 {
	v = (v | v<<16) & 0x030000ff
	v = (v | v<<8) & 0x0300f00f
	v = (v | v<<4) & 0x030c30c3
	return (v | v<<2) & 0x09249249
}
