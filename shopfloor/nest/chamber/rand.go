package chamber

import "math/bits"

// rng is a small, fast stream of random bits (xoroshiro128++, Blackman and Vigna 2019), seeded by splitmix64.
type rng struct{ a, b uint64 }

func newRNG(seed uint64) rng {
	next := func() uint64 {
		seed += 0x9e3779b97f4a7c15
		z := seed
		z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
		z = (z ^ z>>27) * 0x94d049bb133111eb
		return z ^ z>>31
	}
	return rng{next(), next() | 1}
}

func (r *rng) next() uint64 {
	a, b := r.a, r.b
	out := bits.RotateLeft64(a+b, 17) + a
	b ^= a
	r.a, r.b = bits.RotateLeft64(a, 49)^b^b<<21, bits.RotateLeft64(b, 28)
	return out
}

// float is uniform in [0, 1).
func (r *rng) float() float64 { return float64(r.next()>>11) / (1 << 53) }

// intn is uniform in 0 … n−1.
func (r *rng) intn(n int) int {
	hi, _ := bits.Mul64(r.next(), uint64(n))
	return int(hi)
}

// shuffle puts p into random order.
func (r *rng) shuffle(p []int) {
	for i := len(p) - 1; i > 0; i-- {
		j := r.intn(i + 1)
		p[i], p[j] = p[j], p[i]
	}
}
