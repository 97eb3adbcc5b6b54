package eh

import "fmt"

// malformed is what reading panics with; Lower turns it into an error.
type malformed string

func (m malformed) Error() string { return "eh: " + string(m) }

func fail(format string, args ...any) { panic(malformed(fmt.Sprintf(format, args...))) }

// reader walks over a byte string; running off its end is malformed.
type reader struct {
	b []byte
	p int
}

func (r *reader) more() bool { return r.p < len(r.b) }

func (r *reader) byte() byte {
	if r.p >= len(r.b) {
		fail("the module is cut off")
	}
	c := r.b[r.p]
	r.p++
	return c
}

// u32 reads an unsigned LEB128 number of at most 32 bits.
func (r *reader) u32() uint32 {
	var v uint64
	for s := uint(0); s < 35; s += 7 {
		c := r.byte()
		v |= uint64(c&0x7f) << s
		if c < 0x80 {
			if v > 1<<32-1 {
				break
			}
			return uint32(v)
		}
	}
	fail("a number at byte %d is too long", r.p)
	return 0
}

// skipLEB passes over a number of any width and sign.
func (r *reader) skipLEB() {
	for r.byte() >= 0x80 {
	}
}

func (r *reader) take(n uint32) []byte {
	if uint64(n) > uint64(len(r.b)-r.p) {
		fail("the module is cut off")
	}
	s := r.b[r.p : r.p+int(n)]
	r.p += int(n)
	return s
}

func putU32(b []byte, v uint32) []byte {
	for v >= 0x80 {
		b = append(b, byte(v)|0x80)
		v >>= 7
	}
	return append(b, byte(v))
}

func putS32(b []byte, v int32) []byte {
	for {
		c := byte(v & 0x7f)
		v >>= 7
		if (v == 0 && c&0x40 == 0) || (v == -1 && c&0x40 != 0) {
			return append(b, c)
		}
		b = append(b, c|0x80)
	}
}
